"""Soil temperature and soil water."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from flowcast import weather
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()


# Published values: the recursion of Zheng, Hunt and Running 1993 (Clim. Res. 2:183) in the form and
# with the constants of an open ecosystem model; each step worked by hand from them.


def test_bare_soil_follows_the_air():
    # From 15 °C under air of 25 °C: 17.50, 19.38, 20.78, 21.84, 22.63.
    soil = weather.soil_temperature([25.0] * 5, NUMBERS, start_c=15.0)
    assert soil == pytest.approx([17.50, 19.38, 20.78, 21.84, 22.63], abs=0.01)


def test_leaves_slow_warming_but_not_cooling():
    # Leaf area 1, k 0.5: 15 -> 16.52 under 25 °C; 20 -> 18.00 under 12 °C.
    shaded = NUMBERS.with_overrides({"soil.leaf_area": 1.0})
    assert weather.soil_temperature([25.0], shaded, start_c=15.0) == pytest.approx(
        [16.52], abs=0.01
    )
    assert weather.soil_temperature([12.0], shaded, start_c=20.0) == pytest.approx(
        [18.00], abs=0.01
    )


def test_dense_leaves_shade_no_more_than_half():
    # The same code floors the share at 0.5: 15 + 0.25 x 0.5 x 10.
    dense = NUMBERS.with_overrides({"soil.leaf_area": 5.0})
    assert weather.soil_temperature([25.0], dense, start_c=15.0) == pytest.approx([16.25], abs=1e-9)


def test_snow_keeps_the_soil_as_it_is():
    soil = weather.soil_temperature([25.0], NUMBERS, start_c=15.0, snow=[True])
    assert soil == pytest.approx([16.00], abs=0.01)


def test_plants_are_short_of_water_below_what_is_readily_available():
    # FAO-56 eq. 84: field capacity 0.32, wilting point 0.12, 0.8 m of roots, p 0.4: 160 mm in all,
    # 64 readily; with 96 mm gone Ks = (160 - 96) / (0.6 x 160) = 0.667.
    soil = NUMBERS.with_overrides({"soil.depletion_p": 0.4})
    assert weather.water_stress(1 - 96 / 160, soil) == pytest.approx(0.667, abs=1e-3)
    assert weather.water_stress(1 - 64 / 160, soil) == pytest.approx(1.0, abs=1e-9)


# Worked by hand

SANDBOX = {"soil.water_capacity": 0.2, "soil.root_depth_m": 0.5, "soil.depletion_p": 0.5}


def test_a_bucket_of_100_mm():
    # From 0.6: no rain, ET0 5 -> 0.55; rain 60 -> full; missing -> unchanged; then 10 mm a day.
    soil = NUMBERS.with_overrides(SANDBOX)
    frac = weather.soil_water([0, 60, np.nan, 0], [5, 5, 5, 10], soil, start_frac=0.6)
    assert frac == pytest.approx([0.55, 1.0, 1.0, 0.9], abs=1e-12)


def test_dry_soil_gives_less_each_day():
    # Below half full Ks = frac / 0.5: 0.25 loses 0.05 x 0.5, then 0.05 x 0.45.
    soil = NUMBERS.with_overrides(SANDBOX)
    frac = weather.soil_water([0, 0], [5, 5], soil, start_frac=0.25)
    assert frac == pytest.approx([0.225, 0.2025], abs=1e-12)


def test_soil_starts_where_the_numbers_say():
    dry = weather.soil_water([0.0], [0.0], NUMBERS)
    assert dry == pytest.approx([NUMBERS["soil.water_start_frac"]], abs=1e-12)
    assert len(weather.soil_water([], [], NUMBERS)) == 0
    assert weather.soil_water(np.zeros((3, 0)), np.zeros((3, 0)), NUMBERS).shape == (3, 0)


def test_missing_air_leaves_the_soil():
    soil = weather.soil_temperature([np.nan, 10.0, np.nan, 14.0], NUMBERS)
    assert soil == pytest.approx([np.nan, 10.0, 10.0, 11.0], abs=1e-12, nan_ok=True)


# Properties

DAYS = 40
rain_days = arrays(float, DAYS, elements=st.floats(0, 80) | st.just(0.0) | st.just(np.nan))
et_days = arrays(float, DAYS, elements=st.floats(0, 12) | st.just(np.nan))


@settings(max_examples=50, deadline=None)
@given(rain=rain_days, et0=et_days, start=st.floats(0, 1), cut=st.integers(1, DAYS))
def test_the_bucket_neither_overflows_nor_looks_ahead(rain, et0, start, cut):
    frac = weather.soil_water(rain, et0, NUMBERS, start)
    assert ((frac >= 0) & (frac <= 1)).all()
    assert np.array_equal(weather.soil_water(rain[:cut], et0[:cut], NUMBERS, start), frac[:cut])


@settings(max_examples=25, deadline=None)
@given(rain=rain_days, other=rain_days, et0=et_days, start=st.floats(0, 1))
def test_scenarios_side_by_side_are_the_same_as_one_by_one(rain, other, et0, start):
    together = weather.soil_water([rain, other], [et0, et0], NUMBERS, [start, 0.3])
    alone = [
        weather.soil_water(rain, et0, NUMBERS, start),
        weather.soil_water(other, et0, NUMBERS, 0.3),
    ]
    assert together == pytest.approx(np.array(alone), abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(rain=rain_days, et0=et_days, more=st.floats(0, 30))
def test_more_rain_never_dries(rain, et0, more):
    wetter = weather.soil_water(rain + more, et0, NUMBERS)
    assert (wetter >= weather.soil_water(rain, et0, NUMBERS) - 1e-12).all()


@settings(max_examples=25, deadline=None)
@given(air=arrays(float, DAYS, elements=st.floats(-30, 40)), cut=st.integers(1, DAYS))
def test_soil_stays_within_the_air_it_has_seen(air, cut):
    soil = weather.soil_temperature(air, NUMBERS)
    assert soil.min() >= air.min() - 1e-9
    assert soil.max() <= air.max() + 1e-9
    assert np.array_equal(weather.soil_temperature(air[:cut], NUMBERS), soil[:cut])


def test_twelve_years_take_no_time():
    # Wanted: 12 years of days within 50 ms.
    rng = np.random.default_rng(1)
    rain, et0 = rng.gamma(0.3, 8, 4383), rng.uniform(0, 6, 4383)
    runs = []
    for _ in range(5):
        begin = time.perf_counter()
        weather.soil_water(rain, et0, NUMBERS)
        runs.append(time.perf_counter() - begin)
    assert min(runs) < 0.05


# Recovery


def test_soil_forgets_its_start():
    # Time constant -1 / ln(0.75) = 3.48 days: after 30 days exp(-30 / 3.48) of 20 °C is 0.004 °C.
    air = 12 + 5 * np.sin(np.arange(30) / 5)
    cold = weather.soil_temperature(air, NUMBERS, start_c=0.0)
    warm = weather.soil_temperature(air, NUMBERS, start_c=20.0)
    assert warm[-1] - cold[-1] == pytest.approx(20 * 0.75**30, abs=1e-9)


def test_soil_lags_a_slow_course_by_its_time_constant():
    # A first-order filter lags a steady rise by (1 - rate) / rate = 3 days.
    soil = weather.soil_temperature(0.1 * np.arange(200), NUMBERS)
    assert soil[-1] == pytest.approx(0.1 * (199 - 3), abs=1e-6)
