"""A loopback server that answers as the public weather services do, from one invented weather.

All services show the SAME invented truth, each in its own units, names, interval labels, rounding
and missing markers, so that a client's reading of any of them can be held against the truth. The
shapes follow the services' documentation; every value is invented. Nothing reaches a network.

    with WeatherServers() as servers:
        base = servers.urls()["open-meteo archive"]          # ask base + "/v1/archive"
        servers.faults["open-meteo archive"].append(("status", 429))
        servers.bias["nasa power"] = {"temp_c": 1.5, "precip_mm": 1.2}

The truth is a table on UTC stamps that mark the END of their hour: instants at the stamp, rain and
radiation over the hour before it. It holds at the height `height_m`, wherever one asks.

Faults, one taken by each request of its service: "refuse", "reset", ("drip", seconds_per_byte),
"broken json", "stream error", "html", "half gzip", ("status", code[, reason]), ("redirect", url),
"missing columns", "wrong units", "list", "nulls".
"""

import gzip
import json
import os
import socket
import sqlite3
import struct
import threading
import time
import traceback
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import format_datetime
from functools import lru_cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qsl, urlencode, urlsplit
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

ARCHIVE, FORECAST, ENSEMBLE = "open-meteo archive", "open-meteo forecast", "open-meteo ensemble"
GEOCODING, ELEVATION = "open-meteo geocoding", "open-meteo elevation"
MET, POWER, METEOSTAT = "met norway", "nasa power", "meteostat"
PATHS = {
    "/v1/archive": ARCHIVE,
    "/v1/forecast": FORECAST,
    "/v1/ensemble": ENSEMBLE,
    "/v1/search": GEOCODING,
    "/v1/elevation": ELEVATION,
    "/weatherapi/locationforecast/2.0/compact": MET,
    "/api/temporal/hourly/point": POWER,
    "/stations.db": METEOSTAT,
}
SERVICES = tuple(dict.fromkeys(PATHS.values()))
HOUR, DAY = pd.Timedelta(hours=1), pd.Timedelta(days=1)
COLUMNS = [
    "temp_c",
    "rh_pct",
    "dewpoint_c",
    "precip_mm",
    "wind_ms",
    "ghi_wm2",
    "soil_temp_c",
    "soil_moisture_m3m3",
    "cloud_pct",
    "pressure_hpa",
]
LAPSE = 6.5  # °C a kilometre of height


# ---------------------------------------------------------------- the invented truth


def chance(blocks, salt):
    """Numbers in [0, 1) that depend on block and salt alone (the mixer of splitmix64)."""
    z = np.asarray(blocks, dtype=np.int64).astype(np.uint64)
    z = z * np.uint64(0x9E3779B97F4A7C15) + np.uint64(salt * 7919 + 1)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return (z ^ (z >> np.uint64(31))).astype(float) / 2.0**64


def wave(hours, step, salt):
    """A smooth wandering between -1 and 1, with a new turn every `step` hours."""
    knot = np.floor(hours / step)
    part = hours / step - knot
    here, there = (2 * chance(knot + k, salt) - 1 for k in (0, 1))
    return here + (there - here) * part**2 * (3 - 2 * part)


def epoch_hours(index):
    """Whole hours since 1970 of a UTC index."""
    return index.as_unit("ns").asi8 // 3_600_000_000_000


def humidity(temp, dew):
    """Relative humidity [%] from temperature and dew point [°C], Magnus with 17.625 and 243.04."""
    return 100 * np.exp(17.625 * dew / (243.04 + dew) - 17.625 * temp / (243.04 + temp))


def sun_height(latitude, longitude, hours):
    """Sine of the sun's height at these hours since 1970 (no equation of time)."""
    season = 2 * np.pi * (hours / 24 - 79.5) / 365.2425  # 1970-03-21
    declination = np.radians(23.44) * np.sin(season)
    turn = 2 * np.pi * (hours / 24 + longitude / 360 - 0.5)
    lat = np.radians(latitude)
    return np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(turn)


def invented_weather(latitude, longitude, index_utc):
    """Weather that never was, the same at each call: seasons, days and nights, passing showers.

    Parameters
    ----------
    latitude, longitude : float
        Degrees. Near places have nearly the same weather, those in the east a little later.
    index_utc : pandas.DatetimeIndex
        UTC stamps that mark the END of their hour; any part of any span gives the same values.

    Returns
    -------
    pandas.DataFrame
        temp_c, rh_pct, dewpoint_c, precip_mm, wind_ms, ghi_wm2, soil_temp_c, soil_moisture_m3m3,
        cloud_pct, pressure_hpa (mean sea level).
    """
    h = epoch_hours(index_utc).astype(float)
    front = h - 0.8 * longitude - 0.3 * latitude  # weather drifts to the east
    summer = 0.25 * latitude * np.cos(2 * np.pi * (h / 24 - 200) / 365.2425)
    day = np.cos(2 * np.pi * ((h + longitude / 15) - 15) / 24)
    cloud = np.clip(50 + 60 * wave(front, 36, 1) + 20 * wave(front, 7, 2), 0, 100)
    clear = 1 - cloud / 100
    wet = chance(np.floor(front / 3), 3) < 0.6 * (cloud - 62) / 38
    rain = np.where(wet, -1.0 * np.log(1 - chance(np.floor(front), 4)), 0.0).round(2)
    mean = 27 - 0.007 * latitude**2
    temp = mean + summer + (2 + 4 * clear) * day + 4 * wave(front, 60, 5)
    dew = temp - np.where(rain > 0, 0.6, 1.5 + 7 * clear + 3 * (1 + day) * clear)
    height = np.maximum(sun_height(latitude, longitude, h - 0.5), 1e-6)
    clear_sky = 1098 * height * np.exp(-0.057 / height)  # Haurwitz 1945
    return pd.DataFrame(
        {
            "temp_c": temp,
            "rh_pct": humidity(temp, dew),
            "dewpoint_c": dew,
            "precip_mm": rain,
            "wind_ms": np.maximum(0.2, 3.2 + 2.4 * wave(front, 30, 6) + 0.9 * day),
            "ghi_wm2": clear_sky * (1 - 0.75 * (cloud / 100) ** 3.4),  # Kasten and Czeplak 1980
            "soil_temp_c": 0.7 * mean + 4 + 0.6 * summer + 1.2 * day + 2 * wave(front, 240, 7),
            "soil_moisture_m3m3": 0.26 - 0.002 * summer * np.sign(latitude or 1.0)
            + 0.06 * wave(front - 24, 36, 1) + 0.04 * wave(front, 500, 8),
            "cloud_pct": cloud,
            "pressure_hpa": 1014 - 12 * wave(front, 36, 1) + 6 * wave(front, 200, 9),
        },
        index=index_utc,
    )  # fmt: skip


