"""Trees of the tropics: buds that gather in the dry, and open at a sign of the weather."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator.climates import HALF_YEAR_D, YEAR_D, Climate
from simulator.flora import Course, Crop
from simulator.second.ground import Seasons, apart, layers, luck, remembered, scaled, step

NAMES = (
    "coffee", "croton", "silk oak", "mango", "cashew", "teak", "dombeya", "shea", "coral tree",
    "tamarind", "kapok", "neem",
)  # fmt: skip
ROOTS_MM = 130.0  # water that the layer of roots holds
SIGNS = {"first rain": "rain", "cool nights": "dates", "long dry": "dates"}


@dataclass(frozen=True)
class TropicalTree:
    """One tree; arrays have one value a year, of its own chance.

    Attributes
    ----------
    sign : str
        A key of SIGNS.
    strength : float
        How strong the sign must be: [mm] of rain, [K] of cooling, [d] of dry days.
    ready_d : float
        It heeds signs within so many days of the middle of its time. [d]
    lag_d : ndarray
        From sign to first flowers. Coffee: 8 to 12 d after rain (MEMORY). [d]
    lasts_d : float
        How long flowers of one sign keep opening. [d]
    gives : float
        Share of the buds that one sign opens. [1]
    fortune : ndarray
        On its amount. [1]
    usual_water : float
        In reach of its roots over the months, at its place. [1]
    """

    sign: str
    strength: float
    ready_d: float
    lag_d: np.ndarray
    lasts_d: float
    gives: float
    fortune: np.ndarray
    usual_water: float


def _water_of_months(days: pd.DataFrame) -> np.ndarray:
    """Water of both layers over the last three months, on which twigs have grown. [1]"""
    top, deep = layers(days, ROOTS_MM)
    return remembered(0.3 * top + deep, 90.0)


def _signal(days: pd.DataFrame, sign: str) -> np.ndarray:
    """Strength of a sign on each day, in the unit of `TropicalTree.strength`."""
    rain = days["precip_mm"]
    if sign == "first rain":
        lately = rain.rolling(3, min_periods=1).sum()
        before = rain.shift(3).rolling(18, min_periods=1).sum().fillna(0.0)
        return (lately - 0.6 * before).clip(lower=0).to_numpy()
    if sign == "cool nights":
        night = days["temp_min_c"]
        cool = night.rolling(4, min_periods=1).mean()
        return (night.rolling(30, min_periods=1).mean() - cool).clip(lower=0).to_numpy()
    dry = (rain.rolling(10, min_periods=1).sum() < 6).to_numpy()
    run = np.cumsum(dry)
    return run - np.maximum.accumulate(np.where(dry, 0, run))


def _openings(days: pd.DataFrame, tree: TropicalTree, seasons: Seasons) -> np.ndarray:
    """Buds that open under each day's sign: gathered in dry weeks after wet months, given at a sign. [1]"""
    top, _ = layers(days, ROOTS_MM)
    thrives = np.clip(_water_of_months(days) / tree.usual_water, 0.05, 1.3)
    gathers = (0.006 + 0.03 * (1 - remembered(top, 10.0))) * thrives
    told = _signal(days, tree.sign) > tree.strength
    heeds = told & (np.abs(seasons.since - HALF_YEAR_D) < tree.ready_d)
    buds, rest, opened = 0.4, 0, []
    for gathered, sign in zip(gathers.tolist(), heeds.tolist(), strict=True):
        buds += gathered * (1 - buds)
        rest -= 1
        given = tree.gives * buds if sign and rest <= 0 else 0.0
        rest = 9 if given else rest
        buds -= given
        opened.append(given)
    return np.array(opened)


def _bloom(days: pd.DataFrame, tree: TropicalTree, seasons: Seasons) -> np.ndarray:
    """Flowers of all signs so far: none until the lag is over, then up and away in days. [1]"""
    opened, bloom = _openings(days, tree, seasons), np.zeros(len(days))
    x = np.arange(int(2 * tree.lasts_d)) + 0.5
    course = np.sin(np.pi * np.minimum(x / (1.6 * tree.lasts_d), 1)) ** 2
    for day in np.flatnonzero(opened):
        first = day + int(tree.lag_d[seasons.year[day]])
        part = course[: max(len(days) - first, 0)]
        bloom[first : first + len(part)] += opened[day] * part
    return bloom * tree.fortune[seasons.year]


def tropical_tree(
    centre: float, sign: str, days: pd.DataFrame, rng: np.random.Generator
) -> tuple[TropicalTree, Seasons]:
    """A tree that heeds this sign about this day of the northern year."""
    seasons = Seasons.starting(days, centre - HALF_YEAR_D)
    signal, ready = _signal(days, sign), rng.uniform(40, 65)
    near = np.abs(seasons.since - HALF_YEAR_D) < ready
    tops = np.array(
        [part[w].max() if w.any() else 0.0
         for part, w in zip(seasons.each(signal), seasons.each(near), strict=True)]
    )  # fmt: skip
    usual = np.median(tops)
    tree = TropicalTree(
        sign,
        strength=max(usual * rng.uniform(0.55, 0.9), {"first rain": 8.0}.get(sign, 0.8)),
        ready_d=ready,
        lag_d=np.clip(rng.normal(*{"first rain": (10, 2)}.get(sign, (22, 5)), seasons.years), 5, 40),
        lasts_d=rng.uniform(13, 27),
        gives=rng.uniform(0.45, 0.85),
        fortune=luck(seasons.years, rng, 14.0),
        usual_water=float(np.mean(_water_of_months(days))),
    )  # fmt: skip
    return tree, seasons


def tropical_crop(name: str, tree: TropicalTree, seasons: Seasons, days: pd.DataFrame) -> Crop:
    """The tree with its nectar, richest on bright mornings after humid nights."""
    full = scaled(_bloom(days, tree, seasons))

    def under(lived: pd.DataFrame) -> Course:
        bloom = _bloom(lived, tree, seasons) / full
        _, deep = layers(lived, ROOTS_MM)
        day = step(lived["temp_max_c"].to_numpy(), 18, 3) * step(-lived["temp_max_c"], -37, 2)
        bright = np.clip(lived["ghi_wm2"].to_numpy() / 200, 0.2, 1.2)
        humid = 0.4 + 0.6 * step(lived["dawn_rh_pct"].to_numpy(), 70, 9)
        rained = np.maximum(1 - lived["precip_mm"].to_numpy() / 18, 0.1)
        return bloom, bloom * np.asarray(day) * bright * humid * rained * (0.35 + 0.65 * deep)

    return Crop.grown(name, SIGNS[tree.sign], under, days)


def grow(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """Three to five trees one after another, each with its sign and its time of year."""
    found: list[Crop] = []
    names = rng.choice(NAMES, 5, replace=False)
    wanted = int(rng.integers(3, 6))
    for centre in apart(np.arange(1, 366), 8, 28, rng):
        sign = str(rng.choice(list(SIGNS)))
        tree, seasons = tropical_tree((centre + YEAR_D) % YEAR_D, sign, days, rng)
        heeded = [part.any() for part in seasons.each(_openings(days, tree, seasons) > 0)]
        if len(found) < wanted and np.mean(heeded) > 0.55:
            found.append(tropical_crop(str(names[len(found)]), tree, seasons, days))
    return found
