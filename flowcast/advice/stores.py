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
from flowcast.advice.hive import Estimate, HiveNow, floor_of, overweight
from flowcast.advice.visits import CALENDAR_D
from flowcast.advice.when import Advice, visit_before, when_of
from flowcast.numbers import Numbers

STARVING = "starving"
PEAK_D = 28
FOR_WINTER = ("winter ahead", "late for winter")
SPRING_D = 30  # a month that is warmer than now tells of spring
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

    @property
    def at_once(self) -> bool:
        """Whether the hive may starve before the next visit, and is fed today in any weather."""
        return STARVING in self.reasons

    def short_until(self, numbers: Numbers) -> pd.Timestamp | None:
        """The day up to which the hive wants feed more than anything else, and is not to be split.

        The last day looked at where it may starve, or is likelier than not to fall to the floor
        before the next flow; else as long as the feed to be given soon is meant to last, by which a
        round of brood reared on it is bees. None where it has enough for the weeks ahead.
        """
        if self.at_once or self.low.iloc[-1] >= 0.5:
            return self.low.index[-1]
        span = pd.Timedelta(days=int(numbers["timing.feed_span_d"]))
        if self.feed_kg is None or self.when.date > self.low.index[0] + span:
            return None
        return self.when.date + span


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
    `timing.feed_span_d` or to the next flow; a need further off is left to a later look. Before a
    winter it is fed while bees still take syrup, for the whole time to the next flow, as late as that
    allows, since a late flow may save it; how much, by what years make of it, as in what to leave.
    """
    course = _course(hive, ahead, stores, temp_c, threshold_kg, numbers)
    found = StoresAdvice(
        verdict="enough",
        hive=hive.name,
        stores_kg=stores.three,
        floor_kg=floor_of(hive, numbers),
        low=pd.Series(course.share_by_day(course.low), index=ahead.dates, name="chance"),
        starve_chance=float((course.empty < len(ahead.dates)).mean()),
        peak=_peak(course.empty, ahead.dates),
        finish_by=_finish_by(course.cold, ahead.dates),
        reasons=("stores last" if _lasts(course) else "look again",),
        changes=("another flow", "a cold spring", "more brood than usual"),
        cautions=(*CAUTIONS, *(("more than combs hold",) if overweight(hive, numbers) else ())),
        needs=("weight or full frames",) if stores.how == "unknown" else (),
    )
    if stores.how == "unknown":  # a guess is no ground to open a hive and feed
        return replace(found, verdict="unknown", reasons=())
    need = _soonest(
        _starving(course, visits, numbers),
        _in_season(course, _occasions(visits, course, numbers), numbers),
        _before_winter(course, found.finish_by, visits, numbers),
    )
    if need is None:
        return found
    return _fed(found, hive, need, course, beetle_season, numbers)


@dataclass(frozen=True)
class _Course:
    """The stores of every future over the floor at the end of each day, and those of a colony that uses
    the middle of what is known [kg]; and what meets them.

    Positions, one a future, the number of days where it does not come: flow, the next flow; cold,
    from when bees take no syrup; spring, the first flow after that; low and empty, when the stores
    fall to the floor and run out, before the next flow.
    """

    dates: pd.DatetimeIndex
    over_kg: np.ndarray
    usual_kg: np.ndarray
    temp_c: np.ndarray
    flow: np.ndarray
    cold: np.ndarray
    spring: np.ndarray
    low: np.ndarray
    empty: np.ndarray

    def share_by_day(self, position: np.ndarray) -> np.ndarray:
        """Share of futures in which this has come by the end of each day."""
        return (position[:, None] <= np.arange(len(self.dates))).mean(axis=0)

    def missing_kg(self, over_kg: np.ndarray, end: np.ndarray) -> np.ndarray:
        """How far each future falls below the floor before its day `end`; 0 when it does not."""
        inside = np.arange(len(self.dates)) < end[:, None]
        return np.maximum(-np.where(inside, over_kg, np.inf).min(axis=1), 0.0)


def _course(hive, ahead: HiveAhead, stores, temp_c, threshold_kg, numbers: Numbers) -> _Course:
    floor, days = floor_of(hive, numbers), len(ahead.dates)
    held = ahead.drawn(stores)[:, None] - floor
    over = held + ahead.gained_kg
    windows = flows(ahead.gain_kg, threshold_kg, numbers)
    flow = next_flow(windows, days)
    cold = cold_from(temp_c, numbers["timing.syrup_from_c"])
    before = np.arange(days) < flow[:, None]
    return _Course(
        dates=ahead.dates,
        over_kg=over,
        usual_kg=held + ahead.usual_gained_kg,
        temp_c=temp_c,
        flow=flow,
        cold=cold,
        spring=next_flow(windows, days, after=cold),
        low=first_true((over < 0) & before),
        empty=first_true((over < numbers["timing.starved_kg"] - floor) & before),
    )


def _lasts(course: _Course) -> bool:
    """Whether the stores last to the next flow in most futures."""
    return bool((course.low < len(course.dates)).mean() < 0.5)


@dataclass(frozen=True)
class _Need:
    """Stores that are missing, one value a future [kg]; the day to feed; what it is for."""

    missing_kg: np.ndarray
    day: pd.Timestamp
    reason: str


def _starving(course: _Course, visits: pd.DatetimeIndex, numbers: Numbers) -> _Need | None:
    """The need of a hive that may run out before the first visit: nobody waits for a fit day then."""
    first = int(course.dates.get_indexer(visits[:1], method="bfill")[0]) if len(visits) else -1
    until = first if first >= 0 else len(course.dates)
    span = min(int(numbers["timing.feed_span_d"]), len(course.dates))
    if (course.empty < min(until, span)).mean() < numbers["timing.low_chance"]:
        return None
    end = np.minimum(np.maximum(course.flow, 1), span)
    return _Need(course.missing_kg(course.over_kg, end), course.dates[0], STARVING)


def _in_season(course: _Course, at: np.ndarray, numbers: Numbers) -> _Need | None:
    """The need of the weeks after the first occasion that cannot be passed by."""
    span, days = int(numbers["timing.feed_span_d"]), len(course.dates)
    warm = np.median(two_weeks(course.temp_c), axis=0) >= numbers["timing.syrup_from_c"]
    for here, then in zip(at, [*at[1:], days], strict=True):
        if here > (span if warm[here] else CALENDAR_D):  # what comes in first decides
            return None
        then = min(then, here + span)
        if (course.low < then).mean() >= numbers["timing.low_chance"]:
            end = np.minimum(np.maximum(course.flow, then), here + span)
            missing = course.missing_kg(course.over_kg, end)
            return _Need(missing, course.dates[here], "stores fall to the floor")
    return None


def _before_winter(course: _Course, finish_by, visits, numbers: Numbers) -> _Need | None:
    """The need of the winter ahead, begun in time to be taken down while bees take syrup.

    Too late for syrup it is begun at once, for as long as bees still move about on the combs.
    """
    missing = course.missing_kg(course.usual_kg, course.spring)
    kg = float(np.quantile(missing, numbers["timing.leave_chance"]))
    if kg < numbers["timing.feed_least_kg"]:
        return None
    if finish_by is None:
        moving = np.median(two_weeks(course.temp_c)[:, 0]) >= numbers["timing.cold_c"]
        late = moving and np.median(course.cold) == 0
        return _Need(missing, course.dates[0], "late for winter") if late else None
    portions = int(np.ceil(kg / numbers["timing.feed_portion_kg"]))
    begin = finish_by - pd.Timedelta(days=portions * int(numbers["timing.portion_every_d"]))
    day = visit_before(max(begin, visits[0]), visits) if len(visits) else None
    near = day is not None and day <= course.dates[0] + pd.Timedelta(days=CALENDAR_D)
    return _Need(missing, day, "winter ahead") if near else None


def _soonest(*needs: _Need | None) -> _Need | None:
    return min((n for n in needs if n is not None), key=lambda need: need.day, default=None)


def _finish_by(cold: np.ndarray, dates: pd.DatetimeIndex) -> pd.Timestamp | None:
    """The day by which syrup must be down: from then on it is more likely too cold for it than not.

    None where no winter lies ahead, or it is too cold already.
    """
    day = int(np.quantile(cold, 0.5, method="nearest"))
    return dates[day] if 0 < day < len(dates) else None


def _occasions(visits: pd.DatetimeIndex, course: _Course, numbers: Numbers) -> np.ndarray:
    """Positions of days on which a hive can be fed: the visits, and once a week in the cold, when
    fondant is laid on without opening the nest."""
    cold = np.median(two_weeks(course.temp_c), axis=0) < numbers["timing.syrup_from_c"]
    weekly = np.arange(0, len(course.dates), 7)
    return np.union1d(positions(visits, course.dates), weekly[cold[weekly]])


def _fed(
    found: StoresAdvice,
    hive: HiveNow,
    need: _Need,
    course: _Course,
    beetle_season: bool,
    numbers: Numbers,
) -> StoresAdvice:
    """The advice with amount, food and date; no syrup with supers on for people."""
    feed = np.quantile(need.missing_kg, [0.5, 0.8, numbers["timing.leave_chance"]])
    if not feed[-1] > 0:
        return found
    food = _food(need, course, numbers)
    portion = _portion(food, beetle_season or hive.nucleus, numbers)
    near = need.day <= course.dates[0] + pd.Timedelta(days=7)
    syrup = food != "fondant"
    return replace(
        found,
        verdict="supers off first" if hive.supers_on and syrup else "feed now" if near else "feed",
        when=when_of(course.low, need.day, course.dates),
        reasons=(need.reason, *(("brood eats a frame for a frame",) if syrup else ())),
        feed_kg=tuple(float(v) for v in feed),
        portion_kg=float(min(portion, feed[-1])),
        sugar_kg=float(feed[-1] / numbers["timing.sugar_to_stores"]),
        food=food,
        cautions=(
            *found.cautions,
            *(("never with supers on",) if hive.supers_on is not False else ()),
            *(("small amounts, no patties",) if beetle_season else ()),
        ),
    )


def _food(need: _Need, course: _Course, numbers: Numbers) -> str:
    """Fondant where it is too cold for syrup on that day; thick syrup for stores, thin for spring."""
    day = course.dates.get_loc(need.day)
    weeks = np.median(two_weeks(course.temp_c), axis=0)
    if weeks[day] < numbers["timing.syrup_from_c"]:
        return "fondant"
    warming = weeks[min(day + SPRING_D, len(weeks) - 1)] > weeks[day]
    return "syrup 1:1" if warming and need.reason not in FOR_WINTER else "syrup 2:1"


def _portion(food: str, small: bool, numbers: Numbers) -> float:
    """Stores to be made at a time. [kg]"""
    if food == "fondant":
        return numbers["timing.fondant_kg"]
    return numbers["timing.feed_small_kg" if small else "timing.feed_portion_kg"]


def _peak(empty: np.ndarray, dates: pd.DatetimeIndex) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """The four weeks in which most hives that run out do so."""
    falls = np.bincount(empty[empty < len(dates)], minlength=len(dates))
    if not falls.any():
        return None
    sums = np.convolve(falls, np.ones(PEAK_D))[PEAK_D - 1 :]
    first = int(sums.argmax())
    return dates[first], dates[min(first + PEAK_D - 1, len(dates) - 1)]
