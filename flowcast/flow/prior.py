"""What is known before any log: an ensemble of seasons that the stated bloom allows.

Each member is one way the yard could be: every plant with its own date, amount and width, its own
need of water and of flight hours; and within it one year, in which each plant comes early or late,
gives more or less, or fails. A season whose bloom the keeper noted has a year of its own, drawn as the
notes allow; so has the plant's typical date. What the typical seasons of the members tell apart returns every
season, what a year adds to its typical season is its own: from both come the mean and covariance
of the flow model before any log, so that a log of any length takes over by evidence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtr, ndtri

from flowcast.flow.days import Days
from flowcast.flow.noted import Noted
from flowcast.flow.plants import SEASON_DAYS, Plant
from flowcast.numbers import Numbers
from flowcast.weather import water_stress

TABLES = ("by_warmth", "by_rain", "by_date")


PlantKey = tuple[str, int]  # name in small letters, and which of the plants of that name


@dataclass(frozen=True)
class Drawn:
    """Standard draws of one plant, each (members,): normal, and `luck` uniform for whether it fails."""

    shift: np.ndarray
    width: np.ndarray
    peak: np.ndarray
    year_off: np.ndarray
    amount: np.ndarray
    luck: np.ndarray

    @classmethod
    def fresh(cls, members: int, rng: np.random.Generator) -> Drawn:
        """New ones."""
        normal = [rng.standard_normal(members) for _ in fields(cls)[:-1]]
        return cls(*normal, rng.random(members))

    def near(self, other: Drawn, typical: float, year: float) -> Drawn:
        """The same with so much correlation with the draws of the other, for the plant and its year."""

        def mixed(name: str, share: float, of=lambda draws: draws) -> np.ndarray:
            """One of the draws, to that share the other's."""
            own, theirs = of(getattr(self, name)), of(getattr(other, name))
            return share * theirs + np.sqrt(1.0 - share**2) * own

        return Drawn(
            *(mixed(name, typical) for name in ("shift", "width", "peak")),
            *(mixed(name, year) for name in ("year_off", "amount")),
            luck=ndtr(mixed("luck", year, ndtri)),
        )


@dataclass(frozen=True)
class Akin:
    """The draws of another yard's plants, and how far those of the same name are drawn alike."""

    drawn: Mapping[PlantKey, Drawn]
    typical: float
    year: float


