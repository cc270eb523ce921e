"""Stage rates and survival of the beetle against published figures.

Keys: MP11 Meikle and Patt 2011 (abstract); BE14 Bernier, Fournier and Giovenazzo 2014 (abstract);
GF07 de Guzman and Frake 2007 (abstract); NJ Noor-ul-Ane and Jung (abstract); EL04 Ellis et al.
(USDA-ARS abstract); ARS USDA Baton Rouge page; BA Australian bee biosecurity page. READ: seen in the
source's own text, MEMORY: from memory, ASSUMPTION: ours.
"""

import numpy as np
import pytest
from climates import steady
from hypothesis import given
from hypothesis import strategies as st

from flowcast.beetle import Drivers, draw_traits, typical_traits
from flowcast.beetle.course import breeding_weather
from flowcast.beetle.stages import (
    adult_life,
    bare_hatch,
    egg_days,
    generation_days,
    larva_days,
    soil_rate,
    soil_survival,
    water_survival,
)
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
ONE = typical_traits(NUMBERS)


def egg_h(temp_c):
    return 24 * float(egg_days(temp_c, ONE.egg_k, NUMBERS)[0])


def larva_d(temp_c):
    return float(larva_days(np.array([temp_c]), NUMBERS)[0])


def soil_d(temp_c):
    return 1.0 / float(soil_rate(np.array([temp_c]), ONE, NUMBERS)[0])


# Published values


def test_egg_hatch():
    assert egg_h(21.0) == pytest.approx(62.1, abs=3)  # MP11 READ: 61 h at 21 °C
    assert egg_h(35.0) < 22.0  # MP11 READ: under 22 h at 35 °C
    assert np.isinf(egg_h(13.5))  # MP11 READ: least temperature 13.5 °C
    # GF07 READ: about 3 d at 24 to 28 °C in daily looks, twice the quick end; the draws' other end.
    slow = float(egg_days(26.0, np.array([NUMBERS["beetle.egg_k_high_cd"]]), NUMBERS)[0])
    assert slow == pytest.approx(3.0, abs=0.5)


def test_larva_to_peak_weight():
    assert larva_d(21.0) == pytest.approx(17.0, abs=1)  # MP11 READ
    assert larva_d(35.0) < 8.0  # MP11 READ
    assert np.isinf(larva_d(10.0))  # MP11 READ: least temperature of larva and pupa 10 °C


@pytest.mark.parametrize(
    "temp_c, low, high",
    [
        (21.0, 32.7 * 0.92, 32.7 * 1.08),  # MP11 READ 32.7 d; fitted to, so within its error of 8 %
        (35.0, 14.3, 15.3),  # MP11 READ 14.8 d
        (16.0, 73.5 * 0.85, 73.5 * 1.15),  # BE14 READ 69 to 78 d; below 20 °C the sources disagree
        (18.0, 47.0, 54.0),  # BE14 READ
        (20.0, 36.0, 39.0),  # BE14 READ
    ],
)
def test_soil_stage(temp_c, low, high):
    assert low <= soil_d(temp_c) <= high


def test_tables_that_were_not_fitted():
    # GF07 READ: first instar to adult 36.31 d in a room of 24 to 28 °C, 20.68 d at 34 °C.
    assert larva_d(26.0) + soil_d(26.0) == pytest.approx(36.31, abs=5)
    assert larva_d(34.0) + soil_d(34.0) == pytest.approx(20.68, rel=0.15)
    # NJ READ 20 d at 35 °C, ARS READ about 23 d: egg to adult.
    assert egg_h(35.0) / 24 + larva_d(35.0) + soil_d(35.0) == pytest.approx(23.0, abs=4)


def test_the_sources_disagree_below_20_degrees():
    """NJ READ: 53.9 d in all at 18.6 °C; BE14 READ: 47 to 54 d in the soil alone at 18 °C.

    The model stands with BE14, a third above NJ: the error that is stated for cool soil (30 %, and
    here a little more).
    """
    total = egg_h(18.6) / 24 + larva_d(18.6) + soil_d(18.6)
    assert 53.9 * 1.25 < total < 53.9 * 1.36


def test_cold_and_heat_and_drought_stop_it():
    at = np.array([10.0, 5.0])
    assert soil_rate(at, ONE, NUMBERS) == pytest.approx([0.0, 0.0])  # MP11, BE14 READ: 10 °C
    assert soil_survival(39.0, NUMBERS) == 0.0  # NJ READ: total mortality at 39 °C
    assert water_survival(0.0, ONE.water_knee, NUMBERS) == 0.0  # EL04 READ: 0 of 3000 from dry soil
    assert NUMBERS["beetle.soil_survival"] == pytest.approx(2746 / 3000, abs=0.005)  # EL04 READ


