"""Outlooks of past dates, each from what was known that morning, beside what came."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast.errors import InputError, NotEnoughDataError
from flowcast.flow.outlook import flow_windows
from flowcast.pipeline.gather import Reach, Sources, read_sources
from flowcast.pipeline.record import default_issue_date, known_before
from flowcast.pipeline.run import outlook_from
from flowcast.results import Backtest, Record
from flowcast.tables import QUANTILE_NAMES, QUANTILES
from flowcast.verification import BASELINES, judge, observed_totals, observed_window
from flowcast.verification.summary import OURS

EVERY_D, HORIZON_D, WINDOW_D = 14, 30, 30
MODES = ("past-years", "observed")
WINDOW_COLUMNS = ["issue_date", "weather", "chance", "start", "came", "came_start"]
FIRST_LOG_D = 21  # a log of three weeks is the least from which the simple forecasters say anything


@dataclass(frozen=True)
class Plan:
    """What is asked: issue dates, days ahead, weather modes."""

    origins: pd.DatetimeIndex
    horizon: int
    modes: tuple[str, ...]
    scenarios: int


def backtest(
    folder: Path | str,
    *,
    first: str | pd.Timestamp | None = None,
    last: str | pd.Timestamp | None = None,
    every: int = EVERY_D,
    horizon: int = HORIZON_D,
    modes: tuple[str, ...] = MODES,
    scenarios: int = 1000,
    processes: int = 2,
    as_of: pd.Timestamp | None = None,
    reach: Reach | None = None,
) -> Backtest:
    """Issue outlooks from past dates and compare them with the yard's own log.

    Parameters
    ----------
    first, last : date, optional
        First and last issue date; the last year of the log, as far as its outcome is known.
    every : int
        Days between issue dates.
    horizon : int
        Days ahead.
    modes : tuple of str
        "past-years": the weather ahead is that of past years, a lower bound of what a forecast
        gives. "observed": as it came, an upper bound that no forecast reaches.
    processes : int
        How many to work with.
    as_of : date, optional
        Nothing from this date on is known, to the judge either; all of the log when not given.

    Raises
    ------
    NotEnoughDataError
        When the log or the weather is too short for a single issue date.
    InputError
        When a date or a number asked for makes no sense.
    """
    reach = reach or Reach()
    _check_question(every, horizon, modes)
    sources = _past_only(read_sources(folder, replace(reach, live=False)))
    end = default_issue_date(sources) if as_of is None else as_of
    whole = known_before(sources, end, current=as_of is None)
    plan = Plan(_origins(whole, first, last, every, horizon), horizon, tuple(modes), scenarios)
    truth = _Truth.of(whole)
    found = list(_each(sources, whole, truth, plan, processes, reach))
    forecasts = pd.concat([f for f, _ in found], ignore_index=True)
    told = [w for _, w in found if len(w)] or [found[0][1]]
    windows = pd.concat(told, ignore_index=True)
    verdict = judge(forecasts, windows, whole.yard.flow_day_kg)
    return Backtest(whole, plan.origins, every, horizon, forecasts, windows, verdict)


@dataclass(frozen=True)
class _Truth:
    """What the whole log tells: spans, daily gains, flow windows, and the weather as it came.

    What hives without free comb gained is not what a flow would have brought, so it judges nothing.
    """

    spans: pd.DataFrame
    gains: pd.Series
    windows: list[tuple[pd.Timestamp, pd.Timestamp]]
    daily: pd.DataFrame

    @classmethod
    def of(cls, whole: Record) -> _Truth:
        """What the log of the whole record says, days of full hives left out."""
        spans = whole.spans[whole.spans["lower_bound"] == 0]
        gains = spans[spans["days"] == 1]["gain_kg"]
        if gains.empty:  # weighed by hand: no day is known, so no window either
            return cls(spans, gains, [], whole.daily)
        gains = gains.reindex(pd.date_range(gains.index[0], gains.index[-1]))
        found = flow_windows(gains.to_numpy(float), whole.yard.flow_day_kg, whole.yard.numbers)
        windows = [(gains.index[a], gains.index[b]) for a, b in found]
        return cls(spans, gains, windows, whole.daily)


def _past_only(sources: Sources) -> Sources:
    """Without anything that was not kept from then: forecasts, and the check by a station."""
    others = tuple(_past_only(other) for other in sources.others)
    return replace(sources, ahead=None, recent=None, nearby=(), others=others)


def _check_question(every: int, horizon: int, modes) -> None:
    if every < 1 or not 1 <= horizon <= 90:
        raise InputError("--every is at least 1 day, --horizon 1 to 90 days.")
    unknown = [mode for mode in modes if mode not in MODES]
    if unknown:
        raise InputError(f"--weather {unknown[0]!r}: known are {', '.join(MODES)} and both.")


def _origins(whole: Record, first, last, every: int, horizon: int) -> pd.DatetimeIndex:
    """Issue dates whose outcome the log can tell, the last one as late as can be."""
    if not len(whole.spans):
        raise NotEnoughDataError(
            f"{whole.yard.name}: no gains in the log, so there is nothing to compare with. Give a "
            "scale log or hand weighings."
        )
    ends = whole.spans.index + pd.to_timedelta(whole.spans["days"], unit="D")
    end = min(ends.max(), whole.daily.index[-1] + pd.Timedelta(days=1))
    latest = end - pd.Timedelta(days=horizon)
    earliest = max(
        whole.spans.index[0] + pd.Timedelta(days=FIRST_LOG_D),
        whole.daily.index[0] + pd.Timedelta(days=60),
    )
    stop = latest if last is None else min(pd.Timestamp(last), end - pd.Timedelta(days=1))
    start = max(stop - pd.Timedelta(days=364), earliest) if first is None else pd.Timestamp(first)
    if start > stop:
        raise NotEnoughDataError(
            f"{whole.yard.name}: the log ({whole.spans.index[0]:%Y-%m-%d} to {end:%Y-%m-%d}) is too "
            f"short for an outlook of {horizon} days to be judged. Take a shorter --horizon, or "
            "other dates."
        )
    dates = pd.date_range(end=stop, start=start, freq="D")[::-1][::every][::-1]
    return _on_weighings(dates, whole)


def _on_weighings(dates: pd.DatetimeIndex, whole: Record) -> pd.DatetimeIndex:
    """A yard weighed by hand is judged from weighing to weighing: each date moves to the next."""
    if (whole.spans["days"] == 1).any():
        return dates
    starts = whole.spans.index.unique()
    at = starts.searchsorted(dates)
    return starts[np.unique(at[at < len(starts)])]


def _each(
    sources: Sources, whole: Record, truth: _Truth, plan: Plan, processes: int, reach: Reach
) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """The rows of each issue date, in order."""
    jobs = [(sources, truth, issue, plan) for issue in plan.origins]
    many = processes > 1 and len(jobs) > 3
    with ProcessPoolExecutor(processes if many else 1) as pool:
        run = pool.map(_issued, jobs) if many else map(_issued, jobs)
        for done, rows in enumerate(run, start=1):
            reach.tell(f"{done} of {len(jobs)} outlooks", done / len(jobs))
            yield rows


def _issued(job) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All rows of one issue date: ours in each weather mode, then the simple forecasters'."""
    sources, truth, issue, plan = job
    record = known_before(sources, issue)
    dates = pd.date_range(issue, periods=plan.horizon)
    observed = _Observed(
        daily=truth.gains.reindex(dates).to_numpy(float),
        total=observed_totals(truth.spans, issue, plan.horizon),
    )
    rows, windows = [], []
    for mode in plan.modes:
        # Two days more where there are any, so that centred means are whole at the end.
        longer = pd.date_range(record.daily.index[-1] + pd.Timedelta(days=1), dates[-1])
        ahead = truth.daily.reindex(longer) if mode == "observed" else None
        extra = 0 if mode == "observed" else 2
        found = outlook_from(
            record, ahead=ahead, horizon=plan.horizon + extra, scenarios=plan.scenarios
        ).outlook
        rows.append(_ours(found, mode, issue, plan, observed))
        windows.append(_window_row(found, truth, mode, issue))
    rows += _simple(record, issue, dates, observed)
    told = pd.DataFrame([w for w in windows if w], columns=WINDOW_COLUMNS)
    return pd.concat(rows, ignore_index=True), told


