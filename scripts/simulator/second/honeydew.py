"""Honeydew: sucking insects on trees, which multiply in warm dry spells or hardly at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator.climates import Climate
from simulator.flora import Course, Crop
from simulator.second import orchard
from simulator.second.ground import Seasons, apart, beta_warmth, layers, scaled, step

NAMES = ("spruce honeydew", "fir honeydew", "oak honeydew", "beech honeydew", "pine honeydew")
UNSEEN = 0.05  # of the insects of a good height [1]
HATCH_BEFORE_D = 75.0  # days from hatching to the usual height of the sap [d]


@dataclass(frozen=True)
class Pest:
    """One kind of insect on one kind of tree.

    Attributes
    ----------
    hatched : ndarray, shape (years,)
        What chance leaves of it each spring, as a share of what its trees can feed. [1]
    grows : float
        Rate at the best warmth. [1/d]
    eaten : float
        Most that a full band of its enemies takes. [1/d]
    season : float
        Day of the northern year about which the sap is good.
    lasts_d : float
        How long the sap is good. [d]
    """

    hatched: np.ndarray
    grows: float
    eaten: float
    season: float
    lasts_d: float


def _numbers(days: pd.DataFrame, pest: Pest, seasons: Seasons) -> np.ndarray:
    """Insects of each day, as a share of what the trees can feed in full sap. [1]"""
    warm = beta_warmth(days["temp_mean_c"].to_numpy(), 4, 20, 31)
    lost = 0.75 * (1 - np.exp(-np.maximum(days["precip_mm"].to_numpy() - 7, 0) / 14))
    off = (seasons.since - HATCH_BEFORE_D) / (0.5 * pest.lasts_d)
    feeds = 0.02 + 0.98 / (1 + np.abs(off) ** 4)
    rows = zip(warm.tolist(), lost.tolist(), feeds.tolist(), seasons.year.tolist(), strict=True)
    insects, enemies, before, shown = 1e-3, 0.02, -1, []
    for warmth, washed, fed, year in rows:
        if year != before:
            insects, before = float(pest.hatched[year]), year
        bite = pest.eaten * enemies / (insects + 0.12)
        growth = pest.grows * warmth * (1 - insects / fed) - 0.045 * (1 - warmth)
        insects *= np.exp(min(max(growth - bite, -0.5), 0.3)) * (1 - washed)
        insects = min(max(insects, 1e-6), 1.2)
        enemies += 0.11 * warmth * enemies * insects / (insects + 0.12) - 0.022 * (enemies - 0.01)
        enemies = min(enemies, 0.6)
        shown.append(insects)
    return np.array(shown)


def _gathered(days: pd.DataFrame, insects: np.ndarray) -> np.ndarray:
    """What bees can take up: fresh drops in humid dawns, dried crusts otherwise. [1]"""
    _, deep = layers(days, 160.0)
    sap = step(days["temp_mean_c"].to_numpy(), 12, 3) * np.clip(deep / 0.25, 0.1, 1)
    liquid = 0.2 + 0.8 * step(days["dawn_rh_pct"].to_numpy(), 74, 7)
    rain, drops, taken = np.exp(-days["precip_mm"].to_numpy() / 5), 0.0, []
    for dripped, wet, left in zip(
        (insects * sap).tolist(), liquid.tolist(), rain.tolist(), strict=True
    ):
        drops = (drops + dripped) * left
        taken.append(drops * 0.7 * wet)
        drops = 0.7 * (drops - taken[-1])
    return np.array(taken)


def honeydew_crop(name: str, season: float, days: pd.DataFrame, rng: np.random.Generator) -> Crop:
    """One insect on its tree, with good years, poor ones and years without any."""
    seasons = Seasons.starting(days, season - HATCH_BEFORE_D)
    pest = Pest(
        hatched=10 ** rng.normal(-2.6, 0.75, seasons.years),
        grows=rng.uniform(0.11, 0.15),
        eaten=rng.uniform(0.10, 0.18),
        season=season,
        lasts_d=rng.uniform(55, 95),
    )
    full = scaled(_numbers(days, pest, seasons))

    def under(lived: pd.DataFrame) -> Course:
        insects = _numbers(lived, pest, seasons) / full
        # Nobody sees the few of a poor year.
        seen = np.where(insects < UNSEEN, 0.0, insects)
        return seen, _gathered(lived, seen)

    return Crop.grown(name, "dates", under, days)


def grow(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """One to three honeydews, over shrubs that bloom before and between them."""
    day = np.arange(1, 366)
    warm = day[climate.mean_course(day) > min(13.0, climate.mean_course(climate.warmest_day) - 3)]
    heights = apart(warm, int(rng.integers(1, 4)), 25, rng)
    chosen = rng.choice(len(NAMES), len(heights), replace=False)
    dews = [
        honeydew_crop(NAMES[i], height, days, rng)
        for i, height in zip(chosen, heights, strict=True)
    ]
    return [*orchard.grow(climate, days, rng, names=orchard.SHRUBS, most=2), *dews]
