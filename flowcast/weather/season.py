"""The bee year, the warmth in it, and how early or late a season runs.

Two clocks are kept apart. The season label and the season day follow the yard's own season
start, so that a winter flow is not cut in two. Warmth always counts from the hemisphere's
midwinter (`midwinter`), whatever start the yard has set.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

SLOTS = 366  # season days 0 to 365; the last one exists in leap seasons only


def midwinter(place):
    """(month, day) from which warmth counts: 1 January in the north, 1 July in the south."""
    return (1, 1) if place.latitude >= 0 else (7, 1)


def midsummer(place):
    """(month, day) of the longest day: 21 June in the north, 21 December in the south."""
    return (6, 21) if place.latitude >= 0 else (12, 21)


def season_start_year(dates, season_start):
    """Year in which the season of each date began.

    Parameters
    ----------
    dates : array-like of dates
        Naive local dates.
    season_start : tuple of int
        (month, day) of the season's first day; one that a year lacks (29 February) is the next.

    Returns
    -------
    numpy.ndarray of int
    """
    dates = pd.DatetimeIndex(dates)
    month, day = season_start
    before = (dates.month < month) | ((dates.month == month) & (dates.day < day))
    return dates.year.to_numpy(int) - np.asarray(before, int)


def season_day(dates, season_start):
    """Whole days since the season's first day, which is day 0.

    Parameters
    ----------
    dates : array-like of dates
        Naive local dates.
    season_start : tuple of int
        (month, day) of the season's first day.

    Returns
    -------
    numpy.ndarray of int
        0 to 365. [d]
    """
    month, day = season_start
    years = season_start_year(dates, season_start)
    months = (years - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (month - 1)
    first = months.astype("datetime64[D]") + (day - 1)
    return (pd.DatetimeIndex(dates).to_numpy().astype("datetime64[D]") - first).astype(int)


def season_name(year, season_start):
    """The season that began in this year: "2024", or "2024/25" when it runs into the next."""
    if season_start[0] == 1:
        return str(int(year))
    return f"{int(year)}/{(int(year) + 1) % 100:02d}"


def degree_days(temp_min_c, temp_max_c, numbers):
    """Degree days that each day adds: max(0, (highest + lowest) / 2 - base). [°C d]

    Parameters
    ----------
    temp_min_c, temp_max_c : pandas.Series
        Lowest and highest of each day; index: local dates, every day, in order. [°C]
    numbers : flowcast.numbers.Numbers
        season.warmth_base_c, season.hole_memory_d.

    Returns
    -------
    pandas.Series
        Named degree_days_cd. A missing day adds the mean of the known days before it; the days
        after it would tell more, but were not known then. [°C d]
    """
    gain = (((temp_min_c + temp_max_c) / 2) - numbers["season.warmth_base_c"]).clip(lower=0)
    typical = gain.dropna().rolling(int(numbers["season.hole_memory_d"]), min_periods=1).mean()
    gain = gain.fillna(typical.reindex(gain.index).ffill()).fillna(0.0)
    return gain.rename("degree_days_cd")


def warmth(temp_min_c, temp_max_c, season_start, numbers):
    """Degree days since the season's start. [°C d]

    Parameters
    ----------
    temp_min_c, temp_max_c : pandas.Series
        Lowest and highest of each day; index: local dates, every day, in order. [°C]
    season_start : tuple of int
        (month, day) from which it counts; `midwinter(place)` for the phenological day.
    numbers : flowcast.numbers.Numbers
        As for `degree_days`, and season.late_start_d.

    Returns
    -------
    pandas.Series
        Named warmth_cd, at the end of each day; NaN in a first season whose days begin later than
        season.late_start_d, for what came before them is not known. [°C d]

    """
    gain = degree_days(temp_min_c, temp_max_c, numbers)
    years = season_start_year(gain.index, season_start)
    total = gain.groupby(years).cumsum()
    if len(total) and season_day(gain.index[:1], season_start)[0] > numbers["season.late_start_d"]:
        total = total.where(years != years[0])
    return total.rename("warmth_cd")


@dataclass(frozen=True)
class Normals:
    """The normal course of warmth.

    Attributes
    ----------
    season_start : tuple of int
        (month, day) from which the warmth counts.
    warmth_cd : numpy.ndarray, shape (366,)
        Mean warmth at the end of each season day; NaN when no season was complete. [°C d]
    seasons : int
        How many complete seasons it is the mean of.
    """

    season_start: tuple[int, int]
    warmth_cd: np.ndarray
    seasons: int


def fit_normals(daily, season_start, numbers):
    """The normal course of warmth from all complete seasons.

    Parameters
    ----------
    daily : pandas.DataFrame
        temp_min_c and temp_max_c [°C]; index: local dates, every day, in order.
    season_start : tuple of int
        (month, day) from which warmth counts; `midwinter(place)` for the phenological day.
    numbers : flowcast.numbers.Numbers
        Group season.

    Returns
    -------
    Normals
        With seasons = 0 and a curve of NaN when there is no complete season.
    """
    total = warmth(daily["temp_min_c"], daily["temp_max_c"], season_start, numbers)
    known = daily["temp_min_c"].notna() & daily["temp_max_c"].notna()
    table = by_season(total, season_start)[_complete(known, season_start, numbers)]
    table = table[~np.isnan(table[:, [0, -2]]).any(axis=1)]  # begun in time and run to its end
    if not len(table):
        return Normals(season_start, np.full(SLOTS, np.nan), 0)
    # A season of 365 days has no last slot: its warmth stays what it was the day before.
    table[:, -1] = np.where(np.isnan(table[:, -1]), table[:, -2], table[:, -1])
    return Normals(season_start, table.mean(axis=0), len(table))


def by_season(values, season_start):
    """A daily series as a table of seasons by season days.

    Parameters
    ----------
    values : pandas.Series
        Index: local dates.
    season_start : tuple of int
        (month, day) of the season's first day.

    Returns
    -------
    numpy.ndarray, shape (seasons, 366)
        From the season of the first date to that of the last; NaN where there is no such day.
    """
    years = season_start_year(values.index, season_start)
    rows = years - years.min() if len(years) else years
    table = np.full((rows.max() + 1 if len(rows) else 0, SLOTS), np.nan)
    table[rows, season_day(values.index, season_start)] = values.to_numpy(float)
    return table


def _complete(known, season_start, numbers):
    """Which seasons have all their days but a few; the last slot is no day of most seasons."""
    days = np.nansum(by_season(known.astype(float), season_start)[:, :-1], axis=1)
    return days >= SLOTS - 1 - numbers["season.missing_days_max"]


def phenological_lead(dates, warmth_cd, normals, numbers):
    """Days by which a season runs early (positive) or late (negative). [d]

    Parameters
    ----------
    dates : array-like of dates, shape (n,)
        Naive local dates.
    warmth_cd : array-like, shape (n,)
        Warmth at the end of each date, counted from the same start as the normals. [°C d]
    normals : Normals
        The normal course of warmth.
    numbers : flowcast.numbers.Numbers
        season.lead_least_rate_cd, season.lead_max_d, season.lead_growth.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The season day on which this much warmth is normally reached, less the season day; NaN
        where the warmth or the normals are not known. [d]

    Notes
    -----
    A small rate is added to both courses: in frozen months, when warmth stands still, the lead is
    then a quotient of little and stays near 0. Where winters are mild the count begins with a few days'
    weather, so a season is not believed to run ahead faster than a share of the days counted.
    In autumn, when warmth hardly grows any more, a few degree days are many days: there only
    lead x `warmth_pull` means anything.
    """
    day = season_day(dates, normals.season_start)
    rate = numbers["season.lead_least_rate_cd"]
    normal = normals.warmth_cd + rate * np.arange(SLOTS)
    reached = np.asarray(warmth_cd, float) + rate * day
    # Beyond the normal's last day the course goes on at that rate, so a hot year may outrun it.
    normal = np.r_[normal, normal[-1] + rate * SLOTS]
    if normals.seasons == 0:
        return np.full(len(day), np.nan)
    lead = np.interp(reached, normal, np.r_[np.arange(SLOTS), 2 * SLOTS - 1]) - day
    most = np.minimum(numbers["season.lead_max_d"], numbers["season.lead_growth"] * day)
    return np.clip(lead, -most, most)


def pheno_day(dates, lead_d, season_start, place, numbers):
    """Season day by which plants that follow warmth live. [d]

    Parameters
    ----------
    dates : array-like of dates, shape (n,)
        Naive local dates.
    lead_d : array-like, shape (n,)
        `phenological_lead`; where it is not known it counts as 0. [d]
    season_start : tuple of int
        (month, day) of the yard's own season.
    place : flowcast.tables.Place
        The yard: its hemisphere tells midsummer.
    numbers : flowcast.numbers.Numbers
        season.lead_fade_d.

    Returns
    -------
    numpy.ndarray, shape (n,)
        season_day + lead x fade; below 0 where a season with its own start begins late. [d]
    """
    lead = np.nan_to_num(np.asarray(lead_d, float))
    return season_day(dates, season_start) + lead * warmth_pull(dates, place, numbers)


def warmth_pull(dates, place, numbers):
    """How much warmth moves the plants: 1 from midwinter to midsummer, then fading to 0. [1]

    Parameters
    ----------
    dates : array-like of dates
        Naive local dates.
    place : flowcast.tables.Place
        The yard.
    numbers : flowcast.numbers.Numbers
        season.lead_fade_d.

    Returns
    -------
    numpy.ndarray
        Between 0 and 1; bloom of late summer and autumn follows day length.
    """
    since = season_day(dates, midsummer(place))
    fading = np.clip(1 - since / numbers["season.lead_fade_d"], 0, 1)
    waking = season_day(dates, midwinter(place)) < since  # the new season has begun
    return np.where(waking, 1.0, fading)


def normal_course(daily, column, season_start, numbers, reducer="mean"):
    """The normal of a daily quantity through the season, and its spread.

    Parameters
    ----------
    daily : pandas.DataFrame
        Index: local dates.
    column : str
        Which column.
    season_start : tuple of int
        (month, day) of the season's first day.
    numbers : flowcast.numbers.Numbers
        season.normal_window_d, season.missing_days_max.
    reducer : {"mean", "median"}
        What the middle is.

    Returns
    -------
    pandas.DataFrame
        Index: season_day 0 to 365. Columns mean (or what the reducer gives), q10 and q90 over all
        days of complete seasons that lie within the window around each season day, the end of the
        season joined to its start. NaN when there is no complete season.

    Notes
    -----
    The quantiles are those of the departures from the mean of each day, so that the rise and fall
    of the season within the window does not count as spread; they stay within what was seen.
    """
    table = by_season(daily[column], season_start)
    table = table[_complete(daily[column].notna(), season_start, numbers)]
    around = _around(table, numbers)
    middle = around.agg(reducer, axis=1)
    departures = _around(table - middle.to_numpy(), numbers)
    lowest, highest = around.min(axis=1), around.max(axis=1)
    quantiles = {
        name: (middle + row).clip(lowest, highest)
        for name, row in zip(("q10", "q90"), _quantiles(departures, [0.1, 0.9]), strict=True)
    }
    return pd.DataFrame({"mean": middle, **quantiles})


def _quantiles(table, shares):
    """Quantiles of the known values of each row, shape (shares, rows); rows of one length at once."""
    values = np.sort(table.to_numpy(), axis=1)  # NaN last
    known = np.isfinite(values).sum(axis=1)
    found = np.full((len(shares), len(values)), np.nan)
    for count in set(known) - {0}:
        rows = known == count
        found[:, rows] = np.quantile(values[rows, :count], shares, axis=1)
    return found


def _around(table, numbers):
    """One row a season day with all values of all seasons that lie in the window around it."""
    half = int(numbers["season.normal_window_d"]) // 2
    slots = (np.arange(SLOTS)[:, None] + np.arange(-half, half + 1)) % SLOTS
    values = table[:, slots].transpose(1, 0, 2).reshape(SLOTS, -1)
    return pd.DataFrame(values, index=pd.RangeIndex(SLOTS, name="season_day"))
