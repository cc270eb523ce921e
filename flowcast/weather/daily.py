"""Hourly weather as local days, with evapotranspiration, soil temperature and soil water."""

import numpy as np
import pandas as pd

from flowcast.tables import require_columns
from flowcast.weather.days import day_starts, hours_of_days, local_dates
from flowcast.weather.humidity import saturation_vapour_pressure
from flowcast.weather.soil import ground_warmth, soil_temperature, soil_water
from flowcast.weather.sun import (
    W_PER_MJ_DAY,
    day_length_h,
    extraterrestrial_radiation,
    solar_noon_utc_h,
)

CORE = ["temp_c", "precip_mm", "wind_ms", "rh_pct", "ghi_wm2"]  # what a day needs in every hour
COLUMNS = [
    "temp_mean_c",
    "temp_max_c",
    "temp_min_c",
    "precip_mm",
    "wind_ms",
    "rh_pct",
    "ghi_wm2",
    "et0_mm",
    "soil_temp_c",
    "soil_moisture_m3m3",
    "soil_water_frac",
    "dusk_temp_c",
]
LAYERS = ["soil_temp_c", "soil_moisture_m3m3"]  # of a service's soil; often there is none
DAY = [*COLUMNS[:7], "vapour_kpa", *LAYERS]  # what the hours of a day give by themselves
LATEST_DUSK_H = 10.0
POLAR_CIRCLE = 66.0  # pyet's sunset angle does not exist beyond it


def daily_weather(hourly, place, numbers):
    """Weather of each local day.

    Parameters
    ----------
    hourly : pandas.DataFrame
        Complete hourly weather (`complete_weather`): temp_c, precip_mm, wind_ms, rh_pct, ghi_wm2,
        perhaps soil_temp_c and soil_moisture_m3m3. UTC stamps at the END of each hour.
    place : flowcast.tables.Place
        The yard.
    numbers : flowcast.numbers.Numbers
        Group soil.

    Returns
    -------
    pandas.DataFrame
        Index: every local date from the first to the last complete day. Columns temp_mean_c,
        temp_max_c, temp_min_c [°C], precip_mm [mm], wind_ms [m/s], rh_pct [%], ghi_wm2 (mean of 24
        hours) [W/m²], et0_mm [mm], soil_temp_c [°C], soil_moisture_m3m3 (NaN where no service gives
        it), soil_water_frac [1], dusk_temp_c [°C]. A day in between with a missing hour is NaN,
        save for the soil, which keeps its state.

    Raises
    ------
    MissingColumnError
        When a column is not there.
    """
    require_columns(hourly, CORE, where="hourly weather")
    days = _whole_days(hourly, place.timezone)
    et0 = reference_et(days, place)
    return days.assign(
        et0_mm=et0,
        soil_temp_c=soil_temperature(
            ground_warmth(days["temp_mean_c"], days["ghi_wm2"], numbers),
            numbers,
            known_c=days["soil_temp_c"],
        ),
        soil_water_frac=soil_water(days["precip_mm"], et0, numbers),
        dusk_temp_c=dusk_temperature(hourly["temp_c"], days.index, place),
    )[COLUMNS]


def dusk_temperature(temp_c, dates, place):
    """Air temperature at sunset, when adult beetles fly. [°C]

    Parameters
    ----------
    temp_c : pandas.Series
        Air temperature on UTC end-of-hour stamps. [°C]
    dates : pandas.DatetimeIndex
        Local dates.
    place : flowcast.tables.Place
        The yard.

    Returns
    -------
    pandas.Series
        Index: dates. Between the two nearest stamps; NaN when one of them is missing. Where the
        sun sets later than ten hours after noon or not at all, the temperature at that hour, which
        lies within the day by any clock. [°C]
    """
    if not len(dates):
        return pd.Series([], index=dates, name="dusk_temp_c", dtype=float)
    after_noon = np.minimum(day_length_h(dates, place.latitude) / 2, LATEST_DUSK_H)
    hours = solar_noon_utc_h(dates, place.longitude) + after_noon
    stamps = (dates + pd.to_timedelta(hours, unit="h")).tz_localize("UTC")
    epoch = pd.Timestamp(0, tz="UTC")
    hour = (temp_c.index - epoch) / pd.Timedelta(hours=1)
    known = np.interp(
        (stamps - epoch) / pd.Timedelta(hours=1), hour, temp_c, left=np.nan, right=np.nan
    )
    return pd.Series(known, index=dates, name="dusk_temp_c")


