"""The yard's own observation files: units, clocks, headers, and what is said about bad ones."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flowcast.errors import (
    FlowcastError,
    InputError,
    MissingColumnError,
    SourceUnavailable,
    UnitBoundsError,
)
from flowcast.pipeline.record import clean_logs
from flowcast.sources.files import doubtful_unit, read_scale, read_weather
from flowcast.yard import read_yard

FAR = pd.Timestamp("2100-01-01", tz="UTC")


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
    assert 'write unit = "lb"' in str(doubtful_unit(file, file.readings)[0])


def test_wild_weights_are_left_out_and_counted(write_yard):
    file = _scale(write_yard, "t,w\n2024-05-01 00:00,40\n2024-05-01 01:00,99999\n")
    assert np.isnan(file.readings["weight_kg"].iloc[1])
    assert list(map(str, file.notes)) == [
        "s.csv: 1 weights no hive can have (unit kg) are left out."
    ]


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
    assert "stand twice" in str(file.notes[0])
    assert "out of order" in str(file.notes[1])


def test_sensor_overshoot_is_clipped_not_refused(write_yard):
    text = "time_utc,temp_c,precip_mm,rh_pct,ghi_wm2\n2024-05-01 01:00,3,0,102,-3\n"
    assert _weather(write_yard, text).table.iloc[0].tolist() == [3, 0, 100, 0]


def test_local_weather_clock(write_yard):
    text = "time,temp_c,precip_mm\n2024-07-01 12:00,3,0\n"
    # Vienna keeps UTC+2 in July (EU summer time).
    assert _weather(write_yard, text).table.index[0] == pd.Timestamp("2024-07-01 10:00", tz="UTC")


# Several hives in a file, several files and scales of a hive


def _yard_of(write_yard, scale, files, name="H1"):
    hive = f'\n[[hive]]\nname = "{name}"\nscale = {scale}\n'
    return read_yard(write_yard(hive, files=files))


def test_wide_file_has_a_column_a_hive(write_yard):
    scale = '{ file = "s.csv", time = "t", weight = "green", unit = "kg", clock = "utc" }'
    yard = _yard_of(
        write_yard, scale, {"s.csv": "t,red,green\n2024-05-01,30,40\n2024-05-02,31,41\n"}
    )
    assert list(read_scale(yard, yard.hives[0]).readings["weight_kg"]) == [40.0, 41.0]


def test_long_file_has_a_hive_column(write_yard):
    text = "t,hive,w\n2024-05-01,H1,30\n2024-05-01,H2,40\n2024-05-02,h1 ,31\n2024-05-02,H2,bad\n"
    scale = '{ file = "s.csv", time = "t", weight = "w", unit = "kg", clock = "utc", hive_column = "hive" }'
    yard = _yard_of(write_yard, scale, {"s.csv": text})
    assert list(read_scale(yard, yard.hives[0]).readings["weight_kg"]) == [30.0, 31.0]
    # Another name in the file; a bad cell is said with the line on which it stands.
    other = scale.replace("hive_column", 'hive_name = "H2", hive_column')
    yard = _yard_of(write_yard, other, {"s.csv": text})
    with pytest.raises(InputError, match="line 5: 'bad'"):
        read_scale(yard, yard.hives[0])
    nobody = _yard_of(write_yard, scale, {"s.csv": text}, name="H9")
    with pytest.raises(InputError, match=r"no row of hive 'H9' in column 'hive'. .* H1, H2"):
        read_scale(nobody, nobody.hives[0])


def test_load_cells_of_one_hive_are_added_up(write_yard):
    scale = '{ file = "s.csv", time = "t", weight = ["front", "back"], unit = "g", clock = "utc" }'
    text = "t,front,back\n2024-05-01,21000,20500\n2024-05-02,21000,\n"
    yard = _yard_of(write_yard, scale, {"s.csv": text})
    kg = read_scale(yard, yard.hives[0]).readings["weight_kg"]
    assert kg.iloc[0] == pytest.approx(41.5) and np.isnan(kg.iloc[1])


def test_files_that_overlap_are_one_log(write_yard):
    rows = [
        f"2024-05-{d:02d} {h:02d}:00,{40 + 0.1 * d:.2f}" for d in range(1, 21) for h in range(24)
    ]
    head = "t,w\n"
    one, two = head + "\n".join(rows[:300]) + "\n", head + "\n".join(rows[200:]) + "\n"
    scale = '{ file = FILES, time = "t", weight = "w", unit = "kg", clock = "utc" }'
    both = _yard_of(
        write_yard, scale.replace("FILES", '["b.csv", "a.csv"]'), {"a.csv": one, "b.csv": two}
    )
    whole = _yard_of(
        write_yard, scale.replace("FILES", '"c.csv"'), {"c.csv": head + "\n".join(rows) + "\n"}
    )
    logs = [clean_logs(y, [read_scale(y, y.hives[0])], FAR)[0][0] for y in (both, whole)]
    pd.testing.assert_frame_equal(logs[0].gains, logs[1].gains)
    assert logs[0].counts["duplicate"] == 100 and "duplicate" not in logs[1].counts


def test_another_scale_begins_at_another_zero(write_yard):
    # A hive of 40 kg that gains nothing; from 11 May at 10 h another scale shows 7 kg more, while the
    # first goes on for two days beside it, empty.
    first = "".join(
        f"2024-05-{d:02d} {h:02d}:00,{40.0 if (d, h) < (11, 10) else 12.0}\n"
        for d in range(1, 14)
        for h in range(24)
    )
    second = "".join(f"2024-05-{d:02d} {h:02d}:00,103.617\n" for d in range(11, 21)
                     for h in range(24) if (d, h) >= (11, 10))  # fmt: skip
    scale = (
        '[{ file = "a.csv", time = "t", weight = "w", unit = "kg", clock = "utc" }, '
        '{ file = "b.csv", time = "t", weight = "w", unit = "lb", clock = "utc" }]'
    )
    yard = _yard_of(write_yard, scale, {"a.csv": "t,w\n" + first, "b.csv": "t,w\n" + second})
    file = read_scale(yard, yard.hives[0])
    assert list(map(str, file.notes)) == [
        "Hive H1: 62 readings of a scale that was replaced are left out, since the next one had begun."
    ]  # 14 hours of 11 May and two days
    wiggle = np.random.default_rng(1).normal(0, 0.02, len(file.readings))
    moving = replace(file, readings=file.readings.add(wiggle, axis=0))
    log = clean_logs(yard, [moving], FAR)[0][0]
    assert list(log.steps["cause"]) == ["another scale"] and log.steps["logged"].all()
    assert str(log.steps["note"].iloc[0]) == "from yard.toml, measured"
    assert log.steps["kg"].iloc[0] == pytest.approx(103.617 * 0.45359237 - 40.0, abs=0.05)
    assert log.gains["gain_kg"].abs().max() < 0.1


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(cut=st.integers(0, 300), junk=st.binary(max_size=10), swap=st.booleans(), huge=st.booleans())
def test_no_scale_file_ends_in_a_traceback(write_yard, cut, junk, swap, huge):
    rows = [f"2024-05-{d:02d} {h:02d}:00,{40 + 0.1 * d}" for d in range(1, 4) for h in range(24)]
    rows = [",".join(reversed(row.split(","))) for row in rows] if swap else rows
    rows[5] = rows[5].replace("40", "4e300") if huge else rows[5].replace("40", "n/a")
    text = ("t,w\n" + "\n".join(rows) + "\n").encode()
    try:
        yard = read_yard(write_yard(_hive(), files={"s.csv": text[:cut] + junk + text[cut:]}))
        clean_logs(yard, [read_scale(yard, yard.hives[0])], FAR)
    except FlowcastError as error:
        assert "\n" not in str(error)
