"""The loopback weather services: shapes, labels and faults are what the services' papers say.

Shapes and rules named "documented" are those of the services' own documentation (Open-Meteo
docs pages and server source; MET Norway Locationforecast 2.0; NASA POWER hourly API; meteostat
bulk files); what is called invented is this project's own choice in tests/loopback.
"""

import gzip
import http.client
import io
import json
import sqlite3
import time
from contextlib import closing
from urllib.parse import urlencode

import numpy as np
import pandas as pd
import pytest
from loopback import (
    ABSURD,
    ARCHIVE,
    ELEVATION,
    ENSEMBLE,
    FORECAST,
    GEOCODING,
    MET,
    METEOSTAT,
    MODEL_SOURCES,
    POWER,
    SERVICES,
    WeatherServers,
    invented_weather,
)

from flowcast.tables import WEATHER, check_bounds

AGENT = {"User-Agent": "flowcast-test/0 (keeper@example.test)"}
PLACE = {"latitude": 45.12, "longitude": 10.08}
MET_PATH = "/weatherapi/locationforecast/2.0/compact"
POWER_PATH = "/api/temporal/hourly/point"
TWO_HOURLY = {"hourly": "temperature_2m,precipitation"}
TWO_DAYS = {"start_date": "2026-05-01", "end_date": "2026-05-02"}
POWER_DAYS = {"start": "20260501", "end": "20260502", "community": "RE", "time-standard": "UTC"}
EASY = {  # one small good request of every service
    ARCHIVE: ("/v1/archive", PLACE | TWO_DAYS | TWO_HOURLY),
    FORECAST: ("/v1/forecast", PLACE | TWO_HOURLY),
    ENSEMBLE: (
        "/v1/ensemble",
        PLACE | TWO_HOURLY | {"models": "ncep_gefs025", "forecast_days": 2},
    ),
    GEOCODING: ("/v1/search", {"name": "Exampleville"}),
    ELEVATION: ("/v1/elevation", PLACE),
    MET: (MET_PATH, {"lat": 45.12, "lon": 10.08, "altitude": 210}),
    POWER: (POWER_PATH, PLACE | POWER_DAYS | {"parameters": "T2M,PRECTOTCORR"}),
    METEOSTAT: ("/hourly/2025/AAAA1.csv.gz", {}),
}


def ask(servers, path, params=None, headers=AGENT, timeout=5):
    """Status, headers (lower-case) and body, with nothing followed or unpacked."""
    host = servers.url.removeprefix("http://")
    with closing(http.client.HTTPConnection(host, timeout=timeout)) as line:
        line.request("GET", path + ("?" + urlencode(params) if params else ""), headers=headers)
        reply = line.getresponse()
        return reply.status, {k.lower(): v for k, v in reply.getheaders()}, reply.read()


def told(servers, service, **more):
    """The JSON object of a good request with some parameters changed."""
    path, params = EASY[service]
    params = {k: v for k, v in (params | more).items() if v is not None}
    status, _, body = ask(servers, path, params)
    return status, json.loads(body)


def station_file(servers, year=2025, station="AAAA1"):
    status, _, body = ask(servers, f"/hourly/{year}/{station}.csv.gz")
    assert status == 200
    return pd.read_csv(io.BytesIO(gzip.decompress(body)))


@pytest.fixture
def servers():
    with WeatherServers() as running:
        yield running


def storm_at_14(latitude, longitude, index):
    """Every day 7.2 mm and 400 W/m² in the hour that ends at 14:00 UTC; temperature = the hour."""
    storm = index.hour == 14
    return pd.DataFrame(
        {
            "temp_c": index.hour.astype(float),
            "dewpoint_c": -5.0,
            "precip_mm": np.where(storm, 7.2, 0.0),
            "ghi_wm2": np.where(storm, 400.0, 0.0),
        },
        index=index,
    )


# ---------------------------------------------------------------- documented shapes


