"""A yard's own scales: how much of what its days show is bloom, drift, flight or noise.

The marginal likelihood of the log,

    log p(value) = -(r' C^-1 r + log |C|) / 2,    C = fixed + sum of scale^2 x part,

with a log-normal pull of every scale towards the general one, is climbed by its gradient (Rasmussen
and Williams 2006, Gaussian Processes for Machine Learning, eq. 5.8 and 5.9, from memory). A short
log leaves the general scales where they are, since the pull then outweighs it: no switch is needed.
"""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotri
from scipy.optimize import minimize

from flowcast.flow.kernel import Scales
from flowcast.numbers import Numbers

LEAST, MOST = -2.5, 2.0  # how far a scale may go from the general one, in natural logarithms


def learned_scales(
    residual: np.ndarray,
    fixed: np.ndarray,
    parts: dict[str, np.ndarray],
    general: Scales,
    numbers: Numbers,
) -> Scales:
    """The scales under which these values are likeliest, pulled towards the general ones.

    Parameters
    ----------
    residual : array, shape (n,)
        Observed values less their prior mean, on the model's scale.
    fixed : array, shape (n, n)
        Covariance that no scale multiplies: the stated bloom's and the errors' of the scale.
    parts : dict of arrays, shape (n, n)
        Covariance of every part, by its name in `Scales`, at scale 1.
    """
    start = np.array([getattr(general, name) for name in parts])
    given = start > 0  # a part that is switched off stays off
    stack = np.array([part for part, on in zip(parts.values(), given, strict=True) if on])
    rounds, pull = int(numbers["flow.scales_rounds"]), numbers["flow.scales_log_sd"]
    if not (len(residual) and given.any() and rounds):
        return general

    def unlikely(moved: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus the log likelihood and pull at these log ratios, with its gradient."""
        square = (start[given] * np.exp(moved)) ** 2
        value, by_square = _minus_log_likelihood(residual, fixed, stack, square)
        pulled = 0.5 * ((moved / pull) ** 2).sum()
        return value + pulled, by_square * 2 * square + moved / pull**2

    found = minimize(
        unlikely,
        np.zeros(given.sum()),
        jac=True,
        method="L-BFGS-B",
        bounds=[(LEAST, MOST)] * int(given.sum()),
        options={"maxiter": rounds, "ftol": 1e-4},
    )
    start[given] *= np.exp(found.x)
    return Scales(**asdict(general) | dict(zip(parts, start.tolist(), strict=True)))


def _minus_log_likelihood(residual, fixed, stack, square) -> tuple[float, np.ndarray]:
    """Value (without its constant) and its gradient by each squared scale."""
    factor, failed = dpotrf(fixed + np.tensordot(square, stack, 1), lower=True)
    if failed:
        raise np.linalg.LinAlgError("the log's covariance has no Cholesky factor")
    inverse = _whole(dpotri(factor, lower=True)[0])
    weights = inverse @ residual
    value = 0.5 * residual @ weights + np.log(np.diag(factor)).sum()
    by_square = np.tensordot(stack, inverse - np.outer(weights, weights), ([1, 2], [1, 0]))
    return value, 0.5 * by_square


def _whole(lower: np.ndarray) -> np.ndarray:
    """The symmetric matrix of which the lower half is given."""
    half = np.tril(lower)
    return half + np.tril(half, -1).T
