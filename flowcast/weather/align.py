"""Weather of one source put on the climate of another, so that thresholds mean the same in both.

Two sources describe the same days differently: another height of the grid cell, more drizzle, less
wind. Where they overlap, the difference can be measured and taken out; where they do not, it must
stay as a wider interval (`unsure`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.messages import Amount, Note
from flowcast.tables import WEATHER

SCALED = ("temp_c",)  # mean and swing
SHIFTED = ("rh_pct", "cloud_pct")  # mean
MULTIPLIED = ("wind_ms", "ghi_wm2", "precip_mm")  # ratio of means: none of them is ever negative
MONTHS = np.arange(12)
TYPICAL_C = 15.0


@dataclass(frozen=True)
class Correction:
    """What puts one source on another's climate: value -> offset + factor x value, by month.

    offset, factor: column -> array of shape (12,), January first. days: how many days the two had
    in common. seasonal: whether the months differ.
    """

    offset: dict[str, np.ndarray]
    factor: dict[str, np.ndarray]
    days: float
    seasonal: bool

    def apply(self, table: pd.DataFrame) -> pd.DataFrame:
        """The table on the other climate; the dew point is left out, for it follows from the rest."""
        month = table.index.month.to_numpy() - 1
        out = table.drop(columns=["dewpoint_c"], errors="ignore").copy()
        for name, factor in self.factor.items():
            if name in out:
                moved = self.offset[name][month] + factor[month] * out[name].to_numpy(float)
                out[name] = np.clip(moved, WEATHER[name].low, _highest(name))
        return out

    def note(self, *, of_forecast: bool = False) -> Note:
        """The correction in a note, each month's in its mean; a forecast's went through the last weeks."""
        parts = tuple(part for name in self.factor if (part := self._part(name)))
        through = "_through_last_weeks" if of_forecast else ""
        if not parts:
            return Note.of(f"corrected.agrees{through}", n=round(self.days))
        monthly = "_by_month" if self.seasonal else ""
        return Note.of(f"corrected.moved{monthly}{through}", n=round(self.days), parts=parts)

    def _part(self, name: str) -> Note | None:
        """What is done to one quantity; None when it is next to nothing."""
        offset, factor = float(self.offset[name].mean()), float(self.factor[name].mean())
        if name in MULTIPLIED:
            times = Amount(factor, "", 2)
            return Note.of(f"corrected.{name}", by=times) if abs(factor - 1) >= 0.005 else None
        # At a typical value, so that a swing about the mean does not read as a shift.
        moved = offset + (factor - 1) * (TYPICAL_C if name in SCALED else 0.0)
        unit = "K" if WEATHER[name].unit == "°C" else WEATHER[name].unit
        return (
            Note.of(f"corrected.{name}", by=Amount(moved, unit, 1, "+"))
            if abs(moved) >= 0.05
            else None
        )


def fit_correction(source, target, numbers, *, scale=True):
    """What puts `source` on the climate of `target`.

    Parameters
    ----------
    source, target : pandas.DataFrame
        Hourly columns of `flowcast.tables.WEATHER`; only hours that both have are used.
    numbers : flowcast.numbers.Numbers
        Group align.
    scale : bool
        Whether the swing of temperature is matched as well as its mean; not for an ensemble's
        mean, which swings less than any weather.

    Returns
    -------
    Correction or None
        None when they have fewer than align.least_d days in common.

    Notes
    -----
    Mean and scale for temperature, the mean for humidity, the ratio of means for wind, radiation
    and rain, in windows of three months where align.seasonal_d days are in common. Each is drawn
    towards no correction by as much as align.trust_d (scale_trust_d) days would, and that of rain
    by align.rain_trust_h hours of rain: dry days tell nothing of it, and one storm little.
    """
    common = source.index.intersection(target.index)
    days = len(common) / 24
    if days < numbers["align.least_d"]:
        return None
    source, target = source.loc[common], target.loc[common]
    seasonal = days >= numbers["align.seasonal_d"]
    parts = _windows(common.month.to_numpy() - 1, seasonal)
    offset, factor = {}, {}
    for name in (*SCALED, *SHIFTED, *MULTIPLIED):
        if name in source and name in target:
            pairs = [_pair(source[name], target[name], part) for part in parts]
            fitted = np.array([_line(name, *pair, numbers, scale) for pair in pairs])
            if np.isfinite(fitted).all():
                offset[name], factor[name] = (
                    np.resize(fitted[:, 0], 12),
                    np.resize(fitted[:, 1], 12),
                )
    return Correction(offset, factor, days, seasonal) if factor else None


def unsure(members, rng, numbers):
    """Members of a source that could not be put on the yard's climate, each off in its own way.

    Parameters
    ----------
    members : list of pandas.DataFrame
        Hourly weather, one table a member.
    rng : numpy.random.Generator
        Draws a shift of temperature (align.unsure_c) and factors of wind, rain and light
        (align.unsure_log) for each member.

    Returns
    -------
    list of pandas.DataFrame
    """
    out = []
    for table in members:
        warmer = rng.normal(0, numbers["align.unsure_c"])
        factors = np.exp(rng.normal(0, numbers["align.unsure_log"], len(MULTIPLIED)))
        out.append(_moved(table, warmer, factors))
    return out


def drifting(member, count, rng, numbers):
    """One run of weather ahead as so many, each erring on its own and more with every day.

    Parameters
    ----------
    member : pandas.DataFrame
        Hourly weather of a forecast that says nothing of its own uncertainty.
    count : int
        How many are wanted.
    rng : numpy.random.Generator
        Draws the errors: of temperature with a standard deviation of align.drift_c x days ahead, of
        wind, rain and light of align.drift_log x the root of days ahead in the logarithm, each
        remembered for about align.drift_memory_d days.

    Returns
    -------
    list of pandas.DataFrame
    """
    lead = np.arange(len(member)) / 24
    keep = np.exp(-1 / (24 * numbers["align.drift_memory_d"]))
    out = []
    for _ in range(count):
        error = _remembered(rng.standard_normal((len(lead), 1 + len(MULTIPLIED))), keep)
        warmer = numbers["align.drift_c"] * lead * error[:, 0]
        grown = numbers["align.drift_log"] * np.sqrt(lead)[:, None] * error[:, 1:]
        out.append(_moved(member, warmer, np.exp(grown).T))
    return out


def _remembered(normal, keep):
    """Rows of normal draws made to follow one another: unit variance, correlation `keep`."""
    from scipy.signal import lfilter

    fresh = np.sqrt(1 - keep**2) * normal
    fresh[0] = normal[0]
    return lfilter([1.0], [1.0, -keep], fresh, axis=0)


def _moved(table, warmer, factors):
    """The table warmer by so much, its multiplied quantities times their factors, within bounds."""
    moved = table.drop(columns=["dewpoint_c"], errors="ignore").copy()
    shifted = moved["temp_c"] + warmer
    moved["temp_c"] = np.clip(shifted, WEATHER["temp_c"].low, WEATHER["temp_c"].high)
    for name, factor in zip(MULTIPLIED, factors, strict=True):
        if name in moved:
            moved[name] = np.clip(moved[name] * factor, 0, WEATHER[name].high)
    return moved


def _highest(name):
    return 100.0 if WEATHER[name].unit == "%" else WEATHER[name].high


def _windows(month, seasonal):
    """Which hours each correction is fitted on: those of a month and its neighbours, or all."""
    if not seasonal:
        return [np.ones(len(month), bool)]
    return [np.isin(month, [(m - 1) % 12, m, (m + 1) % 12]) for m in MONTHS]


def _pair(source, target, part):
    both = part & source.notna().to_numpy() & target.notna().to_numpy()
    return source.to_numpy(float)[both], target.to_numpy(float)[both]


def _line(name, source, target, numbers, scale):
    """Offset and factor of one quantity, drawn towards 0 and 1 by how little is known."""
    days = len(source) / 24
    if days < 1:
        return 0.0, 1.0
    if name in MULTIPLIED:
        return 0.0, _ratio(name, source, target, days, numbers)
    factor = 1.0
    if scale and name in SCALED and np.ptp(source) > 0:
        most = numbers["align.scale_most"]
        swing = np.clip(target.std() / source.std(), 1 / most, most)
        factor = swing ** (days / (days + numbers["align.scale_trust_d"]))
    trust = days / (days + numbers["align.trust_d"])
    moved = source.mean() + trust * (target.mean() - source.mean())
    return moved - factor * source.mean(), factor


def _ratio(name, source, target, days, numbers):
    if source.mean() <= 0 or target.mean() <= 0:
        return 1.0  # a dry spell tells nothing of how much it rains
    if name == "precip_mm":
        most = numbers["align.rain_most"]
        hours = min(_equal_hours(source), _equal_hours(target))
        trust = hours / (hours + numbers["align.rain_trust_h"])
    else:
        most = numbers["align.scale_most"]
        trust = days / (days + numbers["align.trust_d"])
    return np.clip(target.mean() / source.mean(), 1 / most, most) ** trust


def _equal_hours(rain):
    """How many equally wet hours tell as much as these: Kish's effective size, 1 for one storm."""
    share = rain / rain.max()
    return share.sum() ** 2 / (share**2).sum()
