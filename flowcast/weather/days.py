"""The one place where UTC hours become the yard's local days.

An hour belongs to the local day in which its middle lies, so a stamp at local midnight, which
ends its hour, belongs to the day that ends there. A local day has 23, 24 or 25 hours.
"""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

HALF_HOUR = pd.Timedelta(minutes=30)
DAY = pd.Timedelta(days=1)


def local_dates(index, timezone):
    """The local day of each hour.

    Parameters
    ----------
    index : pandas.DatetimeIndex
        Time-zone-aware stamps, each at the END of its hour.
    timezone : str
        Name of the yard's time zone, such as "Pacific/Auckland".

    Returns
    -------
    pandas.DatetimeIndex
        Naive local dates, as many as stamps.
    """
    middle = index - HALF_HOUR
    return middle.tz_convert(ZoneInfo(timezone)).tz_localize(None).normalize().rename("date")


def hours_of_days(first, last, timezone):
    """Every hour of these local days, summer time counted in.

    Parameters
    ----------
    first, last : date-like
        First and last local day, both whole.
    timezone : str
        Name of the yard's time zone.

    Returns
    -------
    pandas.DatetimeIndex
        UTC stamps at the END of each hour, without a hole.
    """
    around = pd.date_range(
        pd.Timestamp(first) - DAY, pd.Timestamp(last) + 2 * DAY, freq="h", tz="UTC"
    )
    dates = local_dates(around, timezone)
    inside = (dates >= pd.Timestamp(first)) & (dates <= pd.Timestamp(last))
    return around[inside].rename("time")


def day_starts(dates):
    """Position of the first hour of each day in a run of local dates in order.

    Parameters
    ----------
    dates : pandas.DatetimeIndex
        Local day of each hour, in order.

    Returns
    -------
    starts : numpy.ndarray
        First position of each day, as `numpy.ufunc.reduceat` takes it.
    days : pandas.DatetimeIndex
        The days, one each.
    """
    values = dates.to_numpy()
    starts = (
        np.flatnonzero(np.r_[True, values[1:] != values[:-1]]) if len(values) else np.array([], int)
    )
    return starts, dates[starts]
