"""A new colony: the first look, and how long the forage ahead takes to fill its boxes.

A nucleus, package or swarm forages and builds as a share of a full colony. A package or swarm shrinks
until its first brood emerges; then each of them grows by doubling. Comb is drawn out of what comes in
beyond its use, no faster than its bees can build. Whatever is not known of this is drawn anew in each
future. No feed is reckoned with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.advice.visits import Visits
from flowcast.advice.when import Advice, When
from flowcast.numbers import Numbers
from flowcast.spells import three

# Kinds of new colony, and where numbers.toml has what each begins with.
KINDS = {"nucleus": "start_nucleus", "package": "start_package", "swarm": "start_swarm"}
Three = tuple[pd.Timestamp, ...]


@dataclass(frozen=True)
class Filled:
    """When something is full: chance that it comes by the last day looked at, and when if so
    (quantiles 10, 50, 90 %)."""

    chance: float
    when: Three | None


@dataclass(frozen=True, kw_only=True)
class StartAdvice(Advice):
    """What a new colony may be expected to do; `when` is its first look, None once that is over.

    Verdicts: "honey likely", "honey perhaps", "box this season", "not this season": what its first
    super and its brood box have come to by `until`, the last day looked at. kind: one of `KINDS`.
    brood_box, super_box: when they are drawn out, and filled with honey to take.
    """

    kind: str
    installed: pd.Timestamp
    brood_box: Filled
    super_box: Filled
    until: pd.Timestamp


@dataclass(frozen=True)
class Beginning:
    """What stands on the issue date: the colony's kind, when it came, frames drawn and to be drawn in its
    brood box, and what its first super holds when full. [kg]"""

    hive: str
    kind: str
    installed: pd.Timestamp
    drawn: float
    frames: float
    super_kg: float


def read_start(
    colony: Beginning,
    gain_kg: np.ndarray,
    dates: pd.DatetimeIndex,
    visits: Visits,
    numbers: Numbers,
    rng: np.random.Generator,
) -> StartAdvice:
    """A new colony's first look and boxes, read off the futures.

    Parameters
    ----------
    gain_kg : array (scenarios, days)
        Daily net gain of a full colony from the issue date on. [kg/d]
    dates : DatetimeIndex
        Of its columns.
    rng : Generator
        Draws what is not known of the colony, once a scenario.
    """
    age = (dates - colony.installed).days.to_numpy()
    share = strength(colony.kind, age, len(gain_kg), numbers, rng)
    spare = np.maximum(share * gain_kg, 0.0)
    price = rng.uniform(*_pair("comb_kg", numbers), (len(gain_kg), 1))
    drawn = _drawn(colony.drawn, spare, share, price, colony.frames, numbers)
    left = np.cumsum(spare, axis=1) - price * (drawn - colony.drawn)
    # Stores of its own come first, and the super's combs are drawn as well, of thinner wax.
    asks = numbers["timing.start_stores_kg"] + colony.super_kg
    asks = asks + price * colony.frames * numbers["timing.super_comb_share"]
    full = (drawn >= colony.frames - 0.5) & (left >= asks)
    brood_box = _filled(drawn >= colony.frames - 0.5, dates)
    super_box = _filled(full, dates)
    return StartAdvice(
        hive=colony.hive,
        verdict=_verdict(brood_box.chance, super_box.chance),
        when=_first_look(colony.installed, dates[0], visits, numbers),
        reasons=(f"a {colony.kind} grows", "comb costs honey"),
        changes=("feed", "swarms or loses its queen", "drawn comb given"),
        cautions=("never with supers on", "small amounts, no patties"),
        kind=colony.kind,
        installed=colony.installed,
        brood_box=brood_box,
        super_box=super_box,
        until=dates[-1],
    )


def _verdict(brood_box: float, super_box: float) -> str:
    """In the words of chances: likely from 2 in 3, unlikely up to 1 in 3."""
    if super_box > 1 / 3:
        return "honey likely" if super_box >= 2 / 3 else "honey perhaps"
    return "box this season" if brood_box >= 0.5 else "not this season"


def _first_look(installed, today, visits: Visits, numbers: Numbers) -> When | None:
    """About a week after the colony came, on a fit day."""
    look = installed + pd.Timedelta(days=int(numbers["timing.first_look_d"]))
    late = look + pd.Timedelta(days=int(numbers["timing.first_look_late_d"]))
    if late < today:
        return None
    look = max(look, today)
    return When(visits.next_fit(look), look, late, 1.0)


def strength(
    kind: str, age_d: np.ndarray, count: int, numbers: Numbers, rng: np.random.Generator
) -> np.ndarray:
    """What a new colony can do, as a share of a full one, shape (count, days). [1]

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    age_d : array (days,)
        Days since the colony came. [d]
    """
    low, high = _pair(KINDS[kind], numbers)
    begins = rng.uniform(low, high, (count, 1))
    double = rng.uniform(*_pair("start_double_d", numbers), (count, 1))
    wait = 0.0 if kind == "nucleus" else numbers["timing.start_wait_d"]
    age = np.maximum(np.asarray(age_d, float), 0.0)
    shrinks = 1.0 - (1.0 - numbers["timing.start_left"]) * np.minimum(age / max(wait, 1.0), 1.0)
    shrinks = shrinks if wait else np.ones_like(age)
    return np.minimum(begins * shrinks * 2.0 ** (np.maximum(age - wait, 0.0) / double), 1.0)


def _drawn(begins: float, spare, share, price, frames: float, numbers: Numbers) -> np.ndarray:
    """Frames drawn at the end of each day: what comes in pays for comb, and bees build so fast."""
    most = share * numbers["timing.start_build_frames_d"]
    built = np.cumsum(np.minimum(spare / price, most), axis=1)
    return np.minimum(begins + built, frames)


def _filled(done: np.ndarray, dates: pd.DatetimeIndex) -> Filled:
    comes = done.any(axis=1)
    if not comes.any():
        return Filled(0.0, None)
    first = done.argmax(axis=1)[comes]
    when = tuple(dates[0] + pd.Timedelta(days=int(d)) for d in three(first))
    return Filled(float(comes.mean()), when)


def _pair(name: str, numbers: Numbers) -> tuple[float, float]:
    return numbers[f"timing.{name}_low"], numbers[f"timing.{name}_high"]
