"""What the season did to the plants: water, dry and wet spells, frost on bloom, early or late."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import gammainc, ndtri

from flowcast import weather
from flowcast.numbers import Numbers
from flowcast.reasons.spans import Against, against, known_sum

SPI_MOST = 3.0  # a fitted distribution tells nothing of rarer months than one in 700


@dataclass(frozen=True)
class Plants:
    """Water and timing of a span.

    rain_mm, soil_frac (mean), parched_days (soil water below reasons.parched_frac), longest_dry_d
    (days in a row with less than reasons.wet_day_mm), bloom_soil_frac (mean over stated bloom and
    reasons.before_bloom_d before it; of the span where nothing is stated), frost_days (lowest below
    reasons.frost_c on stated bloom), lead_d (early positive, at midsummer; NaN where the span does not
    hold it, or without normals): each against the other years, NaN where too many days are missing. months: index the first date of each month of
    the span; soil_frac, soil_usual, rain_mm, rain_usual. spi: standardized precipitation index of
    the span's rain, NaN with fewer than reasons.spi_years.
    """

    rain_mm: Against
    soil_frac: Against
    parched_days: Against
    longest_dry_d: Against
    bloom_soil_frac: Against
    frost_days: Against
    lead_d: Against
    months: pd.DataFrame
    spi: float


def plants_against(
    spans: dict[int, pd.DataFrame], year: int, bloom: np.ndarray, numbers: Numbers
) -> Plants:
    """The figures of one year's span against the others.

    Parameters
    ----------
    spans : dict
        Year -> days with precip_mm, soil_water_frac, temp_min_c, lead_d.
    bloom : array of bool, shape (days,)
        Whether something the keeper names blooms on each day of the span.
    """
    watered = _with_days_before(bloom, int(numbers["reasons.before_bloom_d"]))
    figures = {y: _figures(part, bloom, watered, numbers) for y, part in spans.items()}
    told = {name: against({y: f[name] for y, f in figures.items()}, year) for name in figures[year]}
    rain = np.array([f["rain_mm"] for y, f in figures.items() if y != year])
    rain = rain[np.isfinite(rain)]
    enough = len(rain) >= numbers["reasons.spi_years"] and np.isfinite(told["rain_mm"].now)
    spi = standardized_precipitation(told["rain_mm"].now, rain) if enough else np.nan
    return Plants(**told, months=_months(spans, year, numbers), spi=spi)


def _with_days_before(bloom: np.ndarray, days: int) -> np.ndarray:
    """Bloom and so many days before each of its days; every day where nothing blooms."""
    if not bloom.any():
        return np.ones(len(bloom), bool)
    ahead = np.convolve(bloom[::-1], np.ones(days + 1), mode="full")[: len(bloom)][::-1]
    return ahead > 0


def _figures(part: pd.DataFrame, bloom, watered, numbers: Numbers) -> dict[str, float]:
    known = part["precip_mm"].notna()
    soil = part["soil_water_frac"].where(known)  # it runs on through days without rain told
    parched = (soil < numbers["reasons.parched_frac"]).astype(float).where(soil.notna())
    frost = (part["temp_min_c"] < numbers["reasons.frost_c"]).astype(float)
    frost = frost.where(part["temp_min_c"].notna())[bloom]
    whole = known.mean() >= 1 - numbers["reasons.missing_share"]
    return {
        "rain_mm": known_sum(part["precip_mm"], numbers),
        "soil_frac": known_sum(soil, numbers) / len(part),
        "parched_days": known_sum(parched, numbers),
        "longest_dry_d": float(longest_run(part["precip_mm"], numbers)) if whole else np.nan,
        "bloom_soil_frac": known_sum(soil[watered], numbers) / max(int(watered.sum()), 1),
        "frost_days": known_sum(frost, numbers) if len(frost) else 0.0,
        "lead_d": _lead_at_midsummer(part),
    }


def standardized_precipitation(rain_mm: float, others_mm: np.ndarray) -> float:
    """How rare this rain is among that of other years, as a standard normal deviate. [1]

    Parameters
    ----------
    others_mm : array, shape (years,)
        Rain of the same dates in other years. [mm]

    Returns
    -------
    float
        Below -1 moderately dry, below -2 extremely dry; held within -3 and 3. NaN when no year had
        rain.

    Notes
    -----
    SPI of McKee, Doesken and Kleist 1993 (8th Conf. on Applied Climatology), MEMORY: a gamma
    distribution fitted by Thom's approximation of maximum likelihood, A = ln(mean) - mean(ln),
    shape = (1 + sqrt(1 + 4 A / 3)) / (4 A), scale = mean / shape, with the share of dry spans as a
    mass at zero.
    """
    others = np.asarray(others_mm, float)
    wet = others[others > 0]
    if not len(wet):
        return np.nan
    dry = 1 - len(wet) / len(others)
    off = np.log(wet.mean()) - np.log(wet).mean()
    if off <= 0:  # all alike
        return 0.0 if rain_mm == wet.mean() else float(np.sign(rain_mm - wet.mean()) * SPI_MOST)
    shape = (1 + np.sqrt(1 + 4 * off / 3)) / (4 * off)
    if rain_mm <= 0 and dry:
        below = dry / 2  # no rain at all stands in the middle of the dry ones
    else:
        below = dry + (1 - dry) * gammainc(shape, rain_mm / (wet.mean() / shape))
    return float(np.clip(ndtri(below), -SPI_MOST, SPI_MOST))


def longest_run(rain_mm: pd.Series, numbers: Numbers) -> int:
    """Days in a row with less than reasons.wet_day_mm, the longest such spell. [d]"""
    dry = (rain_mm < numbers["reasons.wet_day_mm"]).to_numpy()
    longest = run = 0
    for day in dry:
        run = run + 1 if day else 0
        longest = max(longest, run)
    return longest


def _lead_at_midsummer(part: pd.DataFrame) -> float:
    """The lead of the last day on which warmth still moves plants, where the span holds its end."""
    lead = part["lead_d"]
    ends = lead.notna() & lead.shift(-1).isna()
    ends.iloc[-1] = False  # it may go on beyond the span
    return float(lead[ends].iloc[0]) if ends.any() else np.nan


def _months(spans: dict[int, pd.DataFrame], year: int, numbers: Numbers) -> pd.DataFrame:
    rows = {}
    for month, days in spans[year].groupby(pd.Grouper(freq="MS")):
        at = spans[year].index.get_indexer(days.index)
        soil = {y: p["soil_water_frac"].iloc[at] for y, p in spans.items()}
        rain = {y: p["precip_mm"].iloc[at] for y, p in spans.items()}
        means = against({y: known_sum(v, numbers) / len(v) for y, v in soil.items()}, year)
        sums = against({y: known_sum(v, numbers) for y, v in rain.items()}, year)
        rows[max(month, spans[year].index[0])] = {
            "soil_frac": means.now,
            "soil_usual": means.usual,
            "rain_mm": sums.now,
            "rain_usual": sums.usual,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def rain_against_normal(
    precip_mm: pd.Series, season_start: tuple[int, int], numbers: Numbers
) -> np.ndarray:
    """Antecedent rain as a share of its mean on the season day, by day; 1 where there is no normal.

    soil.rain_least_mm is added to both, so that a shower in a desert is no flood.
    """
    before = pd.Series(weather.antecedent_rain(precip_mm, numbers), precip_mm.index)
    course = weather.normal_course(before.to_frame("mm"), "mm", season_start, numbers)["mean"]
    normal = course.to_numpy()[weather.season_day(precip_mm.index, season_start)]
    least = numbers["soil.rain_least_mm"]
    share = (before.to_numpy() + least) / (normal + least)
    return np.where(np.isfinite(share), share, 1.0)
