"""Open-Meteo's answers read: shapes, units, members, holes. All figures invented.

Shapes follow the service's documentation (docs pages, OpenAPI files, server source); what this
project does with them is its own rule, and each test says which.
"""

import json
from datetime import date

import numpy as np
import pandas as pd
import pytest
from any_answer import anything, is_sound_or_refused, mutated, packed, paths
from hypothesis import given, settings
from hypothesis import strategies as st
from loopback import ARCHIVE, ENSEMBLE, FORECAST, WeatherServers, invented_weather

from flowcast.errors import NothingThere, SourceFormatError
from flowcast.sources.open_meteo import (
    get_archive,
    get_ensemble,
    get_forecast,
    parse_hours,
    parse_members,
    parse_places,
)
from flowcast.sources.service import Site

UNITS = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "precipitation": "mm",
    "wind_speed_10m": "m/s",
    "shortwave_radiation": "W/m²",
    "soil_moisture_0_to_7cm": "m³/m³",
}


def body(times=3, units=None, first="2024-05-01T00:00", **columns):
    """An answer in the documented shape; columns by Open-Meteo's own names."""
    stamps = pd.date_range(first, periods=times, freq="h").strftime("%Y-%m-%dT%H:%M").tolist()
    given = {"temperature_2m": [11.2, 10.6, 10.1], "precipitation": [0.0, 0.3, 0.0]} | columns
    hourly = {name: values for name, values in given.items() if values is not None}
    told = {n: UNITS.get(n.split("_member")[0], "°C") for n in hourly} | (units or {})
    return {
        "latitude": 45.1,
        "longitude": 10.1,
        "generationtime_ms": 0.21,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 210.0,
        "hourly_units": {"time": "iso8601"} | told,
        "hourly": {"time": stamps} | hourly,
    }


def hours(**more):
    return parse_hours(packed(body(**more)))


# ---------------------------------------------------------------- documented shape


def test_the_documented_answer_becomes_our_columns():
    table, origin = hours(wind_speed_10m=[1.94, 2.1, 2.0], shortwave_radiation=[0.0, 0.0, 1.5])
    assert table["temp_c"].tolist() == [11.2, 10.6, 10.1]
    assert table["precip_mm"].tolist() == [0.0, 0.3, 0.0]
    assert table["wind_ms"].tolist() == [1.94, 2.1, 2.0]
    assert table["ghi_wm2"].tolist() == [0.0, 0.0, 1.5]
    assert table.index.tolist() == list(pd.date_range("2024-05-01", periods=3, freq="h", tz="UTC"))
    assert origin.cell == (45.1, 10.1, 210.0)
    assert origin.columns["temp_c"] == "temperature_2m, °C"
    assert origin.notes == ()


def test_an_unknown_height_is_a_missing_key():
    """Documented: `elevation` is absent when unknown."""
    data = body()
    del data["elevation"]
    assert parse_hours(packed(data))[1].cell == (45.1, 10.1, None)


@pytest.mark.parametrize(
    ("name", "unit", "given", "ours", "value"),
    [
        # Definitions: 1 in = 25.4 mm, 1 mi = 1609.344 m, 1 nautical mile = 1852 m exactly;
        # 0 °C = 32 °F, 100 °C = 212 °F.
        ("temperature_2m", "°F", 212.0 - 162.0, "temp_c", 10.0),
        ("temperature_2m", "°F", -40.0, "temp_c", -40.0),
        ("precipitation", "inch", 2.0, "precip_mm", 50.8),
        ("wind_speed_10m", "km/h", 36.0, "wind_ms", 10.0),
        ("wind_speed_10m", "mp/h", 100.0, "wind_ms", 44.704),
        ("wind_speed_10m", "kn", 3600.0 / 1852, "wind_ms", 1.0),
    ],
)
def test_units_are_taken_as_declared(name, unit, given, ours, value):
    table, _ = hours(**{name: [given] * 3}, units={name: unit})
    assert table[ours].tolist() == pytest.approx([value] * 3, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("temperature_2m", "K"),
        ("temperature_2m", "mm"),  # known, but no unit of temperature
        ("precipitation", "°C"),
        ("soil_moisture_0_to_7cm", "%"),
        ("shortwave_radiation", "MJ/m²"),
        ("precipitation", ""),
        ("precipitation", None),
    ],
)
def test_a_unit_we_do_not_know_is_refused_in_one_line(name, unit):
    with pytest.raises(SourceFormatError, match=f"{name} comes in .* do not know") as told:
        hours(**{name: [0.2, 0.2, 0.2]}, units={name: unit})
    assert "\n" not in str(told.value)


# ---------------------------------------------------------------- holes


