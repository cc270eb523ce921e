"""Water in honey: the published table, a formula from memory as independent check, properties."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast.advice.refractometer import at_20_degrees, read_water, water_content
from flowcast.errors import InputError
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()

# International Honey Commission / AOAC 969.38, table of refractive index at 20 °C (READ); the rows
# between those that numbers.toml holds.
BETWEEN = {
    13.4: 1.5033,
    14.0: 1.5018,
    14.6: 1.5002,
    15.6: 1.4976,
    16.4: 1.4956,
    19.4: 1.4880,
    20.6: 1.4850,
    21.6: 1.4825,
    22.4: 1.4805,
}


def wedmore(index):
    """Wedmore 1955, from memory: an equation for the whole table. [%]"""
    return (-0.2681 - math.log10(index - 1)) / 0.002243


# Published values


@pytest.mark.parametrize(
    "water, index",
    [
        (13.0, 1.5044),
        (15.0, 1.4992),  # also C43 of the check values
        (16.0, 1.4966),
        (19.0, 1.4890),  # C44
        (20.0, 1.4865),  # C42
        (21.0, 1.4840),
        (22.0, 1.4815),
        *BETWEEN.items(),
    ],
)
def test_rows_of_the_published_table(water, index):
    assert water_content(index, NUMBERS) == pytest.approx(water, abs=0.05)


def test_the_whole_table_against_an_equation_from_memory():
    for k in range(14740, 15045):
        index = k / 10000
        assert water_content(index, NUMBERS) == pytest.approx(wedmore(index), abs=0.1), index


# Hand-worked


def test_warm_honey_reads_too_wet_and_is_corrected():
    # AOAC 969.38 (MEMORY): 0.00023 a degree. 10 °C above, 1.4867 stands for 1.4890, which is 19.0 %.
    assert at_20_degrees(1.4867, 30.0, NUMBERS) == pytest.approx(1.4890)
    assert read_water(1.4867, 30.0, NUMBERS).water_pct == pytest.approx(19.0)
    assert read_water(1.4867, None, NUMBERS).water_pct == pytest.approx(19.92)


def test_a_scale_in_per_cent_is_corrected_the_same_way():
    # 20.0 % is 1.4865; at 30 °C that stands for 1.4888, 0.08 % above the row of 19 %.
    assert read_water(20.0, 30.0, NUMBERS).water_pct == pytest.approx(19.08)
    assert read_water(17.3, None, NUMBERS).water_pct == pytest.approx(17.3)


@pytest.mark.parametrize(
    "water, verdict",
    [
        (17.0, "safe"),
        (18.0, "safe"),
        (18.1, "may ferment"),
        (20.0, "may ferment"),
        (20.1, "ling only"),
        (23.0, "ling only"),
        (23.2, "too wet"),
    ],
)
def test_verdicts_at_the_limits(water, verdict):
    """18 % safe by common practice; 20 and 23 % by Codex CXS 12-1981 (READ2)."""
    assert read_water(water, None, NUMBERS).verdict == verdict


@pytest.mark.parametrize("reading", [0, 1.0, 5, 45, 81.5, -3, 1.42, 1.55])
def test_what_is_no_reading_of_honey_is_said_with_a_cure(reading):
    with pytest.raises(InputError, match="refractometer"):
        read_water(reading, None, NUMBERS)


@pytest.mark.parametrize("temp", [5, 41, -10])
def test_a_temperature_beyond_the_correction_is_refused(temp):
    with pytest.raises(InputError, match="near 20"):
        read_water(1.49, temp, NUMBERS)


# Properties


@given(st.floats(1.474, 1.5044), st.floats(0, 0.002))
def test_a_higher_index_is_less_water(index, more):
    assert water_content(index + more, NUMBERS) <= water_content(index, NUMBERS) + 1e-9


@given(st.floats(13.5, 24.5))
def test_per_cent_goes_to_index_and_back(water):
    assert read_water(water, None, NUMBERS).water_pct == pytest.approx(water)
