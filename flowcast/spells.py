"""Spells: runs of days on which something holds, and the dates on which they begin and end."""

from __future__ import annotations

import numpy as np
import pandas as pd


def spells(holds: np.ndarray, least: int, gap: int) -> list[tuple[int, int]]:
    """(first, last) of runs of True, joined over breaks of up to `gap` days, `least` days or longer."""
    return spells_each(holds[None], least, gap)[0]


def spells_each(holds: np.ndarray, least: int, gap: int) -> list[list[tuple[int, int]]]:
    """The spells of each row, shape (rows, days)."""
    rows, first, last = _runs(holds)
    parted = (rows[1:] != rows[:-1]) | (first[1:] - last[:-1] - 1 > gap)
    begins, ends = np.r_[True, parted][: len(rows)], np.r_[parted, True][: len(rows)]
    found: list[list[tuple[int, int]]] = [[] for _ in holds]
    kept = zip(rows[begins].tolist(), first[begins].tolist(), last[ends].tolist(), strict=True)
    for row, start, end in kept:
        if end - start + 1 >= least:
            found[row].append((start, end))
    return found


def _runs(holds: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row, first and last position of every run of True, row by row."""
    changes = np.diff(np.pad(holds.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    rows, first = np.nonzero(changes > 0)
    return rows, first, np.nonzero(changes < 0)[1] - 1


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
