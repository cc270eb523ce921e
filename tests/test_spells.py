"""Spells of days on which something holds."""

from itertools import pairwise

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from flowcast.spells import end_dates, first_ahead, spells, spells_each, start_dates


def days(text):
    return np.array([c == "x" for c in text])


# Worked by hand


def test_short_breaks_are_joined_and_short_spells_left_out():
    assert spells(days("xx.xx....x"), least=3, gap=1) == [(0, 4)]
    assert spells(days("xx..xx...x"), least=1, gap=1) == [(0, 1), (4, 5), (9, 9)]
    assert spells(days("...."), least=1, gap=5) == []


def test_the_first_spell_that_reaches_the_days_ahead():
    found = [(0, 2), (5, 9), (12, 13)]
    assert first_ahead(found, now=3, days=10) == (5, 9)
    assert first_ahead(found, now=9, days=10) == (5, 9)
    assert first_ahead(found, now=10, days=2) is None


def test_dates_of_quantiles():
    dates = pd.date_range("2024-05-01", periods=10)
    assert start_dates(np.array([-2, 0, 3]), dates)[0] == pd.Timestamp("2024-04-29")
    assert end_dates(np.array([4, 9, 9]), dates) == (pd.Timestamp("2024-05-05"), None, None)


# Properties


@given(arrays(bool, st.integers(1, 60)), st.integers(1, 8), st.integers(0, 5))
def test_spells_are_in_order_apart_and_long_enough(holds, least, gap):
    found = spells(holds, least, gap)
    for first, last in found:
        assert holds[first]
        assert holds[last]
        assert last - first + 1 >= least
    assert all(b[0] - a[1] > gap + 1 for a, b in pairwise(found))


@given(
    arrays(bool, st.tuples(st.integers(0, 6), st.integers(1, 30))),
    st.integers(1, 4),
    st.integers(0, 3),
)
def test_rows_have_spells_of_their_own(holds, least, gap):
    """Each row walked day by day, as the words of `spells` have it."""
    assert spells_each(holds, least, gap) == [walked(row, least, gap) for row in holds]


def walked(holds, least, gap):
    found = []
    for day in np.flatnonzero(holds).tolist():
        if found and day - found[-1][1] - 1 <= gap:
            found[-1] = (found[-1][0], day)
        else:
            found.append((day, day))
    return [(first, last) for first, last in found if last - first + 1 >= least]
