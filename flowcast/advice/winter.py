"""How much to leave for winter or dearth, and what is spare to take."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.advice.ahead import HiveAhead, flows, next_flow
from flowcast.advice.hive import NEST_BOXES, Box, Estimate, HiveNow, floor_of, frame_kg
from flowcast.advice.when import Advice
from flowcast.numbers import Numbers


@dataclass(frozen=True, kw_only=True)
class LeaveAdvice(Advice):
    """Verdicts: "take", "take nothing", "short", "unknown".

    leave_kg: stores to leave when the last flow before winter or dearth is over, for 50, 80 and
    90 % of the years, the last being the advice; never below the floor. doubt_kg: what the advice
    would be if what is not known of the colony's use were counted as well; much_doubt: whether that is
    enough more to be said. from_, to: when that
    flow usually ends (None: it has), and when the next one can be relied on; reached: whether it can within the days
    looked at. frames, boxes: the advice in full frames and in boxes of box_kind. spare_kg: what may
    be taken today with certainty of 90, 80 and 50 % that the rest lasts until then, what is still to
    come reckoned in; short_kg: what is missing today for 50, 80 and 90 % of the years. later_flow:
    chance of another flow before stores are lowest. not_before: the first day fit to open the hive,
    where it is not near.
    """

    leave_kg: tuple[float, float, float] | None = None
    doubt_kg: float | None = None
    much_doubt: bool = False
    floor_kg: float = 0.0
    from_: pd.Timestamp | None = None
    to: pd.Timestamp | None = None
    reached: bool = True
    frames: float | None = None
    boxes: float | None = None
    box_kind: str | None = None
    spare_kg: tuple[float, float, float] | None = None
    short_kg: tuple[float, float, float] | None = None
    later_flow: float | None = None
    not_before: pd.Timestamp | None = None


def leave_advice(
    hive: HiveNow,
    ahead: HiveAhead,
    stores: Estimate,
    threshold_kg: float,
    numbers: Numbers,
    *,
    learned: bool = False,
    mild: bool = False,
) -> LeaveAdvice:
    """What to leave from the last flow to the first reliable one, and what is spare today.

    Parameters
    ----------
    ahead : HiveAhead
        To the first reliable flow of the season to come: 250 to 300 days. With less, only what
        falls within them is seen.
    threshold_kg : float
        Gain of a flow day at this yard. [kg/d]
    learned : bool
        Whether the yard's own log told what its colonies use.
    mild : bool
        Whether no winter lies ahead that stops bees from taking syrup: more than is customary there
        is then said to be more, since colonies may shrink in a dearth and are not reckoned to.

    Notes
    -----
    The lean time is the greatest fall of the middle course of stores, from its peak to the date by
    which the next flow has opened in `timing.reliable_flow` of the futures. What is to be left is each
    future's greatest fall up to that date, and the floor, so that a yard where something always
    blooms still leaves the floor. A flow that fails then asks for feed, and not for stores kept all
    year against it. Futures differ in it as years do: the colony uses the middle of what is known.
    What is spare today lies over the deepest point up to that date, whatever the colony uses.
    """
    floor, levels = floor_of(hive, numbers), [0.5, 0.8, numbers["timing.leave_chance"]]
    windows = flows(ahead.gain_kg, threshold_kg, numbers)
    usual, drawn = _from_morning(ahead.usual_gained_kg), _from_morning(ahead.gained_kg)
    begin, end = lean_time(usual, windows, numbers)
    usual, drawn = usual[:, : end + 1], drawn[:, : end + 1]
    inside = ahead.drawn(stores)
    _, trough = greatest_fall(usual)
    short, missing = (floor - course.min(axis=1) - inside for course in (usual, drawn))
    leave = tuple(float(v) for v in np.quantile(floor + _falls(usual), levels))
    doubt = float(np.quantile(floor + _falls(drawn), levels[-1]))
    found = LeaveAdvice(
        verdict="unknown",
        hive=hive.name,
        leave_kg=leave,
        doubt_kg=doubt,
        much_doubt=doubt > numbers["timing.doubt_told"] * leave[-1],
        floor_kg=floor,
        from_=ahead.dates[0] + pd.Timedelta(days=begin) if begin else None,
        to=ahead.dates[0] + pd.Timedelta(days=end),
        reached=end < len(ahead.dates),
        spare_kg=tuple(max(-float(v), 0.0) for v in np.quantile(missing, levels[::-1])),
        short_kg=tuple(max(float(v), 0.0) for v in np.quantile(short, levels)),
        later_flow=float((next_flow(windows, len(ahead.dates)) < trough).mean()),
        reasons=("use learned" if learned else "use published", "gain is not crop"),
        changes=("another flow", "a longer winter", "the queen's brood"),
        cautions=("look first", "honey to infants"),
    )
    if mild and found.leave_kg[-1] > floor + numbers["timing.mild_custom_kg"]:
        found = replace(found, reasons=(*found.reasons, "more than mild custom"))
    return replace(_in_boxes(found, hive, numbers), **_verdict(found, stores, hive))


def lean_time(gained_kg: np.ndarray, windows: list[list], numbers: Numbers) -> tuple[int, int]:
    """When stores usually begin to fall, and when the flow after that can be relied on: positions of
    mornings, the second at most the number of days.

    Parameters
    ----------
    gained_kg : array (futures, days + 1)
        Running gain, 0 on the first morning. [kg]
    windows : list
        Flow windows of each future.
    """
    days = gained_kg.shape[1] - 1
    begin = int(greatest_fall(np.median(gained_kg, axis=0)[None])[0][0])
    opens = next_flow(windows, days, after=begin)
    return begin, int(np.quantile(opens, numbers["timing.reliable_flow"], method="higher"))


def _from_morning(gained_kg: np.ndarray) -> np.ndarray:
    """With this morning, position 0, before the ends of the days."""
    return np.pad(gained_kg, ((0, 0), (1, 0)))


def _falls(course_kg: np.ndarray) -> np.ndarray:
    """Each row's greatest fall. [kg]"""
    return (np.maximum.accumulate(course_kg, axis=1) - course_kg).max(axis=1)


