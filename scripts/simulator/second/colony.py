"""A colony of the second world: house bees and foragers, a flow that must be learned, slow ripening."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from simulator.colony import BEE_KG, BROOD_D, DayGain
from simulator.second.ground import remembered
from simulator.weather import vapour_pressure

LOAD_KG = 38e-6  # nectar load: 25 to 40 mg (Winston 1987, MEMORY)
TRIPS_A_DAY, FULL_DAY_H = 12.0, 8.0  # about ten a day (Park, READ), up to 13 (READ2)
STANDARD_FORAGERS = 15_000.0  # to whom the nectar of a flora is on offer
WATER_SHARE = 0.52  # of fresh nectar, what must leave: 1 - 39/82 for nectar of 39 % sugar (CALC)
HASTY = 0.6  # share of that water which leaves in the first days
HIVE_C = 33.0  # air over the combs


@dataclass(frozen=True)
class DayAir:
    """What a colony feels of one day."""

    temp_c: float  # mean of the day
    night_c: float  # lowest of the day
    warm_c: float  # mean of the last weeks
    day_length_h: float
    lengthening_h: float  # day length less that of a month ago
    vapour_kpa: float  # of the air outside
    flight_h: float
    nectar_kg: float


@dataclass
class Colony:
    """State of one colony; weights in kg, numbers of bees as floats.

    Attributes
    ----------
    strength : float
        What makes this hive better or worse than its neighbours at the same size.
    house, field_bees : float
        Bees that have not flown yet; bees that forage. Together the adults, drones apart.
    stores_kg : float
        Honey and unripe nectar, water included.
    room_kg : float
        What the drawn combs of the hive can hold.
    thin_kg, thick_kg : float
        Water among the stores that is to leave soon, and later.
    roomy_thin_kg, roomy_thick_kg : float
        The same, had the hive always had room.
    syrup_water_kg : float
        Of syrup that is still to leave.
    known_kg : float
        Nectar on offer that the bees have learned of. [kg/d]
    drones : float
        They eat; what they weigh is left out, as pollen is.
    """

    strength: float
    house: float
    field_bees: float
    stores_kg: float
    room_kg: float
    thin_kg: float = 0.0
    thick_kg: float = 0.0
    roomy_thin_kg: float = 0.0
    roomy_thick_kg: float = 0.0
    syrup_water_kg: float = 0.0
    known_kg: float = 0.0
    drones: float = 0.0
    queenless_d: int = 0
    income: deque[float] = field(default_factory=lambda: deque([0.0] * 10, maxlen=10))
    eggs: deque[float] = field(default_factory=lambda: deque([0.0] * BROOD_D, maxlen=BROOD_D))

    @property
    def adults(self) -> float:
        """Workers in all."""
        return self.house + self.field_bees

    @adults.setter
    def adults(self, number: float) -> None:
        """Bees that leave or join do so in the hive's own shares of house bees and foragers."""
        share = number / self.adults if self.adults > 0 else 1.0
        self.house, self.field_bees = share * self.house, share * self.field_bees

    @property
    def brood(self) -> float:
        """Eggs, larvae and pupae."""
        return sum(self.eggs)

    @property
    def income_kg(self) -> float:
        """Mean intake of nectar of the last ten days. [kg/d]"""
        return sum(self.income) / len(self.income)

    @property
    def wet_kg(self) -> float:
        """Water that is still to leave the nectar. [kg]"""
        return self.thin_kg + self.thick_kg

    @property
    def free_kg(self) -> float:
        """Room left, unripe nectar being spread over more comb. [kg]"""
        return self.room_kg - self.stores_kg - 0.5 * self.wet_kg

    @property
    def foragers(self) -> float:
        """Bees of the field that fetch nectar; the others fetch pollen and water for the brood."""
        return self.field_bees * (1 - 0.28 * self.brood / (self.brood + 9_000))


