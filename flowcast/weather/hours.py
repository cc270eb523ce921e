"""Daily weather spread over the hours, for yards that have only highest, lowest and rain.

Nothing here is random and nothing looks ahead: an hour depends on its own day, on the evening
before and on past days. What a day states (highest, lowest, rain, mean wind, humidity and
radiation) is what its hours give back.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.messages import Note
from flowcast.tables import WEATHER, require_columns
from flowcast.weather.days import HALF_HOUR, day_starts, hours_of_days, local_dates
from flowcast.weather.humidity import magnus_exponent, magnus_inverse, relative_humidity
from flowcast.weather.sun import (
    clear_sky_ghi,
    day_length_h,
    extraterrestrial_radiation,
    ghi_from_cloud,
    ghi_from_range,
    solar_noon_utc_h,
)

GOLDEN = (np.sqrt(5) - 1) / 2  # its multiples fill the clock evenly without ever repeating


def hourly_from_daily(daily, place, numbers):
    """Daily weather as hourly weather, by stated rules.

    Parameters
    ----------
    daily : pandas.DataFrame
        Index: local dates, naive, in order. Columns temp_max_c, temp_min_c [°C], precip_mm [mm];
        where there are any also wind_ms [m/s], rh_pct [%], ghi_wm2 (mean of 24 hours) [W/m²] and
        cloud_pct [%], each the mean of the day. Missing days and values stay missing.
    place : flowcast.tables.Place
        The yard.
    numbers : flowcast.numbers.Numbers
        Group weather.

    Returns
    -------
    pandas.DataFrame
        The columns of `flowcast.tables.WEATHER` for every hour of these days. Wind is missing
        where the day gives none, and so are soil and pressure.

    Raises
    ------
    MissingColumnError
        When highest, lowest or rain is not among the columns.

    Notes
    -----
    - Temperature: day course of Parton and Logan [1]_: a sine from the lowest, near sunrise, over
      the highest, two hours after noon, to sunset; after it an exponential fall, up to midnight
      towards the day's own lowest and then to the lowest of the new day, so that no hour knows
      the day to come. Each day is stretched so that its hours reach both extremes.
    - Dew point: the day's lowest, less 0 to 3 °C the wider the mean range of the last 30 days
      (FAO-56 annex 6, width ours); constant over the day. With rh_pct given: the dew point that
      gives this mean.
    - Radiation: from ghi_wm2, else from cloud_pct, else from the temperature range (FAO-56 eq.
      50), with the course of a clear day.
    - Wind: a cosine around the mean, strongest in the early afternoon (ours).
    - Rain: in one spell of 2 x sqrt(mm) hours, so that it does not become a drizzle of 24 hours
      which would keep bees in all day; the spell begins at an hour that moves evenly through day
      and night from date to date (ours).

    References
    ----------
    .. [1] W. J. Parton and J. A. Logan, "A model for diurnal variation in soil and air
       temperature", Agricultural Meteorology 23:205-216, 1981.
    """
    require_columns(daily, ["temp_max_c", "temp_min_c", "precip_mm"], where="daily weather")
    grid = _grid(daily, place)
    table = pd.DataFrame(np.nan, index=grid.index, columns=list(WEATHER))
    table["temp_c"] = _temperature(grid, numbers)
    table["dewpoint_c"] = _dewpoint(grid, table["temp_c"].to_numpy(), numbers)
    table["rh_pct"] = relative_humidity(table["temp_c"], table["dewpoint_c"])
    table["precip_mm"] = _rain(grid, numbers)
    table["wind_ms"] = _wind(grid, numbers)
    table["ghi_wm2"] = _radiation(grid, place, numbers)
    table["cloud_pct"] = grid.spread("cloud_pct")
    return table


def hourly_from_daily_notes(daily):
    """What `hourly_from_daily` made of a daily table, as notes."""
    notes = [Note.of("from_daily.hours", n=len(daily))]
    if "ghi_wm2" not in daily:
        clouds = "cloud_pct" in daily
        notes.append(Note.of("from_daily.by_cloud" if clouds else "from_daily.by_range"))
    return notes if "rh_pct" in daily else [*notes, Note.of("from_daily.humidity")]


@dataclass(frozen=True)
class _Grid:
    """The hours of a run of days: which day each belongs to and how it stands to the sun."""

    daily: pd.DataFrame
    index: pd.DatetimeIndex
    starts: np.ndarray  # first hour of each day
    day: np.ndarray  # day of each hour, a position in `daily`
    hour: np.ndarray  # hours since local midnight at the end of each hour, 1 to 25
    noon: np.ndarray  # the same for solar noon, of each hour's day
    length: np.ndarray  # day length, of each hour's day

    def spread(self, column):
        """A daily column at each hour; missing when the table has no such column."""
        if column not in self.daily:
            return np.full(len(self.index), np.nan)
        return self.daily[column].to_numpy(float)[self.day]

    def day_mean(self, values):
        """Mean of an hourly array over each day, at each hour."""
        sums = np.add.reduceat(values, self.starts)
        return (sums / np.diff(np.r_[self.starts, len(values)]))[self.day]


def _grid(daily, place):
    days = pd.date_range(daily.index[0], daily.index[-1], freq="D")
    index = hours_of_days(days[0], days[-1], place.timezone)
    starts, _ = day_starts(local_dates(index, place.timezone))
    sizes = np.diff(np.r_[starts, len(index)])
    day = np.repeat(np.arange(len(days)), sizes)
    midnight = index[starts] - 2 * HALF_HOUR
    utc_h = midnight.hour.to_numpy() + midnight.minute.to_numpy() / 60
    noon = (solar_noon_utc_h(days, place.longitude) - utc_h) % 24
    length = day_length_h(days, place.latitude)
    hour = np.arange(len(index)) - starts[day] + 1.0
    return _Grid(daily.reindex(days), index, starts, day, hour, noon[day], length[day])


def day_course(after_min_h, day_length, temp_min_c, temp_max_c, numbers):
    """Temperature between the lowest of a day and its sunset. [°C]

    Parameters
    ----------
    after_min_h : numeric
        Hours since the lowest temperature. [h]
    day_length : numeric
        Hours from sunrise to sunset. [h]
    temp_min_c, temp_max_c : numeric
        Lowest and highest of the day. [°C]
    numbers : flowcast.numbers.Numbers
        weather.course_lag.

    Returns
    -------
    numeric
        Parton and Logan 1981, daytime: a sine. [°C]
    """
    phase = np.pi * after_min_h / (day_length + 2 * numbers["weather.course_lag"])
    return temp_min_c + (temp_max_c - temp_min_c) * np.sin(phase)


def night_course(after_sunset_h, night_length, temp_min_c, sunset_temp_c, numbers):
    """Temperature after sunset. [°C]

    Parameters
    ----------
    after_sunset_h, night_length : numeric
        Hours since sunset and from sunset to sunrise. [h]
    temp_min_c, sunset_temp_c : numeric
        Lowest temperature and that at sunset. [°C]
    numbers : flowcast.numbers.Numbers
        weather.course_night_decay.

    Returns
    -------
    numeric
        Parton and Logan 1981, night: an exponential fall. [°C]
    """
    fall = np.exp(-numbers["weather.course_night_decay"] * after_sunset_h / night_length)
    return temp_min_c + (sunset_temp_c - temp_min_c) * fall


def _temperature(grid, numbers):
    low, high = grid.spread("temp_min_c"), grid.spread("temp_max_c")
    shortest = numbers["weather.course_shortest_h"]
    length = np.clip(grid.length, shortest, 24 - shortest)
    first_min = grid.noon - length / 2 + numbers["weather.course_min_after_sunrise_h"]
    sunset = grid.noon + length / 2
    dusk = day_course(sunset - first_min, length, low, high, numbers)
    evening = night_course(grid.hour - sunset, 24 - length, low, dusk, numbers)
    course = day_course(grid.hour - first_min, length, low, high, numbers)
    course = np.where(grid.hour > sunset, evening, course)
    before = grid.hour < first_min
    course[before] = _before_the_minimum(grid, course, first_min, low, 24 - length, numbers)[before]
    return _stretch(grid, np.clip(course, low, high), low, high)


def _before_the_minimum(grid, course, first_min, low, night, numbers):
    """From the value at midnight down to the new day's lowest, reached exactly."""
    ends = np.r_[grid.starts[1:], len(course)] - 1
    midnight = np.r_[course[ends[0]], course[ends[:-1]]]  # the first day follows on itself
    midnight = midnight[grid.day]
    midnight = np.where(np.isnan(midnight), low, midnight)
    rate = numbers["weather.course_night_decay"] / night
    at_min = np.exp(-rate * first_min)
    left = (np.exp(-rate * grid.hour) - at_min) / np.where(at_min < 1, 1 - at_min, 1)
    return low + (midnight - low) * left


