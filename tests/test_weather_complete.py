"""Holes, missing quantities and local days. All weather here is invented."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast import weather
from flowcast.errors import MissingColumnError
from flowcast.numbers import load_numbers
from flowcast.tables import SEASON_DAY, WEATHER, Place, check_bounds
from flowcast.weather.complete import short_holes

NUMBERS = load_numbers()
BERLIN = Place(52.52, 13.41, 40, "Europe/Berlin", (1, 1))
BRISBANE = Place(-27.47, 153.03, 10, "Australia/Brisbane", (7, 1))
AUCKLAND = Place(-36.85, 174.76, 20, "Pacific/Auckland", (7, 1))
LOS_ANGELES = Place(34.05, -118.24, 90, "America/Los_Angeles", (1, 1))
PLACES = (BERLIN, BRISBANE, AUCKLAND, LOS_ANGELES)


def full_hours(place=BERLIN, first="2024-05-01", days=20, seed=2):
    """Complete hourly weather over whole local days of a place."""
    last = pd.Timestamp(first) + pd.Timedelta(days=days - 1)
    index = weather.hours_of_days(first, last, place.timezone)
    rng = np.random.default_rng(seed)
    rows = len(index)
    clear = weather.clear_sky_ghi(index, place).to_numpy()
    return pd.DataFrame(
        {
            "temp_c": 15 + 8 * clear / 900 + rng.normal(0, 1.5, rows),
            "rh_pct": rng.uniform(40, 95, rows),
            "precip_mm": np.where(rng.random(rows) < 0.1, rng.gamma(1, 1, rows), 0.0),
            "wind_ms": rng.gamma(3, 1, rows),
            "ghi_wm2": clear * rng.uniform(0.2, 1, rows),
            "cloud_pct": rng.uniform(0, 100, rows),
        },
        index=index,
    )


def noted(result, *words):
    return any(all(word in str(note) for word in words) for note in result.notes)


# Worked by hand


def test_complete_weather_stays_as_it_was():
    hourly = full_hours()
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert result.notes == []
    assert len(result.missing_days) == 0
    assert len(result.daily) == 20
    assert list(result.hourly.columns) == [*WEATHER, "clear_ghi_wm2"]
    columns = list(hourly.columns)
    pd.testing.assert_frame_equal(result.hourly[columns], hourly, check_freq=False)


def test_short_holes_have_both_ends():
    # By hand: one hole of 1, one of 3, and two that are open to one side.
    nan = np.nan
    values = np.array([nan, 1.0, nan, 2.0, nan, nan, nan, 3.0, nan])
    assert np.flatnonzero(short_holes(values, 2)).tolist() == [2]
    assert np.flatnonzero(short_holes(values, 3)).tolist() == [2, 4, 5, 6]
    assert not short_holes(np.full(5, nan), 9).any()
    assert not short_holes(np.array([]), 9).any()


def test_a_short_hole_is_bridged_in_a_line_and_counted():
    hourly = full_hours().assign(precip_mm=0.0)
    holed = hourly.copy()
    holed.iloc[100:103, holed.columns.get_loc("temp_c")] = np.nan
    result = weather.complete_weather(holed, BERLIN, NUMBERS)
    before, after = hourly["temp_c"].iloc[99], hourly["temp_c"].iloc[103]
    line = before + (after - before) * np.array([0.25, 0.5, 0.75])
    assert result.hourly["temp_c"].iloc[100:103].to_numpy() == pytest.approx(line, abs=1e-9)
    assert noted(result, "Bridged", "up to 6 h", "Temperature of 3 hours")


def test_a_long_hole_stays_a_hole():
    # Seven hours are one more than weather.max_gap_h.
    hourly = full_hours()
    hourly.iloc[100:107] = np.nan
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    lost = weather.local_dates(hourly.index[100:101], BERLIN.timezone)
    assert result.hourly["temp_c"].isna().sum() == 7
    assert list(result.missing_days) == list(lost)
    assert noted(result, "Temperature of 7 hours is missing")
    assert noted(result, "1 day could not be completed")


def test_absent_rows_are_put_back_and_counted():
    hourly = full_hours().assign(precip_mm=0.0)
    result = weather.complete_weather(hourly.drop(hourly.index[50:52]), BERLIN, NUMBERS)
    assert len(result.hourly) == len(hourly)
    assert result.hourly.notna()["temp_c"].all()
    assert noted(result, "2 hours of 480 are missing from the weather")
    long = weather.complete_weather(hourly.drop(hourly.index[50:60]), BERLIN, NUMBERS)
    assert noted(long, "10 hours of 480 are missing from the weather")
    assert not noted(long, "Temperature of")  # told once


# Rain in a bridged hole is never made up: dry on both sides is dry, anything else loses the day.
@pytest.mark.parametrize(
    ("before", "after", "missing_days"), [(0.0, 0.0, 0), (0.4, 0.0, 1), (0.0, 0.4, 1)]
)
def test_rain_in_a_hole(before, after, missing_days):
    hourly = full_hours()
    hourly.iloc[130:133, hourly.columns.get_loc("precip_mm")] = [before, np.nan, after]
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert len(result.missing_days) == missing_days
    if not missing_days:
        assert result.hourly["precip_mm"].iloc[131] == 0


def test_a_hole_at_night_is_dark():
    hourly = full_hours().assign(precip_mm=0.0, cloud_pct=np.nan)
    clear = weather.clear_sky_ghi(hourly.index, BERLIN)
    night = np.flatnonzero(clear == 0)[2:6]
    dawn = night[-1] + 1
    hourly.iloc[night[0] : dawn + 1, hourly.columns.get_loc("ghi_wm2")] = np.nan
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert (result.hourly["ghi_wm2"].iloc[night] == 0).all()
    assert result.hourly["ghi_wm2"].iloc[dawn] <= clear.iloc[dawn]


def test_twilight_does_not_brighten_the_morning():
    # At first light a sensor may show many times the clear sky's almost nothing; the hours bridged
    # after it still get no more than a clear sky gives.
    hourly = full_hours().assign(precip_mm=0.0, cloud_pct=np.nan)
    clear = weather.clear_sky_ghi(hourly.index, BERLIN).to_numpy()
    dawn = np.flatnonzero((clear[1:] > 0) & (clear[:-1] == 0))[1] + 1
    ghi = hourly.columns.get_loc("ghi_wm2")
    hourly.iloc[dawn, ghi] = 20 * clear[dawn]
    hourly.iloc[dawn + 1 : dawn + 5, ghi] = np.nan
    bridged = weather.complete_weather(hourly, BERLIN, NUMBERS).hourly["ghi_wm2"].to_numpy()
    assert (bridged[dawn + 1 : dawn + 5] <= clear[dawn + 1 : dawn + 5]).all()
    assert (bridged[dawn + 1 : dawn + 5] > 0).all()


def test_humidity_and_dew_point_come_from_each_other():
    hourly = full_hours()
    dew = weather.dewpoint(hourly["temp_c"], hourly["rh_pct"])
    given_dew = hourly.drop(columns="rh_pct").assign(dewpoint_c=dew)
    result = weather.complete_weather(given_dew, BERLIN, NUMBERS)
    assert result.hourly["rh_pct"].to_numpy() == pytest.approx(hourly["rh_pct"], abs=1e-9)
    assert list(map(str, result.notes)) == ["Humidity is computed from the dew point."]


def test_the_least_table_is_completed_and_says_so():
    hourly = full_hours()[["temp_c", "precip_mm"]]
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert list(map(str, result.notes)) == [
        "Humidity is computed from the lowest temperature of the day: neither humidity nor dew "
        "point is given.",
        "Radiation is computed from the daily temperature range: neither it nor cloud cover is given.",
        "Wind is taken as 2.7 m/s in every hour: none is given.",
    ]
    layers = ["soil_moisture_m3m3"]  # only a service gives it
    assert result.daily.drop(columns=layers).notna().all(axis=None)
    # The coolest hour of a day is near its dew point.
    assert result.hourly["rh_pct"].max() > 95


def test_radiation_from_cloud_says_so():
    hourly = full_hours().drop(columns="ghi_wm2")
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert list(map(str, result.notes)) == [
        "Radiation is computed from cloud cover: no service gives it."
    ]
    clear = result.hourly["clear_ghi_wm2"]
    cloudy = weather.ghi_from_cloud(clear, hourly["cloud_pct"], NUMBERS)
    assert result.hourly["ghi_wm2"].to_numpy() == pytest.approx(cloudy, abs=1e-9)


def test_parts_without_a_quantity_are_filled_and_counted():
    hourly = full_hours()
    hourly.iloc[48:72, hourly.columns.get_loc("ghi_wm2")] = np.nan
    hourly.iloc[96:120, hourly.columns.get_loc("rh_pct")] = np.nan
    hourly.iloc[200:210, hourly.columns.get_loc("wind_ms")] = np.nan
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert noted(result, "Radiation of 24 hours is computed from cloud cover")
    assert noted(result, "Humidity of 24 hours is computed from the lowest temperature")
    assert noted(result, "Wind of 10 hours is taken as the mean of the wind up to then")
    mean = hourly["wind_ms"].iloc[:200].mean()
    assert result.hourly["wind_ms"].iloc[205] == pytest.approx(mean, abs=1e-9)
    assert len(result.missing_days) == 0


def test_readings_between_the_hours_are_gathered():
    # Rain of 12 x 0.1 mm in the hour is 1.2 mm; temperature is their mean.
    index = pd.date_range("2024-05-01 00:05", periods=12 * 30, freq="5min", tz="UTC")
    table = pd.DataFrame({"temp_c": np.arange(360) % 12.0, "precip_mm": 0.1}, index=index)
    result = weather.complete_weather(table, BERLIN, NUMBERS)
    assert len(result.hourly) == 30
    assert result.hourly["precip_mm"].to_numpy() == pytest.approx(np.full(30, 1.2), abs=1e-9)
    assert result.hourly["temp_c"].to_numpy() == pytest.approx(np.full(30, 5.5), abs=1e-9)
    assert noted(result, "gathered")


@pytest.mark.parametrize("rows", [0, 1, 30])
def test_less_than_a_day_has_no_daily_weather(rows):
    hourly = full_hours().iloc[10 : 10 + rows]
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert len(result.hourly) == rows
    assert len(result.daily) == 0
    assert set(result.daily.columns) <= set(SEASON_DAY) | {"wind_ms", "rh_pct", "ghi_wm2"}


def test_missing_temperature_column_is_named():
    with pytest.raises(MissingColumnError, match="temp_c"):
        weather.complete_weather(full_hours().drop(columns="temp_c"), BERLIN, NUMBERS)
    with pytest.raises(MissingColumnError, match="wind_ms"):
        weather.daily_weather(full_hours().drop(columns="wind_ms"), BERLIN, NUMBERS)


def test_all_missing_gives_nothing():
    hourly = full_hours(days=2)
    hourly[:] = np.nan
    result = weather.complete_weather(hourly, BERLIN, NUMBERS)
    assert len(result.daily) == 0
    assert noted(result, "Temperature of 48 hours is missing")


# Days of 23 and 25 hours: the hour that ends at local midnight closes its day.
@pytest.mark.parametrize(
    ("place", "day", "hours"),
    [
        (BERLIN, "2024-03-31", 23),
        (BERLIN, "2024-10-27", 25),
        (AUCKLAND, "2024-09-29", 23),
        (AUCKLAND, "2024-04-07", 25),
        (LOS_ANGELES, "2024-11-03", 25),
        (BRISBANE, "2024-10-06", 24),
    ],
)
def test_summer_time_days_are_whole(place, day, hours):
    first = pd.Timestamp(day) - pd.Timedelta(days=1)
    hourly = full_hours(place, first, 3).assign(precip_mm=1.0)
    result = weather.complete_weather(hourly, place, NUMBERS)
    assert len(result.daily) == 3
    assert len(result.missing_days) == 0
    assert result.daily.loc[day, "precip_mm"] == hours
    short = weather.complete_weather(hourly.iloc[:-1], place, NUMBERS)
    assert len(short.daily) == 2


def test_a_day_is_its_hours():
    hourly = weather.complete_weather(full_hours(AUCKLAND), AUCKLAND, NUMBERS).hourly
    daily = weather.daily_weather(hourly, AUCKLAND, NUMBERS)
    # 6 May in Auckland (12 h ahead of UTC) ends at 12:00 UTC on 6 May.
    hours = hourly.loc["2024-05-05 13:00":"2024-05-06 12:00"]
    assert len(hours) == 24
    day = daily.loc["2024-05-06"]
    assert day["temp_mean_c"] == pytest.approx(hours["temp_c"].mean(), abs=1e-9)
    assert day["temp_max_c"] == hours["temp_c"].max()
    assert day["temp_min_c"] == hours["temp_c"].min()
    assert day["precip_mm"] == pytest.approx(hours["precip_mm"].sum(), abs=1e-9)
    assert day["ghi_wm2"] == pytest.approx(hours["ghi_wm2"].mean(), abs=1e-9)


def test_soil_temperature_of_a_service_is_taken_where_it_is_given():
    hourly = weather.complete_weather(full_hours(), BERLIN, NUMBERS).hourly
    hourly["soil_temp_c"] = np.where(np.arange(len(hourly)) < 240, 9.0, np.nan)
    daily = weather.daily_weather(hourly, BERLIN, NUMBERS)
    assert (daily["soil_temp_c"].iloc[:10] == 9.0).all()
    # Then the recursion goes on from there, a quarter of the way each day to what open ground takes
    # on: air plus 0.007 °C for each W/m² (soil.sun_c).
    air, sun = daily["temp_mean_c"].iloc[10], daily["ghi_wm2"].iloc[10]
    eleventh = 9 + 0.25 * (air + 0.007 * sun - 9)
    assert daily["soil_temp_c"].iloc[10] == pytest.approx(eleventh, abs=1e-9)


# Properties


@pytest.mark.parametrize("place", PLACES)
def test_daily_values_are_possible(place):
    result = weather.complete_weather(full_hours(place, days=60), place, NUMBERS)
    check_bounds(result.daily, SEASON_DAY, where="test")
    assert (result.daily["temp_min_c"] <= result.daily["temp_mean_c"]).all()
    assert (result.daily["temp_mean_c"] <= result.daily["temp_max_c"]).all()


@settings(max_examples=15, deadline=None)
@given(
    begin=st.integers(0, 300),
    length=st.integers(1, 60),
    column=st.sampled_from(["temp_c", "precip_mm", "rh_pct", "ghi_wm2", "wind_ms"]),
)
def test_known_values_are_never_changed(begin, length, column):
    hourly = full_hours()
    hourly.iloc[begin : begin + length, hourly.columns.get_loc(column)] = np.nan
    done = weather.complete_weather(hourly, BERLIN, NUMBERS).hourly[hourly.columns]
    known = hourly.notna()
    pd.testing.assert_frame_equal(done.where(known), hourly.where(known), check_freq=False)


@settings(max_examples=15, deadline=None)
@given(cut=st.integers(1, 19), place=st.sampled_from(PLACES), least=st.booleans())
def test_no_day_knows_the_day_to_come(cut, place, least):
    hourly = full_hours(place)
    hourly = hourly[["temp_c", "precip_mm"]] if least else hourly
    first = hourly.index[0].tz_convert(place.timezone).normalize().tz_localize(None)
    until = weather.hours_of_days(first, first + pd.Timedelta(days=cut - 1), place.timezone)
    whole = weather.complete_weather(hourly, place, NUMBERS)
    part = weather.complete_weather(hourly.loc[until], place, NUMBERS)
    assert len(part.daily) == cut
    pd.testing.assert_frame_equal(part.daily, whole.daily.iloc[:cut], check_freq=False)
    pd.testing.assert_frame_equal(part.hourly, whole.hourly.loc[until], check_freq=False)