@lru_cache(maxsize=64)
def _truth(weather, latitude, longitude, first, last):
    return weather(latitude, longitude, pd.date_range(first, last, freq="h", tz="UTC"))


MULTIPLIED = ("precip_mm", "wind_ms", "ghi_wm2")
BOUNDS = {
    "rh_pct": (1, 100),
    "precip_mm": (0, 300),
    "wind_ms": (0, 80),
    "ghi_wm2": (0, 1400),
    "soil_moisture_m3m3": (0.01, 0.6),
    "cloud_pct": (0, 100),
}


def bounded(table):
    """The same table with every value a possible one."""
    return table.assign(**{c: table[c].clip(*b) for c, b in BOUNDS.items() if c in table})


# ---------------------------------------------------------------- what is asked, what is told


@dataclass
class Asked:
    """One request as it came in, without cookies; status is 0 when it got no answer."""

    service: str
    method: str
    path: str
    params: dict[str, str]
    headers: dict[str, str]
    status: int = 0


@dataclass
class Station:
    """A weather station that never was; `without` names the columns its files leave out."""

    id: str
    name: str
    country: str
    region: str
    latitude: float
    longitude: float
    elevation: int
    years: tuple = tuple(range(2004, 2027))
    timezone: str = "UTC"
    without: tuple = ()


def invented_stations():
    """A handful of stations: near and low, near and high, farther off, and one in the south."""
    return [
        Station("AAAA1", "Exampleville Field", "IT", "LOM", 45.16, 10.12, 190),
        Station("AAAA2", "Exampleville Hill", "IT", "LOM", 45.22, 10.02, 640, without=("cldc",)),
        Station("AAAA3", "Sampleton", "IT", "LOM", 44.95, 10.4, 60, without=("prcp", "pres")),
        Station("AAAA4", "Closed Gate", "IT", "LOM", 45.12, 10.09, 205, tuple(range(2004, 2010))),
        Station("BBBB1", "Southtest Point", "AU", "TAS", -42.1, 147.2, 30),
    ]


def invented_places():
    """Places for the search: one name in two countries and, in one of them, in two regions."""
    columns = "name latitude longitude elevation population admin1".split()  # noqa: SIM905
    rome, hobart = ("IT", "Europe/Rome", "Italy"), ("AU", "Australia/Hobart", "Australia")
    rows = [
        (rome, "Exampleville", 45.1, 10.1, 52.0, 12000, "Lombardy"),
        (rome, "Exampleville", 43.4, 11.2, 310.0, 900, "Tuscany"),
        (hobart, "Exampleville", -42.1, 147.2, 30.0, None, "Tasmania"),
        (("FI", "Europe/Helsinki", "Finland"), "Exampleton", 62.3, 25.6, 120.0, 4000, "Kainuu"),
        (("KE", "Africa/Nairobi", "Kenya"), "Ex", -1.2, 36.9, 1660.0, 700, None),
    ]
    return [
        {"id": 3100001 + k, "feature_code": "PPL"}
        | dict(zip(columns, row, strict=True))
        | dict(zip(("country_code", "timezone", "country"), land, strict=True))
        for k, (land, *row) in enumerate(rows)
    ]


@dataclass
class Reply:
    """What goes back; `data` (dict, list or table) becomes the body unless `body` is given."""

    data: object = None
    status: int = 200
    kind: str = "application/json; charset=utf-8"
    headers: dict = field(default_factory=dict)
    body: bytes | None = None

    def encoded(self):
        """The body as bytes."""
        if self.body is not None:
            return self.body
        if isinstance(self.data, pd.DataFrame):
            return gzip.compress(self.data.to_csv(index=False).encode(), 1, mtime=0)
        return json.dumps(self.data, ensure_ascii=False, separators=(",", ":")).encode()


class Refused(Exception):
    """The service says no: (status, reason)."""


REASONS = {
    400: "Parameter 'latitude' is invalid.",
    403: "Forbidden",
    404: "Not Found",
    422: "Unprocessable request.",
    429: "Minutely API request limit exceeded. Please try again in one minute.",
    500: "Internal Server Error",
    502: "Bad Gateway",
    503: "The service is overloaded. Please try again later.",
    504: "Gateway Time-out",
}


def refusal(service, status, reason=None):
    """An error in the words and shape of its service; gateways in front of all speak HTML."""
    reason = reason or REASONS.get(status, "Error")
    if service.startswith("open-meteo") and status not in (502, 504):
        return Reply({"error": True, "reason": reason}, status)
    if service == POWER and status not in (502, 503, 504):
        told = "The POWER Hourly API failed to complete your request: please see the messages."
        return Reply({"header": told, "messages": [reason]}, status)
    page = (
        f"<html><head><title>{status} {reason}</title></head><body><h1>{reason}</h1></body></html>"
    )
    return Reply(status=status, kind="text/html; charset=UTF-8", body=page.encode())


def listed(values, digits):
    """Numbers rounded as the service does, missing as None; whole numbers without a point."""
    rounded = np.round(np.asarray(values, dtype=float), digits) + 0.0  # + 0.0: no minus zero
    if not np.isnan(rounded).any():
        return (rounded if digits else rounded.astype(int)).tolist()
    return [None if v != v else (v if digits else int(v)) for v in rounded.tolist()]


def number(params, name, low, high, status=400):
    """A number of the query inside its bounds, or a refusal in Open-Meteo's words."""
    try:
        value = float(params[name])
    except (KeyError, ValueError):
        raise Refused(status, f"Parameter '{name}' is missing or not a number.") from None
    if not low <= value <= high:
        title = name.capitalize()
        raise Refused(status, f"{title} must be in range of {low} to {high}°. Given: {value}.")
    return value


# ---------------------------------------------------------------- Open-Meteo

