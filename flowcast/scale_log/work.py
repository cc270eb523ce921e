"""The keeper's work and the jumps of the weight -> steps with size, cause and words."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.messages import Note
from flowcast.numbers import Numbers
from flowcast.scale_log.jumps import Edge, Looks, find_jumps, measure
from flowcast.scale_log.log import hours_of, stamps_of, steps_table
from flowcast.scale_log.words import ANOTHER_SCALE, by_night, logged_note
from flowcast.tables import WORK_SIGN


@dataclass(frozen=True)
class Line:
    """One line of work.csv as the search needs it.

    `sign` is +1 or -1 where the word says which way the weight goes, 0 where it does not;
    `stated` is the signed weight the keeper gave, NaN where none. The work was done between
    hours `start` and `end`, most likely at `hour`.
    """

    what: str
    sign: int
    stated: float
    hour: float
    start: float
    end: float
    timed: bool


@dataclass(frozen=True)
class Found:
    """A jump, what it measures, and the lines of work that explain it."""

    edge: Edge
    kg: float
    sd_kg: float
    lines: list[Line]


@dataclass(frozen=True)
class FoundSteps:
    """All steps of a log.

    steps : DataFrame, as CleanLog.steps. amid : readings taken while a step was going on, at neither
    of its levels. counts : lines outside the log, lines of which the weight shows nothing, steps
    not in work.csv.
    """

    steps: pd.DataFrame
    amid: np.ndarray
    counts: dict[str, int]


def find_steps(looks: Looks, work: pd.DataFrame, numbers: Numbers, *, timezone: str) -> FoundSteps:
    """All steps of a scale's log: those of work.csv measured, and those found beside them.

    Parameters
    ----------
    looks : Looks
        The good readings.
    work : DataFrame
        Columns time, timed, what, kg, note; this hive only.
    numbers : Numbers
        Group scale_log.
    timezone : str
        The yard's zone, for the hour of day that the guesses go by.

    Returns
    -------
    FoundSteps

    Notes
    -----
    A line takes the nearest jump of its sign within `match_h` (that local day, when it has no
    time), one that no other line has taken if there is one; where none stands out, a smaller
    one. A line left over belongs to a jump that another line took, or to one of the other sign:
    two things done in one visit, written down or not, make one step, unless the scale read
    between. The keeper's kilograms are used only where the scale cannot measure: across a gap
    of more than `near_h`, or where the work is too small to be seen. A jump without a line must
    measure `sure_times` its own error.
    """
    lines, outside = _lines(work, looks, numbers)
    edges = find_jumps(looks, numbers)
    edges, owners = _assign(looks, lines, edges, numbers)
    found = [Found(e, *measure(looks, edges, k, numbers), owners[k]) for k, e in enumerate(edges)]
    found = [jump for jump in found if jump.lines or _is_sure(jump, numbers)]
    taken = {id(line) for jump in found for line in jump.lines}
    first, last = looks.trace.hours[0], looks.trace.hours[-1]
    left_over = [line for line in lines if id(line) not in taken and line.sign]
    alone = [line for line in left_over if first < line.hour <= last]
    outside += len(left_over) - len(alone)
    rows = [_row_of_jump(looks, jump, numbers, timezone) for jump in found]
    rows += [_row_of_line(looks, line, numbers) for line in alone]
    counts = {
        "work outside the log": outside,
        "work not seen in the weight": len(alone),
        "steps not in work.csv": sum(not row["logged"] for row in rows),
    }
    return FoundSteps(steps_table(rows), _within(found, len(looks.trace)), counts)


def _is_sure(jump: Found, numbers: Numbers) -> bool:
    """Whether a jump nobody wrote down measures more than its own error may be."""
    least = max(numbers["scale_log.seen_kg"], numbers["scale_log.sure_times"] * jump.sd_kg)
    return abs(jump.kg) >= least


def _within(found: list[Found], length: int) -> np.ndarray:
    inside = np.zeros(length, bool)
    for jump in found:
        inside[jump.edge[0] + 1 : jump.edge[1]] = True
    return inside


def _lines(work: pd.DataFrame, looks: Looks, numbers: Numbers) -> tuple[list[Line], int]:
    """Work within the log, in order of time, and how many lines lie outside it."""
    if not len(work):
        return [], 0
    ordered = work.sort_values("time", kind="stable")
    hours = hours_of(pd.DatetimeIndex(ordered["time"]).tz_convert("UTC"))
    lines = [
        _line(row, hour, numbers)
        for row, hour in zip(ordered.itertuples(index=False), hours, strict=True)
    ]
    first, last = looks.trace.hours[0], looks.trace.hours[-1]
    inside = [line for line in lines if line.end >= first and line.start <= last]
    return inside, len(lines) - len(inside)


def _line(row, hour: float, numbers: Numbers) -> Line:
    sign = WORK_SIGN.get(row.what, 0)
    stated = sign * float(row.kg) if sign else np.nan
    reach = numbers["scale_log.match_h"] if row.timed else 12.0
    return Line(row.what, sign, stated, hour, hour - reach, hour + reach, bool(row.timed))


def _assign(
    looks: Looks, lines: list[Line], edges: list[Edge], numbers: Numbers
) -> tuple[list[Edge], list[list[Line]]]:
    """Edges, some new for work that made a smaller jump, and the lines that own each."""
    owners: dict[Edge, list[Line]] = {edge: [] for edge in edges}
    for line in [ln for ln in lines if ln.sign]:
        edge = (
            _nearest(looks, line, owners, free=True, sign=line.sign)
            or _smaller_jump(looks, line, owners, numbers)
            or _nearest(looks, line, owners, free=False)
            or _nearest(looks, line, owners, free=True)
        )
        if edge:
            owners.setdefault(edge, []).append(line)
    for line in [ln for ln in lines if not ln.sign]:
        new = line.what == ANOTHER_SCALE
        edge = _at(looks, line, owners) if new else _nearest(looks, line, owners, free=True)
        if edge:
            owners.setdefault(edge, []).append(line)
    parts = [part for edge in sorted(owners) for part in _parted(looks, edge, owners[edge])]
    return [edge for edge, _ in parts], [own for _, own in parts]


def _at(looks: Looks, line: Line, owners: dict[Edge, list[Line]]) -> Edge | None:
    """The jump at the very hour of a line, or the way between the two readings about it."""
    k = int(np.searchsorted(looks.trace.hours, line.hour - 1e-6))
    if not 0 < k < len(looks.trace):
        return None
    about = [edge for edge in owners if edge[0] < k <= edge[1]]
    return about[0] if about else (k - 1, k)


def _parted(looks: Looks, edge: Edge, lines: list[Line]) -> list[tuple[Edge, list[Line]]]:
    """A jump as one, or cut in two where two lines of one sign have a reading between them."""
    same = sorted((ln for ln in lines if ln.timed and ln.sign), key=lambda ln: ln.hour)
    if len(same) != 2 or len(lines) != 2 or same[0].sign != same[1].sign:
        return [(edge, lines)]
    inner = np.arange(edge[0] + 1, edge[1])
    hours = looks.trace.hours[inner]
    inner = inner[(hours > same[0].hour) & (hours <= same[1].hour)]
    if not len(inner):
        return [(edge, lines)]
    cut = int(inner[-1])
    return [((edge[0], cut), [same[0]]), ((cut, edge[1]), [same[1]])]


def _nearest(
    looks: Looks, line: Line, owners: dict[Edge, list[Line]], *, free: bool, sign: int = 0
) -> Edge | None:
    """The nearest jump in the line's window, free or explained already, of one sign or of any."""
    hours, kg = looks.trace.hours, looks.trace.kg
    best, best_cost = None, np.inf
    for edge, taken in owners.items():
        left, right = hours[edge[0]], hours[edge[1]]
        if right < line.start or left > line.end or bool(taken) == free:
            continue
        size = kg[edge[1]] - kg[edge[0]]
        if sign and np.sign(size) != sign:
            continue
        cost = max(left - line.hour, line.hour - right, 0.0)
        # A keeper's kilograms tell two jumps of a day apart better than the hour does.
        cost += 0.0 if np.isnan(line.stated) else abs(size - line.stated)
        if cost < best_cost:
            best, best_cost = edge, cost
    return best


