"""MET Norway, NASA POWER and the station files of meteostat."""

import sqlite3
from email.utils import format_datetime

import numpy as np
import pandas as pd

from loopback.replies import DAY, HOUR, LAPSE, METEOSTAT, Refused, Reply, listed, number
from loopback.truth import epoch_hours

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
