"""How long the stores last, and what to feed by when."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.when import Advice


@dataclass(frozen=True, kw_only=True)
class StoresAdvice(Advice):
    """Verdicts: "enough", "feed", "feed now", "supers off first", "unknown".

    stores_kg: quantiles 10, 50, 90 % of what is in the hive now. low: index the date; chance that
    the stores have fallen to the floor by then, before the next flow. peak: first and last date
    of the four weeks in which most scenarios that fall to it do so. feed_kg: stores to be made in
    all, portion_kg at a time, sugar_kg that takes. food: "syrup 2:1", "syrup 1:1" or "fondant".
    finish_by: last day for syrup; then fondant.
    """

    stores_kg: tuple[float, float, float] | None = None
    floor_kg: float = 0.0
    low: pd.DataFrame | None = None
    peak: tuple[pd.Timestamp, pd.Timestamp] | None = None
    feed_kg: tuple[float, float, float] | None = None
    portion_kg: float | None = None
    sugar_kg: float | None = None
    food: str | None = None
    finish_by: pd.Timestamp | None = None