@dataclass(frozen=True)
class Ensemble:
    """Members of the prior; tables have shape (2 + noted seasons, members, 366), the rest (members,).

    by_warmth, by_rain and by_date: intake on an ideal day in the typical season, in one year, and in
    each of the noted `seasons`, for plants that follow warmth (read at the phenological day), rain and all others (read at the
    season day). [kg/d] half_h: foraging hours that bring half of what a very long day brings.
    thirst: share of nectar lost on parched soil. drawn: what each stated plant was drawn from.
    """

    by_warmth: np.ndarray
    by_rain: np.ndarray
    by_date: np.ndarray
    half_h: np.ndarray
    thirst: np.ndarray
    numbers: Numbers
    seasons: tuple[int, ...] = ()
    drawn: Mapping[PlantKey, Drawn] = field(default_factory=dict)

    def first(self, members: int) -> Ensemble:
        """The first so many members alone."""
        tables = {name: getattr(self, name)[:, :members] for name in TABLES}
        return replace(self, **tables, half_h=self.half_h[:members], thirst=self.thirst[:members])

    def rain_share(self, days: Days) -> np.ndarray:
        """Share of the typical season's nectar from plants that follow rain, by day. [1]"""
        rain, dates = (
            _read(table[:1], days.season_day).mean(0) for table in (self.by_rain, self.by_date)
        )
        total = rain + dates + _read(self.by_warmth[:1], days.pheno_day).mean(0)
        return rain / np.maximum(total, 1e-9)

    def intake(self, days: Days) -> np.ndarray:
        """Intake in one year of each member, on each (one-dimensional) day. (members, days) [kg]"""
        return self.both(days)[1]

    def both(self, days: Days) -> np.ndarray:
        """Intake in the typical season and in the day's own year, shape (2, members, days). [kg]"""
        return next(self.over_hours(days, days.foraging_h[None]))

    def over_hours(self, days: Days, hours: np.ndarray) -> Iterator[np.ndarray]:
        """As `both`, had the days other foraging hours: for each row of hours, shape (rows, days)."""
        own = 1 + self._year_of(days)
        ideal = np.stack([self._ideal(days, table) for table in (np.zeros_like(own), own)])
        moist = self._moist(days)
        for row in hours:
            yield ideal * self._reach(row) * moist

    @cached_property
    def _by_day(self) -> np.ndarray:
        """All that is read at the season day."""
        return self.by_rain + self.by_date

    def _ideal(self, days: Days, table: np.ndarray) -> np.ndarray:
        """Intake on ideal days, each read in its own one of the tables. (members, days) [kg]"""
        by_warmth = _read(self.by_warmth, days.pheno_day, table)
        by_date = _read(self._by_day, days.season_day, table)
        return by_warmth + by_date

    def _year_of(self, days: Days) -> np.ndarray:
        """0 on days of seasons like any other, 1 and on in the noted seasons."""
        year = np.zeros(len(days), int)
        for k, season in enumerate(self.seasons, start=1):
            year[days.season == season] = k
        return year

    def _reach(self, hours: np.ndarray) -> np.ndarray:
        """Share of an ideal day's intake that each day's foraging hours allow. (members, days)"""
        full = self.numbers["flow.full_day_h"]
        half = self.half_h[:, None]
        hours = np.nan_to_num(hours)[None, :]
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
    noted: Mapping[str, Sequence[Noted]] | None = None,
    akin: Akin | None = None,
) -> Ensemble:
    """Draw the ways this yard could be.

    Parameters
    ----------
    plants : sequence of Plant
        What the keeper states; may be empty, then plants are drawn over the flight season.
    flight_season : array, shape (366,)
        Normal foraging hours by season day. [h]
    noted : mapping, optional
        Name of a plant -> what notes say of its bloom in some seasons.
    akin : Akin, optional
        Plants of another yard: one of the same name is drawn alike, all else independently.
    """
    noted, own = noted or {}, rng.spawn(1)[0]  # notes leave all other draws as they were
    seasons = tuple(sorted({one.season for blooms in noted.values() for one in blooms}))
    strength = np.exp(rng.normal(0.0, numbers["flow.colony_log_sd"], members))
    by_warmth, by_rain, by_date = np.zeros((3, 2 + len(seasons), members, SEASON_DAYS))
    tables = {"warmth": by_warmth, "rain": by_rain}
    drawn: dict[PlantKey, Drawn] = {}
    for plant in plants:
        target = tables.get(plant.follows, by_date)
        told = {one.season: one for one in noted.get(plant.name, ())}
        key = _key(plant, drawn)
        drawn[key] = Drawn.fresh(members, rng)
        if akin and key in akin.drawn:
            drawn[key] = drawn[key].near(akin.drawn[key], akin.typical, akin.year)
        target += _bloom(plant, drawn[key], told, seasons, numbers, own)
    other = _unstated(flight_season, numbers, rng, members, few=bool(plants))
    by_date += other[[0, 1] + [1] * len(seasons)]
    return Ensemble(
        by_warmth=by_warmth * strength[None, :, None],
        by_rain=by_rain * strength[None, :, None],
        by_date=by_date * strength[None, :, None],
        half_h=rng.uniform(numbers["flow.half_h_low"], numbers["flow.half_h_high"], members),
        thirst=rng.uniform(0.0, numbers["flow.thirst_most"], members),
        numbers=numbers,
        seasons=seasons,
        drawn=drawn,
    )


def _key(plant: Plant, drawn: Mapping[PlantKey, Drawn]) -> PlantKey:
    """The plant's key beside those drawn before."""
    name = plant.name.casefold()
    return name, sum(other == name for other, _ in drawn)


