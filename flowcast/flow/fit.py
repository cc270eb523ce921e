"""The flow model: a Gaussian process on power-transformed intake, on days with flight.

    z = ((I + 0.06)^0.35 - 0.06^0.35) / 0.35,    z(day) = prior(day) + season(day) + drifts(day) + noise

The prior's mean and covariance come from the ensemble of `flow.prior`. The season is a sum of
smooth functions of phenological day, calendar day, foraging hours, temperature and soil water;
the drifts say how good this year, these weeks and these days are. All of it is conditioned at
once on daily gains (seen directly) and on totals over longer spans (seen through their sum,
linearised where they stand); gains of hives without free comb enter as lower bounds (`bounds`).
Power and offset as found on simulated yards; see numbers.toml.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.linalg.lapack import dpotri
from scipy.sparse import block_diag, csr_array, eye_array, vstack

from flowcast.flow.bounds import stand_ins
from flowcast.flow.days import Days, day_number, joined
from flowcast.flow.household import Household, Stock, drivers, fit_household, intake_of, step
from flowcast.flow.kernel import (
    Scales,
    around,
    calendar_parts,
    covariance,
    flight_alike,
    near_hours,
    parts,
    reach,
    weather_parts,
)
from flowcast.flow.kin import ALONE, Kin, Spot
from flowcast.flow.prior import Ensemble
from flowcast.flow.scales import learned_scales
from flowcast.numbers import Numbers

NEWTON_ROUNDS, NEWTON_NEAR = 5, 1e-3  # where totals are seen: at most, and near enough to stop
BLOCK = 256  # days whose covariance with all others is reckoned at once
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


@dataclass(frozen=True)
class Members:
    """The ensemble on the model's scale: mean (days,) and departures (members, days).

    typical: of each member's typical season from the mean of them. own: of its year from that.
    """

    mean: np.ndarray
    typical: np.ndarray
    own: np.ndarray

    def take(self, days: np.ndarray | slice) -> Members:
        """The same on some of the days."""
        return Members(self.mean[days], self.typical[:, days], self.own[:, days])


@dataclass(frozen=True)
class Prior:
    """Mean and covariance before any log, of any days.

    others: the ensembles of yards 1 and on of the days; kin: what they share with the yard itself.
    """

    ensemble: Ensemble
    scales: Scales
    numbers: Numbers
    others: tuple[Ensemble, ...] = ()
    kin: Kin = ALONE

    def members(self, days: Days) -> Members:
        """The ensembles on the model's scale, each on its own yard's days."""
        both = np.empty((2, len(self.ensemble.half_h), len(days)))
        for yard, ensemble in enumerate((self.ensemble, *self.others)):
            here = days.yard == yard
            both[..., here] = ensemble.both(days.take(here))
        typical, year = to_scale(both)
        mean = year.mean(0)
        return Members(mean, typical - typical.mean(0), year - typical - (mean - typical.mean(0)))

    def between(self, a: Days, za: Members, b: Days, zb: Members) -> np.ndarray:
        """Covariance of days a and b, given their members; a block of days at a time, for memory."""
        cov = np.empty((len(a), len(b)))
        for first in range(0, len(a), BLOCK):
            rows = slice(first, first + BLOCK)
            some = a.take(rows)
            cov[rows] = covariance(some, b, self.scales, self.numbers, self.kin)
            cov[rows] += self.stated(some, za.take(rows), b, zb)
        return cov

    def stated(self, a: Days, za: Members, b: Days, zb: Members) -> np.ndarray:
        """The members' part of `between`: what is a year's own stays in it."""
        cov = za.typical.T @ zb.typical
        for season in np.intersect1d(a.season, b.season):
            one, other = np.flatnonzero(a.season == season), np.flatnonzero(b.season == season)
            cov[np.ix_(one, other)] += za.own[:, one].T @ zb.own[:, other]
        cov /= len(za.typical)
        return self.kin.shared("stated", a.yard, b.yard, cov)

    def pulled(self, a: Days, za: Members, b: Days, zb: Members, pull: np.ndarray) -> np.ndarray:
        """The members' part of `between`, summed over days a by a weight of each. Shape (b,)."""
        found = np.empty(len(b))
        for yard in np.unique(b.yard):
            there = b.yard == yard
            told = self.kin.shared("stated", a.yard, np.array([yard]), pull[:, None])[:, 0]
            found[there] = self._pulled(a, za, b.take(there), zb.take(there), told)
        return found / len(za.typical)

    @staticmethod
    def _pulled(a: Days, za: Members, b: Days, zb: Members, pull: np.ndarray) -> np.ndarray:
        """`pulled` for days b of one yard, summed over the members."""
        found = zb.typical.T @ (za.typical @ pull)
        for season in np.unique(b.season):
            one, other = a.season == season, b.season == season
            found[other] += zb.own[:, other].T @ (za.own[:, one] @ pull[one])
        return found


