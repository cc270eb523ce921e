"""Hours fit for flight, as this invented world has them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

SHELTER = 0.7  # wind at a hive's height behind a hedge, as a share of wind at 10 m in the open
LEAST = 0.02  # below this an hour has no flight at all


def fitness_by_driver(weather: pd.DataFrame) -> dict[str, np.ndarray]:
    """How far each driver lets bees fly in each hour, 0 to 1; their product is the hour's fitness.

    The curves are this world's own: logistic in warmth, a Weibull rise in light, exponential in
    rain, a power in wind. The forecaster must not find its own straight-line ramps here.
    """
    temp, wind = weather["temp_c"].to_numpy(), SHELTER * weather["wind_ms"].to_numpy()
    light = 1 - np.exp(-((weather["ghi_wm2"].to_numpy() / 180) ** 1.5))
    fresh = 1 - 0.35 * expit((weather["rh_pct"].to_numpy() - 93) / 2)
    return {
        "cold": expit((temp - 12.5) / 1.3),
        "heat": expit((38.5 - temp) / 1.8),
        "rain": np.exp(-weather["precip_mm"].to_numpy() / 0.35),
        "wind": 1 / (1 + (wind / 7.5) ** 6),
        "light": light * fresh,
    }


def fitness_of(drivers: dict[str, np.ndarray]) -> np.ndarray:
    """Fitness of each hour from its drivers; below LEAST nobody flies."""
    fit = np.prod(list(drivers.values()), axis=0)
    return np.where(fit < LEAST, 0.0, fit)


def hour_fitness(weather: pd.DataFrame) -> np.ndarray:
    """How fit each hour is for foraging, 0 to 1."""
    return fitness_of(fitness_by_driver(weather))
