"""What befalls hives beside the keeper's plans, and is in nobody's notes."""

from __future__ import annotations

import numpy as np

from simulator.keeper import Event, HiveRun

# Times a year: after-swarms, boxes taken away and brought back, hives robbed by people or overturned.
CASTS, PUT_BACKS, THEFTS = 1.0, 1.0, 0.25
KINDS = ("cast", "put_back", "theft")


def befall(run: HiveRun, flight_h: np.ndarray, first: int, rng: np.random.Generator) -> None:
    """Add mishaps to a hive's events; its bees go on as if nothing had been.

    Parameters
    ----------
    run : HiveRun
        Changed in place.
    first : int
        Number of the day from which on something may happen.
    flight_h : ndarray
        Flight hours of each day: swarms wait for a fair one. [h]
    rng : numpy.random.Generator
        The only source of chance.
    """
    years = (len(run.gain_kg) - first) / 365.25
    fair = first + np.flatnonzero(flight_h[first:] > 4)
    for day in _some(fair, CASTS * years, rng):
        _add(run, int(day), int(rng.integers(11, 16)), "cast", -rng.uniform(0.4, 1.5))
    days = np.arange(first + 3, len(run.gain_kg) - 3)
    for day in _some(days, PUT_BACKS * years, rng):
        kg, away = rng.uniform(6, 20), int(rng.integers(3, 30))
        hour = int(rng.integers(9, 16))
        _add(run, int(day), hour, "put_back", -kg)
        _add(run, int(day) + (hour + away) // 24, (hour + away) % 24, "put_back", kg)
    if rng.random() < THEFTS * years:  # no hive can be taken twice
        day, kg = int(rng.choice(days)), rng.uniform(0.45, 0.65) * run.start_kg
        _add(run, day, int(rng.integers(0, 24)), "theft", -kg)


def _some(days: np.ndarray, rate: float, rng: np.random.Generator) -> np.ndarray:
    return rng.choice(days, min(rng.poisson(rate), len(days)), replace=False)


def _add(run: HiveRun, day: int, hour: int, kind: str, kg: float) -> None:
    run.events.append(Event(day, hour, kind, round(float(kg), 2)))
