"""What is known of each hive on the issue date: the keeper's words, the log, and the work since."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.advice.hive import SUPERS, Box, HiveNow, frame_kg, share_of
from flowcast.advice.start import KINDS, Beginning
from flowcast.flow.household import drivers
from flowcast.numbers import Numbers
from flowcast.results import Record
from flowcast.scale_log import yard_gains
from flowcast.yard.settings import HiveSection

QUEEN_CELLS = ("queen cell", "swarm cell")  # words in a note of work.csv
NO_CELLS = ("no queen cell", "no swarm cell")
CELLS_DONE = ("split", "swarmed", "requeened")


def hives_now(record: Record, *, current: bool) -> list[HiveNow]:
    """Each hive that stands in the yard on the issue date.

    current: what yard.toml says without a `seen` date is of the issue date; false for an outlook
    of the past, which must not know what was written later.
    """
    brooding = float(drivers(record.days, record.yard.numbers)[1][-1])
    middle = _middle(record)
    return [
        _hive_now(hive, record, brooding, middle, current=current)
        for hive in record.yard.hives
        if stands(hive, record.issue_date)
    ]


def stands(hive: HiveSection, day: pd.Timestamp) -> bool:
    """Whether the hive is at this yard on this day."""
    came, left = hive.from_, hive.to
    return (came is None or pd.Timestamp(came) <= day) and (
        left is None or day <= pd.Timestamp(left)
    )


def seen_on(hive: HiveSection, issue_date: pd.Timestamp, *, current: bool) -> pd.Timestamp | None:
    """The day of which the keeper's words on a hive are; None when they are of a later day."""
    if hive.seen is None:
        return issue_date if current else None
    seen = pd.Timestamp(hive.seen)
    return seen if seen <= issue_date else None


def _hive_now(
    hive: HiveSection, record: Record, brooding: float, middle: pd.Series | None, *, current: bool
) -> HiveNow:
    seen = seen_on(hive, record.issue_date, current=current)
    fresh = seen is not None and (record.issue_date - seen).days <= _fresh_d(record)
    boxes = boxes_since(hive, record, seen) if seen is not None else ()
    return HiveNow(
        name=hive.name,
        boxes=boxes,
        frames_of_bees=hive.frames_of_bees if fresh else None,
        queenright=hive.queenright if fresh and hive.queenright != "unknown" else None,
        nucleus=hive.kind == "nucleus",
        gross_kg=gross_of(hive.name, record),
        wood_kg=_wood(hive, record, seen),
        keeper_kg=hive.stores_kg if fresh else None,
        brooding=brooding,
        supers_on=_supers_on(boxes, hive, record),
        cells=has_cells(hive.name, record),
        clipped=hive.clipped_queen,
        share=_share(hive.name, record, middle),
        risen_kg=_risen(hive.name, record),
        larvae=_larvae(hive.name, record),
    )


def _middle(record: Record) -> pd.Series | None:
    """Daily gains of the yard's middle hive on days on which it had room; None without a log. [kg]"""
    if not record.logs:
        return None
    whole = yard_gains(record.logs, record.yard.numbers)
    return whole[~whole["lower_bound"]]["gain_kg"]


def _share(hive: str, record: Record, middle: pd.Series | None) -> tuple[float, float] | None:
    """What the log tells of the hive against the yard's middle one, on days on which both had room;
    None without daily gains of both."""
    gains = {log.hive: log.gains for log in record.logs}.get(hive)
    if gains is None:
        return None
    told = (gains["quality"] == "good") & (gains["days"] == 1) & ~gains["lower_bound"]
    return share_of(gains[told]["gain_kg"], middle, record.yard.numbers)


