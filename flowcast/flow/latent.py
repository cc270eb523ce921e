"""The latent season: the scale on which it is told, and what is expected of it before any log.

    z = ((I + 0.06)^0.35 - 0.06^0.35) / 0.35,    z(day) = prior(day) + season(day) + drifts(day) + noise

The prior's mean and covariance come from the ensemble of `flow.prior`. The season is a sum of
smooth functions of phenological day, calendar day, foraging hours, temperature, soil water and what
rain washed out that day and the day before; the drifts say how good this year, these weeks and these days are
(`kernel`). Power and offset as found on simulated yards; see numbers.toml.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from flowcast.flow.days import Days
from flowcast.flow.kernel import Scales, covariance
from flowcast.flow.kin import ALONE, Kin
from flowcast.flow.prior import Ensemble
from flowcast.numbers import Numbers

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

    @classmethod
    def of(cls, typical: np.ndarray, year: np.ndarray) -> Members:
        """From every member's typical season and its year on the model's scale, (members, days)."""
        mean, middle = year.mean(0), typical.mean(0)
        return cls(mean, typical - middle, year - typical - (mean - middle))

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
        # On the model's scale only when all that led there is let go of: of a log's days it is large.
        return Members.of(*to_scale(next(self._intakes(days, days.foraging_h[None]))))

    def over_hours(self, days: Days, hours: np.ndarray) -> Iterator[Members]:
        """As `members`, had the days other foraging hours: for each row of hours, shape (rows, days)."""
        return (Members.of(*to_scale(both)) for both in self._intakes(days, hours))

    def _intakes(self, days: Days, hours: np.ndarray) -> Iterator[np.ndarray]:
        """The ensembles' intakes with these hours, each row's (2, members, days). [kg]"""
        ensembles = (self.ensemble, *self.others)
        places = [days.yard == yard for yard in range(len(ensembles))]
        each = (
            ensemble.over_hours(days.take(here), hours[:, here])
            for ensemble, here in zip(ensembles, places, strict=True)
        )
        for parts in zip(*each, strict=True):
            both = np.empty((2, len(self.ensemble.half_h), len(days)))
            for here, part in zip(places, parts, strict=True):
                both[..., here] = part
            yield both

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
