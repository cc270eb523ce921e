"""The weather that beetles feel, from the daily tables of the past and the runs of weather ahead."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.beetle.course import Drivers
from flowcast.numbers import Numbers
from flowcast.weather import WeatherAhead, ground_warmth, soil_temperature, top_soil_water


def past_drivers(
    daily: pd.DataFrame, soil: str, numbers: Numbers, *, irrigated: bool = False
) -> Drivers:
    """The days of a record, each array of shape (days,).

    Parameters
    ----------
    daily : DataFrame
        Columns temp_mean_c, precip_mm, et0_mm, rh_pct, dusk_temp_c, soil_temp_c, soil_moisture_m3m3.
        A day in a hole of the weather is taken to be as the last one known.
    soil : str
        One of `flowcast.weather.SOILS`.
    """
    whole = daily.drop(columns=["soil_moisture_m3m3"]).ffill().bfill()
    water = top_soil_water(
        daily["precip_mm"],
        daily["et0_mm"],
        soil,
        numbers,
        moisture=daily["soil_moisture_m3m3"],
        irrigated=irrigated,
    )
    return Drivers(
        soil_c=whole["soil_temp_c"].to_numpy(),
        soil_water=water,
        rh_pct=whole["rh_pct"].to_numpy(),
        dusk_c=whole["dusk_temp_c"].to_numpy(),
        air_c=whole["temp_mean_c"].to_numpy(),
    )


def soil_ahead(ahead: WeatherAhead, soil_c: float, numbers: Numbers) -> np.ndarray:
    """Soil temperature of each run, going on from today's, shape (runs, days). [°C]"""
    surface = ground_warmth(ahead["temp_mean_c"], ahead["ghi_wm2"], numbers)
    return np.array([soil_temperature(run, numbers, start_c=soil_c) for run in surface])


def drivers_ahead(
    ahead: WeatherAhead,
    soil_c: np.ndarray,
    soil: str,
    soil_water: float,
    numbers: Numbers,
    *,
    irrigated: bool = False,
) -> Drivers:
    """The days ahead, each array of shape (runs, days).

    Parameters
    ----------
    soil_c : array, shape (runs, days)
        From `soil_ahead`; it is the same for every soil.
    soil_water : float
        Water of the top soil on the evening before. [1]
    """
    rain, use = ahead["precip_mm"], ahead["et0_mm"]
    water = top_soil_water(rain, use, soil, numbers, start=soil_water, irrigated=irrigated)
    return Drivers(soil_c, water, ahead["rh_pct"], ahead["dusk_temp_c"], ahead["temp_mean_c"])


def one_after_the_other(past: Drivers, ahead: Drivers, runs: np.ndarray, tail: int) -> Drivers:
    """The last `tail` days of the past before each draw's run of weather, (draws, tail + days)."""

    def join(name: str) -> np.ndarray:
        before = np.tile(getattr(past, name)[-tail:], (len(runs), 1))
        return np.hstack([before, getattr(ahead, name)[runs]])

    return Drivers(*(join(name) for name in Drivers.__dataclass_fields__))
