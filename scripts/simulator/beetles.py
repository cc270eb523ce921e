"""Beetles in the trays of an invented yard: a stock that breeds in warm damp soil and lives long."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.signal import lfilter
from scipy.special import expit

ADULT_LIFE_D, SOIL_D = 75.0, 30.0
SIZE = 3.0  # of the negative binomial that a tray shows of the stock
COLUMNS = (
    "date", "hive", "days", "beetles", "larvae", "trap", "frames_of_bees", "queenright",
)  # fmt: skip


def standing_stock(days: pd.DataFrame) -> np.ndarray:
    """Beetles in a colony on each day, lagging the breeding weather by months. [1]"""
    soil = lfilter([0.08], [1, -0.92], days["temp_mean_c"].to_numpy())
    damp = lfilter([1 / 15], [1, -14 / 15], days["precip_mm"].to_numpy())
    breeding = expit((soil - 21) / 1.8) * (1 - np.exp(-damp / 2))
    emerging = lfilter([1 / SOIL_D], [1, -1 + 1 / SOIL_D], breeding)
    return lfilter([1], [1, -1 + 1 / ADULT_LIFE_D], 0.9 * emerging + 0.05)


def tray_counts(days: pd.DataFrame, hives: list[str], rng: np.random.Generator) -> pd.DataFrame:
    """Lines of beetles.csv: counts of oil trays that lay for about two weeks.

    Parameters
    ----------
    days : DataFrame
        `weather.local_days` of the time in which trays were read.
    hives : list of str
        Each with its own share of beetles.
    rng : numpy.random.Generator
        The only source of chance.
    """
    stock = standing_stock(days)
    share = dict(zip(hives, np.exp(rng.normal(0, 0.3, len(hives))), strict=True))
    covered = dict(zip(hives, rng.uniform(8.5, 11.5, len(hives)), strict=True))
    rows, at = [], 60  # the stock needs some weeks from its start
    while at < len(days):
        lay = int(rng.choice([12, 14, 14, 16]))
        for hive in hives:
            if rng.random() < 0.85:
                mean = float(stock[at] * share[hive])
                seen = rng.negative_binomial(SIZE, SIZE / (SIZE + mean))
                frames = round(float(covered[hive] + rng.normal(0, 0.8)))
                date = days.index[at].strftime("%Y-%m-%d")
                rows.append((date, hive, lay, int(seen), "no", "oil tray", frames, "yes"))
        at += lay + int(rng.integers(0, 30))
    return pd.DataFrame(rows, columns=list(COLUMNS))
