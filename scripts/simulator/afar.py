"""The weather as a yard has it that no station is near: another place's, tens of kilometres off.

Warmth is off by a constant and by spells; each day's rain comes some hours earlier or later and in
another amount, and one day in four has that of another day near it; wind, light and humidity go with the
land there. The yard's own weather goes on to make its flowers and flight.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.signal import lfilter

DAY = 24
OFF_C, SPELL_C = 1.2, 1.2  # standard deviation of the constant, and of the spells
SHIFT_H, MOST_H, AMOUNT_LOG = 3.0, 6, 0.5  # of a day's rain: when, at most, and how much
OTHER_SHARE, OTHER_D = 0.25, 15  # of days with another day's rain, and how far that may be
WIND_OFF_LOG, WIND_LOG, LIGHT_LOG, DAMP_PCT = 0.3, 0.25, 0.2, 6.0
MOST_WIND_MS, MOST_LIGHT_WM2 = 40.0, 1100.0


def from_afar(hourly: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """The same hours as another place has them; columns as of weather.csv."""
    far, count = hourly.copy(), len(hourly)
    far["temp_c"] += rng.normal(0, OFF_C) + _spells(count, 0.97, SPELL_C, rng)
    far["precip_mm"] = _other_rain(hourly["precip_mm"].to_numpy(), rng)
    damp = hourly["rh_pct"] + _spells(count, 0.95, DAMP_PCT, rng)
    far["rh_pct"] = damp.clip(5.0, 100.0)
    breeze = rng.normal(0, WIND_OFF_LOG) + _spells(count, 0.9, WIND_LOG, rng)
    far["wind_ms"] = (hourly["wind_ms"] * np.exp(breeze)).clip(upper=MOST_WIND_MS)
    haze = np.exp(_spells(count, 0.9, LIGHT_LOG, rng))
    far["ghi_wm2"] = (hourly["ghi_wm2"] * haze).clip(upper=MOST_LIGHT_WM2)
    return far.round({"temp_c": 1, "precip_mm": 1, "rh_pct": 0, "wind_ms": 1, "ghi_wm2": 0})


def _spells(count: int, keep: float, sd: float, rng: np.random.Generator) -> np.ndarray:
    """Errors that hold on for hours to days (AR(1))."""
    steps = sd * np.sqrt(1 - keep**2) * rng.standard_normal(count)
    return lfilter([1.0], [1.0, -keep], steps)


def _other_rain(rain_mm: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    days = len(rain_mm) // DAY
    source = np.arange(days)
    other = rng.random(days) < OTHER_SHARE
    source[other] += rng.integers(-OTHER_D, OTHER_D + 1, other.sum())
    source = np.clip(source, 0, days - 1)
    shift = np.clip(rng.normal(0, SHIFT_H, days).round(), -MOST_H, MOST_H).astype(int)
    found = np.zeros(len(rain_mm) + 2 * DAY)
    for day, (of, hours) in enumerate(zip(source, shift, strict=True)):
        fall = rain_mm[of * DAY : (of + 1) * DAY] * np.exp(rng.normal(0, AMOUNT_LOG))
        at = (day + 1) * DAY + hours  # a day of room before the first
        found[at : at + DAY] += fall
    return found[DAY : DAY + len(rain_mm)]
