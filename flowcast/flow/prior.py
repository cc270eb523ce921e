"""What is known before any log: an ensemble of seasons that the stated bloom allows.

Each member is one way the yard could be: every plant with its own date, amount and width, its own
need of water and of flight hours; and within it one year, in which each plant comes early or late,
gives more or less, or fails. What the typical seasons of the members tell apart returns every
season, what a year adds to its typical season is its own: from both come the mean and covariance
of the flow model before any log, so that a log of any length takes over by evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flowcast.flow.days import Days
from flowcast.numbers import Numbers
from flowcast.weather import water_stress

FOLLOWS = ("warmth", "day length", "rain", "dates")
SEASON_DAYS = 366
TABLES = ("by_warmth", "by_rain", "by_date")


@dataclass(frozen=True)
class Plant:
    """A plant as the keeper states it: first and last season day of bloom (0-based)."""

    name: str
    first_day: float
    last_day: float
    strength: str = "fair"
    follows: str = "warmth"
    irregular: bool = False

    @property
    def width_d(self) -> float:
        """Length of the bloom. [d]"""
        return (self.last_day - self.first_day) % SEASON_DAYS + 1

    @property
    def middle_day(self) -> float:
        """Middle of the bloom, as a season day."""
        return (self.first_day + (self.width_d - 1) / 2) % SEASON_DAYS


@dataclass(frozen=True)
class Ensemble:
    """Members of the prior; tables have shape (2, members, 366), the rest (members,).

    by_warmth, by_rain and by_date: intake on an ideal day in the typical season and in one year,
    for plants that follow warmth (read at the phenological day), rain and all others (read at the
    season day). [kg/d] half_h: foraging hours that bring half of what a very long day brings.
    thirst: share of nectar lost on parched soil.
    """

    by_warmth: np.ndarray
    by_rain: np.ndarray
    by_date: np.ndarray
    half_h: np.ndarray
    thirst: np.ndarray
    numbers: Numbers

    def first(self, members: int) -> Ensemble:
        """The first so many members alone."""
        tables = {name: getattr(self, name)[:, :members] for name in TABLES}
        return replace(self, **tables, half_h=self.half_h[:members], thirst=self.thirst[:members])

    def rain_share(self, days: Days) -> np.ndarray:
        """Share of the typical season's nectar from plants that follow rain, by day. [1]"""
        rain, dates = (
            _read(table[0], days.season_day).mean(0) for table in (self.by_rain, self.by_date)
        )
        total = rain + dates + _read(self.by_warmth[0], days.pheno_day).mean(0)
        return rain / np.maximum(total, 1e-9)

    def intake(self, days: Days) -> np.ndarray:
        """Intake in one year of each member, on each (one-dimensional) day. (members, days) [kg]"""
        return self.both(days)[1]

    def both(self, days: Days) -> np.ndarray:
        """Intake in the typical season and in one year, shape (2, members, days). [kg]"""
        ideal = _read(self.by_warmth, days.pheno_day)
        ideal += _read(self.by_rain + self.by_date, days.season_day)
        return ideal * self._reach(days) * self._moist(days)

    def _reach(self, days: Days) -> np.ndarray:
        """Share of an ideal day's intake that the day's foraging hours allow."""
        full = self.numbers["flow.full_day_h"]
        half = self.half_h[:, None]
        hours = np.nan_to_num(days.foraging_h)[None, :]
        return hours / (hours + half) * (full + half) / full

    def _moist(self, days: Days) -> np.ndarray:
        """1 while plants find water easily, down to 1 - thirst on parched soil (FAO-56 stress)."""
        ease = water_stress(days.soil_frac, self.numbers)[None, :]
        return 1.0 - self.thirst[:, None] * (1.0 - ease)


