"""What a span would have brought under other weather: the flow model with drivers swapped.

The model as the whole log has taught it says what the days of the span would have brought with other
hours of flight, other soil, other warmth; what the rain of the weeks before does to the flowers, too
slow for one log to tell, is a stated power of it (`reasons.rain_answer`). Each other year lends its own course of a driver from the
same date on, so that spells stay whole; every set of drivers is swapped in turn, and what comes of it
is shared out by Shapley values. What is left of a day beyond the model's mean (the season's own bloom,
the colony's strength) stays with the day.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
import pandas as pd

from flowcast.flow.days import Days
from flowcast.flow.fit import FlowModel
from flowcast.flow.latent import from_scale, seen_on_scale, to_scale
from flowcast.numbers import Numbers
from flowcast.reasons.shapley import coalitions, shapley

# Factors of foraging.FACTORS behind each driver of flight.
FLIGHT = {
    "cold": ("cold",),
    "heat": ("heat",),
    "rain": ("rain",),
    "wind": ("wind",),
    "light": ("light", "humid"),
}
# Columns that the drivers of the flowers swap: the water they get (in the ground, and what rain washed
# out of them that day and the day before), and warmth with the season's lead.
FLOWERS = {
    "soil": ("soil_water_frac", "washed", "showered"),
    "timing": ("shift_d", "temp_mean_c"),
}
DRIVERS = (*FLIGHT, *FLOWERS)
NEEDED = (
    "foraging_h",
    "rained",
    *(f"lost_{factor}_h" for factors in FLIGHT.values() for factor in factors),
    *(column for columns in FLOWERS.values() for column in columns),
)
HOURS = np.array([0.25, 2.5, 9.0])
MEMBERS = 24  # ways the yard could be, for the doubt about each part


@dataclass(frozen=True)
class Swapped:
    """What swapping says of a span.

    years: the other years. parts: what each driver brought against each of them, shape
    (years, 1 + members, drivers), the model itself first and then ways the yard could be. [kg] intake_kg: the model's intake of the
    span. rain_share: share of that from plants that follow rain. usual_kg: intake of each day under
    the other years' weather, their mean.
    """

    years: tuple[int, ...]
    parts: np.ndarray
    intake_kg: float
    rain_share: float
    usual_kg: np.ndarray


def swap(
    model: FlowModel,
    days: Days,
    seen_kg: np.ndarray,
    spans: dict[int, pd.DataFrame],
    year: int,
    numbers: Numbers,
    rng: np.random.Generator,
) -> Swapped:
    """Swap every set of drivers for that of every other year.

    Parameters
    ----------
    days : Days
        The span's days; their weather is that of `spans`.
    seen_kg : array, shape (days,)
        Intake of each day by its gain (`household.intake_of`), NaN where it is not known. [kg/d]
    spans : dict
        Year -> days with the columns `NEEDED`, none missing, of this year and the others; shift_d is
        the phenological day less the season day, rained the rain before as a share of normal, washed
        and showered as of `Days`.
    """
    own, others = spans[year], [part for y, part in spans.items() if y != year]
    days = replace(days, foraging_h=own["foraging_h"].to_numpy(float))
    days = _flowers_of(days, own, own, (False, False))
    world = _World.of(model, days, seen_kg, numbers, rng)
    ran = [world.run(own, part) for part in others]
    gain, intake, usual = (np.array(values) for values in zip(*ran, strict=True))
    share = model.prior.ensemble.rain_share(days)
    return Swapped(
        years=tuple(y for y in spans if y != year),
        parts=-np.array([[shapley(member) for member in of_year] for of_year in gain]),
        intake_kg=float(intake[0].sum()),
        rain_share=float((share * intake[0]).sum() / max(intake[0].sum(), 1e-9)),
        usual_kg=usual.mean(axis=0),
    )


def filled(spans: dict[int, pd.DataFrame], year: int) -> dict[int, pd.DataFrame]:
    """The columns `NEEDED` with days that lack any of them as they usually are.

    So that a hole counts as weather like that of the other years: their mean on that day, of those
    that know it; NaN where none does.
    """
    spans = {y: part[list(NEEDED)].astype(float) for y, part in spans.items()}
    known = {y: part.where(part.notna().all(axis=1)).to_numpy() for y, part in spans.items()}
    others = np.array([values for y, values in known.items() if y != year])
    count = np.isfinite(others).sum(axis=0)
    usual = np.where(count > 0, np.nansum(others, axis=0) / np.maximum(count, 1), np.nan)
    return {
        y: pd.DataFrame(np.where(np.isfinite(known[y]), known[y], usual), part.index, part.columns)
        for y, part in spans.items()
    }


@dataclass(frozen=True)
class _Surface:
    """z of each day over hours of flight, for every set of the flowers' drivers taken from elsewhere.

    tables: shape (sets, 1 + members, hours, days), the sets as in `coalitions`. calendar: what the dates
    add to z, whatever weather they have.
    """

    tables: np.ndarray
    calendar: np.ndarray

    @classmethod
    def of(cls, model: FlowModel, days: Days) -> _Surface:
        """That of the days as they were."""
        calendar = model.calendar(days)
        return cls(_table(model, days, calendar)[None], calendar)

    def beside(self, model: FlowModel, days: Days, own, other) -> _Surface:
        """This surface of the days as they were, and those with drivers of the other year."""
        sets = coalitions(len(FLOWERS))[1:]
        taken = (_flowers_of(days, own, other, some) for some in sets)
        tables = [_table(model, part, self.calendar) for part in taken]
        return replace(self, tables=np.concatenate([self.tables, tables]))

    def at(self, hours: np.ndarray, taken: np.ndarray) -> Iterator[np.ndarray]:
        """z with these hours and these sets, (runs, days) and (runs, drivers) -> (runs, days).

        Of one member after the other, for memory. Linear in the root of the hours.
        """
        run = (taken @ (1 << np.arange(taken.shape[1])))[:, None]
        day, ends = np.arange(hours.shape[1]), _ends(np.sqrt(hours), np.sqrt(HOURS))
        for table in np.moveaxis(self.tables, 1, 0):
            yield sum(table[run, node, day] * weight for node, weight in ends)


def _table(model: FlowModel, days: Days, calendar: np.ndarray) -> np.ndarray:
    """z of the model and of some members at every node of the hours, (1 + members, hours, days)."""
    few = model.prior.ensemble.first(MEMBERS).over_hours(days, np.tile(HOURS[:, None], len(days)))
    members = to_scale(np.stack([typical for typical, _ in few], axis=1))
    return np.concatenate([model.mean(days, HOURS, calendar)[None], members])


def _flowers_of(days: Days, own: pd.DataFrame, other: pd.DataFrame, taken) -> Days:
    """The days with the flowers' drivers that are taken from the other year."""
    given = {
        column: (other if is_taken else own)[column].to_numpy(float)
        for columns, is_taken in zip(FLOWERS.values(), taken, strict=True)
        for column in columns
    }
    return replace(
        days,
        soil_frac=given["soil_water_frac"],
        washed=given["washed"],
        showered=given["showered"],
        temp_c=given["temp_mean_c"],
        pheno_day=days.season_day + given["shift_d"],
    )