VARIABLES = {
    "temperature_2m": ("temp_c", "°C", 1),
    "relative_humidity_2m": ("rh_pct", "%", 0),
    "dew_point_2m": ("dewpoint_c", "°C", 1),
    "precipitation": ("precip_mm", "mm", 2),
    "wind_speed_10m": ("wind_ms", "km/h", 1),
    "shortwave_radiation": ("ghi_wm2", "W/m²", 1),
    "cloud_cover": ("cloud_pct", "%", 0),
    "pressure_msl": ("pressure_hpa", "hPa", 1),
}
# Layers that hold values, by page or model, the truth's own layer first; all others are null.
ERA5_LAYERS = ("0_to_7cm", "7_to_28cm", "28_to_100cm", "100_to_255cm")
GFS_LAYERS = ("0_to_10cm", "10_to_40cm", "40_to_100cm")
ERA5_SOIL = {"temperature": ERA5_LAYERS, "moisture": ERA5_LAYERS}
GFS_SOIL = {"temperature": GFS_LAYERS, "moisture": GFS_LAYERS}
BEST_SOIL = {
    "temperature": ("6cm", "0cm", "18cm", "54cm"),
    "moisture": ("3_to_9cm", "0_to_1cm", "1_to_3cm", "9_to_27cm", "27_to_81cm"),
}
SOIL = {  # column, unit, what a layer adds to the one before it, digits
    "temperature": ("soil_temp_c", "°C", 0.8, 1),
    "moisture": ("soil_moisture_m3m3", "m³/m³", 0.02, 3),
}
LAYERS = {
    f"soil_{what}_{layer}"
    for soil in (ERA5_SOIL, BEST_SOIL, GFS_SOIL)
    for what, layers in soil.items()
    for layer in layers
}
UNIT_OF_WIND = {
    "kmh": ("km/h", 3.6, 1),
    "ms": ("m/s", 1.0, 2),
    "mph": ("mp/h", 2.2369, 1),
    "kn": ("kn", 1.9438, 1),
}
ENSEMBLES = {  # members, days
    "ncep_gefs_seamless": (31, 35),
    "ncep_gefs025": (31, 10),
    "ncep_gefs05": (31, 35),
    "ecmwf_ifs025_ensemble": (51, 15),
    "ecmwf_aifs025_ensemble": (51, 15),
}
ARCHIVES = ("best_match", "era5_seamless", "era5", "era5_land", "ecmwf_ifs", "cerra")
CELL = {ARCHIVE: 0.0703, FORECAST: 0.02, ENSEMBLE: 0.25}
# What the real service can do and this one cannot must not be passed over in silence.
NOT_SERVED = {
    "daily": "",
    "minutely_15": "",
    "past_hours": "",
    "forecast_hours": "",
    "timeformat": "iso8601",
    "temperature_unit": "celsius",
    "precipitation_unit": "mm",
    "format": "json",
}


@dataclass
class Query:
    """What a forecast page was asked for, all places alike; hours are in the local time asked."""

    service: str
    names: list
    models: list
    first: pd.Timestamp
    last: pd.Timestamp
    zone: str
    offset: pd.Timedelta
    wind: tuple


def open_meteo(servers, service, params, _headers):
    """/v1/archive, /v1/forecast, /v1/ensemble: one object, or a list for several places."""
    for name, served in NOT_SERVED.items():
        if params.get(name, served) not in ("", served):
            raise Refused(400, f"'{name}={params[name]}' is not served by this loopback.")
    zone = params.get("timezone", "GMT")
    query = Query(
        service,
        _names(params),
        _models(service, params),
        *_span(servers, service, params),
        zone,
        _offset(servers, zone),
        UNIT_OF_WIND.get(params.get("wind_speed_unit", "kmh")),
    )
    if query.wind is None:
        raise invalid("WindspeedUnit", params["wind_speed_unit"])
    replies = [_about(servers, query, *p) | _hourly(servers, query, *p) for p in _places(params)]
    for k, reply in enumerate(replies[1:], 1):
        reply["location_id"] = k
    return Reply(replies[0] if len(replies) == 1 else replies)


def invalid(kind, value):
    """The refusal of a word that is not in the service's list."""
    told = f"Data corrupted at path ''. Cannot initialize {kind} from invalid String value {value}."
    return Refused(400, told)


def _places(params):
    """Latitude, longitude and height (nan: the cell's own) of every place."""
    latitudes, longitudes = (params.get(n, "").split(",") for n in ("latitude", "longitude"))
    heights = params.get("elevation", "nan").split(",")
    heights = heights * len(latitudes) if len(heights) == 1 else heights
    if not len(latitudes) == len(longitudes) == len(heights):
        told = "Parameter 'latitude' and 'longitude' must have the same number of elements"
        raise Refused(400, told)
    return [
        (
            number({"latitude": latitude}, "latitude", -90, 90),
            number({"longitude": longitude}, "longitude", -180, 180),
            np.nan if height == "nan" else number({"elevation": height}, "elevation", -500, 9000),
        )
        for latitude, longitude, height in zip(latitudes, longitudes, heights, strict=True)
    ]


def _names(params):
    names = [n for n in params.get("hourly", "").split(",") if n]
    for name in names:
        if name not in VARIABLES and name not in LAYERS:
            raise invalid("VariableAndPreset<ForecastVariable>", name)
    return names


def _models(service, params):
    models = [m for m in params.get("models", "").split(",") if m]
    known = {ARCHIVE: ARCHIVES, ENSEMBLE: ENSEMBLES}.get(service)
    if service == ENSEMBLE and not models:
        raise Refused(400, "Parameter 'models' is required.")
    for model in models if known else ():
        if model not in known:
            raise invalid("MultiDomains", model)
    return models or ["best_match"]


def _span(servers, service, params):
    """First and last hour, in the local time asked for."""
    dated = service == ARCHIVE or {"start_date", "end_date"} & set(params)
    if dated and {"past_days", "forecast_days"} & set(params):
        told = "Parameter 'forecast_days' is mutually exclusive with 'start_date' and 'end_date'"
        raise Refused(400, told)
    if dated:
        return _dates(servers, service, params)
    past = _whole(params, "past_days", 0, 92, 0)
    ahead = _whole(params, "forecast_days", 0, 36 if service == ENSEMBLE else 16, 7)
    return servers.today - past * DAY, servers.today + ahead * DAY - HOUR


