"""NASA POWER's hours read: labels moved from start to end, fill values missing. Figures invented.

Shapes follow the service's hourly API as public clients document it (labels at the start of the
hour, fill value in the header, units by community).
"""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from any_answer import anything, is_sound_or_refused, mutated, packed, paths
from hypothesis import given, settings
from hypothesis import strategies as st
from loopback import WeatherServers, invented_weather

from flowcast.errors import NothingThere, SourceFormatError
from flowcast.sources.nasa_power import get_history, parse_hours
from flowcast.sources.service import Site

UNITS = {
    "T2M": "C",
    "RH2M": "%",
    "T2MDEW": "C",
    "PRECTOTCORR": "mm/hour",
    "WS10M": "m/s",
    "ALLSKY_SFC_SW_DWN": "Wh/m^2",
    "PS": "kPa",
}
KEYS = ("2024050100", "2024050101", "2024050102")


def body(units=None, header=None, keys=KEYS, **columns):
    """An answer in the documented shape; columns by POWER's own names, None leaves one out."""
    given = {"T2M": [10.1, 9.8, 9.5], "PRECTOTCORR": [0.0, 0.12, 0.0]} | columns
    given = {n: v for n, v in given.items() if v is not None}
    told = UNITS | (units or {})
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [10.08, 45.12, 188.4]},
        "properties": {"parameter": {n: dict(zip(keys, v, strict=True)) for n, v in given.items()}},
        "header": {
            "title": "NASA/POWER Source Native Resolution Hourly Data",
            "api": {"version": "v2.9.2", "name": "POWER Hourly API"},
            "sources": ["MERRA2", "SYN1DEG"],
            "fill_value": -999.0,
            "time_standard": "UTC",
        }
        | (header or {}),
        "messages": [],
        "parameters": {n: {"units": told[n], "longname": n} for n in given},
        "times": {"data": 0.7, "process": 0.03},
    }


def read(**more):
    return parse_hours(packed(body(**more)))


def test_the_documented_answer_becomes_our_columns_at_the_end_of_the_hour():
    """Documented: keys mark the start of their hour."""
    table, origin = read(
        RH2M=[80.0, 81.0, 82.0],
        T2MDEW=[7.0, 7.0, 7.0],
        WS10M=[2.0, 2.1, 2.2],
        ALLSKY_SFC_SW_DWN=[0.0, 5.0, 9.0],
        PS=[99.1, 99.1, 99.1],
    )
    ends = pd.date_range("2024-05-01 01:00", periods=3, freq="h", tz="UTC")
    assert table.index.tolist() == ends.tolist()
    assert table["temp_c"].tolist() == [10.1, 9.8, 9.5]
    assert table["precip_mm"].tolist() == [0.0, 0.12, 0.0]
    assert table["ghi_wm2"].tolist() == [0.0, 5.0, 9.0]
    assert "pressure_hpa" not in table  # POWER's is at the surface, ours at sea level
    assert origin.cell == (45.12, 10.08, 188.4)
    assert (origin.model, origin.issued) == ("MERRA2 and SYN1DEG", "v2.9.2")


@pytest.mark.parametrize("unit", ["MJ/hr", "MJ/m^2/hour"])
def test_megajoules_an_hour_become_watts(unit):
    """1 MJ over 3600 s is 1e6 / 3600 = 277.78 W."""
    table, _ = read(ALLSKY_SFC_SW_DWN=[0.0, 1.0, 3.6], units={"ALLSKY_SFC_SW_DWN": unit})
    assert table["ghi_wm2"].tolist() == pytest.approx([0.0, 277.78, 1000.0], abs=0.005)


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("T2M", "F"),
        ("T2M", "mm/hour"),
        ("PRECTOTCORR", "mm/day"),
        ("PRECTOTCORR", "C"),
        ("ALLSKY_SFC_SW_DWN", "kW-hr/m^2/day"),
        ("ALLSKY_SFC_SW_DWN", ["W/m^2"]),
    ],
)
def test_a_unit_we_do_not_know_is_refused_in_one_line(name, unit):
    with pytest.raises(SourceFormatError, match=f"{name} comes in .* do not know") as told:
        read(ALLSKY_SFC_SW_DWN=[0.0, 1.0, 3.6], units={name: unit})
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("fill", [-999, -999.0, "-999", -99])
def test_fill_values_are_missing_whatever_kind_of_number(fill):
    gone = float(fill)
    table, origin = read(
        T2M=[10.1, int(gone), 9.5],
        ALLSKY_SFC_SW_DWN=[0.0, gone, gone],
        units={"ALLSKY_SFC_SW_DWN": "MJ/hr"},
        header={"fill_value": fill},
    )
    assert table["temp_c"].isna().tolist() == [False, True, False]
    assert table["ghi_wm2"].isna().tolist() == [False, True, True]
    assert origin.notes == ()  # a fill value is no strange value


def test_trailing_fill_is_cut_and_nothing_else_is_nothing_there():
    assert len(read(T2M=[10.1, 9.8, -999.0])[0]) == 2
    with pytest.raises(NothingThere, match="nothing for this place"):
        read(T2M=[-999.0] * 3)


