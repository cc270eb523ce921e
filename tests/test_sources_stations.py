"""Weather stations: found, fetched, read, and only what was measured kept. All stations invented."""

import gzip
import inspect
import logging
import socket
import sqlite3
import subprocess
import sys
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast.errors import InputError, NothingThere, SourceFormatError, SourceUnavailable
from flowcast.numbers import load_numbers
from flowcast.sources.stations import get_stations, parse_hours, to_yard_height
from flowcast.tables import WEATHER, Place

YARD = Place(45.0, 10.0, 200.0, "Europe/Rome", (1, 1))
KM_PER_DEGREE = 111.19  # of latitude on the library's sphere of 6371 km: 6371 pi / 180
MAY = (date(2024, 5, 1), date(2024, 5, 31))
TODAY = date(2024, 6, 15)
DAY_S = 86_400

# The file shape as the service documents it: values with their sources, columns by header.
HEADER = (
    "year,month,day,hour,temp,temp_source,rhum,rhum_source,prcp,prcp_source,snwd,snwd_source,"
    "wdir,wdir_source,wspd,wspd_source,pres,pres_source,cldc,cldc_source"
)
FIRST_HOURS = f"""{HEADER}
2024,5,1,0,10.4,isd_lite,71,isd_lite,0.0,isd_lite,,,200,isd_lite,7.2,isd_lite,1013.2,isd_lite,4,metar
2024,5,1,1,9.9,isd_lite,74,isd_lite metno_forecast,0.3,dwd_mosmix,,,210,isd_lite,3.6,model,1013.0,isd_lite,9,metar
2024,5,1,2,9.1,metno_forecast,,,,,,,,,,,,,8,metar
"""


def packed(text):
    return gzip.compress(text.encode("utf-8"), mtime=0)


def hours_file(*rows, name="temp"):
    """One column of values with sources, on the hours of 1 May 2024 unless a row says otherwise."""
    lines = [f"year,month,day,hour,{name},{name}_source"]
    for hour, row in enumerate(rows):
        stamp, value, source = row if len(row) == 3 else (f"2024,5,1,{hour}", *row)
        lines.append(f"{stamp},{value},{source}")
    return packed("\n".join(lines) + "\n")


@dataclass(frozen=True)
class Made:
    """An invented station so many kilometres north of the yard and metres above it."""

    id: str
    km: float
    above_m: float | None = 0.0
    first: str = "2000-01-01"
    last: str = "2024-06-10"
    parameter: str = "temp"
    provider: str = "isd_lite"


def station_list(folder, *stations):
    """The station list in the service's own tables."""
    path = folder / "made.db"
    path.unlink(missing_ok=True)
    db = sqlite3.connect(path)
    db.executescript(
        "CREATE TABLE stations (id TEXT PRIMARY KEY, country TEXT, region TEXT, latitude REAL,"
        " longitude REAL, elevation INTEGER, timezone TEXT);"
        "CREATE TABLE names (station TEXT, language TEXT, name TEXT);"
        "CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT);"
        "CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT, end TEXT,"
        " completeness REAL);"
    )
    for s in stations:
        height = None if s.above_m is None else YARD.elevation_m + s.above_m
        where = (YARD.latitude + s.km / KM_PER_DEGREE, YARD.longitude, height)
        db.execute("INSERT INTO stations VALUES (?,'IT','',?,?,?,'Europe/Rome')", (s.id, *where))
        db.execute("INSERT INTO names VALUES (?,'en',?)", (s.id, f"Made-up {s.id}"))
        row = (s.id, s.provider, s.parameter, s.first, s.last)
        db.execute("INSERT INTO inventory VALUES (?,?,?,?,?,0.9)", row)
    db.commit()
    db.close()
    return path.read_bytes()


HAD = pd.Timestamp("2024-06-15 06:00", tz="UTC")


