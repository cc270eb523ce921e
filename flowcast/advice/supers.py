"""When the empty drawn comb runs out, and so when to add the next super, and how many."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.advice.ahead import HiveAhead, first_true, positions, unripe
from flowcast.advice.hive import Box, Estimate, HiveNow, frame_kg
from flowcast.advice.when import Advice, When, when_of
from flowcast.numbers import Numbers


@dataclass(frozen=True, kw_only=True)
class SuperAdvice(Advice):
    """Verdicts: "add", "room enough", "no more this season", "too few bees", "while fed" (none is
    put on a hive that is to be fed with syrup first), "unknown".

    count: supers to add on that visit, of box_kind. free_kg: quantiles 10, 50, 90 % of what the
    empty drawn combs can still take. wanted_kg: the same of what would come in beyond them within
    the days looked at. last_worth: from which visit on a further super is not worth it this
    season; None when beyond the days looked at.
    """

    count: int = 0
    box_kind: str | None = None
    free_kg: tuple[float, float, float] | None = None
    wanted_kg: tuple[float, float, float] | None = None
    last_worth: pd.Timestamp | None = None


def super_advice(
    hive: HiveNow,
    ahead: HiveAhead,
    free: Estimate | None,
    next_super: Box,
    visits: pd.DatetimeIndex,
    numbers: Numbers,
    *,
    unripe_kg: float = 0.0,
) -> SuperAdvice:
    """The last visit on which a super still comes in time, and how many.

    Parameters
    ----------
    ahead : HiveAhead
        To the end of the season where `last_worth` is wanted; 45 days tell the rest.
    free : Estimate or None
        What the empty drawn combs can take today (`hive.free_of`). [kg]
    next_super : Box
        The box the keeper would add; what is not drawn of it counts as foundation.
    visits : DatetimeIndex
        The visits ahead, the first of them the next one.
    unripe_kg : float
        Nectar not yet ripe in the combs today, as carried in (`FlowModel.stock.wet`). [kg]

    Notes
    -----
    A super goes on at the visit before which the chance of running out of comb by the visit after
    reaches `timing.out_chance`: one visit later would be too late, one earlier too soon.
    """
    blank = SuperAdvice(verdict="unknown", hive=hive.name, box_kind=next_super.kind)
    if free is None:
        return replace(blank, needs=("boxes",))
    found = replace(blank, free_kg=free.three, cautions=("look first", "lift full boxes"))
    room = box_room(next_super, ahead, numbers)
    left = ahead.drawn(free)[:, None] - comb_taken(ahead, unripe_kg, numbers)
    empty = left < numbers["scale_log.full_kg"]
    found = replace(
        found,
        wanted_kg=_three(np.maximum(-left.min(axis=1), 0.0)),
        last_worth=_last_worth(left, room, visits, ahead.dates, numbers),
        needs=() if hive.frames_of_bees is not None else ("frames of bees",),
    )
    at = _last_good(empty, positions(visits, ahead.dates), numbers)
    if at is None:
        return replace(found, verdict="room enough", changes=("stronger flow",))
    out = when_of(first_true(empty), ahead.dates[at[0]], ahead.dates)
    if found.last_worth is not None and out.date >= found.last_worth:
        return replace(found, verdict="no more this season", when=out, reasons=("flow ends",))
    if too_few_bees(hive, numbers):
        why = ("chilled brood", "beetles and moth in empty comb")
        changes = ("bees on 7 to 8 of 10 frames",)
        return replace(found, verdict="too few bees", when=out, reasons=why, changes=changes)
    count = _how_many(left, room, at, numbers)
    return replace(found, **_added(count, out, next_super))


def while_fed(supers: SuperAdvice, syrup: When | None, numbers: Numbers) -> SuperAdvice:
    """No super is put on a hive that is to be fed with syrup before, or soon after: it would be stored
    there. Of two needs that may both not come, the likelier holds. syrup: when it is to be fed."""
    if supers.verdict != "add" or syrup is None or syrup.chance < supers.when.chance:
        return supers
    if syrup.date > supers.when.date + pd.Timedelta(
        days=int(numbers["timing.super_before_feed_d"])
    ):
        return supers
    why = {"reasons": ("syrup in supers",), "changes": ("another flow",)}
    return replace(supers, verdict="while fed", when=None, count=0, **why)


def against_mites(supers: SuperAdvice, latest: pd.Timestamp | None) -> SuperAdvice:
    """A super that goes on when supers should be off for the mites' sake says so. latest: that day."""
    if supers.verdict != "add" or latest is None or supers.when.date < latest:
        return supers
    return replace(supers, cautions=(*supers.cautions, "late super"))


