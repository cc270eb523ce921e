"""Hours of flight of a span, and those that cold, heat, rain, wind, poor light and damp took."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.foraging import FACTORS
from flowcast.numbers import Numbers
from flowcast.reasons.spans import Against, against

FLIGHT = ("foraging_h", "foraging_days")
LOST = tuple(f"lost_{factor}_h" for factor in FACTORS)


def hours_against(
    spans: dict[int, pd.DataFrame], year: int, numbers: Numbers
) -> dict[str, Against]:
    """Foraging hours and days, and hours lost to each factor, each against the other years.

    Sums over the days that are known, as if all were: a missing day counts as the mean of its span.
    """
    sums = {y: _sums(part, numbers) for y, part in spans.items()}
    return {name: against({y: s[name] for y, s in sums.items()}, year) for name in (*FLIGHT, *LOST)}


def _sums(part: pd.DataFrame, numbers: Numbers) -> dict[str, float]:
    known = part["foraging_h"].notna()
    if not known.any():
        return dict.fromkeys((*FLIGHT, *LOST), np.nan)
    whole = len(part) / known.sum()
    days = (part["foraging_h"] >= numbers["foraging.day_h"]).sum()
    hours = part[["foraging_h", *LOST]].sum()
    return {"foraging_days": float(days * whole)} | (hours * whole).to_dict()


def by_month(spans: dict[int, pd.DataFrame], year: int) -> pd.DataFrame:
    """Foraging hours of each calendar month of the span, beside the other years'.

    Returns
    -------
    DataFrame
        Index: first date of each month within the span; now, usual, low, high: hours in the days of
        the month that lie in the span; lost: the factor that took most beyond the usual, "" where
        none took an hour. [h]
    """
    rows = {}
    for month, days in spans[year].groupby(pd.Grouper(freq="MS")):
        at = spans[year].index.get_indexer(days.index)
        values = {y: float(part["foraging_h"].iloc[at].sum()) for y, part in spans.items()}
        found = against(values, year)
        rows[max(month, spans[year].index[0])] = {
            "now": found.now,
            "usual": found.usual,
            "low": found.low,
            "high": found.high,
            "lost": _most_lost(spans, year, at),
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def _most_lost(spans: dict[int, pd.DataFrame], year: int, at: np.ndarray) -> str:
    more = {
        factor: against(
            {y: float(p[f"lost_{factor}_h"].iloc[at].sum()) for y, p in spans.items()}, year
        ).more
        for factor in FACTORS
    }
    factor = max(more, key=lambda f: np.nan_to_num(more[f], nan=-np.inf))
    return factor if more[factor] >= 1 else ""