@dataclass
class FakeAnswer:
    content: bytes
    retrieved_at: pd.Timestamp = HAD
    age_s: float = 0.0


class FakeWeb:
    """Serves bytes from memory; what is not there answers 404."""

    def __init__(self, files):
        self.files = files
        self.asked = []

    def get(self, service, path, params=None, *, lifetime_s, what):
        self.asked.append((path, lifetime_s))
        assert service.name == "Meteostat"
        if path not in self.files:
            raise NothingThere(f"{what}: not there.")
        there = self.files[path]
        if isinstance(there, Exception):
            raise there
        return there if isinstance(there, FakeAnswer) else FakeAnswer(there)

    def paths(self):
        return [path for path, _ in self.asked]


@pytest.fixture
def world(tmp_path):
    """world(*stations, files={"ID": bytes}) is a web with these stations and their 2024."""

    def make(*stations, files=None, **more):
        plain = hours_file((10.4, "isd_lite"))
        served = {f"/hourly/2024/{s.id}.csv.gz": plain for s in stations}
        served |= {f"/hourly/2024/{id_}.csv.gz": c for id_, c in (files or {}).items()}
        served = {path: content for path, content in served.items() if content is not None}
        return FakeWeb({"/stations.db": station_list(tmp_path, *stations), **served, **more})

    return make


def ask(web, first=MAY[0], last=MAY[1], **more):
    return get_stations(web, YARD, first, last, today=TODAY, **more)


# Published values.


@pytest.mark.parametrize("height_m, kelvin", [(1000, 281.650), (2000, 275.150), (5000, 255.650)])
def test_temperature_falls_with_height_as_in_the_standard_atmosphere(height_m, kelvin):
    # ISO 2533, table of the standard atmosphere by geopotential height: 288.150 K at sea level and
    # these above; from memory.
    station = pd.DataFrame({"temp_c": [kelvin - 273.15]})
    at_sea_level = to_yard_height(station, height_m)["temp_c"][0]
    assert at_sea_level + 273.15 == pytest.approx(288.150, abs=5e-4)


def test_wind_in_our_unit():
    # 1 knot is 1.852 km/h or 1852/3600 m/s, exact by definition.
    table, _ = parse_hours(hours_file((1.852, "metar"), (36.0, "metar"), name="wspd"))
    assert table["wind_ms"].tolist() == pytest.approx([1852 / 3600, 10.0], rel=1e-12)


def test_cloud_in_our_unit():
    # WMO code table 2700: 0 to 8 eighths of the sky, 9 means that it is hidden; from memory.
    rows = [(n, "metar") for n in range(10)]
    table, removed = parse_hours(hours_file(*rows, name="cldc"))
    eighths = [0, 12.5, 25, 37.5, 50, 62.5, 75, 87.5, 100]
    assert table["cloud_pct"].tolist() == eighths  # the tenth hour has no value and no row
    assert removed == 0


# Hand-worked cases.


def test_first_hours_by_hand():
    table, removed = parse_hours(packed(FIRST_HOURS))
    # Taken out: humidity joined with a forecast, rain of 1 h, wind of 1 h, temperature of 2 h.
    assert removed == 4
    expected = pd.DataFrame(
        {
            "temp_c": [10.4, 9.9, np.nan],
            "rh_pct": [71.0, np.nan, np.nan],
            "precip_mm": [0.0, np.nan, np.nan],
            "wind_ms": [2.0, np.nan, np.nan],
            "cloud_pct": [50.0, np.nan, 100.0],
            "pressure_hpa": [1013.2, 1013.0, np.nan],
        },
        index=pd.date_range("2024-05-01", periods=3, freq="h", tz="UTC", name="time"),
    )
    pd.testing.assert_frame_equal(table, expected, check_freq=False, check_index_type=False)