def test_open_meteo_archive_has_the_documented_shape(servers):
    names = ["temperature_2m", "precipitation", "wind_speed_10m", "shortwave_radiation"]
    names += ["soil_temperature_0_to_7cm", "soil_moisture_0_to_7cm"]
    _, data = told(servers, ARCHIVE, hourly=",".join(names), wind_speed_unit="ms")
    assert list(data) == [
        "latitude",
        "longitude",
        "generationtime_ms",
        "utc_offset_seconds",
        "timezone",
        "timezone_abbreviation",
        "elevation",
        "hourly_units",
        "hourly",
    ]
    assert list(data["hourly"]) == list(data["hourly_units"]) == ["time", *names]
    units = ["iso8601", "°C", "mm", "m/s", "W/m²", "°C", "m³/m³"]
    assert list(data["hourly_units"].values()) == units
    assert data["hourly"]["time"][:2] == ["2026-05-01T00:00", "2026-05-01T01:00"]
    assert {len(v) for v in data["hourly"].values()} == {48}
    assert (data["utc_offset_seconds"], data["timezone"]) == (0, "GMT")
    assert 0 < abs(data["latitude"] - 45.12) < 0.1  # the grid cell, not the place


def test_open_meteo_wind_is_km_h_unless_asked(servers):
    _, plain = told(servers, ARCHIVE, hourly="wind_speed_10m")
    _, metric = told(servers, ARCHIVE, hourly="wind_speed_10m", wind_speed_unit="ms")
    assert plain["hourly_units"]["wind_speed_10m"] == "km/h"
    ratio = np.mean(plain["hourly"]["wind_speed_10m"]) / np.mean(metric["hourly"]["wind_speed_10m"])
    assert ratio == pytest.approx(3.6, abs=0.02)  # rounding of 0.1 km/h and 0.01 m/s


@pytest.mark.parametrize(
    ("service", "change", "word"),
    [
        (ARCHIVE, {"hourly": "temperature_2m,honey"}, "honey"),
        (ARCHIVE, {"end_date": "2026-05-21"}, "out of allowed range from 1940-01-01 to 2026-05-20"),
        (ARCHIVE, {"start_date": None}, "start_date"),
        (ARCHIVE, {"latitude": 91}, "Latitude"),
        (ARCHIVE, {"timezone": "Mars/Dome"}, "timezone"),
        (ARCHIVE, {"daily": "temperature_2m_max"}, "not served"),
        (FORECAST, {"past_days": 93}, "0 to 92"),
        (FORECAST, {"forecast_days": 17}, "0 to 16"),
        (ENSEMBLE, {"models": None}, "models"),
        (ENSEMBLE, {"models": "tea_leaves"}, "tea_leaves"),
    ],
)
def test_open_meteo_refuses_in_its_own_words(servers, service, change, word):
    status, data = told(servers, service, **change)
    assert (status, data["error"], set(data)) == (400, True, {"error", "reason"})
    assert word in data["reason"]


def test_archive_is_null_after_its_lag(servers):
    _, data = told(servers, ARCHIVE, start_date="2026-05-14", end_date="2026-05-20")
    values = pd.Series(data["hourly"]["temperature_2m"], index=data["hourly"]["time"], dtype=float)
    known = values.dropna().index
    assert values[: known[-1]].notna().all()
    assert known[-1] == "2026-05-15T23:00"  # today less 5 days


def test_forecast_runs_from_past_days_to_forecast_days(servers):
    _, data = told(servers, FORECAST, past_days=10, forecast_days=16)
    time = data["hourly"]["time"]
    assert (time[0], time[-1], len(time)) == ("2026-05-10T00:00", "2026-06-04T23:00", 26 * 24)


