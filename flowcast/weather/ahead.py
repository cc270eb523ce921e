"""Weather that could come, day by day: one set of runs for everything that is read off the future.

Beyond any weather forecast the weather ahead is each past year's, from the same calendar date. A
yard whose weather holds no past year has only its last weeks to go by; they are laid end to end
in every order of time, and whoever shows the outlook says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.errors import NotEnoughDataError
from flowcast.numbers import Numbers

LAST_WEEKS = "the last weeks"
# What a day ahead must have, whatever is read off it: flow, beetles or dates for work.
NEEDED = [
    "temp_mean_c",
    "temp_max_c",
    "temp_min_c",
    "wind_ms",
    "precip_mm",
    "et0_mm",
    "rh_pct",
    "ghi_wm2",
    "dusk_temp_c",
    "foraging_h",
    "open_h",
    "degree_days_cd",
]


@dataclass(frozen=True)
class WeatherAhead:
    """Runs of weather ahead.

    columns: each of `NEEDED` as an array (runs, days). labels: the past year each run is of, or
    ends in. followed_d: for how many days each run follows a weather forecast before a past year
    takes over.
    """

    dates: pd.DatetimeIndex
    columns: dict[str, np.ndarray]
    labels: tuple[str, ...]
    followed_d: np.ndarray

    def __getitem__(self, column: str) -> np.ndarray:
        """One column of every run, shape (runs, days)."""
        return self.columns[column]

    def first(self, days: int) -> WeatherAhead:
        """The same runs, no further than so many days."""
        return replace(
            self,
            dates=self.dates[:days],
            columns={name: values[:, :days] for name, values in self.columns.items()},
            followed_d=np.minimum(self.followed_d, days),
        )


def past_years_ahead(daily: pd.DataFrame, horizon: int, numbers: Numbers) -> WeatherAhead:
    """Each past year's weather from the date after `daily` ends, for `horizon` days.

    Neighbouring starts (a few days earlier and later) of the same year stand for weather that
    would have been as likely on these dates. Without any whole past year: the last weeks.

    Raises
    ------
    NotEnoughDataError
        When there are not even two whole weeks of weather.
    """
    runs, labels = _past_runs(daily, horizon, numbers)
    return _joined(runs, labels, daily)


def forecast_ahead(
    daily: pd.DataFrame,
    members: list[pd.DataFrame],
    is_point: bool,
    horizon: int,
    numbers: Numbers,
) -> WeatherAhead:
    """Members of a weather forecast, each handed over to a past year on a day of its own.

    Parameters
    ----------
    members : list of DataFrame
        Daily weather from the day after `daily` ends; columns as of `daily`.
    is_point : bool
        The members are one run, which says nothing of its uncertainty: some of them leave it soon,
        as often as such forecasts lose the weather (flow.point_half_d). An ensemble is followed
        to flow.join_from_d at least; from there on its members leave one by one, so that the
        spread of past years takes over without a jump.
    """
    past, labels = _past_runs(daily, horizon, numbers)
    count = max(len(members), len(past), int(numbers["flow.forecast_runs"]))
    leave = _leaving_days(members, is_point, count, numbers)
    # Strides without a common factor, so that members, past years and days of leaving mix.
    own = [members[k % len(members)] for k in range(count)]
    then = [(k * 7 + k // len(past)) % len(past) for k in range(count)]
    runs = [
        _handed_over(member, past[p], int(days), horizon)
        for member, p, days in zip(own, then, leave, strict=True)
    ]
    ahead = _joined(runs, [labels[p] for p in then], daily)
    return replace(ahead, followed_d=np.minimum(leave, horizon))


def known_ahead(daily: pd.DataFrame, ahead: pd.DataFrame) -> WeatherAhead:
    """The weather ahead as it truly came: for judging a model apart from the weather."""
    run = {name: ahead[name].to_numpy(float) for name in NEEDED}
    return _joined([run], ["as it came"], daily)


def _joined(runs: list[dict], labels: list[str], daily: pd.DataFrame) -> WeatherAhead:
    first = daily.index[-1] + pd.Timedelta(days=1)
    columns = {name: np.array([run[name] for run in runs]) for name in NEEDED}
    dates = pd.date_range(first, periods=columns["precip_mm"].shape[1])
    return WeatherAhead(dates, columns, tuple(labels), np.zeros(len(runs), int))


def _leaving_days(members, is_point: bool, count: int, numbers: Numbers) -> np.ndarray:
    """After how many days each run leaves the forecast, spread evenly over their distribution."""
    lengths = np.array([len(members[k % len(members)]) for k in range(count)])
    share = (np.argsort(np.argsort(np.arange(count) * 0.6180339887 % 1)) + 0.5) / count
    if is_point:
        days = numbers["flow.point_half_d"] * np.sqrt(-np.log2(share))
    else:
        first = np.minimum(numbers["flow.join_from_d"], lengths)
        days = first + share * (lengths - first)
    return np.clip(np.round(days), 1, lengths).astype(int)


def _handed_over(member: pd.DataFrame, past: dict, days: int, horizon: int) -> dict:
    """So many days of the member, then the past year from the same date on."""
    days = min(days, horizon)
    return {name: np.r_[member[name].to_numpy(float)[:days], past[name][days:]] for name in NEEDED}


def _past_runs(daily: pd.DataFrame, horizon: int, numbers: Numbers) -> tuple[list[dict], list[str]]:
    start = daily.index[-1] + pd.Timedelta(days=1)
    shift = int(numbers["flow.start_shift_d"])
    runs, labels = [], []
    for years_ago in range(1, start.year - daily.index[0].year + 1):
        for days_off in (-shift, 0, shift) if shift else (0,):
            first = start - pd.DateOffset(years=years_ago) + pd.Timedelta(days=days_off)
            run = _run(daily, daily.index.get_indexer([first])[0], horizon)
            if run is not None:
                runs.append(run)
                labels.append(str(start.year - years_ago))
    if not runs:
        runs = _last_weeks(daily, horizon, int(numbers["flow.last_weeks_d"]))
        labels = [LAST_WEEKS] * len(runs)
    return runs, labels


def _run(daily: pd.DataFrame, first: int, horizon: int) -> dict | None:
    """`horizon` days of columns from this position; None when they are not whole."""
    if first < 0 or first + horizon > len(daily):
        return None
    part = daily.iloc[first : first + horizon]
    run = {name: part[name].to_numpy(float) for name in NEEDED}
    return run if all(np.isfinite(run[name]).all() for name in NEEDED) else None


def _last_weeks(daily: pd.DataFrame, horizon: int, most: int) -> list[dict]:
    """The last whole days of weather, repeated over the horizon from each of several starts."""
    whole = daily[NEEDED].notna().all(axis=1).to_numpy()
    length = min(most, int(np.argmin(np.r_[whole[::-1], False])))
    recent = _run(daily, len(daily) - length, length) if length >= 14 else None
    if recent is None:
        raise NotEnoughDataError(
            f"the weather before {daily.index[-1] + pd.Timedelta(days=1):%Y-%m-%d} holds no past year and not "
            "even two whole weeks. Give at least two years of it."
        )
    starts = range(0, length, max(1, length // 15))
    order = [(start + np.arange(horizon)) % length for start in starts]
    return [{name: values[days] for name, values in recent.items()} for days in order]
