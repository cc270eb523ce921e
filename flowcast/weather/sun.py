"""The sun over the yard: elevation, clear-sky and cloudy radiation, day length."""

import numpy as np
import pandas as pd

from flowcast.weather.days import HALF_HOUR

W_PER_MJ_DAY = 1e6 / 86400  # 1 MJ/m² in a day as a mean flow in W/m²


def sun_elevation(index, place):
    """Height of the sun above the horizon at the middle of each hour. [°]

    Parameters
    ----------
    index : pandas.DatetimeIndex
        Time-zone-aware stamps, each at the END of its hour.
    place : flowcast.tables.Place
        The yard.

    Returns
    -------
    pandas.Series
        Centre of the sun, without refraction; negative below the horizon. [°]

    Notes
    -----
    pvlib's `ephemeris` (after the US Naval Observatory), within 0.02° of its slower standard
    algorithm.
    """
    from pvlib import solarposition

    sun = solarposition.ephemeris(index - HALF_HOUR, place.latitude, place.longitude)
    return pd.Series(sun["elevation"].to_numpy(), index=index, name="sun_elevation_deg")


def clear_sky_ghi(index, place):
    """Global radiation under a clear sky at the middle of each hour. [W/m²]

    Parameters
    ----------
    index : pandas.DatetimeIndex
        Time-zone-aware stamps, each at the END of its hour.
    place : flowcast.tables.Place
        The yard.

    Returns
    -------
    pandas.Series
        Zero at night. [W/m²]

    Notes
    -----
    Haurwitz 1945, the best of the models that need the sun's height alone [1]_; it knows neither
    haze nor the height of the place, so a measured value may exceed it a little.

    References
    ----------
    .. [1] M. Reno, C. Hansen, J. Stein, "Global Horizontal Irradiance Clear Sky Models", Sandia
       SAND2012-2389, 2012, as named in pvlib.
    """
    from pvlib import clearsky

    ghi = clearsky.haurwitz(90 - sun_elevation(index, place))["ghi"]
    return ghi.rename("clear_ghi_wm2")


def ghi_from_cloud(clear_ghi_wm2, cloud_pct, numbers, *, mean_of_day=False):
    """Global radiation from cloud cover. [W/m²]

    Parameters
    ----------
    clear_ghi_wm2 : numeric
        Radiation under a clear sky. [W/m²]
    cloud_pct : numeric
        Cloud cover, taken within 0 to 100. [%]
    numbers : flowcast.numbers.Numbers
        weather.cloud_radiation_loss, weather.cloud_radiation_power and weather.cloud_day_power.
    mean_of_day : bool
        Both are means of a day: a mean of 50 % is often half a clear and half a dull day, which is
        darker than 50 % all day.

    Returns
    -------
    numeric
        clear x (1 - loss x cover^power). [W/m²]

    Notes
    -----
    Form of F. Kasten and G. Czeplak, Solar Energy 24:177-189, 1980 (Hamburg), from memory. It
    knows the amount of cloud, not its kind: thin high cloud comes out too dark.
    """
    cover = np.clip(cloud_pct, 0, 100) / 100
    power = numbers["weather.cloud_day_power" if mean_of_day else "weather.cloud_radiation_power"]
    return clear_ghi_wm2 * (1 - numbers["weather.cloud_radiation_loss"] * cover**power)


def ghi_from_range(temp_range_c, extraterrestrial_mj, numbers):
    """Mean radiation of a day from its temperature range. [W/m²]

    Parameters
    ----------
    temp_range_c : numeric
        Highest less lowest temperature of the day. [°C]
    extraterrestrial_mj : numeric
        Radiation above the air (`extraterrestrial_radiation`). [MJ/m² a day]
    numbers : flowcast.numbers.Numbers
        weather.range_radiation_k and weather.clear_share.

    Returns
    -------
    numeric
        k sqrt(range) Ra, as a mean over 24 hours. [W/m²]

    Notes
    -----
    FAO-56 eq. 50: clear days warm and cool more than dull ones. The share of Ra is held to that
    of a clear day at sea level (FAO-56 eq. 37).
    """
    share = numbers["weather.range_radiation_k"] * np.sqrt(np.maximum(temp_range_c, 0))
    return np.minimum(share, numbers["weather.clear_share"]) * extraterrestrial_mj * W_PER_MJ_DAY


def solar_declination(dates):
    """Angle between the sun's rays and the equator. [rad]  (FAO-56 eq. 24)"""
    return 0.409 * np.sin(2 * np.pi / 365 * _day_of_year(dates) - 1.39)


def day_length_h(dates, latitude):
    """Hours from sunrise to sunset. [h]

    Parameters
    ----------
    dates : array-like of dates
        Days.
    latitude : float
        North positive. [°]

    Returns
    -------
    numpy.ndarray
        0 in polar night, 24 in polar day. [h]

    Notes
    -----
    FAO-56 eq. 34: the centre of the sun on a flat horizon without refraction, some 7 to 18 minutes
    shorter than the almanac's day. Its declination is one sine, off by up to 1.5° in autumn, which
    is another 12 minutes times tan(latitude).
    """
    return 24 / np.pi * _sunset_angle(dates, latitude)


def extraterrestrial_radiation(dates, latitude):
    """Radiation of a day above the air on a level surface. [MJ/m²]

    Parameters
    ----------
    dates : array-like of dates
        Days.
    latitude : float
        North positive. [°]

    Returns
    -------
    numpy.ndarray
        Ra of FAO-56 eq. 21; 0 in polar night. [MJ/m² a day]
    """
    phi, delta, omega = (
        np.radians(latitude),
        solar_declination(dates),
        _sunset_angle(dates, latitude),
    )
    distance = 1 + 0.033 * np.cos(2 * np.pi / 365 * _day_of_year(dates))
    heights = omega * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(omega)
    return 24 * 60 / np.pi * 0.0820 * distance * np.maximum(heights, 0)


def solar_noon_utc_h(dates, longitude):
    """Hour of the UTC day at which the sun stands highest; may lie below 0 or above 24. [h]"""
    from pvlib import solarposition

    late_min = solarposition.equation_of_time_spencer71(_day_of_year(dates))
    return 12 - longitude / 15 - late_min / 60


def _sunset_angle(dates, latitude):
    """Sunset hour angle, FAO-56 eq. 25; clipped where the sun does not rise or set. [rad]"""
    cosine = -np.tan(np.radians(latitude)) * np.tan(solar_declination(dates))
    return np.arccos(np.clip(cosine, -1, 1))


def _day_of_year(dates):
    return pd.DatetimeIndex(dates).dayofyear.to_numpy(float)
