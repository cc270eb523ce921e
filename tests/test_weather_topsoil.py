"""Top-soil water, dusk temperature, ground warmth, and the runs of weather ahead."""

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from flowcast import weather
from flowcast.numbers import load_numbers
from flowcast.tables import Place

NUMBERS = load_numbers()
ALL_FROM_TOP = NUMBERS.with_overrides({"topsoil.draw_share": 1.0})

# Published values


@pytest.mark.parametrize("soil, expected", [("loam", 24.0), ("sand", 11.65)])
def test_water_that_can_evaporate(soil, expected):
    # FAO-56 eq. 73 (MEMORY) on the New Mexico soil table (READ): TEW of 0.10 m.
    assert weather.evaporable_water(soil, NUMBERS) == pytest.approx(expected, abs=0.1)


def test_a_mean_of_11_days_lags_a_ramp_by_5():
    # Arithmetic; the 11-day mean of air is the older form of the same soil temperature (Zheng et al.
    # 1993, abstract READ). The recursion lags a ramp by 1 / 0.25 - 1 = 3 days.
    ramp = np.arange(100.0)
    mean = pd.Series(ramp).rolling(11).mean().to_numpy()
    assert ramp[-1] - mean[-1] == 5.0
    soil = weather.soil_temperature(ramp, NUMBERS)
    assert ramp[-1] - soil[-1] == pytest.approx(3.0, abs=0.01)


def sinusoid(day, depth_m, mean, swing, damping_m, coldest):
    """Soil temperature at a depth (Oklahoma State soil physics page after Hillel 1982, READ)."""
    lag = depth_m / damping_m
    return mean + swing * np.exp(-lag) * np.sin(2 * np.pi * (day - coldest) / 365 - lag - np.pi / 2)


def test_the_recursion_agrees_with_a_damped_yearly_wave():
    """Annual damping depth 1.80 m, Dutch grassland (Jacobs et al. 2011, READ): at 0.10 m the wave keeps
    0.946 of its swing and lags by 3.2 d. The recursion keeps all of it within 5 % and lags by 3 d."""
    at = [sinusoid(d, 0.10, 15, 10, 1.80, 20) for d in (20, 202.5)]
    assert at == pytest.approx([5.55, 24.45], abs=0.01)
    day = np.arange(3 * 365)
    soil = weather.soil_temperature(sinusoid(day, 0.0, 15, 10, 1.80, 20), NUMBERS)[-365:]
    reference = sinusoid(day, 0.10, 15, 10, 1.80, 20)[-365:]
    assert np.ptp(soil) == pytest.approx(np.ptp(reference), rel=0.06)
    assert abs(int(soil.argmax()) - int(reference.argmax())) <= 1
    assert np.abs(soil - reference).max() < 0.7


def test_open_ground_is_a_degree_warmer_over_the_year():
    # US Soil Taxonomy's rule for the mean annual soil temperature: air + 1 °C (MEMORY). Yearly mean
    # radiation of temperate places 110 to 190 W/m² (MEMORY).
    for mean in (110.0, 190.0):
        assert 0.6 < weather.ground_warmth(10.0, mean, NUMBERS) - 10.0 < 1.5


# Worked by hand


def test_a_loam_dries_by_hand():
    """Loam: field 0.311, wilting 0.142, floor 0.071, all of the evapotranspiration from the top.

    At field capacity 24 mm can evaporate, the upper half in full: after a day of 4 mm theta is 0.271.
    """
    dried = weather.top_soil_water([0.0] * 4, [4.0] * 4, "loam", ALL_FROM_TOP, start=1.0)
    theta = [0.311]
    for _ in range(4):
        eased = min((theta[-1] - 0.071) / 0.12, 1.0)
        theta.append(theta[-1] - 0.04 * eased)
    assert theta[1] == pytest.approx(0.271)
    assert dried == pytest.approx([(t - 0.142) / 0.169 for t in theta[1:]], abs=1e-9)


def test_half_of_what_stands_above_field_capacity_drains_in_a_day():
    # 10 mm on loam at field capacity: theta 0.411, a half of 0.1 drains: 0.361, a share of 1.296.
    wet = weather.top_soil_water([10.0], [0.0], "loam", NUMBERS, start=1.0)
    assert wet == pytest.approx([(0.361 - 0.142) / 0.169], abs=1e-9)
    # 60 mm overflow at saturation 0.474; of clay a quarter drains, 0.1 x 0.524 ...
    full = weather.top_soil_water([60.0], [0.0], "loam", NUMBERS, start=1.0)
    assert full == pytest.approx([(0.474 - 0.5 * 0.163 - 0.142) / 0.169], abs=1e-9)