def _stretch(grid, course, low, high):
    """Each day stretched so that its lowest and highest hour are the day's extremes."""
    least = np.minimum.reduceat(course, grid.starts)[grid.day]
    span = np.maximum.reduceat(course, grid.starts)[grid.day] - least
    share = np.divide(course - least, span, out=np.zeros_like(course), where=span > 0)
    return np.where(np.isnan(course), np.nan, low + (high - low) * share)


def dewpoint_from_minimum(temp_min_c, temp_max_c, numbers):
    """Dew point of each day from its lowest temperature. [°C]

    Parameters
    ----------
    temp_min_c, temp_max_c : pandas.Series
        Lowest and highest of each day, in order of days. [°C]
    numbers : flowcast.numbers.Numbers
        weather.dew_*.

    Returns
    -------
    pandas.Series
        The day's lowest less 0 to 3 °C, more in a dry climate: dryness is told by the mean daily
        range of the days up to this one. [°C]

    Notes
    -----
    After FAO-56 annex 6 (from memory); how the drop grows with the range is our choice.
    """
    memory = int(numbers["weather.dew_range_memory_d"])
    daily_range = (temp_max_c - temp_min_c).rolling(memory, min_periods=1).mean()
    humid, arid = numbers["weather.dew_humid_range_c"], numbers["weather.dew_arid_range_c"]
    dryness = ((daily_range - humid) / (arid - humid)).clip(0, 1)
    return temp_min_c - numbers["weather.dew_arid_drop_c"] * dryness