def test_columns_are_found_by_name_whatever_their_order():
    text = "temp_source,hour,temp,day,year,month,news\nmetar,3,-4.5,2,2023,1,x\n"
    table, _ = parse_hours(packed(text))
    assert table["temp_c"].to_dict() == {pd.Timestamp("2023-01-02 03:00", tz="UTC"): -4.5}


def test_columns_a_station_lacks_are_left_out():
    text = "year,month,day,hour,temp,temp_source,prcp,prcp_source\n2024,5,1,0,7,metar,,\n"
    table, _ = parse_hours(packed(text))
    assert list(table.columns) == ["temp_c"]


def test_a_value_of_no_named_source_is_not_known_to_be_measured():
    table, removed = parse_hours(hours_file((7.0, ""), (8.0, "metar")))
    assert table["temp_c"].tolist() == [8.0]
    assert removed == 1


def test_plain_text_is_read_like_packed_text():
    # Servers that declare the packing have it undone on the way.
    plain, _ = parse_hours(FIRST_HOURS.encode("utf-8"))
    pd.testing.assert_frame_equal(plain, parse_hours(packed(FIRST_HOURS))[0])


def test_out_of_order_rows_are_sorted_and_of_two_the_first_is_kept():
    content = hours_file(
        ("2024,5,1,5", 5.0, "metar"), ("2024,5,1,4", 4.0, "metar"), ("2024,5,1,5", 9.0, "metar")
    )
    table, _ = parse_hours(content)
    assert table["temp_c"].tolist() == [4.0, 5.0]


def test_a_station_with_all_that_is_told_of_it(world):
    web = world(Made("AAAA1", 10.0, above_m=120.0), files={"AAAA1": packed(FIRST_HOURS)})
    (station,) = ask(web)
    assert (station.id, station.name) == ("AAAA1", "Made-up AAAA1")
    # The library's sphere gives 10 km for 10 / 111.19 degrees; the list rounds to 0.1 m.
    assert station.distance_km == pytest.approx(10.0, abs=0.005)
    assert station.height_difference_m == 120.0
    assert station.removed == 4
    assert station.table["temp_c"].tolist()[:2] == [10.4, 9.9]  # as measured at 320 m
    assert any("4 values filled in by a model" in str(note) for note in station.notes)


def test_licence_and_credit_name_the_sources_of_what_is_left(world):
    rows = [(5.0, "dwd_hourly"), (6.0, "isd_lite"), (7.0, "isd_lite metno_forecast")]
    (station,) = ask(world(Made("A", 5), files={"A": hours_file(*rows)}))
    # The library's own list of providers: the German service under CC BY 4.0, ISD under CC0.
    assert station.licence == "CC BY 4.0, CC0 1.0 Universal"
    assert station.attribution == "Meteostat (https://meteostat.net), Deutscher Wetterdienst"


def test_a_source_without_a_value_left_is_not_credited(world):
    text = "year,month,day,hour,temp,temp_source,prcp,prcp_source\n"
    text += "2024,5,1,0,7,dwd_hourly model,0.2,isd_lite\n2024,5,1,1,99,gsa_hourly,0.0,isd_lite\n"
    text += "2024,5,1,2,8,isd_lite,0.0,isd_lite\n"
    (station,) = ask(world(Made("A", 5), files={"A": packed(text)}))
    assert station.attribution == "Meteostat (https://meteostat.net)"


def test_a_hidden_sky_is_no_fault(world):
    text = "year,month,day,hour,temp,temp_source,cldc,cldc_source\n"
    text += "2024,5,1,0,7,metar,9,metar\n2024,5,1,1,7,metar,8,metar\n"
    (station,) = ask(world(Made("A", 5), files={"A": packed(text)}))
    assert station.table["cloud_pct"].isna().tolist() == [True, False]
    assert station.notes == ()


def test_values_no_weather_can_have_are_left_out_and_told(world):
    rows = [(99.9, "metar"), (12.0, "metar"), ("inf", "metar")]
    (station,) = ask(world(Made("A", 5), files={"A": hours_file(*rows)}))
    assert station.table["temp_c"].tolist() == [12.0]
    assert any("2 values that no weather can have" in str(note) for note in station.notes)


