"""Fields: sown when soil lets the drill on, mown when hay dries, harvested from one day to the next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator.climates import Climate
from simulator.flora import Course, Crop
from simulator.second.ground import (
    Seasons,
    beta_warmth,
    layers,
    luck,
    remembered,
    scaled,
    step,
)

AUTUMN_SOWN = ("turnip rape", "winter beans", "camelina")
SPRING_SOWN = ("borage", "mustard", "field beans", "coriander", "linseed", "safflower")
WINTER_D = 140.0  # days from the year of autumn-sown crops to the middle of winter [d]
LEYS = ("red clover", "sainfoin", "alsike clover", "bird's-foot trefoil")
STUBBLE_SOWN = ("fodder radish", "vetch", "serradella")


def rotated(years: int, rng: np.random.Generator) -> np.ndarray:
    """Area in reach, year by year: the near fields take turns with crops that give nothing. [1]"""
    turns = int(rng.integers(2, 5))
    near = (np.arange(years) + rng.integers(turns)) % turns == 0
    return (0.7 + 0.7 * near) * luck(years, rng, 18.0)


def field_nectar(best_c: float, thirsty: float) -> Callable[[pd.DataFrame], np.ndarray]:
    """Nectar of a standing crop: what is scarcest of light, water and warmth decides. [1]"""

    def nectar(days: pd.DataFrame) -> np.ndarray:
        _, deep = layers(days, 100.0)
        light = remembered(days["ghi_wm2"].to_numpy(), 2.0) / 210
        warm = beta_warmth(days["temp_mean_c"].to_numpy(), 7, best_c, best_c + 12)
        scarcest = np.minimum(np.minimum(light, deep / thirsty), np.minimum(warm, 1.0))
        wet = np.where(days["precip_mm"].to_numpy() > 4, 0.45, 1.0)
        return scarcest * wet * (1 + 0.15 * step(days["dawn_rh_pct"].to_numpy(), 80, 8))

    return nectar


@dataclass(frozen=True)
class Sown:
    """A crop from seed to harvest; arrays have one value a year, of its own chance.

    Attributes
    ----------
    from_day : ndarray
        Days into its year from which the farmer would sow. [d]
    wanted_c : float
        Mean of five days at which he sows. [degC]
    too_late_d : float
        After so many days of waiting something else is grown. [d]
    needs_rain_mm : float
        Rain of two weeks without which it is not sown. [mm]
    ripens, ends : float
        Development at first bloom, and at which the stand is spent. [good days]
    area : ndarray
        In reach. [1]
    hardy_c : float
        Frost that kills it. [degC]
    rests_until_d : float
        Days into its year up to which it stays a rosette. [d]
    """

    from_day: np.ndarray
    wanted_c: float
    too_late_d: float
    needs_rain_mm: float
    ripens: float
    ends: float
    area: np.ndarray
    hardy_c: float
    rests_until_d: float = 0.0


def _development(days: pd.DataFrame) -> np.ndarray:
    """Days' worth of growth on each day: warmth times length of day. [good days]"""
    warm = beta_warmth(days["temp_mean_c"].to_numpy(), 3, 23, 36)
    return warm * np.clip((days["day_length_h"].to_numpy() - 7) / 6, 0.25, 1.2)


def _workable(days: pd.DataFrame, sown: Sown) -> np.ndarray:
    """Days on which the drill can go: soil neither wet nor cold for three days, seed sure to come up."""
    top, _ = layers(days, 100.0)
    dry = pd.Series(top < 0.78).rolling(3, min_periods=1).min().to_numpy() > 0
    warm = days["temp_mean_c"].rolling(5, min_periods=1).mean().to_numpy() > sown.wanted_c
    rain = days["precip_mm"].rolling(14, min_periods=1).sum().to_numpy() >= sown.needs_rain_mm
    return dry & warm & rain