@dataclass(frozen=True)
class Observations:
    """Linear views of z: value = matrix @ z + error. `matrix` (sparse) None is the identity.

    var: variance of the scale's error. own: how many days' own noise each value holds. bound: whether
    the value is a lower bound, the hives having been full. used: how the value would change with each
    state of the household, shape (values, 6): what a colony used more, it had carried in.
    """

    matrix: csr_array | None
    value: np.ndarray
    var: np.ndarray
    own: np.ndarray
    bound: np.ndarray
    used: np.ndarray

    def of(self, table: np.ndarray) -> np.ndarray:
        """The view of columns (or one column) that stand over the latent days."""
        return table if self.matrix is None else self.matrix @ table

    def seen(self, cov: np.ndarray) -> np.ndarray:
        """The covariance of the values, from that of the latent days."""
        return cov if self.matrix is None else self.of(self.of(cov).T)

    def take(self, rows: np.ndarray) -> Observations:
        """Some of the values."""
        matrix = None if self.matrix is None else self.matrix[rows]
        each = (self.value, self.var, self.own, self.bound, self.used)
        return Observations(matrix, *(column[rows] for column in each))

    def among(self, days: np.ndarray) -> Observations:
        """The same values over these of the latent days alone, which hold all that they see."""
        return self if self.matrix is None else replace(self, matrix=self.matrix[:, days])


@dataclass(frozen=True)
class FlowModel:
    """The fitted model of one yard; `predict` gives z of any days.

    days are the latent days (flight days that a log says something about, other yards' first). stock is
    what the colony hands on to the first day after the record. seasons is how many seasons the log
    touches, learned those of the other yards' logs that were used. if_used: how what was observed would
    change with each state of the household, whitened by `factor`; shape (observed, 6).
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
        at = [replace(days, foraging_h=np.full(len(days), float(h))) for h in hours]
        members = [self.prior.members(part) for part in at]
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


@dataclass(frozen=True)
class YardLog:
    """What the fit takes of one yard: see `fit_flow`.

    days: phenological days by the clock of the first yard of the fit. spot: where it lies from there.
    """

    spans: pd.DataFrame
    days: Days
    ensemble: Ensemble
    numbers: Numbers
    spot: Spot = (0.0, 0.0, 0.0)


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
    logs = [_Log.of(yard, number) for number, yard in enumerate(yards)]
    logs = [logs[0], *_newest(logs[1:], int(numbers["flow.others_most"]))]
    model = _condition(logs, prior)
    return replace(model, stock=_stock_after(logs[0], model))


def _bounds(spans: pd.DataFrame) -> np.ndarray:
    """Which gains are lower bounds; none in a table that does not say."""
    return spans.get("lower_bound", pd.Series(0.0, spans.index)).to_numpy(bool)


@dataclass(frozen=True)
class _Log:
    """What the scale said, laid over the record's days; full: days whose gain is a lower bound."""

    spans: pd.DataFrame
    at: np.ndarray
    single: np.ndarray
    full: np.ndarray
    intake: np.ndarray
    stocks: list[Stock]
    days: Days
    household: Household
    numbers: Numbers

    @classmethod
    def of(cls, yard: YardLog, number: int) -> _Log:
        """The log of a yard that bears this number in its days, its colony's use learned."""
        spans, days, numbers = yard.spans, yard.days.of_yard(number), yard.numbers
        first = days.time[0] if len(days) else 0.0
        at = (day_number(spans.index) - first).astype(int)
        single = (spans["days"] == 1).to_numpy()
        gain = np.full(len(days), np.nan)
        gain[at[single]], full = spans["gain_kg"].to_numpy()[single], np.zeros(len(days), bool)
        full[at[single]] = _bounds(spans)[single]
        household = fit_household(gain, days, numbers, full=full)
        intake, stocks = intake_of(gain, days, household)
        return cls(spans, at, single, full, intake, stocks, days, household, numbers)

    def since(self, time: float) -> _Log:
        """The same with what was seen before this day left out; the colony's use stays as learned."""
        kept = self.days.time[self.at] >= time
        intake = np.where(self.days.time >= time, self.intake, np.nan)
        return replace(
            self, spans=self.spans[kept], at=self.at[kept], single=self.single[kept], intake=intake
        )

    @cached_property
    def eaten(self) -> np.ndarray:
        """What the colony uses on each day, brood reared on income and drying apart. [kg]"""
        chill, brooding = drivers(self.days, self.numbers)
        base, cold, warm, *_ = self.household.mean
        return base + cold * chill + warm * brooding + self.household.over(self.days)

    @cached_property
    def used(self) -> np.ndarray:
        """What each state of the own yard's household adds to each day's use; nothing to another yard's.

        Shape (days, 6).
        """
        own = self.days.yard == 0
        return self.household.effects(self.days, self.stocks) * own[:, None]

    @cached_property
    def daily_sd(self) -> np.ndarray:
        """Error of each day's intake, wood and damp included. [kg]"""
        sd = np.full(len(self.days), np.nan)
        sd[self.at[self.single]] = self.spans["gain_sd_kg"].to_numpy()[self.single]
        return np.hypot(sd, self.numbers["flow.wood_sd_kg"])

    @cached_property
    def told(self) -> np.ndarray:
        """Intake of the days that tell of it: what is at least nothing is known of any day. [kg]"""
        return np.where(self.full & (self.intake <= self.daily_sd), np.nan, self.intake)

    def latent(self) -> np.ndarray:
        """Record days with flight that a daily gain or a longer span speaks of."""
        spoken = np.isfinite(self.told)
        for start, length in zip(
            self.at[~self.single], self.spans["days"][~self.single], strict=True
        ):
            spoken[start : start + int(length)] = True
        whole = np.isfinite(self.days.soil_frac) & np.isfinite(self.days.temp_c)
        return np.flatnonzero(spoken & whole & flight_days(self.days, self.numbers))