def new_colony(strength: float, stores_kg: float, room_kg: float) -> Colony:
    """A middling colony as it stands on a first of January."""
    return Colony(strength, 14_000 * strength, 5_000 * strength, stores_kg, room_kg)


def live(colony: Colony, air: DayAir) -> DayGain:
    """Let one day pass for this colony, changing it in place."""
    before = colony.adults
    _grow(colony, air)
    bees = BEE_KG * (colony.adults - before)
    found = _fetch(colony, air)
    intake = found * _room_left(colony)
    dried, roomy_dried = _ripen(colony, air, intake, found)
    eaten = _eat(colony, air)
    colony.stores_kg += intake - dried - eaten
    colony.income.append(intake)
    roomy = found - roomy_dried - eaten + bees
    return DayGain(intake, dried, eaten, bees, colony.foragers, colony.adults, roomy)


def _ramp(x: float, low: float, high: float) -> float:
    return min(max((x - low) / (high - low), 0.0), 1.0)


def _grow(colony: Colony, air: DayAir) -> None:
    """Two kinds of adults: house bees turn foragers, the sooner the fewer there are of them.

    Social inhibition of recruitment as in the model of Khoury, Myerscough and Barron 2011 (form
    MEMORY); rates are this world's.
    """
    hatched = 0.9 * colony.eggs[0]
    colony.eggs.append(_laid(colony, air))
    adults = max(colony.adults, 1.0)
    active = _ramp(air.warm_c, 4.0, 14.0)
    # Nectar that is known calls more bees out.
    pull = 0.17 + 0.05 * _ramp(colony.income_kg, 0, 2) - 0.34 * colony.field_bees / adults
    recruits = colony.house * active * min(max(pull, -0.03), 0.16)
    dies_out = 0.004 + 0.0085 * air.flight_h
    dies_in = 0.0028 + 0.010 * active * (0.3 + colony.brood / (colony.brood + 8_000))
    colony.house += hatched - recruits - dies_in * colony.house
    colony.field_bees = max(colony.field_bees + recruits - dies_out * colony.field_bees, 1.0)
    _drones(colony, air)


def _laid(colony: Colony, air: DayAir) -> float:
    """Eggs of a day: towards a ceiling that season, income, stores and nurses set. [1/d]"""
    if colony.queenless_d > 0:
        colony.queenless_d -= 1
        return 0.0
    warmth = _ramp(air.warm_c, 3.0, 14.0) ** 1.5
    turning = min(max(1 + 0.16 * air.lengthening_h, 0.45), 1.25)
    spring = 0.20 * _ramp(air.lengthening_h, 0.0, 1.5)
    fed = 0.12 + spring + (0.88 - spring) * colony.income_kg / (colony.income_kg + 0.20)
    stored = _ramp(colony.stores_kg, 1.5, 6.0)
    nursed = colony.house / (colony.house + 4_000)
    uncrowded = max(1 - (colony.adults / 62_000) ** 2, 0.1)
    return 2_500 * warmth * turning * fed * stored * nursed * uncrowded


def _drones(colony: Colony, air: DayAir) -> None:
    """Raised by strong colonies while days lengthen or nectar comes, thrown out in want."""
    welcome = colony.adults > 15_000 and air.warm_c > 11
    wanted = 1_800.0 if welcome and (air.lengthening_h > 0 or colony.income_kg > 0.4) else 0.0
    colony.drones += (wanted - colony.drones) * (0.04 if wanted else 0.12)


def _fetch(colony: Colony, air: DayAir) -> float:
    """Nectar for a hive with room, of what its bees know of. [kg]

    Known nectar grows by scouts and by dances of those who know, and is forgotten as it ends.
    """
    offer = air.nectar_kg * (colony.foragers / STANDARD_FORAGERS) ** 0.8 * colony.strength
    _learn(colony, offer, air.flight_h)
    if air.flight_h <= 0 or colony.known_kg <= 0:
        return 0.0
    trips = TRIPS_A_DAY * air.flight_h / FULL_DAY_H
    carry = colony.foragers * trips * LOAD_KG * colony.strength
    worked = air.flight_h / (air.flight_h + 3.0) * 1.3
    there = min(worked, 1.0) * colony.known_kg
    return carry * (1 - math.exp(-there / carry)) if carry > 0 else 0.0