def _smaller_jump(
    looks: Looks, line: Line, owners: dict[Edge, list[Line]], numbers: Numbers
) -> Edge | None:
    """The largest change of the line's sign in its window, where bees do not make such a one."""
    start, end = np.searchsorted(looks.hours, [line.start, line.end])
    ways = np.arange(max(start, 1), min(end + 1, len(looks.hours)))
    if not len(ways):
        return None
    size = line.sign * looks.change[ways]
    bees = looks.rise[ways] if line.sign > 0 else looks.fall[ways]
    limit = np.maximum(numbers["scale_log.seen_kg"], numbers["scale_log.step_factor"] * bees)
    seen = looks.near[ways] & (size > limit)
    if not np.isnan(line.stated):
        stated = abs(line.stated)
        seen &= np.abs(size - stated) <= numbers["scale_log.seen_share"] * stated
    taken = [any(_overlap(looks, k, edge) for edge in owners) for k in ways]
    seen &= ~np.array(taken)
    if not seen.any():
        return None
    k = int(ways[np.argmax(np.where(seen, size, -np.inf))])
    return int(looks.last[k - 1]), int(looks.first[k])


def _overlap(looks: Looks, k: int, edge: Edge) -> bool:
    return looks.last[k - 1] < edge[1] and looks.first[k] > edge[0]


