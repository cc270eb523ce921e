"""Blocks of hours from several sources as one table on one climate, each hour's source known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.weather.align import Correction, fit_correction
from flowcast.weather.complete import short_holes

NEEDED = ["temp_c", "precip_mm"]  # an hour that has both is whole


@dataclass(frozen=True)
class Joined:
    """Hours of several blocks in one table.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns of `flowcast.tables.WEATHER`, UTC stamps at the END of each hour.
    block : numpy.ndarray of int, shape (hours,)
        Which block each hour is from.
    corrections : dict
        Climate name -> Correction; None where it had too little in common with the first.
    """

    table: pd.DataFrame
    block: np.ndarray
    corrections: dict[str, Correction | None]


def join_blocks(blocks, climates, numbers):
    """One table from blocks in order of trust.

    Parameters
    ----------
    blocks : list of pandas.DataFrame
        Hourly weather; they may overlap.
    climates : list of str
        The climate of each block: blocks of one service and model share theirs. The first is the
        training climate, on which all others are put.
    numbers : flowcast.numbers.Numbers
        Group align, and weather.max_gap_h.

    Returns
    -------
    Joined

    Notes
    -----
    A block fills whole hours that those before it leave open by more than weather.max_gap_h; it
    never fills single columns, and never an hour or two inside another source's record. An hour that
    no block tells whole is kept as told by the source of the hour before it.
    """
    if len(blocks) == 1:
        return Joined(blocks[0], np.zeros(len(blocks[0]), int), {})
    by_climate = {c: _stacked(blocks, climates, c) for c in dict.fromkeys(climates)}
    training, *others = by_climate
    target = by_climate[training]
    corrections = {c: fit_correction(by_climate[c], target, numbers) for c in others}
    taken = _whole_hours(blocks, int(numbers["weather.max_gap_h"]))
    taken = _with_the_rest(blocks, climates, taken)
    parts, owners = [], []
    for k, (block, climate) in enumerate(zip(blocks, climates, strict=True)):
        correction = corrections.get(climate)
        part = block.loc[taken[k]]
        parts.append(correction.apply(part) if correction is not None and len(part) else part)
        owners.append(np.full(len(part), k))
    filled = [part for part in parts if len(part)]
    table = pd.concat(filled) if filled else blocks[0].iloc[:0]
    order = np.argsort(table.index.asi8, kind="stable")
    return Joined(table.iloc[order], np.concatenate(owners)[order], corrections)


def _stacked(blocks, climates, climate):
    """All hours of one climate, each once."""
    own = [b for b, c in zip(blocks, climates, strict=True) if c == climate]
    table = pd.concat(own).sort_index(kind="stable") if len(own) > 1 else own[0]
    return table[~table.index.duplicated()]


def _whole_hours(blocks, longest):
    """The stamps of whole hours to take from each block, those before it first."""
    covered = pd.DatetimeIndex([], tz="UTC")
    taken = []
    for block in blocks:
        whole = block.index[block[NEEDED].notna().all(axis=1)]
        taken.append(_open(whole, covered, longest))
        covered = covered.union(taken[-1])
    return taken


def _with_the_rest(blocks, climates, taken):
    """The same with hours that no block tells whole, each with the climate of the hour before it."""
    owner = pd.concat([pd.Series(c, t, dtype=object) for c, t in zip(climates, taken, strict=True)])
    owner = owner.sort_index()
    covered, out = owner.index, []
    for block, climate, own in zip(blocks, climates, taken, strict=True):
        rest = block.index[block[NEEDED].notna().any(axis=1)].difference(covered)
        before = owner.reindex(rest, method="ffill")
        mine = rest[(before.isna() | (before == climate)).to_numpy(bool)]
        covered = covered.union(mine)
        out.append(own.union(mine))
    return out


def _open(index, covered, longest):
    """The stamps of `index` that lie outside what is covered, short holes in it left alone."""
    outside = index.difference(covered)
    if not len(covered) or not len(outside):
        return outside
    hours = pd.date_range(covered[0], covered[-1], freq="h")
    there = np.where(hours.isin(covered), 0.0, np.nan)
    return outside.difference(hours[short_holes(there, longest)])
