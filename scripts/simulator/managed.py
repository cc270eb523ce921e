"""A hive whose keeper follows somebody's orders: supers and feed are decided from outside.

Its bees, its sky and its visits are those of `keeper`; on a visit honey and supers are taken by the
same simple rule, before the orders are asked for, and none from a hive that was fed of late. It neither swarms nor is requeened, so that two ways of keeping
differ by their orders alone.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from simulator.colony import Colony, DayAir, live
from simulator.keeper import (
    BROOD_BOXES_HOLD_KG,
    FEED_WATER,
    SUPER_HOLDS_KG,
    Care,
    Habits,
    own_strength,
)

SYRUP_D = 90  # so long after a feed honey might be syrup


@dataclass(frozen=True)
class Orders:
    """What to do to a hive on a day: supers on (off when below 0), and stores' worth of feed."""

    supers: int = 0
    feed_kg: float = 0.0


@dataclass(frozen=True)
class Setting:
    """What all hives of a yard share: days, their drivers, visits, and when supers come off."""

    days: pd.DataFrame
    airs: list[DayAir]
    visits: np.ndarray
    late: np.ndarray


@dataclass
class ManagedHive:
    """One hive on the morning of `day`, and the days it has lived as rows."""

    setting: Setting
    care: Care
    strength: np.ndarray
    day: int = 0
    rows: list[tuple] = field(default_factory=list)

    @property
    def colony(self) -> Colony:
        """Its bees, brood and stores."""
        return self.care.colony

    @property
    def empty_supers(self) -> int:
        """Supers with nothing in them: bees fill the combs from below."""
        return min(max(int(self.colony.free_kg // SUPER_HOLDS_KG), 0), self.care.supers)

    def twin(self) -> ManagedHive:
        """The same hive to try something on; its rows begin anew."""
        return replace(self, care=copy.deepcopy(self.care), rows=[])

    def live_until(
        self, last: int, orders: Callable[[ManagedHive, bool], Orders], *, takes: bool = True
    ) -> pd.DataFrame:
        """Let it live up to and without day `last`, or to the last there is; the table of all its rows."""
        while self.day < min(last, len(self.setting.airs)):
            visit = bool(self.setting.visits[self.day])
            if takes and visit and self.day - self.care.last_fed > SYRUP_D:
                self.care.harvest(self.day, 10, bool(self.setting.late[self.day]))
            self._follow(orders(self, visit))
            self.colony.strength = float(self.strength[self.day])
            gain = live(self.colony, self.setting.airs[self.day])
            fed = sum(e.kg for e in self.care.events if e.day == self.day and e.kind == "feed")
            self.rows.append(
                (gain.gain_kg, gain.intake_kg, self.colony.free_kg, self.colony.stores_kg,
                 self.care.supers, fed, self.colony.adults)
            )  # fmt: skip
            self.day += 1
        return self.table()

    def table(self) -> pd.DataFrame:
        """One row a day lived: gain_kg, intake_kg, free_kg, stores_kg, supers, fed_kg, adults."""
        names = ["gain_kg", "intake_kg", "free_kg", "stores_kg", "supers", "fed_kg", "adults"]
        first = self.day - len(self.rows)
        index = self.setting.days.index[first : self.day]
        return pd.DataFrame(self.rows, columns=names, index=index)

    def _follow(self, orders: Orders) -> None:
        self.care.supers += orders.supers
        self.colony.room_kg += SUPER_HOLDS_KG * orders.supers
        if orders.feed_kg > 0:
            self.care.give(self.day, orders.feed_kg, FEED_WATER)
        self.care.rescue(self.day)


def managed_hive(setting: Setting, habits: Habits, rng: np.random.Generator) -> ManagedHive:
    """A hive at the first day of its yard."""
    strength = own_strength(len(setting.airs), rng)
    colony = Colony(
        float(strength[0]), 20_000 * float(strength[0]), habits.reserve_kg, BROOD_BOXES_HOLD_KG
    )
    return ManagedHive(setting, Care(colony, habits, rng), strength)


def split_off(hive: ManagedHive, queenless_d: int, young_queenless_d: int) -> ManagedHive:
    """Half of the bees and brood and two fifths of the stores in a hive of their own.

    queenless_d, young_queenless_d: days until a queen lays in the old and in the new hive.
    """
    young = hive.twin()
    for side, kept in ((hive, 0.6), (young, 0.4)):
        side.colony.adults *= 0.5
        side.colony.eggs.extend([0.5 * laid for laid in side.colony.eggs])
        side.colony.stores_kg *= kept
        side.colony.wet_kg *= kept
    hive.colony.queenless_d = max(hive.colony.queenless_d, queenless_d)
    young.colony.queenless_d = max(young.colony.queenless_d, young_queenless_d)
    return young
