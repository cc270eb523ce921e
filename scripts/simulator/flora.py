"""What the flowers give: four mechanisms that share no clock and no equation for nectar.

thermal    plants bloom by degree days; nectar follows soil water, warmth and rain
daylength  plants bloom by the calendar; nectar gathers in the flowers while no bee flies
pulse      plants bloom weeks to months after rain that ends a dry spell, or not at all
mixture    a base flow of many minor plants with a few great ones of the other three
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
import pandas as pd
from scipy.signal import lfilter
from scipy.special import expit

from simulator.climates import HALF_YEAR_D, YEAR_D, Climate
from simulator.weather import ar_after, ar_noise

# A base flow is used more fully than short floods, so less nectar makes the same crop.
USE = {"thermal": 1.0, "daylength": 1.0, "pulse": 1.15, "mixture": 0.75}
YEARLY_SD = 0.4  # spread of log bloom from year to year
SHOCK_SD, SHOCK_MEMORY_D = 0.35, 5.0  # what all hives of a yard share, in log nectar
LIGHT_BELOW_KG, FAIR_BELOW_KG = 70.0, 170.0  # fresh nectar a bloom, as a keeper would call it


@dataclass(frozen=True)
class Flora:
    """What grew at a yard.

    Attributes
    ----------
    nectar_kg : Series
        Fresh nectar a day on offer to a colony of 15,000 foragers at this yard. [kg]
    bloom : DataFrame
        One column a plant: how much of it is open each day, 1 for full bloom of a usual year.
    share_kg : DataFrame
        Nectar of each of these plants. [kg]
    follows : dict
        Plant name -> what its bloom follows, in the keeper's words.
    under : callable
        Days of the same dates -> nectar these very plants would have given in their weather. [kg]
    anew : callable
        (first, rng, luck) -> nectar of the yard's own days, what chance does to them from day `first`
        on drawn anew: the good and bad days, and with luck also what each year brings the plants.
        Nectar of the days before stays as it was. [kg]
    """

    nectar_kg: pd.Series
    bloom: pd.DataFrame
    share_kg: pd.DataFrame
    follows: dict[str, str]
    under: Callable[[pd.DataFrame], np.ndarray]
    anew: Anew


Anew = Callable[[int, np.random.Generator, bool], np.ndarray]
Luck = Callable[[int, np.random.Generator], np.ndarray]
Course = tuple[np.ndarray, np.ndarray]  # how open, and nectar before the yard is scaled, by day


@dataclass(frozen=True)
class Crop:
    """One plant, its course through the days of the yard, and through other weather (`under`).

    anew: (first, rng) -> its nectar, with the luck of blooms to come drawn anew: of those whose middle
    is on day `first` or later, and where rain wakes them of those that had not begun nor were due to
    by then. None where no one has told it.
    """

    name: str
    follows: str
    bloom: np.ndarray
    nectar: np.ndarray
    under: Callable[[pd.DataFrame], Course]
    anew: Luck | None = None

    @classmethod
    def grown(
        cls, name: str, follows: str, under: Callable[[pd.DataFrame], Course], days: pd.DataFrame
    ) -> Crop:
        """The plant in the weather of its days."""
        return cls(name, follows, *under(days), under)

    def by_years(
        self, factor: np.ndarray, year: np.ndarray, centre: float, days: pd.DataFrame
    ) -> Crop:
        """The same plant, in bloom about this day, of whose nectar this was the factor of each year."""

        def anew(first: int, rng: np.random.Generator) -> np.ndarray:
            return self.nectar / factor * renewed(factor, year, centre, days, first, rng)

        return replace(self, anew=anew)


Grower = Callable[[Climate, pd.DataFrame, np.random.Generator], list[Crop]]


def year_index(days: pd.DataFrame, starts_on: float) -> np.ndarray:
    """Which bee year a day belongs to, years starting on this day of the northern year."""
    turned = (days["season_day"].to_numpy() - starts_on) % YEAR_D
    return np.concatenate([[0], np.cumsum(np.diff(turned) < 0)])


def yearly_factor(year: np.ndarray, rng: np.random.Generator, sd: float = YEARLY_SD) -> np.ndarray:
    """A lognormal factor of mean 1 for each year, repeated over its days."""
    draws = np.exp(rng.normal(0, sd, year.max() + 1) - 0.5 * sd**2)
    return draws[year]


def renewed(
    factor: np.ndarray,
    year: np.ndarray,
    centre: float,
    days: pd.DataFrame,
    first: int,
    rng: np.random.Generator,
) -> np.ndarray:
    """A yearly factor, drawn anew for blooms about this day whose middle is on day `first` or later."""
    middle = first + round((centre - days["season_day"].iloc[first]) % YEAR_D)
    if middle >= len(year):
        return factor
    return np.where(year < year[middle], factor, yearly_factor(year, rng))


def soil_water(days: pd.DataFrame, holds_mm: float, use: float = 1.0) -> np.ndarray:
    """Water in a bucket of the soil, as a share of what it holds. [1]"""
    rain, et = days["precip_mm"].to_numpy(), use * days["et_mm"].to_numpy()
    share = np.empty(len(rain))
    water = 0.7 * holds_mm
    for i in range(len(rain)):
        # Dry soil gives its water up ever more slowly.
        water += rain[i] - et[i] * min(1.0, 1.8 * water / holds_mm)
        water = min(max(water, 0.0), holds_mm)
        share[i] = water / holds_mm
    return share


def _fitting_days(climate: Climate, coldest_c: float) -> np.ndarray:
    """Days of the northern year warm enough in the mean for flowers and bees."""
    day = np.arange(1, 366)
    return day[climate.mean_course(day) > coldest_c]


def _spaced(days: np.ndarray, n: int, apart: float, rng: np.random.Generator) -> list[float]:
    """Up to n days drawn from these, no two closer than `apart`, in order through the season."""
    chosen: list[float] = []
    for day in rng.permutation(days):
        gap = [abs((day - other + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D) for other in chosen]
        if len(chosen) < n and all(g >= apart for g in gap):
            chosen.append(float(day))
    return sorted(chosen)


# ---- thermal -------------------------------------------------------------------------------


def _degree_days(days: pd.DataFrame, base_c: float, year: np.ndarray) -> np.ndarray:
    warm = (0.5 * (days["temp_max_c"] + days["temp_min_c"]) - base_c).clip(lower=0)
    return warm.groupby(year).cumsum().to_numpy()


def _mean_on(values: np.ndarray, days: pd.DataFrame, season_day: float) -> float:
    """Mean over the years of what stands on this day of the northern year, or next to it."""
    off = (days["season_day"].to_numpy() - season_day + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D
    return float(values[np.abs(off) < 1.1].mean())


def _skewed_bell(x: np.ndarray, rise: float, fall: float) -> np.ndarray:
    """1 at zero, a Gaussian flank before it and a heavier one after. [1]"""
    before = np.exp(-0.5 * (x / rise) ** 2)
    after = 1 / (1 + (np.maximum(x, 0) / fall) ** 2) ** 1.5
    return np.where(x < 0, before, after)


def thermal_crop(
    name: str, centre: float, climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> Crop:
    """A plant that blooms at a degree-day sum of its own, over a base of its own."""
    year = year_index(days, (climate.warmest_day + HALF_YEAR_D) % YEAR_D)
    base = rng.uniform(2.0, np.clip(climate.mean_course(centre) - 4.0, 3.0, 9.0))
    sums = _degree_days(days, base, year)
    target = _mean_on(sums, days, centre)
    a_day = max((_mean_on(sums, days, centre + 6) - _mean_on(sums, days, centre - 6)) / 12, 1.0)
    rise, fall = rng.uniform(5, 10) * a_day, rng.uniform(9, 20) * a_day
    amount, nectar = yearly_factor(year, rng), _thermal_nectar(climate, centre, rng)

    def under(lived: pd.DataFrame) -> Course:
        bloom = _skewed_bell(_degree_days(lived, base, year) - target, rise, fall)
        # A frost on open flowers costs the rest of that bloom.
        frost = (lived["temp_min_c"].to_numpy() < -3) & (bloom > 0.3)
        spoiled = pd.Series(np.where(frost, 0.6, 1.0)).groupby(year).cumprod().to_numpy()
        bloom = bloom * spoiled * amount
        return bloom, bloom * nectar(lived)

    return Crop.grown(name, "warmth", under, days).by_years(amount, year, centre, days)


def _thermal_nectar(
    climate: Climate, centre: float, rng: np.random.Generator
) -> Callable[[pd.DataFrame], np.ndarray]:
    """Nectar an open flower gives: soil water, a best temperature, wash-out by rain. [1]"""
    holds_mm, wilting = rng.uniform(60, 140), rng.uniform(0.2, 0.35)
    best_c = climate.mean_course(centre) + rng.uniform(0, 3)

    def nectar(days: pd.DataFrame) -> np.ndarray:
        water = soil_water(days, holds_mm)
        drowned = lfilter([1 / 10], [1, -9 / 10], (water > 0.9).astype(float))
        moist = expit((water - wilting) / 0.08) * (1 - 0.6 * drowned)
        off = days["temp_mean_c"].to_numpy() - best_c
        warm = np.exp(-0.5 * (off / np.where(off < 0, 5.5, 3.8)) ** 2)
        rain = days["precip_mm"].to_numpy()
        yesterday = np.concatenate([[0.0], rain[:-1]])
        washed = 1 / (1 + (yesterday / 6) ** 1.5) / (1 + rain / 20)
        return moist * warm * washed

    return nectar


THERMAL_NAMES = (
    "willow", "fruit trees", "maple", "rape", "robinia", "raspberry", "white clover",
    "lime trees", "sweet chestnut", "sunflower", "buckwheat", "fireweed",
)  # fmt: skip


def grow_thermal(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """Three to five plants, each on a degree-day clock of its own."""
    mild = max(9.0, climate.mean_course(climate.warmest_day) - 14)
    centres = _spaced(_fitting_days(climate, mild), int(rng.integers(3, 6)), 20, rng)
    names = _names(THERMAL_NAMES, len(centres), rng)
    return [
        thermal_crop(name, centre, climate, days, rng)
        for name, centre in zip(names, centres, strict=True)
    ]


# ---- daylength -----------------------------------------------------------------------------


def daylength_crop(
    name: str, centre: float, climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> Crop:
    """A plant that opens on the same day of every year, for as long as it always does."""
    lasts, season = rng.uniform(22, 45), days["season_day"].to_numpy()
    since = (season - centre + 0.5 * lasts) % YEAR_D
    open_ = np.where(since < lasts, np.sin(np.pi * np.clip(since / lasts, 0, 1)) ** 0.7, 0.0)
    year = year_index(days, (centre + HALF_YEAR_D) % YEAR_D)
    amount = yearly_factor(year, rng)
    open_ = open_ * amount
    usual = pd.Series(_rain_before(days)).groupby(season.round()).transform("mean")
    usual, pace = usual.clip(lower=1).to_numpy(), rng.uniform(0.2, 0.4)

    def under(lived: pd.DataFrame) -> Course:
        # What fell in the three months before makes the stems, and so the number of flowers.
        bloom = open_ * np.clip((_rain_before(lived) / usual) ** 0.35, 0.3, 1.5)
        return bloom, _from_store(bloom, lived, pace)

    # Flowers hold nothing over to another year, so the nectar of each goes with their number.
    return Crop.grown(name, "day length", under, days).by_years(amount, year, centre, days)


def _rain_before(days: pd.DataFrame) -> np.ndarray:
    return days["precip_mm"].rolling(90, min_periods=1).sum().to_numpy()


def _from_store(bloom: np.ndarray, days: pd.DataFrame, pace: float) -> np.ndarray:
    """Nectar that visitors take out of the flowers' store, which fills while nobody flies. [1]"""
    mild = expit((days["temp_max_c"].to_numpy() - 15) / 2.0)
    cool_night = 0.7 + 0.3 * expit((14 - days["temp_min_c"].to_numpy()) / 3)
    made = bloom * mild * cool_night
    emptied = 1 - np.exp(-pace * days["flight_h"].to_numpy())
    beaten_out = np.exp(-days["precip_mm"].to_numpy() / 25)
    taken, store = np.empty(len(made)), 0.0
    for i in range(len(made)):
        # Flowers hold two and a half days' nectar and take back a fifth of what is left.
        store = min(0.8 * store * beaten_out[i] + made[i], 2.5 * bloom[i])
        taken[i] = store * emptied[i]
        store -= taken[i]
    return taken


