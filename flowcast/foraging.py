"""Foraging hours: hour by hour how far the weather lets bees forage, and what kept them in.

The suitability of an hour is a product of five responses from 0 to 1: temperature, light, wind,
rain and humidity. The product and its knots are a synthesis of field studies, not a published
model; every knot is a number a yard may set (group foraging of numbers.toml).
"""

import numpy as np
import pandas as pd

from flowcast.tables import require_columns
from flowcast.weather.days import day_starts, hours_of_days, local_dates

NEEDS = ("temp_c", "ghi_wm2", "wind_ms", "precip_mm", "rh_pct", "clear_ghi_wm2")
FACTORS = ("cold", "heat", "light", "rain", "wind", "humid")
HOURLY = ["suitability", *(f"lost_{factor}" for factor in FACTORS)]
DAILY = ["foraging_h", *(f"lost_{factor}_h" for factor in FACTORS)]
BLOCK = 16384  # rows worked on at once: few enough that they stay in the processor's cache


def temperature_response(temp_c, numbers):
    """How far the temperature lets bees forage. [1]

    Parameters
    ----------
    temp_c : array-like
        Air temperature at 2 m. [°C]
    numbers : flowcast.numbers.Numbers
        foraging.temp_*.

    Returns
    -------
    numpy.ndarray
        0 up to 10 °C, 0.1 at 12, 1 from 20 to 32, 0.5 at 37, 0 from 43; in lines between.

    Notes
    -----
    Rising from 12 to 20 °C after Burrill and Dietz 1981 [1]_; the hot side from reviews. Bees work
    a heavy bloom at 9 to 11 °C (Lovell 1926) and full in Spanish apple at 12 to 14 °C (Vicens and
    Bosch 2000): a yard may set the knots lower.

    References
    ----------
    .. [1] R. M. Burrill and A. Dietz, "The response of honey bees to variations in solar radiation
       and temperature", Apidologie 12:319-328, 1981.
    """
    knots = [
        numbers[f"foraging.temp_{k}_c"] for k in ("none", "some", "full", "hot", "half", "stops")
    ]
    some, half = numbers["foraging.temp_some_share"], numbers["foraging.temp_half_share"]
    return np.interp(temp_c, knots, [0.0, some, 1.0, 1.0, half, 0.0])


def light_response(ghi_wm2, numbers):
    """How far the light lets bees forage. [1]

    Parameters
    ----------
    ghi_wm2 : array-like
        Global radiation. [W/m²]
    numbers : flowcast.numbers.Numbers
        foraging.light_none_wm2, foraging.light_full_wm2.

    Returns
    -------
    numpy.ndarray
        0 up to 20 W/m², 1 from 300 (Vicens and Bosch 2000, Environ. Entomol. 29:413-420).
    """
    knots = [numbers["foraging.light_none_wm2"], numbers["foraging.light_full_wm2"]]
    return np.interp(ghi_wm2, knots, [0.0, 1.0])


def wind_response(wind10_ms, shelter, numbers):
    """How far the wind lets bees forage. [1]

    Parameters
    ----------
    wind10_ms : array-like
        Mean wind at 10 m in the open, as services give it. [m/s]
    shelter : float
        Share of it that blows at flight height in the yard, 0 to 1. [1]
    numbers : flowcast.numbers.Numbers
        foraging.wind_free_ms, foraging.wind_stops_ms: at flight height.

    Returns
    -------
    numpy.ndarray
        1 up to 4.5 m/s at flight height (no effect found in red clover), 0 from 10.
    """
    knots = [numbers["foraging.wind_free_ms"], numbers["foraging.wind_stops_ms"]]
    return np.interp(np.asarray(wind10_ms, float) * shelter, knots, [1.0, 0.0])


def rain_response(precip_mm, numbers):
    """How far the rain of an hour lets bees forage. [1]

    Parameters
    ----------
    precip_mm : array-like
        Rain in the hour. [mm]
    numbers : flowcast.numbers.Numbers
        foraging.rain_half_mm, foraging.rain_stops_mm.

    Returns
    -------
    numpy.ndarray
        1 when dry, 0.5 at 0.25 mm, 0 from 1 mm. No threshold is published; flight is cut by each
        shower and resumes at once (Lundie 1925).
    """
    knots = [0.0, numbers["foraging.rain_half_mm"], numbers["foraging.rain_stops_mm"]]
    return np.interp(precip_mm, knots, [1.0, 0.5, 0.0])


def humidity_response(rh_pct, numbers):
    """How far damp air lets bees forage. [1]

    Parameters
    ----------
    rh_pct : array-like
        Relative humidity at 2 m. [%]
    numbers : flowcast.numbers.Numbers
        foraging.humid_free_pct, foraging.humid_damp_pct, foraging.humid_damp_share.

    Returns
    -------
    numpy.ndarray
        1 up to 85 %, 0.5 from 95 %: gentle, for damp mornings still bring nectar.
    """
    knots = [numbers["foraging.humid_free_pct"], numbers["foraging.humid_damp_pct"]]
    return np.interp(rh_pct, knots, [1.0, numbers["foraging.humid_damp_share"]])