def _newest(logs: list[_Log], most: int) -> list[_Log]:
    """The logs with the newest values of them all, so many latent days at most."""
    times = np.sort(np.concatenate([[], *(log.days.time[log.latent()] for log in logs)]))
    return [log.since(times[-most]) for log in logs] if len(times) > most else logs


def _condition(logs: list[_Log], prior: Prior) -> FlowModel:
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
        seasons=_seasons(log),
        if_used=solve_triangular(last.factor, last.views.used, lower=True),
        learned=tuple(_seasons(one) for one in logs[-2::-1]),
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


def _solved(logs: list[_Log], prior: Prior, members: Members, days: Days, z: np.ndarray) -> _Solved:
    """Condition on the logs; a few Newton rounds from z where totals are seen."""
    cov = prior.between(days, members, days, members)
    ends = np.cumsum([len(log.latent()) for log in logs])[:-1]
    for _ in range(1 if all(log.single.all() for log in logs) else NEWTON_ROUNDS):
        each = zip(logs, np.split(z, ends), strict=True)
        views = _side_by_side([_views(log, part) for log, part in each])
        counted, share, factor, weights = _solve(views, members.mean, cov, prior)
        before, z = z, members.mean + cov @ _back(views, weights)
        if np.abs(z - before).max() < NEWTON_NEAR:
            break
    return _Solved(views, counted, share, factor, weights, z)


def _side_by_side(views: list[Observations]) -> Observations:
    """The views of several yards as one, over the days of the first, then of the next."""
    if len(views) == 1:
        return views[0]
    columns = {
        f.name: np.concatenate([getattr(view, f.name) for view in views])
        for f in fields(Observations)
        if f.name != "matrix"
    }
    if all(view.matrix is None for view in views):
        return Observations(matrix=None, **columns)
    blocks = [
        eye_array(len(view.value), format="csr") if view.matrix is None else view.matrix
        for view in views
    ]
    return Observations(matrix=csr_array(block_diag(blocks, format="csr")), **columns)


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


def _views(log: _Log, z: np.ndarray) -> Observations:
    """Daily intake as z itself; totals of longer spans linearised at the present z."""
    index = log.latent()
    known = np.isfinite(log.told[index])
    seen, sd = log.told[index][known], log.daily_sd[index][known]
    # A noisy intake near zero would weigh without end on the steep foot of the scale.
    steep = slope(np.maximum(np.abs(seen), sd))
    full, used = log.full[index][known], steep[:, None] * log.used[index][known]
    error = (sd * steep) ** 2
    daily = Observations(None, seen_on_scale(seen), error, np.ones(len(seen)), full, used)
    if known.all() and log.single.all():
        return daily
    views = [replace(daily, matrix=eye_array(len(index), format="csr")[known])]
    views += [_total_view(log, k, index, z) for k in np.flatnonzero(~log.single)]
    views = [view for view in views if len(view.value)]
    names = ("value", "var", "own", "bound", "used")
    columns = (np.concatenate([getattr(v, c) for v in views]) for c in names)
    return Observations(vstack([v.matrix for v in views], format="csr"), *columns)


def _total_view(log: _Log, k: int, index: np.ndarray, z: np.ndarray) -> Observations:
    """One span's total as a row over the latent days; no row where it tells of none of them."""
    start, length = int(log.at[k]), int(log.spans["days"].iloc[k])
    inside = (index >= start) & (index < start + length)
    here = from_scale(z[inside])
    kept = 1.0 - log.household.mean[-1]  # what dries off within the span never shows in its total
    eaten = np.nansum(log.eaten[start : start + length])
    eaten += log.household.mean[3] * here.sum()  # brood reared on it, spread over the span
    unsure = log.numbers["flow.use_unsure_frac"] * eaten
    var = log.spans["gain_sd_kg"].iloc[k] ** 2 + unsure**2
    intake, full = log.spans["gain_kg"].iloc[k] + eaten, _bounds(log.spans)[k]
    tells = inside.any() and not (full and intake <= np.sqrt(var))
    row = np.zeros((int(tells), len(index)))
    row[:, inside] = kept / slope(here)
    total = intake - kept * here.sum() + row @ z
    each = np.full(len(row), var), (row**2).sum(1), np.full(len(row), full)
    used = np.tile(log.used[start : start + length].sum(0), (len(row), 1))
    return Observations(csr_array(row), total, *each, used)


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
