"""Hours fit for flight in the second world: thresholds that move, rain that is remembered.

The drivers have the names of the first world's, so that either world can be lived again with one
of them taken from another year; nothing else of its curves is shared.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.signal import lfilter

CALM = 0.65  # wind among the hives as a share of wind at 10 m (0.6 to 0.75 by practice, ASSUMPTION)
GROUNDED = 0.03  # below this an hour has no flight at all
USED_TO_H = 24 * 18.0  # bees get used to warmth and cold over weeks [h]
WET_FLOWERS_H = 2.5  # what a shower leaves on flowers and leaves dries off with this memory [h]


def drivers(weather: pd.DataFrame) -> dict[str, np.ndarray]:
    """How far each driver lets bees fly in each hour, 0 to 1.

    Parameters
    ----------
    weather : DataFrame
        Hourly, in order of time: temp_c, rh_pct, precip_mm, wind_ms, ghi_wm2, cloud_pct.
    """
    temp = weather["temp_c"].to_numpy()
    return {
        "cold": _cold(temp),
        "heat": 1 - _smooth(temp, 33.0, 43.0) ** 2,
        "rain": _rain(weather["precip_mm"].to_numpy()),
        "wind": _wind(weather["wind_ms"].to_numpy()),
        "light": _light(weather),
    }


def fitness(drivers: dict[str, np.ndarray]) -> np.ndarray:
    """Fitness of each hour, 0 to 1: the worst driver counts for most, the others for the rest."""
    each = np.array(list(drivers.values()))
    fit = each.min(axis=0) ** 0.65 * np.prod(each, axis=0) ** 0.35
    return np.where(fit < GROUNDED, 0.0, fit)


def _smooth(x: np.ndarray, low: float | np.ndarray, high: float | np.ndarray) -> np.ndarray:
    """0 up to low, 1 from high on, a cubic between. [1]"""
    u = np.clip((x - low) / (high - low), 0, 1)
    return u**2 * (3 - 2 * u)


def _cold(temp_c: np.ndarray) -> np.ndarray:
    """Flight begins at 7.5 degC after a cold spell and at 13.5 after a hot one.

    Absent below 12 degC and rising to 20 in Georgia (Burrill and Dietz 1981, READ in a summary);
    bees of cold places work from 9 to 11 degC (Lovell 1926, READ). That one colony moves between
    the two with the season is an ASSUMPTION.
    """
    keep = np.exp(-1 / USED_TO_H)
    used_to = lfilter([1 - keep], [1, -keep], temp_c, zi=[keep * temp_c[: int(USED_TO_H)].mean()])[
        0
    ]
    begins = np.clip(6.5 + 0.33 * used_to, 7.5, 13.5)
    return _smooth(temp_c, begins, begins + 7.5)


def _rain(mm: np.ndarray) -> np.ndarray:
    """Rain of the hour stops bees, and wet flowers hold some back for hours after."""
    keep = np.exp(-1 / WET_FLOWERS_H)
    before = np.concatenate([[0.0], mm[:-1]])
    wet = np.minimum(lfilter([1], [1, -keep], np.minimum(before, 3.0)), 4.0)
    return np.clip(1 - mm / 0.8, 0, 1) * (1 - 0.14 * wet)


def _wind(wind_ms: np.ndarray) -> np.ndarray:
    """Any wind costs a little (Hennessy et al. 2020, READ2: a third of the visits at 3 m/s)."""
    at_hives = CALM * wind_ms
    return (1 - 0.25 * np.minimum(at_hives / 6, 1)) * (1 - _smooth(at_hives, 5.0, 10.0))


def _light(weather: pd.DataFrame) -> np.ndarray:
    """Light, of which more is wanted under a low damp sky, and of an evening than of a morning."""
    ghi = weather["ghi_wm2"].to_numpy()
    fading = ghi < np.concatenate([ghi[:1], ghi[:-1]])
    damp = _smooth(weather["rh_pct"].to_numpy(), 78, 98)
    lowering = damp * weather["cloud_pct"].to_numpy() / 100
    enough = np.where(fading, 210.0, 120.0) * (1 + 0.9 * lowering)
    return np.clip((ghi - 0.15 * enough) / (0.85 * enough), 0, 1) * (1 - 0.25 * lowering)
