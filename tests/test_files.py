"""The yard's own observation files: units, clocks, headers, and what is said about bad ones."""

import numpy as np
import pandas as pd
import pytest

from flowcast.errors import InputError, MissingColumnError, SourceUnavailable, UnitBoundsError
from flowcast.sources.files import doubtful_unit, read_scale, read_weather
from flowcast.yard import read_yard


def _hive(unit="kg", clock="utc", more=""):
    return f'\n[[hive]]\nname = "H1"\n{more}\nscale = {{ file = "s.csv", time = "t", weight = "w", unit = "{unit}", clock = "{clock}" }}\n'


def _scale(write_yard, text, **hive):
    yard = read_yard(write_yard(_hive(**hive), files={"s.csv": text}))
    return read_scale(yard, yard.hives[0])


@pytest.mark.parametrize(
    "unit, shown, kg",
    # One pound is 0.45359237 kg exactly (international yard and pound agreement, 1959; from memory).
    [("kg", 40.0, 40.0), ("g", 40000.0, 40.0), ("lb", 100.0, 45.359237)],
)
def test_units(write_yard, unit, shown, kg):
    file = _scale(write_yard, f"t,w\n2024-05-01 00:00,{shown}\n", unit=unit)
    assert file.readings["weight_kg"].iloc[0] == pytest.approx(kg, abs=1e-9)


def test_pounds_read_as_kilograms_are_spoken_of(write_yard):
    file = _scale(write_yard, "t,w\n" + "".join(f"2024-05-{d:02d},150\n" for d in range(1, 9)))
    assert 'write unit = "lb"' in doubtful_unit(file, file.readings)[0]


def test_wild_weights_are_left_out_and_counted(write_yard):
    file = _scale(write_yard, "t,w\n2024-05-01 00:00,40\n2024-05-01 01:00,99999\n")
    assert np.isnan(file.readings["weight_kg"].iloc[1])
    assert file.notes == ["s.csv: 1 weights no hive can have (unit kg) are left out."]


@pytest.mark.parametrize(
    "text, says",
    [
        ("t,w\n", "a header and no rows"),
        ("t,w\n2024-05-01,\n", "holds no number"),
        ("time,w\n2024-05-01,3\n", "no column 't'"),
        ("t,w\n2024-05-01,heavy\n", "line 2: 'heavy'"),
        ("t,w\n2024-05-01,31,5\n", "line 2: more cells"),
    ],
)
def test_bad_scale_file_is_named(write_yard, text, says):
    with pytest.raises(InputError) as caught:
        _scale(write_yard, text)
    assert says in str(caught.value)
    assert str(caught.value).startswith("s.csv")


def test_missing_scale_file(write_yard):
    yard = read_yard(write_yard(_hive()))
    with pytest.raises(InputError, match=r"s\.csv: no such file"):
        read_scale(yard, yard.hives[0])


def test_only_the_hive_s_stay_is_read(write_yard):
    rows = "t,w\n" + "".join(f"2024-05-{d:02d} 12:00,40\n" for d in range(1, 11))
    file = _scale(write_yard, rows, more="from = 2024-05-03\nto = 2024-05-06")
    assert len(file.readings) == 4


def test_several_files_of_one_hive(write_yard):
    more = '\n[[hive]]\nname = "H1"\nscale = { file = ["a.csv", "b.csv"], time = "t", weight = "w", unit = "kg" }\n'
    yard = read_yard(
        write_yard(more, files={"a.csv": "t,w\n2024-05-01,40\n", "b.csv": "t;w\n2024-05-02;41\n"})
    )
    assert read_scale(yard, yard.hives[0]).readings["weight_kg"].tolist() == [40, 41]


def _weather(write_yard, text, more="", name="weather.csv"):
    return read_weather(read_yard(write_yard(more, files={name: text})))


def test_customary_units_are_converted_once(write_yard):
    # 59 °F = 15 °C, 1 inch = 25.4 mm, 36 km/h = 10 m/s, 4 okta = half the sky: definitions.
    table = _weather(
        write_yard,
        "time_utc,temp_f,precip_in,wind_kmh,cloud_okta\n2024-05-01 01:00,59,1,36,4\n",
    ).table
    assert table.iloc[0].tolist() == pytest.approx([15.0, 25.4, 10.0, 50.0], abs=1e-9)


def test_daily_weather_with_other_headers(write_yard):
    file = _weather(
        write_yard,
        "date,hi,lo,rain\n2024-05-01,20,8,0\n2024-05-02,21,9,3\n",
        more='[weather]\ncolumns = { temp_max_c = "hi", temp_min_c = "lo", precip_mm = "rain" }\n',
    )
    assert file.daily
    assert file.table.loc["2024-05-02", "precip_mm"] == 3


@pytest.mark.parametrize(
    "text, kind, says",
    [
        ("time,temp_c\n2024-05-01,3\n", InputError, "no column 'precip_mm'"),
        ("time,temp_c,precip_mm\n2024-05-01,290,0\n", UnitBoundsError, "Check the unit"),
        ("time,temp_c,precip_mm\n", InputError, "a header and no rows"),
        ("temp_c,precip_mm\n3,0\n", MissingColumnError, "no column 'time'"),
    ],
)
def test_bad_weather_file_is_named(write_yard, text, kind, says):
    with pytest.raises(kind) as caught:
        _weather(write_yard, text)
    assert says in str(caught.value)


def test_no_weather_file_says_what_to_do(write_yard):
    with pytest.raises(SourceUnavailable, match=r"Put weather\.csv in the folder"):
        read_weather(read_yard(write_yard()))


def test_duplicate_and_unsorted_hours_are_said(write_yard):
    file = _weather(
        write_yard,
        "time_utc,temp_c,precip_mm\n2024-05-01 02:00,3,0\n2024-05-01 01:00,2,0\n2024-05-01 01:00,9,0\n",
    )
    assert file.table["temp_c"].tolist() == [2, 3]
    assert "stand twice" in file.notes[0]
    assert "out of order" in file.notes[1]


def test_sensor_overshoot_is_clipped_not_refused(write_yard):
    text = "time_utc,temp_c,precip_mm,rh_pct,ghi_wm2\n2024-05-01 01:00,3,0,102,-3\n"
    assert _weather(write_yard, text).table.iloc[0].tolist() == [3, 0, 100, 0]


def test_local_weather_clock(write_yard):
    text = "time,temp_c,precip_mm\n2024-07-01 12:00,3,0\n"
    # Vienna keeps UTC+2 in July (EU summer time).
    assert _weather(write_yard, text).table.index[0] == pd.Timestamp("2024-07-01 10:00", tz="UTC")