def _dewpoint(grid, temp, numbers):
    from_low = dewpoint_from_minimum(grid.daily["temp_min_c"], grid.daily["temp_max_c"], numbers)
    # Vapour pressure is held through the day, so the mean humidity is its value times the mean
    # of 1 / saturation; solved for it, the hours give back the mean that was stated (unless
    # the coolest of them would be over-full).
    dryness = np.log(grid.day_mean(np.exp(-magnus_exponent(temp))))
    stated = magnus_inverse(np.log(np.clip(grid.spread("rh_pct"), 1, 100) / 100) - dryness)
    return np.where(np.isnan(stated), from_low.to_numpy()[grid.day], stated)


def _rain(grid, numbers):
    total = grid.spread("precip_mm")
    size = np.diff(np.r_[grid.starts, len(total)])[grid.day]
    length = np.round(numbers["weather.rain_hours_at_1mm"] * np.sqrt(total))
    length = np.clip(length, 1, size)
    ordinal = grid.daily.index.to_numpy().astype("datetime64[D]").astype(float)[grid.day]
    begin = np.floor(size * (ordinal * GOLDEN % 1))
    wet = (grid.hour - 1 - begin) % size < length
    return np.where(wet | np.isnan(total), total / length, 0.0)


def _wind(grid, numbers):
    turn = 2 * np.pi * (grid.hour - grid.noon - numbers["weather.wind_peak_h"]) / 24
    shape = 1 + numbers["weather.wind_swing"] * np.cos(turn)
    return grid.spread("wind_ms") * shape / grid.day_mean(shape)


def _radiation(grid, place, numbers):
    clear = clear_sky_ghi(grid.index, place).to_numpy()
    clear_mean = grid.day_mean(clear)
    days, swing = grid.daily.index, grid.spread("temp_max_c") - grid.spread("temp_min_c")
    above = extraterrestrial_radiation(days, place.latitude)[grid.day]
    from_range = ghi_from_range(swing, above, numbers)
    mean = np.minimum(from_range, clear_mean)
    for better in (
        ghi_from_cloud(clear_mean, grid.spread("cloud_pct"), numbers, mean_of_day=True),
        grid.spread("ghi_wm2"),
    ):
        mean = np.where(np.isnan(better), mean, better)
    share = np.divide(mean, clear_mean, out=np.zeros_like(mean), where=clear_mean > 0)
    return np.where(np.isnan(mean), np.nan, clear * share)