def _field_bloom(days: pd.DataFrame, sown: Sown, seasons: Seasons) -> np.ndarray:
    """How open the field is: grown up to first bloom, over at once when it is spent or killed."""
    can, grows = seasons.each(_workable(days, sown)), seasons.each(_development(days))
    since, coldest = seasons.each(seasons.since), seasons.each(days["temp_min_c"].to_numpy())
    course = []
    for y in range(seasons.years):
        wait = since[y] - sown.from_day[y]
        at = np.flatnonzero(can[y] & (wait >= 0) & (wait < sown.too_late_d))
        open_ = np.zeros(len(wait))
        if len(at) and since[y][0] <= sown.from_day[y]:
            up = (np.arange(len(wait)) > at[0]) & (since[y] > sown.rests_until_d)
            stage = np.cumsum(grows[y] * up) - sown.ripens
            stage = np.clip(stage / (sown.ends - sown.ripens), 0, 1)
            open_ = np.minimum(4 * stage, 1.0) * (1 - 0.35 * stage) * (stage < 1)
            late = np.arange(len(wait)) > at[0] + 15
            killed = np.cumsum((coldest[y] < sown.hardy_c) & late) > 0
            open_ = np.where(killed, 0.0, open_)
        course.append(sown.area[y] * open_)
    return np.concatenate(course)


def _field_crop(
    name: str, follows: str, sown: Sown, seasons: Seasons, best_c: float, days, rng
) -> Crop:
    full = scaled(_field_bloom(days, sown, seasons))
    nectar = field_nectar(best_c, rng.uniform(0.25, 0.5))

    def under(lived: pd.DataFrame) -> Course:
        bloom = _field_bloom(lived, sown, seasons) / full
        return bloom, bloom * nectar(lived)

    return Crop.grown(name, follows, under, days)