@pytest.mark.parametrize(
    ("model", "members", "last", "layer"),
    [
        ("ecmwf_ifs025_ensemble", 51, "2026-06-03T23:00", "0_to_7cm"),
        ("ncep_gefs_seamless", 31, "2026-06-04T23:00", "0_to_10cm"),
        ("ncep_gefs025", 31, "2026-05-29T23:00", "0_to_10cm"),
    ],
)
def test_ensemble_members_are_named_counted_and_end(servers, model, members, last, layer):
    names = f"temperature_2m,soil_temperature_{layer},soil_temperature_6cm"
    _, data = told(servers, ENSEMBLE, models=model, past_days=2, forecast_days=16, hourly=names)
    hourly = data["hourly"]
    keys = [k for k in hourly if k.startswith("temperature_2m")]
    assert keys == ["temperature_2m", *(f"temperature_2m_member{k:02d}" for k in range(1, members))]
    assert set(hourly) == set(data["hourly_units"])
    values = pd.DataFrame({k: hourly[k] for k in keys}, index=hourly["time"], dtype=float)
    assert values.dropna().index[-1] == last
    spread = values.std(axis=1)
    assert (values[:49].nunique(axis=1) == 1).all()  # the truth, up to today's first hour
    assert 0 < spread[49:97].mean() < spread["2026-05-27T00:00":"2026-05-29T23:00"].mean()
    assert hourly[f"soil_temperature_{layer}"][0] is not None
    assert set(hourly["soil_temperature_6cm"]) == {None}  # a layer of another page


def test_several_places_come_as_a_list(servers):
    _, data = told(servers, ARCHIVE, latitude="45.12,-42.1", longitude="10.08,147.2")
    assert [d.get("location_id") for d in data] == [None, 1]
    assert data[1]["latitude"] == pytest.approx(-42.1, abs=0.1)


def test_a_key_on_the_free_host_is_sent_elsewhere(servers):
    path, params = EASY[ARCHIVE]
    status, headers, _ = ask(servers, path, params | {"apikey": "secret"})
    assert status == 302
    assert headers["location"].startswith(servers.url + "/customer/v1/archive?")


def test_geocoding_finds_by_beginning_and_qualifier(servers):
    def found(name):
        return told(servers, GEOCODING, name=name)[1].get("results", "no key")

    assert [(p["country"], p["admin1"]) for p in found("exampleville")] == [
        ("Italy", "Lombardy"),
        ("Italy", "Tuscany"),
        ("Australia", "Tasmania"),
    ]
    assert [p["admin1"] for p in found("Exampleville, Tuscany")] == ["Tuscany"]
    assert [p["country_code"] for p in found("Exampleville, Australia")] == ["AU"]
    assert "population" not in found("Exampleville, Australia")[0]  # empty fields are dropped
    assert len(found("Examp")) == 4
    assert len(found("Ex")) == 1  # two letters: the whole name
    assert found("E") == found("Nowhere at all") == "no key"


def test_met_norway_has_the_documented_shape(servers):
    _, data = told(servers, MET)
    assert data["geometry"] == {"type": "Point", "coordinates": [10.08, 45.12, 210]}
    assert data["properties"]["meta"]["units"]["air_temperature"] == "celsius"
    steps = data["properties"]["timeseries"]
    gaps = pd.Series(pd.to_datetime([s["time"] for s in steps])).diff().dropna() / pd.Timedelta(
        "1h"
    )
    assert gaps.tolist() == sorted(gaps) and set(gaps) == {1.0, 6.0}
    assert 58 <= (gaps == 1).sum() <= 62
    one = ["next_1_hours" in s["data"] for s in steps]
    assert one == [True] * sum(one) + [False] * (len(one) - sum(one))
    assert set(steps[-1]["data"]) == {"instant"}
    assert set(steps[0]["data"]["instant"]["details"]) == {
        "air_pressure_at_sea_level",
        "air_temperature",
        "cloud_area_fraction",
        "relative_humidity",
        "wind_from_direction",
        "wind_speed",
    }


@pytest.mark.parametrize(
    "agent", [None, "python-requests/2.32", "Python-urllib/3.11 a@b.test", "flowcast/0.1"]
)
def test_met_norway_wants_to_know_who_asks(servers, agent):
    path, params = EASY[MET]
    status, headers, body = ask(servers, path, params, {"User-Agent": agent} if agent else {})
    assert status == 403
    assert headers["content-type"].startswith("text/html") and body.startswith(b"<html>")


