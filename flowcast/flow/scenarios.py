"""Runs of days ahead: weather that could come, and what the hive would gain in it.

The runs of weather (`weather.WeatherAhead`) start from today's soil water and today's warmth, so
that phenology goes on from where the season stands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.flow.days import Days, calendar, dates_of, day_number, month_mean
from flowcast.flow.fit import FlowModel, flight_days, from_scale
from flowcast.flow.household import drivers, step, use
from flowcast.numbers import Numbers
from flowcast.tables import Place
from flowcast.weather import (
    Normals,
    WeatherAhead,
    midwinter,
    pheno_day,
    phenological_lead,
    soil_water,
)


@dataclass(frozen=True)
class Future:
    """Weather ahead: `days` of shape (weathers, days) and where each run of weather is from.

    followed_d: for how many days each run follows a weather forecast before a past year takes
    over.
    """

    days: Days
    precip_mm: np.ndarray
    labels: tuple[str, ...]
    followed_d: np.ndarray

    @property
    def dates(self) -> pd.DatetimeIndex:
        """Local dates ahead."""
        return dates_of(self.days.time[0])


@dataclass(frozen=True)
class Scenarios:
    """Possible futures of the yard, each with its weather kept. Arrays (scenarios, days). [kg/d]

    copies: how many neighbouring rows were drawn for each future that was asked for; quantiles and
    chances are read off all rows, so that they hardly depend on the seed.
    """

    dates: pd.DatetimeIndex
    gain_kg: np.ndarray
    intake_kg: np.ndarray
    foraging_h: np.ndarray
    soil_frac: np.ndarray
    weather: np.ndarray
    labels: tuple[str, ...]
    followed_d: np.ndarray
    copies: int = 1

    def thinned(self) -> Scenarios:
        """One row of each future asked for."""
        per_row = ("gain_kg", "intake_kg", "foraging_h", "soil_frac", "weather", "followed_d")
        kept = {name: getattr(self, name)[:: self.copies] for name in per_row}
        return replace(self, **kept, copies=1)


def future_of(
    ahead: WeatherAhead, daily: pd.DataFrame, normals: Normals, place: Place, numbers: Numbers
) -> Future:
    """What the flow model needs of the runs of weather after `daily`."""
    dates, runs = ahead.dates, len(ahead.labels)
    soil = soil_water(
        ahead["precip_mm"], ahead["et0_mm"], numbers, start_frac=daily["soil_water_frac"].iloc[-1]
    )
    warmth = _warmth_on(dates, ahead["degree_days_cd"], daily["warmth_cd"].iloc[-1], place)
    leads = [phenological_lead(dates, row, normals, numbers) for row in warmth]
    season, day = calendar(dates, place)
    before = np.tile(daily["temp_mean_c"].iloc[-30:].to_numpy(float), (runs, 1))
    temp = ahead["temp_mean_c"]
    days = Days(
        time=np.tile(day_number(dates), (runs, 1)),
        season=np.tile(season, (runs, 1)),
        season_day=np.tile(day, (runs, 1)),
        pheno_day=np.array(
            [pheno_day(dates, lead, place.season_start, place, numbers) for lead in leads]
        ),
        foraging_h=ahead["foraging_h"],
        temp_c=temp,
        month_temp_c=month_mean(np.hstack([before, temp]))[:, -len(dates) :],
        soil_frac=np.asarray(soil),
    )
    return Future(days, ahead["precip_mm"], ahead.labels, ahead.followed_d)


def _warmth_on(dates, degree_days: np.ndarray, today: float, place: Place) -> np.ndarray:
    """Running warmth going on from today's, anew from midwinter."""
    total, out = np.full(len(degree_days), today), []
    fresh = [(date.month, date.day) == midwinter(place) for date in dates]
    for t, starts in enumerate(fresh):
        total = degree_days[:, t] + (0.0 if starts else total)
        out.append(total)
    return np.array(out).T


def simulate(
    model: FlowModel,
    future: Future,
    numbers: Numbers,
    rng: np.random.Generator,
    count: int,
    *,
    widen: float = 1.0,
) -> Scenarios:
    """Draw `count` futures, each a few times over: weather x season and drifts x use x noise.

    The spread of the latent season is widened a little, since the scales behind it are taken as
    known, with the mean intake kept (a wider spread alone would lift it on the way back from the
    transformed scale). `widen` is a further factor, for weather that is in doubt.
    """
    copies = int(numbers["flow.copies"])
    weather = np.sort(np.resize(np.arange(len(future.labels)), count * copies))
    mean, away = _paths(model, future, weather, rng)
    flying = flight_days(future.days, numbers)[weather]
    plain = np.where(flying, from_scale(mean + away), 0.0)
    tail = _tails(len(weather), numbers["flow.scenario_dof"], rng)[:, None]
    wide = np.where(flying, from_scale(mean + away * numbers["flow.widen"] * widen * tail), 0.0)
    kept = plain.mean(0) / np.maximum(wide.mean(0), 1e-9)
    intake = wide * np.minimum(kept, 1.0)
    gain = _gains(model, future, weather, intake, rng)
    return Scenarios(
        dates=future.dates,
        gain_kg=gain,
        intake_kg=intake,
        foraging_h=future.days.foraging_h[weather],
        soil_frac=future.days.soil_frac[weather],
        weather=weather,
        labels=future.labels,
        followed_d=future.followed_d[weather],
        copies=copies,
    )


def _paths(model: FlowModel, future: Future, weather: np.ndarray, rng: np.random.Generator):
    """Mean and departure of z for each scenario, days joined by their covariance."""
    horizon = len(future.days)
    mean, root = model.predict(future.days.flat())
    mean = mean.reshape(-1, horizon)
    normal = rng.standard_normal((len(weather), horizon))
    noise = _tails(normal.shape, model.prior.numbers["flow.noise_dof"], rng)
    noise *= rng.standard_normal(normal.shape) * model.noise_sd
    away = np.empty_like(normal)
    for s in range(len(future.labels)):
        rows = weather == s
        if rows.any():
            part = root[:, s * horizon : (s + 1) * horizon]
            away[rows] = normal[rows] @ _root(model, future.days, s, part).T
    return mean[weather], (away + noise) * model.spread


def _root(model: FlowModel, days: Days, s: int, seen: np.ndarray) -> np.ndarray:
    """Lower root of the covariance of one weather's days."""
    one = Days(*(getattr(days, name)[s] for name in days.__dataclass_fields__))
    z = model.prior.members(one)
    cov = model.prior.between(one, z, one, z) - seen.T @ seen
    values, vectors = np.linalg.eigh(cov)
    return vectors * np.sqrt(np.maximum(values, 0.0))


def _tails(shape, dof: float, rng: np.random.Generator) -> np.ndarray:
    """Factors that turn normal draws into Student-t draws of unit variance."""
    return np.sqrt((dof - 2.0) / rng.chisquare(dof, shape))


def _gains(
    model: FlowModel,
    future: Future,
    weather: np.ndarray,
    intake: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """The gain equation over every scenario, with the colony's use drawn once a scenario."""
    numbers = model.prior.numbers
    chill, brooding = drivers(future.days, numbers)
    coefficients = model.household.draw(len(intake), rng)
    scatter = rng.normal(0.0, numbers["flow.gain_sd_kg"], intake.shape)
    gain, stock = np.empty_like(intake), model.stock
    for t in range(intake.shape[1]):
        used = use(stock, chill[weather, t], brooding[weather, t], coefficients, numbers)
        gain[:, t] = intake[:, t] - used + scatter[:, t]
        stock = step(stock, intake[:, t], numbers)
    return gain
