"""Blocks of hours from several sources as one table on one climate, each hour's source known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.weather.align import Correction, fit_correction
from flowcast.weather.complete import short_holes


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
    never fills single columns, and never an hour or two inside another source's record.
    """
    if len(blocks) == 1:
        return Joined(blocks[0], np.zeros(len(blocks[0]), int), {})
    by_climate = {c: _stacked(blocks, climates, c) for c in dict.fromkeys(climates)}
    training, *others = by_climate
    target = by_climate[training]
    corrections = {c: fit_correction(by_climate[c], target, numbers) for c in others}
    parts, owners = [], []
    covered = pd.DatetimeIndex([], tz="UTC")
    for k, (block, climate) in enumerate(zip(blocks, climates, strict=True)):
        known = block[block["temp_c"].notna() & block["precip_mm"].notna()]
        wanted = _open(known.index, covered, int(numbers["weather.max_gap_h"]))
        correction = corrections.get(climate)
        part = block.loc[wanted]
        parts.append(correction.apply(part) if correction is not None and len(part) else part)
        owners.append(np.full(len(part), k))
        covered = covered.union(part.index)
    filled = [part for part in parts if len(part)]
    table = pd.concat(filled) if filled else blocks[0].iloc[:0]
    order = np.argsort(table.index.asi8, kind="stable")
    return Joined(table.iloc[order], np.concatenate(owners)[order], corrections)


def _stacked(blocks, climates, climate):
    """All hours of one climate, each once."""
    own = [b for b, c in zip(blocks, climates, strict=True) if c == climate]
    table = pd.concat(own).sort_index(kind="stable") if len(own) > 1 else own[0]
    return table[~table.index.duplicated()]


def _open(index, covered, longest):
    """The stamps of `index` that lie outside what is covered, short holes in it left alone."""
    outside = index.difference(covered)
    if not len(covered) or not len(outside):
        return outside
    hours = pd.date_range(covered[0], covered[-1], freq="h")
    there = np.where(hours.isin(covered), 0.0, np.nan)
    return outside.difference(hours[short_holes(there, longest)])