def test_stamps_that_stand_twice_are_told(world):
    rows = [("2024,5,1,4", 4.0, "metar"), ("2024,5,1,4", 9.0, "metar")]
    (station,) = ask(world(Made("A", 5), files={"A": hours_file(*rows)}))
    assert station.table["temp_c"].tolist() == [4.0]
    assert any("1 stamps stand twice" in str(note) for note in station.notes)


def test_only_the_days_asked_for_are_kept_and_counted(world):
    rows = [
        ("2024,4,30,23", 1.0, "model"),
        ("2024,5,1,0", 2.0, "metar"),
        ("2024,5,31,23", 3.0, "metar"),
        ("2024,6,1,0", 4.0, "metar"),
    ]
    (station,) = ask(world(Made("A", 5), files={"A": hours_file(*rows)}))
    assert station.table["temp_c"].tolist() == [2.0, 3.0]
    assert station.removed == 0


def test_years_are_joined_and_a_missing_one_is_told(world):
    old = hours_file(("2022,12,31,23", 2.0, "metar"))
    web = world(Made("A", 5), **{"/hourly/2022/A.csv.gz": old})
    (station,) = ask(web, first=date(2022, 6, 1))
    assert station.table["temp_c"].tolist() == [2.0, 10.4]
    assert station.table.index.is_monotonic_increasing
    assert any("no file for 2023" in str(note) for note in station.notes)


def test_a_year_is_taken_from_its_own_file_alone(world):
    spill = hours_file(("2023,12,31,23", 1.0, "metar"), ("2024,5,1,0", 9.0, "metar"))
    web = world(Made("A", 5), **{"/hourly/2023/A.csv.gz": spill})
    (station,) = ask(web, first=date(2023, 12, 1))
    assert station.table["temp_c"].tolist() == [1.0, 10.4]


def test_columns_stand_in_one_order_whichever_year_has_them(world):
    rain = hours_file(("2023,12,31,23", 1.0, "metar"), name="prcp")
    web = world(Made("A", 5), **{"/hourly/2023/A.csv.gz": rain})
    (station,) = ask(web, first=date(2023, 12, 1))
    assert list(station.table.columns) == ["temp_c", "precip_mm"]
    assert (station.table.dtypes == "float64").all()


def test_a_year_without_any_value_does_not_spoil_the_others(world):
    web = world(Made("A", 5), **{"/hourly/2023/A.csv.gz": hours_file((7.0, "model"))})
    (station,) = ask(web, first=date(2023, 1, 1))
    assert station.table["temp_c"].tolist() == [10.4]
    assert str(station.table.index.tz) == "UTC"


# 2023 had grown to its end by 31 January 2024; until then a copy may lack its last days.
@pytest.mark.parametrize(
    "today, days_2023", [(date(2024, 1, 10), 1), (date(2024, 2, 1), 30), (date(2024, 6, 15), 30)]
)
def test_how_old_a_copy_may_be(world, today, days_2023):
    web = world(Made("A", 5))
    get_stations(web, YARD, date(2023, 1, 1), date(2024, 5, 31), today=today)
    assert dict(web.asked) == {
        "/stations.db": 7 * DAY_S,
        "/hourly/2023/A.csv.gz": days_2023 * DAY_S,
        "/hourly/2024/A.csv.gz": 1 * DAY_S,
    }


def test_an_old_copy_is_told(world):
    had = pd.Timestamp("2024-05-20", tz="UTC")
    old = FakeAnswer(hours_file((10.4, "metar")), retrieved_at=had, age_s=26.0 * DAY_S)
    (station,) = ask(world(Made("A", 5), files={"A": old}))
    assert any("old copy of 20 May 2024" in str(note) for note in station.notes)


# Which stations.


