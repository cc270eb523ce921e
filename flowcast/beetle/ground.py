"""The weather that beetles feel, from the daily tables of the past and the runs of weather ahead."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.beetle.course import Drivers
from flowcast.numbers import Numbers
from flowcast.weather import WeatherAhead, ground_warmth, soil_temperature, top_soil_water

RECENT_D = 60  # days over which a service's soil is compared with one reckoned from the air


def past_drivers(
    daily: pd.DataFrame, ground: tuple[str, str], numbers: Numbers, *, irrigated: bool = False
) -> Drivers:
    """The days of a record, each array of shape (days,).

    Parameters
    ----------
    daily : DataFrame
        Columns temp_mean_c, precip_mm, et0_mm, rh_pct, dusk_temp_c, soil_temp_c, soil_moisture_m3m3.
        A day in a hole of the weather is taken to be as the last one known.
    ground : (soil, share)
        `Traits.ground`: one of `flowcast.weather.SOILS`, and a name of group topsoil.
    """
    soil, share = ground
    whole = daily.drop(columns=["soil_moisture_m3m3"]).ffill().bfill()
    water = top_soil_water(
        daily["precip_mm"],
        daily["et0_mm"],
        soil,
        numbers,
        moisture=daily["soil_moisture_m3m3"],
        irrigated=irrigated,
        draw_share=numbers[f"topsoil.{share}"],
    )
    return Drivers(
        soil_c=whole["soil_temp_c"].to_numpy(),
        soil_water=water,
        rh_pct=whole["rh_pct"].to_numpy(),
        dusk_c=whole["dusk_temp_c"].to_numpy(),
        air_c=whole["temp_mean_c"].to_numpy(),
    )


def soil_ahead(daily: pd.DataFrame, ahead: WeatherAhead, numbers: Numbers) -> np.ndarray:
    """Soil temperature of each run, going on from today's, shape (runs, days). [°C]

    Where a service's soil has been cooler or warmer than one reckoned from air and sun, it is taken
    to stay so.
    """
    last = daily.iloc[-RECENT_D:]
    reckoned = soil_temperature(
        ground_warmth(last["temp_mean_c"], last["ghi_wm2"], numbers), numbers
    )
    off = (last["soil_temp_c"] - reckoned).iloc[-RECENT_D // 2 :].mean()
    surface = ground_warmth(ahead["temp_mean_c"], ahead["ghi_wm2"], numbers) + np.nan_to_num(off)
    start = float(daily["soil_temp_c"].ffill().iloc[-1])
    return np.array([soil_temperature(run, numbers, start_c=start) for run in surface])


def drivers_ahead(
    ahead: WeatherAhead,
    soil_c: np.ndarray,
    ground: tuple[str, str],
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
    soil, share = ground
    water = top_soil_water(
        ahead["precip_mm"],
        ahead["et0_mm"],
        soil,
        numbers,
        start=soil_water,
        irrigated=irrigated,
        draw_share=numbers[f"topsoil.{share}"],
    )
    return Drivers(soil_c, water, ahead["rh_pct"], ahead["dusk_temp_c"], ahead["temp_mean_c"])


def one_after_the_other(
    past: Drivers, ahead: Drivers, runs: np.ndarray, tail: int, seam_c: np.ndarray
) -> Drivers:
    """The last `tail` days of the past before each draw's run of weather, (draws, tail + days).

    seam_c: shape (draws, days), what the soil's temperature ahead is further off by. [°C]
    """

    def join(name: str, off=0.0) -> np.ndarray:
        """One driver, the same past before each run of it."""
        before = np.tile(getattr(past, name)[-tail:], (len(runs), 1))
        return np.hstack([before, getattr(ahead, name)[runs] + off])

    return Drivers(
        join("soil_c", seam_c), *(join(n) for n in ("soil_water", "rh_pct", "dusk_c", "air_c"))
    )