def test_nulls_are_missing_and_trailing_ones_are_cut():
    table, _ = hours(temperature_2m=[11.0, None, 10.0], precipitation=[0.0, 0.1, None])
    assert table.index.tolist() == [pd.Timestamp("2024-05-01", tz="UTC")]
    table, _ = hours(temperature_2m=[11.0, None, 10.0])
    assert table["temp_c"].isna().tolist() == [False, True, False]
    assert table["precip_mm"].tolist() == [0.0, 0.3, 0.0]


def test_a_column_of_nulls_is_left_out():
    table, origin = hours(soil_moisture_0_to_7cm=[None] * 3)
    assert "soil_moisture_m3m3" not in table
    assert "soil_moisture_m3m3" not in origin.columns


def test_the_first_soil_layer_with_values_is_taken_and_told():
    soil = {"soil_temperature_0_to_7cm": [None] * 3, "soil_temperature_6cm": [9.1, 9.0, 8.9]}
    table, origin = hours(**soil)
    assert table["soil_temp_c"].tolist() == [9.1, 9.0, 8.9]
    assert origin.columns["soil_temp_c"] == "soil_temperature_6cm, °C"


@pytest.mark.parametrize("name", ["temperature_2m", "precipitation"])
def test_nothing_but_nulls_is_nothing_there(name):
    """Documented: data not yet there are null. That is no unknown shape."""
    with pytest.raises(NothingThere, match="nothing for this place"):
        hours(**{name: [None] * 3})


@pytest.mark.parametrize(
    ("name", "ours"), [("temperature_2m", "temp_c"), ("precipitation", "precip_mm")]
)
def test_without_temperature_or_rain_there_is_no_weather(name, ours):
    with pytest.raises(SourceFormatError, match=f"{ours} not in the answer"):
        hours(**{name: None})


def test_values_no_weather_can_have_are_blanked_and_told():
    """Bounds of tables.WEATHER: 310 mm in an hour, 60 °C, 90 m/s."""
    table, origin = hours(
        precipitation=[0.0, 311.0, 0.0],
        temperature_2m=[11.0, 10.0, 61.0],
        wind_speed_10m=[-1.0, 91.0, 2.0],
    )
    assert table["precip_mm"].isna().tolist() == [False]
    assert "wind_ms 2" in str(origin.notes[0]) and "precip_mm 1" in str(origin.notes[0])
    assert "temp_c 1" in str(origin.notes[0])


def test_a_column_that_only_begins_alike_is_not_the_column():
    """precipitation_probability and cloud_cover_low are other variables, no model's rain and cloud."""
    table, origin = hours(
        precipitation_probability=[90, 90, 90],
        cloud_cover_low=[80, 80, 80],
        units={"precipitation_probability": "%", "cloud_cover_low": "%"},
    )
    assert table["precip_mm"].tolist() == [0.0, 0.3, 0.0]
    assert "cloud_pct" not in table
    assert origin.members == 1


# ---------------------------------------------------------------- times


@pytest.mark.parametrize("offset_h", [2, -3.5, 14])
def test_a_local_clock_is_put_back_to_utc(offset_h):
    """Times stand in the zone asked for and utc_offset_seconds tells it (documented)."""
    data = body(first="2024-05-01T12:00")
    data["utc_offset_seconds"] = int(3600 * offset_h)
    table, _ = parse_hours(packed(data))
    utc = pd.Timestamp("2024-05-01T12:00Z") - pd.Timedelta(hours=offset_h)
    assert table.index[0] == utc


@pytest.mark.parametrize("day", ["2024-03-31", "2024-10-27", "2024-04-07", "2024-10-06"])
def test_clock_change_days_are_whole_in_utc(day):
    """Days of 23 and 25 hours in Rome and Hobart have 24 hours in UTC like any other."""
    table, _ = hours(
        times=24, first=f"{day}T00:00", temperature_2m=[8.0] * 24, precipitation=[0.0] * 24
    )
    assert (len(table), table.index.freq) == (24, None)
    assert set(np.diff(table.index.asi8)) == {3_600_000_000_000}


@pytest.mark.parametrize(
    "times",
    [
        ["2024-05-01T00:00", "2024-05-01T02:00", "2024-05-01T01:00"],
        ["2024-05-01T00:00", "2024-05-01T01:00", "2024-05-01T01:00"],
        ["2024-05-01T00:00", None, "2024-05-01T02:00"],
        ["2024-05-01T00:00", "noon", "2024-05-01T02:00"],
        ["9999-05-01T00:00", "9999-05-01T01:00", "9999-05-01T02:00"],
        [[1], [2], [3]],
        "2024-05-01T00:00",
        None,
    ],
)
def test_times_out_of_order_or_twice_or_none_are_refused(times):
    data = body()
    data["hourly"]["time"] = times
    with pytest.raises(SourceFormatError, match="times"):
        parse_hours(packed(data))