def test_values_no_weather_can_have_are_blanked_and_told():
    table, origin = read(WS10M=[2.0, 95.0, 2.0])
    assert table["wind_ms"].isna().tolist() == [False, True, False]
    assert "wind_ms 1" in str(origin.notes[0])


def test_local_solar_time_is_refused():
    """The service's default is LST: an answer in it is not what was asked for."""
    with pytest.raises(SourceFormatError, match="local solar time"):
        read(header={"time_standard": "LST"})


@pytest.mark.parametrize("name", ["T2M", "PRECTOTCORR"])
def test_without_temperature_or_rain_there_is_no_weather(name):
    with pytest.raises(SourceFormatError, match=f"{name} is not in the answer"):
        read(**{name: None})


def test_hours_in_any_order_are_sorted_and_columns_matched_by_hour():
    data = body()
    rain = data["properties"]["parameter"]["PRECTOTCORR"]
    data["properties"]["parameter"]["PRECTOTCORR"] = dict(reversed(rain.items()))
    table, _ = parse_hours(packed(data))
    assert table["precip_mm"].tolist() == [0.0, 0.12, 0.0]
    assert table.index.is_monotonic_increasing


@pytest.mark.parametrize("keys", [("2024050100", "20240501", "2024050102"), ("a", "b", "c")])
def test_keys_that_are_no_hours_are_refused(keys):
    with pytest.raises(SourceFormatError):
        read(keys=keys)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("properties", "parameter"), None),
        (("properties", "parameter", "T2M"), [10.1, 9.8]),
        (("properties", "parameter", "T2M", KEYS[0]), "warm"),
        (("properties", "parameter", "T2M", KEYS[0]), 10**400),
        (("header",), "The POWER Hourly API failed to complete your request"),
        (("header", "fill_value"), None),
        (("parameters", "T2M"), None),
        (("geometry", "coordinates"), [10.08]),
    ],
)
def test_other_shapes_are_refused_in_one_line(path, value):
    with pytest.raises(SourceFormatError, match="NASA POWER") as told:
        parse_hours(packed(mutated(body(), path, value)))
    assert "\n" not in str(told.value)


GOOD = body(ALLSKY_SFC_SW_DWN=[0.0, -999.0, 1.0])
ANYTHING = anything("properties", "parameter", "parameters", "header", "T2M", "PRECTOTCORR")


@settings(deadline=None)
@given(ANYTHING)
def test_any_json_is_refused_in_one_line_or_sound(data):
    is_sound_or_refused(lambda content: parse_hours(content)[:1], packed(data))


@settings(deadline=None)
@given(st.sampled_from(list(paths(GOOD))), ANYTHING)
def test_any_change_to_a_good_answer_is_refused_or_sound(path, value):
    is_sound_or_refused(
        lambda content: parse_hours(content)[:1], packed(mutated(GOOD, path, value))
    )


def test_the_truth_comes_back_within_the_printed_digits(web_to):
    """Half of the last digit (0.005); instants come as the mean of the hour's two ends, and the
    cell lies 21.6 m lower: 6.5 °C a km."""
    with WeatherServers() as servers:
        span = date(2026, 1, 1), date(2026, 4, 30), date(2026, 5, 20)
        table = get_history(web_to(servers), Site(45.12, 10.08, 210.0), *span).table
    ends = table.index
    before = invented_weather(45.12, 10.08, ends - pd.Timedelta(hours=1)).to_numpy()
    truth = invented_weather(45.12, 10.08, ends)
    mean = pd.DataFrame((truth.to_numpy() + before) / 2, ends, truth.columns)
    mean["temp_c"] += 6.5 * 21.6 / 1000
    assert (len(ends), ends[0]) == (24 * 120, pd.Timestamp("2026-01-01 01:00", tz="UTC"))
    for name in table:
        expected = truth[name] if name in ("precip_mm", "ghi_wm2") else mean[name]
        assert np.abs(table[name] - expected).max() <= 0.005 + 1e-9, name


@pytest.mark.parametrize(
    ("cell_m", "said"),
    [
        (710.0, "500 m above the yard: temperature +3.2 °C"),
        (10.0, "200 m below the yard: temperature −1.3 °C"),
    ],
)
def test_temperature_is_brought_to_the_yards_height_and_told(cell_m, said, web_to):
    """6.5 °C a km (standard atmosphere): 500 m are 3.25 °C, 200 m are 1.30 °C; unless unknown."""
    span = date(2026, 4, 1), date(2026, 4, 30), date(2026, 5, 20)
    with WeatherServers() as servers:
        servers.power_height_m = cell_m
        web = web_to(servers)
        block = get_history(web, Site(45.12, 10.08, 210.0), *span)
        plain = get_history(web, Site(45.12, 10.08, None), *span)
    here = invented_weather(45.12, 10.08, block.table.index)["temp_c"].to_numpy()
    before = block.table.index - pd.Timedelta(hours=1)
    mean = (here + invented_weather(45.12, 10.08, before)["temp_c"].to_numpy()) / 2
    assert np.abs(block.table["temp_c"] - mean).max() <= 0.005 + 1e-9
    assert "dewpoint_c" not in block.table  # follows from temperature and humidity
    assert said in str(block.origin.corrections[0])
    assert plain.origin.corrections == () and "dewpoint_c" in plain.table
