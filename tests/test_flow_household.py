"""The gain equation: hand-worked days, published use, recovery of known coefficients."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.flow.days import Days
from flowcast.flow.household import (
    N_COEFFICIENTS,
    Stock,
    _smoothed,
    barren_share,
    drivers,
    fit_household,
    intake_of,
    level_memory,
    prior_household,
    recurring,
    step,
    use,
)
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()


def some_days(n, foraging_h=8.0, temp_c=20.0):
    """n like days; arrays may be given for hours and temperature."""
    full = np.full(n, 1.0)
    return Days(
        time=np.arange(n, dtype=float),
        season=np.zeros(n, int),
        season_day=np.arange(n, dtype=float) % 366,
        pheno_day=np.arange(n, dtype=float) % 366,
        foraging_h=full * foraging_h,
        temp_c=full * temp_c,
        month_temp_c=full * temp_c,
        soil_frac=full * 0.7,
    )


def colony(*mean):
    """A colony whose use is known, and strays nowhere."""
    prior = prior_household(NUMBERS)
    return replace(prior, mean=np.array(mean), cov=np.zeros_like(prior.cov))


def eaten_by(home, chill, brooding, draws=4000):
    """What such a colony may use in a day, drawn on season day 0. [kg]"""
    drawn = home.draw(draws, np.random.default_rng(1))
    coefficients, course, level = np.split(drawn, [N_COEFFICIENTS, -1], axis=1)
    month_c = NUMBERS["flow.brood_full_c"] if brooding else NUMBERS["flow.brood_from_c"]
    waves = recurring(some_days(1, temp_c=month_c), NUMBERS)[:, 0]
    still = waves[1] * level[:, 0]  # a cosine on day 0 is 1, times how far its use can stray
    return (
        use(Stock(0.5 * brooding, 0.0), chill, brooding, coefficients, NUMBERS)
        + course @ waves
        + still
    )


def test_winter_use_of_the_prior_holds_the_swedish_winter():
    # Norrstrom et al. 2021 (READ in the sheet): 0.039 +- 0.013 kg/d at a mean of 3.5 degC.
    prior = prior_household(NUMBERS)
    chill = (NUMBERS["flow.chill_below_c"] - 3.5) / 10
    mean = use(Stock(0.0, 0.0), chill, 0.0, prior.mean, NUMBERS)
    draws = eaten_by(prior, chill, 0.0)
    assert mean < 0.1
    assert np.quantile(draws, 0.1) < 0.039 < np.quantile(draws, 0.9)


def test_summer_dearth_use_of_the_prior_is_the_practitioners():
    # 0.1 to 0.5 kg/d (sheet 2.3, MEMORY), 0.3 to 0.9 full of brood (expert judgement, no source).
    prior = prior_household(NUMBERS)
    draws = eaten_by(prior, 0.0, 1.0)
    assert np.quantile(draws, 0.1) > 0.1
    assert np.quantile(draws, 0.9) < 0.9


def test_three_days_by_hand():
    # base .1, cold 0, warm 0, brood 0, rho .4; drying rate .5 (numbers.toml).
    # Day 1: brings 2 kg, nothing wet yet:  gain 2 - .1            = 1.9
    # Day 2: no flight; wet 2, dries .5*.4*2 = .4: gain -.1 - .4    = -.5
    # Day 3: no flight; wet 1, dries .2:           gain -.1 - .2    = -.3
    home = colony(0.1, 0, 0, 0, 0.4)
    intake, stocks = intake_of(np.array([1.9, -0.5, -0.3]), some_days(3), home)
    assert intake == pytest.approx([2.0, 0.0, 0.0], abs=1e-12)
    assert [s.wet for s in stocks] == pytest.approx([0.0, 2.0, 1.0], abs=1e-12)
    assert stocks[1].memory == pytest.approx(2 / NUMBERS["flow.memory_d"], abs=1e-12)


def test_a_day_without_flight_hands_no_intake_on():
    # base .1, brood 1: a flightless day that seems to bring .4 (gain .3 + .1) is error and leaves the
    # memory and the wet nectar at 0, so that the next day seems to bring .3 + .1 too, not more.
    home = colony(0.1, 0, 0, 1.0, 0.6)
    intake, stocks = intake_of(np.full(3, 0.3), some_days(3, foraging_h=0.0), home)
    assert intake == pytest.approx([0.4, 0.4, 0.4], abs=1e-12)
    assert all(s.memory == 0 and s.wet == 0 for s in stocks)


def test_use_that_feeds_itself_ends_with_the_flight_season():
    # Brood and drying that take all that comes in (brood + rho = 1) would hand a summer's intake on
    # for ever; 60 days without flight must leave nothing of it.
    home = colony(0.1, 0, 0, 0.3, 0.7)
    hours = np.r_[np.full(60, 8.0), np.zeros(60)]
    gain = np.r_[np.full(60, 1.0), np.full(60, -0.1)]
    intake, stocks = intake_of(gain, some_days(120, foraging_h=hours), home)
    assert intake[50] > 2
    assert stocks[-1].memory < 0.15 * stocks[60].memory  # (1 - 1/30)^60 = 0.13
    assert intake[-1] < 0.3 * stocks[60].memory


def test_missing_gain_is_missing_intake():
    home = prior_household(NUMBERS)
    intake, _ = intake_of(np.array([1.0, np.nan, 1.0]), some_days(3), home)
    assert np.isnan(intake[1])
    assert np.isfinite(intake[2])


@given(st.lists(st.floats(0, 6), min_size=1, max_size=60))
@settings(max_examples=40, deadline=None)
def test_water_that_comes_in_wet_leaves_in_the_end(intakes):
    # What is handed on never exceeds what came in, and without intake it all dries off.
    stock = Stock(0.0, 0.0)
    for intake in intakes:
        stock = step(stock, intake, NUMBERS)
    assert 0 <= stock.wet <= sum(intakes) + 1e-9
    for _ in range(60):
        stock = step(stock, 0.0, NUMBERS)
    assert stock.wet < 1e-9


def _simulated(n=730, seed=5):
    """A known colony: gains from known intake and coefficients, 40 % of days without flight."""
    rng = np.random.default_rng(seed)
    temp = 11 + 12 * np.sin(2 * np.pi * np.arange(n) / 365) + rng.normal(0, 3, n)
    hours = np.where((rng.random(n) < 0.4) | (temp < 8), 0.0, rng.uniform(3, 10, n))
    days = some_days(n, hours, temp)
    true = np.array([0.06, 0.03, 0.25, 0.12, 0.3])
    intake = np.where(hours > 0, rng.gamma(0.6, 1.0, n) * (temp > 12), 0.0)
    gain, stock = np.empty(n), Stock(0.0, 0.0)
    home = colony(*true)
    chill, brooding = drivers(days, NUMBERS)
    for t in range(n):
        gain[t] = intake[t] - use(stock, chill[t], brooding[t], true, NUMBERS)
        stock = step(stock, intake[t], NUMBERS)
    return days, gain + rng.normal(0, 0.05, n), intake, home


def test_known_use_is_recovered():
    days, gain, intake, home = _simulated()
    found = fit_household(gain, days, NUMBERS)
    # 0.05 kg of noise over some 300 idle days; the standard error says how near it must come.
    assert np.abs(found.mean - home.mean) == pytest.approx(np.zeros(5), abs=0.08)
    back, _ = intake_of(gain, days, found)
    assert np.mean(np.abs(back - intake)) < 0.1


def test_a_log_narrows_the_prior():
    days, gain, _, _ = _simulated()
    found = fit_household(gain, days, NUMBERS)
    assert (np.diag(found.cov) < np.diag(prior_household(NUMBERS).cov)).all()


def test_thirty_days_of_flow_hardly_move_the_prior():
    days = some_days(30)
    found = fit_household(np.full(30, 1.0), days, NUMBERS)
    assert found.mean == pytest.approx(prior_household(NUMBERS).mean, abs=0.01)


def test_no_known_day_leaves_the_prior():
    found = fit_household(np.full(30, np.nan), some_days(30), NUMBERS)
    assert found.mean == pytest.approx(prior_household(NUMBERS).mean, abs=1e-12)


def test_barren_share_by_hand():
    # One day, even odds before: 0.2 kg with error 0.1 and a mean of 1 kg of nectar. Barren: the normal
    # density of 2 sd, 0.05399 / 0.1 = 0.540. Bearing: exp(0.01 / 2 - 0.2) Phi(2 - 0.1) = 0.8228 x 0.9713
    # = 0.7992. Share .540 / 1.339 = 0.4032; as its own neighbour it is then the odds of the next round:
    # .4032 x .540 / (.4032 x .540 + .5968 x .7992) = 0.3134, and so .2357.
    given = {"flow.nectar_day_kg": 1.0, "flow.barren_kg": 0.0}
    share = barren_share(np.array([0.2]), np.array([0.1]), load_numbers(given))
    assert share == pytest.approx([0.2357], abs=2e-3)


def test_errors_about_nothing_are_barren_and_nectar_is_not():
    rng = np.random.default_rng(3)
    errors, sd = rng.normal(0, 0.07, 100), np.full(201, 0.07)
    share = barren_share(np.r_[errors, 0.3 + rng.exponential(1.0, 100), np.nan], sd, NUMBERS)
    assert np.mean(share[:90] > 0.5) > 0.97  # on both sides of 0
    assert share[110:-1].mean() < 0.1
    assert share[-1] == 0.0


@pytest.mark.filterwarnings("error")
def test_a_loss_beyond_all_reckoning_is_no_barren_day():
    """8 kg below nothing at an error of 0.07 kg is 115 of them: both densities are 0 in a float, below
    exp(-745). Neighbours are judged as if it were not there."""
    intake, sd = np.zeros(21), np.full(21, 0.07)
    plain = barren_share(intake, sd, NUMBERS)
    intake[10] = -8.0
    share = barren_share(intake, sd, NUMBERS)
    assert share[10] == 0.0
    assert np.delete(share, 10) == pytest.approx(np.delete(plain, 10), abs=0.01)


def test_noise_does_not_pass_for_a_hungrier_colony():
    # A dearth of flying days that lose 0.2 kg, weighed with an error of 0.1 kg: what seems to come in is
    # the little of a barren day, not what a colony as hungry as on its worst days would need.
    gain = -0.2 + np.random.default_rng(7).normal(0, 0.1, 400)
    days = some_days(400)
    intake, _ = intake_of(gain, days, fit_household(gain, days, NUMBERS))
    assert intake.mean() == pytest.approx(NUMBERS["flow.barren_kg"], abs=0.02)


def test_idle_days_without_warmth_teach_nothing():
    """A hole in the weather's warmth must not spoil what the other idle days tell."""
    days, gain, _, home = _simulated()
    temp = days.temp_c.copy()
    temp[::9] = np.nan
    found = fit_household(gain, replace(days, temp_c=temp), NUMBERS)
    assert np.abs(found.mean - home.mean) == pytest.approx(np.zeros(5), abs=0.08)
    assert np.isfinite(found.cov).all()


