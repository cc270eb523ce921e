"""What each driver cost or brought in kilograms: the flow model with drivers swapped for other years'.

The model as the whole log has taught it says what the days of the span would have brought with other
hours of flight, another soil, another timing. Each other year lends its own course of a driver from
the same date on, so that spells stay whole; every set of drivers is swapped in turn, and what comes of
it is shared out by Shapley values. What is left of a day beyond the model's mean (the season's own
bloom, the colony's strength) stays with the day. It is association learned from this log, not proof.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.flow.days import Days
from flowcast.flow.fit import FlowModel, from_scale, seen_on_scale, to_scale
from flowcast.flow.household import Stock, drivers, intake_of, step, use
from flowcast.numbers import Numbers
from flowcast.reasons.shapley import coalitions, shapley

# Factors of foraging.FACTORS behind each driver; soil and timing have none.
FLIGHT = {
    "cold": ("cold",),
    "heat": ("heat",),
    "rain": ("rain",),
    "wind": ("wind",),
    "light": ("light", "humid"),
}
DRIVERS = (*FLIGHT, "soil", "timing")
NEEDED = (
    "foraging_h",
    *(f"lost_{factor}_h" for factors in FLIGHT.values() for factor in factors),
    "soil_water_frac",
    "shift_d",
)
HOURS = np.array([0.25, 2.0, 6.0, 12.0])
SOIL = np.array([0.0, 0.25, 0.6, 1.0])
SHIFT_D = np.array([-14.0, 0.0, 14.0])
MEMBERS = 24  # ways the yard could be, for the doubt about each part


@dataclass(frozen=True)
class Kilograms:
    """The parts of a span's gain.

    parts: index `DRIVERS`; kg: what the driver brought against its usual (cost: negative), q10, q90:
    80 % interval. modelled_kg: the model's gain of the span, and usual_weather_kg with all drivers as
    in other years, their mean. together: how far each two drivers went together over the days of the
    span, correlation of their departures from the usual. years: how many lent their weather.
    """

    parts: pd.DataFrame
    modelled_kg: float
    usual_weather_kg: float
    together: pd.DataFrame
    years: int


def in_kilograms(
    model: FlowModel,
    days: Days,
    gain_kg: np.ndarray,
    spans: dict[int, pd.DataFrame],
    year: int,
    numbers: Numbers,
) -> Kilograms:
    """Share out what the drivers brought and cost.

    Parameters
    ----------
    days : Days
        The span's days as they were.
    gain_kg : array, shape (days,)
        Daily net gain of the yard, NaN where it is not known. [kg/d]
    spans : dict
        Year -> days with the columns `NEEDED`, none missing, of this year and the others; shift_d is
        the phenological day less the season day.
    """
    others = [y for y in spans if y != year]
    # Days on which nobody flies in any year bring nothing, whatever is swapped.
    flown = np.max([part["foraging_h"].to_numpy() for part in spans.values()], axis=0)
    flown = flown >= numbers["flow.flight_min_h"]
    days, gain_kg = days.take(flown), gain_kg[flown]
    spans = {y: part[flown] for y, part in spans.items()}
    surface = _Surface.of(model, days, gain_kg, numbers)
    swapped = [_swapped(spans[year], spans[y]) for y in others]
    worth = np.array([surface.gains(*one) for one in swapped])  # (years, members, coalitions)
    shares = -np.array([[shapley(v) for v in per_year] for per_year in worth])
    mean = shares.mean(axis=0)  # (members, drivers); member 0 is the model itself
    parts = pd.DataFrame({"kg": mean[0]}, index=list(DRIVERS))
    doubt = numbers["reasons.member_share"] * mean[1:].std(axis=0)
    years_sd = shares[:, 0].std(axis=0) / np.sqrt(len(others))
    half = 1.2816 * np.sqrt(doubt**2 + years_sd**2)
    return Kilograms(
        parts=parts.assign(q10=parts["kg"] - half, q90=parts["kg"] + half),
        modelled_kg=float(worth[0, 0, 0]),
        usual_weather_kg=float(worth[:, 0, -1].mean()),
        together=_together(spans, year, others),
        years=len(others),
    )


def _lost(part: pd.DataFrame, driver: str) -> np.ndarray:
    return sum(part[f"lost_{factor}_h"].to_numpy() for factor in FLIGHT[driver])


def _swapped(own: pd.DataFrame, other: pd.DataFrame) -> tuple[np.ndarray, ...]:
    """Hours, soil water and shift of every coalition of drivers taken from the other year.

    Each of shape (coalitions, days). What a clear sky would allow is this year's; the hours that a
    driver took are its own year's.
    """
    sets = coalitions(len(DRIVERS))
    clear = own["foraging_h"].to_numpy() + sum(_lost(own, d) for d in FLIGHT)
    hours = np.tile(clear, (len(sets), 1))
    for k, driver in enumerate(FLIGHT):
        hours -= np.where(sets[:, k, None], _lost(other, driver), _lost(own, driver))
    soil, timing = sets[:, DRIVERS.index("soil"), None], sets[:, DRIVERS.index("timing"), None]
    return (
        np.maximum(hours, 0.0),
        np.where(soil, other["soil_water_frac"].to_numpy(), own["soil_water_frac"].to_numpy()),
        np.where(timing, other["shift_d"].to_numpy(), own["shift_d"].to_numpy()),
    )


@dataclass(frozen=True)
class _Surface:
    """z of each day over a grid of hours, soil water and shift, for the model and some members.

    table: shape (1 + members, hours, soil, shift, days). left: what the day itself had beyond the
    model's mean, on the same scale. scale: factor on each member's intake that gives the model's sum.
    """

    table: np.ndarray
    left: np.ndarray
    days: Days
    coefficients: np.ndarray
    numbers: Numbers

    @classmethod
    def of(cls, model: FlowModel, days: Days, gain_kg, numbers: Numbers) -> _Surface:
        grid = _grid(days)
        shape = (len(HOURS), len(SOIL), len(SHIFT_D), len(days))
        mean = model.mean(grid).reshape(1, *shape)
        typical = model.prior.ensemble.both(grid)[0][:MEMBERS]
        members = to_scale(typical).reshape(MEMBERS, *shape)
        table = np.concatenate([mean, members])
        seen, _ = intake_of(gain_kg, days, model.household)
        now = _at(table, days.foraging_h[None], days.soil_frac[None], _shift(days)[None])[:, 0]
        flew = (days.foraging_h >= numbers["flow.flight_min_h"]) & np.isfinite(seen)
        left = np.where(flew, seen_on_scale(np.nan_to_num(seen)) - now[0], 0.0)
        # A member answers to the weather in its own way; how much there was to gather is the day's.
        own = np.where(flew, now[0] + left - now[1:], now[0] - now[1:])
        return cls(table, np.vstack([left, own]), days, model.household.mean, numbers)

    def gains(self, hours: np.ndarray, soil: np.ndarray, shift: np.ndarray) -> np.ndarray:
        """Gain of the span with these drivers, shape (1 + members, coalitions). [kg]"""
        z = _at(self.table, hours, soil, shift) + self.left[:, None, :]
        flying = hours >= self.numbers["flow.flight_min_h"]
        intake = np.where(flying, np.maximum(from_scale(z), 0.0), 0.0)
        chill, brooding = drivers(self.days, self.numbers)
        stock, total = Stock(0.0, 0.0), np.zeros(intake.shape[:2])
        for day in range(intake.shape[-1]):
            used = use(stock, chill[day], brooding[day], self.coefficients, self.numbers)
            total += intake[..., day] - used
            stock = step(stock, intake[..., day], self.numbers)
        return total


def _shift(days: Days) -> np.ndarray:
    return days.pheno_day - days.season_day


def _grid(days: Days) -> Days:
    """Every day at every node of the grid, as one run of days."""
    hours, soil, shift = np.meshgrid(HOURS, SOIL, SHIFT_D, indexing="ij")
    nodes = hours.size

    def tiled(values: np.ndarray) -> np.ndarray:
        return np.tile(values, nodes)

    each = {name: tiled(getattr(days, name)) for name in days.__dataclass_fields__}
    each["foraging_h"] = np.repeat(hours.ravel(), len(days))
    each["soil_frac"] = np.repeat(soil.ravel(), len(days))
    each["pheno_day"] = each["season_day"] + np.repeat(shift.ravel(), len(days))
    return Days(**each)


def _at(table: np.ndarray, hours, soil, shift) -> np.ndarray:
    """The table between its nodes, linear in the root of the hours, soil water and shift.

    Arguments of shape (runs, days); result (members, runs, days).
    """
    day = np.arange(table.shape[-1])
    found = 0.0
    for h, wh in _ends(np.sqrt(hours), np.sqrt(HOURS)):
        for s, ws in _ends(soil, SOIL):
            for t, wt in _ends(shift, SHIFT_D):
                found = found + table[:, h, s, t, day] * (wh * ws * wt)
    return found


def _ends(values: np.ndarray, nodes: np.ndarray):
    """The nodes on either side, and their weights; beyond the ends the last node."""
    at = np.clip(np.searchsorted(nodes, values) - 1, 0, len(nodes) - 2)
    share = np.clip((values - nodes[at]) / (nodes[at + 1] - nodes[at]), 0.0, 1.0)
    return (at, 1.0 - share), (at + 1, share)


def _together(spans: dict[int, pd.DataFrame], year: int, others: list[int]) -> pd.DataFrame:
    """Correlation between drivers' weekly departures from the usual over the span."""
    usual = {d: np.mean([_lost(spans[y], d) for y in others], axis=0) for d in FLIGHT}
    off = {d: _lost(spans[year], d) - usual[d] for d in FLIGHT}
    off["soil"] = spans[year]["soil_water_frac"].to_numpy() - np.mean(
        [spans[y]["soil_water_frac"].to_numpy() for y in others], axis=0
    )
    weekly = pd.DataFrame(off).groupby(np.arange(len(spans[year])) // 7).mean()
    return weekly.corr()
