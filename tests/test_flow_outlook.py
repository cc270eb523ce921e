"""Read-outs: flow windows by hand, quantiles and chances from given scenarios."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.flow.outlook import chance_word, flow_windows, read_outlook
from flowcast.flow.scenarios import Scenarios
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()


def scenarios(gain):
    gain = np.asarray(gain, float)
    return Scenarios(
        dates=pd.date_range("2026-05-01", periods=gain.shape[1]),
        gain_kg=gain,
        intake_kg=np.maximum(gain, 0),
        foraging_h=np.full(gain.shape, 8.0),
        soil_frac=np.full(gain.shape, 0.5),
        weather=np.zeros(len(gain), int),
        labels=("2025",),
        followed_d=np.zeros(len(gain), int),
    )


def windows(gain, threshold=0.5):
    return flow_windows(np.asarray(gain, float), threshold, NUMBERS)


def test_window_by_hand():
    # Centred means around seven days of 1 kg (positions 6 to 12) are .2 .4 .6 .8 1 1 1 .8 .6 .4 .2 on
    # positions 4 to 14; those at or above .5 are 6 to 12.
    gain = [0] * 6 + [1] * 7 + [0] * 6
    assert windows(gain) == [(6, 12)]


def test_four_good_days_are_no_window():
    # Means of a lone 4-day spell of .7 kg peak at .56 on two days only: too short (design: 5 days).
    assert windows([0] * 8 + [0.7] * 4 + [0] * 8) == []


def test_a_short_break_does_not_end_a_window():
    # Two blocks of 8 days at 1 kg, 4 days at 0 between: the centred means there are .4 .2 .2 .4, so
    # against a threshold of .3 it lies below on two days only, and the window runs on. Its ends are
    # the days whose mean is .4: one before the first block (position 4), one after the second (25).
    gain = [0] * 5 + [1] * 8 + [0] * 4 + [1] * 8 + [0] * 5
    assert windows(gain, threshold=0.3) == [(4, 25)]
    # Against .5 it lies below on all four days: two windows, each as long as its block.
    assert windows(gain) == [(5, 12), (17, 24)]


@given(st.lists(st.floats(-1, 4), min_size=5, max_size=60), st.floats(0.1, 2))
@settings(max_examples=60, deadline=None)
def test_windows_are_long_enough_apart_and_in_order(gain, threshold):
    found = windows(gain, threshold)
    for first, last in found:
        assert 0 <= first <= last < len(gain)
        assert last - first + 1 >= NUMBERS["flow.window_least_d"]
    for (_, last), (first, _) in pairwise(found):
        assert first - last - 1 > NUMBERS["flow.window_break_d"]


@given(st.lists(st.floats(-1, 4), min_size=5, max_size=40))
@settings(max_examples=40, deadline=None)
def test_a_lower_threshold_never_has_fewer_window_days(gain):
    def days(threshold):
        return {d for a, b in windows(gain, threshold) for d in range(a, b + 1)}

    assert days(1.0) <= days(0.5)


def test_chances_are_shares_of_scenarios():
    flow, dearth = [1.0] * 45, [-0.2] * 45
    read = read_outlook(scenarios([flow] * 3 + [dearth]), np.full(14, np.nan), 0.5, NUMBERS)
    assert read.window.chance == pytest.approx(0.75, abs=1e-12)
    assert read.daily["p_flow_day"].tolist() == pytest.approx([0.75] * 45, abs=1e-12)
    assert read.chance_word == "likely"


def test_a_flow_under_way_is_seen_as_open():
    read = read_outlook(scenarios([[1.0] * 12 + [-0.2] * 33]), np.full(14, 1.0), 0.5, NUMBERS)
    assert read.window.open_chance == 1.0
    assert read.window.start[1] < read.issue_date
    # Mean on 13 May: (1+1-.2-.2-.2)/5 = .28, on 12 May: (1+1+1-.2-.2)/5 = .52. So it ends on the 12th.
    assert read.window.end[1] == pd.Timestamp("2026-05-12")
    assert read.window.size_kg[1] == pytest.approx(12.0, abs=1e-9)


def test_a_window_that_runs_on_has_no_end():
    read = read_outlook(scenarios([[1.0] * 45]), np.full(14, np.nan), 0.5, NUMBERS)
    assert read.window.end[1] is None


def test_a_window_after_the_days_asked_about_does_not_count():
    late = [-0.2] * 36 + [2.0] * 9
    assert read_outlook(scenarios([late]), np.full(14, np.nan), 0.5, NUMBERS).window.chance == 0.0


def test_every_copy_counts_and_one_of_each_is_kept():
    # Two futures drawn twice: chances are shares of all four rows, (3 of 4), and rows 1 and 3 are kept.
    drawn = replace(scenarios([[1.0] * 45, [1.0] * 45, [1.0] * 45, [-0.2] * 45]), copies=2)
    read = read_outlook(drawn, np.full(14, np.nan), 0.5, NUMBERS)
    assert read.window.chance == pytest.approx(0.75, abs=1e-12)
    assert len(read.scenarios.gain_kg) == len(read.scenarios.weather) == 2
    assert read.scenarios.copies == 1


def test_weeks_and_totals_add_up():
    rng = np.random.default_rng(0)
    read = read_outlook(scenarios(rng.normal(0.2, 1, (500, 45))), np.full(14, np.nan), 0.5, NUMBERS)
    assert read.weekly["days"].tolist() == [7, 7, 7, 9]
    assert read.weekly["flow_days"].sum() == pytest.approx(
        read.daily["p_flow_day"][:30].sum(), abs=1e-9
    )
    week = read.scenarios.gain_kg[:, :7].sum(1)
    assert read.weekly["q50"].iloc[0] == pytest.approx(np.median(week), abs=1e-9)
    assert read.total_after(7)["q90"] == pytest.approx(np.quantile(week, 0.9), abs=1e-9)


@pytest.mark.parametrize(
    "chance, word", [(0.0, "unlikely"), (1 / 3, "unlikely"), (0.5, "even"), (0.7, "likely")]
)
def test_chance_words_are_tied_to_chances(chance, word):
    assert chance_word(chance) == word
