"""How good forecasts were: scores, the simple forecasters they must beat, and their summary; pure."""

from flowcast.verification.scores import (
    brier_score,
    coverage,
    crps_ensemble,
    pinball_loss,
    quantile_score,
    reliability,
    skill,
)
from flowcast.verification.simple import BASELINES, climatology, damped_blend, persistence
from flowcast.verification.summary import Verdict, judge, observed_totals, observed_window

__all__ = [
    "BASELINES",
    "Verdict",
    "brier_score",
    "climatology",
    "coverage",
    "crps_ensemble",
    "damped_blend",
    "judge",
    "observed_totals",
    "observed_window",
    "persistence",
    "pinball_loss",
    "quantile_score",
    "reliability",
    "skill",
]
