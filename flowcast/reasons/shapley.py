"""Sharing a difference fairly among its causes."""

from __future__ import annotations

from math import factorial

import numpy as np


def coalitions(players: int) -> np.ndarray:
    """Every set of players as a row of booleans, shape (2**players, players); row k holds the bits of k."""
    return (np.arange(2**players)[:, None] >> np.arange(players)) % 2 == 1


def shapley(values: np.ndarray) -> np.ndarray:
    """Shapley values of a game given by the worth of every coalition.

    Parameters
    ----------
    values : array, shape (2**players, ...)
        Worth of the coalition of each row of `coalitions`; the first is that of nobody.

    Returns
    -------
    array, shape (players, ...)
        Each player's mean contribution over all orders of joining. They add up to the worth of all
        less that of nobody.

    Notes
    -----
    Shapley 1953, "A value for n-person games": the mean over coalitions S without the player of
    v(S with it) - v(S), weighted |S|! (n - |S| - 1)! / n!.
    """
    players = int(np.log2(len(values)))
    sets = coalitions(players)
    size = sets.sum(axis=1)
    weight = np.array([factorial(k) * factorial(players - k - 1) for k in range(players)])
    weight = weight / factorial(players)
    rows = np.arange(len(values))
    shares = []
    for player in range(players):
        without = rows[~sets[:, player]]
        gained = values[without + 2**player] - values[without]
        shares.append(np.tensordot(weight[size[without]], gained, axes=1))
    return np.array(shares)