def ids(stations):
    return [station.id for station in stations]


def test_nearest_first_and_no_more_than_asked_for(world):
    web = world(Made("FAR", 40), Made("NEAR", 3), Made("MID", 20), Made("LAST", 45))
    assert ids(ask(web)) == ["NEAR", "MID", "FAR"]
    assert ids(ask(web, count=1)) == ["NEAR"]
    assert ids(ask(web, within_km=20.1)) == ["NEAR", "MID"]
    assert ids(ask(web, within_km=19.9)) == ["NEAR"]


def test_a_station_without_a_file_makes_room_for_the_next_and_is_told(world):
    web = world(Made("A", 5), Made("B", 10), files={"A": None})
    (station,) = ask(web, count=1)
    assert station.id == "B"
    assert any("Made-up A (5 km) has nothing measured" in str(note) for note in station.notes)


def test_a_station_of_nothing_but_model_values_has_nothing(world):
    web = world(Made("A", 5), Made("B", 10), files={"A": hours_file((9.0, "model"))})
    assert ids(ask(web)) == ["B"]


def test_a_station_without_temperature_and_rain_has_nothing(world):
    web = world(Made("A", 5), files={"A": hours_file((80, "metar"), name="rhum")})
    with pytest.raises(SourceUnavailable, match="have nothing"):
        ask(web)


def test_a_station_with_two_names_is_one_station(world, tmp_path):
    web = world(Made("A", 5), Made("B", 6))
    path = tmp_path / "named.db"
    path.write_bytes(web.files["/stations.db"])
    db = sqlite3.connect(path)
    db.execute("INSERT INTO names VALUES ('A', 'en', 'Also A')")
    db.commit()
    db.close()
    web.files["/stations.db"] = path.read_bytes()
    assert ids(ask(web)) == ["A", "B"]


def test_no_more_than_four_stations_are_asked(world):
    made = [Made(f"S{n}", 5 + n) for n in range(6)]
    web = world(*made, files={s.id: None for s in made})
    with pytest.raises(SourceUnavailable, match="have nothing for 2024-05-01 to 2024-05-31") as e:
        ask(web, count=9)
    assert "\n" not in str(e.value)
    assert web.paths() == ["/stations.db", *(f"/hourly/2024/S{n}.csv.gz" for n in range(4))]


@pytest.mark.parametrize(
    "unfit",
    [
        {"parameter": "wspd"},
        {"provider": "ghcnd"},  # days, not hours
        {"provider": "metno_forecast"},
        {"last": "2024-04-01"},
        {"first": "2024-06-01"},
    ],
)
def test_a_station_without_measured_hours_in_the_span_is_not_asked(world, unfit):
    web = world(replace(Made("UNFIT", 2), **unfit), Made("FIT", 9, parameter="prcp"))
    assert ids(ask(web)) == ["FIT"]
    assert "/hourly/2024/UNFIT.csv.gz" not in web.paths()


def test_an_inventory_a_few_days_behind_does_not_hide_a_station_at_work(world):
    # The list is up to a week old; 14 days are allowed for (numbers.toml).
    web = world(Made("A", 5, last="2024-04-18"), Made("B", 6, last="2024-04-16"))
    assert ids(ask(web)) == ["A"]


def test_stations_at_another_height_are_left_out_and_told(world):
    web = world(Made("PEAK", 2, above_m=900), Made("MAST", 3, above_m=None), Made("HOME", 9))
    (station,) = ask(web)
    assert station.id == "HOME"
    (note,) = (note for note in map(str, station.notes) if note.startswith("Left out"))
    assert "PEAK" in note and "MAST" in note


def test_stations_at_another_height_are_taken_where_there_is_no_other(world):
    (station,) = ask(world(Made("PEAK", 2, above_m=900)))
    assert station.height_difference_m == 900
    assert any("No station stands within 250 m" in str(note) for note in station.notes)


