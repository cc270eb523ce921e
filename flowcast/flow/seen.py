"""What the scales of a yard said of the latent season: as linear views of it.

Daily gains are seen directly, totals over longer spans through their sum, linearised where they stand;
gains of hives without free comb are marked as lower bounds. What the colony used is added first
(`household`): what is left of a gain is the intake.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.sparse import block_diag, csr_array, eye_array, vstack

from flowcast.flow.days import Days, day_number
from flowcast.flow.evened import Total, evened_out
from flowcast.flow.household import Household, Stock, fit_household, intake_of
from flowcast.flow.kin import Spot
from flowcast.flow.latent import flight_days, from_scale, seen_on_scale, slope
from flowcast.flow.prior import Ensemble
from flowcast.numbers import Numbers


@dataclass(frozen=True)
class Observations:
    """Linear views of z: value = matrix @ z + error. `matrix` (sparse) None is the identity.

    var: variance of the scale's error. own: how many days' own noise each value holds. bound: whether
    the value is a lower bound, the hives having been full. used: how the value would change with each
    state of the household, shape (values, states): what a colony used more, it had carried in.
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
class YardLog:
    """What the fit takes of one yard: see `fit_flow`.

    days: phenological days by the clock of the first yard of the fit. spot: where it lies from there.
    """

    spans: pd.DataFrame
    days: Days
    ensemble: Ensemble
    numbers: Numbers
    spot: Spot = (0.0, 0.0, 0.0)


def _bounds(spans: pd.DataFrame) -> np.ndarray:
    """Which gains are lower bounds; none in a table that does not say."""
    return spans.get("lower_bound", pd.Series(0.0, spans.index)).to_numpy(bool)


def _totals(spans: pd.DataFrame, at: np.ndarray) -> list[Total]:
    """Gains over more than a day."""
    longer = (spans["days"] > 1).to_numpy()
    columns = (spans[name].to_numpy()[longer] for name in ("days", "gain_kg", "gain_sd_kg"))
    return [
        Total(int(start), int(days), float(kg), float(sd))
        for start, days, kg, sd in zip(at[longer], *columns, strict=True)
    ]


@dataclass(frozen=True)
class Log:
    """What the scale said, laid over the record's days.

    full: days whose gain is a lower bound. intake: of days with a gain of their own, others NaN. lost: by
    how much the intake of each day that is spoken of exceeds its gain. stocks: with which days began. [kg]
    """

    spans: pd.DataFrame
    at: np.ndarray
    single: np.ndarray
    full: np.ndarray
    intake: np.ndarray
    lost: np.ndarray
    stocks: list[Stock]
    days: Days
    household: Household
    numbers: Numbers

    @classmethod
    def of(cls, yard: YardLog, number: int) -> Log:
        """The log of a yard that bears this number in its days, its colony's use learned."""
        spans, days, numbers = yard.spans, yard.days.of_yard(number), yard.numbers
        first = days.time[0] if len(days) else 0.0
        at = (day_number(spans.index) - first).astype(int)
        single = (spans["days"] == 1).to_numpy()
        gain = np.full(len(days), np.nan)
        gain[at[single]], full = spans["gain_kg"].to_numpy()[single], np.zeros(len(days), bool)
        full[at[single]] = _bounds(spans)[single]
        free = ~_bounds(spans)
        household = fit_household(
            gain, days, numbers, full=full, totals=_totals(spans[free], at[free])
        )
        shared = evened_out(gain, _totals(spans, at), numbers).gain_kg
        brought, stocks = intake_of(shared, days, household)
        intake, lost = np.where(np.isfinite(gain), brought, np.nan), brought - shared
        return cls(spans, at, single, full, intake, lost, stocks, days, household, numbers)

    def since(self, time: float) -> Log:
        """The same with what was seen before this day left out; the colony's use stays as learned."""
        kept = self.days.time[self.at] >= time
        intake = np.where(self.days.time >= time, self.intake, np.nan)
        return replace(
            self, spans=self.spans[kept], at=self.at[kept], single=self.single[kept], intake=intake
        )

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
        return np.flatnonzero(spoken & self.days.whole & flight_days(self.days, self.numbers))


def newest(logs: list[Log], most: int) -> list[Log]:
    """The logs with the newest values of them all, so many latent days at most."""
    times = np.sort(np.concatenate([[], *(log.days.time[log.latent()] for log in logs)]))
    return [log.since(times[-most]) for log in logs] if len(times) > most else logs


def seasons_of(log: Log) -> float:
    """Seasons of log: days that a daily gain or a span speaks of, each counted once."""
    told = np.zeros(len(log.days), bool)
    for start, length in zip(log.at, log.spans["days"], strict=True):
        told[start : start + int(length)] = True
    return float(told.sum() / 365.25)


def side_by_side(views: list[Observations]) -> Observations:
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


def views_of(log: Log, z: np.ndarray) -> Observations:
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


def _total_view(log: Log, k: int, index: np.ndarray, z: np.ndarray) -> Observations:
    """One span's total as a row over the latent days; no row where it tells of none of them."""
    start, length = int(log.at[k]), int(log.spans["days"].iloc[k])
    inside = (index >= start) & (index < start + length)
    here = from_scale(z[inside])
    lost = np.nansum(log.lost[start : start + length])
    var = log.spans["gain_sd_kg"].iloc[k] ** 2 + (log.numbers["flow.use_unsure_frac"] * lost) ** 2
    intake, full = log.spans["gain_kg"].iloc[k] + lost, _bounds(log.spans)[k]
    tells = inside.any() and not (full and intake <= np.sqrt(var))
    row = np.zeros((int(tells), len(index)))
    row[:, inside] = 1.0 / slope(here)
    total = intake - here.sum() + row @ z
    each = np.full(len(row), var), (row**2).sum(1), np.full(len(row), full)
    used = np.tile(log.used[start : start + length].sum(0), (len(row), 1))
    return Observations(csr_array(row), total, *each, used)
