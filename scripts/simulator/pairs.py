"""Two yards of one keeper, some kilometres apart: much in common, much of their own.

Weather comes from one sky, made warmer or colder by height, with showers that miss one of them. Most
plants grow at both, with the same clocks and partly the same luck of the year; some grow at one alone.
Colonies, their strength and what the keeper does to them are each yard's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from simulator import flight, flora, keeper, weather
from simulator.climates import Climate
from simulator.flora import Crop
from simulator.sun import clear_sky_hours
from simulator.weather import Site, ar_noise
from simulator.yards import World

LAPSE_C_M = 0.0065  # standard atmosphere
NEAR_KM, FAR_KM, HEIGHT_M = 2.0, 8.0, 300.0
MISSED = 0.15  # share of the days with rain that stay dry at the other yard
LOST = 0.2  # share of the plants of one that do not grow at the other
OWN_YEAR_SD = 0.25  # of a plant's amount from year to year, beyond what both share
OWN_SHIFT_SD_D = 2.5  # of a plant's dates, for slope and soil
OWN_SIZE_SD, OWN_RICH_SD = 0.4, 0.3
SHARED_SHOCK = 0.6  # correlation of what good and bad days do to the nectar


@dataclass(frozen=True)
class Pair:
    """Two worlds, and what lies between them."""

    first: World
    second: World
    distance_km: float
    height_m: float


def make_pair(
    climate: Climate,
    site: Site,
    mechanism: str,
    hives: list[str],
    span: tuple[str, str],
    rng: np.random.Generator,
    *,
    unrelated: bool = False,
) -> Pair:
    """A yard and its neighbour. unrelated: their plants have nothing in common."""
    sky, soil, bees, other_bees = rng.spawn(4)
    km, height = float(rng.uniform(NEAR_KM, FAR_KM)), float(rng.uniform(-HEIGHT_M, HEIGHT_M))
    site = replace(site, elevation_m=round(float(rng.uniform(350, 600))))
    there = _moved(site, km, height, rng)
    hourly = weather.make_weather(climate, site, *span, sky)
    other = _other_weather(hourly, there, there.elevation_m - site.elevation_m, sky)
    days, other_days = _days(hourly, site), _days(other, there)
    pair = _floras(mechanism, climate, days, other_days, soil, unrelated)
    worlds = (
        _world(climate, *place, grown, hives, chance)
        for place, grown, chance in zip(
            ((site, hourly, days), (there, other, other_days)),
            pair,
            (bees, other_bees),
            strict=True,
        )
    )
    return Pair(*worlds, km, there.elevation_m - site.elevation_m)


def _moved(site: Site, km: float, height_m: float, rng: np.random.Generator) -> Site:
    turn = rng.uniform(0, 2 * np.pi)
    north, east = km * np.cos(turn) / 111.2, km * np.sin(turn) / 111.2
    return replace(
        site,
        latitude=round(site.latitude + north, 4),
        longitude=round(east / np.cos(np.radians(site.latitude)), 4),
        elevation_m=round(site.elevation_m + height_m),
    )


def _days(hourly: pd.DataFrame, site: Site) -> pd.DataFrame:
    days = weather.local_days(hourly, site)
    return days.assign(flight_h=flight.hour_fitness(hourly).reshape(-1, 24).sum(axis=1))


def _world(climate, site, hourly, days, grown, hives, rng) -> World:
    runs = keeper.run_yard(hives, days, grown.nectar_kg, keeper.habits_for(climate, rng), rng)
    return World(climate, site, hourly, flight.hour_fitness(hourly), days, grown, runs)


# ---- the sky ---------------------------------------------------------------------------------


def _other_weather(
    hourly: pd.DataFrame, site: Site, height_m: float, rng: np.random.Generator
) -> pd.DataFrame:
    """The same weather some kilometres on: by height, with air and showers a little of its own."""
    n = len(hourly) // 24

    def daily(values: np.ndarray) -> np.ndarray:
        return np.repeat(values, 24)

    missed = daily(rng.random(n) < MISSED)
    more = daily(np.exp(rng.normal(0, 0.4, n) - 0.08)) / (1 - MISSED)
    rain = np.where(missed, 0.0, hourly["precip_mm"] * more)
    wet = missed & (hourly["precip_mm"] > 0).groupby(hourly.index.floor("D")).transform("any")
    day_of_year = pd.date_range(hourly.index[0].normalize(), periods=n).dayofyear.to_numpy(float)
    clear = clear_sky_hours(day_of_year, site.latitude, site.longitude / 15 - site.clock_h).ravel()
    brighter = np.where(wet, 0.5, 0.0)
    ghi = hourly["ghi_wm2"] * np.exp(daily(rng.normal(0, 0.05, n)))
    warmer = daily(ar_noise(rng, n, 3.0, 0.5)) + rng.normal(0, 0.3) - LAPSE_C_M * height_m
    table = pd.DataFrame(
        {
            "temp_c": hourly["temp_c"] + warmer,
            "rh_pct": np.clip(hourly["rh_pct"] + daily(rng.normal(0, 2.5, n)), 8, 100),
            "precip_mm": rain,
            "wind_ms": hourly["wind_ms"] * np.exp(rng.normal(0, 0.15)),
            "ghi_wm2": np.minimum(ghi + brighter * np.maximum(clear - ghi, 0), clear),
            "cloud_pct": hourly["cloud_pct"] * (1 - 0.5 * brighter),
        },
        index=hourly.index,
    )
    return table.round(weather.DIGITS) + 0.0


# ---- the plants ------------------------------------------------------------------------------


def _floras(mechanism, climate, days, other_days, rng, unrelated: bool):
    """What grows at each, of one mechanism."""
    draw = flora.MECHANISMS[mechanism]
    crops = draw(climate, days, rng)
    sizes = np.exp(rng.normal(0, 0.5, len(crops)))
    rich = flora.USE[mechanism] * flora.richness(days) * np.exp(rng.normal(0, 0.28))
    shock = flora.drawn_shock(len(days), rng)
    own = flora.drawn_shock(len(days), rng)
    first = flora.blend(crops, sizes, rich, days, rng, shock)
    new = draw(climate, other_days, rng)
    if unrelated:
        kept, kept_sizes, other_shock = [], sizes[:0], own
    else:
        known = {crop.name for crop in crops}
        new = [crop for crop in new if crop.name not in known][: int(rng.integers(0, 3))]
        stays = rng.random(len(crops)) >= LOST
        stays[rng.integers(len(crops))] = True  # one at least grows at both
        stays |= [crop.name == "wild flowers" for crop in crops]
        kept = [_there(crop, other_days, rng) for crop, s in zip(crops, stays, strict=True) if s]
        kept_sizes = sizes[stays]
        other_shock = SHARED_SHOCK * shock + np.sqrt(1 - SHARED_SHOCK**2) * own
    there = np.r_[kept_sizes, np.exp(rng.normal(0, 0.5, len(new)))]
    there = there * np.exp(rng.normal(0, OWN_SIZE_SD, len(there)))
    rich = rich * np.exp(rng.normal(0, OWN_RICH_SD))
    return first, flora.blend([*kept, *new], there, rich, other_days, rng, other_shock)


def _there(crop: Crop, days: pd.DataFrame, rng: np.random.Generator) -> Crop:
    """The same plant at the other yard: its weather, dates a little off, luck partly its own."""
    # What rain wakes is woken by the same rain.
    sd = 0.0 if crop.follows == "rain" else OWN_SHIFT_SD_D
    shift = int(np.round(rng.normal(0, sd)))
    year = flora.year_index(days, 0.0)
    luck = flora.yearly_factor(year, rng, OWN_YEAR_SD)

    def under(lived: pd.DataFrame):
        # The plant lives some days later than its twin, in the weather of its own days.
        early = lived.shift(-shift).ffill().bfill()
        return tuple(luck * np.roll(course, shift) for course in crop.under(early))

    return Crop.grown(crop.name, crop.follows, under, days)
