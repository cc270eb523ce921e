"""The gain equation: what the scale sees of what the bees brought in.

    gain(t) = intake(t) - use(t) - drying(t)
    use     = base + cold * chill(t) + warm * brooding(t) + brood * memory(t)
              + (course(season day) + level(t)) * swing(t)
    drying  = k * wet(t),   wet(t+1) = (1 - k) wet(t) + rho * intake(t)

`memory` is the mean intake of the last month (a colony raises brood on what comes in); `wet` is
the water of nectar not yet ripe, per unit of rho. `course` is what colonies here use more or less than
the equation says in each part of the year, every year again, as a few waves round the season; `level` is
what they do so in these weeks, a slow drift about 0. Both stray as far as the colony is large. The five
coefficients (base, cold, warm, brood, rho), the course and the level are learned from days on which
nothing came in, and from totals over such days (`evened`), from a prior that stands in numbers.toml, by a
Kalman smoother.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from scipy.stats import exponnorm, norm
from statsmodels.tsa.statespace.kalman_smoother import KalmanSmoother

from flowcast.flow.days import Days
from flowcast.flow.evened import Total, evened_out
from flowcast.flow.plants import SEASON_DAYS
from flowcast.numbers import Numbers

COEFFICIENTS = ("base", "cold", "warm", "brood", "rho")
N_COEFFICIENTS = len(COEFFICIENTS)
LEAST = 0.0  # of every coefficient: a colony never gives weight back


@dataclass(frozen=True)
class Household:
    """What a colony eats and dries off, as known on the morning after a record.

    mean: coefficients, shape (5,) [kg/d and shares]; course: height of each of its waves [kg/d]; level:
    today's [kg/d]; cov: covariance of them all in this order, the states. past: what course and level
    added to the use on each day of the record they were learned from [kg/d], of which the first has the
    number `since` (as `Days.time`); none before any log.
    """

    mean: np.ndarray
    course: np.ndarray
    cov: np.ndarray
    numbers: Numbers
    level: float = 0.0
    past: np.ndarray = field(default_factory=lambda: np.zeros(0))
    since: float = 0.0

    @property
    def states(self) -> np.ndarray:
        """Coefficients, course and level in the middle of what is known, shape (states,)."""
        return np.r_[self.mean, self.course, self.level]

    @property
    def size_kg(self) -> float:
        """What the colony uses on a day of a summer's dearth: how large it is, as far as use tells. [kg/d]"""
        base, _, warm, *_ = self.mean
        return max(float(base + warm), self.numbers["flow.use_least_kg"])

    @property
    def strays(self) -> np.ndarray:
        """Standard deviation of each wave of the course and of the level before any log. [kg/d]"""
        # A wave's sine and cosine alike, and the slower it is, the higher it may be.
        high = np.repeat(1.0 / np.arange(1, int(self.numbers["flow.course_waves"]) + 1), 2)
        high *= self.numbers["flow.course_frac"] / np.sqrt((high**2).sum() / 2.0)
        return self.size_kg * np.r_[high, self.numbers["flow.level_frac"]]

    def draw(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """States, shape (count, states), no coefficient below its least value."""
        drawn = rng.multivariate_normal(self.states, self.cov, size=count)
        drawn[:, :N_COEFFICIENTS] = np.maximum(drawn[:, :N_COEFFICIENTS], LEAST)
        return drawn

    def over(self, days: Days) -> np.ndarray:
        """What course and level add to each day's use; 0 outside the record. [kg/d]"""
        at = (days.time - self.since).astype(int)
        inside = (at >= 0) & (at < len(self.past))
        added = np.zeros(len(days))
        added[inside] = self.past[at[inside]]
        return added

    def effects(self, days: Days, stocks: list[Stock]) -> np.ndarray:
        """What one more of each state adds to each day's use, shape (days, states).

        The level is that after these days: the further back a day, the less it tells of it.
        """
        effects = np.nan_to_num(_design(days, stocks, self.numbers).T)
        effects[:, -1] *= level_memory(self.numbers) ** np.arange(len(days), 0, -1)
        return effects


@dataclass(frozen=True)
class Stock:
    """What a day hands on to the next: mean intake of the last month and wet nectar per rho. [kg]"""

    memory: np.ndarray | float
    wet: np.ndarray | float


def prior_household(numbers: Numbers) -> Household:
    """The published and common-practice prior, before any log."""
    mean = np.array([numbers[f"flow.use_{name}"] for name in COEFFICIENTS])
    sd = [numbers[f"flow.use_{name}_sd"] for name in COEFFICIENTS]
    course = np.zeros(2 * int(numbers["flow.course_waves"]))
    home = Household(mean, course, np.empty((0, 0)), numbers)
    return replace(home, cov=np.diag(np.square([*sd, *home.strays])))


def level_memory(numbers: Numbers) -> float:
    """Share of the level that is left a day later."""
    return float(np.exp(-1.0 / numbers["flow.level_span_d"]))


def drivers(days: Days, numbers: Numbers) -> tuple[np.ndarray, np.ndarray]:
    """(chill, brooding) of each day: 10 °C of cold below 10 °C count 1; brooding is 0 to 1."""
    chill = np.maximum(0.0, numbers["flow.chill_below_c"] - days.temp_c) / 10.0
    low, high = numbers["flow.brood_from_c"], numbers["flow.brood_full_c"]
    brooding = np.clip((days.month_temp_c - low) / (high - low), 0.0, 1.0)
    return chill, brooding


def swing(brooding: np.ndarray, numbers: Numbers) -> np.ndarray:
    """How far a day's use can stray, against one in full brood. [1]"""
    still = numbers["flow.winter_swing"]
    return still + (1.0 - still) * brooding


def recurring(days: Days, numbers: Numbers) -> np.ndarray:
    """What each wave of the course adds to each day's use, for a height of 1. Shape (waves, *days)."""
    _, brooding = drivers(days, numbers)
    turn = 2.0 * np.pi * days.season_day / SEASON_DAYS
    waves = range(1, int(numbers["flow.course_waves"]) + 1)
    each = [trace(wave * turn) for wave in waves for trace in (np.sin, np.cos)]
    return np.array(each) * swing(brooding, numbers)


def step(stock: Stock, intake: np.ndarray | float, numbers: Numbers) -> Stock:
    """The stock after a day with this intake."""
    fade, k = 1.0 / numbers["flow.memory_d"], numbers["flow.drying_rate"]
    return Stock(
        memory=stock.memory + fade * (intake - stock.memory),
        wet=(1.0 - k) * stock.wet + intake,
    )


def use(stock: Stock, chill, brooding, coefficients: np.ndarray, numbers: Numbers):
    """Weight lost in a day without intake, course and level apart. [kg] Coefficients on the last axis."""
    base, cold, warm, brood, rho = np.moveaxis(np.asarray(coefficients), -1, 0)
    eaten = base + cold * chill + warm * brooding + brood * stock.memory
    return eaten + rho * numbers["flow.drying_rate"] * stock.wet


def intake_of(
    gain_kg: np.ndarray, days: Days, household: Household
) -> tuple[np.ndarray, list[Stock]]:
    """Intake that explains each daily gain, and the stock each day began with.

    Parameters
    ----------
    gain_kg : array, shape (days,)
        Daily net gain; NaN where unknown. [kg]

    Returns
    -------
    (array, list of Stock)
        Intake, unclipped: a negative value says that the day lost more than the colony's use.
        NaN where the gain is unknown; such days leave the stock's memory as it was. [kg]
    """
    numbers = household.numbers
    base, cold, warm, brood, rho = (float(v) for v in household.mean)
    chill, brooding = drivers(days, numbers)
    eaten = base + cold * chill + warm * brooding + household.over(days)
    drying = rho * numbers["flow.drying_rate"]
    flying = ~(days.foraging_h < numbers["flow.flight_min_h"])  # unknown hours may be flight
    stock, stocks = Stock(0.0, 0.0), []
    intake = np.full(len(gain_kg), np.nan)
    for t, gain in enumerate(np.asarray(gain_kg, float).tolist()):
        stocks.append(stock)
        intake[t] = gain + eaten[t] + brood * stock.memory + drying * stock.wet
        known = max(float(intake[t]), 0.0) if np.isfinite(intake[t]) else stock.memory
        # What a day without flight seems to bring is error; carried on, it would feed itself.
        stock = step(stock, known if flying[t] else 0.0, numbers)
    return intake, stocks


def fit_household(
    gain_kg: np.ndarray,
    days: Days,
    numbers: Numbers,
    rounds: int = 6,
    *,
    full: np.ndarray | None = None,
    totals: Sequence[Total] = (),
) -> Household:
    """Learn use and drying from the days on which nothing came in.

    Those are days with practically no foraging hours, and each other day as far as it and its
    neighbours look barren (`barren_share`). A few rounds, since intake and use explain each other.

    full: days whose hives had no free comb. Those with flight are not asked: a full hive brings in
    about what it has eaten, for which there is room again, so that it neither gains nor loses however
    rich the flow, and its use would be taken for nothing. Without flight it eats like any other.
    totals: gains over longer spans, of hives with room.
    """
    household, huber = prior_household(numbers), numbers["flow.huber_sd"]
    full = np.zeros(len(days), bool) if full is None else full
    log, scatter = evened_out(gain_kg, totals, numbers), numbers["flow.idle_sd_kg"] ** 2
    flown = log.mean(~(days.foraging_h < numbers["flow.idle_below_h"]))  # unknown may be flight
    idle, trickle = flown == 0.0, flown * _trickle(log.length, numbers)
    known = np.isfinite(log.gain_kg + log.mean(days.temp_c) + log.mean(days.month_temp_c))
    if known.sum() < 3:
        return household
    for _ in range(rounds):
        intake, stocks = intake_of(log.gain_kg, days, household)
        intake, design = log.mean(intake), log.mean(_design(days, stocks, numbers))
        unsure = np.einsum("it,ij,jt->t", design, household.cov, design)
        sd = np.sqrt(scatter / log.length + log.var + unsure)
        barren = barren_share(np.where(idle | full, np.nan, intake), sd, numbers)
        weight = np.where(idle, 1.0, numbers["flow.barren_weight"] * barren)
        seen = np.where(known & (weight > 0.01), trickle - log.gain_kg, np.nan)
        # What a barren day seems to have brought is its error, and far off it counts less (Huber).
        off = np.abs(np.nan_to_num(intake - trickle)) / numbers["flow.idle_sd_kg"]
        weight = weight * (huber / np.maximum(off, huber))
        weight = weight / (1.0 + log.var * log.length / scatter)
        household = replace(_smoothed(design, seen, weight, household), since=days.time[0])
    return household


def _trickle(length: np.ndarray, numbers: Numbers) -> np.ndarray:
    """What a flyable day that looks barren brings: more where a total hides its better days. [kg]"""
    return np.where(length > 1.0, numbers["flow.total_barren_kg"], numbers["flow.barren_kg"])


def barren_share(intake_kg: np.ndarray, sd_kg: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Chance that nothing came in on each day, from its intake and how barren its neighbours look.

    Without a flow an intake is the little that a flying colony always finds, and error; in a flow,
    an exponential intake and that error. Days on both sides count, so that errors do not pass for a
    hungrier colony. sd_kg: error of the intake, with what is not known yet of the use. NaN counts 0, and so
    does what is too far off to be either.
    """
    barren = norm.pdf(intake_kg, numbers["flow.barren_kg"], sd_kg)
    bearing = exponnorm.pdf(intake_kg, numbers["flow.nectar_day_kg"] / sd_kg, scale=sd_kg)
    width = int(numbers["flow.barren_near_d"])
    usual = np.full(len(intake_kg), 0.5)
    for _ in range(3):
        either, none = usual * barren + (1.0 - usual) * bearing, np.full(len(usual), np.nan)
        share = np.divide(usual * barren, either, out=none, where=either > 0)
        near = pd.Series(share).rolling(width, center=True, min_periods=1).mean()
        usual = near.fillna(0.5).clip(0.02, 0.98).to_numpy()
    return np.nan_to_num(share)


def _design(days: Days, stocks: list[Stock], numbers: Numbers) -> np.ndarray:
    """What each state adds to the loss of each day, (states, days)."""
    chill, brooding = drivers(days, numbers)
    memory = np.array([s.memory for s in stocks])
    wet = np.array([s.wet for s in stocks])
    one = np.ones(len(chill))
    dried = numbers["flow.drying_rate"] * wet
    straying = recurring(days, numbers), swing(brooding, numbers)
    return np.vstack([one, chill, brooding, memory, dried, *straying])


def _smoothed(
    design: np.ndarray, loss: np.ndarray, weight: np.ndarray, thought: Household
) -> Household:
    """Coefficients and a course that stay and a level that drifts, given losses with errors of
    idle_sd^2 / weight.

    loss is NaN on days that tell nothing; none of them reaches the day after the last. thought: what
    was thought so far, which says how large the colony is, and so how far its use may stray.
    """
    numbers, states = thought.numbers, len(design)
    prior, strays, fade = prior_household(numbers), thought.strays, level_memory(numbers)
    cov = np.diag(np.r_[np.diag(prior.cov)[:N_COEFFICIENTS], strays**2])
    filter_ = KalmanSmoother(k_endog=1, k_states=states, k_posdef=1)
    filter_.bind(np.ascontiguousarray(loss))
    filter_["design"] = np.nan_to_num(design)[None]
    filter_["obs_cov"] = (numbers["flow.idle_sd_kg"] ** 2 / np.maximum(weight, 1e-6))[None, None]
    filter_["transition"] = np.diag(np.r_[np.ones(states - 1), fade])
    filter_["selection", -1, 0] = 1.0
    filter_["state_cov", 0, 0] = strays[-1] ** 2 * (1.0 - fade**2)
    filter_.initialize_known(prior.states, cov)
    found = filter_.smooth()
    now, cov = found.predicted_state[:, -1], found.predicted_state_cov[..., -1]
    past = (found.smoothed_state[N_COEFFICIENTS:] * np.nan_to_num(design[N_COEFFICIENTS:])).sum(
        axis=0
    )
    mean, course, level = (
        np.maximum(now[:N_COEFFICIENTS], LEAST),
        now[N_COEFFICIENTS:-1],
        float(now[-1]),
    )
    return Household(mean, course, cov, numbers, level, past)
