"""Open-Meteo: decades of history, the last weeks, an ensemble ahead, places by name.

Times are asked for in UTC and carry our own labels already: sums and means at the END of their
hour, instants at the instant. https://open-meteo.com/en/docs
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from flowcast.errors import InputError, NothingThere, SourceFormatError, SourceUnavailable
from flowcast.sources.http import FOR_EVER, Web
from flowcast.sources.limits import call_weight
from flowcast.sources.service import (
    Ahead,
    Answer,
    Block,
    Origin,
    Service,
    Site,
    cell_of,
    known_shape,
    read_json,
    wild_notes,
    within_bounds,
)
from flowcast.tables import WEATHER

LICENCE = "CC BY 4.0"
CREDIT = "Weather data by Open-Meteo.com"
LINK = "https://open-meteo.com/"
FREE = "Open-Meteo"


def _host(what: str, host: str, credit: str = CREDIT) -> Service:
    """One host of the house: free for non-commercial use, its customers' twin with a key."""
    return Service(
        name=f"Open-Meteo {what}",
        url=f"https://{host}.open-meteo.com",
        key_url=f"https://customer-{host}.open-meteo.com",
        licence=LICENCE,
        attribution=credit,
        link=LINK,
        limits=FREE,
        commercial=False,
    )


ARCHIVE = _host(
    "archive",
    "archive-api",
    f"{CREDIT}; ERA5 and ERA5-Land by ECMWF, Copernicus Climate Change Service",
)
FORECAST = _host("forecast", "api")
ENSEMBLE = _host("ensemble", "ensemble-api")
PLACES = _host("geocoding", "geocoding-api", f"{CREDIT}; place names by GeoNames")

# Our column: what Open-Meteo calls it, best first; soil layers differ between models.
NAMES = {
    "temp_c": ("temperature_2m",),
    "rh_pct": ("relative_humidity_2m",),
    "dewpoint_c": ("dew_point_2m",),
    "precip_mm": ("precipitation",),
    "wind_ms": ("wind_speed_10m",),
    "ghi_wm2": ("shortwave_radiation",),
    "soil_temp_c": (
        "soil_temperature_0_to_7cm",
        "soil_temperature_6cm",
        "soil_temperature_0_to_10cm",
    ),
    "soil_moisture_m3m3": (
        "soil_moisture_0_to_7cm",
        "soil_moisture_3_to_9cm",
        "soil_moisture_0_to_10cm",
    ),
    "cloud_pct": ("cloud_cover",),
    "pressure_hpa": ("pressure_msl",),
}
# What another unit becomes: ours = value x factor + offset. A unit of another kind is refused.
UNITS = {
    "°F": ("°C", 5 / 9, -160 / 9),
    "inch": ("mm", 25.4, 0.0),
    "km/h": ("m/s", 1 / 3.6, 0.0),
    "mp/h": ("m/s", 0.44704, 0.0),
    "mph": ("m/s", 0.44704, 0.0),
    "kn": ("m/s", 1852 / 3600, 0.0),
}
NEEDED = ("temp_c", "precip_mm")
NOTHING = "Open-Meteo: it has nothing for this place and span."
# The air is all the flow needs; the soil of the archive serves the beetles' clock.
AIR = ("temp_c", "rh_pct", "precip_mm", "wind_ms", "ghi_wm2")
SOIL = ("soil_temp_c", "soil_moisture_m3m3")
HISTORY_MODEL = "era5_seamless"  # one model over all decades; the default blend changes with time
ENSEMBLE_MODELS = ("ecmwf_ifs025_ensemble", "ncep_gefs_seamless")  # members: 51, 31
MEMBERS = {"ecmwf_ifs025_ensemble": 51, "ncep_gefs_seamless": 31}
PAST_DAYS = 92  # the most the forecast host gives: its overlap with the archive