def test_half_of_the_use_comes_from_below():
    one = weather.top_soil_water([0.0], [4.0], "loam", NUMBERS, start=1.0)
    assert one == pytest.approx([(0.291 - 0.142) / 0.169], abs=1e-9)


def test_a_services_moisture_is_taken_where_it_is_known():
    # 0.249 lies half way between the service's own wilting point 0.151 and field capacity 0.347.
    known = weather.top_soil_water(
        [0.0, 0.0], [0.0, 0.0], "sand", NUMBERS, start=1.0, moisture=[0.249, np.nan]
    )
    assert known == pytest.approx([0.5, 0.5], abs=1e-9)


def test_watered_ground_does_not_dry():
    dry = weather.top_soil_water([0.0] * 60, [6.0] * 60, "sand", NUMBERS)
    watered = weather.top_soil_water([0.0] * 60, [6.0] * 60, "sand", NUMBERS, irrigated=True)
    assert dry[-1] < 0 < 0.6 - 1e-9 <= watered.min()


def test_dusk_is_between_the_stamps_about_sunset():
    # Vienna at the equinox: the sun sets 6 h after solar noon, which is at about 11:02 UTC (12 h less
    # 15.3 / 15 h, and the equation of time of +7 min): 17:05 UTC, worked by hand.
    place = Place(48.2, 15.3, 200, "Europe/Vienna", (1, 1))
    stamps = pd.date_range("2024-03-19 23:00", "2024-03-21 23:00", freq="h", tz="UTC")
    temp = pd.Series(stamps.hour.to_numpy(float), stamps)
    dusk = weather.dusk_temperature(temp, pd.DatetimeIndex(["2024-03-20"]), place)
    assert dusk.iloc[0] == pytest.approx(17.1, abs=0.15)


# Properties

RAIN = arrays(float, 40, elements=st.floats(0, 60))
USE = arrays(float, 40, elements=st.floats(0, 9))
KINDS = st.sampled_from(weather.SOILS)


@given(RAIN, USE, KINDS, st.floats(-0.3, 1.5), st.integers(1, 39))
def test_the_top_neither_overflows_nor_looks_ahead(rain, use, soil, start, cut):
    water = weather.top_soil_water(rain, use, soil, NUMBERS, start=start)
    names = ("field", "wilting", "full")
    field, wilting, full = (NUMBERS[f"topsoil.{n}_{soil}"] for n in names)
    assert (water <= (full - wilting) / (field - wilting) + 1e-9).all()
    assert (water >= (0.5 * wilting - wilting) / (field - wilting) - 1e-9).all()
    first = weather.top_soil_water(rain[:cut], use[:cut], soil, NUMBERS, start=start)
    assert first == pytest.approx(water[:cut])


@given(RAIN, RAIN, USE, KINDS, st.floats(0, 1))
def test_runs_side_by_side_are_the_same_as_one_by_one(rain, other, use, soil, start):
    both = np.array([rain, other])
    together = weather.top_soil_water(both, [use, use], soil, NUMBERS, start=start)
    for row, own in zip(together, both, strict=True):
        assert row == pytest.approx(weather.top_soil_water(own, use, soil, NUMBERS, start=start))


@given(RAIN, USE, KINDS, st.floats(0, 20))
def test_more_rain_never_dries_the_top(rain, use, soil, more):
    less = weather.top_soil_water(rain, use, soil, NUMBERS)
    assert (weather.top_soil_water(rain + more, use, soil, NUMBERS) >= less - 1e-9).all()


# The runs of weather ahead


@pytest.fixture(scope="module")
def daily():
    place = Place(48.6, 15.3, 300, "Europe/Vienna", (1, 1))
    whole = weather.complete_weather(plain_weather(), place, NUMBERS)
    frame = whole.daily.assign(foraging_h=5.0, open_h=4.0, degree_days_cd=3.0)
    return frame.loc[:"2024-05-31"]


def test_a_longer_look_ahead_begins_with_the_shorter_one(daily):
    """Whoever asks for fewer days gets the first days of the same runs."""
    far = weather.past_years_ahead(daily, 60, NUMBERS)
    near = weather.past_years_ahead(daily, 45, NUMBERS)
    cut = far.first(45)
    assert cut.labels == near.labels
    assert cut.dates.equals(near.dates)
    for name, values in near.columns.items():
        assert np.array_equal(cut[name], values), name


def test_past_years_are_those_years(daily):
    ahead = weather.past_years_ahead(daily, 30, NUMBERS)
    run = ahead.labels.index("2023") + 1  # the starts are a few days early, on the date, and late
    assert ahead["temp_mean_c"][run] == pytest.approx(
        daily.loc["2023-06-01":"2023-06-30", "temp_mean_c"].to_numpy()
    )
