"""The flow model: a Gaussian process on power-transformed intake, on days with flight.

The latent season (`latent`) is conditioned at once on all that the logs say of it (`seen`), bounds
standing as far as they tell (`bounds`), with the general scales first and then with those that the
yard shows (`scales`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.linalg.lapack import dpotri
from scipy.sparse import csr_array

from flowcast.flow.bounds import stand_ins
from flowcast.flow.days import Days, joined
from flowcast.flow.household import Household, Stock, step
from flowcast.flow.kernel import (
    Scales,
    around,
    calendar_parts,
    flight_alike,
    near_hours,
    parts,
    reach,
    weather_parts,
)
from flowcast.flow.kin import Kin
from flowcast.flow.latent import Members, Prior, flight_days, from_scale
from flowcast.flow.prior import Ensemble
from flowcast.flow.scales import learned_scales
from flowcast.flow.seen import (
    Log,
    Observations,
    YardLog,
    newest,
    seasons_of,
    side_by_side,
    views_of,
)
from flowcast.numbers import Numbers

NEWTON_ROUNDS, NEWTON_NEAR = 5, 1e-3  # where totals are seen: at most, and near enough to stop


@dataclass(frozen=True)
class FlowModel:
    """The fitted model of one yard; `predict` gives z of any days.

    days are the latent days (flight days that a log says something about, other yards' first). stock is
    what the colony hands on to the first day after the record. seasons is how many seasons the log
    touches, learned those of the other yards' logs that were used. if_used: how what was observed would
    change with each state of the household, whitened by `factor`; shape (observed, states).
    """

    prior: Prior
    household: Household
    days: Days
    views: csr_array | None
    factor: np.ndarray
    weights: np.ndarray
    spread: float
    stock: Stock
    observed: int
    seasons: float
    if_used: np.ndarray
    learned: tuple[float, ...] = ()

    @property
    def has_log(self) -> bool:
        """Whether the yard's own log tells of any day with flight."""
        return bool((self.days.yard == 0).any())

    @cached_property
    def _members(self) -> Members:
        return self.prior.members(self.days)

    @cached_property
    def _pull(self) -> np.ndarray:
        """What was observed, weighed, laid back on the latent days. Shape (latent days,)."""
        return self.weights if self.views is None else self.views.T @ self.weights

    def calendar(self, days: Days) -> np.ndarray:
        """What the dates of these days add to their mean of z, as on days of full flight. Shape (days,).

        It is the same whatever weather they have.
        """
        if not self.observed:
            return np.zeros(len(days))
        return self._drawn(calendar_parts(self.days, days, self.prior.numbers, self.prior.kin))

    def mean(self, days: Days, hours: np.ndarray, calendar: np.ndarray | None = None) -> np.ndarray:
        """Mean of z on these days, had each of them so many foraging hours. Shape (hours, days).

        As `predict`, without building the covariance anew for every number of hours: hours enter it
        as a factor alone. calendar: `calendar(days)`, where it is known already.
        """
        every_day = np.tile(np.asarray(hours, float)[:, None], len(days))
        members = list(self.prior.over_hours(days, every_day))
        mean = np.array([z.mean for z in members])
        if not self.observed:
            return mean
        numbers, scales, kin = self.prior.numbers, self.prior.scales, self.prior.kin
        seen, there = reach(self.days.foraging_h, numbers), reach(hours, numbers)
        spring = around(self.days.pheno_day, days.pheno_day)
        season = self._drawn(weather_parts(self.days, days, spring, numbers, kin))
        season += self.calendar(days) if calendar is None else calendar
        pull = self._pull
        flight = near_hours(seen, there, numbers) * pull[:, None] * scales.flight**2
        mean += np.outer(there, season)
        mean += (flight_alike(self.days, days, spring, numbers, kin).T @ flight).T
        return mean + [self.prior.pulled(self.days, self._members, days, z, pull) for z in members]

    def _drawn(self, alike: Iterable[tuple[str, np.ndarray]]) -> np.ndarray:
        """What was observed, drawn over to other days by parts of the season. Shape (days,)."""
        pull = self._pull * reach(self.days.foraging_h, self.prior.numbers)
        return sum(getattr(self.prior.scales, name) ** 2 * (part.T @ pull) for name, part in alike)

    def _seen(self, days: Days, z: Members) -> np.ndarray:
        """Covariance of what was observed with these days, shape (observed, days)."""
        cross = self.prior.between(self.days, self._members, days, z)
        return cross if self.views is None else self.views @ cross

    def predict(self, days: Days, members: Members | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Mean (days,) and the part of the covariance root (observed, days) that the log removes.

        The covariance of any subset i, j is prior(i, j) - root[:, i].T @ root[:, j]. members: the
        prior's of these days, where they are known already.
        """
        z = members or self.prior.members(days)
        if not self.observed:
            return z.mean, np.zeros((0, len(days)))
        seen = self._seen(days, z)
        removed = solve_triangular(self.factor, seen, lower=True, check_finite=False)
        return z.mean + seen.T @ self.weights, removed


def fit_flow(spans: pd.DataFrame, days: Days, ensemble: Ensemble, numbers: Numbers) -> FlowModel:
    """Fit the model to a yard's log.

    Parameters
    ----------
    spans : DataFrame
        `tables.GAIN`, index the local date a span starts on: daily net gains of the yard
        (days = 1) and totals over longer spans; may be empty. Where `lower_bound` is true, hives
        were full and the gain says only that it would have been so much or more. [kg]
    days : Days
        The record's days up to the issue date; every span lies within them.

    Returns
    -------
    FlowModel
        With an empty log, the prior.
    """
    return fit_yards([YardLog(spans, days, ensemble, numbers)])


def fit_yards(yards: Sequence[YardLog]) -> FlowModel:
    """Fit the model of the first yard to its log and to those of the yards it learns from.

    Each yard keeps its own colony's use, weather and stated bloom; their intakes are conditioned in one
    Gaussian process, as far as `flow.kin` says that they are alike. Of the others' logs only the newest
    values are used.
    """
    own, numbers = yards[0], yards[0].numbers
    akin = [bool(own.ensemble.drawn.keys() & yard.ensemble.drawn.keys()) for yard in yards]
    prior = Prior(
        own.ensemble,
        Scales.general(numbers),
        numbers,
        tuple(yard.ensemble for yard in yards[1:]),
        Kin.of([yard.spot for yard in yards], akin, numbers),
    )
    logs = [Log.of(yard, number) for number, yard in enumerate(yards)]
    logs = [logs[0], *newest(logs[1:], int(numbers["flow.others_most"]))]
    model = _condition(logs, prior)
    return replace(model, stock=_stock_after(logs[0], model))


def _condition(logs: list[Log], prior: Prior) -> FlowModel:
    """Solve for z given everything the logs say: with the general scales, then with the yard's own.

    The first log is the yard's own. It comes last in every row of days, so that the newest values
    from which scales are learned are its own first, and the others' where it has few.
    """
    log, logs = logs[0], logs[::-1]
    days = joined([one.days.take(one.latent()) for one in logs])
    empty = FlowModel(
        prior=prior,
        household=log.household,
        days=days,
        views=None,
        factor=np.zeros((0, 0)),
        weights=np.zeros(0),
        spread=1.0,
        stock=Stock(0.0, 0.0),
        observed=0,
        seasons=0.0,
        if_used=np.zeros((0, len(log.household.cov))),
    )
    if not len(days):
        return empty
    members = prior.members(days)
    first = _solved(logs, prior, members, days, members.mean)
    first = replace(first, factor=empty.factor)  # of no further use, and large
    own = replace(prior, scales=_own_scales(first, prior, members, days))
    last = _solved(logs, own, members, days, first.z)
    return replace(
        empty,
        prior=own,
        views=last.views.matrix,
        factor=last.factor,
        weights=last.weights,
        spread=_spread(last, members.mean, log.numbers),
        observed=len(last.views.value),
        seasons=seasons_of(log),
        if_used=solve_triangular(last.factor, last.views.used, lower=True),
        learned=tuple(seasons_of(one) for one in logs[-2::-1]),
    )


@dataclass(frozen=True)
class _Solved:
    """What was observed, with its factor and weights under given scales; z is the latent mean.

    counted: the value that each counts as, for a bound its stand-in's. share: how far it counts.
    """

    views: Observations
    counted: np.ndarray
    share: np.ndarray
    factor: np.ndarray
    weights: np.ndarray
    z: np.ndarray

    def yard(self, days: Days) -> np.ndarray:
        """The yard that each value is of."""
        matrix = self.views.matrix
        return days.yard if matrix is None else days.yard[matrix.argmax(axis=1)]


def _solved(logs: list[Log], prior: Prior, members: Members, days: Days, z: np.ndarray) -> _Solved:
    """Condition on the logs; a few Newton rounds from z where totals are seen."""
    cov = prior.between(days, members, days, members)
    ends = np.cumsum([len(log.latent()) for log in logs])[:-1]
    for _ in range(1 if all(log.single.all() for log in logs) else NEWTON_ROUNDS):
        each = zip(logs, np.split(z, ends), strict=True)
        views = side_by_side([views_of(log, part) for log, part in each])
        counted, share, factor, weights = _solve(views, members.mean, cov, prior)
        before, z = z, members.mean + cov @ _back(views, weights)
        if np.abs(z - before).max() < NEWTON_NEAR:
            break
    return _Solved(views, counted, share, factor, weights, z)


def _own_scales(seen: _Solved, prior: Prior, members: Members, days: Days) -> Scales:
    """The yard's own scales, learned from the newest values of its log that are no bounds.

    Of others' too while its own log is short.
    """
    numbers = prior.numbers
    most, least = (int(numbers[f"flow.scales_{name}"]) for name in ("most", "own_least"))
    rows = np.flatnonzero(~seen.views.bound)
    own = int((seen.yard(days)[rows] == 0).sum())
    rows = rows[-min(most, own) :] if own >= max(least, 1) else rows[-most:]
    views = seen.views.take(rows)
    used = rows if views.matrix is None else np.unique(views.matrix.indices)
    views, days, members = views.among(used), days.take(used), members.take(used)
    named = {name: views.seen(part) for name, part in parts(days, days, numbers, prior.kin)}
    named["noise"] = np.diag(views.own)
    fixed = views.seen(prior.stated(days, members, days, members)) + np.diag(views.var)
    return learned_scales(views.value - views.of(members.mean), fixed, named, prior.scales, numbers)


def _solve(views: Observations, mean: np.ndarray, cov: np.ndarray, prior: Prior):
    """What each observation counts as and how far, Cholesky factor and weights.

    Days far off the rest are held down, and bounds stand as far as they tell.
    """
    numbers, full, expected = prior.numbers, views.seen(cov), views.of(mean)
    plain = var = views.var + views.own * prior.scales.noise**2
    seen = np.empty_like(full, order="F")  # solved in place, every round in the same
    for round_ in range(int(numbers["flow.robust_rounds"]) + 1):
        counted, noise = _counted(views, expected, full, var)
        seen[...] = full
        seen[np.diag_indices_from(seen)] += noise
        factor, _ = cho_factor(seen, lower=True, overwrite_a=True)
        weights = cho_solve((factor, True), counted - expected)
        if round_ < numbers["flow.robust_rounds"]:
            var = _held(plain, factor, weights, numbers["flow.noise_dof"])
    # The factor's upper half is not used, and not cleared.
    return counted, var / noise, factor, weights


def _counted(
    views: Observations, expected: np.ndarray, full: np.ndarray, var: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Values and variances of errors; of bounds those of their stand-ins beside all that was seen."""
    if not views.bound.any():
        return views.value, var
    at, plain = np.flatnonzero(views.bound), np.flatnonzero(~views.bound)
    across = full[np.ix_(plain, at)]
    factor = cho_factor(full[np.ix_(plain, plain)] + np.diag(var[plain]), lower=True)
    solved = cho_solve(factor, across)
    mean = expected[at] + solved.T @ (views.value - expected)[plain]
    left = full[np.ix_(at, at)] - across.T @ solved
    value, noise = views.value.copy(), var.copy()
    value[at], noise[at] = stand_ins(mean, left, views.value[at], var[at])
    return value, noise


def _held(var: np.ndarray, factor: np.ndarray, weights: np.ndarray, dof: float) -> np.ndarray:
    """Student-t errors by reweighting: each error grows with its own left-out residual.

    Of a bound's stand-in that residual is one-sided by itself: squared it is g / (a + g) (`bounds`),
    which exceeds 1 only where less is expected than was seen.
    """
    inverse, _ = dpotri(factor, lower=True, overwrite_c=True)  # the next round has its own factor
    own = np.diag(inverse)
    squared = weights**2 / own  # left-out residual squared over its variance
    return var * np.maximum(1.0, (dof + squared) / (dof + 1.0))


def _back(views: Observations, weights: np.ndarray) -> np.ndarray:
    return weights if views.matrix is None else views.matrix.T @ weights


def _spread(found: _Solved, mean: np.ndarray, numbers: Numbers) -> float:
    """How much wider or narrower than thought this yard is, shrunk to 1. Standard deviations."""
    ease = numbers["flow.spread_days"]
    off = (found.counted - found.views.of(mean)) @ found.weights
    return float(np.sqrt((ease + off) / (ease + found.share.sum())))


def _stock_after(log: Log, model: FlowModel) -> Stock:
    """Brood memory and wet nectar on the first day after the record, unknown days filled in."""
    recent = log.days.take(slice(max(0, len(log.days) - 120), None))
    if not len(recent):
        return Stock(0.0, 0.0)
    whole = recent.whole & flight_days(recent, log.numbers)
    filled = np.zeros(len(recent))
    filled[whole] = from_scale(model.predict(recent.take(whole))[0])
    seen = log.intake[-len(recent) :]
    filled = np.where(np.isfinite(seen), np.maximum(seen, 0.0), filled)
    stock = Stock(0.0, 0.0)
    for intake in filled:
        stock = step(stock, intake, log.numbers)
    return stock
