"""Supers off and the time before winter bees are reared: hand-worked, both hemispheres, properties."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast.advice.after import read_after, winter_bees
from flowcast.advice.visits import Visits
from flowcast.numbers import load_numbers
from flowcast.tables import Place
from flowcast.weather import WeatherAhead

NUMBERS = load_numbers()
NORTH = Place(49.0, 16.0, 300, "Europe/Prague", (1, 1))
SOUTH = Place(-37.0, 145.0, 300, "Australia/Melbourne", (7, 1))


def course(mean, swing, warmest, first="2019-01-01", last="2026-12-31"):
    """A plain yearly course of daily mean temperature, warmest on this day of the year."""
    dates = pd.date_range(first, last)
    return pd.Series(
        mean + swing * np.cos(2 * np.pi * (dates.dayofyear - warmest) / 365.25), index=dates
    )


INLAND = course(9.0, 11.0, 200)  # below 9 °C from 91 days after 19 July, 18 October, on
COAST = course(20.0, 5.0, 20)
HILLS = course(11.0, 8.0, 20)


def ahead(first, days, high_c=25.0):
    dates = pd.date_range(first, periods=days)
    return WeatherAhead(dates, {"temp_max_c": np.full((3, days), high_c)}, ("a",), np.zeros(3, int))


def futures(first, days, flows, rows=4):
    """Every future the same: 2 kg a day on these spans, a loss otherwise."""
    dates = pd.date_range(first, periods=days)
    gain = np.full((rows, days), -0.2)
    for begin, end in flows:
        gain[:, (dates >= begin) & (dates <= end)] = 2.0
    return gain, dates


def read(first, flows, days=150, bees=None, years=7):
    gain, dates = futures(first, days, flows)
    fit = Visits(pd.Series(1.0, index=dates), np.ones((1, days), bool), None, 7, 0.5)
    return read_after(gain, ahead(first, days), fit, bees, 0.5, years, NUMBERS)


# Hand-worked


def test_inland_winter_bees_are_reared_from_late_august():
    """The mean of two weeks falls below 9 °C a week after the day does: 25 October; two months before
    is 26 August (common practice, from memory: from mid or late August inland at 48 N)."""
    bees = winter_bees(INLAND.loc[:"2026-07-01"], pd.Timestamp("2026-07-01"), NORTH, NUMBERS)
    assert bees.end[1] == pd.Timestamp("2026-10-25")
    assert bees.start[1] == pd.Timestamp("2026-08-26")
    assert bees.years == 7


def test_the_south_has_its_autumn_in_april():
    bees = winter_bees(HILLS.loc[:"2026-01-10"], pd.Timestamp("2026-01-10"), SOUTH, NUMBERS)
    assert bees.end[1].month in (4, 5)
    assert bees.start[1] == bees.end[1] - pd.Timedelta(days=60)
    assert bees.end[1].year == 2026


def test_where_no_winter_stops_brood_there_is_no_such_window():
    issue = pd.Timestamp("2026-01-10")
    assert winter_bees(COAST.loc[:issue], issue, SOUTH, NUMBERS) is None
    assert read(issue, []).verdict == "no winter"
    assert read(issue, [], years=0).verdict == "unknown"


@pytest.mark.parametrize("issue, year", [("2026-03-01", 2026), ("2026-10-01", 2026)])
def test_the_autumn_meant_is_the_one_whose_brood_has_not_ended(issue, year):
    bees = winter_bees(INLAND.loc[:issue], pd.Timestamp(issue), NORTH, NUMBERS)
    assert bees.end[1].year == year


BEES = winter_bees(INLAND.loc[:"2026-06-30"], pd.Timestamp("2026-07-01"), NORTH, NUMBERS)
LATEST = BEES.start[1] - pd.Timedelta(days=14)  # two weeks are needed at least (common practice)


def test_supers_come_off_when_the_last_flow_is_over():
    found = read("2026-06-20", [("2026-06-25", "2026-07-10")], bees=BEES)
    assert found.verdict == "ahead"
    # A five-day mean holds the flow up two days beyond its last day; the next day is free of it.
    assert abs((found.when.date - pd.Timestamp("2026-07-12")).days) <= 1
    assert found.until == BEES.start[1]
    assert found.high_c == (25.0, 25.0, 25.0)
    assert found.goes_on == 0.0


def test_a_flow_into_the_rearing_of_winter_bees_is_named_and_the_date_stands():
    found = read("2026-06-20", [("2026-07-20", "2026-09-15")], bees=BEES)
    assert found.when.date == LATEST
    assert found.goes_on == 1.0


def test_without_a_flow_to_come_supers_are_off_now():
    found = read("2026-07-15", [], bees=BEES)
    assert (found.verdict, found.when.date) == ("now", pd.Timestamp("2026-07-15"))


def test_supers_stay_on_for_a_flow_that_comes_in_fewer_than_half_of_the_futures():
    """Four futures of ten have a flow to 20 July: supers come off after it, and the years without a flow
    have no end of one. With one in ten they come off now: a flow is unlikely (out_chance)."""
    gain, dates = futures("2026-06-20", 150, [("2026-07-01", "2026-07-20")], rows=10)
    fit = Visits(pd.Series(1.0, index=dates), np.ones((1, 150), bool), None, 7, 0.5)
    for rows, verdict, day in ((4, "ahead", "2026-07-23"), (1, "now", "2026-06-20")):
        some = np.where(np.arange(10)[:, None] < rows, gain, -0.2)
        found = read_after(some, ahead(dates[0], 150), fit, BEES, 0.5, 7, NUMBERS)
        assert found.verdict == verdict
        assert abs((found.when.date - pd.Timestamp(day)).days) <= 1
        assert (found.when.last - found.when.first).days <= 1


def test_once_winter_bees_are_reared_the_window_is_past():
    assert read("2026-09-10", [], bees=BEES).verdict == "past"


# Properties


@given(st.integers(0, 60), st.integers(8, 40), st.integers(0, 15))
def test_a_longer_flow_never_brings_the_date_forward(start, length, more):
    first = pd.Timestamp("2026-06-01")
    begin = first + pd.Timedelta(days=start)
    short = read(first, [(begin, begin + pd.Timedelta(days=length))], bees=BEES)
    long = read(first, [(begin, begin + pd.Timedelta(days=length + more))], bees=BEES)
    assert long.when.date >= short.when.date
    assert long.when.last <= LATEST


@given(st.floats(0, 3))
def test_a_warmer_autumn_never_brings_winter_bees_forward(warmer):
    issue = pd.Timestamp("2026-07-01")
    plain = winter_bees(INLAND.loc[:issue], issue, NORTH, NUMBERS)
    warm = winter_bees(INLAND.loc[:issue] + warmer, issue, NORTH, NUMBERS)
    assert warm.start[1] >= plain.start[1]