def test_hatch_by_humidity():
    assert bare_hatch(34.0, 50.0, NUMBERS) == 0.0  # BA READ: none at 30 °C at or below 34 %
    # Centre of 50 % MEMORY (Somerville 2003, Annand), width ASSUMPTION.
    assert bare_hatch(50.0, 50.0, NUMBERS) == pytest.approx(0.50)
    assert bare_hatch(75.0, 50.0, NUMBERS) == pytest.approx(0.993, abs=0.005)


def test_life_of_adults():
    assert adult_life([24.0, 35.0], NUMBERS) == pytest.approx([92.8, 11.6])  # MP11 READ
    assert adult_life(0.0, NUMBERS) == 180.0  # WOAH READ: at least 6 months


def test_a_generation():
    # Worked by hand on READ figures: 1.05 + 8.80 + 24.97 + 10 d, hive 32 °C, soil 25 °C.
    assert float(generation_days(25.0, ONE, NUMBERS)[0]) == pytest.approx(44.8, abs=0.2)


# Worked by hand (the product of the factors is an ASSUMPTION)


@pytest.mark.parametrize(
    "soil_c, water, humidity, dusk_c, expected",
    [
        (28, 0.8, 75, 24, 0.997),
        (24, 0.8, 75, 22, 0.766),
        (21, 0.8, 75, 20, 0.534),
        (18, 0.8, 70, 17, 0.185),
        (16, 0.8, 70, 15, 0.068),
        (28, 0.1, 40, 28, 0.140),
        (28, 0.0, 75, 24, 0.0),
        (12, 0.8, 75, 12, 0.0),
        (26, 0.8, 30, 24, 0.442),
    ],
)
def test_breeding_weather_of_a_day(soil_c, water, humidity, dusk_c, expected):
    day = steady(1, float(soil_c), water, float(humidity), float(dusk_c))
    assert float(breeding_weather(day, ONE, NUMBERS)[0][0]) == pytest.approx(expected, abs=0.002)


# Properties

SOIL = st.floats(-10, 45)
SHARE = st.floats(0, 1)


def breeding(soil_c, water, humidity, dusk_c):
    day = Drivers(*(np.array([float(v)]) for v in (soil_c, water, humidity, dusk_c, dusk_c)))
    return float(breeding_weather(day, ONE, NUMBERS)[0][0])


@given(SOIL, st.tuples(SHARE, SHARE), st.floats(0, 100), st.floats(-5, 40))
def test_more_water_up_to_field_capacity_is_never_worse(soil_c, waters, humidity, dusk_c):
    low, high = sorted(waters)
    assert breeding(soil_c, low, humidity, dusk_c) <= breeding(soil_c, high, humidity, dusk_c)


@given(SOIL, SHARE, st.tuples(st.floats(0, 100), st.floats(0, 100)), st.floats(-5, 40))
def test_damper_air_is_never_worse(soil_c, water, humidities, dusk_c):
    low, high = sorted(humidities)
    assert breeding(soil_c, water, low, dusk_c) <= breeding(soil_c, water, high, dusk_c) + 1e-12


@given(SOIL, st.floats(-0.5, 2), st.floats(0, 100), st.floats(-5, 40))
def test_a_day_lies_between_nothing_and_all(soil_c, water, humidity, dusk_c):
    assert 0.0 <= breeding(soil_c, water, humidity, dusk_c) <= 1.0


@given(st.integers(0, 2**31))
def test_draws_keep_the_soil_stage_where_it_was_measured(seed):
    drawn = draw_traits(NUMBERS, np.random.default_rng(seed), 400)
    length = 1.0 / soil_rate(24.0, drawn, NUMBERS)
    assert np.median(length) == pytest.approx(26.84, rel=0.05)  # the pin of the ranges
    assert drawn.soil_t0.min() >= 10.0
    assert drawn.soil_t0.max() <= 12.0


def test_no_range_is_no_spread():
    drawn = draw_traits(NUMBERS, np.random.default_rng(1), 50, soil="loam", narrow=0.0)
    for name in ("egg_k", "soil_k", "soil_t0", "hive_c", "inflow", "water_knee", "prelay_d"):
        assert np.ptp(getattr(drawn, name)) == pytest.approx(0.0, abs=1e-9), name
        assert getattr(drawn, name)[0] == pytest.approx(getattr(ONE, name)[0], rel=1e-9), name
