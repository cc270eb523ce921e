"""How much to leave for winter or dearth, and what is spare to take."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.when import Advice


@dataclass(frozen=True, kw_only=True)
class LeaveAdvice(Advice):
    """Verdicts: "take", "take nothing", "short", "unknown".

    leave_kg: stores to leave for 50, 80 and 90 % of the years, the last being the advice; never
    below the floor. from_, to: the middle dates between which they are eaten. frames, boxes: the
    advice in full frames and boxes of box_kind. spare_kg: low, middle and high of what may be
    taken now; short_kg the same of what is missing. later_flow: chance of another flow before then.
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
