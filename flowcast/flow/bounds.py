"""Lower bounds among what was seen: gains of hives that had no free comb left.

Of such a value it is only known that the day, with its noise, would have shown so much or more:

    p(seen | z) = Phi((z - bound) / sqrt(var))

Each bound is stood for by a normal value of its own, whose size and variance are such that, beside
all others, it gives z the mean and variance that the bound itself gives it (expectation propagation;
Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, section 3.6, from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.stats import norm

ROUNDS, NEAR = 100, 1e-6  # at most, and near enough to stop
HALF_WAY = 0.5  # how far each round goes, since all bounds move at once
LEAST = 1e-9  # of a weight, so that a bound that says nothing has a variance too


def stand_ins(
    mean: np.ndarray, cov: np.ndarray, bound: np.ndarray, var: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The normal values that stand for lower bounds.

    Parameters
    ----------
    mean, cov : arrays, shape (n,), (n, n)
        What is expected of each bounded quantity from all that is not a bound; without noise.
    bound : array, shape (n,)
        What was seen: with its noise and error the quantity is this or more.
    var : array, shape (n,)
        Variance of that noise and error.

    Returns
    -------
    (array, array), shape (n,) each
        Values and variances. A bound far below what is expected gets a variance without end, one
        far above stands for itself.
    """
    weight, pull = np.zeros((2, len(bound)))  # of each stand-in: 1 / variance, value / variance
    found = mean
    for _ in range(ROUNDS):
        before, (found, own) = found, _given(mean, cov, weight, pull)
        if weight.any() and np.abs(found - before).max() < NEAR:
            break
        value, new = _one_by_one(found, own, weight, pull, bound, var)
        weight = weight + HALF_WAY * (new - weight)
        pull = pull + HALF_WAY * (new * value - pull)
    weight = np.maximum(weight, LEAST)
    return pull / weight, 1.0 / weight


def _given(mean, cov, weight, pull) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of each quantity beside all stand-ins."""
    root = np.sqrt(weight)
    seen = np.eye(len(mean)) + root[:, None] * cov * root
    across = root[:, None] * cov
    left = cov - across.T @ cho_solve(cho_factor(seen), across)
    return mean + left @ (pull - weight * mean), np.diag(left)


def _one_by_one(mean, own, weight, pull, bound, var) -> tuple[np.ndarray, np.ndarray]:
    """Value and weight under which each stand-in matches its bound, beside all the others.

    With t the standard deviation of what would be seen, a = (m - bound) / t how far it is expected
    above the bound and g = phi(a) / Phi(a), the moments beside the bound are m + s^2 g / t and
    s^2 - s^4 g (a + g) / t^2; a normal value has the same at m + t / (a + g), 1 / weight =
    t^2 / (g (a + g)) - s^2.
    """
    other = 1.0 / (1.0 / own - weight)  # s^2, the stand-in left out
    left_out = other * (mean / own - pull)  # m
    t = np.sqrt(other + var)
    a = (left_out - bound) / t
    g = np.exp(norm.logpdf(a) - norm.logcdf(a))
    sure = g * (a + g)
    return left_out + t / (a + g), sure / (t**2 - sure * other)
