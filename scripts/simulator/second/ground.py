"""What plants of the second world stand on and in: soil in two layers, air, sun and distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from simulator.climates import HALF_YEAR_D, YEAR_D
from simulator.flora import year_index
from simulator.weather import Site, local_days, vapour_pressure

TOP_MM = 22.0  # water that the worked layer of soil holds [mm]


def days_of(hourly: pd.DataFrame, site: Site) -> pd.DataFrame:
    """`weather.local_days` with dawn_rh_pct (05 to 08 local) and wind_ms (mean of light hours)."""
    days = local_days(hourly, site)
    by_hour = {c: hourly[c].to_numpy().reshape(-1, 24) for c in ("rh_pct", "wind_ms", "ghi_wm2")}
    light = by_hour["ghi_wm2"] + 1.0
    days["dawn_rh_pct"] = by_hour["rh_pct"][:, 5:8].mean(axis=1)
    days["wind_ms"] = (light * by_hour["wind_ms"]).sum(axis=1) / light.sum(axis=1)
    return days


def step(x: np.ndarray, at: float, width: float) -> np.ndarray:
    """0 far below `at`, 1 far above, half at it: the law of an algebraic sigmoid. [1]"""
    u = (x - at) / width
    return 0.5 * (1 + u / np.sqrt(1 + u**2))


def beta_warmth(temp_c: np.ndarray, low: float, best: float, high: float) -> np.ndarray:
    """Rate of life by warmth: none at low and high, 1 at best (X. Yin et al. 1995, MEMORY). [1]"""
    t = np.clip(temp_c, low, high)
    power = (best - low) / (high - best)
    return (high - t) / (high - best) * ((t - low) / (best - low)) ** power


def remembered(values: np.ndarray, memory_d: float) -> np.ndarray:
    """Mean of the last days, older ones counting ever less; begins at its own mean."""
    keep = np.exp(-1 / memory_d)
    return lfilter([1 - keep], [1, -keep], values, zi=[keep * values.mean()])[0]


def layers(days: pd.DataFrame, deep_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Water in the worked layer and in the one of roots below, as shares of what they hold. [1]"""
    top, deep = 0.6 * TOP_MM, 0.6 * deep_mm
    shown = []
    for rain, et in zip(days["precip_mm"].tolist(), days["et_mm"].tolist(), strict=True):
        from_top = min(et * (top / TOP_MM) ** 0.5, top)
        top += rain - from_top
        seeps = max(top - TOP_MM, 0.0)
        top -= seeps
        wet = deep / deep_mm
        deep = min(deep + seeps - (et - from_top) * wet / (wet + 0.25), deep_mm)
        shown.append((top / TOP_MM, deep / deep_mm))
    return tuple(np.array(shown).T)


def dryness_kpa(days: pd.DataFrame) -> np.ndarray:
    """Vapour that the air of the afternoon could still take up. [kPa]"""
    held = days["rh_pct"].to_numpy() / 100 * vapour_pressure(days["temp_mean_c"].to_numpy())
    return np.maximum(vapour_pressure(days["temp_max_c"].to_numpy()) - held, 0.0)


def reach(days: pd.DataFrame, km: float) -> np.ndarray:
    """Share of what grows at a distance that pays to be fetched: less against the wind. [1]"""
    return np.exp(-km * (0.10 + 0.055 * np.maximum(days["wind_ms"].to_numpy() - 2.0, 0.0)))


@dataclass(frozen=True)
class Seasons:
    """Years of a plant that begin on a day of the northern year, and the place of days in them."""

    begins: float
    year: np.ndarray  # which of them a day belongs to
    since: np.ndarray  # days since its begin [d]

    @classmethod
    def starting(cls, days: pd.DataFrame, begins: float) -> Seasons:
        """Years from this day of the northern year on."""
        begins = begins % YEAR_D
        since = (days["season_day"].to_numpy() - begins) % YEAR_D
        return cls(begins, year_index(days, begins), since)

    @property
    def years(self) -> int:
        """How many, the broken first and last ones counted."""
        return int(self.year.max()) + 1

    def sums(self, values: np.ndarray) -> np.ndarray:
        """Running sum within each year."""
        return pd.Series(values).groupby(self.year).cumsum().to_numpy()

    def products(self, values: np.ndarray) -> np.ndarray:
        """Running product within each year."""
        return pd.Series(values).groupby(self.year).cumprod().to_numpy()

    def each(self, values: np.ndarray) -> list[np.ndarray]:
        """The values year by year."""
        return np.split(values, np.flatnonzero(np.diff(self.year)) + 1)

    def median_on(self, values: np.ndarray, season_day: float) -> float:
        """Median over the years of what stands on this day of the northern year, or next to it."""
        off = (self.since + self.begins - season_day + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D
        return float(np.median(values[np.abs(off) < 1.1]))


def luck(years: int, rng: np.random.Generator, shape: float = 5.0) -> np.ndarray:
    """What chance makes of a plant's amount in each year: gamma of mean 1, spread 1/sqrt(shape)."""
    return rng.gamma(shape, 1 / shape, years)


def scaled(course: np.ndarray) -> float:
    """What stands for full bloom of a usual year: the nineteenth twentieth of its open days."""
    open_ = course[course > 0.02 * max(course.max(), 1e-9)]
    return max(float(np.quantile(open_, 0.95)), 1e-9) if len(open_) else 1.0


def apart(candidates: np.ndarray, n: int, gap_d: float, rng: np.random.Generator) -> list[float]:
    """Up to n of these days of the year, none nearer than the gap to another, in order."""
    chosen: list[float] = []
    for day in rng.permutation(candidates):
        near = [abs((day - other + HALF_YEAR_D) % YEAR_D - HALF_YEAR_D) < gap_d for other in chosen]
        if len(chosen) < n and not any(near):
            chosen.append(float(day))
    return sorted(chosen)