def test_a_small_colony_that_hardly_eats_is_believed():
    # Flying days on which the scale shows 0.02 kg lost, day after day: a steady phantom flow that just
    # feeds a full colony (0.25 kg and more by the prior) is the less likely reading.
    rng = np.random.default_rng(8)
    days = some_days(60)
    found = fit_household(-0.02 + rng.normal(0, 0.03, 60), days, NUMBERS)
    chill, brooding = drivers(days, NUMBERS)
    used = use(Stock(0.0, 0.0), chill, brooding, found.mean, NUMBERS) + found.over(days)
    assert used[-1] == pytest.approx(0.02, abs=0.06)


def test_the_smoother_is_the_normal_posterior_in_closed_form():
    # Coefficients and course b ~ N(m, V), level an AR(1) of stated sd: loss = X b + level + error is one
    # normal vector, and conditioning it by linear algebra must give what the state space gives.
    rng, n = np.random.default_rng(4), 50
    prior = prior_household(NUMBERS)
    stay = len(prior.cov) - 1
    design = np.vstack([rng.uniform(0.5, 2, (5, n)), rng.uniform(-1, 1, (stay - 5, n)), np.ones(n)])
    weight = rng.uniform(0.2, 1.0, n)
    loss = 0.3 * design[:5].sum(0) + rng.normal(0, 0.05, n)
    loss[[7, 8, 30]] = np.nan
    found = _smoothed(design, loss, weight, prior)
    seen = np.isfinite(loss)
    at = np.arange(n + 1)  # the last is the day after
    level = prior.cov[-1, -1] * level_memory(NUMBERS) ** np.abs(at[:, None] - at)
    views, before = design[:-1, seen].T, prior.cov[:-1, :-1]
    cov = views @ before @ views.T + level[:-1, :-1][np.ix_(seen, seen)]
    cov += np.diag(NUMBERS["flow.idle_sd_kg"] ** 2 / weight[seen])
    cross = np.vstack([before @ views.T, level[:, :-1][:, seen]])
    mean = np.r_[prior.states[:-1], np.zeros(n + 1)] + cross @ np.linalg.solve(
        cov, loss[seen] - views @ prior.states[:-1]
    )
    assert found.states[:-1] == pytest.approx(mean[:stay], abs=1e-6)
    assert found.past == pytest.approx(mean[stay:-1] + mean[5:stay] @ design[5:stay], abs=1e-6)
    assert found.level == pytest.approx(mean[-1], abs=1e-6)


