"""A file's clock against the sun."""

import numpy as np
import pandas as pd
import pytest

from flowcast.numbers import load_numbers
from flowcast.tables import Place
from flowcast.weather import clear_sky_ghi, hours_from_noon, summer_in_winter

NUMBERS = load_numbers()
NELSON = Place(-41.3, 173.0, 60.0, "Pacific/Auckland", (7, 1))
ARCTIC = Place(70.0, 25.0, 60.0, "Europe/Oslo", (1, 1))
INDEX = pd.date_range("2023-01-01", "2024-01-01", freq="h", tz="UTC")


def _light(place, late_h=0):
    light = clear_sky_ghi(INDEX, place) * np.random.default_rng(1).uniform(0.2, 1, len(INDEX))
    return pd.DataFrame({"ghi_wm2": light.to_numpy()}, index=INDEX + pd.Timedelta(hours=late_h))


def _warmth(place, late_h=0):
    # Warmest at 15:00 by the sun, worked by hand from the longitude; weather of days beside it.
    hour = INDEX.hour + place.longitude / 15
    wave = 10 + 4 * np.cos(2 * np.pi * (hour - 15) / 24)
    noise = np.random.default_rng(1).normal(0, 3, len(INDEX))
    return pd.DataFrame({"temp_c": wave + noise}, index=INDEX + pd.Timedelta(hours=late_h))


@pytest.mark.parametrize("place", [NELSON, ARCTIC])
@pytest.mark.parametrize("made", [_light, _warmth])
@pytest.mark.parametrize("late_h", [-2, 0, 1, 2])
def test_a_right_clock_or_one_of_summer_time_passes(place, made, late_h):
    assert hours_from_noon(made(place, late_h), place, NUMBERS) is None


@pytest.mark.parametrize("place", [NELSON, ARCTIC])
@pytest.mark.parametrize("made", [_light, _warmth])
@pytest.mark.parametrize("late_h", [-9, 7, 11])
def test_a_wrong_clock_is_told_with_its_hours(place, made, late_h):
    assert hours_from_noon(made(place, late_h), place, NUMBERS) == pytest.approx(late_h, abs=0.6)


def test_a_longitude_of_the_wrong_sign_is_told():
    # 90 degrees west taken for east is twelve hours, 15 degrees an hour.
    west, east = (Place(39.0, lon, 150.0, "UTC", (1, 1)) for lon in (-90.0, 90.0))
    assert abs(hours_from_noon(_light(west), east, NUMBERS)) == pytest.approx(12, abs=0.6)


def test_a_few_days_or_polar_night_tell_nothing():
    assert hours_from_noon(_light(NELSON, 11)[:100], NELSON, NUMBERS) is None
    dark = pd.DataFrame({"temp_c": np.random.default_rng(2).normal(-5, 3, 2400)}, INDEX[:2400])
    assert hours_from_noon(dark, ARCTIC, NUMBERS) is None


def _year(name, warmest_month, swing_c=8.0):
    """Days of a year with one wave of warmth; swing in degrees either way of the mean."""
    days = pd.date_range("2023-01-01", "2023-12-31")
    wave = np.cos(2 * np.pi * (days.dayofyear - 30.4 * (warmest_month - 0.5)) / 365)
    return pd.DataFrame({name: 14 + swing_c * wave}, index=days)


@pytest.mark.parametrize("name", ["temp_c", "temp_max_c"])
@pytest.mark.parametrize("place", [NELSON, ARCTIC])
def test_a_latitude_of_the_wrong_sign_is_told(name, place):
    # Summer is about July north of the equator, about January south of it; common knowledge.
    right, wrong = (7, 1) if place is ARCTIC else (1, 7)
    assert not summer_in_winter(_year(name, right), place, NUMBERS)
    assert summer_in_winter(_year(name, wrong), place, NUMBERS)


def test_near_the_equator_by_an_even_sea_or_from_half_a_year_nothing_is_told():
    tropics = Place(12.0, 77.0, 60.0, "UTC", (1, 1))
    assert not summer_in_winter(_year("temp_c", 1), tropics, NUMBERS)
    assert not summer_in_winter(_year("temp_c", 7, swing_c=1.0), NELSON, NUMBERS)
    assert not summer_in_winter(_year("temp_c", 7).loc["2023-03":"2023-11"], NELSON, NUMBERS)
    assert not summer_in_winter(pd.DataFrame(index=INDEX), NELSON, NUMBERS)
