"""MET Norway's Locationforecast 2.0: one run of about nine days ahead, anywhere on Earth.

It wants to know who asks, and to be asked again only when its own Expires has passed. It gives no
history, no radiation and no soil. https://api.met.no/weatherapi/locationforecast/2.0/documentation
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.errors import NothingThere, SourceFormatError
from flowcast.messages import Note
from flowcast.sources.http import Web
from flowcast.sources.service import (
    Ahead,
    Origin,
    Service,
    Site,
    cell_of,
    known_shape,
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
NOTHING = "MET Norway: it has nothing for this place and span."
STEP_H = 6  # the longest step; a longer hole is no step and stays open


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


@known_shape("MET Norway")
def parse_forecast(content: bytes) -> tuple[pd.DataFrame, Origin]:
    """Locationforecast JSON to hours in our columns.

    Rain is given for the hour (later: the six hours) that FOLLOWS its time, so its label moves to
    the end of that hour; what six hours' rain leaves for hours without a sum of their own is spread
    evenly over them, which the origin says. Instants are joined by straight lines between the
    six-hourly steps, and not across longer holes.

    Raises
    ------
    SourceFormatError
    NothingThere
        When no hour has both temperature and rain.
    """
    reply = read_json(content, "MET Norway")
    steps = reply["properties"]["timeseries"]
    units = reply["properties"]["meta"]["units"]
    details = [s["data"]["instant"]["details"] for s in steps]
    stamps = [str(s["time"]) for s in steps]
    times = pd.DatetimeIndex(pd.to_datetime(stamps, format="ISO8601", utc=True)).as_unit("ns")
    _check_units(units)
    _check_times(times)
    columns = {c: n for c, (n, _) in INSTANT.items() if any(n in d for d in details)}
    if "temp_c" not in columns:
        raise SourceFormatError("MET Norway: no air_temperature in its answer.")
    hours = pd.date_range(times[0].ceil("h"), times[-1], freq="h", name="time")
    instants = {
        c: _in_lines(times, np.array([_number(d.get(n)) for d in details]), hours)
        for c, n in columns.items()
    }
    amount, coarse = _hourly_rain(times, [s["data"] for s in steps], hours)
    table = pd.DataFrame(instants, index=hours).assign(precip_mm=amount)
    table, wild = within_bounds(table.iloc[1:])
    known = np.flatnonzero(table["temp_c"].notna() & table["precip_mm"].notna())
    if not len(known):
        raise NothingThere(NOTHING)
    table = table.iloc[known[0] : known[-1] + 1]
    return table, _origin(reply, units, columns, coarse, wild)


def _check_times(times: pd.DatetimeIndex) -> None:
    if len(times) < 2:
        raise NothingThere(NOTHING)
    if times.hasnans or not times.is_monotonic_increasing or times.has_duplicates:
        raise SourceFormatError("MET Norway: its times are not in order.")
    if times[-1] - times[0] > pd.Timedelta(days=60):
        raise SourceFormatError("MET Norway: its times span more than any forecast.")


def _in_lines(times, values, hours) -> np.ndarray:
    """Instants at these hours, on straight lines between steps that lie no more than a step apart."""
    known = ~np.isnan(values)
    if not known.any():
        return np.full(len(hours), np.nan)
    there, wanted = (index.asi8 / 3.6e12 for index in (times[known], hours.as_unit("ns")))
    line = np.interp(wanted, there, values[known], left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(there, wanted), 0, len(there) - 1)
    width = there[after] - there[np.maximum(after - 1, 0)]
    return np.where((width <= STEP_H) | (there[after] == wanted), line, np.nan)


def _rain_of(data: dict, hours: int) -> float:
    return _number(data.get(f"next_{hours}_hours", {}).get("details", {}).get(RAIN))


def _hourly_rain(times, steps: list[dict], hours) -> tuple[np.ndarray, int]:
    """Rain at the end of each hour, and how many hours were spread from six-hour sums.

    An hour's own sum counts; the six hours' sum that holds it gives its rest to hours without one.
    """
    after = hours.union(hours[-1] + pd.timedelta_range("1h", f"{STEP_H}h", freq="h"))
    amount, spread = pd.Series(np.nan, index=after), pd.Series(False, index=after)
    for time, data in zip(times, steps, strict=True):
        end = time + pd.Timedelta(hours=1)
        if end in amount.index:
            amount[end] = _rain_of(data, 1)
    for time, data in zip(times, steps, strict=True):
        six = amount[time + pd.Timedelta(hours=1) : time + pd.Timedelta(hours=STEP_H)]
        mm, empty = _rain_of(data, STEP_H), six.index[six.isna()]
        if len(empty) and not np.isnan(mm):
            amount[empty] = max(0.0, mm - six.sum()) / len(empty)
            spread[empty] = True
    return amount[hours].to_numpy(), int(spread[hours].sum())


def _check_units(units: dict) -> None:
    for name, expected in [*INSTANT.values(), (RAIN, "mm")]:
        if units.get(name, expected) != expected:
            raise SourceFormatError(
                f"MET Norway: {name} comes in {units[name]!r}, a unit we do not know."
            )


def _number(value) -> float:
    return np.nan if value is None else float(value)


def _origin(reply, units, columns, coarse: int, wild) -> Origin:
    longitude, latitude, *height = reply.get("geometry", {}).get("coordinates", [None, None])
    notes = wild_notes(wild, "MET Norway")
    if coarse:
        notes += (Note.of("sources_said.spread_evenly", n=coarse),)
    made = {c: f"{n}, {units.get(n, '')}" for c, n in columns.items()}
    return Origin(
        issued=reply["properties"]["meta"].get("updated_at"),
        cell=cell_of(latitude, longitude, *height[:1]),
        columns=made | {"precip_mm": f"{RAIN}, mm, moved from the hour's start to its end"},
        notes=notes,
    )