@dataclass(frozen=True)
class _Observed:
    daily: np.ndarray
    total: np.ndarray


def _ours(found, mode: str, issue, plan: Plan, observed: _Observed) -> pd.DataFrame:
    names = list(QUANTILE_NAMES)
    daily = found.daily.iloc[: plan.horizon]
    parts = [
        _rows(issue, OURS, mode, "daily", daily[names].to_numpy(), observed.daily).assign(
            p_flow_day=daily["p_flow_day"].to_numpy()
        ),
        _rows(
            issue,
            OURS,
            mode,
            "total",
            found.total.iloc[: plan.horizon][names].to_numpy(),
            observed.total,
        ),
    ]
    return pd.concat(parts, ignore_index=True)


def _simple(record: Record, issue, dates, observed: _Observed) -> list[pd.DataFrame]:
    """The simple forecasters, from the daily gains known that morning; none without any."""
    gains = record.spans[(record.spans["days"] == 1) & (record.spans["lower_bound"] == 0)][
        "gain_kg"
    ]
    if not len(gains):
        return []
    gains = gains.reindex(pd.date_range(gains.index[0], issue - pd.Timedelta(days=1)))
    threshold = record.yard.flow_day_kg
    parts = []
    for name, forecaster in BASELINES.items():
        daily, total = forecaster(gains, dates, QUANTILES)
        chance = [_chance_above(row, threshold) for row in daily]
        parts += [
            _rows(issue, name, "none", "daily", daily, observed.daily).assign(p_flow_day=chance),
            _rows(issue, name, "none", "total", total, observed.total),
        ]
    return parts


def _chance_above(quantiles: np.ndarray, threshold: float) -> float:
    """Chance of at least so much by a straight line through the quantiles."""
    return float(1 - np.interp(threshold, quantiles, QUANTILES, left=0.0, right=1.0))


def _rows(issue, forecaster: str, weather: str, target: str, fcst, observed) -> pd.DataFrame:
    table = pd.DataFrame(fcst, columns=list(QUANTILE_NAMES))
    return table.assign(
        issue_date=issue,
        forecaster=forecaster,
        weather=weather,
        target=target,
        lead_day=np.arange(1, len(table) + 1),
        p_flow_day=np.nan,
        observed=observed,
    )


def _window_row(found, truth: _Truth, mode: str, issue: pd.Timestamp) -> dict | None:
    """Chance and start of a flow window beside what came; None where the log does not tell."""
    days = found.window_days
    known = truth.gains.reindex(pd.date_range(issue, periods=days)).notna().mean()
    if known < 0.8:
        return None
    came, start = observed_window(truth.windows, issue, days)
    return {
        "issue_date": issue,
        "weather": mode,
        "chance": found.window.chance,
        "start": found.window.start[1] if found.window.start else pd.NaT,
        "came": came,
        "came_start": start,
    }
