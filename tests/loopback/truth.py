"""The invented weather that all services show: the same numbers at each call, anywhere on Earth."""

from functools import lru_cache

import numpy as np
import pandas as pd


def chance(blocks, salt):
    """Numbers in [0, 1) that depend on block and salt alone (the mixer of splitmix64)."""
    z = np.asarray(blocks, dtype=np.int64).astype(np.uint64)
    z = z * np.uint64(0x9E3779B97F4A7C15) + np.uint64(salt * 7919 + 1)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return (z ^ (z >> np.uint64(31))).astype(float) / 2.0**64


def wave(hours, step, salt):
    """A smooth wandering between -1 and 1, with a new turn every `step` hours."""
    knot = np.floor(hours / step)
    part = hours / step - knot
    here, there = (2 * chance(knot + k, salt) - 1 for k in (0, 1))
    return here + (there - here) * part**2 * (3 - 2 * part)


def epoch_hours(index):
    """Whole hours since 1970 of a UTC index."""
    return index.as_unit("ns").asi8 // 3_600_000_000_000


def humidity(temp, dew):
    """Relative humidity [%] from temperature and dew point [°C], Magnus with 17.625 and 243.04."""
    return 100 * np.exp(17.625 * dew / (243.04 + dew) - 17.625 * temp / (243.04 + temp))


def sun_height(latitude, longitude, hours):
    """Sine of the sun's height at these hours since 1970 (no equation of time)."""
    season = 2 * np.pi * (hours / 24 - 79.5) / 365.2425  # 1970-03-21
    declination = np.radians(23.44) * np.sin(season)
    turn = 2 * np.pi * (hours / 24 + longitude / 360 - 0.5)
    lat = np.radians(latitude)
    return np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(turn)


def invented_weather(latitude, longitude, index_utc):
    """Weather that never was, the same at each call: seasons, days and nights, passing showers.

    Parameters
    ----------
    latitude, longitude : float
        Degrees. Near places have nearly the same weather, those in the east a little later.
    index_utc : pandas.DatetimeIndex
        UTC stamps that mark the END of their hour; any part of any span gives the same values.

    Returns
    -------
    pandas.DataFrame
        temp_c, rh_pct, dewpoint_c, precip_mm, wind_ms, ghi_wm2, soil_temp_c, soil_moisture_m3m3,
        cloud_pct, pressure_hpa (mean sea level).
    """
    h = epoch_hours(index_utc).astype(float)
    front = h - 0.8 * longitude - 0.3 * latitude  # weather drifts to the east
    summer = 0.25 * latitude * np.cos(2 * np.pi * (h / 24 - 200) / 365.2425)
    day = np.cos(2 * np.pi * ((h + longitude / 15) - 15) / 24)
    cloud = np.clip(50 + 60 * wave(front, 36, 1) + 20 * wave(front, 7, 2), 0, 100)
    clear = 1 - cloud / 100
    wet = chance(np.floor(front / 3), 3) < 0.6 * (cloud - 62) / 38
    rain = np.where(wet, -1.0 * np.log(1 - chance(np.floor(front), 4)), 0.0).round(2)
    mean = 27 - 0.007 * latitude**2
    temp = mean + summer + (2 + 4 * clear) * day + 4 * wave(front, 60, 5)
    dew = temp - np.where(rain > 0, 0.6, 1.5 + 7 * clear + 3 * (1 + day) * clear)
    height = np.maximum(sun_height(latitude, longitude, h - 0.5), 1e-6)
    clear_sky = 1098 * height * np.exp(-0.057 / height)  # Haurwitz 1945
    return pd.DataFrame(
        {
            "temp_c": temp,
            "rh_pct": humidity(temp, dew),
            "dewpoint_c": dew,
            "precip_mm": rain,
            "wind_ms": np.maximum(0.2, 3.2 + 2.4 * wave(front, 30, 6) + 0.9 * day),
            "ghi_wm2": clear_sky * (1 - 0.75 * (cloud / 100) ** 3.4),  # Kasten and Czeplak 1980
            "soil_temp_c": 0.7 * mean + 4 + 0.6 * summer + 1.2 * day + 2 * wave(front, 240, 7),
            "soil_moisture_m3m3": 0.26 - 0.002 * summer * np.sign(latitude or 1.0)
            + 0.06 * wave(front - 24, 36, 1) + 0.04 * wave(front, 500, 8),
            "cloud_pct": cloud,
            "pressure_hpa": 1014 - 12 * wave(front, 36, 1) + 6 * wave(front, 200, 9),
        },
        index=index_utc,
    )  # fmt: skip


@lru_cache(maxsize=64)
def span_of(weather, latitude, longitude, first, last):
    return weather(latitude, longitude, pd.date_range(first, last, freq="h", tz="UTC"))


MULTIPLIED = ("precip_mm", "wind_ms", "ghi_wm2")
BOUNDS = {
    "rh_pct": (1, 100),
    "precip_mm": (0, 300),
    "wind_ms": (0, 80),
    "ghi_wm2": (0, 1400),
    "soil_moisture_m3m3": (0.01, 0.6),
    "cloud_pct": (0, 100),
}


def bounded(table):
    """The same table with every value a possible one."""
    return table.assign(**{c: table[c].clip(*b) for c, b in BOUNDS.items() if c in table})
