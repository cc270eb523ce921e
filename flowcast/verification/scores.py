"""Scores of forecasts: pinball loss, CRPS, coverage, Brier score, reliability, skill.

`fcst, obs` in this order everywhere, options by keyword. Smaller is better for every loss.
"""

from __future__ import annotations

import numpy as np
import pandas as pd


def pinball_loss(fcst, obs, *, quantile):
    """Mean quantile loss. [unit of obs]

    Parameters
    ----------
    fcst, obs : array_like
        The forecast quantile and what came; of one shape.
    quantile : float
        Level of the forecast quantile, between 0 and 1.

    References
    ----------
    R. Koenker and G. Bassett, "Regression quantiles," Econometrica 46 (1978). MEMORY
    """
    error = np.asarray(obs, float) - np.asarray(fcst, float)
    return float(np.mean(np.maximum(quantile * error, (quantile - 1.0) * error)))


def quantile_score(fcst, obs, *, quantiles):
    """Mean over the levels of twice the pinball loss, an approximation of the CRPS. [unit of obs]

    Parameters
    ----------
    fcst : array, shape (cases, levels)
    obs : array, shape (cases,)
    quantiles : sequence of float
        The levels, in the order of fcst's columns.
    """
    fcst = np.asarray(fcst, float)
    losses = [pinball_loss(fcst[:, k], obs, quantile=q) for k, q in enumerate(quantiles)]
    return 2.0 * float(np.mean(losses))


def crps_ensemble(fcst, obs):
    """Continuous ranked probability score of an ensemble, mean over cases. [unit of obs]

    Parameters
    ----------
    fcst : array, shape (cases, members)
    obs : array, shape (cases,)

    Notes
    -----
    E|X - y| - E|X - X'| / 2 over the members, the empirical distribution's own score.
    """
    fcst = np.sort(np.asarray(fcst, float), axis=1)
    members = fcst.shape[1]
    to_obs = np.abs(fcst - np.asarray(obs, float)[:, None]).mean(1)
    rank = 2 * np.arange(1, members + 1) - members - 1
    between = (fcst * rank).sum(1) * 2.0 / members**2
    return float(np.mean(to_obs - between / 2.0))


def coverage(low, high, obs, *, tolerance=0.0):
    """Share of observations from low to high, ends included. [1]"""
    obs = np.asarray(obs, float)
    inside = (obs >= np.asarray(low) - tolerance) & (obs <= np.asarray(high) + tolerance)
    return float(np.mean(inside))


def brier_score(chance, happened):
    """Mean squared error of stated chances. [1]"""
    return float(np.mean((np.asarray(chance, float) - np.asarray(happened, float)) ** 2))


def reliability(chance, happened, *, edges=(0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)):
    """What was said against what came.

    Returns
    -------
    DataFrame
        One row a bin of stated chance that has cases: said (mean chance), came (share that
        happened), cases.
    """
    chance, happened = np.asarray(chance, float), np.asarray(happened, float)
    bins = np.clip(np.digitize(chance, edges) - 1, 0, len(edges) - 2)
    table = pd.DataFrame({"bin": bins, "said": chance, "came": happened})
    grouped = table.groupby("bin")
    return grouped.mean().assign(cases=grouped.size()).reset_index(drop=True)


def skill(loss, baseline):
    """1 for a perfect forecast, 0 for one no better than the named baseline. [1]"""
    return 1.0 - loss / baseline
