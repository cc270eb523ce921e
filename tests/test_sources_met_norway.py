"""MET Norway's forecast read: labels moved, six-hour rain spread, holes left. All figures invented.

Shapes follow the service's own documentation of Locationforecast 2.0; what this project makes of
them is its own rule, and each test says which.
"""

import json

import numpy as np
import pandas as pd
import pytest
from any_answer import anything, is_sound_or_refused, mutated, packed, paths
from hypothesis import given, settings
from hypothesis import strategies as st
from loopback import WeatherServers, invented_weather

from flowcast.errors import NothingThere, SourceFormatError
from flowcast.sources.met_norway import get_forecast, parse_forecast
from flowcast.sources.service import Site

UNITS = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
    "relative_humidity": "%",
    "wind_from_direction": "degrees",
    "wind_speed": "m/s",
}


def step(stamp, one=None, six=None, **details):
    """One step: instants, and the rain of the hour and of the six hours that follow."""
    data = {"instant": {"details": {"air_temperature": 10.0} | details}}
    for hours, amount in ((1, one), (6, six)):
        if amount is not None:
            told = {"summary": {"symbol_code": "rain"}, "details": {"precipitation_amount": amount}}
            data[f"next_{hours}_hours"] = told
    return {"time": f"2024-05-{stamp}:00Z", "data": data}


def body(*steps, **units):
    meta = {"updated_at": "2024-05-01T04:41:10Z", "units": UNITS | units}
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [10.08, 45.12, 210]},
        "properties": {"meta": meta, "timeseries": list(steps)},
    }


def read(*steps, **units):
    return parse_forecast(packed(body(*steps, **units)))


def at(stamp):
    return pd.Timestamp(f"2024-05-{stamp}", tz="UTC")


# ---------------------------------------------------------------- documented shape


def test_the_documented_answer_becomes_our_columns():
    table, origin = read(
        step("01T05:00", one=0.3, six=0.9),
        step(
            "01T06:00",
            air_temperature=9.8,
            relative_humidity=81.0,
            wind_speed=1.9,
            cloud_area_fraction=42.2,
            air_pressure_at_sea_level=1013.4,
            dew_point_temperature=6.7,
        ),
    )
    assert table.index.tolist() == [at("01T06:00")]
    assert table.iloc[0].to_dict() == {
        "temp_c": 9.8,
        "rh_pct": 81.0,
        "dewpoint_c": 6.7,
        "wind_ms": 1.9,
        "cloud_pct": 42.2,
        "pressure_hpa": 1013.4,
        "precip_mm": 0.3,
    }
    assert origin.cell == (45.12, 10.08, 210.0)
    assert origin.issued == "2024-05-01T04:41:10Z"
    assert origin.notes == ()


def test_rain_of_the_following_hour_moves_to_its_end():
    """Documented: next_1_hours begins at the step's time."""
    table, _ = read(step("01T12:00", 0.0), step("01T13:00", 12.0), step("01T14:00", 0.0))
    assert table["precip_mm"].to_dict() == {at("01T13:00"): 0.0, at("01T14:00"): 12.0}


def test_six_hours_of_rain_are_spread_and_told():
    """Hand-worked: 2.4 mm over 6 h are 0.4 mm an hour."""
    table, origin = read(step("05T06:00", six=2.4), step("05T12:00", six=1.0))
    assert table["precip_mm"].tolist() == pytest.approx([0.4] * 6)
    assert "6 hours is spread evenly" in str(origin.notes[0])


def test_six_hour_sums_do_not_count_again_what_the_hours_tell():
    """Each hour has its own sum, so the 6-hour sums beside them add nothing."""
    steps = [step(f"01T{h:02d}:00", one=0.1 * h, six=99.0) for h in range(6)]
    table, origin = read(*steps, step("01T06:00"))
    assert table["precip_mm"].tolist() == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5])
    assert origin.notes == ()


