"""Spells: runs of days on which something holds, and the dates on which they begin and end."""

from __future__ import annotations

import numpy as np
import pandas as pd


def spells(holds: np.ndarray, least: int, gap: int) -> list[tuple[int, int]]:
    """(first, last) of runs of True, joined over breaks of up to `gap` days, `least` days or longer."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(int)))
    joined: list[list[int]] = []
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        if joined and first - joined[-1][1] - 1 <= gap:
            joined[-1][1] = after - 1
        else:
            joined.append([first, after - 1])
    return [(int(a), int(b)) for a, b in joined if b - a + 1 >= least]


def first_ahead(found: list[tuple[int, int]], now: int, days: int) -> tuple[int, int] | None:
    """The first spell with a day among lead days 1 to `days`; position `now` is lead day 1."""
    return next((w for w in found if w[1] >= now and w[0] < now + days), None)


def three(values: np.ndarray) -> np.ndarray:
    """The 10, 50 and 90 % quantiles, each one of the values."""
    return np.quantile(values, [0.1, 0.5, 0.9], method="nearest")


def start_dates(first: np.ndarray, dates: pd.DatetimeIndex) -> tuple[pd.Timestamp, ...]:
    """Quantiles of first positions as dates; position 0 is the first date, below it the past."""
    return tuple(dates[0] + pd.Timedelta(days=int(d)) for d in three(first))


def end_dates(last: np.ndarray, dates: pd.DatetimeIndex) -> tuple[pd.Timestamp | None, ...]:
    """Quantiles of last positions as dates; None where they reach the last day looked at."""
    return tuple(
        dates[0] + pd.Timedelta(days=int(d)) if d < len(dates) - 1 else None for d in three(last)
    )