def _bloom(
    plant: Plant,
    drawn: Drawn,
    told: Mapping[int, Noted],
    seasons: Sequence[int],
    numbers: Numbers,
    own: np.random.Generator,
) -> np.ndarray:
    """One plant's ideal intake by season day, (2 + seasons, members, 366)."""
    rain = "rain_" if plant.follows == "rain" else ""
    sd = numbers[f"flow.{rain}shift_sd_d"]
    clock = {"warmth": "warmth", "rain": "rain"}.get(plant.follows, "dates")
    year_sd = numbers[f"flow.noted_{clock}_sd_d"]
    shift = _shift_given(sd * drawn.shift, sd, told.values(), year_sd)
    middle = plant.middle_day + shift
    width = plant.width_d * np.exp(numbers["flow.width_log_sd"] * drawn.width)
    peak = numbers[f"flow.peak_{plant.strength}_kg"]
    peak = peak * np.exp(numbers["flow.peak_log_sd"] * drawn.peak)
    fails = numbers["flow.no_bloom_chance"] if plant.irregular else 0.0
    year_off = numbers[f"flow.{rain}year_shift_sd_d"] * drawn.year_off
    plain = _seasons(middle, width, peak, year_off, fails, numbers, drawn.amount, drawn.luck)
    years = [
        _noted_year(told[s], shift, year_sd, (middle, width, peak, year_off, fails), numbers, own)
        if s in told
        else plain[1]
        for s in seasons
    ]
    return np.stack([*plain, *years])


def _shift_given(shift: np.ndarray, sd: float, noted, year_sd: float) -> np.ndarray:
    """Draws of the typical shift, moved to what the seasons' notes leave likely. [d]

    Each season seen strays from the typical by its own, and by the note's error.
    """
    seen = [(one.late_d, year_sd**2 + one.sd_d**2) for one in noted if one.opened]
    if not seen:
        return shift
    late, var = np.array(seen).T
    precision = 1.0 / sd**2 + (1.0 / var).sum()
    return (late / var).sum() / precision + shift / sd * precision**-0.5


def _noted_year(noted: Noted, shift, year_sd: float, plain: tuple, numbers: Numbers, own):
    """The year of a noted season: as late as seen, and there or not as its buds say.

    plain: middle, width, peak, departure and chance of failing of a year without notes.
    """
    middle, width, peak, year_off, fails = plain
    if noted.opened:
        share = year_sd**2 / (year_sd**2 + noted.sd_d**2)
        left = own.normal(0.0, year_sd * np.sqrt(1.0 - share), len(shift))
        year_off, fails = share * (noted.late_d - shift) + left, 0.0
    elif noted.buds:
        fails = numbers[f"flow.buds_{noted.buds}_fail"]
    more = numbers["flow.buds_heavy_more"] if noted.buds == "heavy" else 1.0
    chance = own.standard_normal(len(peak)), own.random(len(peak))
    return _seasons(middle, width, more * peak, year_off, fails, numbers, *chance)[1]


def _seasons(
    middle, width, peak, year_off, fails: float, numbers: Numbers, amount, luck
) -> np.ndarray:
    """The typical season and one year, which is early or late, rich or poor, or fails."""
    amount = np.exp(numbers["flow.year_log_sd"] * amount) * (luck >= fails)
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
        chance = rng.standard_normal(members), rng.random(members)
        total += _seasons(middle, width, peak, off, 0.0, numbers, *chance)
    return total


def _bell(middle: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Bloom curves around the circle of the season, 1 at their middle, about 0.15 at stated ends."""
    day = np.arange(SEASON_DAYS)[None, :]
    away = np.abs((day - middle[:, None] + SEASON_DAYS / 2) % SEASON_DAYS - SEASON_DAYS / 2)
    return np.exp(-2.0 * (2.0 * away / width[:, None]) ** 2)


def _read(tables: np.ndarray, day: np.ndarray, which: np.ndarray | int = 0) -> np.ndarray:
    """Tables (tables, members, 366) at fractional season days, round the circle. (members, days)

    which: the table that each day is read in.
    """
    low = np.floor(day).astype(int)
    share = day - low
    early, late = (tables[which, :, at % SEASON_DAYS].T for at in (low, low + 1))
    return early * (1 - share) + late * share
