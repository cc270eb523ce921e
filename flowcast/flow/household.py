"""The gain equation: what the scale sees of what the bees brought in.

    gain(t) = intake(t) - use(t) - drying(t)
    use     = base + cold * chill(t) + warm * brooding(t) + brood * memory(t)
    drying  = k * wet(t),   wet(t+1) = (1 - k) wet(t) + rho * intake(t)

`memory` is the mean intake of the last month (a colony raises brood on what comes in); `wet` is
the water of nectar not yet ripe, per unit of rho. The five coefficients (base, cold, warm, brood,
rho) are learned from days without forage, from a prior that stands in numbers.toml.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from statsmodels.robust.norms import HuberT

from flowcast.flow.days import Days
from flowcast.numbers import Numbers

COEFFICIENTS = ("base", "cold", "warm", "brood", "rho")
LEAST = np.array([0.0, 0.0, 0.0, 0.0, 0.0])  # a colony never gives weight back


@dataclass(frozen=True)
class Household:
    """What a colony eats and dries off: coefficients [kg/d and shares] with their covariance."""

    mean: np.ndarray
    cov: np.ndarray
    numbers: Numbers

    def draw(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Coefficient draws, shape (count, 5); none below its least value."""
        return np.maximum(rng.multivariate_normal(self.mean, self.cov, size=count), LEAST)


@dataclass(frozen=True)
class Stock:
    """What a day hands on to the next: mean intake of the last month and wet nectar per rho. [kg]"""

    memory: np.ndarray | float
    wet: np.ndarray | float


def prior_household(numbers: Numbers) -> Household:
    """The published and common-practice prior, before any log."""
    mean = np.array([numbers[f"flow.use_{name}"] for name in COEFFICIENTS])
    sd = np.array([numbers[f"flow.use_{name}_sd"] for name in COEFFICIENTS])
    return Household(mean, np.diag(sd**2), numbers)


def drivers(days: Days, numbers: Numbers) -> tuple[np.ndarray, np.ndarray]:
    """(chill, brooding) of each day: 10 °C of cold below 10 °C count 1; brooding is 0 to 1."""
    chill = np.maximum(0.0, numbers["flow.chill_below_c"] - days.temp_c) / 10.0
    low, high = numbers["flow.brood_from_c"], numbers["flow.brood_full_c"]
    brooding = np.clip((days.month_temp_c - low) / (high - low), 0.0, 1.0)
    return chill, brooding


def step(stock: Stock, intake: np.ndarray | float, numbers: Numbers) -> Stock:
    """The stock after a day with this intake."""
    fade, k = 1.0 / numbers["flow.memory_d"], numbers["flow.drying_rate"]
    return Stock(
        memory=stock.memory + fade * (intake - stock.memory),
        wet=(1.0 - k) * stock.wet + intake,
    )


def use(stock: Stock, chill, brooding, coefficients: np.ndarray, numbers: Numbers):
    """Weight lost in a day without intake. [kg] Coefficients on the last axis."""
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
    eaten = base + cold * chill + warm * brooding
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


def fit_household(gain_kg: np.ndarray, days: Days, numbers: Numbers, rounds: int = 4) -> Household:
    """Learn use and drying from the days on which nothing can have come in.

    Such days are those with practically no foraging hours, and any day that lost more than the
    colony is thought to use (its intake would be negative). Ridge regression towards the prior;
    a few rounds, since intake and use explain each other.
    """
    household = prior_household(numbers)
    idle = days.foraging_h < numbers["flow.idle_below_h"]
    warmth_known = np.isfinite(days.temp_c) & np.isfinite(days.month_temp_c)
    for _ in range(rounds):
        intake, stocks = intake_of(gain_kg, days, household)
        rows = np.isfinite(gain_kg) & warmth_known & (idle | (intake < 0))
        if rows.sum() < 3:
            return household
        design = _design(days, stocks, numbers)[rows]
        weight = np.where(idle, 1.0, numbers["flow.negative_weight"])[rows]
        household = _ridge(design, -gain_kg[rows], weight, numbers)
    return household


def _design(days: Days, stocks: list[Stock], numbers: Numbers) -> np.ndarray:
    chill, brooding = drivers(days, numbers)
    memory = np.array([s.memory for s in stocks])
    wet = np.array([s.wet for s in stocks])
    return np.column_stack(
        [np.ones(len(chill)), chill, brooding, memory, numbers["flow.drying_rate"] * wet]
    )


def _ridge(design: np.ndarray, loss: np.ndarray, weight: np.ndarray, numbers: Numbers) -> Household:
    """Posterior of the coefficients under normal errors, with outliers held down (Huber)."""
    prior = prior_household(numbers)
    precision = np.linalg.inv(prior.cov)
    mean, sd = prior.mean, numbers["flow.idle_sd_kg"]
    norm = HuberT(t=1.5)
    for _ in range(5):
        held = weight * norm.weights((loss - design @ mean) / sd) / sd**2
        total = precision + design.T @ (design * held[:, None])
        mean = np.linalg.solve(total, precision @ prior.mean + design.T @ (held * loss))
    # Idle days in a row share their errors (strength, scale drift), so they tell less than their number.
    cov = np.linalg.inv(precision + (total - precision) / numbers["flow.idle_days_share"])
    return Household(np.maximum(mean, LEAST), cov, numbers)