# ---------------------------------------------------------------- lists and errors


def test_a_list_of_one_place_is_that_place():
    assert len(parse_hours(packed([body()]))[0]) == 3


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ([body(), body()], "several were answered"),
        ([], "unknown shape"),
        (7, "unknown shape"),
        (None, "unknown shape"),
        ({"hourly": 3}, "no 'hourly'"),
        ({"hourly": {"time": []}}, "no 'hourly_units'"),
    ],
)
def test_other_shapes_are_refused_in_one_line(data, says):
    with pytest.raises(SourceFormatError, match=says) as told:
        parse_hours(packed(data))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("parse", [parse_hours, parse_members, parse_places])
def test_an_error_sent_as_an_answer_is_told_in_its_own_words(parse):
    """Documented: {"error": true, "reason": ...}; it may come with status 200."""
    with pytest.raises(NothingThere, match="out of allowed range") as told:
        parse(packed({"error": True, "reason": "Parameter 'start_date' is\n out of allowed range"}))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    "content", [b"", b"<html>", packed(body())[:200], b"[" * 100_000, b"\xff\xfe{"]
)
def test_what_is_no_json_is_refused_in_one_line(content):
    with pytest.raises(SourceFormatError, match="no JSON") as told:
        parse_hours(content)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    "values", ["12", 5, None, {"a": 1}, [1.0, 2.0], [[1], [2], [3]], ["a", 1, 2], [10**400, 0, 0]]
)
def test_values_that_are_no_column_of_numbers_are_refused(values):
    data = body(wind_speed_10m=[1.0, 1.0, 1.0])
    data["hourly"]["wind_speed_10m"] = values
    with pytest.raises(SourceFormatError):
        parse_hours(packed(data))


# ---------------------------------------------------------------- members


def ensemble(members, suffix="", **gone):
    """temperature of member m is m, its rain m / 10; the control is member 0 (documented names)."""
    columns = {}
    for m in range(members):
        key = (f"_member{m:02d}" if m else "") + suffix
        columns[f"temperature_2m{key}"] = [float(m)] * 3
        columns[f"precipitation{key}"] = [m / 10] * 3
        columns[f"relative_humidity_2m{key}"] = [40.0 + m] * 3
    columns |= gone
    units = {n: UNITS[n.split("_member")[0].removesuffix(suffix or " ")] for n in columns}
    plain = {} if not suffix else {"temperature_2m": None, "precipitation": None}
    return packed(body(**(plain | columns), units=units))


@pytest.mark.parametrize("suffix", ["", "_ncep_gefs025"])
@pytest.mark.parametrize("members", [1, 31, 51])
def test_members_are_one_table_each_in_one_shape(members, suffix):
    """Documented: the control has the bare name, then _member01 ...; a model's name behind."""
    tables, origin = parse_members(ensemble(members, suffix))
    assert len(tables) == origin.members == members
    assert {t.shape for t in tables} == {(3, 3)}
    assert [t["temp_c"].iloc[0] for t in tables] == list(range(members))
    assert [t["precip_mm"].iloc[0] for t in tables] == pytest.approx(np.arange(members) / 10)


def test_a_member_that_lacks_its_rain_does_not_take_its_neighbours():
    tables, _ = parse_members(ensemble(4, precipitation_member02=None))
    assert [(t["temp_c"].iloc[0], t["precip_mm"].iloc[0]) for t in tables] == [
        (0.0, 0.0),
        (1.0, 0.1),
        (3.0, pytest.approx(0.3)),
    ]


def test_what_one_member_lacks_is_missing_in_it_alone():
    tables, _ = parse_members(ensemble(3, relative_humidity_2m_member01=None))
    assert [list(t.columns) for t in tables] == [["temp_c", "rh_pct", "precip_mm"]] * 3
    assert [t["rh_pct"].isna().all() for t in tables] == [False, True, False]


def test_a_member_of_nulls_is_left_out():
    tables, origin = parse_members(ensemble(3, temperature_2m_member01=[None] * 3))
    assert [t["temp_c"].iloc[0] for t in tables] == [0.0, 2.0]
    assert origin.members == 2


def test_members_end_with_the_last_hour_any_of_them_knows():
    tables, _ = parse_members(
        ensemble(2, temperature_2m=[1.0, None, None], temperature_2m_member01=[1.0, 1.0, None])
    )
    assert [len(t) for t in tables] == [2, 2]


