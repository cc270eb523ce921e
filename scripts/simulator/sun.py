"""Where the sun stands and what a cloudless sky lets through: small, and our own."""

from __future__ import annotations

import numpy as np

STEPS_AN_HOUR = 6  # the sun's height is averaged over ten-minute steps of the hour


def year_angle(day_of_year: np.ndarray) -> np.ndarray:
    """Angle of the year at a day of it, zero at its start. [rad]"""
    return 2 * np.pi * (np.asarray(day_of_year, float) - 1) / 365.25


def declination(day_of_year: np.ndarray) -> np.ndarray:
    """Solar declination. [rad]

    Notes
    -----
    Fourier series of J. W. Spencer, "Fourier series representation of the position of the sun,"
    Search 2(5), 1971 (coefficients from memory, checked in the tests against pvlib).
    """
    g = year_angle(day_of_year)
    return (
        0.006918
        - 0.399912 * np.cos(g)
        + 0.070257 * np.sin(g)
        - 0.006758 * np.cos(2 * g)
        + 0.000907 * np.sin(2 * g)
        - 0.002697 * np.cos(3 * g)
        + 0.00148 * np.sin(3 * g)
    )


def equation_of_time(day_of_year: np.ndarray) -> np.ndarray:
    """Sundial time less clock time. [h]  (Spencer 1971, as above)"""
    g = year_angle(day_of_year)
    radians = (
        0.000075
        + 0.001868 * np.cos(g)
        - 0.032077 * np.sin(g)
        - 0.014615 * np.cos(2 * g)
        - 0.040849 * np.sin(2 * g)
    )
    return radians * 12 / np.pi


def sin_height(day_of_year: np.ndarray, solar_hour: np.ndarray, latitude: float) -> np.ndarray:
    """Sine of the sun's height over the horizon; negative at night. [1]"""
    lat, dec = np.radians(latitude), declination(day_of_year)
    hour_angle = (np.asarray(solar_hour, float) - 12) * np.pi / 12
    return np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(hour_angle)


def day_length(day_of_year: np.ndarray, latitude: float) -> np.ndarray:
    """Hours from sunrise to sunset, the sun taken as a point and the air as empty. [h]"""
    cosine = -np.tan(np.radians(latitude)) * np.tan(declination(day_of_year))
    return 24 / np.pi * np.arccos(np.clip(cosine, -1, 1))


def clear_sky(sin_h: np.ndarray) -> np.ndarray:
    """Global radiation on flat ground under a cloudless sky. [W/m2]

    Notes
    -----
    Form and coefficients of L. Robledo and A. Soler, "Luminous efficacy of global solar radiation
    for clear skies," Energy Convers. Manage. 41, 2000 (from memory):
    1159.24 (sin h)^1.179 exp(-0.0019 h), h in degrees.
    """
    s = np.clip(sin_h, 0, 1)
    return 1159.24 * s**1.179 * np.exp(-0.0019 * np.degrees(np.arcsin(s)))


def clear_sky_hours(day_of_year: np.ndarray, latitude: float, solar_shift_h: float) -> np.ndarray:
    """Cloudless radiation of each clock hour of each day, mean of the hour. [W/m2]

    Parameters
    ----------
    day_of_year : ndarray, shape (days,)
        1 to 366.
    solar_shift_h : float
        Mean solar time less the yard's fixed clock. [h]

    Returns
    -------
    ndarray, shape (days, 24)
        Hour k runs from k to k + 1 of the clock.
    """
    day = np.asarray(day_of_year, float)[:, None, None]
    minute = (np.arange(STEPS_AN_HOUR) + 0.5) / STEPS_AN_HOUR
    clock = np.arange(24.0)[None, :, None] + minute
    solar = clock + solar_shift_h + equation_of_time(day)
    return clear_sky(sin_height(day, solar, latitude)).mean(axis=2)
