"""Runs of days ahead: weather that could come, and what the hive would gain in it.

One set of scenarios serves everything that is read off the future. Beyond any weather forecast
the weather ahead is each past year's, from the same calendar date, started from today's soil
water and today's warmth, so that phenology goes on from where the season stands. A yard whose
weather holds no past year has only its last weeks to go by; they are laid end to end in every
order of time, and whoever shows the outlook says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.errors import NotEnoughDataError
from flowcast.flow.days import Days, calendar, dates_of, day_number, month_mean
from flowcast.flow.fit import FlowModel, flight_days, from_scale
from flowcast.flow.household import drivers, step, use
from flowcast.numbers import Numbers
from flowcast.tables import Place
from flowcast.weather import Normals, midwinter, pheno_day, phenological_lead, soil_water

LAST_WEEKS = "the last weeks"
NEEDED = ["temp_mean_c", "precip_mm", "et0_mm", "foraging_h", "degree_days_cd"]


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


def past_years_ahead(
    daily: pd.DataFrame, horizon: int, normals: Normals, place: Place, numbers: Numbers
) -> Future:
    """Each past year's weather from the date after `daily` ends, for `horizon` days.

    Neighbouring starts (a few days earlier and later) of the same year stand for weather that
    would have been as likely on these dates. Without any whole past year: the last weeks.

    Raises
    ------
    NotEnoughDataError
        When there are not even two whole weeks of weather.
    """
    runs, labels = _past_runs(daily, horizon, numbers)
    return _future(runs, labels, daily, normals, place, numbers)


def forecast_ahead(
    daily: pd.DataFrame,
    members: list[pd.DataFrame],
    is_point: bool,
    horizon: int,
    normals: Normals,
    place: Place,
    numbers: Numbers,
) -> Future:
    """Members of a weather forecast, each handed over to a past year on a day of its own.

    Parameters
    ----------
    members : list of DataFrame
        Daily weather from the day after `daily` ends; columns as of `daily`.
    is_point : bool
        The members are one run, which says nothing of its uncertainty: some of them leave it soon,
        as often as such forecasts lose the weather (flow.point_half_d). An ensemble is followed
        to flow.join_from_d at least; from there on its members leave one by one, so that the
        spread of past years takes over without a jump.
    """
    past, labels = _past_runs(daily, horizon, numbers)
    count = max(len(members), len(past), int(numbers["flow.forecast_runs"]))
    leave = _leaving_days(members, is_point, count, numbers)
    # Strides without a common factor, so that members, past years and days of leaving mix.
    own = [members[k % len(members)] for k in range(count)]
    then = [(k * 7 + k // len(past)) % len(past) for k in range(count)]
    runs = [
        _handed_over(member, past[p], int(days), horizon)
        for member, p, days in zip(own, then, leave, strict=True)
    ]
    future = _future(runs, [labels[p] for p in then], daily, normals, place, numbers)
    return replace(future, followed_d=np.minimum(leave, horizon))


def _leaving_days(members, is_point: bool, count: int, numbers: Numbers) -> np.ndarray:
    """After how many days each run leaves the forecast, spread evenly over their distribution."""
    lengths = np.array([len(members[k % len(members)]) for k in range(count)])
    share = (np.argsort(np.argsort(np.arange(count) * 0.6180339887 % 1)) + 0.5) / count
    if is_point:
        days = numbers["flow.point_half_d"] * np.sqrt(-np.log2(share))
    else:
        first = np.minimum(numbers["flow.join_from_d"], lengths)
        days = first + share * (lengths - first)
    return np.clip(np.round(days), 1, lengths).astype(int)


def _handed_over(member: pd.DataFrame, past: dict, days: int, horizon: int) -> dict:
    """So many days of the member, then the past year from the same date on."""
    days = min(days, horizon)
    return {name: np.r_[member[name].to_numpy(float)[:days], past[name][days:]] for name in NEEDED}


def _past_runs(daily: pd.DataFrame, horizon: int, numbers: Numbers) -> tuple[list[dict], list[str]]:
    start = daily.index[-1] + pd.Timedelta(days=1)
    shift = int(numbers["flow.start_shift_d"])
    runs, labels = [], []
    for years_ago in range(1, start.year - daily.index[0].year + 1):
        for days_off in (-shift, 0, shift) if shift else (0,):
            first = start - pd.DateOffset(years=years_ago) + pd.Timedelta(days=days_off)
            run = _run(daily, daily.index.get_indexer([first])[0], horizon)
            if run is not None:
                runs.append(run)
                labels.append(str(start.year - years_ago))
    if not runs:
        runs = _last_weeks(daily, horizon, int(numbers["flow.last_weeks_d"]))
        labels = [LAST_WEEKS] * len(runs)
    return runs, labels


def known_ahead(
    daily: pd.DataFrame, ahead: pd.DataFrame, normals: Normals, place: Place, numbers: Numbers
) -> Future:
    """The weather ahead as it truly came: for judging the model apart from the weather."""
    run = {name: ahead[name].to_numpy(float) for name in NEEDED}
    return _future([run], ["as it came"], daily, normals, place, numbers)


def _run(daily: pd.DataFrame, first: int, horizon: int) -> dict | None:
    """`horizon` days of columns from this position; None when they are not whole."""
    if first < 0 or first + horizon > len(daily):
        return None
    part = daily.iloc[first : first + horizon]
    run = {name: part[name].to_numpy(float) for name in NEEDED}
    return run if all(np.isfinite(run[name]).all() for name in NEEDED) else None


def _last_weeks(daily: pd.DataFrame, horizon: int, most: int) -> list[dict]:
    """The last whole days of weather, repeated over the horizon from each of several starts."""
    whole = daily[NEEDED].notna().all(axis=1).to_numpy()
    length = min(most, int(np.argmin(np.r_[whole[::-1], False])))
    recent = _run(daily, len(daily) - length, length) if length >= 14 else None
    if recent is None:
        raise NotEnoughDataError(
            f"the weather before {daily.index[-1] + pd.Timedelta(days=1):%Y-%m-%d} holds no past year and not "
            "even two whole weeks. Give at least two years of it."
        )
    starts = range(0, length, max(1, length // 15))
    order = [(start + np.arange(horizon)) % length for start in starts]
    return [{name: values[days] for name, values in recent.items()} for days in order]


def _future(
    runs, labels, daily: pd.DataFrame, normals: Normals, place: Place, numbers: Numbers
) -> Future:
    horizon = len(runs[0]["precip_mm"])
    dates = pd.date_range(daily.index[-1] + pd.Timedelta(days=1), periods=horizon)
    column = {name: np.array([run[name] for run in runs]) for name in NEEDED}
    soil = soil_water(
        column["precip_mm"], column["et0_mm"], numbers, start_frac=daily["soil_water_frac"].iloc[-1]
    )
    warmth = _warmth_on(dates, column["degree_days_cd"], daily["warmth_cd"].iloc[-1], place)
    leads = [phenological_lead(dates, row, normals, numbers) for row in warmth]
    season, day = calendar(dates, place)
    before = np.tile(daily["temp_mean_c"].iloc[-30:].to_numpy(float), (len(runs), 1))
    temp = column["temp_mean_c"]
    days = Days(
        time=np.tile(day_number(dates), (len(runs), 1)),
        season=np.tile(season, (len(runs), 1)),
        season_day=np.tile(day, (len(runs), 1)),
        pheno_day=np.array(
            [pheno_day(dates, lead, place.season_start, place, numbers) for lead in leads]
        ),
        foraging_h=column["foraging_h"],
        temp_c=temp,
        month_temp_c=month_mean(np.hstack([before, temp]))[:, -horizon:],
        soil_frac=np.asarray(soil),
    )
    return Future(days, column["precip_mm"], tuple(labels), np.zeros(len(runs), int))


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