def _risen(hive: str, record: Record) -> float:
    """How much more the log has the hive hold than at its lightest of the last weeks. [kg]

    Whatever jumped off the scale counts as gone; of what jumped on only feed is stores.
    """
    log = next((log for log in record.logs if log.hive == hive), None)
    if log is None:
        return 0.0
    since = record.issue_date - pd.Timedelta(days=_fresh_d(record))
    good = log.gains[(log.gains["quality"] == "good") & (log.gains.index >= since)]
    gained = good["gain_kg"].set_axis(good.index + pd.to_timedelta(good["days"], unit="D"))
    local = log.steps["time"].dt.tz_convert(record.yard.place.timezone).dt.tz_localize(None)
    counts = (log.steps["kg"] < 0) | log.steps["cause"].str.startswith("feed")
    jumped = log.steps["kg"].set_axis(pd.DatetimeIndex(local))[
        (counts & (local >= since)).to_numpy()
    ]
    course = pd.concat([gained, jumped]).sort_index(kind="stable").cumsum()
    return float(course.iloc[-1] - min(course.min(), 0.0)) if len(course) else 0.0


def _larvae(hive: str, record: Record) -> bool:
    """Whether the hive's newest count, a recent one, found beetle larvae."""
    counts = record.yard.beetles
    own = counts[(counts["hive"] == hive) & (counts["date"] < record.issue_date)]
    lately = record.issue_date - pd.Timedelta(days=record.yard.numbers["beetle.alarm_d"])
    return bool(len(own) and own["larvae"].iloc[-1] and own["date"].iloc[-1] >= lately)


def _fresh_d(record: Record) -> int:
    return int(record.yard.numbers["timing.seen_fresh_d"])


def gross_of(hive: str, record: Record) -> float | None:
    """The last night weight before the issue date, unless it is too old. [kg]"""
    nights = [log.nights.dropna() for log in record.logs if log.hive == hive]
    if not nights or not len(nights[0]):
        return None
    age = (record.issue_date - nights[0].index[-1]).days
    return (
        float(nights[0].iloc[-1]) if age <= record.yard.numbers["timing.weight_fresh_d"] else None
    )


def _work_since(hive: str, record: Record, since: pd.Timestamp) -> pd.DataFrame:
    """Lines of work.csv after a day and before the issue date, with their local day."""
    work = record.yard.work_of(hive)
    local = work["time"].dt.tz_convert(record.yard.place.timezone).dt.tz_localize(None)
    work = work.assign(day=local.dt.normalize())
    return work[(work["day"] > since) & (work["day"] < record.issue_date)]


def boxes_since(hive: HiveSection, record: Record, seen: pd.Timestamp) -> tuple[Box, ...]:
    """The boxes of the day on which they were seen, with supers put on and off, and honey gained and
    taken since then, for as long as every box says how full it is."""
    boxes, numbers, since = (
        [Box(b.kind, b.frames, b.drawn, b.full) for b in hive.boxes],
        record.yard.numbers,
        seen,
    )
    for day, lines in _work_since(hive.name, record, seen).groupby("day"):
        boxes = _filled(boxes, _gained(hive.name, record, since, day), numbers)
        boxes, since = _worked(boxes, lines, numbers), day
    return tuple(_filled(boxes, _gained(hive.name, record, since, record.issue_date), numbers))


def _worked(boxes: list[Box], lines: pd.DataFrame, numbers: Numbers) -> list[Box]:
    """The boxes after the work of one day. What stood in a super that went is part of the honey off."""
    boxes, gone_kg = list(boxes), 0.0
    for what in lines["what"]:
        if what == "super on" and boxes:
            top = boxes[-1] if boxes[-1].kind in SUPERS else Box("medium", boxes[-1].frames)
            boxes.append(Box(top.kind, top.frames, None, 0.0))
        elif what == "super off" and len(boxes) > 1:
            box = boxes.pop()
            gone_kg += (box.full or 0.0) * frame_kg(box.kind, numbers)
    done = lines.groupby("what")["kg"].sum()
    off_kg = max(done.get("honey off", 0.0) - gone_kg, 0.0)
    return _filled(boxes, done.get("feed", 0.0) - off_kg, numbers)


def _gained(hive: str, record: Record, first: pd.Timestamp, end: pd.Timestamp) -> float:
    """Net gain of the spans that began from a day on and before another. [kg]"""
    gains = {log.hive: log.gains["gain_kg"] for log in record.logs}.get(hive)
    return (
        0.0 if gains is None else float(gains[(gains.index >= first) & (gains.index < end)].sum())
    )


