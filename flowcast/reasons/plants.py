"""What the season did to the plants: water, dry and wet spells, frost on bloom, early or late."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import gamma, norm

from flowcast.numbers import Numbers
from flowcast.reasons.spans import Against, against

SPI_MOST = 3.0  # a fitted distribution tells nothing of rarer months than one in 700


@dataclass(frozen=True)
class Plants:
    """Water and timing of a span.

    rain_mm, soil_frac (mean), parched_days (soil water below reasons.parched_frac), longest_dry_d
    (days in a row with less than reasons.wet_day_mm), frost_days (lowest below reasons.frost_c while
    something blooms), lead_d (early positive, at its last day on which warmth still moves plants;
    NaN without normals): each against the other years. months: index the first date of each month of
    the span; soil_frac, soil_usual, rain_mm, rain_usual. spi: standardized precipitation index of
    the span's rain, NaN with fewer than reasons.spi_years.
    """

    rain_mm: Against
    soil_frac: Against
    parched_days: Against
    longest_dry_d: Against
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
    figures = {
        "rain_mm": lambda p: float(p["precip_mm"].sum()),
        "soil_frac": lambda p: float(p["soil_water_frac"].mean()),
        "parched_days": lambda p: float(
            (p["soil_water_frac"] < numbers["reasons.parched_frac"]).sum()
        ),
        "longest_dry_d": lambda p: float(longest_run(p["precip_mm"], numbers)),
        "frost_days": lambda p: float(
            ((p["temp_min_c"] < numbers["reasons.frost_c"]) & bloom).sum()
        ),
        "lead_d": _last_lead,
    }
    told = {
        name: against({y: figure(p) for y, p in spans.items()}, year)
        for name, figure in figures.items()
    }
    rain = np.array([figures["rain_mm"](p) for y, p in spans.items() if y != year])
    enough = len(rain) >= numbers["reasons.spi_years"]
    spi = standardized_precipitation(told["rain_mm"].now, rain) if enough else np.nan
    return Plants(**told, months=_months(spans, year), spi=spi)


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
        below = dry + (1 - dry) * gamma.cdf(rain_mm, shape, scale=wet.mean() / shape)
    return float(np.clip(norm.ppf(below), -SPI_MOST, SPI_MOST))


def longest_run(rain_mm: pd.Series, numbers: Numbers) -> int:
    """Days in a row with less than reasons.wet_day_mm, the longest such spell. [d]"""
    dry = (rain_mm < numbers["reasons.wet_day_mm"]).to_numpy()
    longest = run = 0
    for day in dry:
        run = run + 1 if day else 0
        longest = max(longest, run)
    return longest


def _last_lead(part: pd.DataFrame) -> float:
    known = part["lead_d"].dropna()
    return float(known.iloc[-1]) if len(known) else np.nan


def _months(spans: dict[int, pd.DataFrame], year: int) -> pd.DataFrame:
    rows = {}
    for month, days in spans[year].groupby(pd.Grouper(freq="MS")):
        at = spans[year].index.get_indexer(days.index)
        soil = against(
            {y: float(p["soil_water_frac"].iloc[at].mean()) for y, p in spans.items()}, year
        )
        rain = against({y: float(p["precip_mm"].iloc[at].sum()) for y, p in spans.items()}, year)
        rows[max(month, spans[year].index[0])] = {
            "soil_frac": soil.now,
            "soil_usual": soil.usual,
            "rain_mm": rain.now,
            "rain_usual": rain.usual,
        }
    return pd.DataFrame.from_dict(rows, orient="index")
