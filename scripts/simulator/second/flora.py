"""What the flowers of the second world give: five mechanisms, and good and poor spells over all.

orchard   trees that chill and then warmth bring into bloom, bearing unevenly
honeydew  insects on trees, plentiful in some years, over shrubs
farmland  crops sown into workable soil and harvested at once; leys mown in dry spells
herbs     as many as the rains bring, ended by heat and drought
tropics   trees that open at the first rain, in cool nights or after a long dry time
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator.climates import YEAR_D, Climate
from simulator.flora import Crop, Flora
from simulator.second import farmland, herbs, honeydew, orchard, tropics
from simulator.second.ground import layers, reach, step

Grower = Callable[[Climate, pd.DataFrame, np.random.Generator], list[Crop]]


@dataclass(frozen=True)
class Mechanism:
    """How its plants are grown, and the climates in which there are such plants."""

    grow: Grower
    climates: tuple[str, ...]


MECHANISMS = {
    "orchard": Mechanism(
        orchard.grow,
        ("southern-temperate", "windy-coast", "continental-monsoon", "inland-winter"),
    ),
    "honeydew": Mechanism(
        honeydew.grow, ("southern-temperate", "inland-winter", "continental-monsoon")
    ),
    "farmland": Mechanism(
        farmland.grow,
        ("windy-coast", "continental-monsoon", "southern-temperate", "inland-winter"),
    ),
    "herbs": Mechanism(
        herbs.grow, ("semi-desert", "mediterranean", "equatorial-highland", "continental-monsoon")
    ),
    "tropics": Mechanism(tropics.grow, ("equatorial-highland", "wet-dry-tropics", "semi-desert")),
}
PAIRS = [(climate, name) for name, made in MECHANISMS.items() for climate in made.climates]

GOOD_D, POOR_D = 11.0, 6.0  # mean lengths of spells in which flowers give well, and poorly [d]
POOR = 0.55  # what they give in poor spells against good ones [1]
SCATTER, TAILS = 0.17, 3.5  # daily scatter in the log: scale, and degrees of freedom of Student's t
# Where bees fly all year less grows on a day of it, and more of it is fetched.
KG_A_YEAR, KG_A_FLYABLE_DAY = 840.0, -0.60  # nectar of a middling place [kg]
BESIDE = 0.6  # what a plant of another mechanism gives against one of the yard's own [1]
ONE_YEAR = 0.4  # a plant that gives more of all its nectar in one year is no plant of the place [1]
FEWEST = 3  # plants of a yard's own mechanism
RICH_SD, SIZE_SD = 0.17, 0.65  # of yards against each other; of the plants of one yard; in the log


def spells(
    days: int, rng: np.random.Generator, *, poor: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """Factor of mean about 1 on all nectar of a yard, for what no weather explains. [1]

    Good and poor spells that begin and end by chance, and from day to day a scatter with heavy tails.
    poor: whether the day before was in a poor spell. Second: whether each day is.
    """
    draws, states = rng.random(days).tolist(), []
    for draw in draws:
        poor = (draw > 1 / POOR_D) if poor else (draw < 1 / GOOD_D)
        states.append(poor)
    scatter = np.clip(SCATTER * rng.standard_t(TAILS, days), -1.6, 0.9)
    factor = np.where(states, POOR, 1.0) * np.exp(scatter)
    return factor * (GOOD_D + POOR_D) / (GOOD_D + POOR * POOR_D), np.array(states)


def waysides(days: pd.DataFrame) -> np.ndarray:
    """What nobody names: weeds of lit warm days while the ground is not parched. [1]"""
    top, deep = layers(days, 60.0)
    warm = step(days["temp_max_c"].to_numpy(), 15, 4) * step(-days["temp_max_c"], -36, 3).to_numpy()
    light = np.sqrt(np.clip(days["ghi_wm2"].to_numpy() / 230, 0, 1.3))
    return warm * light * np.clip(0.15 + 0.35 * top + 0.8 * deep, 0, 1)


def grow(mechanism: str, climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> Flora:
    """The flora of one yard, drawn anew.

    Parameters
    ----------
    mechanism : str
        A key of MECHANISMS; up to two plants of another one that suits the climate stand beside.
    climate : Climate
        Decides when and whether plants of this place can bloom.
    days : DataFrame
        Output of `ground.days_of` with a column flight_h (hours fit for flight). [h]
    rng : numpy.random.Generator
        The only source of chance.

    Returns
    -------
    Flora
    """
    crops = _established(MECHANISMS[mechanism].grow, climate, days, rng)
    known = {crop.name for crop in crops}
    beside = [c for c in _beside(mechanism, climate, days, rng) if c.name not in known]
    weights = np.repeat([1.0, BESIDE], [len(crops), len(beside)])
    flyable = float((days["flight_h"] > 2).sum()) / (len(days) / YEAR_D)
    kg = (KG_A_YEAR + KG_A_FLYABLE_DAY * flyable) * np.exp(rng.normal(0, RICH_SD))
    return blend([*crops, *beside], weights, kg, days, rng)


def _established(
    grow: Grower, climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> list[Crop]:
    """Plants of a mechanism that hold out at a place, drawn again while they are too few."""
    kept: dict[str, Crop] = {}
    for _ in range(4):
        for crop in grow(climate, days, rng):
            if crop.name not in kept and _lasting(crop, days):
                kept[crop.name] = crop
        if len(kept) >= FEWEST:
            break
    return list(kept.values())


def _lasting(crop: Crop, days: pd.DataFrame) -> bool:
    """Whether a plant belongs to a place: no single year gives most of its nectar."""
    yearly = pd.Series(crop.nectar).groupby(days.index.year.to_numpy()).sum()
    return len(yearly) < 4 or yearly.max() < ONE_YEAR * max(yearly.sum(), 1e-9)


def _beside(
    mechanism: str, climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> list[Crop]:
    """Up to two plants of another mechanism that has this climate."""
    place = climate.name
    others = [n for n, m in MECHANISMS.items() if place in m.climates and n != mechanism]
    if not others:
        return []
    grown = _established(MECHANISMS[str(rng.choice(others))].grow, climate, days, rng)
    taken = rng.permutation(len(grown))[: int(rng.integers(0, 3))]
    return [grown[i] for i in taken]


def blend(
    crops: list[Crop],
    weights: np.ndarray,
    kg_a_year: float,
    days: pd.DataFrame,
    rng: np.random.Generator,
) -> Flora:
    """Plants at their distances over a trickle of waysides, in good and poor spells.

    Parameters
    ----------
    crops : list of Crop
        Each with its own course; may be empty.
    weights : ndarray, shape (crops,)
        What each gives in a middling yard against the others. [1]
    kg_a_year : float
        Fresh nectar on offer in a mean year to 15,000 foragers. [kg]
    days, rng
        As for `grow`.
    """
    km = np.exp(rng.normal(0.1, 0.6, len(crops))).clip(0.1, 4.0)
    yearly = [max(crop.nectar.sum() * YEAR_D / len(days), 1e-9) for crop in crops]
    sizes = weights * np.exp(rng.normal(0, SIZE_SD, len(crops))) / np.array(yearly)
    shock, poor = spells(len(days), rng)
    trickle = rng.uniform(0.18, 0.38)

    def fetched(lived: pd.DataFrame, courses: list[np.ndarray]) -> list[np.ndarray]:
        each = zip(sizes, courses, km, strict=True)
        return [size * course * reach(lived, d) * shock for size, course, d in each]

    wanted = kg_a_year * len(days) / YEAR_D
    own = fetched(days, [crop.nectar for crop in crops])
    scale = (1 - trickle) * wanted / max(sum(c.sum() for c in own), 1e-9)
    base = trickle * wanted / (waysides(days) * shock).sum()

    def together(lived: pd.DataFrame, each: list[np.ndarray]) -> np.ndarray:
        return scale * sum(each, np.zeros(len(lived))) + base * waysides(lived) * shock

    def under(lived: pd.DataFrame) -> np.ndarray:
        return together(lived, fetched(lived, [crop.under(lived)[1] for crop in crops]))

    nectar = together(days, own)

    def anew(first: int, chance: np.random.Generator, luck: bool) -> np.ndarray:
        if luck:
            raise ValueError("what a year brings these plants is not drawn anew")
        fresh, _ = spells(len(days) - first, chance, poor=bool(poor[first - 1]))
        return np.concatenate([nectar[:first], nectar[first:] / shock[first:] * fresh])

    return Flora(
        nectar_kg=pd.Series(nectar, days.index),
        bloom=pd.DataFrame({c.name: c.bloom for c in crops}, days.index),
        share_kg=pd.DataFrame(
            {c.name: scale * kg for c, kg in zip(crops, own, strict=True)}, days.index
        ),
        follows={c.name: c.follows for c in crops},
        under=under,
        anew=anew,
    )