DAYLENGTH_NAMES = (
    "heather", "ivy", "goldenrod", "aster", "lucerne", "knapweed", "thyme", "lavender",
    "melilot", "phacelia", "rosemary", "carob",
)  # fmt: skip


def grow_daylength(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """Two to five plants, each on its date."""
    mild = max(11.0, climate.mean_course(climate.warmest_day) - 11)
    centres = _spaced(_fitting_days(climate, mild), int(rng.integers(2, 6)), 24, rng)
    names = _names(DAYLENGTH_NAMES, len(centres), rng)
    return [
        daylength_crop(name, centre, climate, days, rng)
        for name, centre in zip(names, centres, strict=True)
    ]


# ---- pulse ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Pulse:
    """How a plant answers to rain: what wakes it, after how long it blooms, and how long."""

    lag_d: float
    lasts_d: float
    heavy_mm: float
    dry: float
    rest_d: float
    triggers: np.ndarray  # positions of the days that wake it

    def middle(self) -> np.ndarray:
        """Positions in the middle of the blooms that these triggers would bring."""
        return self.triggers + self.lag_d + 0.5 * self.lasts_d


def _draw_pulse(days: pd.DataFrame, rain: np.ndarray, rng: np.random.Generator) -> _Pulse:
    """Heavy rain and dry soil are measured by what is usual at the place."""
    driest = _driest(days)
    heavy = float(np.quantile(rain, rng.uniform(0.85, 0.93)))
    dry = float(np.quantile(driest, rng.uniform(0.3, 0.6)))
    rest = rng.uniform(90, 200)
    found = _wakings(rain, driest, heavy, dry, rest)
    return _Pulse(rng.uniform(25, 110), rng.uniform(25, 55), heavy, dry, rest, found)


def _driest(days: pd.DataFrame) -> np.ndarray:
    """Soil water on the driest of the last thirty days."""
    return pd.Series(soil_water(days, 90.0)).rolling(30, min_periods=1).min().to_numpy()


def _five_day_rain(days: pd.DataFrame) -> np.ndarray:
    return days["precip_mm"].rolling(5, min_periods=1).sum().to_numpy()


def _wakings(
    rain: np.ndarray, driest: np.ndarray, heavy: float, dry: float, rest: float
) -> np.ndarray:
    """Positions of heavy rain after a dry spell, none sooner than the rest after another."""
    found = [-400]
    for i in np.flatnonzero((rain > heavy) & (driest < dry)):
        if i - found[-1] > rest:
            found.append(int(i))
    return np.array(found[1:], int)


def _away(days: pd.DataFrame, positions: np.ndarray, centre: float) -> np.ndarray:
    """Days of the year from the middle of a plant's season to each of these positions."""
    season = days["season_day"].to_numpy()[0] + positions
    return (season - centre + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D


def pulse_crop(
    name: str,
    centre: float,
    climate: Climate,
    days: pd.DataFrame,
    rng: np.random.Generator,
    *,
    ready_d: float = 75.0,
) -> Crop:
    """A plant that rain wakes: weeks to months later it blooms, if its buds were ready.

    It answers only when its bloom would fall within `ready_d` days of the middle of its season;
    of some ways to answer, it has the one that suits the rains of the place best.
    """
    rain = _five_day_rain(days)
    ways = [_draw_pulse(days, rain, rng) for _ in range(6)]
    answers = [(np.abs(_away(days, way.middle(), centre)) < ready_d).sum() for way in ways]
    way = ways[int(np.argmax(answers))]
    answer = _Answer(way, centre, ready_d, rng)
    bloom = answer.bloom(days)

    def under(lived: pd.DataFrame) -> Course:
        woken = _wakings(_five_day_rain(lived), _driest(lived), way.heavy_mm, way.dry, way.rest_d)
        lived_bloom = replace(answer, way=replace(way, triggers=woken)).bloom(lived)
        return lived_bloom, lived_bloom * _pulse_nectar(lived)

    def anew(first: int, chance: np.random.Generator) -> np.ndarray:
        return answer.renewed(first, chance).bloom(days) * _pulse_nectar(days)

    return Crop(name, "rain", bloom, bloom * _pulse_nectar(days), under, anew)


@dataclass(frozen=True)
class _Answer:
    """Blooms after the rains that a plant answers: a quick rise and a slow fall.

    told holds what chance made of each rain, so that other weather meets the same chance on the
    days that wake the plant in both.
    """

    way: _Pulse
    centre: float
    ready_d: float
    rng: np.random.Generator
    told: dict[int, tuple[int, float, bool]] = field(default_factory=dict)

    def bloom(self, days: pd.DataFrame) -> np.ndarray:
        """How open the plant is each day."""
        way, bloom, rain = self.way, np.zeros(len(days)), _five_day_rain(days)
        for day, away in zip(way.triggers, _away(days, way.middle(), self.centre), strict=True):
            ready = abs(away) < self.ready_d
            starts, luck, answers = self._chance(int(day), ready)
            size = luck * (1 - np.exp(-rain[day] / (1.5 * way.heavy_mm)))
            if ready and answers and 0 <= starts < len(days):
                x = np.arange(min(int(1.6 * way.lasts_d), len(days) - starts)) / way.lasts_d
                bloom[starts : starts + len(x)] += 2.2 * size * x * np.exp(0.5 - 2 * x**2)
        return bloom

    def renewed(self, first: int, rng: np.random.Generator) -> _Answer:
        """The same plant, to which chance tells anew of blooms that had not begun nor were due to."""
        told = {}
        for day, (starts, luck, answers) in self.told.items():
            due = day + self.way.lag_d
            if due < first or (answers and starts < first):
                told[day] = starts, luck, answers
        return replace(self, rng=rng, told=told)

    def _chance(self, day: int, ready: bool) -> tuple[int, float, bool]:
        if day not in self.told:
            starts = int(day + self.rng.normal(self.way.lag_d, 8))
            luck = np.exp(self.rng.normal(0, YEARLY_SD))
            self.told[day] = starts, luck, ready and self.rng.random() < 0.85
        return self.told[day]


def _pulse_nectar(days: pd.DataFrame) -> np.ndarray:
    """Nectar of an open flower: best in humid warm air, poor in great heat. [1]"""
    humid = 0.35 + 0.65 * expit((days["rh_pct"].to_numpy() - 55) / 7)
    heat = expit((36 - days["temp_max_c"].to_numpy()) / 1.5)
    warm = expit((days["temp_max_c"].to_numpy() - 15) / 1.5)
    return humid * heat * warm


PULSE_NAMES = (
    "ironbark", "spotted gum", "paperbark", "bloodwood", "mesquite", "acacia", "stringybark",
    "red gum", "banksia", "jujube",
)  # fmt: skip


def grow_pulse(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """Three to six plants, each woken by rain in its own part of the year."""
    mild = max(10.0, climate.mean_course(climate.warmest_day) - 13)
    centres = _spaced(_fitting_days(climate, mild), int(rng.integers(4, 7)), 25, rng)
    names = _names(PULSE_NAMES, len(centres), rng)
    crops = [
        pulse_crop(name, centre, climate, days, rng)
        for name, centre in zip(names, centres, strict=True)
    ]
    return [crop for crop in crops if crop.nectar.sum() > 0]


# ---- mixture -------------------------------------------------------------------------------


def _minor_flow(
    climate: Climate, days: pd.DataFrame, rng: np.random.Generator
) -> tuple[Callable[[pd.DataFrame], np.ndarray], Luck]:
    """Base flow of some twenty minor plants, each with its date and its good and bad years. [1]

    Their nectar is made of the light of the last days, and of water by a long memory of rain. Second,
    the same on the yard's own days with other good and bad years.
    """
    season, total, each = days["season_day"].to_numpy(), np.zeros(len(days)), []
    for centre in rng.choice(_fitting_days(climate, 9.0), int(rng.integers(14, 24))):
        off = (season - centre + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D
        year = year_index(days, (centre + HALF_YEAR_D) % YEAR_D)
        wide = rng.uniform(8, 28)
        course, amount = np.exp(-0.5 * (off / wide) ** 2), yearly_factor(year, rng)
        size = rng.gamma(1.5)
        total += course * amount * size
        each.append((course * size, amount, year, centre))
    usual = _remembered_rain(days).mean()

    def flow(lived: pd.DataFrame, plants: np.ndarray) -> np.ndarray:
        light = lived["ghi_wm2"].rolling(3, min_periods=1).mean().to_numpy()
        rain = _remembered_rain(lived)
        watered = (rain / (rain + 0.6 * usual)) ** 0.8
        return plants * light / 200 * watered * expit((lived["temp_max_c"].to_numpy() - 14) / 2)

    def anew(first: int, chance: np.random.Generator) -> np.ndarray:
        parts = (course * renewed(*years, days, first, chance) for course, *years in each)
        return flow(days, sum(parts, np.zeros(len(days))))

    return partial(flow, plants=total), anew


def _remembered_rain(days: pd.DataFrame) -> np.ndarray:
    return lfilter([1 / 40], [1, -39 / 40], days["precip_mm"].to_numpy())


def grow_mixture(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """Many minor plants, and one or two great ones of other mechanisms."""
    minor, minor_anew = _minor_flow(climate, days, rng)
    crops: list[Crop] = []
    for grower in rng.permutation(np.array([grow_thermal, grow_daylength, grow_pulse]))[:2]:
        grown = grower(climate, days, rng)
        if grown:
            crops.append(grown[int(rng.integers(len(grown)))])
    great, usual = sum(c.nectar.sum() for c in crops), minor(days)
    weight, most = rng.uniform(0.6, 1.4) * max(great, 1.0) / usual.sum(), max(usual.max(), 1e-9)

    def under(lived: pd.DataFrame) -> Course:
        given = minor(lived)
        return given / most, weight * given

    wild = Crop.grown("wild flowers", "dates", under, days)
    return [*crops, replace(wild, anew=lambda first, chance: weight * minor_anew(first, chance))]


MECHANISMS: dict[str, Grower] = {
    "thermal": grow_thermal,
    "daylength": grow_daylength,
    "pulse": grow_pulse,
    "mixture": grow_mixture,
}


# ---- the yard ------------------------------------------------------------------------------


def _names(pool: tuple[str, ...], n: int, rng: np.random.Generator) -> list[str]:
    """n names of the pool, in its order, so that early plants keep early names."""
    return [pool[i] for i in sorted(rng.choice(len(pool), n, replace=False))]


def _hedgerow(days: pd.DataFrame) -> np.ndarray:
    """A trickle from what nobody names, on any warm day that is not parched. [1]"""
    warm = expit((days["temp_max_c"].to_numpy() - 16) / 2.5)
    return warm * (0.3 + 0.7 * soil_water(days, 70.0))


def grow(mechanism: str, climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> Flora:
    """The flora of one yard, drawn anew.

    Parameters
    ----------
    mechanism : str
        A key of MECHANISMS.
    climate : Climate
        Decides when plants of this place can bloom.
    days : DataFrame
        Output of `weather.local_days` with a column flight_h (hours fit for flight). [h]
    rng : numpy.random.Generator
        The only source of chance.

    Returns
    -------
    Flora
    """
    crops = MECHANISMS[mechanism](climate, days, rng)
    sizes = np.exp(rng.normal(0, 0.5, len(crops)))
    rich = USE[mechanism] * richness(days) * np.exp(rng.normal(0, 0.28))
    return blend(crops, sizes, rich, days, rng)


def blend(
    crops: list[Crop],
    sizes: np.ndarray,
    kg_a_year: float,
    days: pd.DataFrame,
    rng: np.random.Generator,
    log_shock: np.ndarray | None = None,
) -> Flora:
    """Plants side by side, with a trickle from hedges, scaled to a yard and shaken as one.

    Parameters
    ----------
    crops : list of Crop
        Each with its own course; may be empty.
    sizes : ndarray, shape (crops,)
        How much of each there is; only their ratios count.
    kg_a_year : float
        Fresh nectar on offer on flyable days of a mean year. [kg]
    days, rng
        As for `grow`.
    log_shock : ndarray, shape (days,), optional
        Of spread SHOCK_SD, what good and bad days do to all hives; drawn when absent.
    """
    hedge, trickle = _hedgerow(days), rng.uniform(0.06, 0.18)
    # Nectar of flightless days counts for less, yet not for nothing: a plant of the cold season
    # must not be blown up to make a crop.
    flying = 0.4 + 0.6 * np.minimum(days["flight_h"].to_numpy() / 5, 1.0)
    wanted = kg_a_year * len(days) / YEAR_D
    given = [size * crop.nectar for size, crop in zip(sizes, crops, strict=True)]
    named = sum(given, np.zeros(len(days)))
    scale = (1 - trickle) * wanted / max((named * flying).sum(), 1e-9)
    base = trickle * wanted / (hedge * flying).sum()
    log_shock = drawn_shock(len(days), rng) if log_shock is None else log_shock
    shock = np.exp(log_shock - 0.5 * SHOCK_SD**2)
    share = {c.name: scale * g * shock for c, g in zip(crops, given, strict=True)}

    def under(lived: pd.DataFrame) -> np.ndarray:
        each = [size * crop.under(lived)[1] for size, crop in zip(sizes, crops, strict=True)]
        named = sum(each, np.zeros(len(lived)))
        return (scale * named + base * _hedgerow(lived)) * shock

    nectar = (scale * named + base * hedge) * shock

    def anew(first: int, chance: np.random.Generator, luck: bool) -> np.ndarray:
        each = [crop.anew(first, chance) if luck else crop.nectar for crop in crops]
        lucky = sum((size * kg for size, kg in zip(sizes, each, strict=True)), np.zeros(len(days)))
        before, left = log_shock[first - 1], len(days) - first
        later = ar_after(before, chance, left, SHOCK_MEMORY_D, SHOCK_SD) - 0.5 * SHOCK_SD**2
        fresh = (scale * lucky + base * hedge)[first:] * np.exp(later)
        return np.concatenate([nectar[:first], fresh])

    return Flora(
        nectar_kg=pd.Series(nectar, days.index),
        bloom=pd.DataFrame({c.name: c.bloom for c in crops}, days.index),
        share_kg=pd.DataFrame(share, days.index),
        follows={c.name: c.follows for c in crops},
        under=under,
        anew=anew,
    )


def drawn_shock(days: int, rng: np.random.Generator) -> np.ndarray:
    """What good and bad days do to the nectar of all hives of a yard, in the log."""
    return ar_noise(rng, days, SHOCK_MEMORY_D, SHOCK_SD)


def richness(days: pd.DataFrame) -> float:
    """Nectar of a middling place: the longer the season, the more of it in a year. [kg]"""
    flyable = float((days["flight_h"] > 2).sum()) / (len(days) / YEAR_D)
    return 220 + 1.3 * flyable


# ---- what a keeper would say of it ---------------------------------------------------------


@dataclass(frozen=True)
class Forage:
    """One [[forage]] entry: typical dates, rounded as people round them."""

    name: str
    begins: str
    ends: str
    strength: str
    follows: str
    irregular: bool


def keeper_says(
    flora: Flora, before: pd.Timestamp, rng: np.random.Generator, *, forgets: float = 0.15
) -> list[Forage]:
    """What a keeper who has watched the years before this date would write of each plant.

    Dates are medians over the years, told in steps of five days; some plants go unmentioned.
    """
    seen = flora.bloom.index < before
    said = [_typical(flora, name, seen) for name in flora.bloom.columns]
    said = [s for s in said if s is not None]
    kept = [s for s in said if rng.random() > forgets or s.strength == "heavy"]
    return kept or said[:1]


def _typical(flora: Flora, name: str, seen: np.ndarray) -> Forage | None:
    """Median dates of a plant over the days seen, counted from the middle of its bloom."""
    bloom, nectar = flora.bloom.loc[seen, name], flora.share_kg.loc[seen, name]
    if nectar.sum() <= 0:
        return None
    doy = bloom.index.dayofyear.to_numpy(float)
    turn = np.exp(2j * np.pi * doy / YEAR_D)
    centre = np.angle((turn * bloom.to_numpy()).sum()) * YEAR_D / (2 * np.pi)
    off = (doy - centre + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D
    year = np.concatenate([[0], np.cumsum(np.diff(off) < 0)])
    spans, kilos = _spans(bloom.to_numpy(), nectar.to_numpy(), off, year)
    if not spans:
        return None
    begins, ends = np.median(spans, axis=0)
    all_year = ends - begins > 330
    return Forage(
        name=name,
        begins="01-01" if all_year else _spoken(centre + begins),
        ends="12-30" if all_year else _spoken(centre + ends),
        strength=_strength(float(np.mean(kilos))),
        follows=flora.follows[name],
        irregular=len(spans) < 0.8 * len(kilos),
    )


def _strength(mean_kg: float) -> str:
    if mean_kg < LIGHT_BELOW_KG:
        return "light"
    return "fair" if mean_kg < FAIR_BELOW_KG else "heavy"


def _spans(
    bloom: np.ndarray, nectar: np.ndarray, off: np.ndarray, year: np.ndarray
) -> tuple[list[tuple[float, float]], list[float]]:
    """First and last well-open day of each whole year that bloomed; nectar of all whole years."""
    well = 0.25 * np.quantile(bloom[bloom > 0], 0.95)
    spans, kilos = [], []
    for y in range(year.max() + 1):
        mine = year == y
        if mine.sum() < 360:
            continue
        kilos.append(float(nectar[mine].sum()))
        open_ = off[mine & (bloom > well)]
        if len(open_):
            spans.append((float(open_.min()), float(open_.max())))
    return spans, kilos


def _spoken(day_of_year: float) -> str:
    """A day as people name it: the nearest fifth of the month, as month-day."""
    date = pd.Timestamp(2023, 1, 1) + pd.Timedelta(days=round((day_of_year - 1) % 365))
    day = min(max(5 * round(date.day / 5), 1), 25 if date.month == 2 else 30)
    return f"{date.month:02d}-{day:02d}"
