"""How long the stores last, and what to feed by when."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.advice.ahead import (
    HiveAhead,
    cold_from,
    first_true,
    flows,
    next_flow,
    positions,
    two_weeks,
)
from flowcast.advice.hive import Estimate, HiveNow, floor_of
from flowcast.advice.when import Advice, when_of
from flowcast.numbers import Numbers

PEAK_D = 28
CAUTIONS = (
    "white sugar only",
    "no honey or comb of other hives",
    "inside, at dusk, small entrance",
)


@dataclass(frozen=True, kw_only=True)
class StoresAdvice(Advice):
    """Verdicts: "enough", "feed", "feed now", "supers off first", "unknown".

    stores_kg: quantiles 10, 50, 90 % of what is in the hive now. low: index the date; chance that
    the stores have fallen to the floor by then, before the next flow. starve_chance: that they
    run out altogether before it, if nothing is fed; peak: first and last date of the four weeks in
    which most of the futures that starve do so. feed_kg: stores to be made in
    all for 50, 80 and 90 % of the years, portion_kg at a time, sugar_kg for the last. food:
    "syrup 2:1", "syrup 1:1" or "fondant". finish_by: last day for syrup; then fondant.
    """

    stores_kg: tuple[float, float, float] | None = None
    floor_kg: float = 0.0
    low: pd.Series | None = None
    starve_chance: float = 0.0
    peak: tuple[pd.Timestamp, pd.Timestamp] | None = None
    feed_kg: tuple[float, float, float] | None = None
    portion_kg: float | None = None
    sugar_kg: float | None = None
    food: str | None = None
    finish_by: pd.Timestamp | None = None


def stores_advice(
    hive: HiveNow,
    ahead: HiveAhead,
    stores: Estimate,
    temp_c: np.ndarray,
    visits: pd.DatetimeIndex,
    threshold_kg: float,
    numbers: Numbers,
    *,
    beetle_season: bool = False,
) -> StoresAdvice:
    """When the stores fall to the floor, and what to feed by when.

    Parameters
    ----------
    ahead : HiveAhead
        To the first reliable flow of the season to come: 250 to 300 days.
    temp_c : array (scenarios, days)
        Daily mean temperature of each future. [°C]
    visits : DatetimeIndex
        The visits ahead. Fondant can be laid on without one.
    beetle_season : bool
        Whether beetles breed: small amounts only.

    Notes
    -----
    Two needs are told apart. In season a hive is fed on the last visit before which the chance of
    falling to the floor by the one after stays below `timing.low_chance`, and for
    `timing.feed_span_d` or to the next flow. Before a winter it is fed while bees still take syrup,
    for the whole time to the next flow, as late as that allows, since a late flow may save it.
    """
    floor = floor_of(hive, numbers)
    over = ahead.drawn(stores)[:, None] + ahead.gained_kg - floor
    windows = flows(ahead.gain_kg, threshold_kg, numbers)
    flow = next_flow(windows, len(ahead.dates))
    cold = cold_from(temp_c, numbers["timing.syrup_from_c"])
    spring = next_flow(windows, len(ahead.dates), after=cold)
    before = np.arange(len(ahead.dates)) < flow[:, None]
    low = first_true((over < 0) & before)
    empty = first_true((over < numbers["timing.starved_kg"] - floor) & before)
    fallen = (low[:, None] <= np.arange(len(ahead.dates))).mean(axis=0)
    found = StoresAdvice(
        verdict="enough",
        hive=hive.name,
        stores_kg=stores.three,
        floor_kg=floor,
        low=pd.Series(fallen, index=ahead.dates, name="chance"),
        starve_chance=float((empty < len(ahead.dates)).mean()),
        peak=_peak(empty, ahead.dates),
        finish_by=_finish_by(cold, ahead.dates),
        reasons=("stores last",),
        changes=("another flow", "a cold spring", "more brood than usual"),
        cautions=CAUTIONS,
        needs=("weight or full frames",) if stores.how == "unknown" else (),
    )
    occasions = _occasions(visits, temp_c, ahead.dates, numbers)
    if stores.how == "unknown":  # a guess is no ground to open a hive and feed
        return replace(found, verdict="unknown", reasons=())
    need = _soonest(
        _in_season(over, flow, low, occasions, ahead.dates, numbers),
        _before_winter(over, spring, found.finish_by, visits, ahead.dates, numbers),
    )
    if need is None:
        return found
    return _fed(found, hive, need, low, temp_c, ahead.dates, beetle_season, numbers)


@dataclass(frozen=True)
class _Need:
    """Stores that are missing, one value a scenario [kg]; the day to feed; what it is for."""

    missing_kg: np.ndarray
    day: pd.Timestamp
    reason: str


def _in_season(over, flow, low, at, dates, numbers: Numbers) -> _Need | None:
    """The need of the weeks after the first visit that cannot be passed by."""
    after = [*at[1:], len(dates)]
    for here, then in zip(at, after, strict=True):
        then = min(then, here + int(numbers["timing.feed_span_d"]))
        if (low < then).mean() >= numbers["timing.low_chance"]:
            end = np.minimum(np.maximum(flow, then), here + int(numbers["timing.feed_span_d"]))
            return _Need(_missing(over, end), dates[here], "stores fall to the floor")
    return None


def _before_winter(over, flow, finish_by, visits, dates, numbers: Numbers) -> _Need | None:
    """The need of the winter ahead, begun in time to be taken down while bees take syrup."""
    if finish_by is None:
        return None
    missing = _missing(over, flow)
    kg = float(np.quantile(missing, numbers["timing.leave_chance"]))
    portions = np.ceil(kg / numbers["timing.feed_portion_kg"])
    begin = finish_by - pd.Timedelta(days=int(portions * numbers["timing.portion_every_d"]))
    kept = visits[(visits <= max(begin, visits[0]))] if len(visits) else visits
    if kg <= 0 or not len(kept):
        return None
    return _Need(missing, kept[-1], "winter ahead")


def _soonest(*needs: _Need | None) -> _Need | None:
    return min((n for n in needs if n is not None), key=lambda need: need.day, default=None)


def _missing(over: np.ndarray, end: np.ndarray) -> np.ndarray:
    """How far each scenario falls below the floor before its day `end`; 0 when it does not. [kg]"""
    inside = np.arange(over.shape[1]) < end[:, None]
    return np.maximum(-np.where(inside, over, np.inf).min(axis=1), 0.0)


def _finish_by(cold: np.ndarray, dates: pd.DatetimeIndex) -> pd.Timestamp | None:
    """The day by which syrup must be down: from then on it is more likely too cold for it than not.

    None where no winter lies ahead, or it is too cold already.
    """
    day = int(np.quantile(cold, 0.5, method="nearest"))
    return dates[day] if 0 < day < len(dates) else None


def _occasions(visits, temp_c: np.ndarray, dates, numbers: Numbers) -> np.ndarray:
    """Positions of days on which a hive can be fed: the visits, and once a week in the cold, when
    fondant is laid on without opening the nest."""
    cold = np.median(two_weeks(temp_c), axis=0) < numbers["timing.syrup_from_c"]
    weekly = np.arange(0, len(dates), 7)
    return np.union1d(positions(visits, dates), weekly[cold[weekly]])


def _fed(
    found: StoresAdvice,
    hive: HiveNow,
    need: _Need,
    low: np.ndarray,
    temp_c: np.ndarray,
    dates: pd.DatetimeIndex,
    beetle_season: bool,
    numbers: Numbers,
) -> StoresAdvice:
    """The advice with amount, food and date; no syrup with supers on for people."""
    feed = np.quantile(need.missing_kg, [0.5, 0.8, numbers["timing.leave_chance"]])
    if not feed[-1] > 0:
        return found
    food = _food(need, temp_c, dates, numbers)
    small = beetle_season or hive.nucleus
    portion = numbers["timing.feed_small_kg" if small else "timing.feed_portion_kg"]
    portion = numbers["timing.fondant_kg"] if food == "fondant" else portion
    when = replace(when_of(low, need.day, dates), date=need.day)
    verdict = "feed now" if need.day <= dates[0] + pd.Timedelta(days=7) else "feed"
    verdict = "supers off first" if hive.supers_on and food != "fondant" else verdict
    return replace(
        found,
        verdict=verdict,
        when=when,
        reasons=(need.reason, *(("brood eats a frame for a frame",) if food != "fondant" else ())),
        feed_kg=tuple(float(v) for v in feed),
        portion_kg=float(min(portion, feed[-1])),
        sugar_kg=float(feed[-1] / numbers["timing.sugar_to_stores"]),
        food=food,
        cautions=(
            *CAUTIONS,
            *(("never with supers on",) if hive.supers_on is not False else ()),
            *(("small amounts, no patties",) if beetle_season else ()),
        ),
    )


def _food(need: _Need, temp_c: np.ndarray, dates: pd.DatetimeIndex, numbers: Numbers) -> str:
    """Fondant where it is too cold for syrup on that day; thick syrup for stores, thin for spring."""
    day = dates.get_loc(need.day)
    warmth = two_weeks(temp_c)[:, day]
    if np.median(warmth) < numbers["timing.syrup_from_c"]:
        return "fondant"
    later = two_weeks(temp_c)[:, min(day + 30, len(dates) - 1)]
    warming = np.median(later - warmth) > 0 and need.reason != "winter ahead"
    return "syrup 1:1" if warming else "syrup 2:1"


def _peak(empty: np.ndarray, dates: pd.DatetimeIndex) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """The four weeks in which most hives that run out do so."""
    falls = np.bincount(empty[empty < len(dates)], minlength=len(dates))
    if not falls.any():
        return None
    sums = np.convolve(falls, np.ones(PEAK_D))[PEAK_D - 1 :]
    first = int(sums.argmax())
    return dates[first], dates[min(first + PEAK_D - 1, len(dates) - 1)]