def test_an_unknown_height_is_told_and_corrects_nothing(world):
    (station,) = ask(world(Made("MAST", 3, above_m=None)))
    assert np.isnan(station.height_difference_m)
    assert any("height is unknown" in str(note) for note in station.notes)
    same = to_yard_height(station.table, station.height_difference_m)
    pd.testing.assert_frame_equal(same, station.table)


@pytest.mark.parametrize("latitude, longitude", [(-89.9, 0.0), (0.0, 179.99), (-33.0, -70.0)])
def test_the_search_works_anywhere_on_earth(world, latitude, longitude):
    web = world(Made("A", 5))
    there = replace(YARD, latitude=latitude, longitude=longitude)
    with pytest.raises(SourceUnavailable, match="no weather station within 50 km"):
        get_stations(web, there, *MAY, today=TODAY)


def test_a_yard_may_set_its_own_radius_and_count(world):
    web = world(Made("A", 5), Made("B", 60))
    wide = load_numbers({"stations.radius_km": 80, "stations.count": 2})
    assert ids(ask(web, numbers=wide)) == ["A", "B"]


# What goes wrong, told apart.


def test_no_station_in_the_radius(world):
    with pytest.raises(
        SourceUnavailable, match=r"no weather station within 20 km of 45\.00, 10\.00"
    ):
        ask(world(Made("A", 30)), within_km=20)


def test_no_station_with_hours(world):
    with pytest.raises(SourceUnavailable, match="none of the 1 weather stations within 50 km"):
        ask(world(Made("A", 30, last="1999-01-01")))


@pytest.mark.parametrize("path", ["/stations.db", "/hourly/2024/A.csv.gz"])
def test_a_lost_network_is_not_taken_for_no_data(world, path):
    lost = SourceUnavailable("meteostat did not answer.")
    with pytest.raises(SourceUnavailable) as caught:
        ask(world(Made("A", 5), Made("B", 6), **{path: lost}))
    assert caught.value is lost


def empty_list_with(*statements):
    def make(folder):
        path = folder / "odd.db"
        db = sqlite3.connect(path)
        for statement in statements:
            db.execute(statement)
        db.commit()
        db.close()
        return path.read_bytes()

    return make


@pytest.mark.parametrize(
    "broken",
    [
        lambda folder: b"",
        lambda folder: b"<html>moved</html>" * 100,
        lambda folder: station_list(folder, Made("A", 5))[:5000],
        lambda folder: station_list(folder, Made("A", 5, last="soon")),
        empty_list_with("CREATE TABLE stations (id TEXT)"),
    ],
    ids=["empty", "not a database", "cut short", "no date", "other tables"],
)
def test_a_broken_station_list_is_one_line(world, tmp_path, broken):
    web = world(Made("A", 5), **{"/stations.db": broken(tmp_path)})
    with pytest.raises(SourceFormatError, match=r"stations\.db: not the station list") as caught:
        ask(web)
    assert "\n" not in str(caught.value)


HEAD = "year,month,day,hour,temp,temp_source\n"


@pytest.mark.parametrize(
    "content, says",
    [
        (b"", "No columns"),
        (b"<html>\n<p>busy</p>\n</html>", "no column year, month, day, hour"),
        (b"\x1f\x8b\x08garbage of some length", "not the file"),
        (packed(HEAD + "2024,5,1,0,7,metar\n" * 500)[:60], "ended before"),
        (packed(HEAD.replace("hour", "time")), "no column hour"),
        (packed("year,month,day,hour,temp\n2024,5,1,0,7\n"), "no column temp_source"),
        (packed(HEAD + "2024,5,1,0,warm,metar\n"), "temp holds 'warm'"),
        (packed(HEAD + "2024,2,30,0,7,metar\n"), "row 2 has no date"),
        (packed(HEAD + "2024,5,1,0,7,metar\n2024,5,1,24,7,metar\n"), "row 3 has no date"),
        (packed(HEAD + "2024,5,1,0.5,7,metar\n"), "row 2 has no date"),
        (packed(HEAD + "2024,5,1,0,7,metar\n2024,5,1,1,7,metar,8\n"), "saw 7"),
        (b"\xff\xfe\x00\x01", "decode"),
    ],
)
def test_a_broken_file_is_one_line(content, says):
    with pytest.raises(SourceFormatError, match=says) as caught:
        parse_hours(content, where="hours of 2024 at Made-up A")
    assert "hours of 2024 at Made-up A" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_header_alone_is_no_data(world):
    table, removed = parse_hours(packed(HEAD))
    assert table.empty and removed == 0
    with pytest.raises(SourceUnavailable, match="have nothing"):
        ask(world(Made("A", 5), files={"A": packed(HEAD)}))