def test_met_norway_wants_four_decimals_at_most(servers):
    path, params = EASY[MET]
    assert ask(servers, path, params | {"lat": "45.1234"})[0] == 200
    assert ask(servers, path, params | {"lat": "45.12345"})[0] == 403


def test_met_norway_says_not_modified(servers):
    path, params = EASY[MET]
    _, first, body = ask(servers, path, params, AGENT | {"Accept-Encoding": "gzip"})
    assert first["content-encoding"] == "gzip"
    assert json.loads(gzip.decompress(body))["type"] == "Feature"
    assert first["last-modified"] == "Wed, 20 May 2026 04:41:10 GMT"
    fresh = pd.Timestamp(first["expires"]) - pd.Timestamp(first["date"])
    assert fresh.total_seconds() == pytest.approx(1800, abs=1)
    again = AGENT | {"If-Modified-Since": first["last-modified"]}
    status, second, body = ask(servers, path, params, again)
    assert (status, body) == (304, b"")
    assert {"expires", "last-modified"} <= set(second)


def test_nasa_power_has_the_documented_shape(servers):
    _, data = told(servers, POWER)
    assert list(data) == [
        "type",
        "geometry",
        "properties",
        "header",
        "messages",
        "parameters",
        "times",
    ]
    assert data["geometry"]["coordinates"] == [10.08, 45.12, 188.4]
    assert list(data["properties"]["parameter"]["T2M"])[:2] == ["2026050100", "2026050101"]
    assert (data["header"]["fill_value"], data["header"]["time_standard"]) == (-999.0, "UTC")
    assert data["parameters"]["T2M"]["units"] == "C"


def test_nasa_power_fills_the_last_days(servers):
    both = "T2M,ALLSKY_SFC_SW_DWN"
    _, data = told(servers, POWER, parameters=both, start="20260501", end="20260520")
    series = data["properties"]["parameter"].items()
    last = {name: max(k for k, v in hours.items() if v != -999.0) for name, hours in series}
    assert last == {"T2M": "2026051723", "ALLSKY_SFC_SW_DWN": "2026051323"}  # 3 and 7 days before


def test_nasa_power_gives_radiation_by_community(servers):
    name = "ALLSKY_SFC_SW_DWN"
    re, ag = (told(servers, POWER, parameters=name, community=c)[1] for c in ("RE", "AG"))
    assert [d["parameters"][name]["units"] for d in (re, ag)] == ["Wh/m^2", "MJ/hr"]
    sums = [sum(d["properties"]["parameter"][name].values()) for d in (re, ag)]
    assert sums[0] / sums[1] == pytest.approx(277.78, abs=0.1)  # 1 MJ = 277.78 Wh


@pytest.mark.parametrize(
    "change",
    [
        {"parameters": "T2M,HONEY"},
        {"parameters": ",".join(f"P{k}" for k in range(16))},
        {"parameters": "T2M,T2M"},
        {"user": "anonymous"},
        {"start": None},
        {"start": "2026-05-01"},
        {"longitude": "east"},
    ],
)
def test_nasa_power_refuses_with_messages(servers, change):
    status, data = told(servers, POWER, **change)
    assert status == 422
    assert isinstance(data["messages"], list) and data["messages"]


def test_station_file_has_the_documented_columns(servers):
    table = station_file(servers)
    names = ["temp", "rhum", "prcp", "snwd", "wdir", "wspd", "wpgt", "pres", "tsun", "cldc", "coco"]
    pairs = [c for n in names for c in (n, f"{n}_source")]
    assert list(table) == ["year", "month", "day", "hour", *pairs]
    assert len(table) == 8760
    assert (table["temp"].notna() == table["temp_source"].notna()).all()
    short = station_file(servers, station="AAAA3")
    assert not {"prcp", "prcp_source", "pres"} & set(short)
    assert ask(servers, "/hourly/2003/AAAA1.csv.gz")[0] == 404
    assert ask(servers, "/hourly/2025/AAAA4.csv.gz")[0] == 404  # closed in 2009


