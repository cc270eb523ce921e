"""Kinds of day: the bounds of the trade's words (common practice, no source)."""

import numpy as np
import pytest

from flowcast.flow.kinds import kinds_of_day
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()


@pytest.mark.parametrize(
    "gain, hours, usual, kind",
    [
        (-0.1, 0.0, 0.2, "resting"),
        (-0.3, 0.0, 8.0, "rained off"),
        (-0.3, 6.0, 8.0, "loss"),
        (0.0, 6.0, 8.0, "trickle"),
        (0.49, 6.0, 8.0, "trickle"),
        (0.5, 6.0, 8.0, "moderate"),
        (2.0, 6.0, 8.0, "strong"),
        (5.0, 6.0, 8.0, "exceptional"),
        (np.nan, 6.0, 8.0, ""),
    ],
)
def test_kind_of_day(gain, hours, usual, kind):
    found = kinds_of_day(np.array([gain]), np.array([hours]), np.array([usual]), NUMBERS)
    assert found.tolist() == [kind]