def _dates(servers, service, params):
    low, high = pd.Timestamp("1940-01-01"), servers.today
    if service != ARCHIVE:
        low, high = high - 92 * DAY, high + (35 if service == ENSEMBLE else 15) * DAY
    first, last = (_date(params, name) for name in ("start_date", "end_date"))
    for name, day in (("start_date", first), ("end_date", last)):
        if not low <= day <= high:
            span = f"from {low:%Y-%m-%d} to {high:%Y-%m-%d}"
            raise Refused(400, f"Parameter '{name}' is out of allowed range {span}")
    if last < first:
        raise Refused(400, "End-date must be larger or equals than start-date")
    return first, last + DAY - HOUR


def _date(params, name):
    if name not in params:
        raise Refused(400, f"Parameter '{name}' is required.")
    day = pd.to_datetime(params[name], format="%Y-%m-%d", errors="coerce")
    if pd.isna(day):
        raise Refused(400, "Invalid date format. Make sure to use 'YYYY-MM-DD'")
    return day


def _whole(params, name, low, high, default):
    given = params.get(name, str(default))
    if not given.isdecimal() or not low <= int(given) <= high:
        title = name.replace("_", " ").capitalize()
        raise Refused(400, f"{title} is invalid. Allowed range {low} to {high}. Given {given}.")
    return int(given)


def _offset(servers, zone):
    """Local time less UTC: one offset (today's) for the whole reply, as the service has it."""
    noon = servers.today.tz_localize("UTC").to_pydatetime().replace(hour=12)
    try:
        return pd.Timedelta(noon.astimezone(ZoneInfo(zone)).utcoffset())
    except (KeyError, ValueError):
        raise Refused(400, "Invalid timezone") from None


def _about(servers, query, latitude, longitude, height):
    """The head of a reply: the middle of the grid cell, not the place asked for."""
    step = CELL[query.service]
    seconds = int(query.offset.total_seconds())
    return {
        "latitude": round((np.floor(latitude / step) + 0.5) * step, 6),
        "longitude": round((np.floor(longitude / step) + 0.5) * step, 6),
        "generationtime_ms": 0.21,
        "utc_offset_seconds": seconds,
        "timezone": query.zone,
        "timezone_abbreviation": f"GMT{seconds / 3600:+g}" if seconds else "GMT",
        "elevation": servers.height_m if np.isnan(height) else height,
    }


def _hourly(servers, query, latitude, longitude, _height):
    """The two sections "hourly_units" and "hourly"."""
    if not query.names:
        return {}
    times = pd.date_range(query.first, query.last, freq="h").strftime("%Y-%m-%dT%H:%M").tolist()
    units, hourly = {"time": "iso8601"}, {"time": times}
    if not times:
        return {"hourly_units": units, "hourly": hourly | {n: [] for n in query.names}}
    utc = query.first - query.offset, query.last - query.offset
    truth = servers.shown(query.service, latitude, longitude, *utc)
    for model in query.models:
        tables = _members(servers, query.service, truth, model)
        for name in query.names:
            for member, table in enumerate(tables):
                key = name + (f"_member{member:02d}" if member else "")
                key += f"_{model}" if len(query.models) > 1 else ""
                units[key], hourly[key] = _variable(query, table, name, model)
    return {"hourly_units": units, "hourly": hourly}


def _variable(query, table, name, model):
    """Unit and values of one variable."""
    if name in LAYERS:
        return _layer(query.service, table, name, model)
    column, unit, digits = VARIABLES[name]
    if column != "wind_ms":
        return unit, listed(table[column], digits)
    unit, factor, digits = query.wind
    return unit, listed(table[column] * factor, digits)


def _layer(service, table, name, model):
    """A soil layer: the truth in the page's own layer, a little off in its others, else null."""
    _, what, layer = name.split("_", 2)
    ecmwf = service == ARCHIVE or model.startswith("ecmwf")
    gfs = model.startswith(("ncep", "gfs"))
    layers = (ERA5_SOIL if ecmwf else GFS_SOIL if gfs else BEST_SOIL)[what]
    column, unit, step, digits = SOIL[what]
    if layer not in layers:
        return unit, [None] * len(table)
    return unit, listed(table[column] + step * layers.index(layer), digits)


def _members(servers, service, truth, model):
    """The tables of one model: one outside the ensemble page; nulls where there is no data yet."""
    hours = ((truth.index - servers.today.tz_localize("UTC")) / HOUR).to_numpy()
    if service == ARCHIVE:
        return [_known(truth, hours < 24 * (1 - servers.lag_days))]
    if service == FORECAST:
        return [truth]
    members, days = ENSEMBLES[model]
    salt = 100 * (1 + list(ENSEMBLES).index(model))
    return [
        _known(_member(truth, hours, salt + k, 1.0 if k else 0.4), hours < 24 * days)
        for k in range(members)
    ]


def _known(table, known):
    """The table with nothing in the rows that are not known."""
    return table[known].reindex(table.index)


def _member(truth, lead_h, salt, size):
    """One member: the truth up to today, then further from it the longer the lead."""
    size = size * np.sqrt(np.maximum(lead_h, 0) / 360)
    hours = epoch_hours(truth.index).astype(float)
    off = [size * wave(hours, 18, 1000 * salt + k) for k in range(8)]
    temp = truth["temp_c"] + 6 * off[0]
    dew = temp - (truth["temp_c"] - truth["dewpoint_c"]) * np.exp(off[1])
    return bounded(
        truth.assign(
            temp_c=temp,
            dewpoint_c=dew,
            rh_pct=np.where(lead_h > 0, humidity(temp, dew), truth["rh_pct"]),
            precip_mm=truth["precip_mm"] * np.exp(2 * off[2]),
            wind_ms=truth["wind_ms"] * np.exp(0.7 * off[3]),
            ghi_wm2=truth["ghi_wm2"] * np.exp(0.5 * off[4]),
            cloud_pct=truth["cloud_pct"] + 40 * off[5],
            pressure_hpa=truth["pressure_hpa"] + 10 * off[6],
            soil_temp_c=truth["soil_temp_c"] + 2 * off[0],
            soil_moisture_m3m3=truth["soil_moisture_m3m3"] + 0.03 * off[7],
        )
    )