def autumn_sown(name: str, climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> Crop:
    """Sown before winter, in bloom in spring; killed by hard frost in some years."""
    seasons = Seasons.starting(days, 235.0)
    grown = seasons.sums(_development(days) * (seasons.since > WINTER_D))
    spring = _first_day(climate, 10.5) + rng.uniform(0, 14)
    ripens = seasons.median_on(grown, spring)
    lasts = rng.uniform(26, 38) * _pace(climate, spring + 12)
    sown = Sown(
        from_day=rng.normal(14, 4, seasons.years), wanted_c=6.0, too_late_d=45.0,
        needs_rain_mm=0.0, ripens=ripens, ends=ripens + lasts,
        area=rotated(seasons.years, rng), hardy_c=-24.0,
        rests_until_d=WINTER_D,
    )  # fmt: skip
    return _field_crop(name, "warmth", sown, seasons, 15.0, days, rng)


def spring_sown(name: str, climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> Crop:
    """Sown as soon as the soil bears the drill, in bloom some nine weeks on, then threshed."""
    seasons = Seasons.starting(days, 20.0)
    warm = _first_day(climate, rng.uniform(7.5, 10.5))
    lasts = rng.uniform(28, 42) * _pace(climate, warm + 70)
    ripens = rng.uniform(42, 60) * _pace(climate, warm + 35)
    sown = Sown(
        from_day=warm - 20.0 + rng.normal(0, 6, seasons.years) + rng.uniform(0, 30),
        wanted_c=6.5, too_late_d=50.0, needs_rain_mm=0.0, ripens=ripens, ends=ripens + lasts,
        area=rotated(seasons.years, rng), hardy_c=-7.0,
    )  # fmt: skip
    return _field_crop(name, "warmth", sown, seasons, rng.uniform(19, 23), days, rng)


def stubble_sown(name: str, climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> Crop:
    """Sown after harvest if rain lets it come up, in bloom until frost or the plough."""
    seasons = Seasons.starting(days, 120.0)
    ripens = rng.uniform(24, 33) * _pace(climate, 235.0)
    sown = Sown(
        from_day=90 + rng.normal(0, 5, seasons.years), wanted_c=8.0, too_late_d=30.0,
        needs_rain_mm=rng.uniform(14, 24), ripens=ripens,
        ends=ripens + rng.uniform(26, 40) * _pace(climate, 270.0),
        area=rotated(seasons.years, rng), hardy_c=-4.0,
    )  # fmt: skip
    return _field_crop(name, "rain", sown, seasons, 16.0, days, rng)


def _first_day(climate: Climate, temp_c: float) -> float:
    """First day of the northern year that is as warm in the mean, not before the end of January."""
    day = np.arange(30, 200)
    warm = climate.mean_course(day) >= min(temp_c, climate.mean_course(climate.warmest_day) - 1.5)
    return float(day[np.argmax(warm)])


def _pace(climate: Climate, day: float) -> float:
    """Growth of a middling day of this date, as `_development` has it at 14 hours of light."""
    return float(beta_warmth(climate.mean_course(day), 3, 23, 36))


# ---- leys -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ley:
    """Clover and its kin, cut for hay; arrays have one value a year, of its own chance."""

    pace: float  # growth in full light, warmth and water [1/d]
    cut_at: np.ndarray  # height at which the farmer wants to cut [1]
    patience_d: int  # days without rain that he waits for
    area: np.ndarray


def _ley_bloom(days: pd.DataFrame, ley: Ley, year: np.ndarray) -> np.ndarray:
    """Flowers of a sward that grows, is mown in the first dry spell after it is ready, and regrows."""
    _, deep = layers(days, 120.0)
    grows = ley.pace * np.minimum(days["ghi_wm2"].to_numpy() / 220, np.minimum(2.2 * deep, 1.0))
    grows = grows * beta_warmth(days["temp_mean_c"].to_numpy(), 4, 20, 34)
    rain = days["precip_mm"].to_numpy()
    ahead = [np.concatenate([rain[k:], np.zeros(k)]) for k in range(ley.patience_d)]
    hay = np.max(ahead, axis=0) < 1.0  # a farmer's forecast holds for three days
    rows = zip(grows.tolist(), hay.tolist(), (days["temp_min_c"] < -2).tolist(), year, strict=True)
    height, age, shown = 0.1, 0.0, []
    for growth, dries, frost, y in rows:
        height += growth * height * (1.25 - height) + 0.02 * growth
        age = age + growth if height > 0.55 else 0.0
        if height > ley.cut_at[y] and dries:
            height, age = 0.12, 0.0
        elif frost:
            height, age = max(0.97 * height, 0.08), 0.0
        flowers = min(max((height - 0.55) / 0.35, 0.0), 1.0) * max(1 - age / 3.0, 0.0)
        shown.append(flowers)
    # Clovers are plants of the long day (MEMORY).
    long_day = np.clip((days["day_length_h"].to_numpy() - 10.5) / 2.5, 0, 1)
    return ley.area[year] * long_day * np.array(shown)


def ley_crop(name: str, days: pd.DataFrame, rng: np.random.Generator) -> Crop:
    """A ley mown two to four times a year."""
    seasons = Seasons.starting(days, 10.0)
    ley = Ley(
        pace=rng.uniform(0.10, 0.15),
        cut_at=np.clip(rng.normal(0.93, 0.05, seasons.years), 0.8, 1.1),
        patience_d=3,
        area=luck(seasons.years, rng, 11.0),
    )
    full = scaled(_ley_bloom(days, ley, seasons.year))
    nectar = field_nectar(rng.uniform(20, 24), rng.uniform(0.25, 0.45))

    def under(lived: pd.DataFrame) -> Course:
        bloom = _ley_bloom(lived, ley, seasons.year) / full
        return bloom, bloom * nectar(lived)

    return Crop.grown(name, "dates", under, days)


def grow(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> list[Crop]:
    """A crop of each kind that the farms about have, leys among them."""
    crops = [spring_sown(str(rng.choice(SPRING_SOWN)), climate, days, rng)]
    if rng.random() < 0.75:
        crops.append(autumn_sown(str(rng.choice(AUTUMN_SOWN)), climate, days, rng))
    for name in rng.choice(LEYS, int(rng.integers(1, 3)), replace=False):
        crops.append(ley_crop(str(name), days, rng))
    if rng.random() < 0.5:
        crops.append(stubble_sown(str(rng.choice(STUBBLE_SOWN)), climate, days, rng))
    return [crop for crop in crops if crop.nectar.sum() > 0]