def _ends(values: np.ndarray, nodes: np.ndarray):
    """The nodes on either side, and their weights; beyond the ends the last node."""
    at = np.clip(np.searchsorted(nodes, values) - 1, 0, len(nodes) - 2)
    share = np.clip((values - nodes[at]) / (nodes[at + 1] - nodes[at]), 0.0, 1.0)
    return (at, 1.0 - share), (at + 1, share)


@dataclass(frozen=True)
class _World:
    """The span as the model sees it, to be lived again with drivers of other years.

    left: what each day had beyond the mean of the model and of each member, (1 + members, days): a
    member answers to the weather in its own way; how much there was to gather is the day's. answer:
    power of the rain before on each day's nectar, the same shape.
    """

    model: FlowModel
    days: Days
    plain: _Surface
    left: np.ndarray
    answer: np.ndarray
    numbers: Numbers

    @classmethod
    def of(cls, model: FlowModel, days: Days, seen, numbers: Numbers, rng) -> _World:
        """The span with this intake seen on its days, NaN where it is not known. [kg/d]"""
        plain = _Surface.of(model, days)
        alone = np.zeros((1, len(FLOWERS)), bool)
        now = np.array([z[0] for z in plain.at(days.foraging_h[None], alone)])
        flew = (days.foraging_h >= numbers["flow.flight_min_h"]) & np.isfinite(seen)
        day = np.where(flew, seen_on_scale(np.nan_to_num(seen)), now[0])
        answer = _answers(model.prior.ensemble.rain_share(days), numbers, rng)
        return cls(model, days, plain, day - now, answer, numbers)

    def run(self, own: pd.DataFrame, other: pd.DataFrame) -> tuple[np.ndarray, ...]:
        """What each set of drivers from the other year leaves on the scale, (1 + members, sets). [kg]

        With it the intake of each day as it was, and with all drivers from the other year.
        """
        sets = coalitions(len(DRIVERS))
        hours = _hours(own, other, sets)
        flowers = sets[:, len(FLIGHT) :]
        surface = self.plain.beside(self.model, self.days, own, other)
        more = np.where(flowers[:, :1], grown(other["rained"]) - grown(own["rained"]), 0.0)
        flying = hours >= self.numbers["flow.flight_min_h"]
        lived = (
            np.where(flying, from_scale(z + left) * np.exp(answer * more), 0.0)
            for z, left, answer in zip(
                surface.at(hours, flowers), self.left, self.answer, strict=True
            )
        )
        middle, share = next(lived), kept(self.days, self.model.household.mean, self.numbers)
        gain = np.array([intake @ share for intake in chain([middle], lived)])
        return gain, middle[0].copy(), middle[-1].copy()  # not the whole of it