def test_model_values_in_station_files_are_absurd_and_marked(servers):
    table = station_file(servers, 2026)
    model = table["temp_source"].isin(MODEL_SOURCES)
    assert set(table["temp_source"][model]) == set(MODEL_SOURCES)
    assert (table["temp"][model] == ABSURD["temp"]).all()
    assert table["temp"][~model].max() < 45
    future = pd.to_datetime(table[["year", "month", "day", "hour"]]) >= servers.today
    assert future.any() and model[future].all()


def test_station_database_has_the_documented_tables(servers):
    _, _, body = ask(servers, "/stations.db")
    with closing(sqlite3.connect(":memory:")) as base:
        base.deserialize(body)
        stations = pd.read_sql("SELECT * FROM stations JOIN names ON id = station", base)
        held = pd.read_sql("SELECT * FROM inventory WHERE station = 'AAAA3'", base)
    assert list(stations)[:7] == [
        "id",
        "country",
        "region",
        "latitude",
        "longitude",
        "elevation",
        "timezone",
    ]
    assert set(stations["language"]) == {"en"} and len(stations) == len(servers.stations)
    assert list(held) == ["station", "provider", "parameter", "start", "end", "completeness"]
    assert "prcp" not in set(held["parameter"])


# ---------------------------------------------------------------- the same hour everywhere


@pytest.mark.parametrize(("longitude", "shift"), [(10.08, 1), (149.0, 10), (-121.0, -8)])
def test_the_storm_hour_stands_where_each_service_puts_it(longitude, shift):
    """Hand-worked: the hour 13 to 14 UTC; local solar time is longitude / 15 hours later."""
    with WeatherServers(storm_at_14) as servers:
        hourly = "temperature_2m,precipitation,shortwave_radiation"
        _, data = told(servers, ARCHIVE, hourly=hourly, longitude=longitude)
        row = data["hourly"]["time"].index("2026-05-01T14:00")
        values = [data["hourly"][n][row] for n in hourly.split(",")]
        assert values == [14.0, 7.2, 400.0]  # preceding hour
        _, data = told(servers, MET, lon=longitude)
        rain = {s["time"]: s["data"] for s in data["properties"]["timeseries"]}
        step = rain["2026-05-20T13:00:00Z"]  # following hour
        assert step["next_1_hours"]["details"]["precipitation_amount"] == 7.2
        assert step["instant"]["details"]["air_temperature"] == 13.0
        assert (
            rain["2026-05-20T08:00:00Z"]["next_6_hours"]["details"]["precipitation_amount"] == 7.2
        )
        assert rain["2026-05-20T07:00:00Z"]["next_6_hours"]["details"]["precipitation_amount"] == 0
        names = "PRECTOTCORR,ALLSKY_SFC_SW_DWN,T2M"
        for standard, key in (("UTC", 13), (None, 13 + shift)):  # start of the hour
            change = {"parameters": names, "longitude": longitude, "time-standard": standard}
            _, data = told(servers, POWER, **change)
            values = {
                n: d[f"20260501{key:02d}"] for n, d in data["properties"]["parameter"].items()
            }
            # the mean of 13 and 14 °C, 21.6 m lower than the truth: 6.5 °C a km
            warm = pytest.approx(13.5 + 0.14, abs=0.01)
            assert values == {"PRECTOTCORR": 7.2, "ALLSKY_SFC_SW_DWN": 400.0, "T2M": warm}
        servers.stations[0].elevation = 1210  # 1 km above the truth: 6.5 °C colder
        table = station_file(servers).set_index(["month", "day", "hour"])
        assert table.loc[(5, 1, 14), ["temp", "prcp"]].tolist() == [7.5, 7.2]


