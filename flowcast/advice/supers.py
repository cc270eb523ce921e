"""When the empty drawn comb runs out, and so when to add the next super, and how many; and when an
empty one is better off the hive."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.advice.ahead import HiveAhead, first_true, flows, positions, unripe
from flowcast.advice.hive import SUPERS, Box, Estimate, HiveNow, frame_kg
from flowcast.advice.when import Advice, When, when_of
from flowcast.numbers import Numbers

ONLY_IN_FLOW = "only while it flows"


@dataclass(frozen=True, kw_only=True)
class SuperAdvice(Advice):
    """Verdicts: "add", "take off" (empty ones, with no flow in sight), "room enough", "no more this
    season", "too few bees", "while fed" (none is put on a hive that is to be fed with syrup first),
    "larvae first" (nor on one in which beetle larvae were seen), "unknown".

    count: supers to add on that visit, or to take off, of box_kind. back_chance: of those taken off, the
    chance that one is wanted again by back_until. free_kg: quantiles 10, 50, 90 % of what
    the empty drawn combs can still take. wanted_kg: the same of what would come in beyond them within
    the days looked at. last_worth: from which visit on a further super is not worth it this
    season; None when beyond the days looked at.
    """

    count: int = 0
    box_kind: str | None = None
    free_kg: tuple[float, float, float] | None = None
    wanted_kg: tuple[float, float, float] | None = None
    last_worth: pd.Timestamp | None = None
    back_chance: float | None = None
    back_until: pd.Timestamp | None = None


def super_advice(
    hive: HiveNow,
    ahead: HiveAhead,
    free: Estimate | None,
    next_super: Box,
    visits: pd.DatetimeIndex,
    threshold_kg: float,
    numbers: Numbers,
    *,
    unripe_kg: float = 0.0,
) -> SuperAdvice:
    """The last visit on which a super still comes in time, and how many; or that empty ones come off.

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
    threshold_kg : float
        Daily gain from which a day is a flow day. [kg]
    unripe_kg : float
        Nectar not yet ripe in the combs today, as carried in (`FlowModel.stock.wet`). [kg]

    Notes
    -----
    A super goes on at the visit before which the chance of running out of comb by the visit after
    reaches `timing.out_chance`: one visit later would be too late, one earlier too soon. That comb
    runs out means that nectar would come in for which there is none: bees slow down well before
    the last cell is filled, so a hive short of comb loses crop without ever standing full.
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
    off = _taken_off(hive, left, ahead, visits, threshold_kg, numbers)
    if off is not None:
        return replace(found, **off)
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


def off_larvae(supers: SuperAdvice, larvae: bool) -> SuperAdvice:
    """No super is put on a hive with beetle larvae in it: its space is closed to what the bees cover."""
    if supers.verdict != "add" or not larvae:
        return supers
    why = {"reasons": ("larvae seen",), "changes": ("a count without larvae",)}
    return replace(supers, verdict="larvae first", when=None, count=0, **why)


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


def off_for_feed(supers: SuperAdvice, all_off: bool) -> SuperAdvice:
    """Empty supers are not told to come off by themselves where all supers do, before the feed."""
    if supers.verdict != "take off" or not all_off:
        return supers
    gone = {"when": None, "count": 0, "back_chance": None, "back_until": None, "cautions": ()}
    why = {"reasons": ("syrup in supers",), "changes": ("another flow",)}
    return replace(supers, verdict="while fed", **gone, **why)


def against_mites(supers: SuperAdvice, latest: pd.Timestamp | None) -> SuperAdvice:
    """A super that goes on when supers should be off for the mites' sake says so. latest: that day."""
    if supers.verdict != "add" or latest is None or supers.when.date < latest:
        return supers
    return replace(supers, cautions=(*supers.cautions, "late super"))


def while_it_flows(supers: SuperAdvice, off: pd.Timestamp | None) -> SuperAdvice:
    """A super that would go on when supers are to come off goes on only where the flow lasts. off: the
    day on which the season's last flow is likely over."""
    if supers.verdict != "add" or off is None or supers.when.date < off:
        return supers
    return replace(supers, reasons=(*supers.reasons, ONLY_IN_FLOW))


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


def _taken_off(
    hive: HiveNow,
    left: np.ndarray,
    ahead: HiveAhead,
    visits: pd.DatetimeIndex,
    threshold_kg: float,
    numbers: Numbers,
) -> dict | None:
    """The empty supers that come off on the next visit; None where none is to.

    Those without which no visit would put one on for `timing.super_off_d`, by the rule by which supers
    are added; none in a flow or with one near.
    """
    empty, at = empty_supers(hive), positions(visits, ahead.dates)
    later = at[2:][at[2:] >= at[0] + numbers["timing.super_off_d"]] if len(at) else at
    if not empty or not len(later):
        return None
    until = int(later[0])  # no visit before it looks further
    count, chance = _spare(empty, left[:, :until].min(axis=1), numbers)
    if not count or _flow_near(ahead.first(until), at[0], at[2], threshold_kg, numbers):
        return None
    day = ahead.dates[at[0]]
    return {
        "verdict": "take off",
        "count": count,
        "back_chance": chance,
        "back_until": ahead.dates[until],
        "box_kind": empty[0].kind,
        "when": When(day, day, day, 1.0),
        "reasons": ("no flow near", "beetles and moth in empty comb"),
        "changes": ("another flow", "honey or brood in it"),
        "cautions": ("look first", "moth in stored comb"),
    }


def _spare(empty: list[Box], lowest: np.ndarray, numbers: Numbers) -> tuple[int, float]:
    """How many of the empty supers are spared, and the chance that the rest runs out of comb."""
    gone = np.cumsum([box.combs * frame_kg(box.kind, numbers) for box in empty])
    chances = (lowest - gone[:, None] < numbers["scale_log.full_kg"]).mean(axis=1)
    count = int((chances < numbers["timing.out_chance"]).sum())  # they only grow
    return count, float(chances[max(count - 1, 0)])


def empty_supers(hive: HiveNow) -> list[Box]:
    """Supers known to hold nothing, of one kind, from the top down to the first that is not such a one."""
    found = []
    for box in reversed(hive.boxes[1:]):
        if box.kind not in SUPERS or box.full != 0.0 or (found and box.kind != found[0].kind):
            break
        found.append(box)
    return found


def _flow_near(
    ahead: HiveAhead, here: int, near: int, threshold_kg: float, numbers: Numbers
) -> bool:
    """Whether a flow is on, or opens before the visit after next, more likely than not."""
    windows = flows(ahead.gain_kg, threshold_kg, numbers)
    comes = [any(first < near and last >= here for first, last in found) for found in windows]
    return bool(np.mean(comes) >= 0.5)


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
