"""A span of days explained: what the weather took or gave, what the hives did, and what stands out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.foraging import FACTORS
from flowcast.numbers import Numbers
from flowcast.reasons.hives import (
    HiveSeason,
    LowHive,
    daily_shares,
    full_days,
    gain_against,
    low_hives,
    other_gains,
    told_share,
)
from flowcast.reasons.hours import by_month, hours_against
from flowcast.reasons.plants import Plants, plants_against
from flowcast.reasons.spans import Against, against, known_sum, same_dates


@dataclass(frozen=True)
class Reason:
    """Something that set this span apart: what, and the figure behind it, costs (-1) or gains (+1).

    what: "cold", "heat", "rain", "wind", "light", "humid" (hours of flight), "dry", "wet" (the soil;
    wet may do either, way 0), "frost". in_bloom: the figure is that of the days of stated bloom.
    """

    what: str
    figure: Against
    way: int
    in_bloom: bool


@dataclass(frozen=True)
class Season:
    """A span against the same dates of the yard's other years.

    hours, bloom_hours: foraging hours and days and hours lost to each factor, over the span and over
    its days of stated bloom (None where nothing is stated or nothing stated blooms in the span).
    months: as `hours.by_month`. daily: now and usual foraging hours of each date. weekly: index the
    first date of each week; now, usual, low, high foraging hours. gain: of the yard's middle hive, NaN
    without enough log, against the other seasons of the log, which gain_years names; gain_known: the share
    of its days that are known, gain_told: as `hives.told_share`. hives: each one;
    low: those far behind the others. reasons: from the weightiest on. years: of weather, this one
    counted.
    """

    first: pd.Timestamp
    last: pd.Timestamp
    hours: dict[str, Against]
    bloom_hours: dict[str, Against] | None
    months: pd.DataFrame
    daily: pd.DataFrame
    weekly: pd.DataFrame
    plants: Plants
    gain: Against
    gain_years: tuple[int, ...]
    gain_known: float
    gain_told: float
    hives: tuple[HiveSeason, ...]
    low: tuple[LowHive, ...]
    reasons: tuple[Reason, ...]
    years: int
    missing_days: int
    gain_side: int
    full_days: int


def explain_span(
    daily: pd.DataFrame,
    spans: pd.DataFrame,
    bloom: pd.Series,
    hives: list[HiveSeason],
    first: pd.Timestamp,
    last: pd.Timestamp,
    numbers: Numbers,
) -> Season:
    """Explain the days from `first` to `last`, both included.

    Parameters
    ----------
    daily : DataFrame
        The record's days: foraging hours and losses, precip_mm, soil_water_frac, temp_min_c, lead_d.
    spans : DataFrame
        Gains of the yard (`tables.GAIN`); may be empty.
    bloom : Series of bool
        Whether a plant the keeper names blooms, by local date, over the days of `daily`.
    hives : list of HiveSeason
        What the hives did in the span.
    """
    year = first.year
    days = same_dates(daily, first, last, numbers)
    blooms = bloom.reindex(days[year].index, fill_value=False).to_numpy()
    hours = hours_against(days, year, numbers)
    in_bloom = {y: part[blooms] for y, part in days.items()}
    bloom_hours = hours_against(in_bloom, year, numbers) if blooms.any() else None
    plants = plants_against(days, year, blooms, numbers)
    shares = {y: daily_shares(spans, part.index[0], part.index[-1]) for y, part in days.items()}
    gain = gain_against(shares, year, blooms, numbers)
    known = shares[year].notna().to_numpy()
    return Season(
        first=first,
        last=last,
        hours=hours,
        bloom_hours=bloom_hours,
        months=by_month(days, year, numbers),
        daily=_daily(days, year),
        weekly=_weekly(days, year, numbers),
        plants=plants,
        gain=gain,
        gain_years=tuple(other_gains(shares, year, blooms, numbers)),
        gain_known=float(known.mean()),
        gain_told=told_share(known, blooms, numbers),
        hives=tuple(hives),
        low=tuple(low_hives(hives, numbers)),
        reasons=_reasons(hours, bloom_hours, plants, numbers),
        years=hours["foraging_h"].years,
        missing_days=int(days[year]["foraging_h"].isna().sum()),
        gain_side=_side(gain, numbers),
        full_days=int(full_days(spans, days[year].index[0], days[year].index[-1]).sum()),
    )


def _side(gain: Against, numbers: Numbers) -> int:
    """Whether the gain lies far off the mean of the others, by share and by a few kilograms."""
    if not np.isfinite(gain.more):
        return 0
    far = abs(gain.more) > numbers["reasons.far_behind"] * abs(gain.usual)
    return (
        int(np.sign(gain.more)) if far and abs(gain.more) > numbers["reasons.hive_gain_kg"] else 0
    )


def _daily(days: dict[int, pd.DataFrame], year: int) -> pd.DataFrame:
    hours = {y: part["foraging_h"].to_numpy(float) for y, part in days.items()}
    others = pd.DataFrame({y: values for y, values in hours.items() if y != year})
    usual = others.mean(axis=1).reindex(range(len(days[year]))).to_numpy()
    return pd.DataFrame({"now": hours[year], "usual": usual}, days[year].index)


def _weekly(days: dict[int, pd.DataFrame], year: int, numbers: Numbers) -> pd.DataFrame:
    rows, hours = {}, {y: part["foraging_h"].to_numpy(float) for y, part in days.items()}
    for start in range(0, len(days[year]) - 6, 7):
        week = {y: known_sum(values[start : start + 7], numbers) for y, values in hours.items()}
        found = against(week, year)
        rows[days[year].index[start]] = {
            "now": found.now,
            "usual": found.usual,
            "low": found.low,
            "high": found.high,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def _reasons(hours, bloom_hours, plants: Plants, numbers: Numbers) -> tuple[Reason, ...]:
    """What lies far outside the usual and is worth naming, the weightiest first.

    Hours within bloom count instead of hours of the whole span: an hour lost when nothing blooms
    costs nothing. Lost hours are a cost only where flight fell short of the usual, since in a dry year
    they go from one factor to another, and a gift only where there was more of it.
    """
    told, at = bloom_hours or hours, bloom_hours is not None
    short = np.sign(told["foraging_h"].more)
    found = [
        Reason(factor, told[f"lost_{factor}_h"], int(-np.sign(told[f"lost_{factor}_h"].more)), at)
        for factor in FACTORS
        if abs(told[f"lost_{factor}_h"].more) >= numbers["reasons.hours_least"]
        and np.sign(told[f"lost_{factor}_h"].more) == -short
    ]
    soil = plants.bloom_soil_frac
    found.append(Reason("dry" if soil.more < 0 else "wet", soil, -1 if soil.more < 0 else 0, at))
    if plants.frost_days.now > 0 and plants.frost_days.more > 0:
        found.append(Reason("frost", plants.frost_days, -1, True))
    odd = [r for r in found if _is_strange(r.figure, numbers)]
    if any(
        r.what == "dry" for r in odd
    ):  # what rain did not take in flight it did not give the flowers
        odd = [r for r in odd if r.way <= 0]
    return tuple(sorted(odd, key=lambda r: -_weight(r)))


def _is_strange(figure: Against, numbers: Numbers) -> bool:
    enough = figure.years - 1 >= numbers["reasons.others_least"]
    return enough and abs(figure.strangeness) >= numbers["reasons.strange"]


def _weight(reason: Reason) -> float:
    """Strangeness, and for hours their number: forty hours outweigh ten however strange."""
    size = min(abs(reason.figure.more) / 20, 3.0) if reason.what in FACTORS else 1.5
    return min(abs(reason.figure.strangeness), 4.0) * size
