"""The flow model: a Gaussian process on power-transformed intake, on days with flight.

    z = ((I + 0.06)^0.35 - 0.06^0.35) / 0.35,    z(day) = prior(day) + season(day) + drifts(day) + noise

The prior's mean and covariance come from the ensemble of `flow.prior`. The season is a sum of
smooth functions of phenological day, calendar day, foraging hours, temperature and soil water;
the drifts say how good this year, these weeks and these days are. All of it is conditioned at
once on daily gains (seen directly) and on totals over longer spans (seen through their sum,
linearised where they stand). Power and offset as found on simulated yards; see numbers.toml.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from flowcast.flow.days import Days, day_number
from flowcast.flow.household import Household, Stock, drivers, fit_household, intake_of, step
from flowcast.flow.plants import SEASON_DAYS
from flowcast.flow.prior import Ensemble
from flowcast.numbers import Numbers

POWER, OFFSET = 0.35, 0.06  # of the transform; the published sheet's form, see the module's head


def to_scale(intake_kg):
    """Intake [kg/d] on the model's scale; 0 stays 0, and what is below 0 counts as 0."""
    return ((np.maximum(intake_kg, 0.0) + OFFSET) ** POWER - OFFSET**POWER) / POWER


def seen_on_scale(intake_kg):
    """A measured intake on the model's scale, below 0 as far as above it.

    A day that lost more than the colony uses is error; cut off at 0, such errors would leave a
    dearth looking like a small flow.
    """
    return np.sign(intake_kg) * to_scale(np.abs(intake_kg))


def from_scale(z):
    """The model's scale back to intake, never negative. [kg/d]"""
    return np.maximum(POWER * np.maximum(z, 0.0) + OFFSET**POWER, 0.0) ** (1 / POWER) - OFFSET


def slope(intake_kg):
    """dz/dI at this intake. [d/kg]"""
    return (np.maximum(intake_kg, 0.0) + OFFSET) ** (POWER - 1.0)


def flight_days(days: Days, numbers: Numbers) -> np.ndarray:
    """True on days with enough foraging hours for any intake; False also where weather is missing."""
    return np.nan_to_num(days.foraging_h) >= numbers["flow.flight_min_h"]


def covariance(a: Days, b: Days, numbers: Numbers) -> np.ndarray:
    """Prior covariance of the season and drift parts between days `a` and `b`. Shape (a, b)."""
    hours = _reach(a.foraging_h, numbers), _reach(b.foraging_h, numbers)
    spring = _angle(a.pheno_day, b.pheno_day)
    season = _season(a, b, spring, numbers)
    season *= np.outer(*hours)
    flight = _near_hours(*hours, numbers)
    flight *= _alike(a, b, spring, numbers)
    return season + flight


