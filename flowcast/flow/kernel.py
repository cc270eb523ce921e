"""How alike two days are: the parts of the latent season, each with a scale of its own.

A part says in which way days resemble each other (near in bloom, in date, in soil water, in what rain
washed out that day or the day before, in hours of flight, in time); its scale says how much of what a yard's days
show comes from it. The general scales stand in numbers.toml; `flow.scales` learns a yard's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from flowcast.flow.days import Days
from flowcast.flow.kin import ALONE, Kin
from flowcast.flow.plants import SEASON_DAYS
from flowcast.numbers import Numbers


@dataclass(frozen=True)
class Scales:
    """Standard deviations on the model's scale of z: of every part, and of a day's own noise."""

    bloom: float
    date: float
    soil: float
    wash: float
    shower: float
    year: float
    weeks: float
    days: float
    flight: float
    noise: float

    @classmethod
    def general(cls, numbers: Numbers) -> Scales:
        """Those of numbers.toml, before any log."""
        return cls(**{f.name: numbers[f"flow.sd_{f.name}"] for f in fields(cls)})


def covariance(a: Days, b: Days, scales: Scales, numbers: Numbers, kin: Kin = ALONE) -> np.ndarray:
    """Prior covariance of the season and drift parts between days `a` and `b`. Shape (a, b)."""
    total = np.zeros((len(a), len(b)))
    for name, part in parts(a, b, numbers, kin):
        total += getattr(scales, name) ** 2 * part
    return total


def parts(a: Days, b: Days, numbers: Numbers, kin: Kin = ALONE) -> Iterator[tuple[str, np.ndarray]]:
    """Every part's name and its covariance at scale 1, shape (a, b)."""
    hours = reach(a.foraging_h, numbers), reach(b.foraging_h, numbers)
    spring = around(a.pheno_day, b.pheno_day)
    both = np.outer(*hours)
    for name, part in season_parts(a, b, spring, numbers, kin):
        yield name, part * both
    yield "flight", near_hours(*hours, numbers) * flight_alike(a, b, spring, numbers, kin)


def season_parts(
    a: Days, b: Days, spring: np.ndarray, numbers: Numbers, kin: Kin = ALONE
) -> Iterator[tuple[str, np.ndarray]]:
    """The parts that flight lets through, as on days of full flight; spring is their `around`."""
    yield from weather_parts(a, b, spring, numbers, kin)
    yield from calendar_parts(a, b, numbers, kin)


def weather_parts(
    a: Days, b: Days, spring: np.ndarray, numbers: Numbers, kin: Kin = ALONE
) -> Iterator[tuple[str, np.ndarray]]:
    """Those of them that ask what weather the days have."""
    bloom = _bell(spring, numbers["flow.span_bloom_d"])
    yield "bloom", kin.shared("bloom", a.yard, b.yard, bloom)
    soil = _near(a.soil_frac, b.soil_frac, numbers["flow.span_soil_frac"])
    soil *= _bell(spring, numbers["flow.span_soil_d"])
    yield "soil", kin.shared("soil", a.yard, b.yard, soil)
    weeks = _bell(spring, numbers["flow.span_wash_d"])
    for name, rain in (("wash", (a.washed, b.washed)), ("shower", (a.showered, b.showered))):
        yield name, kin.shared(name, a.yard, b.yard, np.outer(*rain) * weeks)


def calendar_parts(
    a: Days, b: Days, numbers: Numbers, kin: Kin = ALONE
) -> Iterator[tuple[str, np.ndarray]]:
    """Those that ask for the date alone."""
    date = _bell(around(a.season_day, b.season_day), numbers["flow.span_date_d"])
    yield "date", kin.shared("date", a.yard, b.yard, date)
    ago = np.abs(a.time[:, None] - b.time[None, :])
    for name, drift in (("year", _rough), ("weeks", _steady), ("days", _rough)):
        alike = drift(ago, numbers[f"flow.span_{name}_d"])
        yield name, kin.shared(name, a.yard, b.yard, alike)


def near_hours(a: np.ndarray, b: np.ndarray, numbers: Numbers) -> np.ndarray:
    """How alike days are whose hours' `reach` is a and b. Shape (a, b)."""
    return _near(a, b, numbers["flow.span_flight_frac"])


def flight_alike(
    a: Days, b: Days, spring: np.ndarray, numbers: Numbers, kin: Kin = ALONE
) -> np.ndarray:
    """How far flight on days `a` tells of that on days `b` of as many hours. Shape (a, b)."""
    warmth = _near(a.temp_c, b.temp_c, numbers["flow.span_flight_c"])
    alike = warmth * _bell(spring, numbers["flow.span_flight_d"])
    return kin.shared("flight", a.yard, b.yard, alike)


def reach(foraging_h: np.ndarray, numbers: Numbers) -> np.ndarray:
    """0 to 1: how far a day's hours let the season show on the model's scale."""
    full, half = numbers["flow.full_day_h"], numbers["flow.half_h_low"] * 2
    return np.sqrt(foraging_h / (foraging_h + half) * (full + half) / full)


def around(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Squared chord between season days round the year, in days^2 near zero. Shape (a, b)."""
    a, b = np.pi * a / SEASON_DAYS, np.pi * b / SEASON_DAYS
    sine = np.outer(np.sin(a), np.cos(b)) - np.outer(np.cos(a), np.sin(b))  # of the difference
    return (sine * SEASON_DAYS / np.pi) ** 2


def _bell(chord2: np.ndarray, length_d: float) -> np.ndarray:
    return np.exp(-0.5 * chord2 / length_d**2)


def _rough(ago: np.ndarray, length_d: float) -> np.ndarray:
    """Of a drift whose next step asks for today alone (Matern 1/2)."""
    return np.exp(-ago / length_d)


def _steady(ago: np.ndarray, length_d: float) -> np.ndarray:
    """Of a drift that goes on as it has begun, up or down, for a while (Matern 3/2)."""
    far = np.sqrt(3.0) * ago / length_d
    return (1.0 + far) * np.exp(-far)


def _near(a: np.ndarray, b: np.ndarray, length: float) -> np.ndarray:
    return np.exp(-0.5 * ((a[:, None] - b[None, :]) / length) ** 2)
