"""Totals laid over their days: means by hand, what they tell in sum, and use learned from totals alone.

Every expected value is worked out here or follows from how the log was made; no outside source.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_flow_household import colony, some_days

from flowcast.flow.evened import Total, evened_out
from flowcast.flow.household import (
    Stock,
    drivers,
    fit_household,
    prior_household,
    step,
    use,
)
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
PLAIN = load_numbers({"flow.total_stray_kg": 0.0})
UNKNOWN = np.nan


def test_a_total_by_hand():
    # 2 kg lost over days 1 to 4 with an error of 0.4 kg: half a kilogram a day, off by 0.1.
    log = evened_out(np.full(6, UNKNOWN), [Total(1, 4, -2.0, 0.4)], PLAIN)
    assert log.gain_kg == pytest.approx([UNKNOWN, -0.5, -0.5, -0.5, -0.5, UNKNOWN], nan_ok=True)
    assert log.length.tolist() == [1, 4, 4, 4, 4, 1]
    assert log.var == pytest.approx([0, 0.01, 0.01, 0.01, 0.01, 0])
    assert log.mean([9, 1, 2, 3, 6, 9]).tolist() == [9, 3, 3, 3, 3, 9]


def test_two_hives_weighed_on_different_days_by_hand():
    # -1 kg a day over days 0 and 1, -2 kg a day over days 1 and 2: on day 1 both, at half the variance.
    log = evened_out(np.full(3, UNKNOWN), [Total(0, 2, -2.0, 0.2), Total(1, 2, -4.0, 0.4)], PLAIN)
    assert log.gain_kg.tolist() == [-1.0, -1.5, -2.0]
    assert log.var == pytest.approx([0.01, (0.01 + 0.04) / 4, 0.04])
    assert log.mean([1.0, 3.0, 7.0]) == pytest.approx([2.0, (2.0 + 5.0) / 2, 5.0])


def test_a_day_with_its_own_gain_keeps_it():
    gain = np.array([UNKNOWN, -0.3, UNKNOWN])
    log = evened_out(gain, [Total(0, 3, -6.0, 0.3)], NUMBERS)
    assert log.gain_kg.tolist() == [-2.0, -0.3, -2.0]
    assert log.length.tolist() == [3, 1, 3] and log.var[1] == 0
    assert log.mean([0.0, 5.0, 1.0]) == pytest.approx([2.0, 5.0, 2.0])


def test_without_totals_every_day_stays_as_it_is():
    gain = np.array([0.2, UNKNOWN, -0.1])
    log = evened_out(gain, [], NUMBERS)
    assert log.gain_kg == pytest.approx(gain, nan_ok=True)
    assert (log.over.toarray() == np.eye(3)).all() and log.length.tolist() == [1, 1, 1]


spans = st.lists(st.tuples(st.integers(0, 15), st.integers(2, 14), st.floats(-9, 9)), max_size=6)


@given(spans, st.sets(st.integers(0, 29)))
def test_means_are_means_and_one_total_keeps_its_kilograms(drawn, own):
    gain = np.full(30, UNKNOWN)
    gain[sorted(own)] = 0.1
    log = evened_out(gain, [Total(at, days, kg, 0.3) for at, days, kg in drawn], NUMBERS)
    assert log.mean(np.ones(30)) == pytest.approx(np.ones(30))
    assert (log.over.toarray() >= 0).all() and (log.var >= 0).all()
    for at, days, kg in drawn[:1]:
        alone = evened_out(np.full(30, UNKNOWN), [Total(at, days, kg, 0.3)], NUMBERS)
        assert np.nansum(alone.gain_kg) == pytest.approx(kg)


@pytest.mark.parametrize("days", [5, 14, 30])
def test_the_days_of_a_total_tell_together_no_more_than_it_does(days):
    # So many looks at one mean, each with the days' scatter and `length` times the variance: together
    # scatter / n + var, which is what the total itself would say.
    log = evened_out(np.full(days, UNKNOWN), [Total(0, days, -3.0, 0.5)], NUMBERS)
    scatter = NUMBERS["flow.idle_sd_kg"] ** 2
    each = scatter + log.length * log.var
    said = scatter / days + (0.5 / days) ** 2 + NUMBERS["flow.total_stray_kg"] ** 2
    assert 1 / (1 / each).sum() == pytest.approx(said)


def simulated(years=2, every=10, seed=3, hives=1):
    """A colony of known use, with flows in summer alone, weighed every so many days."""
    rng, n = np.random.default_rng(seed), 365 * years
    temp = 9 - 13 * np.cos(2 * np.pi * np.arange(n) / 365) + rng.normal(0, 3, n)
    hours = np.where((rng.random(n) < 0.3) | (temp < 9), 0.0, rng.uniform(3, 10, n))
    days = some_days(n, hours, temp)
    season = np.abs(np.arange(n) % 365 - 160) < 25
    intake = np.where((hours > 0) & season, rng.gamma(0.8, 1.5, n), 0.0)
    home = colony(0.06, 0.03, 0.3, 0.1, 0.3)
    chill, brooding = drivers(days, NUMBERS)
    gain, stock = np.empty(n), Stock(0.0, 0.0)
    for t in range(n):
        gain[t] = intake[t] - use(stock, chill[t], brooding[t], home.mean, NUMBERS)
        stock = step(stock, intake[t], NUMBERS)
    totals = [
        Total(at, every, gain[at : at + every].sum() + rng.normal(0, 0.2), 0.2)
        for hive in range(hives)
        for at in range(3 * hive, n - every, every)
    ]
    return days, gain, totals, home


def summer_use(home):
    """Of a dearth day in full brood. [kg]"""
    base, _, warm, *_ = home.mean
    return base + warm


@pytest.mark.parametrize(("every", "hives"), [(7, 1), (10, 2), (14, 1)])
def test_use_is_recovered_from_totals_alone(every, hives):
    days, _, totals, home = simulated(every=every, hives=hives)
    nothing = np.full(len(days), UNKNOWN)
    found = fit_household(nothing, days, NUMBERS, totals=totals)
    prior = prior_household(NUMBERS)
    assert summer_use(prior) < 0.26 < 0.36 == summer_use(home)
    # What they hide is taken to be a tenth of a kilogram on a day of flight, where it is nothing here.
    brings = NUMBERS["flow.total_barren_kg"]
    assert summer_use(home) - 0.03 < summer_use(found) < summer_use(home) + brings
    spread = [np.sqrt(one.cov[0, 0] + one.cov[2, 2] + 2 * one.cov[0, 2]) for one in (found, prior)]
    assert spread[0] < 0.5 * spread[1]


def test_winter_totals_say_what_a_cluster_eats():
    # Twenty weeks without flight on which a hive of twice the usual appetite loses 0.1 kg a day.
    days = some_days(140, foraging_h=0.0, temp_c=5.0)
    totals = [Total(at, 14, -1.4, 0.3) for at in range(0, 140, 14)]
    found = fit_household(np.full(140, UNKNOWN), days, NUMBERS, totals=totals)
    chill, brooding = drivers(days, NUMBERS)
    prior = prior_household(NUMBERS)
    told, thought = (
        use(Stock(0.0, 0.0), chill[0], brooding[0], home.mean, NUMBERS) for home in (found, prior)
    )
    assert thought < 0.065 and told + found.past[-1] == pytest.approx(0.1, abs=0.015)


def test_totals_of_a_flow_hardly_move_the_use():
    days = some_days(60)
    totals = [Total(at, 10, 12.0, 0.3) for at in range(0, 60, 10)]
    found = fit_household(np.full(60, UNKNOWN), days, NUMBERS, totals=totals)
    assert found.mean == pytest.approx(prior_household(NUMBERS).mean, abs=0.02)


def test_more_totals_leave_less_doubt():
    days, _, totals, _ = simulated()
    nothing = np.full(len(days), UNKNOWN)
    doubt = [
        np.trace(fit_household(nothing, days, NUMBERS, totals=some).cov[:3, :3])
        for some in (totals[:8], totals[:24], totals)
    ]
    assert doubt[0] > doubt[1] > doubt[2]


def test_a_total_that_reaches_into_days_without_weather_tells_nothing():
    days = some_days(40, foraging_h=0.0, temp_c=np.where(np.arange(40) == 12, UNKNOWN, 5.0))
    found = fit_household(np.full(40, UNKNOWN), days, NUMBERS, totals=[Total(5, 20, -9.0, 0.2)])
    assert found.mean.tolist() == prior_household(NUMBERS).mean.tolist()


@pytest.mark.parametrize("times", [2.0, 5.0])
def test_the_worse_the_weighings_the_more_doubt_is_left(times):
    days = some_days(140, foraging_h=0.0, temp_c=5.0)
    nothing, doubt = np.full(140, UNKNOWN), []
    for sd in (0.5, 0.5 * times):
        totals = [Total(at, 14, -1.4, sd) for at in range(0, 140, 14)]
        doubt.append(fit_household(nothing, days, NUMBERS, totals=totals).cov[0, 0])
    assert doubt[1] > 1.05 * doubt[0]