def get_archive(web: Web, site: Site, first: date, last: date, today: date) -> Block:
    """Hourly history of a span, at best one calendar year. [network]

    Parameters
    ----------
    first, last : date
        UTC days, both whole.
    today : date
        Tells how long the answer stays fresh: for ever when the span ended long ago.

    Raises
    ------
    SourceUnavailable, SourceFormatError
    """
    names = [NAMES[c][0] for c in (*AIR, *SOIL)]
    numbers = web.numbers
    settled = (today - last).days > numbers["service.archive_settled_d"]
    asked = {
        "models": HISTORY_MODEL,
        "hourly": ",".join(names),
        "start_date": first.isoformat(),
        "end_date": last.isoformat(),
    }
    answer = web.get(
        ARCHIVE,
        "/v1/archive",
        _common(site) | asked,
        lifetime_s=FOR_EVER if settled else 3600 * numbers["service.archive_h"],
        what=f"weather of {first:%Y-%m-%d} to {last:%Y-%m-%d}",
        weight=call_weight(len(names), (last - first).days + 1, numbers),
        usable=_is_weather,
    )
    return _block(ARCHIVE, HISTORY_MODEL, answer)


def get_forecast(web: Web, site: Site, days: int = 16) -> Block:
    """The last 92 days and the point forecast of the days ahead, in one table. [network]

    The past days are what short forecasts and analyses said; they bridge the archive's lag and
    tell how this model differs from the archive.

    Raises
    ------
    SourceUnavailable, SourceFormatError
    """
    names = [NAMES[c][0] for c in AIR]
    answer = web.get(
        FORECAST,
        "/v1/forecast",
        _common(site)
        | {"hourly": ",".join(names), "past_days": str(PAST_DAYS), "forecast_days": str(days)},
        lifetime_s=3600 * web.numbers["service.forecast_h"],
        what="the last weeks and the days ahead",
        weight=call_weight(len(names), PAST_DAYS + days, web.numbers),
        usable=_is_weather,
    )
    return _block(FORECAST, "best_match", answer)


def get_ensemble(web: Web, site: Site, days: int = 16) -> Ahead:
    """Ensemble of the days ahead: the first model that answers. [network]

    Raises
    ------
    SourceUnavailable, SourceFormatError
        What the last model said.
    """
    trouble: Exception = SourceUnavailable(f"{ENSEMBLE.name}: no model is named.")
    for model in ENSEMBLE_MODELS:
        try:
            return _get_model(web, site, model, days)
        except (SourceUnavailable, SourceFormatError) as error:
            trouble = error
    raise trouble


def _get_model(web: Web, site: Site, model: str, days: int) -> Ahead:
    names = [NAMES[c][0] for c in AIR]
    answer = web.get(
        ENSEMBLE,
        "/v1/ensemble",
        _common(site) | {"models": model, "hourly": ",".join(names), "forecast_days": str(days)},
        lifetime_s=3600 * web.numbers["service.forecast_h"],
        what=f"the ensemble ahead ({model})",
        weight=call_weight(len(names) * MEMBERS[model], days, web.numbers),
        usable=_is_weather,
    )
    members, origin = parse_members(answer.content)
    return Ahead(members, origin.signed(ENSEMBLE, model, answer))


def parse_hours(content: bytes) -> tuple[pd.DataFrame, Origin]:
    """Hourly JSON of one place to our columns; days the service does not have yet are cut off.

    Returns
    -------
    table : DataFrame
        Columns of `tables.WEATHER` that the answer holds; UTC stamps at the END of each hour.
    origin : Origin
        Grid cell, and what each column was made from.

    Raises
    ------
    SourceFormatError
        For anything but the shape of one place's hours, or a unit we do not know.
    """
    members, origin = parse_members(content)
    return members[0], origin


