"""How drifts go on: against a reference library, by hand, as properties."""

import numpy as np
import pytest
from sklearn.gaussian_process.kernels import Matern
from test_flow_fit import season_days

from flowcast.flow.kernel import calendar_parts
from flowcast.numbers import load_numbers

NUMBERS = load_numbers({"flow.span_year_d": 120, "flow.span_weeks_d": 14, "flow.span_days_d": 4})
SMOOTHNESS = {"year": 0.5, "weeks": 1.5, "days": 0.5}


def drift(name: str, days: int = 40) -> np.ndarray:
    """Covariance of one drift over so many days in a row, at scale 1."""
    some = season_days(1).take(slice(days))
    return dict(calendar_parts(some, some, NUMBERS))[name]


@pytest.mark.parametrize("name", SMOOTHNESS)
def test_drifts_are_materns(name):
    # scikit-learn's Matern kernel (Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, eq. 4.17).
    days = np.arange(40.0)[:, None]
    matern = Matern(NUMBERS[f"flow.span_{name}_d"], nu=SMOOTHNESS[name])
    assert drift(name) == pytest.approx(matern(days), abs=1e-12)


def test_weeks_after_their_own_length_by_hand():
    # (1 + sqrt 3) exp(-sqrt 3) = 2.7321 x 0.1769 = 0.4834; of the year's exp(-12 / 120) = 0.9048.
    assert drift("weeks")[0, 14] == pytest.approx(0.4834, abs=1e-4)
    assert drift("year")[0, 12] == pytest.approx(0.9048, abs=1e-4)


@pytest.mark.parametrize(("name", "goes_on"), [("weeks", True), ("days", False), ("year", False)])
def test_only_the_drift_of_weeks_goes_on_as_it_has_begun(name, goes_on):
    cov, rising = drift(name, 15), np.linspace(0.0, 0.5, 14)
    tomorrow = cov[14, :14] @ np.linalg.solve(cov[:14, :14], rising)
    assert (tomorrow > rising[-1]) == goes_on