def kept(days: Days, coefficients: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Share of each day's intake that is left on the scale at the end of the span. [1]

    The gain equation is linear in the intake: of a day's intake the water dries off and brood is
    reared on it in the days that follow, by what `household.step` hands on. What the colony uses
    besides is the same whatever comes in.
    """
    *_, brood, rho = coefficients
    after = days.time[-1] - days.time
    reared = 1.0 - (1.0 - 1.0 / numbers["flow.memory_d"]) ** after
    dried = 1.0 - (1.0 - numbers["flow.drying_rate"]) ** after
    return 1.0 - brood * reared - rho * dried


def _answers(rain_share: np.ndarray, numbers: Numbers, rng: np.random.Generator) -> np.ndarray:
    """Power of the rain before on each day's nectar, the middle one and draws, (1 + members, days)."""
    all_plants, rain_plants = (
        np.r_[middle, rng.normal(middle, numbers[f"reasons.{name}_sd"], MEMBERS)][:, None]
        for name in ("rain_answer", "rain_plant_answer")
        for middle in [numbers[f"reasons.{name}"]]
    )
    return all_plants + (rain_plants - all_plants) * rain_share


def grown(rained: pd.Series) -> np.ndarray:
    """What rain before, as a share of normal, lets grow: ample is good, excess adds little. [log]"""
    share = rained.to_numpy(float)
    return np.log(2.0 * share / (1.0 + share))


def _hours(own: pd.DataFrame, other: pd.DataFrame, sets: np.ndarray) -> np.ndarray:
    """Foraging hours of every set of drivers, (sets, days).

    What a clear sky would allow is this year's; the hours that a driver took are its own year's.
    """
    hours = np.tile(
        own["foraging_h"].to_numpy() + sum(lost(own, d) for d in FLIGHT), (len(sets), 1)
    )
    for k, driver in enumerate(FLIGHT):
        hours -= np.where(sets[:, k, None], lost(other, driver), lost(own, driver))
    return np.maximum(hours, 0.0)


def lost(part: pd.DataFrame, driver: str) -> np.ndarray:
    """Hours of flight that a driver took on each day. [h]"""
    return sum(part[f"lost_{factor}_h"].to_numpy() for factor in FLIGHT[driver])