def _verdict(found: LeaveAdvice, stores: Estimate, hive: HiveNow) -> dict:
    """Nothing is taken on a guess, from a nucleus, or that is not spare with the advice's certainty."""
    if stores.how == "unknown":
        return {"verdict": "unknown", "needs": ("weight or full frames",)}
    if found.spare_kg[0] > 0 and not hive.nucleus:
        return {"verdict": "take"}
    return {"verdict": "short" if found.short_kg[0] > 0 else "take nothing"}


def greatest_fall(course: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(peak, trough) positions of each row's greatest fall from any point to any later one.

    The last peak and the first trough where several are equal: (0, 0) for a course that only rises.
    """
    highest = np.maximum.accumulate(course, axis=1)
    trough = (highest - course).argmax(axis=1)
    before = np.arange(course.shape[1]) <= trough[:, None]
    masked = np.where(before, course, -np.inf)
    peak = course.shape[1] - 1 - masked[:, ::-1].argmax(axis=1)
    return peak, trough


def _in_boxes(found: LeaveAdvice, hive: HiveNow, numbers: Numbers) -> LeaveAdvice:
    """The advice in frames and boxes of the kind in which this colony winters."""
    laying = [box for box in hive.boxes if box.kind in NEST_BOXES]
    box = (laying or list(hive.boxes) or [Box("deep")])[0]
    frames = found.leave_kg[-1] / frame_kg(box.kind, numbers)
    found = replace(found, frames=frames, boxes=frames / box.frames, box_kind=box.kind)
    holds = sum(one.frames * frame_kg(one.kind, numbers) for one in hive.boxes)
    if not hive.boxes or found.leave_kg[-1] <= holds:
        return found
    return replace(found, reasons=(*found.reasons, "more than its boxes hold"))