def test_each_member_is_taken_in_its_own_unit():
    data = json.loads(ensemble(2))
    data["hourly"]["temperature_2m_member01"] = [50.0] * 3
    data["hourly_units"]["temperature_2m_member01"] = "°F"
    assert parse_members(packed(data))[0][1]["temp_c"].tolist() == pytest.approx([10.0] * 3)


# ---------------------------------------------------------------- places

PLACE = {
    "id": 3100001,
    "name": "Exampleville",
    "latitude": 45.1,
    "longitude": 10.1,
    "elevation": 52.0,
    "country_code": "IT",
    "timezone": "Europe/Rome",
    "country": "Italy",
    "admin1": "Lombardy",
}


def test_places_in_the_documented_shape():
    (place,) = parse_places(packed({"results": [PLACE], "generationtime_ms": 0.5}))
    assert place.full_name == "Exampleville, Lombardy, Italy"
    assert (place.latitude, place.longitude, place.elevation_m) == (45.1, 10.1, 52.0)
    assert place.timezone == "Europe/Rome"


@pytest.mark.parametrize("reply", [{"generationtime_ms": 0.5}, {"results": None}, {"results": []}])
def test_no_match_is_no_place(reply):
    assert parse_places(packed(reply)) == []


@pytest.mark.parametrize("empty", ["missing", None])
def test_empty_fields_of_a_place_do_no_harm(empty):
    """Documented: empty fields are dropped."""
    gone = dict.fromkeys(("admin1", "country", "elevation", "timezone"))
    place = {k: v for k, v in (PLACE | gone).items() if empty is None or v is not None}
    (found,) = parse_places(packed({"results": [place]}))
    assert found.full_name == "Exampleville, IT"
    assert found.elevation_m is None


@pytest.mark.parametrize(
    "reply", [[PLACE], {"results": {"a": 1}}, {"results": [{"name": "X"}]}, {"results": 4}, 3]
)
def test_an_unknown_list_of_places_is_refused(reply):
    with pytest.raises(SourceFormatError, match="unknown shape"):
        parse_places(packed(reply))


# ---------------------------------------------------------------- any answer at all

ANYTHING = anything("hourly", "hourly_units", "time", "temperature_2m", "results", "error")
GOOD = json.loads(ensemble(2))


@settings(deadline=None)
@given(ANYTHING)
def test_any_json_is_refused_in_one_line_or_sound(data):
    is_sound_or_refused(lambda content: parse_members(content)[0], packed(data))
    is_sound_or_refused(lambda content: parse_places(content) and (), packed(data))


@settings(deadline=None)
@given(st.sampled_from(list(paths(GOOD))), ANYTHING)
def test_any_change_to_a_good_answer_is_refused_or_sound(path, value):
    is_sound_or_refused(
        lambda content: parse_members(content)[0], packed(mutated(GOOD, path, value))
    )


@settings(deadline=None)
@given(st.sampled_from(list(paths(PLACE))), ANYTHING)
def test_any_change_to_a_good_place_is_refused_or_a_place(path, value):
    is_sound_or_refused(
        lambda content: [p.full_name for p in parse_places(content)] and (),
        packed({"results": [mutated(PLACE, path, value)]}),
    )


# ---------------------------------------------------------------- through the loopback server

TODAY = date(2026, 5, 20)
DIGITS = {  # half of the last digit that the loopback shows, and floating point
    "temp_c": 0.05,
    "rh_pct": 0.5,
    "precip_mm": 0.005,
    "wind_ms": 0.005,
    "ghi_wm2": 0.05,
    "soil_temp_c": 0.05,
    "soil_moisture_m3m3": 0.0005,
}


@pytest.mark.parametrize("service", [ARCHIVE, FORECAST, ENSEMBLE])
def test_the_truth_comes_back_within_the_printed_digits(service, web_to):
    """The ensemble's members are the truth up to today, 20 May 00:00."""
    with WeatherServers(today="2026-05-20") as servers:
        web, site = web_to(servers), Site(45.12, 10.08, 210.0)
        table = {
            ARCHIVE: lambda: get_archive(web, site, date(2026, 1, 1), date(2026, 5, 20), TODAY),
            FORECAST: lambda: get_forecast(web, site),
            ENSEMBLE: lambda: get_ensemble(web, site),
        }[service]()
    table = table.members[30].iloc[:1] if service == ENSEMBLE else table.table
    truth = invented_weather(45.12, 10.08, table.index)
    assert len(table) == {ARCHIVE: 24 * 135, FORECAST: 24 * (92 + 16), ENSEMBLE: 1}[service]
    for name in table:
        assert np.abs(table[name] - truth[name]).max() <= DIGITS[name] + 1e-9, name
