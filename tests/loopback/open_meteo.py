"""Open-Meteo: archive, forecast, ensemble, places by name and heights."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from loopback.replies import ARCHIVE, DAY, ENSEMBLE, FORECAST, HOUR, Refused, Reply, listed, number
from loopback.truth import bounded, epoch_hours, humidity, wave

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
