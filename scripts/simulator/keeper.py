"""A simple keeper: visits, supers, harvests, feeding, queens; and the swarms that get away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from simulator.climates import Climate
from simulator.colony import BEE_KG, Colony, DayAir, DayGain, day_airs, live
from simulator.weather import ar_after, ar_noise

SUPER_WOOD_KG, SUPER_HOLDS_KG, BROOD_BOXES_HOLD_KG = 4.3, 15.0, 24.0
HIVE_WOOD_KG = 19.0
FEED_KG, MUCH_FEED_KG, FONDANT_KG = 6.0, 10.0, 2.5
FEED_WATER = 0.22  # of syrup of two parts sugar: what will leave it
# What a hive is better by feeds back through its bees: gains then differ by about 0.2 in the log.
STRENGTH_SD, DRIFT_SD, DRIFT_MEMORY_D = 0.17, 0.08, 70.0


@dataclass(frozen=True)
class Habits:
    """How this keeper works.

    Attributes
    ----------
    most_supers : int
        As many as there are.
    floor_kg, reserve_kg : float
        Stores below which the hive is fed; stores left at a harvest. [kg]
    visit_every_d : pair of int
        Days between visits in the warm season, from and to.
    swarm_control : float
        Share of swarms that the keeper's checks prevent.
    feeds : bool
        Whether light hives are fed at all.
    """

    most_supers: int = 4
    floor_kg: float = 7.0
    reserve_kg: float = 16.0
    visit_every_d: tuple[int, int] = (6, 12)
    swarm_control: float = 0.6
    feeds: bool = True


@dataclass(frozen=True)
class Bees:
    """How the colonies of a world live.

    Attributes
    ----------
    colony : callable
        (strength, stores_kg, room_kg) -> a colony on its first morning, with what `Care` asks of one.
    airs : callable
        (days, nectar_kg) -> what a colony feels of each day.
    live : callable
        (colony, air) -> DayGain; one day passes.
    """

    colony: Callable[[float, float, float], Any]
    airs: Callable[[pd.DataFrame, pd.Series], list]
    live: Callable[[Any, Any], DayGain]


def _new_colony(strength: float, stores_kg: float, room_kg: float) -> Colony:
    return Colony(strength, 20_000 * strength, stores_kg, room_kg)


FIRST_BEES = Bees(_new_colony, day_airs, live)


@dataclass(frozen=True)
class Event:
    """Something that changed a hive at a local hour; kg is the step on the scale, signed."""

    day: int
    hour: int
    kind: str
    kg: float


@dataclass(frozen=True)
class Look:
    """What the keeper saw in a hive on a visit, when all was done: supers on, and comb filled. [kg]"""

    day: int
    supers: int
    filled_kg: float


@dataclass
class HiveRun:
    """One hive's whole course: daily values (arrays over days) and what was done to it.

    roomy_kg: the daily gain it would have had with room at all times. free_kg: comb free each morning,
    after the keeper's work. looks: one a visit.
    """

    name: str
    gain_kg: np.ndarray
    intake_kg: np.ndarray
    foragers: np.ndarray
    adults: np.ndarray
    stores_kg: np.ndarray
    start_kg: float
    events: list[Event] = field(default_factory=list)
    supers_left: int = 0
    roomy_kg: np.ndarray = field(default_factory=lambda: np.zeros(0))
    free_kg: np.ndarray = field(default_factory=lambda: np.zeros(0))
    looks: list[Look] = field(default_factory=list)


def habits_for(climate: Climate, rng: np.random.Generator) -> Habits:
    """Habits that suit a climate: more stores are left where the winter is long."""
    day = np.arange(1, 366)
    winter = float((climate.mean_course(day) < 8).mean())
    return Habits(
        most_supers=int(rng.integers(3, 6)),
        floor_kg=rng.uniform(6, 8),
        reserve_kg=10 + 24 * winter + rng.uniform(0, 3),
        swarm_control=rng.uniform(0.4, 0.8),
    )


def short_of_comb(habits: Habits) -> Habits:
    """The same keeper with one super a hive, who comes every two to four weeks."""
    return replace(habits, most_supers=1, visit_every_d=(14, 28))


def visit_days(days: pd.DataFrame, habits: Habits, rng: np.random.Generator) -> np.ndarray:
    """Whether the yard is visited on each day: mild dry days in season, none in winter."""
    fit = (days["temp_max_c"] > 14) & (days["precip_mm"] < 1)
    warm = days["temp_mean_c"].rolling(14, min_periods=1).mean() > 9
    ready, due = (fit & warm).to_numpy(), 0
    visited = np.zeros(len(days), bool)
    for i in range(len(days)):
        if i >= due and ready[i]:
            visited[i] = True
            due = i + int(rng.integers(habits.visit_every_d[0], habits.visit_every_d[1] + 1))
    return visited


def run_yard(
    names: list[str],
    days: pd.DataFrame,
    nectar_kg: pd.Series,
    habits: Habits,
    rng: np.random.Generator,
    bees: Bees = FIRST_BEES,
) -> list[HiveRun]:
    """All hives of one yard through these days, under one keeper and one sky.

    Parameters
    ----------
    names : list of str
        One a hive.
    days : DataFrame
        `weather.local_days` with flight_h.
    nectar_kg : Series
        `Flora.nectar_kg` on the same days.
    habits : Habits
        The keeper's.
    rng : numpy.random.Generator
        The only source of chance.
    bees : Bees, optional
        How the colonies live; as in `colony` when absent.

    Returns
    -------
    list of HiveRun
    """
    visits = visit_days(days, habits, rng)
    airs = bees.airs(days, nectar_kg)
    # The keeper looks at the calendar: the second half of the bee year is when supers come off.
    late = (days["season_day"].to_numpy() > 215).tolist()
    return [
        _run_hive(name, airs, visits.tolist(), late, habits, own, bees)
        for name, own in zip(names, rng.spawn(len(names)), strict=True)
    ]


def _run_hive(
    name: str,
    airs: list[DayAir],
    visits: list[bool],
    late: list[bool],
    habits: Habits,
    rng: np.random.Generator,
    bees: Bees,
) -> HiveRun:
    strength = own_strength(len(airs), rng)
    care = begin(float(strength[0]), habits, rng, bees)
    colony = care.colony
    start = HIVE_WOOD_KG + BEE_KG * colony.adults + colony.stores_kg
    gains: list[DayGain] = []
    stores, free, looks = np.empty(len(airs)), np.empty(len(airs)), []
    for i, air in enumerate(airs):
        colony.strength = float(strength[i])
        care.attend(i, air, visits[i], late[i])
        free[i] = colony.free_kg
        if visits[i]:
            looks.append(Look(i, care.supers, colony.room_kg - colony.free_kg))
        gains.append(bees.live(colony, air))
        stores[i] = colony.stores_kg
    table = np.array([(g.gain_kg, g.intake_kg, g.foragers, g.adults) for g in gains])
    roomy = np.array([g.roomy_kg for g in gains])
    done = care.events, care.supers
    return HiveRun(name, *table.T, stores, start, *done, roomy, free, looks)


def begin(
    strength: float, habits: Habits, rng: np.random.Generator, bees: Bees = FIRST_BEES
) -> Care:
    """A colony as it stands on the first morning, and who cares for it."""
    return Care(bees.colony(strength, habits.reserve_kg, BROOD_BOXES_HOLD_KG), habits, rng)


def own_strength(n: int, rng: np.random.Generator) -> np.ndarray:
    """A hive's own lasting share of luck, and a slow drift about it, in the log."""
    return np.exp(rng.normal(0, STRENGTH_SD) + ar_noise(rng, n, DRIFT_MEMORY_D, DRIFT_SD))


