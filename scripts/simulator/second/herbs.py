"""Herbs of the rains: so many come up as the rains bring, and heat and drought end them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator.climates import YEAR_D, Climate
from simulator.flora import Course, Crop
from simulator.second import tropics
from simulator.second.ground import Seasons, beta_warmth, layers, luck, scaled, step

NAMES = (
    "desert marigold", "phlox", "mallow", "viper's bugloss", "wild radish", "yellow starthistle",
    "oregano", "sage", "savory", "cosmos", "niger seed", "heliotrope",
)  # fmt: skip
BULBS = ("squill", "winter heath", "strawberry tree", "autumn crocus")
PERENNIAL = 0.35  # share of a stand that is there whatever the rains [1]
STARTS_BEFORE_D = 110.0  # days from the start of a herb's year to the height of its rains [d]


@dataclass(frozen=True)
class Herb:
    """One herb; arrays have one value a year, of its own chance.

    Attributes
    ----------
    wakes_mm : float
        Rain of three days that brings seed up. [mm]
    plenty_mm : float
        Waking rain beyond which more brings few more. [mm]
    stage : ndarray
        Growth at first flower. [good days]
    wilts : float
        Water of the root layer below which it suffers. [1]
    tender : float
        Days of full stress that end half of it. [d]
    lasts : float
        Growth from first flower to old age. [good days]
    fortune : ndarray
        On its amount. [1]
    """

    wakes_mm: float
    plenty_mm: float
    stage: np.ndarray
    wilts: float
    tender: float
    lasts: float
    fortune: np.ndarray


def rainy_middles(climate: Climate) -> list[float]:
    """Days of the northern year in the middle of its one or two rainy seasons."""
    day = np.arange(365)
    share = climate.wet_share_on(day)
    turn = 2 * np.pi * day / YEAR_D
    waves = [2 * np.mean(share * np.exp(1j * k * turn)) for k in (1, 2)]
    k = 2 if abs(waves[1]) > 1.2 * abs(waves[0]) else 1
    first = (np.angle(waves[k - 1]) / (2 * np.pi) * YEAR_D / k) % YEAR_D
    return [(first + i * YEAR_D / k) % YEAR_D for i in range(k)]


def _water(days: pd.DataFrame) -> np.ndarray:
    """Water within reach of short roots: a desert rain wets no more than the top. [1]"""
    top, deep = layers(days, 70.0)
    return np.maximum(0.7 * top, deep)


def _growth(days: pd.DataFrame) -> np.ndarray:
    return beta_warmth(days["temp_mean_c"].to_numpy(), 2, 21, 36)


def _stand(days: pd.DataFrame, herb: Herb, seasons: Seasons) -> tuple[np.ndarray, np.ndarray]:
    """Plants that have come up, and the growth since the first of them. [1, good days]"""
    three = days["precip_mm"].rolling(3, min_periods=1).sum().to_numpy()
    mild = (days["temp_mean_c"].to_numpy() > 4) & (seasons.since < 2 * STARTS_BEFORE_D)
    woken = np.where(mild & (three > herb.wakes_mm), days["precip_mm"].to_numpy(), 0.0)
    up = 1 - np.exp(-((seasons.sums(woken) / herb.plenty_mm) ** 1.2))
    return up, seasons.sums(_growth(days) * (up > 0.02))


def _left(days: pd.DataFrame, herb: Herb, seasons: Seasons, flowering: np.ndarray) -> np.ndarray:
    """What drought, heat and frost have left of the stand since it began to flower. [1]"""
    dry = step(-_water(days), -herb.wilts, 0.07)
    hot = step(days["temp_max_c"].to_numpy(), 35.0, 2.0)
    suffered = seasons.sums((dry + 0.7 * hot) * flowering)
    frost = (days["temp_min_c"].to_numpy() < -2) & flowering
    return np.exp(-np.log(2) * (suffered / herb.tender) ** 1.5) * seasons.products(1 - 0.6 * frost)


def _bloom(days: pd.DataFrame, herb: Herb, seasons: Seasons) -> np.ndarray:
    """How open the herb is, seed of good years before adding to it. [1]"""
    up, grown = _stand(days, herb, seasons)
    age = (grown - herb.stage[seasons.year]) / herb.lasts
    flowering = age > 0
    course = np.clip(age * 5, 0, 1) * np.exp(-((np.maximum(age, 0) / 0.9) ** 4))
    stand = PERENNIAL + (1 - PERENNIAL) * up
    bloom = stand * course * _left(days, herb, seasons, flowering)
    tops = [part.max() for part in seasons.each(up)]
    seed, banks = 1.0, []
    for top in tops:
        banks.append(seed)
        seed = 0.55 * seed + 0.45 * (0.6 + 0.8 * float(top))
    return bloom * np.array(banks)[seasons.year] * herb.fortune[seasons.year]


def herb_crop(
    name: str, middle: float, climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> Crop:
    """A herb of the rains whose middle is this day of the northern year."""
    seasons = Seasons.starting(days, middle - STARTS_BEFORE_D)
    rain = days["precip_mm"].rolling(3, min_periods=1).sum().to_numpy()
    rainy = rain[seasons.since < 2 * STARTS_BEFORE_D]
    wakes = float(np.quantile(rainy, rng.uniform(0.60, 0.80)))
    a_year = (rainy[rainy > wakes].sum() / 3) / seasons.years
    drawn = Herb(
        wakes_mm=wakes,
        plenty_mm=max(a_year, 5.0) * rng.uniform(0.3, 0.7),
        stage=np.zeros(seasons.years),
        wilts=rng.uniform(0.02, 0.14),
        tender=rng.uniform(12, 30),
        lasts=rng.uniform(26, 52),
        fortune=luck(seasons.years, rng, 14.0),
    )
    _, grown = _stand(days, drawn, seasons)
    usual = seasons.median_on(grown, (middle + rng.uniform(-35, 80)) % YEAR_D)
    stage = np.maximum(usual, 12.0) * np.exp(rng.normal(0, 0.09, seasons.years))
    herb = Herb(**(vars(drawn) | {"stage": stage}))
    full, nectar = scaled(_bloom(days, herb, seasons)), _dewy(rng.random() < 0.4)

    def under(lived: pd.DataFrame) -> Course:
        bloom = _bloom(lived, herb, seasons) / full
        return bloom, bloom * nectar(lived)

    return Crop.grown(name, "rain", under, days)


def _dewy(sun_loving: bool):
    """Nectar after damp nights; of plants at home in drought it rises up to great heat. [1]

    Thyme's secretion still rises to 38 degC (Petanidou and Smets 1996, READ2).
    """
    best, high = (34.0, 45.0) if sun_loving else (24.0, 37.0)

    def nectar(days: pd.DataFrame) -> np.ndarray:
        dew = 0.25 + 0.75 * step(days["dawn_rh_pct"].to_numpy(), 62, 12)
        warm = beta_warmth(days["temp_max_c"].to_numpy(), 9, best, high)
        return dew * warm * np.log1p(12 * _water(days)) / np.log1p(6) / (1 + days["precip_mm"] / 8)

    return lambda days: np.asarray(nectar(days))


def grow(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """Three to six herbs of the rainy season or seasons, and perhaps what the first rain calls up."""
    middles, n = rainy_middles(climate), int(rng.integers(3, 7))
    names = rng.choice(NAMES, n, replace=False)
    crops = [
        herb_crop(str(name), middles[i % len(middles)], climate, days, rng)
        for i, name in enumerate(names)
    ]
    if rng.random() < 0.7:
        begins = middles[0] - rng.uniform(70, 110)
        heath = tropics.tropical_tree(begins % YEAR_D, "first rain", days, rng)
        crops.append(tropics.tropical_crop(str(rng.choice(BULBS)), *heath, days))
    return [crop for crop in crops if crop.nectar.sum() > 0]