def test_where_the_steps_grow_the_rest_of_six_hours_is_spread():
    """Hand-worked: 3.0 mm in six hours, 0.5 of them in the first, leave 2.5 / 5 = 0.5 for each other."""
    table, origin = read(step("03T18:00", one=0.5, six=3.0), step("04T00:00", six=6.0))
    assert table["precip_mm"].tolist() == pytest.approx([0.5] * 6)
    assert "rain of 5 hours" in str(origin.notes[0])
    table, _ = read(step("03T18:00", one=0.5, six=0.4), step("04T00:00"))  # rounding, never below 0
    assert table["precip_mm"].tolist() == [0.5, 0, 0, 0, 0, 0]


def test_the_last_step_without_rain_ends_the_table():
    table, _ = read(step("01T05:00", 0.2), step("01T06:00", 0.1), step("01T07:00"))
    assert table.index[-1] == at("01T07:00")
    assert table["precip_mm"].tolist() == [0.2, 0.1]


def test_instants_lie_on_lines_between_six_hourly_steps():
    """Hand-worked: 12 °C at 6 h and 18 °C at 12 h are 1 °C an hour."""
    table, _ = read(
        step("05T06:00", six=0.0, air_temperature=12.0),
        step("05T12:00", six=0.0, air_temperature=18.0),
    )
    assert table["temp_c"].tolist() == pytest.approx([13, 14, 15, 16, 17, 18])


# ---------------------------------------------------------------- holes


def test_missing_details_are_missing_and_not_carried_on():
    """A hole of one step is bridged; what ends is not drawn on as if it were constant."""
    table, _ = read(
        step("01T05:00", 0.0, wind_speed=2.0),
        step("01T06:00", 0.0),
        step("01T07:00", 0.0, wind_speed=4.0),
        step("01T08:00", 0.0),
    )
    assert table["wind_ms"].tolist() == pytest.approx([3.0, 4.0, np.nan], nan_ok=True)
    assert "rh_pct" not in table


def test_no_line_is_drawn_across_more_than_a_step():
    table, _ = read(
        step("01T00:00", 0.0, wind_speed=2.0),
        step("01T01:00", 0.0, wind_speed=3.0),
        step("02T01:00", 0.0, wind_speed=9.0, air_temperature=20.0),
        step("02T02:00", 0.0, wind_speed=9.0, air_temperature=20.0),
    )
    assert len(table) == 26  # 01:00 on the 1st to 02:00 on the 2nd
    hole = table.loc[at("01T02:00") : at("02T00:00")]
    assert hole[["temp_c", "wind_ms"]].isna().all(axis=None)
    assert hole["precip_mm"].iloc[1:].isna().all()


def test_nothing_of_temperature_or_rain_is_nothing_there():
    with pytest.raises(NothingThere, match="nothing for this place"):
        read(step("01T05:00"), step("01T06:00"))
    for steps in ([], [step("01T05:00", 0.1)]):
        with pytest.raises(NothingThere):
            read(*steps)
    with pytest.raises(NothingThere):
        read(
            step("01T05:00", 0.1, air_temperature=None), step("01T06:00", 0.1, air_temperature=None)
        )


def test_values_no_weather_can_have_are_blanked_and_told():
    table, origin = read(
        step("01T05:00", 400.0), step("01T06:00", 0.0, wind_speed=95.0), step("01T07:00")
    )
    assert table.index.tolist() == [at("01T07:00")]
    assert "precip_mm 1" in str(origin.notes[0]) and "wind_ms 1" in str(origin.notes[0])


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("air_temperature", "fahrenheit"),
        ("precipitation_amount", "inch"),
        ("wind_speed", "km/h"),
        ("relative_humidity", None),
    ],
)
def test_a_unit_we_do_not_know_is_refused_in_one_line(name, unit):
    with pytest.raises(SourceFormatError, match=f"{name} comes in .* do not know") as told:
        read(step("01T05:00", 0.0), step("01T06:00"), **{name: unit})
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    "stamps",
    [
        ["01T06:00", "01T05:00"],
        ["01T05:00", "01T05:00"],
        ["01T05:00", "31T05:00", "31T06:00", "31T06:00"],
    ],
)
def test_times_out_of_order_or_twice_are_refused(stamps):
    with pytest.raises(SourceFormatError, match="times"):
        read(*[step(s, 0.0) for s in stamps])


