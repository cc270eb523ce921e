"""Hourly weather for an invented place: spells, fronts, storms and what hangs together in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.signal import lfilter
from scipy.special import expit, logit

from simulator.climates import YEAR_D, Climate, northern_day
from simulator.sun import clear_sky_hours, day_length

DIGITS = {
    "temp_c": 1,
    "rh_pct": 0,
    "precip_mm": 1,
    "wind_ms": 1,
    "ghi_wm2": 0,
    "cloud_pct": 0,
}


@dataclass(frozen=True)
class Site:
    """A spot and its clock: `clock_h` is the local standard clock less UTC, the year round. [h]"""

    latitude: float
    longitude: float
    elevation_m: float = 100.0
    clock_h: float = 0.0


@dataclass(frozen=True)
class Tale:
    """A stretch of local days that is to be out of the ordinary.

    Attributes
    ----------
    begins, ends : str
        First and last day.
    wetter : float
        Factor on the chance of rain; above 1 the rain also comes in fronts rather than storms.
    warmer_c : float
        Degrees warmer (colder: negative). [K]
    """

    begins: str
    ends: str
    wetter: float = 1.0
    warmer_c: float = 0.0


@dataclass(frozen=True)
class _Days:
    """Daily skeleton of the weather; every array has one value a local day."""

    day_of_year: np.ndarray
    season_day: np.ndarray  # day of the northern year with the same season
    wet: np.ndarray
    stormy: np.ndarray
    temp_mean_c: np.ndarray
    range_c: np.ndarray
    cloud_logit: np.ndarray
    dew_c: np.ndarray
    wind_ms: np.ndarray


def ar_noise(rng: np.random.Generator, n: int, memory: float, sd: float = 1.0) -> np.ndarray:
    """Gaussian noise of mean 0 whose correlation falls to 1/e over `memory` steps.

    Returns
    -------
    ndarray, shape (n,)
        Stationary from the first value on.
    """
    keep = np.exp(-1 / memory)
    shocks = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    start = keep * rng.standard_normal()
    return sd * lfilter([1], [1, -keep], shocks, zi=[start])[0]


def ar_after(
    before: float, rng: np.random.Generator, n: int, memory: float, sd: float = 1.0
) -> np.ndarray:
    """The noise of `ar_noise` over the n steps after one on which it was `before`."""
    keep = np.exp(-1 / memory)
    shocks = sd * rng.standard_normal(n) * np.sqrt(1 - keep**2)
    return before * keep ** np.arange(1, n + 1) + lfilter([1], [1, -keep], shocks)


def make_weather(
    climate: Climate,
    site: Site,
    first: str,
    last: str,
    rng: np.random.Generator,
    *,
    tales: tuple[Tale, ...] = (),
) -> pd.DataFrame:
    """Hourly weather of the local days from `first` to `last`.

    Parameters
    ----------
    climate : Climate
        What the weather is like there.
    site : Site
        Where, and on which clock the days are counted.
    first, last : str
        Local dates, both included.
    rng : numpy.random.Generator
        The only source of chance.
    tales : tuple of Tale, optional
        Seasons that are to be out of the ordinary.

    Returns
    -------
    DataFrame
        Columns temp_c, rh_pct, precip_mm, wind_ms, ghi_wm2, cloud_pct on UTC stamps that mark the
        END of their hour, rounded to the digits a service would give.
    """
    dates = pd.date_range(first, last)
    days = _make_days(climate, site, dates, tales, rng)
    rain = _hourly_rain(climate, days, rng)
    clear = clear_sky_hours(days.day_of_year, site.latitude, site.longitude / 15 - site.clock_h)
    cloud = _hourly_cloud(days, rain, rng)
    temp = _hourly_temp(days, rain, rng)
    columns = {
        "temp_c": temp,
        "rh_pct": _hourly_humidity(days, temp, rain, rng),
        "precip_mm": rain,
        "wind_ms": _hourly_wind(days, rain, rng),
        # A. Kasten and G. Czeplak, Solar Energy 24, 1980: 1 - 0.75 cloud^3.4 (from memory).
        "ghi_wm2": clear.ravel() * (1 - 0.75 * cloud**3.4),
        "cloud_pct": 100 * cloud,
    }
    start = dates[0] + pd.Timedelta(hours=1) - pd.Timedelta(hours=site.clock_h)
    index = pd.date_range(start, periods=24 * len(dates), freq="h", tz="UTC", name="time_utc")
    table = pd.DataFrame(columns, index=index)
    return table.round(DIGITS) + 0.0  # + 0.0 turns the -0.0 of rounding into 0.0


def _make_days(
    climate: Climate,
    site: Site,
    dates: pd.DatetimeIndex,
    tales: tuple[Tale, ...],
    rng: np.random.Generator,
) -> _Days:
    day_of_year = dates.dayofyear.to_numpy(float)
    season_day = northern_day(day_of_year, site.latitude)
    share = climate.wet_share_on(season_day)
    told, warmer = _told(tales, dates)
    wet = _wet_days(climate, share * told, rng)
    # A season told as wet is one of fronts and dull days rather than of more storms.
    showers = climate.of_season(climate.showers, season_day) / np.maximum(told, 1) ** 2
    stormy = wet & (rng.random(len(dates)) < showers)
    temp = _daily_temp(climate, season_day, wet - share, rng) + warmer
    cloud_logit = _daily_cloud(climate, season_day, wet, stormy, rng)
    range_c = _daily_range(climate, season_day, cloud_logit, wet & ~stormy, rng)
    return _Days(
        day_of_year=day_of_year,
        season_day=season_day,
        wet=wet,
        stormy=stormy,
        temp_mean_c=temp,
        range_c=range_c,
        cloud_logit=cloud_logit,
        dew_c=_daily_dew(climate, season_day, temp - 0.5 * range_c, wet, rng),
        wind_ms=_daily_wind(climate, season_day, wet & ~stormy, rng),
    )


def _told(tales: tuple[Tale, ...], dates: pd.DatetimeIndex) -> tuple[np.ndarray, np.ndarray]:
    """Factor on the chance of rain and degrees warmer, of each day."""
    wetter, warmer = np.ones(len(dates)), np.zeros(len(dates))
    for tale in tales:
        during = (dates >= tale.begins) & (dates <= tale.ends)
        wetter[during], warmer[during] = tale.wetter, tale.warmer_c
    return wetter, warmer


def _rain_anomaly(climate: Climate, n: int, rng: np.random.Generator) -> np.ndarray:
    """Factor on the chance of rain, mean about 1: slow wander, and droughts of months."""
    wander = np.exp(ar_noise(rng, n, 45.0, 0.30) - 0.5 * 0.30**2)
    drought = np.ones(n)
    for start in np.flatnonzero(rng.random(n) < climate.droughts_a_year / YEAR_D):
        length = int(rng.gamma(4.0, 32.0))
        depth = rng.uniform(0.35, 0.65)
        drought[start : start + length] = np.minimum(drought[start : start + length], depth)
    # What droughts take on average is given back, so that the mean share stays as asked.
    taken = 1 - np.exp(-climate.droughts_a_year * 128 / YEAR_D)
    return wander * drought / (1 - taken * (1 - 0.5))


def _wet_days(climate: Climate, share: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A two-state chain whose long-run share of wet days is `share`, in spells."""
    chance = np.clip(share * _rain_anomaly(climate, len(share), rng), 0, 0.93)
    draws = rng.random(len(share))
    wet = np.zeros(len(share), bool)
    before = draws[0] < chance[0]
    for i, p in enumerate(chance):
        after_wet, after_dry = p + climate.wet_memory * (1 - p), p * (1 - climate.wet_memory)
        before = draws[i] < (after_wet if before else after_dry)
        wet[i] = before
    return wet


