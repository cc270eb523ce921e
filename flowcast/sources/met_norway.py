"""MET Norway's Locationforecast 2.0: one run of about nine days ahead, anywhere on Earth.

It wants to know who asks, and to be asked again only when its own Expires has passed. It gives no
history, no radiation and no soil. https://api.met.no/weatherapi/locationforecast/2.0/documentation
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.errors import SourceFormatError
from flowcast.sources.http import Web
from flowcast.sources.service import (
    Ahead,
    Origin,
    Service,
    Site,
    read_json,
    wild_notes,
    within_bounds,
)

LOCATIONFORECAST = Service(
    name="MET Norway",
    url="https://api.met.no",
    licence="NLOD 2.0 and CC BY 4.0",
    attribution="Data from MET Norway",
    link="https://www.met.no/en",
    needs_contact=True,
)
INSTANT = {
    "temp_c": ("air_temperature", "celsius"),
    "rh_pct": ("relative_humidity", "%"),
    "dewpoint_c": ("dew_point_temperature", "celsius"),
    "wind_ms": ("wind_speed", "m/s"),
    "cloud_pct": ("cloud_area_fraction", "%"),
    "pressure_hpa": ("air_pressure_at_sea_level", "hPa"),
}
MODEL = "locationforecast 2.0"
RAIN = "precipitation_amount"


def get_forecast(web: Web, site: Site) -> Ahead:
    """The point forecast of the days ahead. [network]

    Raises
    ------
    SourceUnavailable, SourceFormatError
    """
    asked = {"lat": f"{site.latitude:.3f}", "lon": f"{site.longitude:.3f}"}
    if site.elevation_m is not None:
        asked["altitude"] = f"{site.elevation_m:.0f}"
    answer = web.get(
        LOCATIONFORECAST,
        "/weatherapi/locationforecast/2.0/compact",
        asked,
        lifetime_s=None,  # exactly as its Expires says
        what="the days ahead",
        usable=parse_forecast,
    )
    table, origin = parse_forecast(answer.content)
    return Ahead((table,), origin.signed(LOCATIONFORECAST, MODEL, answer))


def parse_forecast(content: bytes) -> tuple[pd.DataFrame, Origin]:
    """Locationforecast JSON to hours in our columns.

    Rain is given for the hour (later: the six hours) that FOLLOWS its time, so its label moves to
    the end of that hour; six hours' rain is spread evenly, which the origin says. Instants are
    joined by straight lines between the six-hourly steps.

    Raises
    ------
    SourceFormatError
    """
    reply = read_json(content, "MET Norway")
    try:
        steps = reply["properties"]["timeseries"]
        units = reply["properties"]["meta"]["units"]
        times = pd.DatetimeIndex([s["time"] for s in steps]).tz_convert("UTC")
        details = [s["data"]["instant"]["details"] for s in steps]
        rain = [_rain_of(s["data"]) for s in steps]
    except (KeyError, TypeError, ValueError):
        raise SourceFormatError("MET Norway: its answer has an unknown shape.") from None
    _check_units(units)
    if len(times) < 2 or not times.is_monotonic_increasing or times.has_duplicates:
        raise SourceFormatError("MET Norway: its times are not in order.")
    columns = {c: n for c, (n, _) in INSTANT.items() if any(n in d for d in details)}
    instants = pd.DataFrame(
        {c: [_number(d.get(n)) for d in details] for c, n in columns.items()}, index=times
    )
    hours = pd.date_range(times[0], times[-1], freq="h", name="time")
    if "temp_c" not in instants:
        raise SourceFormatError("MET Norway: no air_temperature in its answer.")
    table = instants.reindex(times.union(hours)).interpolate("time").reindex(hours)
    amount, coarse = _hourly_rain(times, rain, hours)
    table, wild = within_bounds(table.assign(precip_mm=amount).iloc[1:])
    return table, _origin(reply, units, columns, coarse, wild)


def _rain_of(data: dict) -> tuple[int, float]:
    """How many hours the step's rain covers, and how much it is; never both kinds at once."""
    for hours in (1, 6):
        amount = data.get(f"next_{hours}_hours", {}).get("details", {}).get(RAIN)
        if amount is not None:
            return hours, float(amount)
    return 0, np.nan


def _hourly_rain(times, rain, hours) -> tuple[np.ndarray, int]:
    """Rain at the end of each hour, and how many hours were spread from longer sums."""
    amount, coarse = pd.Series(np.nan, index=hours), 0
    for time, (length, mm) in zip(times, rain, strict=True):
        if length:
            ends = pd.date_range(time + pd.Timedelta(hours=1), periods=length, freq="h")
            ends = ends.intersection(hours)
            empty = ends[amount[ends].isna()]
            amount[empty] = mm / length
            coarse += len(empty) * (length > 1)
    return amount.to_numpy(), coarse


def _check_units(units: dict) -> None:
    for name, expected in [*INSTANT.values(), (RAIN, "mm")]:
        if units.get(name, expected) != expected:
            raise SourceFormatError(
                f"MET Norway: {name} comes in {units[name]!r}, a unit we do not know."
            )


def _number(value) -> float:
    return np.nan if value is None else float(value)


def _origin(reply, units, columns, coarse: int, wild) -> Origin:
    coordinates = reply.get("geometry", {}).get("coordinates", [None, None, None])
    longitude, latitude, *height = coordinates
    notes = wild_notes(wild, "MET Norway")
    if coarse:
        notes += (f"MET Norway: rain of {coarse} hours is spread evenly from six-hour sums.",)
    made = {c: f"{n}, {units.get(n, '')}" for c, n in columns.items()}
    return Origin(
        issued=reply["properties"]["meta"].get("updated_at"),
        cell=(latitude, longitude, height[0] if height else None),
        columns=made | {"precip_mm": f"{RAIN}, mm, moved from the hour's start to its end"},
        notes=notes,
    )
