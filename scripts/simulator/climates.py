"""Climates an invented yard may have; pairs are (heart of winter, heart of summer)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

YEAR_D = 365.25
HALF_YEAR_D = YEAR_D / 2
Pair = tuple[float, float]


@dataclass(frozen=True)
class Climate:
    """What the weather maker needs to know of a place. Months and days are northern ones;
    south of the equator the whole year is shifted by half.

    Attributes
    ----------
    latitude : pair of float
        From and to, where such a yard may lie. [deg, south negative]
    temp_mean_c, temp_swing_c : float
        Yearly mean, and half the way from the coldest to the warmest day. [°C]
    warmest_day : float
        Day of the (northern) year. [d]
    daily_range_c : pair
        Highest less lowest of a dry day. [K]
    anomaly_sd_c : pair
        Spread of day-to-day departures with a memory of about four days. [K]
    wet_share : 12 floats
        Share of days with rain, January to December of the north.
    wet_day_mm : pair
        Mean rain of a day with rain. [mm]
    showers : pair
        Share of rain days on which it falls in storms of the warm hours.
    cloud_dry : pair
        Cloud of a middling dry day, 0 to 1.
    dew_drop_c : pair
        Dew point below the night's lowest temperature, dry day. [K]
    wind_ms : pair
        Mean wind at 10 m. [m/s]
    rain_cooling_c : float
        How much cooler a summer rain day is than a dry one. [K]
    wet_memory : float
        Chance, beyond the mean share, that rain follows rain.
    droughts_a_year : float
        Rate at which spells of months with far less rain begin.
    """

    name: str
    latitude: Pair
    temp_mean_c: float
    temp_swing_c: float
    warmest_day: float
    daily_range_c: Pair
    anomaly_sd_c: Pair
    wet_share: tuple[float, ...]
    wet_day_mm: Pair
    showers: Pair
    cloud_dry: Pair
    dew_drop_c: Pair
    wind_ms: Pair
    rain_cooling_c: float = 2.0
    wet_memory: float = 0.30
    droughts_a_year: float = 0.3

    def mean_course(self, northern_day: np.ndarray) -> np.ndarray:
        """Mean temperature on a day of the northern year. [°C]"""
        angle = 2 * np.pi * (np.asarray(northern_day, float) - self.warmest_day) / YEAR_D
        return self.temp_mean_c + self.temp_swing_c * np.cos(angle)

    def of_season(self, pair: Pair, northern_day: np.ndarray) -> np.ndarray:
        """A (winter, summer) pair on a day of the northern year."""
        angle = 2 * np.pi * (np.asarray(northern_day, float) - self.warmest_day) / YEAR_D
        return pair[0] + (pair[1] - pair[0]) * 0.5 * (1 + np.cos(angle))

    def wet_share_on(self, northern_day: np.ndarray) -> np.ndarray:
        """Share of wet days on a day of the northern year, monthly values joined by lines."""
        middles = (np.arange(12) + 0.5) * YEAR_D / 12
        return np.interp(northern_day, middles, self.wet_share, period=YEAR_D)


def northern_day(day_of_year: np.ndarray, latitude: float) -> np.ndarray:
    """Day of the northern year with the same season: half a year on when in the south. [d]"""
    shift = 0.0 if latitude >= 0 else HALF_YEAR_D
    return (np.asarray(day_of_year, float) + shift) % YEAR_D


_ALL = (
    Climate(
        "steppe", (46.0, 50.0), 9.5, 12.5, 202, (7.0, 13.0), (4.2, 3.0),
        (.24, .22, .24, .25, .28, .28, .23, .20, .19, .20, .24, .26),
        (3.5, 8.0), (.05, .75), (.55, .28), (2.0, 3.5), (4.2, 3.2), 3.0, 0.28, 0.35,
    ),
    Climate(
        "oceanic", (50.0, 54.0), 10.3, 6.4, 208, (5.0, 9.0), (3.2, 2.3),
        (.52, .46, .44, .40, .38, .37, .38, .40, .41, .48, .53, .54),
        (4.5, 5.0), (.05, .35), (.65, .45), (1.0, 1.5), (5.5, 4.0), 2.0, 0.35, 0.25,
    ),
    Climate(
        "humid-subtropics", (29.5, 32.5), 19.8, 8.2, 204, (11.0, 10.5), (4.2, 1.4),
        (.32, .30, .28, .24, .27, .38, .42, .40, .30, .20, .24, .30),
        (11.0, 13.0), (.2, .85), (.42, .38), (2.0, 1.0), (3.8, 2.6), 2.0, 0.22, 0.3,
    ),
    Climate(
        "subtropical-coast", (-30.5, -27.0), 19.9, 4.6, 206, (12.0, 9.5), (2.0, 1.5),
        (.24, .24, .25, .30, .36, .42, .44, .45, .44, .38, .30, .25),
        (8.0, 13.0), (.2, .65), (.28, .42), (3.0, 1.0), (3.2, 3.4), 2.0, 0.38, 0.4,
    ),
    Climate(
        "mediterranean", (36.5, 41.0), 16.8, 8.0, 210, (9.0, 12.5), (2.6, 2.0),
        (.34, .32, .28, .25, .16, .07, .02, .03, .12, .22, .30, .35),
        (9.0, 7.0), (.1, .7), (.45, .10), (2.0, 4.0), (3.8, 3.6), 2.0, 0.35, 0.35,
    ),
    Climate(
        "boreal", (56.0, 61.0), 3.8, 12.0, 201, (6.5, 10.5), (5.2, 2.8),
        (.42, .38, .34, .30, .32, .36, .38, .40, .40, .43, .47, .46),
        (2.5, 5.5), (.0, .5), (.65, .40), (1.0, 1.8), (3.8, 3.2), 2.5, 0.32, 0.25,
    ),
    Climate(
        "wet-dry-tropics", (11.0, 15.5), 26.8, 2.6, 115, (13.0, 11.0), (1.2, 1.3),
        (.03, .02, .04, .10, .34, .52, .56, .62, .60, .38, .14, .05),
        (10.0, 12.0), (.7, .85), (.22, .40), (4.0, 4.0), (3.2, 3.0), 2.2, 0.30, 0.35,
    ),
    Climate(
        "inland-winter", (48.0, 50.5), 6.6, 14.5, 202, (8.0, 12.5), (5.5, 3.2),
        (.27, .24, .26, .28, .33, .38, .33, .30, .29, .27, .28, .29),
        (2.8, 8.0), (.0, .65), (.50, .33), (1.5, 2.5), (4.3, 3.5), 2.8, 0.30, 0.3,
    ),
)  # fmt: skip
CLIMATES = {climate.name: climate for climate in _ALL}