def _whole_days(hourly, timezone):
    """Means, extremes and sums over the days that have every hour, first to last."""
    if hourly.empty:
        return pd.DataFrame(columns=DAY, index=pd.DatetimeIndex([], name="date"), dtype=float)
    edges = local_dates(hourly.index[[0, -1]], timezone)
    table = hourly.reindex(hours_of_days(edges[0], edges[1], timezone))
    days = _reduced(table, *day_starts(local_dates(table.index, timezone)))
    whole = np.flatnonzero(days["temp_mean_c"].notna())
    return days.iloc[whole[0] : whole[-1] + 1] if len(whole) else days.iloc[:0]


def _reduced(table, starts, dates):
    hours = np.diff(np.r_[starts, len(table)])
    temp, rain, wind, humidity, radiation = (table[c].to_numpy(float) for c in CORE)
    vapour = saturation_vapour_pressure(temp) * np.minimum(humidity, 100) / 100
    layers = [table[c].to_numpy(float) if c in table else temp * np.nan for c in LAYERS]
    days = np.column_stack(
        [
            np.add.reduceat(temp, starts) / hours,
            np.maximum.reduceat(temp, starts),
            np.minimum.reduceat(temp, starts),
            np.add.reduceat(rain, starts),
            np.add.reduceat(wind, starts) / hours,
            np.add.reduceat(humidity, starts) / hours,
            np.add.reduceat(radiation, starts) / hours,
            np.add.reduceat(vapour, starts) / hours,
            *(np.add.reduceat(layer, starts) / hours for layer in layers),
        ]
    )
    whole = ~np.isnan(days[:, : -len(LAYERS)]).any(axis=1)
    days[~whole] = np.nan  # a day is whole or it is missing
    return pd.DataFrame(days, index=dates, columns=DAY)


def reference_et(daily, place, soil_heat_mj=0.0):
    """Evapotranspiration of reference grass. [mm a day]

    Parameters
    ----------
    daily : pandas.DataFrame
        Index: dates. temp_max_c, temp_min_c [°C]; where known wind_ms at 10 m [m/s], ghi_wm2 (mean
        of 24 hours) [W/m²] and vapour_kpa, the actual vapour pressure [kPa].
    place : flowcast.tables.Place
        The yard: latitude and elevation.
    soil_heat_mj : float
        Heat flow into the soil; 0 for single days (FAO-56 eq. 42). [MJ/m² a day]

    Returns
    -------
    pandas.Series
        FAO-56 Penman-Monteith [1]_ through pyet; by Hargreaves where humidity, wind or radiation
        is missing; NaN without the temperatures. [mm]

    References
    ----------
    .. [1] R. G. Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56,
       1998, eq. 6 and 52.
    """
    known = daily.reindex(columns=["temp_max_c", "temp_min_c", "wind_ms", "ghi_wm2", "vapour_kpa"])
    full = known.notna().all(axis=1)
    least = known[["temp_max_c", "temp_min_c"]].notna().all(axis=1) & ~full
    et0 = pd.Series(np.nan, index=daily.index, name="et0_mm")
    if full.any():
        et0[full] = _penman_monteith(known[full], place, soil_heat_mj)
    if least.any():
        et0[least] = _hargreaves(known[least], place)
    return et0


def _penman_monteith(known, place, soil_heat_mj):
    import pyet

    high, low = known["temp_max_c"], known["temp_min_c"]
    above = pd.Series(extraterrestrial_radiation(known.index, place.latitude), known.index)
    return pyet.pm_fao56(
        tmean=(high + low) / 2,  # as FAO-56 has it, not the mean of the hours
        wind=wind_at_2m(known["wind_ms"]),
        rs=known["ghi_wm2"] / W_PER_MJ_DAY,
        g=soil_heat_mj,
        tmax=high,
        tmin=low,
        ea=known["vapour_kpa"],
        elevation=place.elevation_m,
        lat=np.radians(place.latitude),
        rso=pyet.calc_rso(above, place.elevation_m),
    )


def _hargreaves(known, place):
    import pyet

    high, low = known["temp_max_c"], known["temp_min_c"]
    latitude = float(np.clip(place.latitude, -POLAR_CIRCLE, POLAR_CIRCLE))
    return pyet.hargreaves((high + low) / 2, high, low, lat=np.radians(latitude))


def wind_at_2m(wind_ms):
    """Wind at 2 m over grass from wind at 10 m. [m/s]  (FAO-56 eq. 47)"""
    return wind_ms * 4.87 / np.log(67.8 * 10 - 5.42)
