"""What a scale shows of a hive: the true weight through the day, and all that scales do to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from simulator.keeper import HiveRun
from simulator.weather import ar_noise

DAY_TURNS_H = 2  # a hive's day runs from 02:00 to the next 02:00 of the local clock
WANDER_MEMORY_H = 400.0
FORAGERS_OUT = 0.4  # share of the foragers in the air in the best hour


@dataclass(frozen=True)
class Faults:
    """How a scale misbehaves; rates a year, sizes in kg.

    Attributes
    ----------
    noise_kg, wander_kg : float
        Spread of single readings; of an error that wanders over weeks.
    drift_kg_per_c : float
        Error by warmth of the scale.
    gaps, spikes, restarts, stuck : float
        How often each of these happens in a year.
    soak_kg : float
        The most water that rain leaves on and in the wood.
    """

    noise_kg: float = 0.03
    wander_kg: float = 0.04
    drift_kg_per_c: float = 0.008
    gaps: float = 4.0
    spikes: float = 12.0
    restarts: float = 1.5
    stuck: float = 1.0
    soak_kg: float = 0.4


def draw_faults(rng: np.random.Generator) -> Faults:
    """A scale of the kind people have: good, fair or poor."""
    return Faults(
        noise_kg=rng.uniform(0.01, 0.06),
        drift_kg_per_c=rng.normal(0.0, 0.010),
        gaps=rng.uniform(1, 7),
        spikes=rng.uniform(3, 20),
        restarts=rng.uniform(0, 3),
        stuck=rng.uniform(0, 2),
        soak_kg=rng.uniform(0.1, 0.6),
    )


def hive_hours(hourly: np.ndarray, days: int) -> np.ndarray:
    """Hourly values by hive day: row d runs from 02:00 of day d to 02:00 of the next.

    Parameters
    ----------
    hourly : ndarray, shape (24 * days,)
        Value k of a day belongs to the hour from k to k + 1 of the local clock.

    Returns
    -------
    ndarray, shape (days, 24)
        The hours past the last midnight repeat the last value.
    """
    late = np.concatenate([hourly[DAY_TURNS_H:], np.repeat(hourly[-1:], DAY_TURNS_H)])
    return late.reshape(days, 24)


def weight_course(run: HiveRun, fitness: np.ndarray) -> np.ndarray:
    """True weight at the end of every hour, work included, weather on the wood left out. [kg]

    Parameters
    ----------
    run : HiveRun
        The hive's daily truth.
    fitness : ndarray, shape (24 * days,)
        `flight.hour_fitness` of the same local days.

    Returns
    -------
    ndarray, shape (24 * days,)
        Value k of day d stands at d 02:00 plus k + 1 hours: the last value of each row is the
        night weight from which the next day starts.

    Notes
    -----
    Nectar comes in with the hours of flight; water and food leave at all hours, a little faster
    by night, when the bees fan; foragers in the air weigh nothing on the scale.
    """
    days = len(run.gain_kg)
    fit = hive_hours(fitness, days)
    carried = fit / np.maximum(fit.sum(axis=1, keepdims=True), 1e-9)
    hour = np.arange(24)
    leaving = np.where((hour < 4) | (hour >= 17), 1.25, 0.82)
    lost = (run.intake_kg - run.gain_kg)[:, None] * leaving / leaving.sum()
    flow = run.intake_kg[:, None] * carried - lost
    weight = run.start_kg + np.cumsum(flow.ravel())
    out = FORAGERS_OUT * 1e-4 * run.foragers[:, None] * _smooth_rows(fit)
    return weight + steps_course(run, days) - out.ravel()


def _smooth_rows(fit: np.ndarray) -> np.ndarray:
    """Flight with its comings and goings; nobody is out when the hive's day turns."""
    eased = 0.6 * fit
    eased[:, 1:] += 0.25 * fit[:, :-1]
    eased[:, :-1] += 0.15 * fit[:, 1:]
    return eased * (np.arange(24) < 23)


def steps_course(run: HiveRun, days: int) -> np.ndarray:
    """Sum of all work up to the end of each hour, in the order of `weight_course`. [kg]"""
    steps = np.zeros(24 * days)
    for event in run.events:
        at = 24 * event.day + event.hour - DAY_TURNS_H
        if 0 <= at < len(steps):
            steps[at] += event.kg
    return np.cumsum(steps)


def on_the_wood(weather: pd.DataFrame, faults: Faults) -> np.ndarray:
    """Rain that soaks the wood and dries off; snow that lies on the roof until it thaws. [kg]"""
    rain = weather["precip_mm"].to_numpy()
    temp = weather["temp_c"].to_numpy()
    wind = weather["wind_ms"].to_numpy()
    load, snow = np.empty(len(rain)), 0.0
    wet = 0.0
    for i in range(len(rain)):
        cold = temp[i] < 0.3
        thaw = max(temp[i], 0.0) * 0.05 + 0.01 * wind[i]
        snow = max(snow + (0.12 * rain[i] if cold else 0.0) - thaw, 0.0)
        dries = 0.03 + 0.004 * max(temp[i], 0.0)
        wet = min(wet + (0.0 if cold else 0.07 * rain[i]), faults.soak_kg) * (1 - dries)
        load[i] = min(snow, 4.0) + wet
    return load


