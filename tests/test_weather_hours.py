"""Local days, and daily weather spread over their hours. All weather here is invented."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast import weather
from flowcast.errors import MissingColumnError
from flowcast.numbers import load_numbers
from flowcast.tables import WEATHER, Place
from flowcast.weather.hours import day_course, night_course

NUMBERS = load_numbers()
PLACES = {
    "Brisbane": Place(-27.47, 153.03, 10, "Australia/Brisbane", (7, 1)),
    "Auckland": Place(-36.85, 174.76, 20, "Pacific/Auckland", (7, 1)),
    "Los Angeles": Place(34.05, -118.24, 90, "America/Los_Angeles", (1, 1)),
    "Berlin": Place(52.52, 13.41, 40, "Europe/Berlin", (1, 1)),
    "Kolkata": Place(22.57, 88.36, 9, "Asia/Kolkata", (1, 1)),
    "Tromso": Place(69.65, 18.96, 10, "Europe/Oslo", (1, 1)),
}


def some_days(first="2024-01-01", days=400, seed=5):
    """Daily weather of no place, with wet and dry days."""
    rng = np.random.default_rng(seed)
    low = rng.normal(8, 6, days)
    wet = rng.random(days) < 0.35
    return pd.DataFrame(
        {
            "temp_max_c": low + rng.uniform(2, 12, days),
            "temp_min_c": low,
            "precip_mm": np.where(wet, rng.gamma(0.7, 9, days), 0.0).round(1),
            "wind_ms": rng.gamma(4, 0.8, days),
            "rh_pct": rng.uniform(20, 40, days),  # dry enough that no hour is over-full
            "ghi_wm2": rng.uniform(20, 150, days),
        },
        index=pd.date_range(first, periods=days, freq="D", name="date"),
    )


def by_day(hourly, place):
    return hourly.groupby(weather.local_dates(hourly.index, place.timezone))


# Published values


def test_day_course_of_parton_and_logan():
    # Parton and Logan 1981, air at 1.5 m (a 1.86, b 2.20), day 14 h, 10 to 30 °C: highest 8.86 h
    # after the lowest, 27.48 after 6 h, 21.77 at sunset (14.17 h), 13.92 five hours later; worked
    # by hand from the coefficients.
    course = day_course(np.array([8.86, 6.0, 14.17]), 14, 10, 30, NUMBERS)
    assert course == pytest.approx([30.0, 27.48, 21.77], abs=0.01)
    assert night_course(5, 10, 10, course[2], NUMBERS) == pytest.approx(13.92, abs=0.01)


# Worked by hand


def test_midnight_ends_its_day():
    # Los Angeles is 8 h behind UTC in winter: midnight is 08:00 UTC.
    stamps = pd.DatetimeIndex(["2024-01-10 08:00", "2024-01-10 09:00"], tz="UTC")
    dates = weather.local_dates(stamps, "America/Los_Angeles")
    assert list(dates) == [pd.Timestamp("2024-01-09"), pd.Timestamp("2024-01-10")]


# Days on which clocks change, by the zones' own rules; Brisbane has no summer time. The first hour
# of the local day ends at this UTC stamp.
@pytest.mark.parametrize(
    ("zone", "day", "hours", "first_end"),
    [
        ("Europe/Berlin", "2024-03-31", 23, "2024-03-31 00:00"),
        ("Europe/Berlin", "2024-10-27", 25, "2024-10-26 23:00"),
        ("Pacific/Auckland", "2024-09-29", 23, "2024-09-28 13:00"),
        ("Pacific/Auckland", "2024-04-07", 25, "2024-04-06 12:00"),
        ("America/Los_Angeles", "2024-03-10", 23, "2024-03-10 09:00"),
        ("Australia/Brisbane", "2024-10-06", 24, "2024-10-05 15:00"),
        ("Asia/Kolkata", "2024-10-06", 24, "2024-10-05 19:00"),
        ("Australia/Lord_Howe", "2024-01-06", 24, "2024-01-05 14:00"),
    ],
)
def test_a_local_day_has_its_hours(zone, day, hours, first_end):
    stamps = weather.hours_of_days(day, day, zone)
    assert len(stamps) == hours
    assert stamps[0] == pd.Timestamp(first_end, tz="UTC")
    assert (np.diff(stamps) == np.timedelta64(1, "h")).all()


@pytest.mark.parametrize("zone", [p.timezone for p in PLACES.values()] + ["Australia/Lord_Howe"])
def test_days_tile_the_year(zone):
    year = weather.hours_of_days("2024-01-01", "2024-12-31", zone)
    assert len(year) == 8784
    starts, days = weather.day_starts(weather.local_dates(year, zone))
    assert len(days) == 366
    assert set(np.diff(starts)) <= {23, 24, 25}


def test_rain_falls_in_one_spell():
    # 16 mm: 2 x sqrt(16) = 8 hours of 2 mm; 0.2 mm: one hour.
    days = some_days(days=2).assign(precip_mm=[16.0, 0.2])
    hourly = weather.hourly_from_daily(days, PLACES["Brisbane"], NUMBERS)
    first, second = hourly["precip_mm"].to_numpy()[:24], hourly["precip_mm"].to_numpy()[24:]
    assert sorted(first[first > 0]) == pytest.approx([2.0] * 8, abs=1e-12)
    assert second[second > 0] == pytest.approx([0.2], abs=1e-12)


def test_dew_point_lies_lower_where_days_range_widely():
    # FAO-56 annex 6 (from memory): none in humid places, 2 to 3 °C below the lowest in arid ones.
    low = pd.Series([10.0] * 60)
    humid = weather.dewpoint_from_minimum(low, low + 8, NUMBERS)
    arid = weather.dewpoint_from_minimum(low, low + 20, NUMBERS)
    assert humid.iloc[-1] == pytest.approx(10.0, abs=1e-9)
    assert arid.iloc[-1] == pytest.approx(7.0, abs=1e-9)


def test_what_is_not_given_is_missing():
    days = some_days(days=5)[["temp_max_c", "temp_min_c", "precip_mm"]]
    hourly = weather.hourly_from_daily(days.drop(days.index[2]), PLACES["Berlin"], NUMBERS)
    assert list(hourly.columns) == list(WEATHER)
    assert hourly[["wind_ms", "cloud_pct", "pressure_hpa", "soil_temp_c"]].isna().all(axis=None)
    holes = by_day(hourly, PLACES["Berlin"])[["temp_c", "precip_mm", "rh_pct", "ghi_wm2"]].count()
    assert holes.to_numpy().tolist() == [[24] * 4, [24] * 4, [0] * 4, [24] * 4, [24] * 4]


def test_a_missing_column_is_named():
    with pytest.raises(MissingColumnError, match="temp_min_c"):
        weather.hourly_from_daily(
            some_days(days=3).drop(columns="temp_min_c"), PLACES["Berlin"], NUMBERS
        )


def test_notes_say_what_is_computed():
    days = some_days(days=3)
    assert len(weather.hourly_from_daily_notes(days)) == 1
    notes = weather.hourly_from_daily_notes(days.drop(columns=["ghi_wm2", "rh_pct"]))
    assert "temperature range" in str(notes[1])
    assert "lowest temperature" in str(notes[2])


# Properties


@pytest.mark.parametrize("name", PLACES)
def test_the_hours_give_back_what_the_day_states(name):
    place, days = PLACES[name], some_days()
    if name == "Tromso":
        days = days.assign(ghi_wm2=np.nan)  # no light can be spread over the polar night
    groups = by_day(weather.hourly_from_daily(days, place, NUMBERS), place)
    given_back = pd.DataFrame(
        {
            "temp_max_c": groups["temp_c"].max(),
            "temp_min_c": groups["temp_c"].min(),
            "precip_mm": groups["precip_mm"].sum(),
            "wind_ms": groups["wind_ms"].mean(),
            "rh_pct": groups["rh_pct"].mean(),
            "ghi_wm2": groups["ghi_wm2"].mean(),
        }
    )
    compare = [c for c in days if days[c].notna().all()]
    assert (given_back[compare] - days[compare]).abs().max().max() < 1e-9


@pytest.mark.parametrize("name", PLACES)
def test_every_hour_is_possible(name):
    hourly = weather.hourly_from_daily(
        some_days()[["temp_max_c", "temp_min_c", "precip_mm"]], PLACES[name], NUMBERS
    )
    for column, low, high in (("rh_pct", 0, 100), ("ghi_wm2", 0, 1100), ("precip_mm", 0, 310)):
        assert hourly[column].between(low, high).all()
    assert (hourly["dewpoint_c"] <= 40).all()
    assert (hourly["ghi_wm2"] <= weather.clear_sky_ghi(hourly.index, PLACES[name]) + 1e-9).all()


def test_afternoons_are_warm_and_sunrise_is_cold():
    # Parton and Logan: highest about 1.86 h after noon, lowest near sunrise.
    place = PLACES["Los Angeles"]
    days = some_days("2024-06-01", 60).assign(temp_max_c=30.0, temp_min_c=15.0)
    temp = weather.hourly_from_daily(days, place, NUMBERS)["temp_c"]
    local = temp.index.tz_convert(place.timezone)
    course = temp.groupby(local.hour).mean()
    assert course.idxmax() in (14, 15)  # solar noon is at 12:55 by summer time
    assert course.idxmin() in (5, 6)  # sunrise is at 05:45
    assert (temp.diff().dropna().abs() < 4).all()  # no step at midnight


def test_rain_visits_day_and_night_alike():
    # Our rule: each hour of the clock gets its 24th share; within a tenth over 400 wet days.
    days = some_days(days=400).assign(precip_mm=1.0)
    hourly = weather.hourly_from_daily(days, PLACES["Brisbane"], NUMBERS)
    share = hourly["precip_mm"].groupby(hourly.index.hour).sum() / 400
    assert share.to_numpy() == pytest.approx(np.full(24, 1 / 24), rel=0.1)


@settings(max_examples=15, deadline=None)
@given(cut=st.integers(2, 58), name=st.sampled_from(sorted(PLACES)))
def test_no_hour_knows_the_day_to_come(cut, name):
    days = some_days("2024-02-20", 60)
    days = days[["temp_max_c", "temp_min_c", "precip_mm", "wind_ms"]]
    whole = weather.hourly_from_daily(days, PLACES[name], NUMBERS)
    part = weather.hourly_from_daily(days.iloc[:cut], PLACES[name], NUMBERS)
    pd.testing.assert_frame_equal(part, whole.loc[: part.index[-1]], check_freq=False)


@settings(max_examples=30, deadline=None)
@given(
    first=st.floats(-20, 30),
    second=st.floats(-20, 30),
    swing=st.floats(0, 25),
    lat=st.floats(-66, 71),
)
def test_any_pair_of_days_keeps_its_extremes(first, second, swing, lat):
    place = Place(lat, 10.0, 0, "Europe/Berlin", (1, 1))
    low = np.array([first, second])
    days = pd.DataFrame(
        {"temp_max_c": low + swing, "temp_min_c": low, "precip_mm": [0.0, 3.0]},
        index=pd.DatetimeIndex(["2024-03-30", "2024-03-31"]),
    )
    groups = by_day(weather.hourly_from_daily(days, place, NUMBERS), place)["temp_c"]
    assert groups.min().to_numpy() == pytest.approx(low, abs=1e-9)
    assert groups.max().to_numpy() == pytest.approx(low + swing, abs=1e-9)