def geocoding(servers, _service, params, _headers):
    """/v1/search: one letter finds nothing, two the whole name, three or more its beginning."""
    name, _, qualifier = (p.strip().casefold() for p in params.get("name", "").partition(","))
    code = params.get("countryCode", "")

    def fits(place):
        title = place["name"].casefold()
        named = title.startswith(name) if len(name) > 2 else len(name) == 2 and title == name
        around = [str(place.get(k)).casefold() for k in ("country", "country_code", "admin1")]
        there = not qualifier or qualifier in around
        return named and there and code in ("", place["country_code"])

    count = _whole(params, "count", 1, 100, 10)
    found = [{k: v for k, v in p.items() if v is not None} for p in servers.places if fits(p)]
    return Reply(({"results": found[:count]} if found else {}) | {"generationtime_ms": 0.5})


def elevation(servers, _service, params, _headers):
    """/v1/elevation: one height for each point."""
    return Reply({"elevation": [servers.height_m for _ in _places(params)]})


# ---------------------------------------------------------------- MET Norway

MET_UNITS = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
    "relative_humidity": "%",
    "wind_from_direction": "degrees",
    "wind_speed": "m/s",
}
MET_INSTANT = {
    "air_pressure_at_sea_level": "pressure_hpa",
    "air_temperature": "temp_c",
    "cloud_area_fraction": "cloud_pct",
    "relative_humidity": "rh_pct",
    "wind_speed": "wind_ms",
}


def met_norway(servers, service, params, headers):
    """locationforecast/2.0/compact: hourly for 60 h, then every 6 h to the ninth day."""
    latitude, longitude, height = _met_place(servers, params, headers)
    updated = servers.today.tz_localize("UTC") + pd.Timedelta(hours=4, minutes=41, seconds=10)
    now = servers.clock()
    stamps = {
        "Last-Modified": format_datetime(updated.to_pydatetime(), usegmt=True),
        "Expires": format_datetime(now + pd.Timedelta(seconds=servers.expires_s), usegmt=True),
    }
    if headers.get("if-modified-since") == stamps["Last-Modified"]:
        return Reply(status=304, headers=stamps, body=b"")
    first = servers.today + 5 * HOUR
    truth = servers.shown(service, latitude, longitude, first, servers.today + 9 * DAY)
    meta = {"updated_at": f"{updated:%Y-%m-%dT%H:%M:%SZ}", "units": dict(MET_UNITS)}
    data = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude, height]},
        "properties": {"meta": meta, "timeseries": _met_steps(truth)},
    }
    return Reply(data, kind="application/json", headers=stamps)


def _met_place(servers, params, headers):
    agent = headers.get("user-agent", "")
    named = "@" in agent or "http" in agent.casefold()
    if not named or agent.startswith(("python-requests", "Python-urllib")):
        raise Refused(403, "Forbidden: identify your application and a contact in User-Agent")
    for name in ("lat", "lon"):
        if len(params.get(name, "").partition(".")[2]) > 4:
            raise Refused(403, "Forbidden: use at most 4 decimals in coordinates")
    height = params.get("altitude", str(int(servers.height_m)))
    if not height.lstrip("-").isdecimal():
        raise Refused(400, "Bad Request: altitude must be a whole number")
    return number(params, "lat", -90, 90), number(params, "lon", -180, 180), int(height)


def _met_steps(truth):
    instant = {name: listed(truth[column], 1) for name, column in MET_INSTANT.items()}
    rain = truth["precip_mm"].to_numpy()
    hourly_until = next(k for k, t in enumerate(truth.index) if k > 60 and t.hour % 6 == 0)
    steps, last = [], len(truth) - 1
    for k in [*range(hourly_until), *range(hourly_until, last + 1, 6)]:
        details = {n: v[k] for n, v in instant.items()} | {"wind_from_direction": 10.0 * (k % 36)}
        data = {"instant": {"details": dict(sorted(details.items()))}}
        if k + 12 <= last:
            data["next_12_hours"] = {"summary": {"symbol_code": "cloudy"}, "details": {}}
        for span in (1, 6) if k < hourly_until else (6,):
            if k + span <= last:  # rain of the hours that FOLLOW the label
                data[f"next_{span}_hours"] = _met_rain(rain[k + 1 : k + 1 + span].sum())
        steps.append({"time": f"{truth.index[k]:%Y-%m-%dT%H:%M:%SZ}", "data": data})
    return steps


def _met_rain(amount):
    symbol = "rain" if amount > 0.1 else "cloudy"
    amount = round(float(amount), 1)
    return {"summary": {"symbol_code": symbol}, "details": {"precipitation_amount": amount}}


# ---------------------------------------------------------------- NASA POWER

POWER_VARIABLES = {  # column, unit, long name
    "T2M": ("temp_c", "C", "Temperature at 2 Meters"),
    "RH2M": ("rh_pct", "%", "Relative Humidity at 2 Meters"),
    "T2MDEW": ("dewpoint_c", "C", "Dew/Frost Point at 2 Meters"),
    "PRECTOTCORR": ("precip_mm", "mm/hour", "Precipitation Corrected"),
    "WS10M": ("wind_ms", "m/s", "Wind Speed at 10 Meters"),
    "WS2M": ("wind_ms", "m/s", "Wind Speed at 2 Meters"),
    "ALLSKY_SFC_SW_DWN": ("ghi_wm2", "Wh/m^2", "All Sky Surface Shortwave Downward Irradiance"),
    "CLOUD_AMT": ("cloud_pct", "%", "Cloud Amount"),
    "PS": ("pressure_hpa", "kPa", "Surface Pressure"),
    "TS": ("soil_temp_c", "C", "Earth Skin Temperature"),
    "GWETTOP": ("soil_moisture_m3m3", "1", "Surface Soil Wetness"),
}
OF_THE_HOUR = ("precip_mm", "ghi_wm2")  # all others are instants in the truth
SOLAR = ("ALLSKY_SFC_SW_DWN", "CLOUD_AMT")
FILL = -999.0


