"""Scores against independent libraries and hand-worked cases."""

import numpy as np
import pytest
import scoringrules
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import brier_score_loss, mean_pinball_loss

from flowcast import verification as v

RNG = np.random.default_rng(11)
OBS = RNG.gamma(2.0, 1.0, 60)
FCST = RNG.gamma(2.0, 1.0, (60, 40))


@pytest.mark.parametrize("quantile", [0.05, 0.5, 0.9])
def test_pinball_loss_equals_scikit_learn(quantile):
    ours = v.pinball_loss(FCST[:, 0], OBS, quantile=quantile)
    assert ours == pytest.approx(mean_pinball_loss(OBS, FCST[:, 0], alpha=quantile), abs=1e-12)


def test_crps_equals_scoringrules():
    theirs = scoringrules.crps_ensemble(OBS, FCST, estimator="nrg").mean()
    assert v.crps_ensemble(FCST, OBS) == pytest.approx(theirs, abs=1e-9)


def test_brier_score_equals_scikit_learn():
    happened = OBS > 1.5
    chance = RNG.random(60)
    assert v.brier_score(chance, happened) == pytest.approx(
        brier_score_loss(happened, chance), abs=1e-12
    )


def test_pinball_loss_by_hand():
    # Forecast 2, came 5 and 1: at level 0.9 the errors cost 0.9 * 3 and 0.1 * 1; mean 1.4.
    assert v.pinball_loss([2, 2], [5, 1], quantile=0.9) == pytest.approx(1.4, abs=1e-12)


def test_coverage_and_skill_by_hand():
    assert v.coverage([0, 0, 0], [1, 1, 1], [0.5, 1.0, 1.2]) == pytest.approx(2 / 3, abs=1e-12)
    assert v.coverage([0], [1], [1.009], tolerance=0.01) == 1.0
    assert v.skill(0.6, 0.8) == pytest.approx(0.25, abs=1e-12)


def test_reliability_by_hand():
    table = v.reliability([0.05, 0.65, 0.6, 0.95], [0, 1, 0, 1])
    assert table["said"].tolist() == pytest.approx([0.05, 0.625, 0.95], abs=1e-12)
    assert table["came"].tolist() == [0, 0.5, 1]
    assert table["cases"].tolist() == [1, 2, 1]


@given(st.floats(0.01, 0.99), st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_the_true_quantile_has_the_least_loss(level, seed):
    obs = np.random.default_rng(seed).normal(size=400)
    best = v.pinball_loss(np.full(400, np.quantile(obs, level)), obs, quantile=level)
    for off in (-0.5, 0.5):
        worse = np.full(400, np.quantile(obs, level) + off)
        assert best <= v.pinball_loss(worse, obs, quantile=level) + 1e-9


def test_quantile_score_nears_the_crps():
    # The mean of twice the pinball loss over many even levels tends to the CRPS (Gneiting 2011, MEMORY).
    levels = np.arange(0.005, 1, 0.01)
    fcst = np.quantile(FCST, levels, axis=1).T
    assert v.quantile_score(fcst, OBS, quantiles=levels) == pytest.approx(
        v.crps_ensemble(FCST, OBS), rel=0.02
    )