def _learn(colony: Colony, offer: float, flight_h: float) -> None:
    """One day of scouting and dancing: a new bloom is known by half in two or three fair days."""
    if offer <= colony.known_kg:
        colony.known_kg = offer
        return
    knows = colony.known_kg / offer
    learns = min(flight_h / 6.0, 1.0) * (0.16 + 0.75 * knows)
    colony.known_kg += min(learns, 1.0) * (offer - colony.known_kg)


def _room_left(colony: Colony) -> float:
    """1 while empty comb abounds, none without it."""
    return math.tanh(max(colony.free_kg, 0.0) / 3.5)


def _ripen(colony: Colony, air: DayAir, intake: float, found: float) -> tuple[float, float]:
    """Water leaves in two stages, the faster the drier the air that the bees fan through."""
    thirst = max(float(vapour_pressure(HIVE_C)) - air.vapour_kpa, 0.8) / 4.0
    hasty, slow = 1 - math.exp(-1.5 * thirst), 1 - math.exp(-0.28 * thirst)
    colony.thin_kg += WATER_SHARE * HASTY * intake
    colony.roomy_thin_kg += WATER_SHARE * HASTY * found
    colony.thick_kg += WATER_SHARE * (1 - HASTY) * intake
    colony.roomy_thick_kg += WATER_SHARE * (1 - HASTY) * found
    dried = hasty * colony.thin_kg + slow * colony.thick_kg
    roomy = hasty * colony.roomy_thin_kg + slow * colony.roomy_thick_kg
    syrup = 0.6 * slow * colony.syrup_water_kg
    colony.thin_kg *= 1 - hasty
    colony.roomy_thin_kg *= 1 - hasty
    colony.thick_kg *= 1 - slow
    colony.roomy_thick_kg *= 1 - slow
    colony.syrup_water_kg -= syrup
    return dried + syrup, roomy + syrup


def _eat(colony: Colony, air: DayAir) -> float:
    """Food of a day: bees at rest, brood and its warmth, the cluster's heat, flight, drones. [kg]

    The cluster loses heat through its surface, which grows as the two thirds of its bees.
    Broodless in the mild: 0.039 kg/d (Norrstrom et al. 2021, READ).
    """
    surface = colony.adults ** (2 / 3)
    cluster = 4.2e-6 * surface * max(16.0 - air.temp_c, 0.0)
    rest = colony.adults * 1.7e-6 * _ramp(air.warm_c, 2.0, 18.0)
    brood = colony.brood * (6.6e-6 + 0.09e-6 * max(22.0 - air.night_c, 0.0))
    busy = 0.35 + 0.65 * _ramp(colony.known_kg, 0, 2)
    flight = colony.field_bees * 0.7e-6 * air.flight_h * busy
    wanted = cluster + rest + brood + flight + colony.drones * 9e-6
    return min(wanted, max(colony.stores_kg - 0.25, 0.0))


def day_airs(days: pd.DataFrame, nectar_kg: pd.Series) -> list[DayAir]:
    """Daily drivers as a list, for the day-by-day course of every hive of a yard."""
    temp, length = days["temp_mean_c"].to_numpy(), days["day_length_h"].to_numpy()
    before = np.concatenate([np.repeat(length[0], min(30, len(length))), length[:-30]])
    columns = (
        temp, days["temp_min_c"], remembered(temp, 12.0) if len(temp) else temp, length,
        length - before[: len(length)], days["rh_pct"] / 100 * vapour_pressure(temp),
        days["flight_h"], nectar_kg,
    )  # fmt: skip
    rows = np.column_stack([np.asarray(c, float) for c in columns]).tolist()
    return [DayAir(*row) for row in rows]
