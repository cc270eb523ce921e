"""What the futures mean to one hive: what it would gain, when the next flow comes, how cold it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtri

from flowcast.advice.hive import Estimate, HiveNow, size_of
from flowcast.flow.outlook import flow_windows_each
from flowcast.flow.scenarios import Scenarios
from flowcast.numbers import Numbers


@dataclass(frozen=True)
class HiveAhead:
    """Futures of one hive, arrays (scenarios, days). [kg/d]

    gain_kg: net gain of its stores. chance: one normal draw a scenario, for whatever is not known of
    the hive today. more_use_kg: what each future's colony uses beyond such a one as stands in a yard by
    the middle of what is known.
    """

    dates: pd.DatetimeIndex
    gain_kg: np.ndarray
    intake_kg: np.ndarray
    chance: np.ndarray
    more_use_kg: np.ndarray | float = 0.0

    @property
    def gained_kg(self) -> np.ndarray:
        """Running net gain from the issue date, at the end of each day. [kg]"""
        return np.cumsum(self.gain_kg, axis=1)

    @property
    def usual_gained_kg(self) -> np.ndarray:
        """The same of a colony that uses the middle of what is known, give or take what colonies of one
        yard differ by: from one future to another it differs as years and colonies do, not by what
        nobody knows of their use. [kg]"""
        return np.cumsum(self.gain_kg + self.more_use_kg, axis=1)

    def first(self, days: int) -> HiveAhead:
        """The same futures, no further than so many days."""
        more = np.broadcast_to(self.more_use_kg, self.gain_kg.shape)[:, :days]
        cut = {"gain_kg": self.gain_kg[:, :days], "intake_kg": self.intake_kg[:, :days]}
        return replace(self, dates=self.dates[:days], **cut, more_use_kg=more)

    def drawn(self, estimate: Estimate) -> np.ndarray:
        """An estimate as one value a scenario, never below nothing. [kg]"""
        return np.maximum(estimate.kg + estimate.sd_kg * self.chance, 0.0)


def hive_ahead(
    scenarios: Scenarios,
    hive: HiveNow,
    brooding: np.ndarray,
    numbers: Numbers,
    rng: np.random.Generator,
    *,
    seasons: float = 0.0,
) -> HiveAhead:
    """The yard's futures as this hive would have them.

    A hive brings in its own share of what the yard's middle hive does and eats as much as that;
    its share is drawn once a future. What it eats beside the yard's (`usual_gained_kg`) is drawn with the
    same spread. A nucleus does all of it by its size. Only one row of each future asked for is used.

    Parameters
    ----------
    brooding : array (futures, days)
        How far each day's season lets colonies rear brood, 0 to 1 (`flow.household.drivers`).
        Without brood part of what a hive loses is its dying bees, and no stores.
    seasons : float
        Seasons of log from which the yard's use was learned (`FlowModel.seasons`).
    """
    one = scenarios.thinned()
    middle, sd = hive.share or (1.0, numbers["timing.share_log_sd"])
    share = middle * np.exp(sd * _normals(len(one.gain_kg), rng))
    kept = 1.0 - numbers["flow.use_rho"]  # the rest of more intake dries off
    died = numbers["timing.bees_die_kg_d"] * (1.0 - brooding)
    more = build_up(brooding, numbers) / (1.0 + seasons)
    gain = one.gain_kg + died - more + kept * (share[:, None] - 1.0) * one.intake_kg
    intake = share[:, None] * one.intake_kg
    size, chance = size_of(hive, numbers), _normals(len(gain), rng)
    more = 0.0 if one.more_use_kg is None else one.more_use_kg
    own = numbers["timing.share_log_sd"] * _normals(len(gain), rng)
    more = more - own[:, None] * (kept * intake - gain - more)
    return HiveAhead(one.dates, size * gain, size * intake, chance, size * more)


def build_up(brooding: np.ndarray, numbers: Numbers) -> np.ndarray:
    """What brood rearing before the warmth uses beyond what the household reckons. [kg/d]

    In late winter and spring a colony rears brood for the season that comes some weeks later, of
    which the published use in warmth knows nothing; a log does, and counts a season against one.
    """
    lead = min(int(numbers["timing.build_up_lead_d"]), brooding.shape[1] - 1)
    later = np.pad(brooding[:, lead:], ((0, 0), (0, lead)), mode="edge")
    return numbers["timing.build_up_kg_d"] * np.maximum(later - brooding, 0.0)


def _normals(count: int, rng: np.random.Generator) -> np.ndarray:
    """Normal draws spread evenly over their distribution, in an order of chance."""
    return ndtri((rng.permutation(count) + 0.5) / count)


def unripe(intake_kg: np.ndarray, now_kg: float, numbers: Numbers) -> np.ndarray:
    """Nectar in the combs that is not yet ripe, at the end of each day, as it was carried in. [kg]"""
    from scipy.signal import lfilter  # here, so that commands without dates do not load it

    keeps = 1.0 - numbers["flow.drying_rate"]
    start = np.full((len(intake_kg), 1), keeps * now_kg)
    return lfilter([1.0], [1.0, -keeps], intake_kg, axis=1, zi=start)[0]


def flows(gain_kg: np.ndarray, threshold_kg: float, numbers: Numbers) -> list[list]:
    """Flow windows of each scenario, (first, last) positions."""
    return flow_windows_each(gain_kg, threshold_kg, numbers)


def next_flow(windows: list[list], days: int, after: np.ndarray | int = 0) -> np.ndarray:
    """Position at which the next flow after one of each row begins; `days` where none does.

    after: one, or one a row in its last axis; the result has that shape. A flow that is open on the
    first day is not the next one.
    """
    table = np.full((len(windows), days), days)
    for row, own in zip(table, windows, strict=True):
        for first, _ in reversed(own):
            row[:first] = first
    after = np.minimum(after, days - 1)  # none begins after the last day
    return table[np.arange(len(windows)), after]


def first_true(holds: np.ndarray) -> np.ndarray:
    """First position of each row at which it holds; the number of days where it never does."""
    return np.where(holds.any(axis=1), holds.argmax(axis=1), holds.shape[1])


def positions(visits: pd.DatetimeIndex, dates: pd.DatetimeIndex) -> np.ndarray:
    """Visits that lie within the days looked at, as positions."""
    found = dates.get_indexer(visits)
    return found[found >= 0]


def two_weeks(temp_c: np.ndarray) -> np.ndarray:
    """Mean of the 14 days from each day on, fewer at the end; shape as given."""
    total = np.cumsum(np.pad(temp_c, ((0, 0), (1, 0))), axis=1)
    day = np.arange(temp_c.shape[1])
    end = np.minimum(day + 14, temp_c.shape[1])
    return (total[:, end] - total[:, day]) / (end - day)


def cold_from(temp_c: np.ndarray, below_c: float) -> np.ndarray:
    """First day from which two weeks are colder than this in the mean; the number of days if never."""
    return first_true(two_weeks(temp_c) < below_c)
