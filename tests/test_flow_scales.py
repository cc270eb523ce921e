"""A yard's own scales: against another library, by hand, as properties, and recovered."""

from dataclasses import asdict

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import multivariate_normal

from flowcast.flow.kernel import Scales
from flowcast.flow.scales import _minus_log_likelihood, learned_scales
from flowcast.numbers import load_numbers

GENERAL = Scales.general(load_numbers())
FREE = load_numbers({"flow.scales_log_sd": 2.0, "flow.scales_rounds": 100})
NUMBERS = load_numbers()
DAY = np.arange(300.0)
DRIFT = np.exp(-np.abs(DAY[:, None] - DAY) / 4.0)
NOISE = np.eye(len(DAY))


def drawn(days, noise, seed, n=300):
    """Residuals of a drift and noise of these scales, with the two parts."""
    cov = days**2 * DRIFT[:n, :n] + noise**2 * NOISE[:n, :n]
    z = np.linalg.cholesky(cov) @ np.random.default_rng(seed).standard_normal(n)
    return z, {"days": DRIFT[:n, :n], "noise": NOISE[:n, :n]}


def learned(z, parts, numbers=NUMBERS, general=GENERAL):
    return learned_scales(z, np.zeros((len(z), len(z))), parts, general, numbers)


def test_likelihood_is_that_of_scipy_and_its_gradient_that_of_small_steps():
    z, parts = drawn(0.4, 0.2, seed=1, n=40)
    stack, fixed = np.array(list(parts.values())), 0.01 * np.eye(40)
    square = np.array([0.3, 0.05])

    def value(at):
        return _minus_log_likelihood(z, fixed, stack, at)[0]

    cov = fixed + np.tensordot(square, stack, 1)
    constant = 20 * np.log(2 * np.pi)
    assert value(square) + constant == pytest.approx(-multivariate_normal(cov=cov).logpdf(z))
    by_steps = approx_fprime(square, value, 1e-7)
    assert _minus_log_likelihood(z, fixed, stack, square)[1] == pytest.approx(by_steps, rel=1e-4)


def test_scales_are_those_of_scikit_learns_gaussian_process():
    # scikit-learn climbs the same likelihood without a pull; ours, nearly free, must end beside it.
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    z, parts = drawn(0.5, 0.2, seed=2)
    kernel = ConstantKernel(0.06) * Matern(4.0, "fixed", nu=0.5) + WhiteKernel(0.02)
    other = GaussianProcessRegressor(kernel, alpha=0.0).fit(DAY[:, None], z)
    theirs = np.sqrt(np.exp(other.kernel_.theta))
    own = learned(z, parts, FREE)
    assert [own.days, own.noise] == pytest.approx(theirs, rel=0.03)


def test_noise_alone_by_hand():
    # With one part, the unit matrix, the likeliest variance is the mean square: here (1 + 9 + 4) / 3.
    z = np.sqrt(0.01) * np.array([1.0, -3.0, 2.0])
    free = load_numbers({"flow.scales_log_sd": 2.0})
    near = learned(z, {"noise": np.eye(3)}, free).noise
    general, exact = GENERAL.noise, np.sqrt(0.14 / 3)
    assert general < near < exact  # three values hardly outweigh the pull
    many = np.tile(z, 200)
    assert learned(many, {"noise": np.eye(600)}, free).noise == pytest.approx(exact, rel=0.01)


def test_nothing_seen_leaves_the_general_scales():
    assert learned(np.zeros(0), {"noise": np.zeros((0, 0))}) == GENERAL


def test_a_part_that_is_switched_off_stays_off():
    z, parts = drawn(0.4, 0.2, seed=3, n=60)
    off = Scales(**asdict(GENERAL) | {"days": 0.0})
    own = learned(z, parts, general=off)
    assert own.days == 0.0
    assert own.noise > GENERAL.noise  # which then has to tell it all


@pytest.mark.parametrize("seed", range(3))
def test_a_longer_log_moves_the_scales_further(seed):
    moved = []
    for n in (10, 60, 300):
        z, parts = drawn(0.25, 0.6, seed, n)  # noise four times the general one
        moved.append(np.log(learned(z, parts).noise / GENERAL.noise))
    assert 0 < moved[0] < moved[1] < moved[2]


@pytest.mark.parametrize("days, noise", [(0.5, 0.3), (0.12, 0.1)])
def test_scales_are_recovered(days, noise):
    # Noise well below what the drift itself does from day to day (a third of 0.5) could not be told.
    found = [learned(*drawn(days, noise, seed)) for seed in range(12)]
    assert np.mean([own.days for own in found]) == pytest.approx(days, rel=0.12)
    assert np.mean([own.noise for own in found]) == pytest.approx(noise, rel=0.12)
