"""What a log says of each day's gain: the day's own, or the mean of the totals that hold the day.

A total over a week or two does not tell one of its days from another. Evened out over them it tells
of their mean, as often as it has days, each time so much less surely that all of them together tell no
more than the total does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from flowcast.numbers import Numbers


@dataclass(frozen=True)
class Total:
    """What a hive gained in so many days from day number `at` of the record on. [d, kg]"""

    at: int
    days: int
    gain_kg: float
    sd_kg: float

    @property
    def within(self) -> slice:
        """Its days."""
        return slice(self.at, self.at + self.days)


@dataclass(frozen=True)
class Evened:
    """Gains of days, of which a value may be the mean of several.

    gain_kg: NaN where nothing is known, shape (days,). length: over how many days each is a mean; of
    several hives' totals the mean. var: variance of each beyond the scatter of its days [kg2/d2].
    over: of which days each is the mean, shape (days, days), rows adding up to 1.
    """

    gain_kg: np.ndarray
    length: np.ndarray
    var: np.ndarray
    over: csr_array

    def mean(self, values: np.ndarray) -> np.ndarray:
        """The same means of anything that is known of the single days, which are the last axis."""
        return (self.over @ np.asarray(values, float).T).T


def evened_out(gain_kg: np.ndarray, totals: Sequence[Total], numbers: Numbers) -> Evened:
    """Lay totals over the days that have no gain of their own; where hives' totals meet, their mean.

    Parameters
    ----------
    gain_kg : array, shape (days,)
        Daily net gain; NaN where unknown. [kg]
    totals : sequence of Total
        All within the days; they may overlap.
    """
    days, own = len(gain_kg), np.isfinite(gain_kg)
    held = np.zeros(days)  # how many totals hold each day
    sums = np.zeros((3, days))  # of their daily gain, length and variance
    for total in totals:
        held[total.within] += 1.0
        each = total.gain_kg / total.days, total.days, _variance(total, numbers)
        sums[:, total.within] += np.array(each)[:, None]
    shared = ~own & (held > 0)
    gain, length, var = (
        np.where(shared, total / np.maximum(held, 1.0), none)
        for total, none in zip(sums, (gain_kg, np.ones(days), np.zeros(days)), strict=True)
    )
    # Two hives are two looks at the yard's mean.
    var = var / np.maximum(held, 1.0)
    return Evened(gain, length, var, _means(totals, held, shared))


def _variance(total: Total, numbers: Numbers) -> float:
    """Of a total's daily mean: the error of its ends, and what a span that looks barren hides."""
    return (total.sd_kg / total.days) ** 2 + numbers["flow.total_stray_kg"] ** 2


def _means(totals: Sequence[Total], held: np.ndarray, shared: np.ndarray) -> csr_array:
    """The mean of each shared day's totals, and every other day itself."""
    alone = np.flatnonzero(~shared)
    rows, columns, weights = [alone], [alone], [np.ones(len(alone))]
    for total in totals:
        days = np.arange(total.at, total.at + total.days)
        row = days[shared[days]]
        rows.append(np.repeat(row, len(days)))
        columns.append(np.tile(days, len(row)))
        weights.append(np.repeat(1.0 / (held[row] * total.days), len(days)))
    entries = (np.concatenate(part) for part in (rows, columns))
    return csr_array((np.concatenate(weights), tuple(entries)), shape=(len(held), len(held)))