def _season(a: Days, b: Days, spring: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Covariance of season and drifts on days of full flight; spring is their `_angle`. Shape (a, b)."""
    ago = np.abs(a.time[:, None] - b.time[None, :])

    def sd2(name: str) -> float:
        return numbers[f"flow.sd_{name}"] ** 2

    def span(name: str) -> float:
        return numbers[f"flow.span_{name}"]

    season = sd2("bloom") * _around(spring, span("bloom_d"))
    season += sd2("date") * _around(_angle(a.season_day, b.season_day), span("date_d"))
    season += (
        sd2("soil")
        * _around(spring, span("soil_d"))
        * _near(a.soil_frac, b.soil_frac, span("soil_frac"))
    )
    season += sd2("year") * np.exp(-ago / span("year_d"))
    season += sd2("weeks") * np.exp(-ago / span("weeks_d"))
    season += sd2("days") * np.exp(-ago / span("days_d"))
    return season


def _near_hours(a: np.ndarray, b: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Covariance of what flight does to days alike in all but their hours. Shape (a, b)."""
    return numbers["flow.sd_flight"] ** 2 * _near(a, b, numbers["flow.span_flight_frac"])


def _alike(a: Days, b: Days, spring: np.ndarray, numbers: Numbers) -> np.ndarray:
    """How far flight on days `a` tells of that on days `b` of as many hours. Shape (a, b)."""
    warmth = _near(a.temp_c, b.temp_c, numbers["flow.span_flight_c"])
    return warmth * _around(spring, numbers["flow.span_flight_d"])


def _reach(foraging_h: np.ndarray, numbers: Numbers) -> np.ndarray:
    """0 to 1: how far a day's hours let the season show on the model's scale."""
    full, half = numbers["flow.full_day_h"], numbers["flow.half_h_low"] * 2
    reach = foraging_h / (foraging_h + half) * (full + half) / full
    return np.sqrt(reach)


def _angle(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Squared chord between season days, in days^2 near zero."""
    a, b = np.pi * a / SEASON_DAYS, np.pi * b / SEASON_DAYS
    sine = np.outer(np.sin(a), np.cos(b)) - np.outer(np.cos(a), np.sin(b))  # of the difference
    return (sine * SEASON_DAYS / np.pi) ** 2


def _around(chord2: np.ndarray, length_d: float) -> np.ndarray:
    return np.exp(-0.5 * chord2 / length_d**2)


def _near(a: np.ndarray, b: np.ndarray, length: float) -> np.ndarray:
    return np.exp(-0.5 * ((a[:, None] - b[None, :]) / length) ** 2)


@dataclass(frozen=True)
class Members:
    """The ensemble on the model's scale: mean (days,) and departures (members, days).

    typical: of each member's typical season from the mean of them. own: of its year from that.
    """

    mean: np.ndarray
    typical: np.ndarray
    own: np.ndarray


@dataclass(frozen=True)
class Prior:
    """Mean and covariance before any log, of any days."""

    ensemble: Ensemble
    numbers: Numbers

    def members(self, days: Days) -> Members:
        """The ensemble on the model's scale."""
        typical, year = to_scale(self.ensemble.both(days))
        mean = year.mean(0)
        return Members(mean, typical - typical.mean(0), year - typical - (mean - typical.mean(0)))

    def between(self, a: Days, za: Members, b: Days, zb: Members) -> np.ndarray:
        """Covariance of days a and b, given their members; what is a year's own stays in it."""
        cov = za.typical.T @ zb.typical / len(za.typical)
        own = za.own.T @ zb.own / len(za.own)
        own *= a.season[:, None] == b.season[None, :]
        return cov + own + covariance(a, b, self.numbers)

    def pulled(self, a: Days, za: Members, b: Days, zb: Members, pull: np.ndarray) -> np.ndarray:
        """The members' part of `between`, summed over days a by a weight of each. Shape (b,)."""
        found = zb.typical.T @ (za.typical @ pull)
        for season in np.unique(b.season):
            one, other = a.season == season, b.season == season
            found[other] += zb.own[:, other].T @ (za.own[:, one] @ pull[one])
        return found / len(za.typical)


@dataclass(frozen=True)
class Observations:
    """Linear views of z: value = matrix @ z + error. `matrix` None is the identity."""

    matrix: np.ndarray | None
    value: np.ndarray
    var: np.ndarray

    def of(self, table: np.ndarray) -> np.ndarray:
        """The view of columns (or one column) that stand over the latent days."""
        return table if self.matrix is None else self.matrix @ table


@dataclass(frozen=True)
class FlowModel:
    """The fitted model of one yard; `predict` gives z of any days.

    days are the latent days (flight days that the log says something about). stock is what the
    colony hands on to the first day after the record. seasons is how many seasons the log touches.
    """

    prior: Prior
    household: Household
    days: Days
    views: np.ndarray | None
    factor: np.ndarray
    weights: np.ndarray
    spread: float
    noise_sd: float
    stock: Stock
    observed: int
    seasons: float

    @cached_property
    def _members(self) -> Members:
        return self.prior.members(self.days)

    @cached_property
    def _pull(self) -> np.ndarray:
        """What was observed, weighed, laid back on the latent days. Shape (latent days,)."""
        return self.weights if self.views is None else self.views.T @ self.weights

    def mean(self, days: Days, hours: np.ndarray) -> np.ndarray:
        """Mean of z on these days, had each of them so many foraging hours. Shape (hours, days).

        As `predict`, without building the covariance anew for every number of hours: hours enter it
        as a factor alone.
        """
        at = [replace(days, foraging_h=np.full(len(days), float(h))) for h in hours]
        members = [self.prior.members(part) for part in at]
        mean = np.array([z.mean for z in members])
        if not self.observed:
            return mean
        numbers, pull = self.prior.numbers, self._pull
        seen, there = _reach(self.days.foraging_h, numbers), _reach(hours, numbers)
        spring = _angle(self.days.pheno_day, days.pheno_day)
        flight = _near_hours(seen, there, numbers) * pull[:, None]
        mean += np.outer(there, _season(self.days, days, spring, numbers).T @ (seen * pull))
        mean += (_alike(self.days, days, spring, numbers).T @ flight).T
        return mean + [self.prior.pulled(self.days, self._members, days, z, pull) for z in members]

    def _seen(self, days: Days, z: Members) -> np.ndarray:
        """Covariance of what was observed with these days, shape (observed, days)."""
        cross = self.prior.between(self.days, self._members, days, z)
        return cross if self.views is None else self.views @ cross

    def predict(self, days: Days) -> tuple[np.ndarray, np.ndarray]:
        """Mean (days,) and the part of the covariance root (observed, days) that the log removes.

        The covariance of any subset i, j is prior(i, j) - root[:, i].T @ root[:, j].
        """
        z = self.prior.members(days)
        if not self.observed:
            return z.mean, np.zeros((0, len(days)))
        seen = self._seen(days, z)
        return z.mean + seen.T @ self.weights, solve_triangular(self.factor, seen, lower=True)


def fit_flow(spans: pd.DataFrame, days: Days, ensemble: Ensemble, numbers: Numbers) -> FlowModel:
    """Fit the model to a yard's log.

    Parameters
    ----------
    spans : DataFrame
        `tables.GAIN`, index the local date a span starts on: daily net gains of the yard
        (days = 1) and totals over longer spans; may be empty. [kg]
    days : Days
        The record's days up to the issue date; every span lies within them.

    Returns
    -------
    FlowModel
        With an empty log, the prior.
    """
    prior = Prior(ensemble, numbers)
    first = days.time[0] if len(days) else 0.0
    at = (day_number(spans.index) - first).astype(int)
    single = (spans["days"] == 1).to_numpy()
    gain = np.full(len(days), np.nan)
    gain[at[single]] = spans["gain_kg"].to_numpy()[single]
    household = fit_household(gain, days, numbers)
    intake, _ = intake_of(gain, days, household)
    log = _Log(spans, at, single, intake, days, household, numbers)
    model = _condition(log, prior)
    return replace(model, stock=_stock_after(log, model))


@dataclass(frozen=True)
class _Log:
    """What the scale said, laid over the record's days."""

    spans: pd.DataFrame
    at: np.ndarray
    single: np.ndarray
    intake: np.ndarray
    days: Days
    household: Household
    numbers: Numbers

    def latent(self) -> np.ndarray:
        """Record days with flight that a daily gain or a longer span speaks of."""
        spoken = np.isfinite(self.intake)
        for start, length in zip(
            self.at[~self.single], self.spans["days"][~self.single], strict=True
        ):
            spoken[start : start + int(length)] = True
        whole = np.isfinite(self.days.soil_frac) & np.isfinite(self.days.temp_c)
        return np.flatnonzero(spoken & whole & flight_days(self.days, self.numbers))


def _condition(log: _Log, prior: Prior) -> FlowModel:
    """Solve for z given everything the log says; a few Newton rounds where totals are seen."""
    numbers, index = log.numbers, log.latent()
    noise = numbers["flow.sd_noise"]
    days = log.days.take(index)
    empty = FlowModel(
        prior, log.household, days, None, np.zeros((0, 0)), np.zeros(0), 1.0, noise,
        Stock(0.0, 0.0), 0, 0.0,
    )  # fmt: skip
    if not len(index):
        return empty
    members = prior.members(days)
    mean, cov = members.mean, prior.between(days, members, days, members)
    z = mean
    for _ in range(1 if log.single.all() else 5):
        views = _views(log, index, z, noise)
        factor, weights = _solve(views, mean, cov, numbers)
        z = mean + cov @ _back(views, weights)
    residual = views.value - views.of(mean)
    return replace(
        empty,
        views=views.matrix,
        factor=factor,
        weights=weights,
        spread=_spread(residual, weights, numbers),
        observed=len(views.value),
        seasons=_seasons(log),
    )


def _views(log: _Log, index: np.ndarray, z: np.ndarray, noise_sd: float) -> Observations:
    """Daily intake as z itself; totals of longer spans linearised at the present z."""
    sd = log.spans["gain_sd_kg"].to_numpy()
    daily_sd = np.full(len(log.days), np.nan)
    daily_sd[log.at[log.single]] = sd[log.single]
    known = np.isfinite(log.intake[index])
    seen = log.intake[index][known]
    # A noisy intake near zero would weigh without end on the steep foot of the scale.
    sd = np.hypot(daily_sd[index][known], log.numbers["flow.wood_sd_kg"])
    error = sd * slope(np.maximum(np.abs(seen), sd))
    value, var = [seen_on_scale(seen)], [error**2 + noise_sd**2]
    if known.all() and log.single.all():
        return Observations(None, value[0], var[0])
    rows = [np.eye(len(index))[known]]
    for k in np.flatnonzero(~log.single):
        row, total, error2 = _total_view(log, k, index, z, noise_sd)
        if row.any():
            rows.append(row[None, :])
            value.append([total])
            var.append([error2])
    return Observations(np.vstack(rows), np.concatenate(value), np.concatenate(var))


def _total_view(log: _Log, k: int, index: np.ndarray, z: np.ndarray, noise_sd: float):
    """One span's total as a row over the latent days, its value and its error variance."""
    start, length = int(log.at[k]), int(log.spans["days"].iloc[k])
    inside = (index >= start) & (index < start + length)
    here = from_scale(z[inside])
    kept = 1.0 - log.household.mean[-1]  # what dries off within the span never shows in its total
    row = np.zeros(len(index))
    row[inside] = kept / slope(here)
    eaten = _eaten(log, start, length, here.sum() / length)
    total = log.spans["gain_kg"].iloc[k] + eaten - kept * here.sum() + row[inside] @ z[inside]
    unsure = log.numbers["flow.use_unsure_frac"] * eaten
    own = (row[inside] ** 2).sum() * noise_sd**2
    return row, total, log.spans["gain_sd_kg"].iloc[k] ** 2 + unsure**2 + own


def _eaten(log: _Log, start: int, length: int, memory: float) -> float:
    """What the colony uses over a span, without drying. [kg]"""
    days = log.days.take(slice(start, start + length))
    chill, brooding = drivers(days, log.numbers)
    base, cold, warm, brood, _ = log.household.mean
    return float(np.nansum(base + cold * chill + warm * brooding) + brood * memory * length)


def _solve(views: Observations, mean: np.ndarray, cov: np.ndarray, numbers: Numbers):
    """Cholesky factor and weights of the observations, days far off the rest held down."""
    full = views.of(views.of(cov).T) if views.matrix is not None else cov
    residual = views.value - views.of(mean)
    var = views.var
    for round_ in range(int(numbers["flow.robust_rounds"]) + 1):
        factor, _ = cho_factor(full + np.diag(var), lower=True)
        weights = cho_solve((factor, True), residual)
        if round_ < numbers["flow.robust_rounds"]:
            var = _held(views.var, factor, weights, numbers["flow.noise_dof"])
    return np.tril(factor), weights


def _held(var: np.ndarray, factor: np.ndarray, weights: np.ndarray, dof: float) -> np.ndarray:
    """Student-t errors by reweighting: each error grows with its own left-out residual."""
    inverse = cho_solve((factor, True), np.eye(len(var)))
    own = np.diag(inverse)
    squared = weights**2 / own  # left-out residual squared over its variance
    return var * np.maximum(1.0, (dof + squared) / (dof + 1.0))


def _back(views: Observations, weights: np.ndarray) -> np.ndarray:
    return weights if views.matrix is None else views.matrix.T @ weights


def _spread(residual: np.ndarray, weights: np.ndarray, numbers: Numbers) -> float:
    """How much wider or narrower than thought this yard is, shrunk to 1. Standard deviations."""
    ease = numbers["flow.spread_days"]
    return float(np.sqrt((ease + residual @ weights) / (ease + len(residual))))


def _seasons(log: _Log) -> float:
    """Seasons of log: days that a daily gain or a span speaks of, each counted once."""
    told = np.zeros(len(log.days), bool)
    for start, length in zip(log.at, log.spans["days"], strict=True):
        told[start : start + int(length)] = True
    return float(told.sum() / 365.25)


def _stock_after(log: _Log, model: FlowModel) -> Stock:
    """Brood memory and wet nectar on the first day after the record, unknown days filled in."""
    recent = log.days.take(slice(max(0, len(log.days) - 120), None))
    if not len(recent):
        return Stock(0.0, 0.0)
    flying = flight_days(recent, log.numbers)
    whole = flying & np.isfinite(recent.soil_frac) & np.isfinite(recent.temp_c)
    filled = np.zeros(len(recent))
    filled[whole] = from_scale(model.predict(recent.take(whole))[0])
    seen = log.intake[-len(recent) :]
    filled = np.where(np.isfinite(seen), np.maximum(seen, 0.0), filled)
    stock = Stock(0.0, 0.0)
    for intake in filled:
        stock = step(stock, intake, log.numbers)
    return stock