def _filled(boxes: list[Box], kg: float, numbers: Numbers) -> list[Box]:
    """The boxes with so much more honey in them: from the lowest up when it came, from the top down
    when it went."""
    if not kg or any(box.full is None for box in boxes):
        return boxes
    full = [box.full for box in boxes]
    for k in range(len(boxes)) if kg > 0 else reversed(range(len(boxes))):
        each = frame_kg(boxes[k].kind, numbers)
        frames = np.clip(full[k] + kg / each, 0.0, boxes[k].combs)
        kg -= (frames - full[k]) * each
        full[k] = float(frames)
    return [
        Box(box.kind, box.frames, box.drawn, frames)
        for box, frames in zip(boxes, full, strict=True)
    ]


def _wood(hive: HiveSection, record: Record, seen: pd.Timestamp | None) -> float | None:
    """The stated weight of boxes and combs, unless boxes came or went since it was stated. [kg]"""
    if seen is None:
        return None
    moved = _work_since(hive.name, record, seen)["what"].isin(["super on", "super off"])
    return None if moved.any() else hive.wood_kg


def _supers_on(boxes: tuple[Box, ...], hive: HiveSection, record: Record) -> bool | None:
    """By the boxes where they are told, else by the last line of work.csv about a super."""
    if boxes:
        return any(box.kind in SUPERS for box in boxes[1:])
    work = _work_since(hive.name, record, pd.Timestamp.min)
    told = work[work["what"].isin(["super on", "super off"])]["what"]
    return None if told.empty else bool(told.iloc[-1] == "super on")


def has_cells(hive: str, record: Record) -> bool:
    """Whether queen cells were noted lately, and nothing was done about them since."""
    lately = record.issue_date - pd.Timedelta(days=int(record.yard.numbers["timing.cells_fresh_d"]))
    found = False
    for line in _work_since(hive, record, lately).itertuples():
        note = line.note.lower()
        if line.what in CELLS_DONE or any(word in note for word in NO_CELLS):
            found = False
        elif any(word in note for word in QUEEN_CELLS):
            found = True
    return found


def new_colonies(record: Record, *, current: bool) -> list[Beginning]:
    """Colonies that came to the yard lately as a nucleus, package or swarm."""
    lately = record.issue_date - pd.Timedelta(days=int(record.yard.numbers["timing.start_new_d"]))
    found = []
    for hive in record.yard.hives:
        came = _came(hive, record)
        if came and lately <= came[1] <= record.issue_date and stands(hive, record.issue_date):
            found.append(_beginning(hive, *came, record, current=current))
    return found


def _came(hive: HiveSection, record: Record) -> tuple[str, pd.Timestamp] | None:
    """As what a hive's colony came, and when: by work.csv, else by yard.toml."""
    work = _work_since(hive.name, record, pd.Timestamp.min)
    hived = work[work["what"] == "swarm hived"]
    if len(hived):
        return "swarm", hived["day"].iloc[-1]
    kind = hive.came_as or ("nucleus" if hive.kind == "nucleus" else None)
    moved = work[work["what"] == "moved in"]["day"]
    day = moved.iloc[-1] if len(moved) else hive.from_
    return (kind, pd.Timestamp(day)) if kind in KINDS and day is not None else None


def _beginning(hive: HiveSection, kind: str, installed, record: Record, *, current) -> Beginning:
    seen = seen_on(hive, record.issue_date, current=current)
    boxes = boxes_since(hive, record, seen) if seen is not None and hive.boxes else ()
    box = boxes[0] if boxes else Box("deep")
    numbers = record.yard.numbers
    given = numbers["timing.nucleus_frames"] if kind == "nucleus" else 0.0
    drawn = box.drawn if box.drawn is not None else given
    above = next((b for b in boxes[1:] if b.kind in SUPERS), Box("medium", box.frames))
    super_kg = above.frames * frame_kg(above.kind, numbers)
    return Beginning(hive.name, kind, installed, float(drawn), float(box.frames), super_kg)
