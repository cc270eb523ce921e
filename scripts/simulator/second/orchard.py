"""Trees and shrubs that must be chilled before warmth wakes them, and that bear unevenly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator.climates import Climate
from simulator.flora import Course, Crop
from simulator.second.ground import (
    Seasons,
    apart,
    beta_warmth,
    dryness_kpa,
    layers,
    luck,
    remembered,
    scaled,
    step,
)

LEAVES_FALL = 285.0  # day of the northern year on which chill begins to count
NAMES = (
    "cornel", "almond", "blackthorn", "plum", "wild cherry", "pear", "apple", "hawthorn",
    "horse chestnut", "holly", "tulip tree", "catalpa", "tree of heaven", "sumach",
)  # fmt: skip
SHRUBS = ("bilberry", "bramble", "dog rose", "elder", "alder buckthorn", "snowberry")


@dataclass(frozen=True)
class Tree:
    """Traits of one kind of tree.

    Attributes
    ----------
    forcing : float
        Warmth that it needs when it is fully chilled. [warm days]
    lasts : float
        Warm days from first to half-fallen bloom.
    late : ndarray, shape (years,)
        Factor of each year's own chance on the warmth needed.
    cost : float
        What a full bloom takes out of a year's savings; above 1 it tends to bear every other year.
    fortune : ndarray, shape (years,)
        Of each year's own chance, on its amount.
    """

    forcing: float
    lasts: float
    late: np.ndarray
    cost: float
    fortune: np.ndarray


def _chill(days: pd.DataFrame) -> np.ndarray:
    """Chill of each day: most near 6 degC, none below -1 and above 13 (shape MEMORY). [1]"""
    at = days[["temp_min_c", "temp_mean_c", "temp_max_c"]].to_numpy()
    return np.clip(1 - np.abs(at - 6.0) / 7.0, 0, 1).mean(axis=1)


def _warmth(days: pd.DataFrame) -> np.ndarray:
    """Forcing of each day, saturating in warmth. [warm days]"""
    return step(days["temp_mean_c"].to_numpy(), 11.5, 4.0)


def _readiness(days: pd.DataFrame, seasons: Seasons) -> np.ndarray:
    """Warmth gathered against what is needed: more chill, less warmth.

    The exponential trade of chill for warmth follows Cannell and Smith 1983 (MEMORY).
    """
    chill = seasons.sums(_chill(days))
    after_rest = _warmth(days) * (seasons.since > 60)
    return seasons.sums(after_rest) / (1 + 1.4 * np.exp(-chill / 22.0))


def _open(days: pd.DataFrame, tree: Tree, seasons: Seasons) -> np.ndarray:
    """How open each year's flowers are: a quick rise, a fall, and what frost leaves of them. [1]"""
    needed = tree.forcing * tree.late[seasons.year]
    begun = _readiness(days, seasons) >= needed
    age = seasons.sums(_warmth(days) * begun) / tree.lasts
    bloom = (1.9 * age) ** 1.5 * np.exp(1.5 - 1.5 * 1.9 * age)
    # A tenth of open apple flowers die at -2.2 degC, nine tenths at -3.9 (extension, MEMORY).
    dies = step(-days["temp_min_c"].to_numpy(), 3.0, 0.6) * begun
    return bloom * seasons.products(1 - dies)


def _bearing(days: pd.DataFrame, tree: Tree, seasons: Seasons) -> np.ndarray:
    """Amount of each year's bloom: savings of summers before, spent on the blooms before. [1]"""
    _, deep = layers(days, 140.0)
    made = days["ghi_wm2"].to_numpy() * np.minimum(deep + 0.3, 1.0) * _warmth(days)
    income = np.array([part.sum() for part in seasons.each(made)])
    income = income / np.median(income)
    savings, amounts = 1.0, []
    for y in range(seasons.years):
        amount = savings**1.6 / (0.5 + savings**1.6) * 1.5 * tree.fortune[y]
        amounts.append(amount)
        # The first year is a broken one: its trees have had a middling summer.
        savings = max(savings + (income[y] if y else 1.0) - tree.cost * amount, 0.1)
    return np.array(amounts)[seasons.year]


def _nectar(best_c: float, thin: float) -> Callable[[pd.DataFrame], np.ndarray]:
    """Sugar that bees get from an open flower. [1]

    Made of the light of the days before, kept thin by damp air; nectar thinner than a fifth of
    sugar is left (concentration falls with humidity: Liu et al. 2023, READ; collected from 20 %
    on: Nicolson et al. 2022, READ).
    """

    def nectar(days: pd.DataFrame) -> np.ndarray:
        _, deep = layers(days, 140.0)
        light = np.minimum(remembered(days["ghi_wm2"].to_numpy(), 3.0) / 180, 1.3)
        cool_night = 1 + 0.25 * step(days["temp_max_c"] - days["temp_min_c"], 11, 3).to_numpy()
        volume = beta_warmth(days["temp_max_c"].to_numpy(), 6, best_c, best_c + 13)
        sugar = thin + 15 * dryness_kpa(days) - 1.2 * np.minimum(days["precip_mm"].to_numpy(), 10)
        worth = step(sugar, 18, 5) * np.clip(sugar / 35, 0.3, 1.15)
        return light * cool_night * volume * worth * np.sqrt(np.clip(deep / 0.5, 0, 1))

    return nectar


def tree_crop(
    name: str, centre: float, climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> Crop | None:
    """A tree that usually opens about this day of the northern year; none where nothing wakes it."""
    seasons = Seasons.starting(days, LEAVES_FALL)
    forcing = seasons.median_on(_readiness(days, seasons), centre)
    if forcing < 1.0:
        return None
    tree = Tree(
        forcing,
        lasts=rng.uniform(10, 19) * float(step(climate.mean_course(centre + 8), 11.5, 4.0)) + 2.0,
        late=np.exp(rng.normal(0, 0.07, seasons.years)),
        cost=rng.uniform(0.6, 1.5),
        fortune=luck(seasons.years, rng, 16.0),
    )
    nectar = _nectar(climate.mean_course(centre) + rng.uniform(7, 10), rng.uniform(14, 22))
    full = scaled(_open(days, tree, seasons) * _bearing(days, tree, seasons))

    def under(lived: pd.DataFrame) -> Course:
        bloom = _open(lived, tree, seasons) * _bearing(lived, tree, seasons) / full
        return bloom, bloom * nectar(lived)

    return Crop.grown(name, "warmth", under, days)


def grow(
    climate: Climate,
    days: pd.DataFrame,
    rng: np.random.Generator,
    *,
    names: tuple[str, ...] = NAMES,
    most: int = 5,
) -> list[Crop]:
    """Three to five kinds of tree, opening one after another."""
    day = np.arange(40, 195)
    mild = day[(climate.mean_course(day) > 7.5) & (day > 45)]
    centres = apart(mild, int(rng.integers(min(3, most), most + 1)), 13, rng)
    chosen = sorted(rng.choice(len(names), len(centres), replace=False))
    crops = [
        tree_crop(names[i], centre, climate, days, rng)
        for i, centre in zip(chosen, centres, strict=True)
    ]
    return [crop for crop in crops if crop is not None and crop.nectar.sum() > 0]