def test_a_level_that_drifts_is_recovered():
    # A year in which the colony eats 0.08 kg a day less for its first half and more for its second.
    days, gain, _, _ = _simulated(365, seed=9)
    level = 0.08 * np.sin(2 * np.pi * (np.arange(365) - 182) / 365)
    found = fit_household(gain - level, days, NUMBERS)
    assert np.corrcoef(found.past, level)[0, 1] > 0.7
    assert found.past[60:120].mean() < -0.02 < 0.02 < found.past[250:310].mean()
    assert fit_household(gain, days, NUMBERS).past.std() < 0.5 * found.past.std()


def test_a_full_hive_that_stands_still_is_no_hive_that_eats_nothing():
    # A colony that uses 0.4 kg a day through a dearth, then 30 days of a flow it has no comb for: it
    # brings in what it eats and neither gains nor loses. Taken for barren, these days say it eats
    # next to nothing; left out they leave its use where it was.
    days = some_days(80)
    rng = np.random.default_rng(4)
    gain = np.where(np.arange(80) < 50, -0.4, 0.0) + rng.normal(0, 0.05, 80)
    full = np.arange(80) >= 50

    def use_now(**more):
        home = fit_household(gain, days, NUMBERS, **more)
        return use(Stock(0.0, 0.0), 0.0, 1.0, home.mean, NUMBERS) + home.level

    alone = fit_household(np.where(full, np.nan, gain), days, NUMBERS)
    left = use(Stock(0.0, 0.0), 0.0, 1.0, alone.mean, NUMBERS) + alone.level
    assert use_now(full=full) == pytest.approx(left, abs=0.02)
    assert use_now(full=full) > 0.35
    assert use_now() < 0.2


