"""Runs of days ahead: weather that could come, and what the hive would gain in it.

The runs of weather (`weather.WeatherAhead`) start from today's soil water and today's warmth, so
that phenology goes on from where the season stands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from flowcast.flow.days import (
    Days,
    calendar,
    dates_of,
    day_number,
    month_mean,
    washed_by,
)
from flowcast.flow.fit import FlowModel
from flowcast.flow.household import (
    N_COEFFICIENTS,
    drivers,
    level_memory,
    recurring,
    step,
    swing,
    use,
)
from flowcast.flow.latent import Members, flight_days, from_scale
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
    chances are read off all rows, so that they hardly depend on the seed. more_use_kg: what each
    future's colony uses beyond the middle of what is known of its use, less what it has therefore
    carried in more; None where not kept.
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
    more_use_kg: np.ndarray | None = None

    def thinned(self) -> Scenarios:
        """One row of each future asked for; copied, so that the others' memory can go."""
        per_row = ("gain_kg", "intake_kg", "foraging_h", "soil_frac", "weather", "followed_d")
        kept = {name: getattr(self, name)[:: self.copies].copy() for name in per_row}
        more = None if self.more_use_kg is None else self.more_use_kg[:: self.copies].copy()
        return replace(self, **kept, more_use_kg=more, copies=1)


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
    rain = np.hstack([np.full((runs, 1), daily["precip_mm"].iloc[-1]), ahead["precip_mm"]])
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
        washed=washed_by(rain[:, :-1], numbers),
        showered=washed_by(rain[:, 1:], numbers),
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
    daily_d: int | None = None,
    copies: int | None = None,
) -> Scenarios:
    """Draw `count` futures, each a few times over: weather x season and drifts x use x noise.

    The spread of the latent season is widened a little, since the scales behind it are taken as
    known, with the mean intake kept (a wider spread alone would lift it on the way back from the
    transformed scale). `widen` is a further factor, for weather that is in doubt.

    Beyond `daily_d` days, when given, the latent season is reckoned on one flying day a week, which
    stands for the week's others; noise, flight and use stay daily. Nine months then cost little
    more than six weeks, and totals over weeks hardly change. `copies` other than flow.copies may be
    drawn where no single day's quantiles are wanted.
    """
    copies = copies or int(numbers["flow.copies"])
    weather = np.sort(np.resize(np.arange(len(future.labels)), count * copies))
    daily_d = len(future.days) if daily_d is None else daily_d
    used = model.household.draw(len(weather), rng)
    flying = flight_days(future.days, numbers)[weather]
    widen *= _widening(model, numbers)
    paths = _paths(model, future, weather, used, rng, daily_d)
    stray = _strayed(flying.shape, _straying(model, numbers), numbers, rng)
    intake, usual = _intakes(*paths, flying, widen, stray, numbers, rng)
    del paths  # large, and of no further use
    gain, more = _gains(model, future, weather, intake, used, rng)
    more -= intake - usual  # what it uses more, it has carried in more
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
        more_use_kg=more,
    )