def strength_anew(strength: np.ndarray, first: int, rng: np.random.Generator) -> np.ndarray:
    """The same hive's strength, its drift from day `first` on drawn anew."""
    log = np.log(strength)
    lasting = log.mean()  # over a course much longer than the drift remembers
    drift = ar_after(log[first - 1] - lasting, rng, len(log) - first, DRIFT_MEMORY_D, DRIFT_SD)
    return np.concatenate([strength[:first], np.exp(lasting + drift)])


class Care:
    """What is done to one hive, and what it does to itself."""

    def __init__(self, colony: Colony, habits: Habits, rng: np.random.Generator):
        self.colony, self.habits, self.rng = colony, habits, rng
        self.supers = 0
        self.events: list[Event] = []
        self.last_swarm = self.last_queen = -400
        self.last_fed = -400

    def attend(self, day: int, air: DayAir, visit: bool, late: bool) -> None:
        """Swarming first (late morning is past the visit in our telling), then the keeper."""
        self._swarm(day, air)
        if visit:
            self._visit(day, late)
        self._feed(day, air, visit, late)
        self.rescue(day)

    def _note(self, day: int, hour: int, kind: str, kg: float) -> None:
        self.events.append(Event(day, hour, kind, round(kg, 2)))

    def _swarm(self, day: int, air: DayAir) -> None:
        colony = self.colony
        eager = colony.adults > 28_000 and air.lengthening_h > 0.1 and air.flight_h > 4
        if not eager or day - self.last_swarm < 200:
            return
        crowded = 1.0 if colony.free_kg < 8 else 0.4
        if self.rng.random() < 0.03 * crowded * (1 - self.habits.swarm_control):
            leaving = colony.adults * self.rng.uniform(0.35, 0.6)
            honey = min(leaving * 3.5e-5, 0.2 * max(colony.stores_kg, 0.0))
            colony.adults -= leaving
            colony.stores_kg -= honey
            colony.queenless_d = int(self.rng.integers(20, 29))
            self.last_swarm = day
            self._note(day, int(self.rng.integers(11, 16)), "swarm", -(leaving * BEE_KG + honey))

    def _visit(self, day: int, late: bool) -> None:
        hour = int(self.rng.integers(9, 13))
        if not (self.harvest(day, hour, late) or self._add_super(day, hour, late)):
            self._look(day, hour)
        self._requeen(day, hour)

    def _look(self, day: int, hour: int) -> None:
        if self.rng.random() < 0.5:
            self._note(day, hour, "inspected", 0.0)

    def _add_super(self, day: int, hour: int, late: bool) -> bool:
        colony = self.colony
        filling = colony.income_kg > 0.5 and colony.free_kg < 11 and colony.adults > 18_000
        if not filling or self.supers >= self.habits.most_supers:
            return False
        self.supers += 1
        colony.room_kg += SUPER_HOLDS_KG
        self._note(day, hour, "super_on", SUPER_WOOD_KG)
        return True

    def harvest(self, day: int, hour: int, late: bool) -> bool:
        """Honey off when it is ripe and the flow is past, or when there is no room left."""
        colony, habits = self.colony, self.habits
        spare = min(colony.stores_kg - habits.reserve_kg, 0.9 * SUPER_HOLDS_KG * self.supers)
        ripe = colony.wet_kg < 0.05 * max(colony.stores_kg, 1.0)
        past = colony.income_kg < 0.45 or colony.free_kg < 4
        if spare > 9 and ripe and past:
            colony.stores_kg -= spare
            self._note(day, hour, "harvest", -spare)
            if late:
                self._supers_off(day, hour + 1)
            return True
        if late and self.supers and colony.income_kg < 0.1 and colony.free_kg > 12 * self.supers:
            self._supers_off(day, hour)
            return True
        return False

    def _supers_off(self, day: int, hour: int) -> None:
        self.colony.room_kg -= SUPER_HOLDS_KG * self.supers
        self._note(day, hour, "super_off", -SUPER_WOOD_KG * self.supers)
        self.supers = 0

    def _feed(self, day: int, air: DayAir, visit: bool, late: bool) -> None:
        """Syrup on a visit to a light hive, fondant in winter when hefting tells of hunger."""
        colony, habits = self.colony, self.habits
        if not habits.feeds or day - self.last_fed < 9 or colony.income_kg > 0.6:
            return
        # Before a winter the hive is filled up; at other times it only must not starve.
        autumn = late and air.warm_c < 18 and air.lengthening_h < 0
        wanted = habits.reserve_kg if autumn else habits.floor_kg
        if visit and air.temp_c > 8 and colony.stores_kg < wanted:
            self.give(day, MUCH_FEED_KG if wanted - colony.stores_kg > 8 else FEED_KG, FEED_WATER)
        elif air.warm_c < 9 and colony.stores_kg < 0.5 * habits.floor_kg:
            self.give(day, FONDANT_KG, 0.05)

    def give(self, day: int, kg: float, water: float) -> None:
        self.colony.stores_kg += kg
        self.colony.syrup_water_kg += water * kg
        self.last_fed = day
        self._note(day, 11, "feed", kg)

    def _requeen(self, day: int, hour: int) -> None:
        if day - self.last_queen > 500 and self.rng.random() < 0.06:
            self.colony.queenless_d = max(self.colony.queenless_d, int(self.rng.integers(4, 12)))
            self.last_queen = day
            self._note(day, hour, "requeened", 0.0)

    def rescue(self, day: int) -> None:
        """A colony dwindled past hope gets a swarm from elsewhere, as keepers do."""
        if self.colony.adults < 4_000:
            self.colony.adults += 13_000
            self._note(day, 17, "united", 13_000 * BEE_KG)