def _daily_temp(
    climate: Climate, season_day: np.ndarray, wetter: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Daily mean: the season's course, spells of days, of weeks, and warm or cold years. [°C]"""
    n = len(season_day)
    fast = ar_noise(rng, n, 4.0) * climate.of_season(climate.anomaly_sd_c, season_day)
    slow = ar_noise(rng, n, 25.0, 0.9)
    years = rng.normal(0, 0.5, n // 365 + 3)
    yearly = np.interp(np.arange(n), 365.25 * np.arange(len(years)), years)
    cooling = climate.of_season((0.0, climate.rain_cooling_c), season_day) * wetter
    return climate.mean_course(season_day) + fast + slow + yearly - cooling


def _daily_cloud(
    climate: Climate,
    season_day: np.ndarray,
    wet: np.ndarray,
    stormy: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Logit of the day's cloud; a front fills the sky, a storm day has its clear hours."""
    dry = logit(climate.of_season(climate.cloud_dry, season_day))
    noise = ar_noise(rng, len(season_day), 1.5, 1.1)
    return dry + noise + np.where(stormy, 0.5, np.where(wet, 3.3, 0.0))


def _daily_range(
    climate: Climate,
    season_day: np.ndarray,
    cloud_logit: np.ndarray,
    front: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    base = climate.of_season(climate.daily_range_c, season_day)
    noise = np.exp(0.15 * rng.standard_normal(len(base)))
    return base * noise * (1.2 - 0.5 * expit(cloud_logit)) * np.where(front, 0.7, 1.0)


def _daily_dew(
    climate: Climate,
    season_day: np.ndarray,
    lowest_c: np.ndarray,
    wet: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Dew point: below the night's lowest, nearer to it in wet spells and on wet days. [°C]"""
    lately = lfilter([1 / 15], [1, -14 / 15], wet.astype(float))
    drop = climate.of_season(climate.dew_drop_c, season_day) * (1.5 - lately)
    return lowest_c - drop * np.where(wet, 0.15, 1.0) + ar_noise(rng, len(wet), 2.0, 1.1)


def _daily_wind(
    climate: Climate, season_day: np.ndarray, front: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    base = climate.of_season(climate.wind_ms, season_day)
    gusty = np.exp(ar_noise(rng, len(base), 1.8, 0.35) - 0.5 * 0.35**2)
    return base * gusty * np.where(front, 1.35, 0.95)


def _hourly_rain(climate: Climate, days: _Days, rng: np.random.Generator) -> np.ndarray:
    """Rain of each hour: one or a few events a wet day, each of some hours, in uneven bursts. [mm]"""
    n = len(days.wet)
    mean_mm = climate.of_season(climate.wet_day_mm, days.season_day)
    hours = np.zeros(24 * n + 48)
    for day in np.flatnonzero(days.wet):
        total = 0.4 + rng.gamma(0.75, max(mean_mm[day] - 0.4, 0.2) / 0.75)
        storm = days.stormy[day]
        events = 1 + rng.poisson(0.3 if storm else 0.8)
        shares = rng.dirichlet(np.full(events, 1.5))
        for share in shares:
            _add_event(hours, 24 * day, share * total, storm, rng)
    return hours[: 24 * n]


def _add_event(
    hours: np.ndarray, midnight: int, mm: float, storm: bool, rng: np.random.Generator
) -> None:
    """One shower or spell of rain onto the hours, starting on its day."""
    start = int(np.clip(rng.normal(16, 2.5), 0, 23)) if storm else int(rng.integers(0, 24))
    longest = 1 + int(mm / 0.3)  # less than 0.3 mm an hour is no rain event but fog
    length = min(1 + (rng.poisson(1.0) if storm else rng.geometric(0.14)), longest)
    weights = rng.gamma(1.2, 1.0, length) + 0.02
    hours[midnight + start : midnight + start + length] += mm * weights / weights.sum()


def _repeat(daily: np.ndarray) -> np.ndarray:
    return np.repeat(daily, 24)


def _joined(daily: np.ndarray) -> np.ndarray:
    """Daily values drawn as one line through the noons, read at every hour."""
    noon = 24.0 * np.arange(len(daily)) + 12
    return np.interp(np.arange(24 * len(daily)) + 0.5, noon, daily)


def _spread(rain: np.ndarray, before: int, after: int) -> np.ndarray:
    """1 in hours with rain and near them, 0 elsewhere."""
    kernel = np.ones(before + after + 1)
    near = np.convolve(rain > 0, kernel)[before : before + len(rain)]
    return (near > 0).astype(float)


def _hourly_cloud(days: _Days, rain: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Cloud of each hour, 0 to 1: full while it rains, broken on the rest of a storm day."""
    near = _spread(rain, 2, 2) * 1.8 + 2.2 * (rain > 0)
    noise = ar_noise(rng, len(rain), 5.0, 0.8)
    return expit(_repeat(days.cloud_logit) + noise + near)


def _hourly_temp(days: _Days, rain: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Daily mean and range as a course with its lowest near sunrise, storms cooling it. [°C]"""
    hour = np.tile(np.arange(24) + 0.5, len(days.wet))
    turn = 2 * np.pi / 24
    shape = 0.46 * np.cos(turn * (hour - 15.0)) + 0.09 * np.cos(2 * turn * (hour - 14.0))
    burst = np.where(_repeat(days.stormy), np.minimum(np.sqrt(rain), 3.0), 0.0)
    cooled = lfilter([1], [1, -np.exp(-1 / 3)], burst)
    noise = ar_noise(rng, len(rain), 4.0, 0.5)
    return _joined(days.temp_mean_c) + _joined(days.range_c) * shape - 0.9 * cooled + noise


def vapour_pressure(temp_c: np.ndarray) -> np.ndarray:
    """Saturation vapour pressure over water. [kPa]  (FAO-56, eq. 11)"""
    return 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))


def _hourly_humidity(
    days: _Days, temp: np.ndarray, rain: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    dew = _joined(days.dew_c) + ar_noise(rng, len(temp), 6.0, 0.6)
    wetted = lfilter([1], [1, -np.exp(-1 / 2.5)], (rain > 0).astype(float))
    pull = np.clip(wetted, 0, 1) * 0.8
    dew = np.minimum(dew, temp - 0.1)
    dew = dew + pull * (temp - 0.5 - dew)
    return np.clip(100 * vapour_pressure(dew) / vapour_pressure(temp), 8, 100)


def _hourly_wind(days: _Days, rain: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Wind with its afternoon rise and calm nights, and the gusts that storms throw out. [m/s]"""
    hour = np.tile(np.arange(24) + 0.5, len(days.wet))
    course = 0.72 + 0.56 * np.exp(-0.5 * ((hour - 14.5) / 3.6) ** 2)
    gusts = np.where(_repeat(days.stormy) & (rain > 0), rng.gamma(2.0, 1.6, len(rain)), 0.0)
    return _joined(days.wind_ms) * course * np.exp(ar_noise(rng, len(rain), 3.0, 0.22)) + gusts


def local_days(weather: pd.DataFrame, site: Site) -> pd.DataFrame:
    """Daily drivers of plants and bees on local dates.

    Returns
    -------
    DataFrame
        temp_mean_c, temp_max_c, temp_min_c, precip_mm, rh_pct, ghi_wm2 (mean of 24 h), et_mm,
        day_length_h, day_of_year, season_day; index of naive local dates.
    """
    # A stamp marks the end of its hour: the hour to midnight belongs to the day before.
    local = weather.index.tz_localize(None) + pd.Timedelta(hours=site.clock_h - 1)
    by_day = weather.groupby(local.normalize())
    days = by_day.agg(
        temp_mean_c=("temp_c", "mean"),
        temp_max_c=("temp_c", "max"),
        temp_min_c=("temp_c", "min"),
        precip_mm=("precip_mm", "sum"),
        rh_pct=("rh_pct", "mean"),
        ghi_wm2=("ghi_wm2", "mean"),
    )
    days.index.name = "date"
    doy = days.index.dayofyear.to_numpy(float)
    # G. H. Hargreaves' radiation form: 0.0135 (T + 17.8) Rs, Rs in mm of water (from memory).
    water_mm = days["ghi_wm2"] * 0.0864 / 2.45
    days["et_mm"] = (0.0135 * (days["temp_mean_c"] + 17.8).clip(lower=0) * water_mm).clip(lower=0)
    days["day_length_h"] = day_length(doy, site.latitude)
    days["day_of_year"] = doy
    days["season_day"] = northern_day(doy, site.latitude)
    return days