def test_what_a_full_hive_eats_without_flight_counts():
    # Twenty days without flight on which it loses 0.8 kg, full or not: the same use.
    days = some_days(60, foraging_h=np.where(np.arange(60) < 40, 8.0, 0.0))
    gain = np.where(np.arange(60) < 40, 1.0, -0.8)
    told = [fit_household(gain, days, NUMBERS, full=full) for full in (None, np.arange(60) >= 40)]
    assert (told[0].mean == told[1].mean).all() and told[0].level == told[1].level


def test_levels_drawn_agree_with_what_is_known():
    days, gain, _, _ = _simulated(365, seed=9)
    found = fit_household(gain - 0.1, days, NUMBERS)
    level = found.draw(20000, np.random.default_rng(1))[:, -1]
    assert level.mean() == pytest.approx(found.level, abs=0.002)
    assert level.std() == pytest.approx(np.sqrt(found.cov[-1, -1]), rel=0.03)
    assert level.std() < found.strays[-1] * 1.05


def test_the_course_strays_alike_all_the_year_and_as_far_as_the_colony_is_large():
    # By hand: sine^2 + cosine^2 = 1, so the waves' variances add up to (0.25 x use)^2 on every day.
    days = some_days(366)
    waves = recurring(days, NUMBERS)
    for base, warm in ((0.05, 0.2), (0.02, 0.04)):
        home = colony(base, 0, warm, 0, 0)
        sd = np.sqrt(home.strays[:-1] ** 2 @ waves**2)
        assert sd == pytest.approx(NUMBERS["flow.course_frac"] * (base + warm), rel=1e-12)
        assert home.strays[-1] == pytest.approx(NUMBERS["flow.level_frac"] * (base + warm))
    least = NUMBERS["flow.use_least_kg"] * NUMBERS["flow.level_frac"]
    assert colony(0, 0, 0, 0, 0).strays[-1] == pytest.approx(least)


def test_what_returns_every_year_is_expected_again_and_what_came_once_is_not():
    # Three summers in which the colony uses 0.1 kg a day more about the same date, or only the last did:
    # on that date of the fourth year more is expected in the first case.
    days, gain, _, _ = _simulated(3 * 365, seed=11)
    at = np.arange(3 * 365) % 365
    days = replace(days, season_day=at.astype(float))
    bump = 0.1 * np.exp(-0.5 * ((at - 100) / 20.0) ** 2)
    once = np.where(np.arange(3 * 365) >= 2 * 365, bump, 0.0)
    there = recurring(replace(some_days(1), season_day=np.array([100.0])), NUMBERS)[:, 0]

    def more(extra):
        return fit_household(gain - extra, days, NUMBERS).course @ there

    plain = more(0.0)
    assert more(bump) - plain > 0.04
    assert more(bump) - plain > 1.5 * (more(once) - plain)


def test_more_seasons_leave_less_doubt_of_the_course():
    days, gain, _, _ = _simulated(3 * 365, seed=12)
    days = replace(days, season_day=np.arange(3 * 365.0) % 365)
    doubt = [
        np.diag(fit_household(gain[:n], days.take(slice(n)), NUMBERS).cov)[N_COEFFICIENTS:-1].sum()
        for n in (120, 365, 3 * 365)
    ]
    assert doubt[0] > doubt[1] > doubt[2]