def shown_weight(
    run: HiveRun, weather: pd.DataFrame, fitness: np.ndarray, faults: Faults
) -> pd.Series:
    """Weight that a faultless scale would show, wet wood and snow included. [kg]

    Returns
    -------
    Series
        On the stamps of `weather` from 02:00 of the first day on.
    """
    # Row d of the course begins at 02:00, so its values stand two hours after the weather's.
    true = weight_course(run, fitness)[:-DAY_TURNS_H]
    return pd.Series(true, weather.index[DAY_TURNS_H:]) + on_the_wood(weather, faults)[DAY_TURNS_H:]


def hourly_log(
    run: HiveRun,
    weather: pd.DataFrame,
    fitness: np.ndarray,
    faults: Faults,
    rng: np.random.Generator,
    *,
    since: pd.Timestamp | None = None,
) -> pd.Series:
    """Readings of an hourly scale, faults and all.

    Parameters
    ----------
    run : HiveRun
        Hive whose days are the local days of `weather`.
    weather : DataFrame
        Hourly, UTC, from the first to the last local day of the run.
    fitness : ndarray
        `flight.hour_fitness(weather)`.
    faults : Faults
        Of this scale.
    rng : numpy.random.Generator
        The only source of chance.
    since : Timestamp, optional
        UTC; when the scale was put under the hive.

    Returns
    -------
    Series
        kg to 0.01 on UTC stamps that mark the END of their hour; hours without a reading are
        left out.
    """
    series = shown_weight(run, weather, fitness, faults)
    warm = lfilter([0.3], [1, -0.7], weather["temp_c"].to_numpy() - 15)[DAY_TURNS_H:]
    before = 0 if since is None else int((series.index < since).sum())
    shown = (series + faults.drift_kg_per_c * warm).iloc[before:]
    noise = rng.normal(0, faults.noise_kg, len(shown))
    noise += ar_noise(rng, len(shown), WANDER_MEMORY_H, faults.wander_kg)
    lifted = _lift_hours(run, before, len(shown), rng)
    return _spoil(shown + noise, lifted, faults, rng).round(2)


def _lift_hours(run: HiveRun, before: int, n: int, rng: np.random.Generator) -> np.ndarray:
    """Positions of readings that fell while the keeper had the hive open or lifted."""
    at = [24 * e.day + e.hour - DAY_TURNS_H - before for e in run.events if e.kind != "swarm"]
    return np.array([i for i in at if 0 <= i < n and rng.random() < 0.35], int)


def _times_of(rate: float, n: int, rng: np.random.Generator) -> np.ndarray:
    """Positions of Poisson happenings at `rate` a year in n hours."""
    return rng.integers(0, n, rng.poisson(rate * n / 8766)) if n else np.array([], int)


def _spoil(
    shown: pd.Series, lifted: np.ndarray, faults: Faults, rng: np.random.Generator
) -> pd.Series:
    """Lifts, spikes, readings of nothing after a restart, stuck stretches, gaps; in that order."""
    values, n = shown.to_numpy().copy(), len(shown)
    values[lifted] -= rng.uniform(3, 30, len(lifted))
    for i in _times_of(faults.spikes, n, rng):
        values[i] += rng.choice([-1, 1]) * rng.uniform(1.5, 30)
    for i in _times_of(faults.restarts, n, rng):
        values[i : i + int(rng.integers(1, 4))] = rng.choice([0.0, -0.35])
    for i in _times_of(faults.stuck, n, rng):
        values[i : i + int(rng.integers(10, 60))] = values[i]
    keep = np.ones(n, bool)
    for i in _times_of(faults.gaps, n, rng):
        keep[i : i + int(np.exp(rng.normal(1.8, 1.2))) + 1] = False
    keep &= rng.random(n) > 0.001
    return pd.Series(values, shown.index)[keep]


def hand_weighings(
    run: HiveRun,
    weather: pd.DataFrame,
    fitness: np.ndarray,
    rng: np.random.Generator,
    *,
    months: tuple[int, int],
    clock_h: float,
    error_kg: float = 0.2,
) -> pd.Series:
    """Weights taken by hand every one or two weeks in some months of the year.

    Parameters
    ----------
    run, weather, fitness
        As for `hourly_log`.
    rng : numpy.random.Generator
        The only source of chance.
    months : pair of int
        First and last month of weighing.
    clock_h : float
        The local standard clock less UTC. [h]
    error_kg : float
        Standard error of one weighing. [kg]

    Returns
    -------
    Series
        kg on UTC stamps of evenings and early mornings, as the keeper found the time.
    """
    shown = shown_weight(run, weather, fitness, Faults(soak_kg=0.2))
    midnight = weather.index[0] - pd.Timedelta(hours=1)
    at: list[pd.Timestamp] = []
    day = 1
    while day < len(run.gain_kg):
        hour = int(rng.choice([6, 19, 20, 21], p=[0.2, 0.3, 0.3, 0.2]))
        month = (midnight + pd.Timedelta(days=day, hours=12 + clock_h)).month
        if months[0] <= month <= months[1]:
            at.append(midnight + pd.Timedelta(days=day, hours=hour))
        day += int(rng.choice([7, 7, 8, 10, 14, 14]))
    weights = shown[pd.DatetimeIndex(at)] + rng.normal(0, error_kg, len(at))
    minutes = pd.to_timedelta(5 * rng.integers(-6, 6, len(at)), unit="min")
    return pd.Series(weights.to_numpy(), pd.DatetimeIndex(at) + minutes)
