"""Days fit to open a hive: dry, light wind, neither cold nor hot, for long enough in working hours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.tables import require_columns
from flowcast.weather import WeatherAhead, day_starts, hours_of_days, local_dates

HALF_HOUR = pd.Timedelta(minutes=30)
CALENDAR_D = 90  # how far ahead work is dated
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def open_hours(hourly: pd.DataFrame, timezone: str, numbers: Numbers) -> pd.Series:
    """Hours of each local day in which a hive may be opened. [h]

    Parameters
    ----------
    hourly : DataFrame
        temp_c, precip_mm and wind_ms at 10 m in the open, on UTC stamps at the END of each hour.
    timezone : str
        The yard's.
    numbers : Numbers
        timing.open_from_c and its neighbours; foraging.shelter brings the wind down to the hives.

    Returns
    -------
    Series
        Index: every local date that the hours touch. An hour counts when it is dry and calm enough,
        from 14 to 38 °C, and lies in working hours; a day with such an hour unknown is NaN.
    """
    require_columns(hourly, ["temp_c", "precip_mm", "wind_ms"], where="hourly weather")
    if hourly.empty:
        return pd.Series([], index=pd.DatetimeIndex([], name="date"), dtype=float, name="open_h")
    edges = local_dates(hourly.index[[0, -1]], timezone)
    table = hourly.reindex(hours_of_days(edges[0], edges[1], timezone))
    worked = table[_in_working_hours(table.index, timezone, numbers)]
    starts, dates = day_starts(local_dates(worked.index, timezone))
    return pd.Series(
        np.add.reduceat(_fit_hours(worked, numbers), starts), index=dates, name="open_h"
    )


def _in_working_hours(index: pd.DatetimeIndex, timezone: str, numbers: Numbers) -> np.ndarray:
    """Whether the middle of each hour lies in working hours by the yard's clock."""
    clock = (index - HALF_HOUR).tz_convert(timezone)
    hour = clock.hour + clock.minute / 60
    return (hour >= numbers["timing.open_from_h"]) & (hour < numbers["timing.open_to_h"])


def _fit_hours(hours: pd.DataFrame, numbers: Numbers) -> np.ndarray:
    """1 for an hour fit to open a hive, 0 for another, NaN where the weather is missing."""
    temp, rain, wind = (hours[c].to_numpy(float) for c in ("temp_c", "precip_mm", "wind_ms"))
    fit = (temp >= numbers["timing.open_from_c"]) & (temp <= numbers["timing.open_to_c"])
    fit &= rain < numbers["timing.open_rain_mm"]
    fit &= wind * numbers["foraging.shelter"] <= numbers["timing.open_wind_ms"]
    return np.where(np.isfinite(temp + rain + wind), fit, np.nan)


@dataclass(frozen=True)
class Visits:
    """Chances of days fit to open a hive, and the days on which the keeper comes.

    chance: local date -> share of the runs of weather in which it is fit. fit: the runs
    themselves, (runs, days). own_days: weekdays on which the keeper comes, Monday 0; None for any.
    every_d: days from one visit to the next. least: chance from which a day is counted on.
    """

    chance: pd.Series
    fit: np.ndarray
    own_days: frozenset[int] | None
    every_d: int
    least: float

    def next_fit(self, on: pd.Timestamp) -> pd.Timestamp | None:
        """The first of the keeper's days from `on` that is more likely fit than not; None when no
        such day lies within the days looked at."""
        return next((d for d in self._own(on) if self.chance[d] >= self.least), None)

    def between(self, first: pd.Timestamp, last: pd.Timestamp) -> float:
        """Chance of at least one fit day of the keeper's from `first` to `last`; NaN where none of
        these days is looked at."""
        days = [d for d in self._own(first) if d <= last]
        if not days:
            return float("nan")
        return float(self.fit[:, self.chance.index.get_indexer(days)].any(axis=1).mean())

    def plan(self, first: pd.Timestamp) -> list[pd.Timestamp]:
        """The visits ahead: the first fit day from `first`, then each time the first fit day once
        the interval is over."""
        visits, on = [], self.next_fit(first)
        while on is not None:
            visits.append(on)
            on = self.next_fit(on + timedelta(days=self.every_d))
        return visits

    def _own(self, first: pd.Timestamp) -> list[pd.Timestamp]:
        """The keeper's days from `first` on, as far as they are looked at."""
        days = self.chance.index[self.chance.index >= first]
        return [d for d in days if self.is_own(d)]

    def is_own(self, day: pd.Timestamp) -> bool:
        """Whether the keeper comes on this day of the week."""
        return self.own_days is None or day.weekday() in self.own_days


def read_visits(
    ahead: WeatherAhead,
    numbers: Numbers,
    *,
    own_days: tuple[str, ...] = (),
    every_d: int = 7,
    unknown: int = 0,
) -> Visits:
    """Days fit to open a hive, read off the runs of weather.

    Parameters
    ----------
    ahead : WeatherAhead
        Runs of weather with open_h.
    numbers : Numbers
        timing.open_least_h, timing.fit_least.
    own_days : tuple of str
        The keeper's days of the week, "mon" to "sun"; any day when empty.
    every_d : int
        Days between visits. [d]
    unknown : int
        Days of `ahead` that lie before the issue date.
    """
    fit = ahead["open_h"][:, unknown:] >= numbers["timing.open_least_h"]
    chance = pd.Series(fit.mean(axis=0), index=ahead.dates[unknown:], name="chance")
    days = frozenset(WEEK.index(day) for day in own_days) or None
    return Visits(chance, fit, days, every_d, numbers["timing.fit_least"])
