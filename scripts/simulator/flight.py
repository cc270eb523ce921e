"""Hours fit for flight, as this invented world has them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

SHELTER = 0.7  # wind at a hive's height behind a hedge, as a share of wind at 10 m in the open
LEAST = 0.02  # below this an hour has no flight at all


def hour_fitness(weather: pd.DataFrame) -> np.ndarray:
    """How fit each hour is for foraging, 0 to 1: smooth in warmth, light, rain, wind and damp.

    The curves are this world's own: logistic in warmth, a Weibull rise in light, exponential in
    rain, a power in wind. The forecaster must not find its own straight-line ramps here.
    """
    temp, wind = weather["temp_c"].to_numpy(), SHELTER * weather["wind_ms"].to_numpy()
    warm = expit((temp - 12.5) / 1.3) * expit((38.5 - temp) / 1.8)
    light = 1 - np.exp(-((weather["ghi_wm2"].to_numpy() / 180) ** 1.5))
    dry = np.exp(-weather["precip_mm"].to_numpy() / 0.35)
    calm = 1 / (1 + (wind / 7.5) ** 6)
    fresh = 1 - 0.35 * expit((weather["rh_pct"].to_numpy() - 93) / 2)
    fit = warm * light * dry * calm * fresh
    return np.where(fit < LEAST, 0.0, fit)