def foraging_hours(hourly, numbers, shelter=None):
    """What each hour is worth to foragers, and what was lost to which weather.

    Parameters
    ----------
    hourly : pandas.DataFrame
        temp_c, ghi_wm2, wind_ms, precip_mm, rh_pct and clear_ghi_wm2 (`complete_weather`).
    numbers : flowcast.numbers.Numbers
        Group foraging.
    shelter : float, optional
        Share of the 10 m wind at flight height; foraging.shelter when not given. [1]

    Returns
    -------
    pandas.DataFrame
        Same index. suitability (0 to 1) and lost_cold, lost_heat, lost_light, lost_rain, lost_wind,
        lost_humid, in hours. Together they are what a clear sky would have allowed,
        light_response(clear_ghi_wm2). An hour with missing weather is NaN. [h]

    Raises
    ------
    MissingColumnError
        When a column is not there.

    Notes
    -----
    What was lost is shared out in proportion to minus the logarithm of each response, so that
    factors that halve the hour weigh the same whatever their order; the light counts against that
    of a clear sky. Sharing is our choice.
    """
    require_columns(hourly, list(NEEDS), where="hourly weather")
    weather = [hourly[name].to_numpy(float) for name in NEEDS]
    shelter = numbers["foraging.shelter"] if shelter is None else shelter
    out = np.zeros((len(HOURLY), len(hourly)))
    for begin in range(0, len(hourly), BLOCK):
        block = slice(begin, begin + BLOCK)
        _forage([column[block] for column in weather], shelter, numbers, out[:, block])
    return pd.DataFrame(out.T, index=hourly.index, columns=HOURLY, copy=False)


def _forage(weather, shelter, numbers, out):
    """One block of hours, written into `out`: only hours of daylight are worked out."""
    clear = weather[-1]
    lit = np.flatnonzero(clear > numbers["foraging.light_none_wm2"])
    temp, ghi, wind, rain, humidity, clear = (column[lit] for column in weather)
    potential = light_response(clear, numbers)
    responses = {
        "cold": temperature_response(np.minimum(temp, numbers["foraging.temp_hot_c"]), numbers),
        "heat": temperature_response(np.maximum(temp, numbers["foraging.temp_full_c"]), numbers),
        "light": np.minimum(light_response(ghi, numbers) / potential, 1.0),
        "rain": rain_response(rain, numbers),
        "wind": wind_response(wind, shelter, numbers),
        "humid": humidity_response(humidity, numbers),
    }
    out[:, lit] = _shared_out(potential, list(responses.values()), numbers["foraging.loss_floor"])
    missing = np.isnan(sum(weather))
    out[:, missing] = np.nan


def _shared_out(potential, responses, floor):
    """Suitability and, below it, the loss to each factor in proportion to minus its logarithm."""
    rows = np.empty((1 + len(responses), len(potential)))
    rows[0] = potential
    for row, response in zip(rows[1:], responses, strict=True):
        rows[0] *= response
        np.log(np.maximum(response, floor), out=row)
    total = rows[1:].sum(axis=0)
    total[total == 0] = -1.0  # nothing was lost: nothing is shared out
    rows[1:] *= (potential - rows[0]) / total
    rows += 0.0  # turns -0.0 into 0.0
    return rows


def foraging_days(hourly, timezone, numbers, shelter=None):
    """Foraging hours of each local day, and the hours lost to each factor.

    Parameters
    ----------
    hourly : pandas.DataFrame
        As for `foraging_hours`; UTC stamps at the END of each hour, in order.
    timezone : str
        Name of the yard's time zone.
    numbers : flowcast.numbers.Numbers
        Group foraging.
    shelter : float, optional
        Share of the 10 m wind at flight height; foraging.shelter when not given. [1]

    Returns
    -------
    pandas.DataFrame
        Index: every local date that the hours touch. foraging_h and lost_cold_h, lost_heat_h,
        lost_light_h, lost_rain_h, lost_wind_h, lost_humid_h. [h]

    Notes
    -----
    A day is NaN when its hours are not all in the table, or when more than
    foraging.missing_max_h of its daylight hours have no weather. With fewer missing, the known
    hours stand for them: the sums are scaled to the whole day's clear-sky potential.
    """
    if hourly.empty:
        return pd.DataFrame(columns=DAILY, index=pd.DatetimeIndex([], name="date"), dtype=float)
    edges = local_dates(hourly.index[[0, -1]], timezone)
    table = hourly.reindex(hours_of_days(edges[0], edges[1], timezone))
    starts, dates = day_starts(local_dates(table.index, timezone))
    hours = foraging_hours(table, numbers, shelter).to_numpy()
    potential = light_response(table["clear_ghi_wm2"].to_numpy(float), numbers)
    unknown = np.isnan(hours[:, 0])
    missing = np.add.reduceat(unknown & ~(potential == 0), starts, dtype=int)
    seen = np.add.reduceat(np.where(unknown, 0.0, potential), starts)
    scale = np.divide(
        np.add.reduceat(potential, starts), seen, out=np.ones(len(seen)), where=seen > 0
    )
    sums = np.add.reduceat(np.where(unknown[:, None], 0.0, hours), starts, axis=0)
    sums *= np.where(missing > numbers["foraging.missing_max_h"], np.nan, scale)[:, None]
    return pd.DataFrame(sums, index=dates, columns=DAILY)


def is_foraging_day(foraging_h, numbers):
    """Whether a day has the hours of a foraging day (4 unless the yard sets others).

    Parameters
    ----------
    foraging_h : array-like
        Foraging hours of each day; a missing day is none. [h]
    numbers : flowcast.numbers.Numbers
        foraging.day_h.

    Returns
    -------
    numpy.ndarray of bool
    """
    return np.asarray(foraging_h, float) >= numbers["foraging.day_h"]