def test_bias_moves_one_service_alone(servers):
    _, before = told(servers, ARCHIVE)
    _, other = told(servers, FORECAST)
    servers.bias[ARCHIVE] = {"temp_c": 1.5, "precip_mm": 2.0}
    _, after = told(servers, ARCHIVE)
    for name, expected in (("temperature_2m", (1.0, 1.5)), ("precipitation", (2.0, 0.0))):
        slope, shift = expected
        want = slope * np.array(before["hourly"][name]) + shift
        assert np.array(after["hourly"][name]) == pytest.approx(want, abs=0.1001)
    assert told(servers, FORECAST)[1]["hourly"] == other["hourly"]


def test_a_local_clock_moves_labels_not_weather(servers):
    _, utc = told(servers, ARCHIVE)
    _, local = told(servers, ARCHIVE, timezone="Europe/Rome")
    assert local["utc_offset_seconds"] == 7200  # summer time on the services' date
    values = [d["hourly"]["temperature_2m"] for d in (utc, local)]
    assert values[1][2:] == values[0][:-2]


# ---------------------------------------------------------------- the invented truth


@pytest.mark.parametrize("latitude", [-90, -42, -5, 0, 45, 70, 90])
def test_invented_weather_is_possible_weather(latitude):
    index = pd.date_range("2019-01-01", "2021-12-31", freq="h", tz="UTC")
    table = invented_weather(latitude, 147.0, index)
    assert list(table) == list(WEATHER) and table.notna().all().all()
    check_bounds(table, WEATHER, where="invented weather")
    assert (table["dewpoint_c"] < table["temp_c"]).all()
    assert 0.02 < (table["precip_mm"] > 0).mean() < 0.3


def test_any_part_of_a_span_gives_the_same_weather():
    index = pd.date_range("2023-11-20", "2024-03-10", freq="h", tz="UTC")
    part = index[777:1555]
    whole = invented_weather(45.0, 10.0, index)
    pd.testing.assert_frame_equal(
        whole.loc[part], invented_weather(45.0, 10.0, part), check_freq=False
    )


def test_seasons_by_hemisphere_and_noon_by_longitude():
    index = pd.date_range("2024-01-01", "2024-12-31", freq="h", tz="UTC")
    for latitude, warm, cold in ((45, 7, 1), (-45, 1, 7)):
        month = invented_weather(latitude, 0.0, index)["temp_c"].groupby(index.month).mean()
        assert month[warm] > month[cold] + 10
    for longitude, noon in ((0.0, 12), (150.0, 2), (-120.0, 20)):
        sun = invented_weather(30.0, longitude, index)["ghi_wm2"].groupby(index.hour).mean()
        assert sun.idxmax() in (noon, noon + 1)  # the hour before or after solar noon
        assert sun[(noon + 12) % 24] == pytest.approx(0, abs=0.01)


# ---------------------------------------------------------------- faults


def faulty(servers, service, fault, headers=AGENT, **more):
    path, params = EASY[service]
    servers.faults[service].append(fault)
    return ask(servers, path, params, headers, **more)


@pytest.mark.parametrize("service", SERVICES)
def test_a_request_without_a_fault_is_answered_and_noted(servers, service):
    path, params = EASY[service]
    status, _, _ = ask(servers, servers.urls()[service].removeprefix(servers.url) + path, params)
    asked = servers.requests[0]
    assert (status, asked.status, asked.service, asked.method) == (200, 200, service, "GET")
    assert asked.path == path and asked.params == {k: str(v) for k, v in params.items()}
    assert asked.headers["user-agent"] == AGENT["User-Agent"]
    assert (servers.count(), servers.count(service), servers.count("none")) == (1, 1, 0)


@pytest.mark.parametrize("service", SERVICES)
def test_faults_of_the_wire(servers, service):
    with pytest.raises(http.client.RemoteDisconnected):
        faulty(servers, service, "refuse")
    assert servers.requests[-1].status == 0
    with pytest.raises(ConnectionResetError):
        faulty(servers, service, "reset")
    begun = time.monotonic()
    with pytest.raises(TimeoutError):
        faulty(servers, service, ("drip", 0.5), timeout=0.1)
    assert time.monotonic() - begun < 0.5
    path, params = EASY[service]
    assert ask(servers, path, params)[0] == 200  # one request, one fault


