"""Whether a colony lives in the hive, by what it eats on days without flight."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.messages import Say
from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log, not_eating
from flowcast.scale_log.log import CleanLog

NUMBERS, SAY = load_numbers(), Say()


def log_of(gains, start="2024-12-01"):
    """A scale's log of these daily gains."""
    index = pd.date_range(start, periods=len(gains), name="date")
    table = pd.DataFrame(
        {"days": 1.0, "gain_kg": np.asarray(gains, float), "gain_sd_kg": 0.05, "quality": "good"},
        index=index,
    )
    none = pd.DataFrame()
    return CleanLog("Ash", "scale", none, none, table, pd.Series(dtype=float))


def days_of(index, hours=0.0, rain=0.0):
    """The weather of these days: foraging hours and rain."""
    return pd.DataFrame({"foraging_h": hours, "precip_mm": rain}, index=index)


def told(gains, hours=0.0, today="2025-06-01", rain=0.0):
    """What is said of these gains, with so many hours of flight and mm of rain a day."""
    log = log_of(gains)
    daily = days_of(log.gains.index, hours, rain)
    return [SAY.note(note) for note in not_eating(log, daily, pd.Timestamp(today), NUMBERS)]


# Published value


@pytest.mark.parametrize("kg_a_month", [0.5, 1.0, 1.5])
def test_a_colony_in_winter_is_not_called_empty(kg_a_month):
    """Wintering colonies use 0.5 to 1.5 kg a month while broodless: from memory, as of handbooks."""
    rng = np.random.default_rng(1)
    for _ in range(20):
        assert not told(-kg_a_month / 30 + np.diff(rng.normal(0, 0.04, 91)))


# Hand-worked case


def test_an_empty_hive_is_told_with_its_days_and_what_it_lost():
    """30 days at -0.03, then 25 at -0.004. The mean of the 21 newest is above -0.006 where k of them are
    of the first kind and 0.03 k + 0.004 (21 - k) < 0.126: k <= 1. So it begins
    on the last of the 30, 30 December, and 0.03 + 25 x 0.004 = 0.13 kg went in 26 days."""
    said = told([-0.03] * 30 + [-0.004] * 25)
    assert len(said) == 1
    assert said[0].startswith(
        "Ash lost 0.1 kg in all on 26 dry days without flight from 30 December 2024 to 24 January 2025,"
    )
    assert "write to = 2024-12-30 under its [[hive]]" in said[0]


def test_a_hive_that_does_not_eat_now_takes_all_figures_their_worth():
    (said,) = told([0.0] * 40, today="2025-01-10")
    assert "every figure here is of an empty box" in said


def test_two_winters_of_an_empty_hive_are_told_apart():
    """A summer of 150 days with flight lies between."""
    gains = np.r_[np.zeros(40), np.full(150, 0.3), np.zeros(40)]
    hours = np.r_[np.zeros(40), np.full(150, 6.0), np.zeros(40)]
    assert len(told(gains, hours, "2026-06-01")) == 2


# Property


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-2, 4), min_size=21, max_size=80))
def test_days_with_flight_say_nothing(gains):
    """What a colony eats may come in again: common practice, no source."""
    assert not told(gains, hours=3.0)


def test_wood_that_drinks_rain_is_no_empty_hive():
    """Wet wood takes on tenths of a kilogram and lets go of them in dry weather: common practice, no source."""
    wet = np.arange(90) % 2 == 0
    gains = np.where(wet, 0.08, -0.12)
    assert not told(gains, rain=np.where(wet, 6.0, 0.0))
    assert not told(np.zeros(90), rain=2.0)


def test_twenty_days_are_too_few():
    assert not told([0.0] * 20)
    assert told([0.0] * 21)


def test_days_months_apart_are_no_time_without_food():
    """One day in four without flight: 21 of them span 81 days, more than 60."""
    hours = np.where(np.arange(120) % 4 == 0, 0.0, 5.0)
    assert not told(np.zeros(120), hours)


# Recovery from simulated data


def test_a_colony_that_dies_under_a_noisy_scale_is_found():
    """Six-hourly readings with 30 g of noise; 25 g a day are eaten until 20 January, then nothing."""
    index = pd.date_range("2024-11-01", "2025-03-15", freq="6h", tz="UTC")
    days = (index - index[0]) / pd.Timedelta(days=1)
    died = (pd.Timestamp("2025-01-20", tz="UTC") - index[0]).days
    rng = np.random.default_rng(3)
    work = pd.DataFrame(columns=["time", "timed", "what", "kg", "note"])
    daily = days_of(pd.date_range("2024-11-01", "2025-03-15"))
    for dies, found in ((died, 1), (len(index), 0)):
        kg = 32.0 - 0.025 * np.minimum(days, dies) + rng.normal(0, 0.03, len(index))
        readings = pd.DataFrame({"weight_kg": kg}, index=index)
        log = clean_log(readings, work, hive="Ash", timezone="UTC", numbers=NUMBERS)
        notes = not_eating(log, daily, pd.Timestamp("2025-03-16"), NUMBERS)
        assert len(notes) == found


def test_the_date_of_a_death_is_told_within_two_weeks():
    """From 25 g a day to nothing after 80 days, 19 February, weights off by 40 g."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        log = log_of(np.repeat([-0.025, 0.0], [80, 60]) + np.diff(rng.normal(0, 0.04, 141)))
        daily = days_of(log.gains.index)
        (note,) = not_eating(log, daily, pd.Timestamp("2025-06-01"), NUMBERS)
        off = dict(note.fields)["first"] - pd.Timestamp("2025-02-19")
        assert abs(off.days) <= 14