def test_a_question_that_makes_no_sense(world):
    with pytest.raises(InputError, match="ends before it begins"):
        ask(world(Made("A", 5)), first=date(2024, 6, 1))
    with pytest.raises(InputError, match="Ask for 1 or more"):
        ask(world(Made("A", 5)), count=0)


# Properties.

REAL = ["isd_lite", "metar", "dwd_hourly", "ghcnd"]
MODEL = ["model", "dwd_mosmix", "metno_forecast"]
sources = st.lists(st.sampled_from(REAL + MODEL), min_size=1, max_size=3).map(" ".join)
# Fifths are exact to the digit printed, so that no rounding hides which value came through.
cells = st.tuples(st.integers(-100, 200).map(lambda n: n / 5), sources)


@given(st.lists(cells, min_size=1, max_size=24))
def test_no_value_with_a_model_in_it_survives(rows):
    table, removed = parse_hours(hours_file(*rows))
    measured = [value for value, source in rows if not set(source.split()) & set(MODEL)]
    assert table.get("temp_c", pd.Series(dtype=float)).tolist() == measured
    assert removed == len(rows) - len(measured)


@given(st.lists(st.tuples(st.floats(-1e4, 1e4), st.just("metar")), min_size=1, max_size=24))
def test_what_is_left_lies_within_the_bounds_and_is_float(rows):
    for theirs, ours in [("temp", "temp_c"), ("pres", "pressure_hpa"), ("cldc", "cloud_pct")]:
        table, _ = parse_hours(hours_file(*rows, name=theirs))
        assert (table.dtypes == "float64").all()
        assert str(table.index.tz) == "UTC"
        for value in table.get(ours, []):
            assert WEATHER[ours].low <= value <= WEATHER[ours].high


def test_small_whole_numbers_do_not_wrap_around():
    # The library keeps humidity in 8 bits without sign, where 60 - 70 is 246.
    table, _ = parse_hours(hours_file((60, "metar"), (70, "metar"), name="rhum"))
    assert table["rh_pct"].diff().iloc[1] == pytest.approx(10.0)
    assert (table["rh_pct"] - 70).tolist() == [-10.0, 0.0]


@given(st.floats(-3000, 3000), st.floats(-40, 40))
def test_height_is_corrected_from_50_m_on_and_the_station_table_stays(difference_m, temp_c):
    station = pd.DataFrame({"temp_c": [temp_c], "rh_pct": [50.0]})
    moved = to_yard_height(station, difference_m)
    change = 6.5 * difference_m / 1000 if abs(difference_m) >= 50 else 0.0
    assert moved["temp_c"][0] == pytest.approx(temp_c + change, abs=1e-9)
    assert moved["rh_pct"][0] == 50.0
    assert station["temp_c"][0] == temp_c
    assert to_yard_height(station[["rh_pct"]], difference_m).equals(station[["rh_pct"]])