def _intakes(
    mean: np.ndarray,
    more: np.ndarray,
    away: np.ndarray,
    flying: np.ndarray,
    widen: float,
    stray: np.ndarray,
    numbers: Numbers,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Intake of every scenario, and had its colony used the middle of what is known; the spread
    widened and the mean kept, each flow strayed. What `_paths` found is used up. [kg/d]"""
    plain = np.where(flying, from_scale(mean + away), 0.0).mean(0)
    away *= widen * _tails(len(away), numbers["flow.scenario_dof"], rng)[:, None]
    mean += away
    usual = _held_to(plain, np.where(flying, from_scale(mean), 0.0))
    mean += more
    intake = _held_to(plain, np.where(flying, from_scale(mean), 0.0))
    return stray * intake, stray * usual


def _strayed(
    shape: tuple[int, int], spread: float, numbers: Numbers, rng: np.random.Generator
) -> np.ndarray:
    """By which factor the flow of each scenario strays, day by day, from what its season promises.

    It starts at 1 on the issue date, when the log has just told how good the flow is, and its logarithm
    spreads in `flow.stray_d` days to this spread. What the latent season adds on a transformed
    scale is as wide in a dearth as in a flow; whether a flow goes on as promised is a doubt about the
    flow alone, and nothing times any factor stays nothing. Of what straying adds to the mean a share
    (`flow.stray_held`) is taken back.
    """
    keep = np.exp(-1.0 / numbers["flow.stray_d"])
    variance = spread**2 * (1.0 - keep ** (2.0 * np.arange(1, shape[1] + 1)))
    steps = spread * np.sqrt(1.0 - keep**2) * rng.standard_normal(shape)
    away = lfilter([1.0], [1.0, -keep], steps, axis=1)
    return np.exp(away - numbers["flow.stray_held"] * variance / 2.0)


def _held_to(mean_kg: np.ndarray, intake_kg: np.ndarray) -> np.ndarray:
    """Intake of every scenario, shrunk where a wider spread has lifted the mean of all. [kg/d]"""
    return intake_kg * np.minimum(mean_kg / np.maximum(intake_kg.mean(0), 1e-9), 1.0)


def _widening(model: FlowModel, numbers: Numbers) -> float:
    """How much wider the latent season is drawn: the more a log has told, the more rests on scales that
    are taken as known; without one the prior's own draws hold all that is not known."""
    seasons = _seasons_told(model)  # what other yards told rests on the same scales
    told = seasons / (seasons + numbers["flow.widen_seasons"])
    return 1.0 + (numbers["flow.widen"] - 1.0) * told


def _straying(model: FlowModel, numbers: Numbers) -> float:
    """How far a flow may stray weeks ahead, as a spread of its logarithm: the less, the more seasons have
    shown what such a flow brings."""
    shown = _seasons_told(model) / numbers["flow.stray_seasons"]
    return numbers["flow.stray_sd"] / np.sqrt(1.0 + shown)


def _seasons_told(model: FlowModel) -> float:
    """Seasons of log, those of other yards that were learned from included."""
    return model.seasons + sum(model.learned)


def _paths(
    model: FlowModel,
    future: Future,
    weather: np.ndarray,
    used: np.ndarray,
    rng: np.random.Generator,
    daily_d: int,
):
    """Mean of z for each scenario, what its colony's use adds to that, and its departure, days joined by
    their covariance.

    What a scale saw is what came in less what was used: a colony that uses more than thought has
    carried in more.
    """
    nodes, node_of = _nodes(future.days, daily_d, model.prior.numbers)
    normal = rng.standard_normal((len(weather), len(nodes)))
    noise = _tails((len(weather), len(node_of)), model.prior.numbers["flow.noise_dof"], rng)
    noise *= rng.standard_normal(noise.shape) * model.prior.scales.noise
    mean, away = np.empty_like(nodes.time), normal
    off = used - model.household.states
    more = np.empty_like(away)
    for s in range(len(future.labels)):  # one at a time: all at once take most of the memory
        one = Days(*(getattr(nodes, name)[s] for name in nodes.__dataclass_fields__))
        members = model.prior.members(one)
        mean[s], removed = model.predict(one, members)
        rows = weather == s
        if rows.any():
            more[rows] = off[rows] @ (removed.T @ model.if_used).T
            away[rows] = normal[rows] @ _root(model, one, members, removed).T
    return mean[weather][:, node_of], more[:, node_of], (away[:, node_of] + noise) * model.spread


def _nodes(days: Days, daily_d: int, numbers: Numbers) -> tuple[Days, np.ndarray]:
    """The days on which the latent season is reckoned, and which of them each day takes.

    Up to `daily_d` every day; then one a week, the flying day with the middle foraging hours.
    """
    horizon = len(days)
    if daily_d >= horizon:
        return days, np.arange(horizon)
    weeks = [np.arange(d, min(d + 7, horizon)) for d in range(daily_d, horizon, 7)]
    hours = np.where(flight_days(days, numbers), days.foraging_h, np.nan)
    chosen = [np.tile(np.arange(daily_d), (len(hours), 1))]
    chosen += [week[_middle(hours[:, week])][:, None] for week in weeks]
    index = np.hstack(chosen)
    columns = (getattr(days, name) for name in days.__dataclass_fields__)
    node_of = np.r_[
        np.arange(daily_d), np.repeat(daily_d + np.arange(len(weeks)), [len(w) for w in weeks])
    ]
    return Days(*(np.take_along_axis(column, index, axis=1) for column in columns)), node_of


def _middle(values: np.ndarray) -> np.ndarray:
    """Position of each row's median among what is known in it; the first where nothing is."""
    known = np.isfinite(values).sum(1)
    order = np.argsort(values, axis=1)  # NaN last
    return np.take_along_axis(order, np.maximum(known - 1, 0)[:, None] // 2, axis=1)[:, 0]


def _root(model: FlowModel, days: Days, z: Members, removed: np.ndarray) -> np.ndarray:
    """Lower root of the covariance of one weather's days, of which the log removes a part."""
    cov = model.prior.between(days, z, days, z) - removed.T @ removed
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
    used: np.ndarray,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """The gain equation over every scenario, with the colony's use as drawn for it and drifting on; and
    by how much that use lies over the middle one."""
    numbers, home = model.prior.numbers, model.household
    chill, brooding = drivers(future.days, numbers)
    coefficients, course, level = np.split(used, [N_COEFFICIENTS, -1], axis=1)
    middle = coefficients.mean(axis=0)  # of what was drawn, none of it below its least value
    levels = _drifting(level[:, 0], intake.shape[1], home.strays[-1], numbers, rng)
    strays, waves = swing(brooding, numbers)[weather], recurring(future.days, numbers)
    scatter = rng.normal(0.0, numbers["flow.use_frac_sd"] * home.size_kg, intake.shape) * strays
    gain, more, stock = np.empty_like(intake), np.empty_like(intake), model.stock
    for t in range(intake.shape[1]):
        met = (stock, chill[weather, t], brooding[weather, t])
        wave = waves[:, weather, t].T
        eaten = use(*met, coefficients, numbers) + (course * wave).sum(axis=1)
        eaten += levels[t] * strays[:, t]
        usual = use(*met, middle, numbers) + wave @ home.course
        usual += home.level * level_memory(numbers) ** t * strays[:, t]
        more[:, t] = eaten - usual
        gain[:, t] = intake[:, t] - eaten + scatter[:, t]
        stock = step(stock, intake[:, t], numbers)
    return gain, more


def _drifting(level: np.ndarray, days: int, sd_kg: float, numbers: Numbers, rng) -> np.ndarray:
    """The level of each scenario day by day, from today's back towards 0 with this spread.

    Shape (days, scenarios).
    """
    fade, levels = level_memory(numbers), np.empty((days, len(level)))
    shocks = rng.normal(0.0, sd_kg * np.sqrt(1.0 - fade**2), levels.shape)
    for t in range(days):
        levels[t] = level
        level = fade * level + shocks[t]
    return levels