@known_shape("Open-Meteo")
def parse_members(content: bytes) -> tuple[tuple[pd.DataFrame, ...], Origin]:
    """As `parse_hours`, one table for the control run and each member, in one shape.

    Members are named variable, variable_member01, ...; with a model's name behind where several
    were asked for. Members without any hour are left out; what only some members tell is missing
    in the others.
    """
    reply = _one_place(read_json(content, "Open-Meteo"))
    hourly, units = _section(reply, "hourly"), _section(reply, "hourly_units")
    index = _stamps(hourly, reply)
    keys = {c: _keys_of(hourly, names) for c, names in NAMES.items()}
    runs = sorted(keys["temp_c"].keys() & keys["precip_mm"].keys())
    if not runs:
        raise _nothing(hourly, keys)
    keys = {c: own for c, own in keys.items() if own.keys() & set(runs)}
    tables, wild = [], Counter()
    for run in runs:
        values = {c: _values(hourly, units, c, own.get(run)) for c, own in keys.items()}
        table, bad = within_bounds(pd.DataFrame(values, index=index))
        tables.append(table)
        wild.update(bad)
    firsts = {c: next(iter(own.values())) for c, own in keys.items()}
    columns = {c: f"{key}, {_unit(units, key)}" for c, key in firsts.items()}
    cell = cell_of(reply.get("latitude"), reply.get("longitude"), reply.get("elevation"))
    tables = _cut(tables)
    notes = wild_notes(wild, "Open-Meteo")
    return tables, Origin(cell=cell, members=len(tables), columns=columns, notes=notes)


@dataclass(frozen=True)
class NamedPlace:
    """A place by its name."""

    name: str
    region: str
    country: str
    latitude: float
    longitude: float
    elevation_m: float | None
    timezone: str | None

    @property
    def full_name(self) -> str:
        """Name, region and country, so that it can be told from its namesakes."""
        return ", ".join(part for part in (self.name, self.region, self.country) if part)


def get_places(web: Web, name: str) -> list[NamedPlace]:
    """Places of this name; "Town, Country" or "Town, Region" narrows it. [network]

    Raises
    ------
    InputError
        When no place has that name.
    SourceUnavailable, SourceFormatError
    """
    town, *qualifiers = [part.strip() for part in name.split(",")]
    answer = web.get(
        PLACES,
        "/v1/search",
        {"name": town, "count": "20", "language": "en", "format": "json"},
        lifetime_s=86400 * web.numbers["service.places_d"],
        what=f"the place {town!r}",
        usable=lambda content: read_json(content, "Open-Meteo"),
    )
    found = [p for p in parse_places(answer.content) if _is_in(p, qualifiers)]
    if not found:
        raise InputError(
            f'no place called {name!r} is known. Write it as "Town, Country", or give --at with '
            "latitude and longitude."
        )
    return found


def parse_places(content: bytes) -> list[NamedPlace]:
    """The geocoding answer; none when no place matches."""
    with known_shape("Open-Meteo"):
        reply = read_json(content, "Open-Meteo")
        _refuse_error(reply)
        return [_named(p) for p in reply.get("results") or []]


def _named(place: dict) -> NamedPlace:
    height = place.get("elevation")
    return NamedPlace(
        str(place["name"]),
        str(place.get("admin1") or ""),
        str(place.get("country") or place.get("country_code") or ""),
        float(place["latitude"]),
        float(place["longitude"]),
        None if height is None else float(height),
        place.get("timezone"),
    )


def _is_in(place: NamedPlace, qualifiers: list[str]) -> bool:
    own = {place.region.lower(), place.country.lower()}
    return all(q.lower() in own for q in qualifiers if q)


def _common(site: Site) -> dict[str, str]:
    asked = {
        "latitude": f"{site.latitude:g}",
        "longitude": f"{site.longitude:g}",
        "timezone": "GMT",
        "wind_speed_unit": "ms",
    }
    return asked if site.elevation_m is None else asked | {"elevation": f"{site.elevation_m:.0f}"}


def _block(service: Service, model: str, answer: Answer) -> Block:
    table, origin = parse_hours(answer.content)
    return Block(table, origin.signed(service, model, answer))


@known_shape("Open-Meteo")
def _is_weather(content: bytes) -> None:
    _section(_one_place(read_json(content, "Open-Meteo")), "hourly")


def _one_place(reply) -> dict:
    """The object of the one place asked for; a list comes when several were."""
    if isinstance(reply, list) and len(reply) == 1:
        reply = reply[0]
    if isinstance(reply, list) and reply:
        raise SourceFormatError("Open-Meteo: one place was asked for and several were answered.")
    _refuse_error(reply)
    return reply