@pytest.mark.parametrize("list_is_broken", [False, True])
def test_the_library_is_left_as_it_was(world, monkeypatch, list_is_broken):
    import meteostat
    from meteostat.providers.meteostat import hourly

    settings, log = vars(meteostat.config), logging.getLogger("meteostat")
    for name in ("stations_db_endpoints", "cache_directory"):  # the library's own
        monkeypatch.delitem(settings, name, raising=False)
    monkeypatch.setitem(settings, "stations_db_file", "somebody's own")
    before, endpoint = dict(settings), hourly.ENDPOINT
    web = world(Made("A", 5))
    if list_is_broken:
        web.files["/stations.db"] = b"no database"
        with pytest.raises(SourceFormatError):
            ask(web)
    else:
        ask(web)
    assert settings == before
    assert meteostat.config.stations_db_endpoints[0].startswith("https://")
    assert endpoint == hourly.ENDPOINT
    assert not log.disabled


def test_the_library_opens_no_socket_and_says_nothing(world, monkeypatch, caplog, capfd):
    def refuse(*args, **kwargs):
        raise AssertionError("a socket was opened")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)
    with caplog.at_level(logging.DEBUG):
        assert ids(ask(world(Made("A", 5)))) == ["A"]
    assert not [r for r in caplog.records if r.name.startswith("meteostat")]
    assert capfd.readouterr() == ("", "")


def test_the_library_has_no_address_to_ask(world, monkeypatch):
    import meteostat
    from meteostat.core.network import network_service

    seen = []
    nearby = type(meteostat.stations).nearby

    def look(self, *args, **kwargs):
        seen.append(list(meteostat.config.stations_db_endpoints))
        return nearby(self, *args, **kwargs)

    def refuse(*args, **kwargs):
        raise AssertionError("the library asked the network")

    monkeypatch.setattr(type(meteostat.stations), "nearby", look)
    for name, _ in inspect.getmembers(network_service, inspect.ismethod):
        if name.startswith("get"):
            monkeypatch.setattr(network_service, name, refuse)
    ask(world(Made("A", 5)))
    assert seen == [[]]


def test_nothing_is_left_on_disk(world, tmp_path, monkeypatch):
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    web = world(Made("A", 5))
    monkeypatch.setattr("tempfile.tempdir", str(scratch))
    monkeypatch.setenv("HOME", str(scratch))
    ask(web)
    assert list(scratch.iterdir()) == []


def test_importing_the_source_does_not_load_the_library():
    code = "import sys, flowcast.sources.stations; print('meteostat' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


# Recovery.


def test_a_simulated_year_comes_back_through_the_file(world):
    rng = np.random.default_rng(11)
    index = pd.date_range("2023-01-01", "2023-12-31 23:00", freq="h", tz="UTC", name="time")
    truth = pd.DataFrame(
        {"temp_c": rng.normal(12, 8, len(index)), "wind_ms": rng.gamma(2, 1.5, len(index))}, index
    )
    model = rng.random(len(index)) < 0.1
    out = pd.DataFrame(
        {
            **{name: getattr(index, name) for name in ("year", "month", "day", "hour")},
            "temp": truth["temp_c"].round(1),
            "temp_source": np.where(model, "isd_lite model", "isd_lite"),
            "wspd": (3.6 * truth["wind_ms"]).round(1),
            "wspd_source": "isd_lite",
        }
    )
    web = world(
        Made("A", 5), **{"/hourly/2023/A.csv.gz": gzip.compress(out.to_csv(index=False).encode())}
    )
    (station,) = ask(web, first=date(2023, 1, 1), last=date(2023, 12, 31))
    assert station.removed == model.sum()
    assert station.table.index.equals(index)
    # The file prints one decimal: half a unit is 0.05 °C, and 0.05 km/h or 0.014 m/s.
    error = (station.table - truth).abs().max()
    assert error["temp_c"] <= 0.05 + 1e-9
    assert error["wind_ms"] <= 0.05 / 3.6 + 1e-9
    assert station.table["temp_c"].isna().to_numpy().tolist() == model.tolist()
