"""A new colony: hand-worked growth, first look, boxes filled; properties."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast.advice.start import KINDS, Beginning, read_start, strength
from flowcast.advice.visits import Visits
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
CAME = pd.Timestamp("2026-05-01")


def visits(dates, fit=True):
    chance = pd.Series(float(fit), index=dates)
    return Visits(chance, np.full((1, len(dates)), fit), None, 7, 0.5)


def begin(kind="swarm", drawn=0.0):
    return Beginning("H1", kind, CAME, drawn, 10.0, 16.0)


def read(gain_kg, issue=CAME, days=120, colony=None, fit=True):
    dates = pd.date_range(issue, periods=days)
    gain = np.full((200, days), float(gain_kg))
    return read_start(
        colony or begin(), gain, dates, visits(dates, fit), NUMBERS, np.random.default_rng(1)
    )


# Hand-worked


def test_a_package_shrinks_until_its_first_brood_emerges():
    """Egg to worker 21 days (READ2) and a few until the queen lays: smallest on day 24, 65 % left."""
    course = strength("package", np.arange(120), 500, NUMBERS, np.random.default_rng(1))
    assert (course.argmin(axis=1) == 24).all()
    assert course[:, 24] / course[:, 0] == pytest.approx(0.65)
    assert 0.2 <= course[:, 0].min() < course[:, 0].max() <= 0.35


def test_a_nucleus_never_shrinks():
    course = strength("nucleus", np.arange(120), 50, NUMBERS, np.random.default_rng(1))
    assert (np.diff(course, axis=1) >= 0).all()


def test_the_first_look_falls_a_week_on():
    assert read(1.0).when.date == pd.Timestamp("2026-05-08")


def test_a_first_look_long_over_is_not_asked_for():
    assert read(1.0, issue=pd.Timestamp("2026-06-10")).when is None


def test_a_first_look_is_never_before_the_issue_date():
    assert read(1.0, issue=pd.Timestamp("2026-05-12")).when.date == pd.Timestamp("2026-05-12")


def test_without_a_fit_day_no_date_is_made_up():
    assert read(1.0, fit=False).when.date is None


def test_no_income_fills_nothing():
    found = read(-0.3)
    assert (found.brood_box.chance, found.brood_box.when) == (0.0, None)
    assert found.super_box.chance == 0.0
    assert found.verdict == "not this season"


def test_in_a_long_strong_flow_a_nucleus_fills_its_box_within_weeks():
    """2.5 kg a day; 20 to 35 % of a full colony bring 0.5 to 0.9 kg, a frame costs 0.6 to 2.3 kg of
    honey, five frames are left: 4 to 23 days, sooner with growth (our arithmetic)."""
    found = read(2.5, colony=begin("nucleus", drawn=5.0))
    assert found.brood_box.chance == 1.0
    low, _, high = ((d - CAME).days for d in found.brood_box.when)
    assert low >= 3
    assert high <= 20
    assert found.super_box.when[1] > found.brood_box.when[1]
    assert found.verdict == "honey likely"


# Properties


@given(st.floats(-1, 4), st.floats(0, 2), st.sampled_from(sorted(KINDS)))
def test_a_stronger_flow_never_fills_later(gain, more, kind):
    poor, rich = read(gain, colony=begin(kind)), read(gain + more, colony=begin(kind))
    for name in ("brood_box", "super_box"):
        less, better = getattr(poor, name), getattr(rich, name)
        assert better.chance >= less.chance
        if less.chance == 1.0:
            assert better.when[1] <= less.when[1]


@given(st.sampled_from(sorted(KINDS)), st.integers(0, 200))
def test_a_new_colony_is_never_more_than_a_full_one(kind, age):
    course = strength(kind, np.array([age]), 20, NUMBERS, np.random.default_rng(2))
    assert ((course > 0) & (course <= 1)).all()


def test_equal_seeds_give_equal_answers():
    assert read(1.2) == read(1.2)
