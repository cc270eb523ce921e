"""What is told of a step: what the keeper wrote, and what a jump not in work.csv may have been."""

import numpy as np
import pandas as pd

from flowcast.messages import Amount, Note
from flowcast.numbers import Numbers

ANOTHER_SCALE = "another scale"  # in place of a word of work.csv: yard.toml tells when it began
SIZE_NOT_KNOWN = {"steps_known.unknown", "steps_known.sized"}


def by_night(local: pd.Timestamp, gap_h: float, numbers: Numbers) -> bool:
    """Whether a jump whose time is known fell into hours in which nobody works at a hive."""
    hour = local.hour + local.minute / 60
    start, end = numbers["scale_log.work_start_h"], numbers["scale_log.work_end_h"]
    return gap_h <= numbers["scale_log.match_h"] and not start <= hour < end


def cause_note(cause: str) -> Note:
    """A word of work.csv or of what a jump may have been, or several; a guess keeps its question mark."""
    named, *more = (Note.of(f"work.{word}") for word in cause.removesuffix("?").split(" and "))
    for one in more:
        named = Note.of("work.and", one=named, two=one)
    return Note.of("work.guess", what=named) if cause.endswith("?") else named


def unlogged_note(
    kg: float,
    local: pd.Timestamp,
    found: list[tuple[str, float]],
    gap_h: float,
    numbers: Numbers,
) -> Note:
    """A line such as "about +4.3 kg at 10:40, not in work.csv: boxes on (8 in 10), or feed?"."""
    first, chance = found[0]
    more = [cause_note(word) for word, share in found[1:3] if share >= 0.15]
    guess = {"cause": cause_note(first), "chance": _in_ten(chance)}
    guess |= dict(zip(("other", "third"), more, strict=False))
    guessed = Note.of(("jumps.guess", "jumps.guess_or", "jumps.guess_or_or")[len(more)], **guess)
    if gap_h <= numbers["scale_log.match_h"]:
        return Note.of("jumps.at", kg=_signed(kg), clock=f"{local:%H:%M}", guess=guessed)
    return Note.of("jumps.within", kg=_signed(kg), span=_span(gap_h), guess=guessed)


def _in_ten(chance: float) -> Note:
    if chance >= 0.95:
        return Note.of("chance.nearly_sure")
    return Note.of("chance.in_ten", times=max(1, round(10 * chance)))


def logged_note(what: str, how: str, measured: float, stated: float, disagrees: bool) -> Note:
    """How the size of a step from work.csv was come by, and where the keeper's differs."""
    if what == ANOTHER_SCALE:
        return Note.of(f"scale_begins.{how.replace(' ', '_')}")
    told = Note.of(f"steps_known.{how.replace(' ', '_')}")
    asks = disagrees and np.isfinite(stated)
    if asks:
        told = _asked(told, how, measured, stated)
    if "feed" in what.split(" and ") and how != "not seen":
        return Note.of("steps_known.ask_and_syrup" if asks else "steps_known.and_syrup", how=told)
    return told


def _asked(how_known: Note, how: str, measured: float, stated: float) -> Note:
    """What to look into, where the scale shows another weight than the keeper states."""
    told = {"how": how_known, "stated": _signed(stated)}
    if how == "not seen":
        return Note.of("steps_known.none_shown", **told)
    key = "steps_known.more_done" if measured else "steps_known.right_day"
    return Note.of(key, **told, shown=_signed(measured))


def _signed(kg: float) -> Amount:
    return Amount(float(kg), "kg", 1, "+")


def _span(hours: float) -> Note:
    if hours < 48:
        return Note.of("counts.hours", n=round(hours))
    return Note.of("counts.days", n=round(hours / 24))