def _row_of_jump(looks: Looks, jump: Found, numbers: Numbers, timezone: str) -> dict:
    left, right = looks.trace.hours[[jump.edge[0], jump.edge[1]]]
    time = stamps_of([_moment(left, right, jump.lines)])[0]
    seen = {"gap_h": right - left, "before_kg": float(looks.trace.kg[jump.edge[0]])}
    if not jump.lines:
        # By night nobody works at a hive: whether this weight was ever real is open.
        night = by_night(time.tz_convert(timezone), right - left, numbers)
        sd = max(abs(jump.kg) if night else 0.0, jump.sd_kg)
        return _row(time, jump.kg, sd, "unknown", False, "") | seen
    stated = sum(line.stated for line in jump.lines)
    blind = right - left > numbers["scale_log.near_h"] and np.isfinite(stated)
    sd_stated = numbers["scale_log.stated_sd_kg"]
    kg, sd = (stated, sd_stated) if blind else (jump.kg, jump.sd_kg)
    cause = " and ".join(dict.fromkeys(line.what for line in jump.lines))
    if all(line.sign * kg < 0 for line in jump.lines):
        cause += f" and more {'put on' if kg > 0 else 'taken off'}?"
    disagrees = abs(jump.kg - stated) > 3 * np.hypot(jump.sd_kg, sd_stated)
    how = "stated" if blind else "measured"
    note = logged_note(cause, how, jump.kg, stated, disagrees)
    return _row(time, kg, sd, cause, True, note) | seen


def _row_of_line(looks: Looks, line: Line, numbers: Numbers) -> dict:
    """A step for work of which the weight shows no jump of its own.

    Where the scale read all along and the work is too large to hide among the moves of bees, it
    was not done here: the line stays in the table with nothing taken out.
    """
    time = stamps_of([line.hour])[0]
    k = int(np.clip(np.searchsorted(looks.hours, line.hour), 1, len(looks.hours) - 1))
    bees = max(looks.rise[k], looks.fall[k], numbers["scale_log.seen_kg"])
    if _in_gap(looks, line, numbers):
        return _row_in_gap(time, line, numbers)
    if abs(line.stated) <= 2 * bees:
        note = logged_note(line.what, "stated", np.nan, line.stated, False)
        return _row(time, line.stated, bees / 2, line.what, True, note)
    note = logged_note(line.what, "not seen", 0.0, line.stated, np.isfinite(line.stated))
    return _row(time, 0.0, bees / 2, line.what, True, note)


def _row_in_gap(time: pd.Timestamp, line: Line, numbers: Numbers) -> dict:
    known = np.isfinite(line.stated)
    sd = numbers["scale_log.stated_sd_kg" if known else "scale_log.unknown_work_sd_kg"]
    how = "stated" if known else "unknown"
    note = logged_note(line.what, how, np.nan, line.stated, False)
    return _row(time, line.stated if known else 0.0, sd, line.what, True, note)


def _in_gap(looks: Looks, line: Line, numbers: Numbers) -> bool:
    """Whether the scale was blind when the work was done."""
    start, end = (line.hour, line.hour) if line.timed else (line.start, line.end)
    k = np.clip(np.searchsorted(looks.hours, [start, end]), 1, len(looks.hours) - 1)
    ways = np.arange(k[0], k[1] + 1)
    long = max(numbers["scale_log.near_h"], 1.5 * looks.spacing_h)
    return bool((looks.gap[ways] > long).any())


def _moment(left: float, right: float, lines: list[Line]) -> float:
    """The hour a step is put at: the keeper's where it can be, else the middle to the minute."""
    for line in lines:
        if line.timed and left < line.hour <= right:
            return line.hour
    middle = np.ceil((left + right) / 2 * 60) / 60
    return float(min(middle, right))


def _row(
    time: pd.Timestamp, kg: float, sd: float, cause: str, logged: bool, note: Note | str
) -> dict:
    return {"time": time, "kg": kg, "sd_kg": sd, "cause": cause, "logged": logged, "note": note}