def _added(count: int, out: When, box: Box) -> dict:
    reasons = ("comb runs out", *(("foundation counts little",) if box.combs < box.frames else ()))
    changes = ("rain or cold", "the flow ends", "combs drawn or full otherwise than told")
    return {"verdict": "add", "count": count, "when": out, "reasons": reasons, "changes": changes}


def comb_taken(ahead: HiveAhead, unripe_kg: float, numbers: Numbers) -> np.ndarray:
    """How much more comb is taken than today at the end of each day, in kilograms of ripe honey.

    What weighs more in the hive fills comb, and nectar that is not yet ripe fills `timing.wet_comb`
    times the comb of the honey it will be. Shape (scenarios, days).
    """
    loose = unripe(ahead.intake_kg, unripe_kg, numbers) - unripe_kg
    honey = 1.0 - numbers["flow.use_rho"]  # that a kilogram of nectar ripens to
    return ahead.gained_kg + (numbers["timing.wet_comb"] * honey - 1.0) * loose


def box_room(box: Box, ahead: HiveAhead, numbers: Numbers) -> float:
    """What a box put on takes: its drawn combs whole, foundation in part, more in a strong flow. [kg]"""
    strong = np.median(ahead.gain_kg[:, :14].mean(axis=1)) >= numbers["timing.strong_flow_kg"]
    name = "timing.foundation_flow_share" if strong else "timing.foundation_share"
    frames = box.combs + numbers[name] * (box.frames - box.combs)
    return frames * frame_kg(box.kind, numbers)


def too_few_bees(hive: HiveNow, numbers: Numbers) -> bool:
    """Whether bees are known to cover less than 7 to 8 of 10 frames of the lowest box."""
    frames = hive.boxes[0].frames if hive.boxes else 10
    bees = hive.frames_of_bees
    return bees is not None and bees < numbers["timing.bees_for_super"] / 10 * frames


def _last_good(empty: np.ndarray, at: np.ndarray, numbers: Numbers) -> tuple[int, int] | None:
    """The visit on which to add, and the one after it; None when no visit ahead needs it.

    The days after the last visit count as the way to one more.
    """
    out = first_true(empty)
    after = [*at[1:], empty.shape[1]] if len(at) else []
    for here, then in zip(at, after, strict=True):
        if (out < then).mean() >= numbers["timing.out_chance"]:
            return int(here), int(then)
    return None


def _how_many(left: np.ndarray, room: float, at: tuple[int, int], numbers: Numbers) -> int:
    """The fewest supers that keep the chance of running out before the visit after below the mark."""
    lowest = left[:, at[0] : at[1]].min(axis=1)
    most = int(numbers["timing.supers_at_once"])
    chances = [
        (lowest + n * room < numbers["scale_log.full_kg"]).mean() < numbers["timing.out_chance"]
        for n in range(1, most)
    ]
    return chances.index(True) + 1 if True in chances else most


def _last_worth(
    left: np.ndarray,
    room: float,
    visits: pd.DatetimeIndex,
    dates: pd.DatetimeIndex,
    numbers: Numbers,
) -> pd.Timestamp | None:
    """The first visit from which on bees will hardly fill a share of a further super.

    The comb that a flow still takes after a visit is what is left then less the least left later.
    """
    lowest_later = np.minimum.accumulate(left[:, ::-1], axis=1)[:, ::-1]
    rise = left - lowest_later
    worth = (rise >= numbers["timing.worth_share"] * room).mean(axis=0)
    for day in positions(visits, dates):
        if worth[day] < numbers["timing.out_chance"]:
            return dates[day]
    return None


def _three(values: np.ndarray) -> tuple[float, float, float]:
    return tuple(float(v) for v in np.quantile(values, [0.1, 0.5, 0.9]))