def _refuse_error(reply: dict) -> None:
    """An error may come as an answer like any other."""
    if reply.get("error"):
        reason = " ".join(str(reply.get("reason") or "an error").split())
        raise NothingThere(f"Open-Meteo: {reason[:200].rstrip('.')}.")


def _section(reply: dict, name: str) -> dict:
    section = reply.get(name)
    if not isinstance(section, dict):
        raise SourceFormatError(f"Open-Meteo: no {name!r} in the answer.")
    return section


def _stamps(hourly: dict, reply: dict) -> pd.DatetimeIndex:
    try:
        stamps = [str(time) for time in hourly["time"]]
        shift = pd.Timedelta(seconds=int(reply.get("utc_offset_seconds", 0)))
        local = pd.DatetimeIndex(pd.to_datetime(stamps, format="ISO8601", utc=True), name="time")
        index = (local - shift).as_unit("ns")
    except (LookupError, ValueError, TypeError, OverflowError):
        raise SourceFormatError("Open-Meteo: its times cannot be read.") from None
    if index.hasnans or not index.is_monotonic_increasing or index.has_duplicates:
        raise SourceFormatError("Open-Meteo: its times are not in order.")
    return index


def _keys_of(hourly: dict, names: tuple[str, ...]) -> dict[tuple[int, str], str]:
    """(member, model) -> key, of the first of these names that holds any value; control first."""
    for name in names:
        keys = _runs_of(hourly, name)
        if any(value is not None for key in keys.values() for value in hourly[key]):
            return keys
    return {}


def _runs_of(hourly: dict, name: str) -> dict[tuple[int, str], str]:
    pattern = re.compile(rf"{name}(?:_member([0-9]{{1,3}}))?(_[a-z][a-z0-9_]*)?")
    matches = [(key, m) for key in hourly if (m := pattern.fullmatch(key))]
    return dict(sorted(((int(m[1] or 0), m[2] or ""), key) for key, m in matches))


def _nothing(hourly: dict, keys: dict) -> Exception:
    """Why there is no run with both temperature and rain: not in the answer, or null everywhere."""
    gone = [c for c in NEEDED if not _runs_of(hourly, NAMES[c][0])]
    if gone or all(keys[c] for c in NEEDED):
        what = " and ".join(gone or NEEDED)
        return SourceFormatError(f"Open-Meteo: {what} not in the answer.")
    return NothingThere(NOTHING)


def _unit(units: dict, key: str) -> str:
    return str(units.get(key, ""))


def _values(hourly: dict, units: dict, column: str, key: str | None) -> np.ndarray:
    """One run's values in our unit; missing throughout where the run has none of its own."""
    if key is None:
        return np.full(len(hourly["time"]), np.nan)
    unit = _unit(units, key)
    ours, factor, offset = UNITS.get(unit, (unit, 1.0, 0.0))
    if ours != WEATHER[column].unit:
        raise SourceFormatError(f"Open-Meteo: {key} comes in {unit!r}, a unit we do not know.")
    try:
        values = np.array(hourly[key], dtype=float)  # null becomes NaN
    except (ValueError, TypeError, OverflowError):
        raise SourceFormatError(f"Open-Meteo: {key} holds something that is no number.") from None
    if values.shape != (len(hourly["time"]),):
        raise SourceFormatError(f"Open-Meteo: {key} has not one value for each time.")
    return values if (factor, offset) == (1.0, 0.0) else values * factor + offset


def _cut(tables: list[pd.DataFrame]) -> tuple[pd.DataFrame, ...]:
    """Members of which anything is known, from the first hour that any of them knows to the last."""
    known = np.array([t[list(NEEDED)].notna().all(axis=1) for t in tables])
    hours = np.flatnonzero(known.any(axis=0))
    if not len(hours):
        raise NothingThere(NOTHING)
    first, last = hours[0], hours[-1] + 1
    return tuple(t.iloc[first:last] for t, own in zip(tables, known, strict=True) if own.any())