def draw_ensemble(
    plants: Sequence[Plant],
    flight_season: np.ndarray,
    numbers: Numbers,
    rng: np.random.Generator,
    members: int = 384,
) -> Ensemble:
    """Draw the ways this yard could be.

    Parameters
    ----------
    plants : sequence of Plant
        What the keeper states; may be empty, then plants are drawn over the flight season.
    flight_season : array, shape (366,)
        Normal foraging hours by season day. [h]
    """
    strength = np.exp(rng.normal(0.0, numbers["flow.colony_log_sd"], members))
    by_warmth, by_rain, by_date = np.zeros((3, 2, members, SEASON_DAYS))
    tables = {"warmth": by_warmth, "rain": by_rain}
    for plant in plants:
        target = tables.get(plant.follows, by_date)
        target += _bloom(plant, numbers, rng, members)
    by_date += _unstated(flight_season, numbers, rng, members, few=bool(plants))
    return Ensemble(
        by_warmth=by_warmth * strength[None, :, None],
        by_rain=by_rain * strength[None, :, None],
        by_date=by_date * strength[None, :, None],
        half_h=rng.uniform(numbers["flow.half_h_low"], numbers["flow.half_h_high"], members),
        thirst=rng.uniform(0.0, numbers["flow.thirst_most"], members),
        numbers=numbers,
    )


def _bloom(plant: Plant, numbers: Numbers, rng: np.random.Generator, members: int) -> np.ndarray:
    """One plant's ideal intake by season day, (2, members, 366)."""
    rain = "rain_" if plant.follows == "rain" else ""
    middle = plant.middle_day + rng.normal(0.0, numbers[f"flow.{rain}shift_sd_d"], members)
    width = plant.width_d * np.exp(rng.normal(0.0, numbers["flow.width_log_sd"], members))
    peak = _lognormal(numbers[f"flow.peak_{plant.strength}_kg"], "peak", numbers, rng, members)
    fails = numbers["flow.no_bloom_chance"] if plant.irregular else 0.0
    year_off = rng.normal(0.0, numbers[f"flow.{rain}year_shift_sd_d"], members)
    return _seasons(middle, width, peak, year_off, fails, numbers, rng)


def _seasons(middle, width, peak, year_off, fails: float, numbers: Numbers, rng) -> np.ndarray:
    """The typical season and one year, which is early or late, rich or poor, or fails."""
    amount = np.exp(rng.normal(0.0, numbers["flow.year_log_sd"], len(peak)))
    amount = amount * (rng.random(len(peak)) >= fails)
    typical = peak[:, None] * _bell(middle, width)
    return np.stack([typical, (peak * amount)[:, None] * _bell(middle + year_off, width)])


def _lognormal(middle: float, name: str, numbers: Numbers, rng, members: int) -> np.ndarray:
    return middle * np.exp(rng.normal(0.0, numbers[f"flow.{name}_log_sd"], members))


def _unstated(
    flight_season: np.ndarray,
    numbers: Numbers,
    rng: np.random.Generator,
    members: int,
    *,
    few: bool,
) -> np.ndarray:
    """What blooms without being stated: a trickle all season and plants the keeper does not know."""
    flyable = np.clip(flight_season / numbers["foraging.day_h"], 0.0, 1.0)
    trickle = _lognormal(numbers["flow.trickle_kg"], "peak", numbers, rng, members)
    total = np.tile(trickle[:, None] * flyable[None, :], (2, 1, 1))
    if few or flyable.sum() == 0:
        return total
    for _ in range(int(numbers["flow.unstated_plants"])):
        middle = rng.choice(SEASON_DAYS, members, p=flyable / flyable.sum()).astype(float)
        least, most = numbers["flow.unstated_least_d"], numbers["flow.unstated_most_d"]
        width = rng.uniform(least, most, members)
        peak = _lognormal(numbers["flow.peak_fair_kg"], "peak", numbers, rng, members)
        off = rng.normal(0.0, numbers["flow.year_shift_sd_d"], members)
        total += _seasons(middle, width, peak, off, 0.0, numbers, rng)
    return total


def _bell(middle: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Bloom curves around the circle of the season, 1 at their middle, about 0.15 at stated ends."""
    day = np.arange(SEASON_DAYS)[None, :]
    away = np.abs((day - middle[:, None] + SEASON_DAYS / 2) % SEASON_DAYS - SEASON_DAYS / 2)
    return np.exp(-2.0 * (2.0 * away / width[:, None]) ** 2)


def _read(tables: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Tables at fractional season days, round the circle. Days on the last axis."""
    low = np.floor(day).astype(int)
    share = day - low
    early, late = tables[..., low % SEASON_DAYS], tables[..., (low + 1) % SEASON_DAYS]
    return early * (1 - share) + late * share
