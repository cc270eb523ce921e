"""A colony day by day: bees and brood, what they carry, eat and dry, and the room they have."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

BEE_KG = 1.2e-4  # a worker with what it has in its crop
CARRY_KG_H = 1.6 * 36e-6  # a forager's nectar: 1.6 trips an hour of 36 mg, in the best of hours
STANDARD_FORAGERS = 15_000.0
WATER_SHARE = 0.48  # of fresh nectar, the part that has to leave as water
BROOD_D = 21


@dataclass(frozen=True)
class DayAir:
    """What a colony feels of one day."""

    temp_c: float  # mean of the day
    warm_c: float  # mean of the last three weeks
    day_length_h: float
    lengthening_h: float  # day length less that of a month ago
    rh_pct: float
    flight_h: float
    nectar_kg: float


@dataclass
class Colony:
    """State of one colony; all weights in kg, numbers of bees as floats.

    Attributes
    ----------
    strength : float
        What makes this hive better or worse than its neighbours at the same size.
    stores_kg : float
        Honey and unripe nectar, water included.
    wet_kg : float
        Nectar's water among the stores that is still to leave.
    syrup_water_kg : float
        The same of syrup, which is taken down and ripened over a week or two.
    room_kg : float
        What the drawn combs of the hive can hold.
    roomy_wet_kg : float
        As wet_kg, had the hive always had room.
    """

    strength: float
    adults: float
    stores_kg: float
    room_kg: float
    wet_kg: float = 0.0
    roomy_wet_kg: float = 0.0
    syrup_water_kg: float = 0.0
    queenless_d: int = 0
    income: deque[float] = field(default_factory=lambda: deque([0.0] * 14, maxlen=14))
    eggs: deque[float] = field(default_factory=lambda: deque([0.0] * BROOD_D, maxlen=BROOD_D))

    @property
    def brood(self) -> float:
        """Eggs, larvae and pupae."""
        return sum(self.eggs)

    @property
    def income_kg(self) -> float:
        """Mean intake of nectar over two weeks. [kg/d]"""
        return sum(self.income) / len(self.income)

    @property
    def free_kg(self) -> float:
        """Room left, unripe nectar being spread over twice the comb. [kg]"""
        return self.room_kg - self.stores_kg - 0.6 * self.wet_kg

    @property
    def foragers(self) -> float:
        """Bees free for the field: more than a third of a large colony, few of a small one."""
        share = 0.42 * self.adults / (self.adults + 6_000)
        return share * max(self.adults - 0.25 * self.brood, 0.0)


@dataclass(frozen=True)
class DayGain:
    """One day of one hive: nectar carried in, water and food gone, bees come and gone. [kg]

    roomy_kg: what these bees would have gained had they always had empty comb.
    """

    intake_kg: float
    dried_kg: float
    eaten_kg: float
    bees_kg: float
    foragers: float
    adults: float
    roomy_kg: float

    @property
    def gain_kg(self) -> float:
        """Net gain of the hive: what came in less what went out, its bees included."""
        return self.intake_kg - self.dried_kg - self.eaten_kg + self.bees_kg


def live(colony: Colony, air: DayAir) -> DayGain:
    """Let one day pass for this colony, changing it in place.

    Young bees are made of pollen, whose coming and going is left out, and old ones die in the
    field: a hive weighs more with more bees in it, and gains by as much.
    """
    before = colony.adults
    _breed(colony, air)
    bees = BEE_KG * (colony.adults - before)
    found = _forage(colony, air)
    intake = found * _room_left(colony)
    dried, roomy_dried = _dry(colony, air, intake, found)
    eaten = _eat(colony, air)
    colony.stores_kg += intake - dried - eaten
    colony.income.append(intake)
    roomy = found - roomy_dried - eaten + bees
    return DayGain(intake, dried, eaten, bees, colony.foragers, colony.adults, roomy)


def _logistic(x: float) -> float:
    return 1 / (1 + math.exp(-x))


def _breed(colony: Colony, air: DayAir) -> None:
    """Egg laying by season, income and stores; bees of the brood hatch, old bees die."""
    season = _logistic((air.warm_c - 9.5) / 2.2) * min(max(1 + 0.18 * air.lengthening_h, 0.3), 1.35)
    fed = 0.30 + 0.70 * (1 - math.exp(-colony.income_kg / 0.35))
    stored = _logistic((colony.stores_kg - 3.0) / 0.8)
    nurses = min(1.0, colony.adults / 12_000)
    laid = 0.0
    if colony.queenless_d > 0:
        colony.queenless_d -= 1
    else:
        laid = 1_450 * season * fed * stored * nurses
    hatched = 0.93 * colony.eggs[0]
    colony.eggs.append(laid)
    # A bee that flies all day wears out in five weeks; one that rests in the cluster lives half a year.
    life = 170 - 136 * _logistic((air.warm_c - 9.0) / 2.5) + 25 * math.exp(-colony.brood / 3_000)
    colony.adults += hatched - colony.adults / life


def _forage(colony: Colony, air: DayAir) -> float:
    """Nectar for the hive with room: the smaller of what bees can carry and what is there."""
    if air.flight_h <= 0 or air.nectar_kg <= 0:
        return 0.0
    carry = colony.foragers * CARRY_KG_H * air.flight_h * colony.strength
    reach = min((colony.foragers / STANDARD_FORAGERS), 3.0) ** 0.7
    offered = air.nectar_kg * reach * colony.strength * (1 - math.exp(-air.flight_h / 4.5))
    return _soft_least(carry, offered)


def _soft_least(a: float, b: float) -> float:
    """The smaller of two, less by up to a quarter where they are near each other."""
    low, high = min(a, b), max(a, b)
    return low * (1 + (low / high) ** 2.5) ** (-1 / 2.5) if high > 0 else 0.0


def _room_left(colony: Colony) -> float:
    """1 while empty comb abounds, towards 0 as it runs out."""
    return 1 - math.exp(-max(colony.free_kg, 0.0) / 2.5)


def _dry(colony: Colony, air: DayAir, intake: float, found: float) -> tuple[float, float]:
    """Water leaves through the night and the next days, slower in damp air; also of all that was found."""
    colony.wet_kg += WATER_SHARE * intake
    colony.roomy_wet_kg += WATER_SHARE * found
    pace = 0.62 - 0.35 * _logistic((air.rh_pct - 82) / 6)
    nectar, syrup = pace * colony.wet_kg, 0.25 * pace * colony.syrup_water_kg
    roomy = pace * colony.roomy_wet_kg
    colony.wet_kg -= nectar
    colony.roomy_wet_kg -= roomy
    colony.syrup_water_kg -= syrup
    return nectar + syrup, roomy + syrup


def _eat(colony: Colony, air: DayAir) -> float:
    """Food of bees, brood, warmth and flight; the last grams are never eaten."""
    active = _logistic((air.temp_c - 8.0) / 3.0)
    bees = colony.adults * (1.2e-6 + 3.8e-6 * active)
    warmth = 0.0018 * max(10.0 - air.temp_c, 0.0) * math.sqrt(colony.adults / 12_000)
    brood = colony.brood * 6.5e-6 * (1 + 0.02 * max(18.0 - air.temp_c, 0.0))
    flying = colony.foragers * 0.4e-6 * air.flight_h
    wanted = bees + warmth + brood + flying
    return min(wanted, max(colony.stores_kg - 0.3, 0.0))


def day_airs(days: pd.DataFrame, nectar_kg: pd.Series) -> list[DayAir]:
    """Daily drivers as a list, for the day-by-day course of every hive of a yard."""
    warm = days["temp_mean_c"].rolling(21, min_periods=1).mean().to_numpy()
    length = days["day_length_h"].to_numpy()
    before = np.concatenate([np.repeat(length[0], min(30, len(length))), length[:-30]])
    columns = (
        days["temp_mean_c"], warm, length, length - before[: len(length)], days["rh_pct"],
        days["flight_h"], nectar_kg,
    )  # fmt: skip
    rows = np.column_stack([np.asarray(c, float) for c in columns]).tolist()
    return [DayAir(*row) for row in rows]