@pytest.mark.parametrize("service", SERVICES)
def test_faults_of_the_body(servers, service):
    for fault in ("broken json", "stream error"):
        status, _, body = faulty(servers, service, fault)
        assert status == 200
        with pytest.raises(ValueError):
            json.loads(body)
        assert (b"Unexpected error while streaming data: " in body) == (fault == "stream error")
    status, headers, body = faulty(servers, service, "half gzip")
    called = "none" if service == METEOSTAT else "gzip"  # a .csv.gz is no encoding
    assert (status, headers.get("content-encoding", "none")) == (200, called)
    with pytest.raises(EOFError):
        gzip.decompress(body)
    status, headers, body = faulty(servers, service, "html")
    assert (status, headers["content-type"][:9], body[:9]) == (200, "text/html", b"<!DOCTYPE")
    status, headers, _ = faulty(servers, service, ("redirect", "http://127.0.0.1:9/x"))
    assert (status, headers["location"]) == (302, "http://127.0.0.1:9/x")


@pytest.mark.parametrize("status", [400, 403, 404, 422, 429, 500, 502, 503, 504])
@pytest.mark.parametrize("service", SERVICES)
def test_errors_have_the_shape_of_their_service(servers, service, status):
    given, headers, body = faulty(servers, service, ("status", status, "Hourly limit"))
    assert given == status == servers.requests[-1].status
    if service.startswith("open-meteo") and status not in (502, 504):
        assert json.loads(body) == {"error": True, "reason": "Hourly limit"}
    elif service == POWER and status < 502:
        assert json.loads(body)["messages"] == ["Hourly limit"]
    else:
        assert headers["content-type"].startswith("text/html") and b"Hourly limit" in body


def test_the_minute_limit_is_the_plain_429(servers):
    _, _, body = faulty(servers, FORECAST, ("status", 429))
    assert json.loads(body)["reason"].startswith("Minutely API request limit exceeded.")


def test_faults_of_the_shape_open_meteo(servers):
    def data(fault, service=ARCHIVE):
        return json.loads(faulty(servers, service, fault)[2])

    assert list(data("missing columns")["hourly"]) == ["time", "temperature_2m"]
    assert data("wrong units")["hourly_units"]["temperature_2m"] == "°F"
    assert isinstance(data("list"), list)
    hourly = data("nulls", ENSEMBLE)["hourly"]
    assert set(hourly["temperature_2m"] + hourly["temperature_2m_member30"]) == {None}
    assert None not in hourly["precipitation"]


def test_faults_of_the_shape_elsewhere(servers):
    def data(service, fault):
        return json.loads(faulty(servers, service, fault)[2])

    step = data(MET, "missing columns")["properties"]["timeseries"][0]["data"]["instant"]["details"]
    assert "air_temperature" not in step and "air_pressure_at_sea_level" in step
    units = data(MET, "wrong units")["properties"]["meta"]["units"]
    assert units["air_temperature"] == "fahrenheit"
    assert list(data(POWER, "missing columns")["properties"]["parameter"]) == ["T2M"]
    assert data(POWER, "wrong units")["parameters"]["T2M"]["units"] == "F"
    assert set(data(POWER, "nulls")["properties"]["parameter"]["T2M"].values()) == {-999.0}
    table = pd.read_csv(io.BytesIO(gzip.decompress(faulty(servers, METEOSTAT, "nulls")[2])))
    assert table["temp"].isna().all() and table["rhum"].notna().any()
    assert "results" in data(GEOCODING, "list")[0]
    assert data(ELEVATION, "missing columns") == {}


def test_a_mistake_in_a_test_is_told():
    with (
        pytest.raises(RuntimeError, match="no such fault"),
        WeatherServers() as servers,
        pytest.raises(http.client.RemoteDisconnected),
    ):
        faulty(servers, ARCHIVE, "earthquake")