def nasa_power(servers, service, params, _headers):
    """temporal/hourly/point: the key is the START of its hour, in local solar time unless UTC."""
    names, community, standard, first, last = _power_query(params)
    latitude = number(params, "latitude", -90, 90, 422)
    longitude = number(params, "longitude", -180, 180, 422)
    keys = pd.date_range(first, last + DAY - HOUR, freq="h")
    shift = pd.Timedelta(hours=0 if standard == "UTC" else round(longitude / 15))
    truth = servers.shown(service, latitude, longitude, keys[0] - shift, keys[-1] - shift + HOUR)
    truth["temp_c"] -= LAPSE * (servers.power_height_m - servers.height_m) / 1000
    labels = keys.strftime("%Y%m%d%H").tolist()
    parameter, about = {}, {}
    for name in names:
        unit, values = _power_values(servers, truth, name, community)
        lag = 7 if name in SOLAR else 3
        values[keys >= servers.today - (lag - 1) * DAY] = np.nan
        values = np.where(np.isnan(values), FILL, values)
        parameter[name] = dict(
            zip(labels, listed(values, 4 if unit == "MJ/hr" else 2), strict=True)
        )
        about[name] = {"units": unit, "longname": POWER_VARIABLES[name][2]}
    header = {
        "title": "NASA/POWER Source Native Resolution Hourly Data",
        "api": {"version": "v2.9.2", "name": "POWER Hourly API"},
        "sources": ["MERRA2", "SYN1DEG"],
        "fill_value": FILL,
        "time_standard": standard,
        "start": f"{first:%Y%m%d}",
        "end": f"{last:%Y%m%d}",
    }
    point = {"type": "Point", "coordinates": [longitude, latitude, servers.power_height_m]}
    data = {
        "type": "Feature",
        "geometry": point,
        "properties": {"parameter": parameter},
        "header": header,
        "messages": [],
        "parameters": about,
        "times": {"data": 0.7, "process": 0.03},
    }
    return Reply(data)


def _power_query(params):
    for name in ("parameters", "community", "latitude", "longitude", "start", "end"):
        if not params.get(name):
            raise Refused(422, f"Query parameter '{name}' is required.")
    names, community = params["parameters"].split(","), params["community"].upper()
    standard = params.get("time-standard", "LST").upper()
    if len(names) > 15 or len(set(names)) < len(names):
        raise Refused(422, "Please provide at most 15 parameters, each of them once.")
    for name in names:
        if name not in POWER_VARIABLES:
            raise Refused(422, f"The parameter '{name}' is not available.")
    if community not in ("AG", "RE", "SB") or standard not in ("UTC", "LST"):
        raise Refused(422, "The community or the time standard is not known.")
    if params.get("user") == "anonymous" or params.get("format", "JSON").upper() != "JSON":
        raise Refused(422, "The user is reserved or the format is not served.")
    first, last = (
        pd.to_datetime(params[n], format="%Y%m%d", errors="coerce") for n in ("start", "end")
    )
    if not pd.Timestamp("2001-01-01") <= first <= last:  # also false where a date is not one
        raise Refused(422, "Please provide dates as YYYYMMDD, from 20010101, in order.")
    return names, community, standard, first, last


def _power_values(servers, truth, name, community):
    """Unit and values by hour start; instants become the mean between their two ends."""
    column, unit, _ = POWER_VARIABLES[name]
    values = truth[column].to_numpy()
    values = values[1:] if column in OF_THE_HOUR else (values[:-1] + values[1:]) / 2
    if name == "PS":  # what lies above the cell's mean height
        values = values / 10 * np.exp(-servers.power_height_m / 8430)
    if name == "ALLSKY_SFC_SW_DWN" and community == "AG":
        unit, values = "MJ/hr", values * 0.0036
    factor = {"WS2M": 0.75, "GWETTOP": 2.0}.get(name, 1.0)
    return unit, values * factor


# ---------------------------------------------------------------- meteostat

STATION_COLUMNS = [
    "temp",
    "rhum",
    "prcp",
    "snwd",
    "wdir",
    "wspd",
    "wpgt",
    "pres",
    "tsun",
    "cldc",
    "coco",
]
MODEL_SOURCES = ("dwd_mosmix", "metno_forecast", "isd_lite metno_forecast", "model")
ABSURD = {"temp": 55.5, "rhum": 1, "prcp": 99.9, "wspd": 222.2}  # what a model's fill shows
SCHEMA = """
CREATE TABLE stations(id TEXT PRIMARY KEY, country TEXT, region TEXT, latitude REAL,
                      longitude REAL, elevation INTEGER, timezone TEXT);
CREATE TABLE names(station TEXT, language TEXT, name TEXT);
CREATE TABLE identifiers(station TEXT, key TEXT, value TEXT);
CREATE TABLE inventory(station TEXT, provider TEXT, parameter TEXT, start TEXT, end TEXT,
                       completeness INTEGER);
"""


def meteostat(servers, _service, path):
    """/stations.db and /hourly/{year}/{station}.csv.gz."""
    if path == "/stations.db":
        return Reply(kind="application/octet-stream", body=station_database(servers))
    year, _, name = path.removeprefix("/hourly/").partition("/")
    for station in servers.stations:
        if name == f"{station.id}.csv.gz" and year in map(str, station.years):
            table = station_year(servers, station, int(year))
            if len(table):
                return Reply(table, kind="application/gzip")
    raise Refused(404, "Not Found")


def station_database(servers):
    """The stations as an SQLite file."""
    base = sqlite3.connect(":memory:")
    base.executescript(SCHEMA)
    for s in servers.stations:
        place = (s.latitude, s.longitude, s.elevation, s.timezone)
        base.execute(
            "INSERT INTO stations VALUES (?,?,?,?,?,?,?)", (s.id, s.country, s.region, *place)
        )
        base.execute("INSERT INTO names VALUES (?,'en',?)", (s.id, s.name))
        base.execute("INSERT INTO identifiers VALUES (?,'national',?)", (s.id, f"N{s.id}"))
        first, last = (
            f"{min(s.years)}-01-01",
            min(f"{max(s.years)}-12-31", f"{servers.today:%Y-%m-%d}"),
        )
        for name in ("temp", "rhum", "prcp", "wspd", "pres", "cldc"):
            row = (s.id, name, first, last)
            if name not in s.without:
                base.execute("INSERT INTO inventory VALUES (?,'hourly',?,?,?,98)", row)
    base.commit()
    image = bytes(base.serialize())
    base.close()
    return image