def test_a_stamp_of_another_zone_is_the_same_moment():
    data = body(step("01T05:00", 0.2), step("01T06:00", 0.0))
    data["properties"]["timeseries"][0]["time"] = "2024-05-01T07:00:00+02:00"
    assert parse_forecast(packed(data))[0].index.tolist() == [at("01T06:00")]


def test_a_span_no_forecast_has_is_refused():
    data = body(step("01T05:00", 0.0), step("01T06:00", 0.0))
    data["properties"]["timeseries"][1]["time"] = "2250-05-01T06:00:00Z"
    with pytest.raises(SourceFormatError, match="span"):
        parse_forecast(packed(data))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("properties", "timeseries"), None),
        (("properties", "timeseries", 0, "time"), "five"),
        (("properties", "timeseries", 0, "data", "next_1_hours"), None),
        (("properties", "timeseries", 0, "data", "instant", "details"), ["air_temperature"]),
        (("properties", "meta"), None),
        (("geometry", "coordinates"), []),
    ],
)
def test_other_shapes_are_refused_in_one_line(path, value):
    good = body(step("01T05:00", 0.0), step("01T06:00", 0.0))
    with pytest.raises(SourceFormatError, match="unknown shape"):
        parse_forecast(packed(mutated(good, path, value)))


# ---------------------------------------------------------------- properties

GOOD = body(step("01T05:00", 0.1, 0.6), step("01T06:00", six=2.4), step("01T12:00", six=1.2))
ANYTHING = anything("properties", "timeseries", "meta", "units", "time", "data", "instant")


@settings(deadline=None)
@given(ANYTHING)
def test_any_json_is_refused_in_one_line_or_sound(data):
    is_sound_or_refused(lambda content: parse_forecast(content)[:1], packed(data))


@settings(deadline=None)
@given(st.sampled_from(list(paths(GOOD))), ANYTHING)
def test_any_change_to_a_good_answer_is_refused_or_sound(path, value):
    is_sound_or_refused(
        lambda content: parse_forecast(content)[:1], packed(mutated(GOOD, path, value))
    )


@settings(deadline=None)
@given(st.lists(st.floats(0, 20), min_size=2, max_size=30))
def test_hours_and_six_hours_of_rain_keep_their_water(hours):
    """Some hours each with its sum, then six-hourly sums: what falls in is what comes out."""
    first = pd.Timestamp("2024-05-01", tz="UTC")
    steps = []
    for k, mm in enumerate(hours):
        steps.append((first + pd.Timedelta(hours=k), mm, None))
    later = first + pd.Timedelta(hours=len(hours))
    steps += [(later + pd.Timedelta(hours=6 * k), None, mm) for k, mm in enumerate(hours)]
    steps.append((later + pd.Timedelta(hours=6 * len(hours)), None, None))
    made = [step(f"{t:%dT%H:%M}", one, six) for t, one, six in steps]
    table, _ = read(*made)
    assert table["precip_mm"].sum() == pytest.approx(2 * sum(hours))


# ---------------------------------------------------------------- through the loopback server


def test_the_truth_comes_back_within_the_printed_digits(web_to):
    """Half of the last digit shown: 0.05 of everything; six-hourly steps hold it at the steps."""
    with WeatherServers() as servers:
        ahead = get_forecast(web_to(servers), Site(45.12, 10.08, 210.0))
    (table,) = ahead.members
    truth = invented_weather(45.12, 10.08, table.index)
    hourly, coarse = table.index[:60], table.index[-1:-120:-6]
    for name in table:
        assert np.abs(table[name] - truth[name])[hourly].max() <= 0.05 + 1e-9, name
        if name != "precip_mm":
            assert np.abs(table[name] - truth[name])[coarse].max() <= 0.05 + 1e-9, name
    for end in coarse[:-1]:
        six = slice(end - pd.Timedelta(hours=5), end)
        assert table["precip_mm"][six].sum() == pytest.approx(
            truth["precip_mm"][six].sum(), abs=0.0501
        )
    assert "spread evenly" in str(ahead.origin.notes[0])
    assert json.dumps(ahead.origin.cell) == "[45.12, 10.08, 210.0]"
