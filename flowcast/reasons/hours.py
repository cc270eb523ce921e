"""Hours of flight of a span, and those that cold, heat, rain, wind, poor light and damp took."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.foraging import FACTORS
from flowcast.numbers import Numbers
from flowcast.reasons.spans import Against, against, known_sum

FLIGHT = ("foraging_h", "foraging_days")
LOST = tuple(f"lost_{factor}_h" for factor in FACTORS)


def hours_against(
    spans: dict[int, pd.DataFrame], year: int, numbers: Numbers
) -> dict[str, Against]:
    """Foraging hours and days, and hours lost to each factor, each against the other years.

    Sums over the days that are known, as if all were; NaN where too few are (`spans.known_sum`).
    """
    sums = {y: _sums(part, numbers) for y, part in spans.items()}
    return {name: against({y: s[name] for y, s in sums.items()}, year) for name in (*FLIGHT, *LOST)}


def _sums(part: pd.DataFrame, numbers: Numbers) -> dict[str, float]:
    hours = part["foraging_h"].to_numpy(float)
    flew = np.where(np.isfinite(hours), hours >= numbers["foraging.day_h"], np.nan)
    values = {"foraging_h": hours, "foraging_days": flew} | {name: part[name] for name in LOST}
    return {name: known_sum(each, numbers) for name, each in values.items()}


def by_month(spans: dict[int, pd.DataFrame], year: int, numbers: Numbers) -> pd.DataFrame:
    """Foraging hours of each calendar month of the span, beside the other years'.

    Returns
    -------
    DataFrame
        Index: first date of each month within the span; now, usual, low, high: hours in the days of
        the month that lie in the span; lost: the factor that took most beyond the usual, "" where
        none took an hour, or where there is hardly any flight. [h]
    """
    rows = {}
    for month, days in spans[year].groupby(pd.Grouper(freq="MS")):
        at = spans[year].index.get_indexer(days.index)
        sums = {y: _sums(part.iloc[at], numbers) for y, part in spans.items()}
        found = against({y: s["foraging_h"] for y, s in sums.items()}, year)
        rows[max(month, spans[year].index[0])] = {
            "now": found.now,
            "usual": found.usual,
            "low": found.low,
            "high": found.high,
            "lost": _most_lost(sums, year) if found.usual >= 1 else "",
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def _most_lost(sums: dict[int, dict[str, float]], year: int) -> str:
    more = {
        factor: against({y: s[f"lost_{factor}_h"] for y, s in sums.items()}, year).more
        for factor in FACTORS
    }
    factor = max(more, key=lambda f: np.nan_to_num(more[f], nan=-np.inf))
    return factor if more[factor] >= 1 else ""
