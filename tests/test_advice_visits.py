"""Days fit to open a hive, and the keeper's days: hand-worked cases, properties, yard.toml."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast.advice.visits import open_hours, read_visits
from flowcast.errors import InputError
from flowcast.numbers import load_numbers
from flowcast.weather import WeatherAhead
from flowcast.yard.settings import parse_settings

NUMBERS = load_numbers()


def hours(day="2026-05-10", zone="UTC", **columns):
    """A local day of hours, mild, dry and calm but for what is given by local hour of their end."""
    first = pd.Timestamp(day, tz=zone).tz_convert("UTC")
    index = pd.date_range(first, periods=24, freq="h") + pd.Timedelta(hours=1)
    frame = pd.DataFrame({"temp_c": 20.0, "precip_mm": 0.0, "wind_ms": 2.0}, index=index)
    for name, values in columns.items():
        for hour, value in values.items():
            frame.iloc[hour - 1, frame.columns.get_loc(name)] = value
    return frame


def ahead(open_h, first="2026-05-10"):
    runs = np.atleast_2d(np.array(open_h, float))
    dates = pd.date_range(first, periods=runs.shape[1])
    return WeatherAhead(
        dates, {"open_h": runs}, tuple(map(str, range(len(runs)))), np.zeros(len(runs), int)
    )


# Hand-worked: working hours 09:00 to 17:00 are eight


def test_a_mild_dry_calm_day_is_open_through_working_hours():
    assert open_hours(hours(), "UTC", NUMBERS).tolist() == [8.0]


@pytest.mark.parametrize(
    "column, value, left",
    [
        ("temp_c", 13.9, 7),  # 14 to 38 °C: common practice, no source
        ("temp_c", 14.0, 8),
        ("temp_c", 38.1, 7),
        ("precip_mm", 0.1, 7),
        ("precip_mm", 0.05, 8),
        ("wind_ms", 7.0, 8),  # 7 m/s at 10 m is 4.9 at the hives, with 0.7 of it blowing there
        ("wind_ms", 7.2, 7),
    ],
)
def test_one_unfit_hour_is_taken_off(column, value, left):
    found = open_hours(hours(**{column: {12: value}}), "UTC", NUMBERS)
    assert found.tolist() == [left]


def test_rain_at_night_takes_nothing_off():
    wet = hours(precip_mm=dict.fromkeys((1, 2, 8, 9, 18, 24), 3.0))
    assert open_hours(wet, "UTC", NUMBERS).tolist() == [8.0]


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/Los_Angeles", "Africa/Johannesburg"])
def test_working_hours_go_by_the_yard_s_clock(zone):
    """The hour that ends at 12 by the yard's clock is the one that is taken off."""
    found = open_hours(hours(zone=zone, precip_mm={12: 2.0}), zone, NUMBERS)
    assert found.loc["2026-05-10"] == 7.0


def test_an_unknown_working_hour_makes_the_day_unknown_and_one_at_night_does_not():
    assert np.isnan(open_hours(hours(temp_c={12: np.nan}), "UTC", NUMBERS).iloc[0])
    assert open_hours(hours(temp_c={2: np.nan}), "UTC", NUMBERS).tolist() == [8.0]


def test_chance_next_and_plan():
    # Four runs; on day 0 one of four is fit, on day 1 two, from day 2 on all.
    runs = [[5, 5, 5] + [5] * 12, [0, 5, 5] + [5] * 12] + 2 * [[0, 2.9, 3] + [5] * 12]
    visits = read_visits(ahead(runs), NUMBERS)
    assert visits.chance.iloc[:3].tolist() == [0.25, 0.5, 1.0]
    assert visits.next_fit(pd.Timestamp("2026-05-10")) == pd.Timestamp("2026-05-11")
    assert visits.between(pd.Timestamp("2026-05-10"), pd.Timestamp("2026-05-11")) == 0.5
    assert [d.day for d in visits.plan(pd.Timestamp("2026-05-10"))] == [11, 18]


def test_the_keeper_s_own_days():
    # 10 May 2026 is a Sunday (calendar).
    visits = read_visits(ahead([5] * 21), NUMBERS, own_days=("wed", "sat"), every_d=7)
    assert visits.next_fit(pd.Timestamp("2026-05-10")) == pd.Timestamp("2026-05-13")
    assert [d.day for d in visits.plan(pd.Timestamp("2026-05-10"))] == [13, 20, 27]
    assert np.isnan(visits.between(pd.Timestamp("2026-05-10"), pd.Timestamp("2026-05-12")))


def test_no_fit_day_in_sight_is_said_as_none():
    visits = read_visits(ahead([1] * 30), NUMBERS)
    assert visits.next_fit(pd.Timestamp("2026-05-10")) is None
    assert visits.plan(pd.Timestamp("2026-05-10")) == []


def test_days_before_the_issue_date_are_left_out():
    visits = read_visits(ahead([5] * 10), NUMBERS, unknown=3)
    assert visits.chance.index[0] == pd.Timestamp("2026-05-13")
    assert visits.fit.shape == (1, 7)


# Properties


@given(
    st.lists(st.floats(-5, 45), min_size=24, max_size=24),
    st.lists(st.floats(0, 4), min_size=24, max_size=24),
    st.floats(0, 5),
)
def test_more_rain_or_wind_never_opens_a_day(temp, rain, more):
    day = hours().assign(temp_c=temp, precip_mm=rain)
    plain = open_hours(day, "UTC", NUMBERS).iloc[0]
    assert 0 <= plain <= 8
    for column in ("precip_mm", "wind_ms"):
        worse = day.assign(**{column: day[column] + more})
        assert open_hours(worse, "UTC", NUMBERS).iloc[0] <= plain


@given(st.lists(st.integers(0, 8), min_size=20, max_size=60), st.integers(1, 14))
def test_visits_are_fit_and_far_enough_apart(open_h, every):
    visits = read_visits(ahead(open_h), NUMBERS, every_d=every)
    plan = visits.plan(visits.chance.index[0])
    assert all(visits.chance[d] >= 0.5 for d in plan)
    gaps = [(b - a).days for a, b in pairwise(plan)]
    assert all(gap >= every for gap in gaps)


# yard.toml

YARD = '[yard]\nname = "Y"\nlatitude = 48.6\nlongitude = 15.3\n'


def test_visit_days_are_read():
    yard = parse_settings(YARD + 'visit_days = ["sat", "sun"]\nvisit_every_d = 10').yard
    assert yard.visit_days == ["sat", "sun"]
    assert yard.visit_every_d == 10
    assert parse_settings(YARD).yard.visit_every_d == 7


@pytest.mark.parametrize("line", ['visit_days = ["saturday"]', "visit_every_d = 0"])
def test_a_wrong_visit_day_is_named_with_its_line(line):
    with pytest.raises(InputError, match=r"yard\.toml, line 5: yard\.visit_"):
        parse_settings(YARD + line)


# Recovery


def test_what_past_years_say_of_fit_days_comes_true(hourly_weather):
    """Chances from five invented years for each month of a sixth against the share that came."""
    open_h = open_hours(hourly_weather, "UTC", NUMBERS)
    fit = (open_h >= 3).astype(float).where(open_h.notna())
    said = fit[fit.index.year < 2024].groupby([fit[fit.index.year < 2024].index.month]).mean()
    came = fit[fit.index.year == 2024].groupby([fit[fit.index.year == 2024].index.month]).mean()
    assert (said - came).abs().max() < 0.2  # weeks hang together: a month is few independent days
    assert abs(said.mean() - came.mean()) < 0.05
    assert said[1] < 0.05 < 0.7 < said[7]
