"""What is read off the scenarios: gains, flow days, flow windows, each with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.flow.scenarios import Scenarios
from flowcast.numbers import Numbers
from flowcast.spells import end_dates, first_ahead, spells_each, start_dates
from flowcast.tables import QUANTILE_NAMES, QUANTILES

BLOCK = 2000  # runs of which windows are sought at once


@dataclass(frozen=True)
class WindowForecast:
    """The first flow window that touches the days asked about.

    chance: that there is one. open_chance: that it is open on the issue date. start, end:
    quantiles 10, 50, 90 % as dates, given that one comes; end None where most scenarios run past
    the days looked at. size_kg: quantiles 10, 50, 90 % of the gain from the issue date on.
    """

    chance: float
    open_chance: float
    start: tuple[pd.Timestamp, ...] | None
    end: tuple[pd.Timestamp | None, ...] | None
    size_kg: tuple[float, ...] | None


@dataclass(frozen=True)
class Outlook:
    """The forecast from one issue date.

    daily and total: index the local date, columns q05 ... q95 (`tables.QUANTILES`) of the daily
    gain and of the running total from the issue date; daily also has p_flow_day and the medians
    of foraging_h and soil_frac. weekly: index the first date of each week, the same quantiles of
    the week's gain, days (its length) and flow_days (how many are expected to be). [kg]
    """

    issue_date: pd.Timestamp
    threshold_kg: float
    window_days: int
    daily: pd.DataFrame
    total: pd.DataFrame
    weekly: pd.DataFrame
    window: WindowForecast
    scenarios: Scenarios

    @property
    def chance_word(self) -> str:
        """The chance of a flow window in one word, tied to stated chances."""
        return chance_word(self.window.chance)

    def total_after(self, days: int) -> pd.Series:
        """Quantiles of the gain of lead days 1 to `days`. [kg]"""
        return self.total.iloc[days - 1]


def chance_word(chance: float) -> str:
    """likely from 2 in 3, unlikely up to 1 in 3, else even."""
    if chance >= 2 / 3:
        return "likely"
    return "unlikely" if chance <= 1 / 3 else "even"


def read_outlook(
    scenarios: Scenarios,
    recent_gain_kg: np.ndarray,
    threshold_kg: float,
    numbers: Numbers,
    window_days: int = 30,
) -> Outlook:
    """Read an outlook off the scenarios.

    Parameters
    ----------
    recent_gain_kg : array, shape (days,)
        Daily net gains up to the day before the issue date, NaN where unknown, so that a flow
        under way is seen as one. [kg/d]
    threshold_kg : float
        Daily net gain from which a day is a flow day. [kg/d]
    window_days : int
        Lead days in which a flow window is asked for.
    """
    dates, gain = scenarios.dates, scenarios.gain_kg
    daily = _quantile_table(gain, dates)
    daily["p_flow_day"] = (gain >= threshold_kg).mean(0)
    daily["foraging_h"] = np.median(scenarios.foraging_h, axis=0)
    daily["soil_frac"] = np.median(scenarios.soil_frac, axis=0)
    return Outlook(
        issue_date=dates[0],
        threshold_kg=threshold_kg,
        window_days=min(window_days, len(dates)),
        daily=daily,
        total=_quantile_table(np.cumsum(gain, axis=1), dates),
        weekly=_weekly(gain[:, :window_days], daily["p_flow_day"], dates),
        window=_window(scenarios, recent_gain_kg, threshold_kg, numbers, window_days),
        scenarios=scenarios.thinned(),
    )


def _quantile_table(values: np.ndarray, dates: pd.DatetimeIndex) -> pd.DataFrame:
    return pd.DataFrame(
        np.quantile(values, QUANTILES, axis=0).T, index=dates, columns=list(QUANTILE_NAMES)
    )


def _weekly(gain: np.ndarray, p_flow_day: pd.Series, dates: pd.DatetimeIndex) -> pd.DataFrame:
    """Weeks from the issue date on; a rest of three days or less joins the week before."""
    firsts = [d for d in range(0, gain.shape[1], 7) if gain.shape[1] - d > 3]
    sums = np.add.reduceat(gain, firsts, axis=1)
    weeks = _quantile_table(sums, dates[firsts])
    return weeks.assign(
        days=np.diff([*firsts, gain.shape[1]]),
        flow_days=np.add.reduceat(p_flow_day.to_numpy()[: gain.shape[1]], firsts),
    )


def flow_windows(
    gain_kg: np.ndarray, threshold_kg: float, numbers: Numbers
) -> list[tuple[int, int]]:
    """Flow windows of one run of daily gains, as (first, last) positions.

    A 5-day centred mean at or above the threshold for 5 days or more; a break of up to 2 days
    does not end it. Unknown days (NaN) are passed over in the mean.
    """
    return flow_windows_each(np.atleast_2d(gain_kg), threshold_kg, numbers)[0]


def flow_windows_each(
    runs_kg: np.ndarray, threshold_kg: float, numbers: Numbers
) -> list[list[tuple[int, int]]]:
    """The flow windows of each of many runs, shape (runs, days)."""
    width = int(numbers["flow.window_mean_d"])
    blocks = np.array_split(runs_kg, -(-max(len(runs_kg), 1) // BLOCK))
    flowing = np.concatenate([_centred_mean(block, width) >= threshold_kg for block in blocks])
    least, gap = int(numbers["flow.window_least_d"]), int(numbers["flow.window_break_d"])
    return spells_each(flowing, least, gap)


def _centred_mean(gain: np.ndarray, width: int) -> np.ndarray:
    half = width // 2
    count, total = (
        sum(padded[:, k : padded.shape[1] - width + 1 + k] for k in range(width))
        for values in (np.isfinite(gain).astype(int), np.nan_to_num(gain))
        for padded in [np.pad(values, ((0, 0), (half, half)))]
    )
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _window(
    scenarios: Scenarios, recent: np.ndarray, threshold: float, numbers: Numbers, window_days: int
) -> WindowForecast:
    past = recent[-int(numbers["flow.window_look_back_d"]) :]
    runs = np.hstack([np.tile(past, (len(scenarios.gain_kg), 1)), scenarios.gain_kg])
    windows = flow_windows_each(runs, threshold, numbers)
    found = [first_ahead(each, len(past), window_days) for each in windows]
    kept = [(row, window) for row, window in enumerate(found) if window]
    if not kept:
        return WindowForecast(0.0, 0.0, None, None, None)
    first = np.array([window[0] for _, window in kept]) - len(past)
    last = np.array([window[1] for _, window in kept]) - len(past)
    size = [
        scenarios.gain_kg[r, max(a, 0) : b + 1].sum()
        for (r, _), a, b in zip(kept, first, last, strict=True)
    ]
    return WindowForecast(
        chance=len(kept) / len(found),
        open_chance=float((first <= 0).sum() / len(found)),
        start=start_dates(first, scenarios.dates),
        end=end_dates(last, scenarios.dates),
        size_kg=tuple(float(v) for v in np.quantile(size, [0.1, 0.5, 0.9])),
    )
