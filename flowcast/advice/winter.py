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
    90 % of the years, the last being the advice; never below the floor. from_, to: the middle
    dates between which they are eaten. frames, boxes: the advice in full frames and in boxes of
    box_kind. spare_kg: what may be taken today with certainty of 90, 80 and 50 % that the rest
    lasts, what is still to come reckoned in; short_kg: what is missing today for 50, 80 and 90 %.
    later_flow: chance of another flow before stores are lowest.
    """

    leave_kg: tuple[float, float, float] | None = None
    floor_kg: float = 0.0
    from_: pd.Timestamp | None = None
    to: pd.Timestamp | None = None
    frames: float | None = None
    boxes: float | None = None
    box_kind: str | None = None
    spare_kg: tuple[float, float, float] | None = None
    short_kg: tuple[float, float, float] | None = None
    later_flow: float | None = None


def leave_advice(
    hive: HiveNow,
    ahead: HiveAhead,
    stores: Estimate,
    threshold_kg: float,
    numbers: Numbers,
    *,
    learned: bool = False,
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

    Notes
    -----
    Of each future: what is to be left is its greatest fall, from the peak of the running gain to
    the trough after it; what is needed today is how deep that course ever lies below today. To
    both comes the floor. A yard where something always blooms so still leaves the floor.
    """
    floor = floor_of(hive, numbers)
    gained = np.pad(ahead.gained_kg, ((0, 0), (1, 0)))  # position 0 is this morning
    peak, trough = greatest_fall(gained)
    rows = np.arange(len(gained))
    leave = floor + gained[rows, peak] - gained[rows, trough]
    missing = floor - gained.min(axis=1) - ahead.drawn(stores)
    levels = [0.5, 0.8, numbers["timing.leave_chance"]]
    begins = next_flow(flows(ahead.gain_kg, threshold_kg, numbers), len(ahead.dates))
    found = LeaveAdvice(
        verdict="unknown",
        hive=hive.name,
        leave_kg=tuple(float(v) for v in np.quantile(leave, levels)),
        floor_kg=floor,
        from_=_middle_date(peak, ahead.dates),
        to=_middle_date(trough, ahead.dates),
        spare_kg=tuple(max(-float(v), 0.0) for v in np.quantile(missing, levels[::-1])),
        short_kg=tuple(max(float(v), 0.0) for v in np.quantile(missing, levels)),
        later_flow=float((begins < trough).mean()),
        reasons=("use learned" if learned else "use published", "gain is not crop"),
        changes=("another flow", "a longer winter", "the queen's brood"),
        cautions=("look first", "honey to infants"),
    )
    return replace(_in_boxes(found, hive, numbers), **_verdict(found, stores))


def _verdict(found: LeaveAdvice, stores: Estimate) -> dict:
    """Nothing is taken on a guess, and nothing that is not spare with the advice's certainty."""
    if stores.how == "unknown":
        return {"verdict": "unknown", "needs": ("weight or full frames",)}
    if found.spare_kg[0] > 0:
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


def _middle_date(position: np.ndarray, dates: pd.DatetimeIndex) -> pd.Timestamp:
    day = int(np.quantile(position, 0.5, method="nearest"))
    return dates[0] + pd.Timedelta(days=day)


def _in_boxes(found: LeaveAdvice, hive: HiveNow, numbers: Numbers) -> LeaveAdvice:
    """The advice in frames and boxes of the kind in which this colony winters."""
    laying = [box for box in hive.boxes if box.kind in NEST_BOXES]
    box = (laying or list(hive.boxes) or [Box("deep")])[0]
    frames = found.leave_kg[-1] / frame_kg(box.kind, numbers)
    return replace(found, frames=frames, boxes=frames / box.frames, box_kind=box.kind)
