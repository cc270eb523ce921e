"""After the flow: supers off, and the time left before winter bees are reared. Dates, no products."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.advice.visits import Visits
from flowcast.advice.when import Advice, When
from flowcast.flow.outlook import flow_windows_each
from flowcast.numbers import Numbers
from flowcast.spells import three
from flowcast.tables import Place
from flowcast.weather import WeatherAhead, midsummer

Three = tuple[pd.Timestamp, ...]


@dataclass(frozen=True)
class WinterBees:
    """When the bees that live through winter begin to be reared, and when rearing ends.

    start, end: quantiles 10, 50, 90 % over past years, as dates of the season asked about. years:
    how many were seen.
    """

    start: Three
    end: Three
    years: int


@dataclass(frozen=True, kw_only=True)
class AfterAdvice(Advice):
    """What is to be done once the flow is over; `when` is the day by which supers are off.

    Verdicts: "ahead" (a flow before winter bees is still to end), "now" (no flow is to come before
    them), "past" (they are being reared already), "no winter" (brood is reared all the year) or
    "unknown" (no whole past year of weather).
    bees: when winter bees are reared. goes_on: chance that a flow lasts beyond the last date on which
    the time that is needed is still left, `latest`. until: the end of the window, the middle date from which
    winter bees are reared. high_c: quantiles 10, 50, 90 % of the daily highest temperatures in it, to
    be held against a label's limits; None where it lies beyond the weather ahead. [°C]
    """

    bees: WinterBees | None = None
    goes_on: float = 0.0
    latest: pd.Timestamp | None = None
    until: pd.Timestamp | None = None
    high_c: tuple[float, ...] | None = None


def winter_bees(
    temp_mean_c: pd.Series, issue_date: pd.Timestamp, place: Place, numbers: Numbers
) -> WinterBees | None:
    """When winter bees are reared, by the autumns of past years.

    Brood ends on the first day after midsummer from which the mean temperature of the days before
    stays low, and winter bees are what is reared over a while before that.

    Parameters
    ----------
    temp_mean_c : Series
        Daily mean temperature of past years; index: local dates. [°C]

    Returns
    -------
    WinterBees or None
        Of the autumn that ends last or next, seen from the issue date. None where most autumns and
        winters stay warm, or none was seen whole.
    """
    days = _autumns(temp_mean_c, place, numbers)
    if not len(days) or np.isfinite(days).mean() <= 0.5:
        return None
    seen = days[np.isfinite(days)]
    middle = pd.Timedelta(days=int(np.median(seen)))
    first = _midsummers(issue_date, place)
    # The autumn at hand: the one whose brood has not ended yet.
    summer = next(s for s in first if s + middle >= issue_date)
    end = tuple(summer + pd.Timedelta(days=int(d)) for d in three(seen))
    rear = pd.Timedelta(days=int(numbers["timing.winter_rear_d"]))
    return WinterBees(tuple(d - rear for d in end), end, len(seen))


def _autumns(temp: pd.Series, place: Place, numbers: Numbers) -> np.ndarray:
    """Days from midsummer to the end of brood in each past year that was seen whole; inf: it never ended."""
    cool = temp.rolling(int(numbers["timing.brood_mean_d"])).mean() < numbers["timing.brood_ends_c"]
    found = []
    for year in range(temp.index[0].year, temp.index[-1].year + 1):
        summer = pd.Timestamp(year, *midsummer(place))
        half = pd.date_range(summer, periods=int(numbers["timing.autumn_d"]))
        if not half.isin(temp.index).all():
            continue
        ended = np.flatnonzero(cool.reindex(half).to_numpy(bool))
        found.append(float(ended[0]) if len(ended) else np.inf)
    return np.array(found)


def _midsummers(issue_date: pd.Timestamp, place: Place) -> list[pd.Timestamp]:
    return [pd.Timestamp(issue_date.year + k, *midsummer(place)) for k in (-1, 0, 1)]


CAUTIONS = ("label", "temperature limits", "withholding", "law")


def read_after(
    gain_kg: np.ndarray,
    ahead: WeatherAhead,
    visits: Visits,
    bees: WinterBees | None,
    threshold_kg: float,
    years: int,
    numbers: Numbers,
) -> AfterAdvice:
    """Supers off and the window before winter bees are reared, read off the futures.

    Parameters
    ----------
    gain_kg : array (scenarios, days)
        Daily net gain of the middle hive from the issue date, the first day of `visits`, on. [kg/d]
    ahead : WeatherAhead
        With temp_max_c.
    threshold_kg : float
        Daily gain from which a day is a flow day. [kg/d]
    years : int
        Whole past years of weather.

    Notes
    -----
    The date is the end of the last flow that begins before winter bees are reared, but leaves
    timing.before_winter_d before them. Futures without such a flow have no end of one; only where a flow
    has become unlikely (below `timing.out_chance`, from which a super would still be added) are supers off
    at once.
    """
    if bees is None:
        return AfterAdvice(verdict="no winter" if years else "unknown", cautions=CAUTIONS)
    today, until = visits.chance.index[0], bees.start[1]
    spare = pd.Timedelta(days=int(numbers["timing.before_winter_d"]))
    if until <= today:
        return AfterAdvice(
            verdict="past", bees=bees, latest=until - spare, until=until, cautions=CAUTIONS
        )
    latest = max((until - spare - today).days, 0)
    ends = _flow_ends(gain_kg, (until - today).days, threshold_kg, numbers)
    comes = ends >= 0
    ahead_still = comes.mean() >= numbers["timing.out_chance"]
    told = np.clip(ends[comes], 0, latest) if ahead_still else np.zeros(1)
    first, middle, last = (today + pd.Timedelta(days=int(d)) for d in three(told))
    return AfterAdvice(
        verdict="ahead" if ahead_still else "now",
        when=When(visits.next_fit(middle), first, last, 1.0),
        reasons=("winter bees",),
        changes=("flow goes on", "mild autumn", "mite count"),
        cautions=CAUTIONS,
        bees=bees,
        goes_on=float((ends > latest).mean()),
        latest=today + pd.Timedelta(days=latest),
        until=until,
        high_c=_highest(ahead, middle, until),
    )


def _flow_ends(gain, before: int, threshold: float, numbers: Numbers) -> np.ndarray:
    """Position of the day after the last flow that begins before a day, in each future; -1 for none."""
    windows = flow_windows_each(gain, threshold, numbers)
    return np.array(
        [max((end + 1 for begin, end in found if begin < before), default=-1) for found in windows]
    )


def _highest(ahead: WeatherAhead, first: pd.Timestamp, until: pd.Timestamp):
    inside = (ahead.dates >= first) & (ahead.dates < until)
    if not inside.any():
        return None
    highest = ahead["temp_max_c"][:, inside]
    return tuple(float(v) for v in np.quantile(highest, [0.1, 0.5, 0.9]))