def station_year(servers, station, year):
    """One year of a station; model values fill some hours, and all hours from today on."""
    last = min(pd.Timestamp(year, 12, 31, 23), servers.today + 3 * DAY)
    if last < pd.Timestamp(year, 1, 1):
        return pd.DataFrame()
    truth = servers.shown(
        METEOSTAT, station.latitude, station.longitude, pd.Timestamp(year, 1, 1), last
    )
    hours = epoch_hours(truth.index)
    filled = (hours % 41 == 7) | (truth.index >= servers.today.tz_localize("UTC"))
    model = np.array(MODEL_SOURCES)[(hours // 41) % len(MODEL_SOURCES)]
    values = _station_values(servers, station, truth, hours)
    table = pd.DataFrame({n: getattr(truth.index, n) for n in ("year", "month", "day", "hour")})
    for name in [c for c in STATION_COLUMNS if c not in station.without]:
        column = pd.Series(values.get(name, np.full(len(table), np.nan)))
        if name in ABSURD:
            column[filled] = ABSURD[name]
        whole = name in ("rhum", "wdir", "cldc", "coco", "tsun")
        table[name] = column.round().astype("Int64") if whole else column.round(1)
        own = "metar" if name == "cldc" else "isd_lite"
        source = np.where(filled, model, own).astype(object)
        table[f"{name}_source"] = np.where(column.isna(), None, source)
    return table


def _station_values(servers, station, truth, hours):
    """Own units: km/h, okta; no rain report every 53rd hour."""
    temp = truth["temp_c"] - LAPSE * (station.elevation - servers.height_m) / 1000
    return {
        "temp": temp.to_numpy(),
        "rhum": truth["rh_pct"].to_numpy(),
        "prcp": np.where(hours % 53 == 0, np.nan, truth["precip_mm"]),
        "wdir": 10.0 * (hours % 36),
        "wspd": truth["wind_ms"].to_numpy() * 3.6,
        "pres": truth["pressure_hpa"].to_numpy(),
        "cldc": truth["cloud_pct"].to_numpy() / 12.5,
    }


# ---------------------------------------------------------------- faults

OTHER_UNIT = {
    "°C": "°F",
    "celsius": "fahrenheit",
    "C": "F",
    "mm": "inch",
    "mm/hour": "inch/hour",
    "m/s": "mp/h",
    "km/h": "kn",
    "W/m²": "MJ/m²",
    "Wh/m^2": "kW-hr/m^2/day",
    "kPa": "atm",
    "hPa": "mbar",
    "m³/m³": "%",
}
LOGIN = b"<!DOCTYPE html><html><title>Sign in</title><body><form>Guest network</form></body></html>"
SHAPE_FAULTS = ("missing columns", "wrong units", "list", "nulls")
BODY_FAULTS = ("broken json", "stream error", "half gzip")
WIRE_FAULTS = ("refuse", "reset", "drip")
REPLY_FAULTS = ("html", "status", "redirect")


def cells(data):
    """Where the values of each variable lie: name -> list of (container, key)."""
    if isinstance(data, pd.DataFrame):
        return {c: [(data, c)] for c in STATION_COLUMNS if c in data}
    if "hourly" in data:
        return {n: [(data["hourly"], n)] for n in data["hourly"] if n != "time"}
    properties = data.get("properties", {})
    if "parameter" in properties:
        return {n: [(properties["parameter"], n)] for n in properties["parameter"]}
    steps = [step["data"]["instant"]["details"] for step in properties.get("timeseries", ())]
    found = {}
    for container in steps or data.get("results", [data]):
        for name in container:
            found.setdefault(name, []).append((container, name))
    return found


def unit_blocks(data):
    """The dictionaries that tell units, as (container, key of the unit)."""
    if "parameters" in data:
        return [(about, "units") for about in data["parameters"].values()]
    units = data.get("hourly_units") or data.get("properties", {}).get("meta", {}).get("units", {})
    return [(units, name) for name in units]


def nothing_like(values):
    """Missing values in the place of these, in the service's own marker."""
    if isinstance(values, pd.Series):
        return pd.Series(pd.NA, values.index)
    if isinstance(values, dict):
        return dict.fromkeys(values, FILL)
    return [None] * len(values) if isinstance(values, list) else None


def misshapen(name, data):
    """The reply's data with one of SHAPE_FAULTS."""
    if name == "list":
        return [data] if not isinstance(data, pd.DataFrame) else data
    parts = data if isinstance(data, list) else [data]
    for part in parts:
        {"missing columns": _leave_out, "nulls": _blank, "wrong units": _other_units}[name](part)
    return data


def _leave_out(data):
    """Every second variable goes, the only one too."""
    found = cells(data)
    for name in list(found)[1::2] or list(found):
        for container, key in found[name]:
            del container[key]
        for block in ("hourly_units", "parameters"):
            if not isinstance(data, pd.DataFrame):
                data.get(block, {}).pop(name, None)


def _blank(data):
    """The first variable, with all its members, is missing everywhere."""
    found = cells(data)
    first = next(iter(found))
    for name in found:
        if name.partition("_member")[0] == first:
            for container, key in found[name]:
                container[key] = nothing_like(container[key])


def _other_units(data):
    """Units that nobody asked for are declared; the numbers stay."""
    for container, key in [] if isinstance(data, pd.DataFrame) else unit_blocks(data):
        container[key] = OTHER_UNIT.get(container[key], container[key])


def damaged(name, body, packed):
    """The bytes with one of BODY_FAULTS, and whether they are to be called gzip."""
    if name == "half gzip":
        body = body if packed else gzip.compress(body, 1, mtime=0)
        return body[: len(body) // 2], not packed
    half = body[: len(body) // 2]
    told = (
        b"Unexpected error while streaming data: timeout reached" if name == "stream error" else b""
    )
    return half + told, False


# ---------------------------------------------------------------- the server

ANSWERS = {
    ARCHIVE: open_meteo,
    FORECAST: open_meteo,
    ENSEMBLE: open_meteo,
    GEOCODING: geocoding,
    ELEVATION: elevation,
    MET: met_norway,
    POWER: nasa_power,
}


class WeatherServers:
    """All weather services on one loopback address; a context manager.

    Parameters
    ----------
    weather : callable, optional
        (latitude, longitude, index_utc) -> table like `invented_weather`, the default. Columns
        it lacks are missing everywhere.
    today : str
        The services' date: archives end before it, forecasts start from it.
    lag_days : int
        The last day in the archive is this many days before today.

    Attributes
    ----------
    url : str
        "http://127.0.0.1:PORT", from `with` on.
    requests : list of Asked
        Every request received, in order.
    faults : dict of str to list
        Service -> faults to come, one taken by each request of that service.
    bias : dict of str to dict
        Service -> column -> what it adds to the truth; precip_mm, wind_ms, ghi_wm2 are multiplied.
    stations, places : list
        What meteostat and the place search know.
    height_m, power_height_m : float
        Height at which the truth holds, and mean height of NASA POWER's cell [m]. Stations and
        NASA POWER are 6.5 °C colder a kilometre above height_m.
    expires_s : float
        How long a reply of MET Norway stays fresh [s].
    clock : callable
        The time of day in headers; the real one unless set.
    """

    def __init__(self, weather=None, today="2026-05-20", lag_days=5):
        self.weather = weather or invented_weather
        self.today = pd.Timestamp(today)
        self.lag_days = lag_days
        self.requests = []
        self.faults = {service: [] for service in SERVICES}
        self.bias = {}
        self.stations, self.places = invented_stations(), invented_places()
        self.height_m, self.power_height_m = 210.0, 188.4
        self.expires_s = 1800
        self.clock = lambda: datetime.now(UTC)
        self.mistakes = []
        self.closing = threading.Event()
        self._lock = threading.Lock()

    def __enter__(self):
        self._http = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
        self._http.servers = self
        self.url = f"http://127.0.0.1:{self._http.server_port}"
        self._thread = threading.Thread(target=self._http.serve_forever, args=(0.01,), daemon=True)
        self._thread.start()
        return self

    def __exit__(self, kind, error, trace):
        self.closing.set()
        self._http.shutdown()
        self._http.server_close()
        self._thread.join()
        if self.mistakes and kind is None:
            raise RuntimeError("the loopback server itself failed:\n" + "\n".join(self.mistakes))

    def urls(self):
        """Service -> base address, the part in front of the paths."""
        return dict.fromkeys(SERVICES, self.url)

    def count(self, service=None):
        """How many requests came in, of one service or of all."""
        return sum(service in (None, asked.service) for asked in self.requests)

    def shown(self, service, latitude, longitude, first, last):
        """The truth on UTC end-of-hour stamps, with the service's bias; the caller's own copy."""
        table = _truth(self.weather, latitude, longitude, first, last).copy()
        for column, value in self.bias.get(service, {}).items():
            table[column] = table[column] * value if column in MULTIPLIED else table[column] + value
        return bounded(table.reindex(columns=COLUMNS))

    def note(self, asked):
        """Write the request down and take the fault that waits for its service."""
        with self._lock:
            self.requests.append(asked)
            waiting = self.faults.get(asked.service)
            fault = waiting.pop(0) if waiting else ("none",)
        return fault if isinstance(fault, tuple) else (fault,)

    def reply(self, asked, fault):
        """What this service answers to this request, with faults of status and shape."""
        name, *more = fault
        if name not in ("none", *SHAPE_FAULTS, *BODY_FAULTS, *WIRE_FAULTS, *REPLY_FAULTS):
            raise ValueError(f"no such fault: {fault}")
        if name == "html":
            return Reply(kind="text/html; charset=UTF-8", body=LOGIN)
        if name == "status":
            return refusal(asked.service, *more)
        if name == "redirect":
            return Reply(status=302, headers={"Location": more[0]}, body=b"")
        try:
            reply = self._answer(asked)
        except Refused as no:
            return refusal(asked.service, *no.args)
        if name in SHAPE_FAULTS and reply.data is not None:
            reply.data = misshapen(name, reply.data)
        return reply

    def _answer(self, asked):
        service, params = asked.service, asked.params
        if asked.method != "GET" or not service:
            raise Refused(405 if service else 404, "Method Not Allowed" if service else "Not Found")
        if service == METEOSTAT:
            return meteostat(self, service, asked.path)
        if service.startswith("open-meteo") and "apikey" in params:  # a paid key on a free host
            to = f"{self.url}/customer{asked.path}?{urlencode(params)}"
            return Reply(status=302, headers={"Location": to}, body=b"")
        return ANSWERS[service](self, service, params, asked.headers)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self):
        """Note, answer, send; what breaks here is told when the servers close."""
        try:
            self._serve()
        except OSError:
            pass  # the client went away
        except Exception:
            self.server.servers.mistakes.append(traceback.format_exc())
        self.close_connection = True

    do_HEAD = do_POST = do_PUT = do_DELETE = do_GET

    def _serve(self):
        servers, where = self.server.servers, urlsplit(self.path)
        service = METEOSTAT if where.path.startswith("/hourly/") else PATHS.get(where.path, "")
        headers = {k.lower(): v for k, v in self.headers.items() if k.lower() != "cookie"}
        params = dict(parse_qsl(where.query, keep_blank_values=True))
        asked = Asked(service, self.command, where.path, params, headers)
        fault = servers.note(asked)
        if fault[0] == "refuse":
            return
        reply = servers.reply(asked, fault)
        asked.status = reply.status
        self._send(reply, fault)

    def _send(self, reply, fault):
        body, packed = reply.encoded(), reply.kind == "application/gzip"
        zipped = "json" in reply.kind and "gzip" in self.headers.get("Accept-Encoding", "")
        if fault[0] in BODY_FAULTS:
            body, zipped = damaged(fault[0], body, packed)
        elif zipped:
            body = gzip.compress(body, 1, mtime=0)
        self.send_response(reply.status)
        for name, value in reply.headers.items():
            self.send_header(name, value)
        if zipped:
            self.send_header("Content-Encoding", "gzip")
        if reply.status != 304:
            self.send_header("Content-Type", reply.kind)
            self.send_header("Content-Length", str(len(body)))
        self.send_header("Connection", "close")
        self.end_headers()
        if self.command != "HEAD":
            self._send_body(body, *fault)

    def _send_body(self, body, fault, *more):
        if fault == "reset":
            self.wfile.write(body[: len(body) // 2])
            self._hang_up()
        elif fault == "drip":
            for k in range(len(body)):
                self.wfile.write(body[k : k + 1])
                if self.server.servers.closing.wait(more[0]):
                    return
        else:
            self.wfile.write(body)

    def _hang_up(self):
        """Close so that the other side is told at once and rudely (a TCP reset)."""
        time.sleep(0.02)  # let the half that was sent arrive
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        os.close(self.connection.detach())

    def date_time_string(self, timestamp=None):
        """The Date header, by the servers' clock."""
        return format_datetime(self.server.servers.clock(), usegmt=True)

    def log_message(self, *_):
        """Nothing on the screen: `requests` has it all."""
