"""Lower bounds in the flow model: closed forms, quadrature, properties, recovery."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.stats import multivariate_normal, norm, truncnorm
from test_flow_fit import LIME, PLAIN, ensemble, season_days, spans_of

from flowcast.flow.bounds import stand_ins
from flowcast.flow.fit import _held, _solve, fit_flow
from flowcast.flow.household import Stock, drivers, prior_household, step, use
from flowcast.flow.kernel import Scales
from flowcast.flow.latent import Prior, from_scale, seen_on_scale, slope
from flowcast.flow.seen import Observations
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
GENERAL = Scales.general(NUMBERS)


def posterior(mean, cov, bound, var):
    """Mean and covariance of the bounded quantities, by their stand-ins."""
    value, noise = stand_ins(*(np.asarray(a, float) for a in (mean, cov, bound, var)))
    gain = np.linalg.solve(cov + np.diag(noise), cov).T
    return mean + gain @ (value - mean), cov - gain @ cov


def drifting(n, span=20.0):
    """Covariance of a slow drift (AR 1), whose parts all pull the same way."""
    day = np.arange(n)
    return np.exp(-np.abs(day[:, None] - day) / span)


# ---- closed forms ------------------------------------------------------------------------


@pytest.mark.parametrize("bound", [-1.0, 0.3, 1.5, 4.0])
def test_one_exact_bound_is_the_truncated_normal(bound):
    # scipy's truncnorm; an error of 1e-4 for none.
    mean, sd = 0.5, 1.2
    a = (bound - mean) / sd
    m, v = posterior(np.array([mean]), np.array([[sd**2]]), np.array([bound]), np.array([1e-8]))
    assert m[0] == pytest.approx(truncnorm.mean(a, np.inf, mean, sd), abs=1e-4)
    assert v[0, 0] == pytest.approx(truncnorm.var(a, np.inf, mean, sd), abs=1e-4)


@pytest.mark.parametrize("bound", [-2.0, 0.5, 3.0])
def test_one_bound_with_noise_by_quadrature(bound):
    mean, var, noise = 0.5, 1.44, 0.3
    z = np.linspace(mean - 15, mean + 15, 200_001)
    weight = norm.pdf(z, mean, np.sqrt(var)) * norm.cdf((z - bound) / np.sqrt(noise))
    weight /= weight.sum()
    m, v = posterior(np.array([mean]), np.array([[var]]), np.array([bound]), np.array([noise]))
    assert m[0] == pytest.approx(weight @ z, abs=1e-5)
    assert v[0, 0] == pytest.approx(weight @ (z - weight @ z) ** 2, abs=1e-5)


def test_two_bounds_by_quadrature():
    # Beyond one bound the normal form is an approximation: within 1 % of a standard deviation here.
    mean, cov = np.array([0.2, -0.1]), np.array([[1.0, 0.7], [0.7, 1.2]])
    bound, noise = np.array([0.8, 0.4]), np.array([0.2, 0.3])
    prior = multivariate_normal(mean, cov)

    def moment(of):
        def density(y, x):
            seen = norm.cdf((np.array([x, y]) - bound) / np.sqrt(noise)).prod()
            return of(x, y) * seen * prior.pdf([x, y])

        return dblquad(density, -4, 6, -4, 6, epsabs=1e-5)[0]

    whole = moment(lambda x, y: 1.0)
    first, second = moment(lambda x, y: x) / whole, moment(lambda x, y: y) / whole
    spread = moment(lambda x, y: (x - first) ** 2) / whole
    m, v = posterior(mean, cov, bound, noise)
    assert m == pytest.approx([first, second], abs=0.01)
    assert v[0, 0] == pytest.approx(spread, rel=0.02)


def test_a_full_day_of_the_model_by_quadrature():
    # One latent day with the prior of a lime flow, seen through a full hive: the same integral, with
    # the colony's use from its prior and the error on the model's scale.
    numbers = load_numbers(PLAIN)
    days = season_days(1).take([165])
    prior = Prior(ensemble(), GENERAL, numbers)
    z = prior.members(days)
    mean, var = float(z.mean[0]), float(prior.between(days, z, days, z)[0, 0])
    chill, brooding = drivers(days, numbers)
    eaten = use(Stock(0.0, 0.0), chill[0], brooding[0], prior_household(numbers).mean, numbers)
    for gain in (0.1, 1.5, 6.0):
        seen = gain + eaten
        sd = np.hypot(0.05, numbers["flow.wood_sd_kg"])
        noise = (sd * slope(max(abs(seen), sd))) ** 2 + numbers["flow.sd_noise"] ** 2
        grid = np.linspace(mean - 12 * np.sqrt(var), mean + 12 * np.sqrt(var), 200_001)
        weight = norm.pdf(grid, mean, np.sqrt(var))
        weight *= norm.cdf((grid - seen_on_scale(seen)) / np.sqrt(noise))
        weight /= weight.sum()
        spans = spans_of(np.array([gain]), days).assign(lower_bound=1.0)
        found, root = fit_flow(spans, days, prior.ensemble, numbers).predict(days)
        assert found[0] == pytest.approx(weight @ grid, abs=1e-4)
        assert var - (root**2).sum() == pytest.approx(weight @ (grid - found[0]) ** 2, abs=1e-4)


def test_what_holds_an_odd_bound_down_is_one_sided():
    # By hand for one bound: squared and left out, the stand-in's residual is g / (a + g); at a = 0 it
    # is 1, where Student-t errors (dof + 1) / (dof + 1) do not grow.
    cov, noise, dof = np.array([[1.0]]), np.array([0.5]), 5.0
    for bound, grows in ((0.0, 1.0), (-3.0, 1.0), (3.0, None)):
        a = -bound / np.sqrt(1.5)
        g = norm.pdf(a) / norm.cdf(a)
        value, var = stand_ins(np.zeros(1), cov, np.array([bound]), noise)
        seen = cov + np.diag(var)
        factor, weights = np.linalg.cholesky(seen), np.linalg.solve(seen, value)
        held = _held(noise, np.asfortranarray(factor), weights, dof)
        by_hand = max(1.0, (dof + g / (a + g)) / (dof + 1.0))
        assert held / noise == pytest.approx(by_hand if grows is None else grows, rel=1e-5)


# ---- properties --------------------------------------------------------------------------


def test_a_bound_far_below_what_is_expected_changes_nothing():
    cov = drifting(5)
    m, v = posterior(np.full(5, 2.0), cov, np.full(5, -8.0), np.full(5, 0.1))
    assert m == pytest.approx(np.full(5, 2.0), abs=1e-6)
    assert v == pytest.approx(cov, abs=1e-6)


def test_a_bound_far_above_is_an_ordinary_value():
    # 30 standard deviations of z above: x = 30 / t of what would be seen. By the tail of the normal
    # law g = x + 1/x - 2/x³ (MEMORY), the value is 2 t / x beyond it, the variance t² / x² more.
    value, var = stand_ins(np.zeros(1), np.eye(1), np.array([30.0]), np.array([0.1]))
    assert value[0] == pytest.approx(30.0 + 2 * 1.1 / 30, abs=0.001)
    assert var[0] == pytest.approx(0.1 + 1.1**2 / 900, abs=1e-5)


@given(st.lists(st.floats(-3, 3), min_size=2, max_size=12), st.floats(0.02, 1.0))
@settings(max_examples=60, deadline=None)
def test_a_further_bound_never_lowers_what_drifts_with_it(bounds, noise):
    # Of a drift all parts pull the same way (FKG inequality for normal values whose inverse
    # covariance has no positive entry off its diagonal; MEMORY), so bounds can only raise them. The
    # normal stand-ins for several bounds are an approximation: a hundredth of z's deviation is allowed.
    n = len(bounds)
    mean, cov, bound = np.zeros(n), drifting(n), np.array(bounds)
    every, _ = posterior(mean, cov, bound, np.full(n, noise))
    fewer = bound.copy()
    fewer[-1] = -50.0  # says nothing
    before, _ = posterior(mean, cov, fewer, np.full(n, noise))
    assert (every >= before - 0.01).all()
    assert (before >= -0.01).all()


@given(st.integers(0, 40))
@settings(max_examples=15, deadline=None)
def test_bounds_beside_plain_values_as_if_all_were_solved_at_once(seed):
    # The stand-ins are worked out beside what the plain values say; in the whole they must leave
    # each bounded value the moments of its own bound: checked on the left-out prediction.
    rng = np.random.default_rng(seed)
    n, numbers = 12, load_numbers(PLAIN)
    prior = Prior(ensemble(), GENERAL, numbers)
    bound = rng.random(n) < 0.4
    bound[0] = True
    value, var = rng.normal(0, 1, n), np.full(n, 0.05)
    views = Observations(None, value, var, np.ones(n), bound, np.zeros((n, 6)))
    cov = drifting(n)
    counted, share, factor, weights = _solve(views, np.zeros(n), cov, prior)
    noise = var + prior.scales.noise**2
    inverse = np.linalg.inv(np.tril(factor) @ np.tril(factor).T)
    left_var = 1 / np.diag(inverse)
    left = counted - weights * left_var
    s2 = left_var - noise / share  # of z without its stand-in
    t = np.sqrt(s2 + noise)
    a = (left - value) / t
    g = norm.pdf(a) / norm.cdf(a)
    mean = cov @ weights
    assert mean[bound] == pytest.approx((left + s2 * g / t)[bound], abs=1e-4)
    assert (counted[~bound] == value[~bound]).all() and (share[~bound] == 1).all()


@pytest.mark.parametrize("whole_weeks", [False, True], ids=["days", "weeks"])
def test_nothing_gained_by_full_hives_is_no_end_of_the_flow(whole_weeks):
    # Two weeks of a flow, then two of loss. As plain gains they pull the next days down, as bounds
    # they say nothing, for any intake is at least none; a rich flow seen by full hives pulls up.
    # All of the days see flight, since what a hive loses without flight is its use, full or not.
    days = season_days(1).take(slice(0, 180))
    days, found = replace(days, foraging_h=np.where(np.arange(180) < 150, 0.0, 8.0)), {}
    for name, gain, full in (
        ("unknown", np.nan, 0.0),
        ("nothing", -0.8, 0.0),
        ("full", -0.8, 1.0),
        ("rich", 6.0, 1.0),
    ):
        daily = np.full(180, np.nan)
        daily[152:166], daily[166:] = 1.2, gain
        spans = spans_of(daily, days)
        if whole_weeks:
            sums = spans["gain_kg"].resample("7D", origin="start").sum()
            spans = pd.DataFrame({"days": 7, "gain_kg": sums, "gain_sd_kg": 0.15}, sums.index)
        spans["lower_bound"] = full * (spans.index >= spans.index[0] + pd.Timedelta(days=14))
        model = fit_flow(spans, days, ensemble(), load_numbers({"flow.scales_rounds": 0}))
        ahead = season_days(1).take(np.arange(180, 187))
        found[name] = model.predict(replace(ahead, foraging_h=np.full(7, 8.0)))[0].mean()
    assert found["nothing"] < found["unknown"] - 0.2
    assert found["full"] == pytest.approx(found["unknown"], abs=0.02)
    assert found["rich"] > found["unknown"] + 0.1


def test_a_table_without_a_word_of_bounds_has_none():
    days = season_days(1)
    gain = np.where(np.arange(365) % 3 == 0, 0.4, np.nan)
    plain = spans_of(gain, days)
    models = [
        fit_flow(spans, days, ensemble(), NUMBERS)
        for spans in (plain, plain.assign(lower_bound=0.0))
    ]
    assert (models[0].weights == models[1].weights).all()
    assert models[0].spread == models[1].spread


def test_a_log_of_bounds_alone_is_a_model_too():
    days = season_days(1)
    gain = np.where((np.arange(365) > 140) & (np.arange(365) < 170), 0.1, np.nan)
    spans = spans_of(gain, days).assign(lower_bound=1.0)
    model = fit_flow(spans, days, ensemble(), NUMBERS)
    mean, root = model.predict(days.take(np.arange(150, 180)))
    assert np.isfinite(mean).all() and np.isfinite(root).all() and np.isfinite(model.spread)


# ---- recovery ----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [12, 13, 14])
def test_a_flow_cut_off_by_full_hives_is_recovered_in_the_next_season(seed):
    # Two seasons of one lime flow; in the second half of each the hives are full and gain nothing.
    # What is expected of the third season's second half: with the bounds read at least a third nearer
    # to the truth, which they alone cannot tell.
    days = season_days(3)
    rng = np.random.default_rng(seed)
    bloom = 3.0 * np.exp(-0.5 * ((days.season_day - 165) / 10) ** 2)
    intake = bloom * days.foraging_h / 9 * np.exp(rng.normal(0, 0.2, len(days)))
    full = (days.season_day >= 165) & (days.season_day < 190)
    home, stock, gain = prior_household(NUMBERS), Stock(0.0, 0.0), np.empty(len(days))
    chill, brooding = drivers(days, NUMBERS)
    for t in range(len(days)):
        eaten = use(stock, chill[t], brooding[t], home.mean, NUMBERS)
        carried = min(intake[t], eaten) if full[t] else intake[t]
        gain[t] = carried - eaten
        stock = step(stock, carried, NUMBERS)
    gain += rng.normal(0, 0.05, len(days))
    first = 2 * 365
    past = days.take(slice(first))
    ahead = np.arange(first + 165, first + 185)
    fly = days.foraging_h[ahead] > 1
    truth, error = intake[ahead][fly].sum(), {}
    for name, told in (("read", full), ("unread", full & False)):
        spans = spans_of(gain[:first], past)
        spans["lower_bound"] = told[:first][np.isfinite(gain[:first])].astype(float)
        model = fit_flow(spans, past, ensemble(LIME), NUMBERS)
        got = from_scale(model.predict(days.take(ahead))[0])[fly].sum()
        error[name] = abs(np.log(got / truth))
    assert error["read"] < 2 / 3 * error["unread"]
