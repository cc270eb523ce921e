"""Foraging hours: the responses, what is lost to what, and local days. Invented weather."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from measure_foraging_speed import LIMIT, invented_weather, measure

from flowcast import foraging, weather
from flowcast.errors import InputError, MissingColumnError
from flowcast.numbers import load_numbers
from flowcast.tables import Place

NUMBERS = load_numbers()
BERLIN = Place(52.52, 13.41, 40, "Europe/Berlin", (1, 1))
FINE = {
    "temp_c": 25.0,
    "ghi_wm2": 700.0,
    "wind_ms": 2.0,
    "precip_mm": 0.0,
    "rh_pct": 60.0,
    "clear_ghi_wm2": 750.0,
}


def hour(**changes):
    """What one hour is worth, fine but for the changes."""
    index = pd.DatetimeIndex(["2024-06-01 12:00"], tz="UTC")
    return foraging.foraging_hours(pd.DataFrame(FINE | changes, index=index), NUMBERS).iloc[0]


def temperature(temp_c):
    return foraging.temperature_response(temp_c, NUMBERS)


# Published values


def test_flight_rises_with_temperature_from_12_to_20():
    # Burrill and Dietz 1981 (Apidologie 12:319, as the COLOSS BEEBOOK reports it): normally absent
    # below 12 °C, rising over 12 to 20 °C. An order, not a value.
    rising = temperature(np.arange(12.0, 20.1, 0.5))
    assert (np.diff(rising) > 0).all()
    assert temperature(8.0) == 0
    assert temperature(8.0) < temperature(14.0)
    assert temperature(12.0) <= 0.15


def test_flight_rises_to_32_and_falls_beyond():
    # Extension page: increases to about 32 °C, then bees turn to cooling; few forage beyond 43 °C
    # (reviews, from memory). An order.
    assert temperature(32.0) == 1
    falling = temperature(np.arange(32.0, 43.1, 0.5))
    assert (np.diff(falling) < 0).all()
    assert temperature(43.0) == 0


def test_light_is_full_at_300():
    # Vicens and Bosch 2000 (Environ. Entomol. 29:413): full at 12 to 14 °C and 300 W/m². The light
    # is the default; the temperature is that of Spanish apple, which a yard may set.
    assert foraging.light_response(300.0, NUMBERS) == 1
    assert foraging.light_response(200.0, NUMBERS) < 1
    apple = NUMBERS.with_overrides({"foraging.temp_full_c": 14.0})
    assert foraging.temperature_response(14.0, apple) == 1
    assert temperature(14.0) > temperature(12.0) > 0


def test_light_of_the_brightest_flight_is_full():
    # Burrill and Dietz 1981: activity rises up to 0.66 langley a minute = 460.5 W/m² (a langley is
    # 4.184 J/cm²).
    ghi = 0.66 * 41840 / 60
    assert ghi == pytest.approx(460.5, abs=1)
    assert foraging.light_response(ghi, NUMBERS) == 1


def test_visits_start_at_100_watts():
    # Litchi in India: first visits at 10 mW/cm² = 100 W/m² (reported second hand): some flight.
    assert 0 < foraging.light_response(100.0, NUMBERS) < 0.5


def test_wind_below_4_5_does_not_matter():
    # Red clover fields: no effect below 4.5 m/s at flight height. Flight stops at 9 to 11 m/s.
    assert foraging.wind_response(4.5, 1.0, NUMBERS) >= 0.9
    assert foraging.wind_response(11.0, 1.0, NUMBERS) == 0
    assert 0 < foraging.wind_response(7.0, 1.0, NUMBERS) < 1


def test_damp_air_is_gentle():
    # Expert judgement, no source: damp mornings still bring nectar; and fewer visits above 81 to
    # 90 % (Rio de Janeiro; Spain).
    damp = foraging.humidity_response(np.array([60.0, 85.0, 90.0, 95.0, 100.0]), NUMBERS)
    assert damp == pytest.approx([1, 1, 0.75, 0.5, 0.5], abs=1e-12)


# Worked by hand


def test_knots_of_the_responses():
    # The synthesis: 0 at 10, 0.1 at 12, 1 at 20 to 32, 0.5 at 37, 0 at 43 °C; rain 1, 0.5 at
    # 0.25 mm, 0 at 1 mm; and half-way between.
    temps = temperature(np.array([10, 11, 12, 16, 20, 26, 32, 34.5, 37, 40, 43]))
    knots = [0, 0.05, 0.1, 0.55, 1, 1, 1, 0.75, 0.5, 0.25, 0]
    assert temps == pytest.approx(knots, abs=1e-12)
    rain = foraging.rain_response(np.array([0, 0.125, 0.25, 0.625, 1, 9]), NUMBERS)
    assert rain == pytest.approx([1, 0.75, 0.5, 0.25, 0, 0], abs=1e-12)
    light = foraging.light_response(np.array([0, 20, 160, 300, 900]), NUMBERS)
    assert light == pytest.approx([0, 0, 0.5, 1, 1], abs=1e-12)


def test_a_breezy_coast_still_has_bees_flying():
    # 6 m/s at 10 m is 4.2 at flight height in a yard of the usual shelter, 0.7; in the open it is 6:
    # (10 - 6) / (10 - 4.5) = 0.727.
    assert foraging.wind_response(6.0, 0.7, NUMBERS) == 1
    assert foraging.wind_response(6.0, 1.0, NUMBERS) == pytest.approx(4 / 5.5, abs=1e-12)
    assert hour(wind_ms=6.0)["suitability"] == 1
    index = pd.DatetimeIndex(["2024-06-01 12:00"], tz="UTC")
    windy = pd.DataFrame(FINE | {"wind_ms": 6.0}, index=index)
    bare = foraging.foraging_hours(windy, NUMBERS, shelter=1.0).iloc[0]
    assert bare["lost_wind"] == pytest.approx(1.5 / 5.5, abs=1e-12)


def test_a_fine_hour_is_whole_and_a_night_hour_is_nothing():
    assert hour().tolist() == [1, 0, 0, 0, 0, 0, 0]
    assert hour(ghi_wm2=0.0, clear_ghi_wm2=0.0).tolist() == [0] * 7


# One factor alone takes the whole loss.
@pytest.mark.parametrize(
    ("factor", "changes", "left"),
    [
        ("cold", {"temp_c": 16.0}, 0.55),
        ("cold", {"temp_c": -5.0}, 0.0),
        ("heat", {"temp_c": 40.0}, 0.25),
        ("light", {"ghi_wm2": 160.0}, 0.5),
        ("rain", {"precip_mm": 0.25}, 0.5),
        ("wind", {"wind_ms": 7.25 / 0.7}, 0.5),
        ("humid", {"rh_pct": 100.0}, 0.5),
    ],
)
def test_one_factor_takes_the_loss(factor, changes, left):
    result = hour(**changes)
    assert result["suitability"] == pytest.approx(left, abs=1e-12)
    assert result[f"lost_{factor}"] == pytest.approx(1 - left, abs=1e-12)
    assert result.sum() == pytest.approx(1, abs=1e-12)


def test_two_factors_share_by_their_logarithms():
    # 16 °C (0.55) and 0.25 mm (0.5): 0.275 is left of 1; ln 0.55 : ln 0.5 = 0.598 : 0.693.
    result = hour(temp_c=16.0, precip_mm=0.25)
    assert result["suitability"] == pytest.approx(0.275, abs=1e-12)
    cold, rain = -np.log(0.55), -np.log(0.5)
    assert result["lost_cold"] == pytest.approx(0.725 * cold / (cold + rain), abs=1e-12)
    assert result["lost_rain"] == pytest.approx(0.725 * rain / (cold + rain), abs=1e-12)


def test_low_sun_is_no_loss_but_cloud_is():
    # At dusk a clear sky gives 160 W/m², worth 0.5; under cloud 90 W/m², worth 0.25.
    assert hour(clear_ghi_wm2=160.0, ghi_wm2=160.0)["lost_light"] == 0
    dull = hour(clear_ghi_wm2=160.0, ghi_wm2=90.0)
    assert dull[["suitability", "lost_light"]].tolist() == pytest.approx([0.25, 0.25], abs=1e-12)
    # Brighter than the clear-sky model, in high thin air: never more than it allows.
    assert hour(clear_ghi_wm2=160.0, ghi_wm2=400.0)["suitability"] == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("column", foraging.NEEDS)
def test_missing_weather_is_missing(column):
    assert hour(**{column: np.nan}).isna().all()


def test_a_missing_column_is_named():
    with pytest.raises(MissingColumnError, match="clear_ghi_wm2"):
        foraging.foraging_hours(invented_weather(5).drop(columns="clear_ghi_wm2"), NUMBERS)


def test_a_yard_may_move_a_knot_only_so_far():
    with pytest.raises(InputError, match=r"foraging\.temp_full_c"):
        NUMBERS.with_overrides({"foraging.temp_full_c": 30.0})


def test_foraging_day_has_four_hours():
    fit = foraging.is_foraging_day([3.9, 4.0, np.nan], NUMBERS)
    assert fit.tolist() == [False, True, False]


def fine_days(first="2024-05-01", days=3, place=BERLIN):
    last = pd.Timestamp(first) + pd.Timedelta(days=days - 1)
    index = weather.hours_of_days(first, last, place.timezone)
    clear = weather.clear_sky_ghi(index, place).to_numpy()
    table = pd.DataFrame({k: v for k, v in FINE.items() if "ghi" not in k}, index=index)
    return table.assign(ghi_wm2=clear, clear_ghi_wm2=clear)


def test_a_day_is_the_sum_of_its_hours():
    hourly = fine_days(days=2)
    hourly.loc[hourly.index[:24], "precip_mm"] = 2.0
    days = foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS)
    hours = foraging.foraging_hours(hourly, NUMBERS)
    assert days["foraging_h"].iloc[0] == 0
    assert days["lost_rain_h"].iloc[0] == pytest.approx(hours["lost_rain"].sum(), abs=1e-9)
    assert days["foraging_h"].iloc[1] == pytest.approx(hours["suitability"].sum(), abs=1e-9)
    # 1 May at 52° N: 14.9 h of sun, the first and last with little light.
    assert 11 < days["foraging_h"].iloc[1] < 14


# Auckland is 12 h ahead, Los Angeles 8 h behind UTC; and days of 23 and 25 hours.
@pytest.mark.parametrize(
    ("zone", "longitude", "latitude", "first"),
    [
        ("Pacific/Auckland", 174.76, -36.85, "2024-09-28"),
        ("Pacific/Auckland", 174.76, -36.85, "2024-04-06"),
        ("America/Los_Angeles", -118.24, 34.05, "2024-03-09"),
        ("Australia/Brisbane", 153.03, -27.47, "2024-10-05"),
    ],
)
def test_a_daylight_lies_in_one_local_day(zone, longitude, latitude, first):
    place = Place(latitude, longitude, 10, zone, (1, 1))
    days = foraging.foraging_days(fine_days(first, 3, place), zone, NUMBERS)
    assert days.index.tolist() == list(pd.date_range(first, periods=3))
    # Neighbouring days in spring or autumn differ by minutes.
    assert np.ptp(days["foraging_h"]) < 0.2
    assert days["foraging_h"].min() > 9


def test_a_few_missing_hours_are_made_up_for():
    # Two of the bright hours: the rest, all worth their full light, stand for them.
    hourly = fine_days(days=1)
    whole = foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS).iloc[0]
    hourly.iloc[[10, 13], 0] = np.nan
    some = foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS).iloc[0]
    assert some["foraging_h"] == pytest.approx(whole["foraging_h"], abs=1e-9)
    hourly.iloc[11, 0] = np.nan
    assert foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS).isna().all(axis=None)


def test_missing_hours_at_night_cost_nothing():
    hourly = fine_days(days=1)
    whole = foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS)
    hourly.iloc[[0, 1, 2, 23], 0] = np.nan
    pd.testing.assert_frame_equal(foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS), whole)


def test_a_day_cut_short_is_missing():
    hourly = fine_days(days=2)
    days = foraging.foraging_days(hourly.iloc[:30], BERLIN.timezone, NUMBERS)
    assert days["foraging_h"].isna().tolist() == [False, True]
    empty = foraging.foraging_days(hourly.iloc[:0], BERLIN.timezone, NUMBERS)
    assert empty.shape == (0, 7)


# Properties

ROWS = 50


def weather_columns():
    def column(low, high):
        return arrays(float, ROWS, elements=st.floats(low, high))

    return st.fixed_dictionaries(
        {
            "temp_c": column(-30, 50),
            "ghi_wm2": column(0, 1200),
            "wind_ms": column(0, 40),
            "precip_mm": column(0, 30),
            "rh_pct": column(0, 100),
            "clear_ghi_wm2": column(0, 1100),
        }
    )


def table_of(columns):
    index = pd.date_range("2024-01-01", periods=ROWS, freq="h", tz="UTC")
    return pd.DataFrame(columns, index=index)


@settings(max_examples=60, deadline=None)
@given(columns=weather_columns())
def test_what_is_left_and_what_is_lost_are_what_was_there(columns):
    hours = foraging.foraging_hours(table_of(columns), NUMBERS)
    potential = foraging.light_response(columns["clear_ghi_wm2"], NUMBERS)
    assert hours.sum(axis=1).to_numpy() == pytest.approx(potential, abs=1e-12)
    assert (hours >= 0).all(axis=None)
    assert not np.signbit(hours.to_numpy()).any()
    assert (hours["suitability"] <= 1).all()


@settings(max_examples=40, deadline=None)
@given(columns=weather_columns(), more=st.floats(0, 5), cut=st.integers(1, ROWS - 1))
def test_worse_weather_is_never_better(columns, more, cut):
    before = foraging.foraging_hours(table_of(columns), NUMBERS)
    for name in ("wind_ms", "precip_mm", "rh_pct"):
        worse = foraging.foraging_hours(table_of(columns | {name: columns[name] + more}), NUMBERS)
        assert (worse["suitability"] <= before["suitability"] + 1e-12).all()
    part = foraging.foraging_hours(table_of(columns).iloc[:cut], NUMBERS)
    pd.testing.assert_frame_equal(part, before.iloc[:cut], check_freq=False)


@settings(max_examples=40, deadline=None)
@given(columns=weather_columns())
def test_suitability_is_the_product_of_the_responses(columns):
    # The plain product over each column, against the blocks and shortcuts of foraging_hours.
    light = np.minimum(
        foraging.light_response(columns["ghi_wm2"], NUMBERS),
        foraging.light_response(columns["clear_ghi_wm2"], NUMBERS),
    )
    product = (
        light
        * foraging.temperature_response(columns["temp_c"], NUMBERS)
        * foraging.wind_response(columns["wind_ms"], NUMBERS["foraging.shelter"], NUMBERS)
        * foraging.rain_response(columns["precip_mm"], NUMBERS)
        * foraging.humidity_response(columns["rh_pct"], NUMBERS)
    )
    hours = foraging.foraging_hours(table_of(columns), NUMBERS)
    assert hours["suitability"].to_numpy() == pytest.approx(product, abs=1e-12)


def test_blocks_leave_no_seam():
    # More rows than one block holds, once whole and once in two halves.
    hourly = invented_weather(foraging.BLOCK + 500)
    whole = foraging.foraging_hours(hourly, NUMBERS)
    halves = [foraging.foraging_hours(part, NUMBERS) for part in (hourly[:9000], hourly[9000:])]
    pd.testing.assert_frame_equal(whole, pd.concat(halves), check_freq=False)


def test_thirty_years_cost_little_more_than_a_copy():
    # Wanted: at most 30 copies of the six columns; the best of ten tries, for others may be at work.
    ratios = (forage_s / copy_s for copy_s, forage_s in (measure() for _ in range(10)))
    assert any(ratio < LIMIT for ratio in ratios)


# Recovery


def test_a_lost_factor_is_told_from_the_days():
    # Thirty fine days; on ten of them it blows from 9 to 15 local time: the loss is there, to wind
    # alone, on those days alone.
    hourly = fine_days("2024-05-01", 30)
    local = hourly.index.tz_convert(BERLIN.timezone)
    blown = (local.day <= 10) & (local.hour >= 9) & (local.hour < 15)
    hourly.loc[blown, "wind_ms"] = 12.0
    days = foraging.foraging_days(hourly, BERLIN.timezone, NUMBERS)
    others = days.filter(like="lost").drop(columns="lost_wind_h")
    assert others.max().max() < 1e-9
    left = foraging.wind_response(12.0, NUMBERS["foraging.shelter"], NUMBERS)
    lost = days["lost_wind_h"].to_numpy()
    assert lost[:10] == pytest.approx(np.full(10, 6 * (1 - left)), abs=1e-9)
    assert lost[10:].max() < 1e-9
