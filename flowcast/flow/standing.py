"""How the season stands on the issue date, against what is normal here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.flow.outlook import flow_windows
from flowcast.numbers import Numbers
from flowcast.tables import Place
from flowcast.weather import normal_course, season_day


@dataclass(frozen=True)
class Measure:
    """A quantity now, with its normal and the range of 8 years in 10 on this date."""

    now: float
    normal: float
    low: float
    high: float


@dataclass(frozen=True)
class Standing:
    """State of the season on the morning of the issue date.

    lead_d: days the season runs early (late: negative), NaN without a normal.
    warmth_moves: false where bloom no longer follows it. foraging_h: foraging hours a day over the
    last 30 days. gain_kg: net gain of the last 30 days, NaN without enough log. full_days: how many of
    them hives spent without free comb, so that the gain is the least it could have been. last_window:
    first and last day of the last flow window in the log, None without one.
    """

    lead_d: float
    warmth_moves: bool
    soil_frac: Measure
    foraging_h: Measure
    gain_kg: float
    gain_days: int
    last_window: tuple[pd.Timestamp, pd.Timestamp] | None
    full_days: int = 0


def read_standing(
    daily: pd.DataFrame,
    lead_d: float,
    warmth_moves: bool,
    gains: pd.Series,
    threshold_kg: float,
    place: Place,
    numbers: Numbers,
    *,
    full: pd.DatetimeIndex | None = None,
) -> Standing:
    """How the season stands at the end of `daily`.

    Parameters
    ----------
    gains : Series
        The yard's daily net gains by local date. [kg]
    full : DatetimeIndex, optional
        Those dates of them on which the gain is a lower bound.
    """
    month = daily["foraging_h"].rolling(30, min_periods=20).mean()
    smooth = daily.assign(foraging_month_h=month)
    recent = gains[gains.index > daily.index[-1] - pd.Timedelta(days=30)]
    return Standing(
        lead_d=lead_d,
        warmth_moves=warmth_moves,
        soil_frac=_measure(daily, "soil_water_frac", place, numbers),
        foraging_h=_measure(smooth, "foraging_month_h", place, numbers),
        gain_kg=float(recent.sum()) if len(recent) >= 20 else float("nan"),
        gain_days=len(recent),
        last_window=_last_window(gains, threshold_kg, numbers),
        full_days=0 if full is None else int(recent.index.isin(full).sum()),
    )


def _measure(daily: pd.DataFrame, column: str, place: Place, numbers: Numbers) -> Measure:
    course = normal_course(daily, column, place.season_start, numbers)
    today = course.loc[int(season_day(daily.index[-1:], place.season_start)[0])]
    return Measure(
        float(daily[column].iloc[-1]), *(float(today[k]) for k in ("mean", "q10", "q90"))
    )


def _last_window(gains: pd.Series, threshold_kg: float, numbers: Numbers):
    if gains.empty:
        return None
    every = gains.reindex(pd.date_range(gains.index[0], gains.index[-1]))
    windows = flow_windows(np.asarray(every, float), threshold_kg, numbers)
    return (every.index[windows[-1][0]], every.index[windows[-1][1]]) if windows else None
