"""The history against the nearest weather station: how far a grid cell is from what is measured."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.results import StationCheck
from flowcast.sources.stations import StationHours, to_yard_height


def against_station(
    nearby: tuple[StationHours, ...], table: pd.DataFrame, place, numbers
) -> StationCheck | None:
    """Compare hours with the nearest station that has some in common.

    Returns
    -------
    StationCheck or None
        None when there is no station, or fewer than stations.compare_d days in common.

    Notes
    -----
    Temperature is brought to the yard's height before. Rain is compared as its total, for a gauge
    and a grid cell do not agree on the hour of a shower. Where they differ by more than
    stations.doubt_c or stations.doubt_rain, the outlook's interval is widened by
    stations.doubt_widen: one of the two is not the yard's weather.
    """
    for station in nearby:
        hours = to_yard_height(station.table, station.height_difference_m, numbers=numbers)
        common = hours.index.intersection(table.index)
        if len(common) / 24 >= numbers["stations.compare_d"]:
            return _compared(station, hours.loc[common], table.loc[common], numbers)
    return None


def _compared(
    station: StationHours, hours: pd.DataFrame, table: pd.DataFrame, numbers
) -> StationCheck:
    off = table["temp_c"] - hours["temp_c"] if "temp_c" in hours else pd.Series(dtype=float)
    rain = _rain_ratio(hours, table)
    bias = float(off.mean()) if off.notna().any() else np.nan
    doubt = abs(bias) > numbers["stations.doubt_c"]
    if np.isfinite(rain):
        doubt |= abs(np.log(max(rain, 1e-3))) > np.log(numbers["stations.doubt_rain"])
    return StationCheck(
        station=station,
        days=len(hours) / 24,
        temp_bias_c=bias,
        temp_rmse_c=float(np.sqrt((off**2).mean())) if off.notna().any() else np.nan,
        rain_ratio=rain,
        doubtful=bool(doubt),
        widen=numbers["stations.doubt_widen"] if doubt else 1.0,
    )


def _rain_ratio(hours: pd.DataFrame, table: pd.DataFrame) -> float:
    """Our rain over the station's, in the hours in which both know it; NaN where it hardly rained."""
    if "precip_mm" not in hours:
        return np.nan
    both = hours["precip_mm"].notna() & table["precip_mm"].notna()
    measured = float(hours["precip_mm"][both].sum())
    return float(table["precip_mm"][both].sum()) / measured if measured > 50 else np.nan
