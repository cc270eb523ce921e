"""Steps in the weight: where it jumps by more than bees can, and by how much."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.log import ScaleTraits, Trace
from flowcast.scale_log.wave import block_medians, look_blocks, usual_course, usual_moves

Edge = tuple[int, int]  # numbers of the last reading before a jump and the first after it


@dataclass(frozen=True)
class Looks:
    """A trace, and the same thinned to one look each `look_h`, with what bees usually do.

    `level` is the weight of each reading of the trace with the usual daily course removed. A
    look holds the readings `first` to `last` of the trace; `hours` and `kg` are its time and
    weight. Element k of `change`, `gap`, `usual`, `rise`, `fall` belongs to the way from look
    k-1 to look k: change of weight, hours, usual change, large rise and fall made by bees; and
    `handled`, whether the hive was lifted on it.
    """

    trace: Trace
    traits: ScaleTraits
    level: np.ndarray
    first: np.ndarray
    last: np.ndarray
    hours: np.ndarray
    kg: np.ndarray
    spacing_h: float
    change: np.ndarray
    gap: np.ndarray
    usual: np.ndarray
    rise: np.ndarray
    fall: np.ndarray
    handled: np.ndarray

    @property
    def near(self) -> np.ndarray:
        """True where a look directly follows the one before."""
        return self.gap <= 1.5 * self.spacing_h


def looks_at(trace: Trace, traits: ScaleTraits, lifted_h: np.ndarray, numbers: Numbers) -> Looks:
    """Thin a trace and measure what bees do in it; `lifted_h` are the hours of lifted readings.

    A look is the median of the readings of `look_h`, so half an hour of handling or a single
    odd reading does not count, while a step stays one step: the median of two levels is one of
    them.
    """
    first, last = look_blocks(trace.hours, numbers["scale_log.look_h"])
    hours = (trace.hours[first] + trace.hours[last]) / 2
    kg = block_medians(trace.kg, first, last)
    course = usual_course(trace, traits, numbers)
    usual = np.diff(np.interp(hours, trace.hours, course), prepend=np.nan)
    change, gap = np.diff(kg, prepend=np.nan), np.diff(hours, prepend=np.nan)
    spacing = float(np.median(gap[1:])) if len(gap) > 1 else traits.spacing_h
    follows = np.where(gap <= 1.5 * spacing, change, np.nan)
    rise, fall = usual_moves(trace.day[first], follows, spacing, numbers)
    until = np.searchsorted(lifted_h, trace.hours[last])
    return Looks(
        trace=trace,
        traits=traits,
        level=trace.kg - course,
        first=first,
        last=last,
        hours=hours,
        kg=kg,
        spacing_h=spacing,
        change=change,
        gap=gap,
        usual=usual,
        rise=rise,
        fall=fall,
        handled=np.diff(until, prepend=until[0]) > 0,
    )


def find_jumps(looks: Looks, numbers: Numbers) -> list[Edge]:
    """Where the weight jumps by more than bees can, and stays.

    Notes
    -----
    A change from one look to the next (or over two, for a scale that averages over its hour) is
    a jump when what it exceeds its neighbouring changes by is larger than `step_kg` and than
    `step_factor` times the largest move of bees in the weeks around it. Neighbours are taken off
    because a flow goes on for hours and a box does not. A small jump that is undone within
    `undone_h` is bees flying out and home. Where the hive was lifted somebody worked on it, and a
    jump of `seen_kg` beyond the moves of bees is enough. Across a gap the usual course of the
    missing hours is taken off first, and the longer the gap the larger a jump must be.
    """
    flagged = _flagged_near(looks, numbers) + _flagged_gap(looks, numbers)
    runs = [run for run in _joined(looks, flagged, numbers) if not _is_flight(looks, run, numbers)]
    edges = [_edge(looks, start, end, numbers) for start, end in runs]
    return _in_turn(edges)


def measure(looks: Looks, edges: list[Edge], k: int, numbers: Numbers) -> tuple[float, float]:
    """Size of the jump k among these edges, with its standard error. [kg]

    The level on either side is a weighted mean of the readings nearest to the jump, up to the
    next jump, usual course removed. The weights are those of a level that wanders with the bees
    and is read with noise (a random walk seen through white noise): where bees move little many
    readings count, where they move much the nearest only. The slope of the changes around the
    jump is taken off, except across a gap of more than `near_h`, where it would be drawn too far.
    """
    left, right = edges[k]
    count = int(numbers["scale_log.fit_readings"])
    floor = edges[k - 1][1] if k else 0
    ceiling = edges[k + 1][0] if k + 1 < len(edges) else len(looks.level) - 1
    before = np.arange(left, max(floor, left - count) - 1, -1)
    after = np.arange(right, min(ceiling, right + count) + 1)
    gap = looks.trace.hours[right] - looks.trace.hours[left]
    wander = _wander(looks, right)
    old, new = (_level_at(looks, side, wander) for side in (before, after))
    near = gap <= numbers["scale_log.near_h"]
    slope, error = _slope(looks, left, right) if near else (0.0, 0.0)
    apart = new[1] - old[1]
    kg = new[0] - old[0] - slope * apart
    return float(kg), float(np.sqrt(old[2] + new[2] + (error * apart) ** 2 + wander**2 * gap))


def unexplained(looks: Looks, numbers: Numbers) -> pd.DataFrame:
    """Changes over long gaps that are no sure jump and still odd.

    Columns: `hours` (middle of the gap, so that it falls on the span that holds it) and `kg`.
    """
    deviation, usual, limit = _across_gaps(looks, numbers)
    long = looks.gap > numbers["scale_log.near_h"]
    odd = long & (np.abs(deviation) > usual / 2) & (np.abs(deviation) <= limit)
    return pd.DataFrame({"hours": (looks.hours - looks.gap / 2)[odd], "kg": deviation[odd]})


def _flagged_near(looks: Looks, numbers: Numbers) -> np.ndarray:
    """Sign of the jump on each way between looks that follow each other; 0 where none."""
    change = np.where(looks.near, looks.change, 0.0)
    single = _excess(looks, change, change, numbers, stretch=1.0)
    # Over two ways: only where both go the same way, and neither is a jump by itself.
    following = np.append(change[1:], 0.0)
    pair = np.where(change * following > 0, change + following, 0.0)
    double = _excess(looks, pair, change, numbers, stretch=np.sqrt(2.0), width=2)
    beside = _widened(single != 0, 2)
    double[beside] = 0.0
    second = np.append(0.0, double[:-1])
    return np.where(single != 0, single, np.where(double != 0, double, second))


def _excess(
    looks: Looks,
    moved: np.ndarray,
    change: np.ndarray,
    numbers: Numbers,
    stretch: float,
    width: int = 1,
) -> np.ndarray:
    """Sign of `moved` where it exceeds its neighbours by more than bees can."""
    sign = np.sign(moved)
    bees = stretch * np.where(sign > 0, looks.rise, looks.fall)
    before, after = np.append(0.0, change[:-1]), np.append(change[width:], np.zeros(width))
    # The larger neighbour, unless it is itself more than bees can: then it may be the other part
    # of a step, and the smaller one tells whether the change goes on.
    smaller, larger = np.sort([sign * before, sign * after], axis=0)
    going_on = np.maximum(np.where(larger > bees, smaller, larger), 0.0)
    limit = np.maximum(_least(looks, numbers), _factor(looks, numbers) * bees)
    return np.where(np.abs(moved) - going_on > limit, sign, 0.0)


def _least(looks: Looks, numbers: Numbers) -> np.ndarray:
    """The smallest step on each way: beyond rounding and noise, less where somebody worked. [kg]"""
    traits = looks.traits
    base = np.where(looks.handled, numbers["scale_log.seen_kg"], numbers["scale_log.step_kg"])
    noise = numbers["scale_log.noise_times"] * traits.noise_kg
    return np.maximum(base + traits.resolution_kg, noise)


def _factor(looks: Looks, numbers: Numbers) -> np.ndarray:
    """How much a step must exceed the moves of bees: nothing, where somebody worked."""
    return np.where(looks.handled, 1.0, numbers["scale_log.step_factor"])


def _flagged_gap(looks: Looks, numbers: Numbers) -> np.ndarray:
    deviation, _, limit = _across_gaps(looks, numbers)
    return np.where(np.abs(deviation) > limit, np.sign(deviation), 0.0)


def _across_gaps(looks: Looks, numbers: Numbers) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Change beyond the usual across each gap, how large bees make it, and from where it is a step.

    Bees' moves add up like a random walk. Over gaps of more than `gap_step_h` a flow may have
    begun and ended unseen, so that only what no hive can gain or lose is a step.
    """
    gap = np.where(looks.gap > 1.5 * looks.spacing_h, looks.gap, np.nan)
    deviation = np.nan_to_num(np.where(np.isnan(gap), 0.0, looks.change - looks.usual))
    stretch = _factor(looks, numbers) * np.sqrt(np.nan_to_num(gap) / looks.spacing_h)
    usual = np.maximum(
        _least(looks, numbers), stretch * np.where(deviation > 0, looks.rise, looks.fall)
    )
    days = np.nan_to_num(gap) / 24
    loss = numbers["scale_log.swarm_kg"] + numbers["scale_log.loss_kg_d"] * days
    gain = numbers["scale_log.gain_kg_d"] * np.maximum(days, 1.0)
    possible = np.maximum(usual, np.where(deviation > 0, gain, loss))
    limit = np.where(24 * days > numbers["scale_log.gap_step_h"], possible, usual)
    return deviation, usual, limit


def _joined(looks: Looks, flagged: np.ndarray, numbers: Numbers) -> list[tuple[int, int]]:
    """Jumps as (look before, look after); flags of one sign that touch each other are one.

    A look taken while the hive was open, or a scale that averages over its hour, spreads one
    step over two ways. Two things done in two hours that touch make one step as well.
    """
    runs: list[tuple[int, int]] = []
    longest = numbers["scale_log.lift_h"] + looks.spacing_h
    for k in np.flatnonzero(flagged):
        joins = runs and runs[-1][1] == k - 1 and flagged[k] == flagged[k - 1] and looks.near[k]
        if joins and looks.hours[k] - looks.hours[runs[-1][0]] <= longest:
            runs[-1] = (runs[-1][0], int(k))
        else:
            runs.append((int(k) - 1, int(k)))
    return runs


def _is_flight(looks: Looks, run: tuple[int, int], numbers: Numbers) -> bool:
    """Whether a jump is bees leaving or coming home: small, and undone within the day."""
    size = looks.kg[run[1]] - looks.kg[run[0]]
    large = numbers["scale_log.flight_kg"]
    if abs(size) >= large or not looks.near[run[1]]:
        return False
    reach = numbers["scale_log.undone_h"]
    start, end = np.searchsorted(looks.hours, looks.hours[run[1]] + np.array([-reach, reach]))
    # Coming home at the hour they always do is no answer to having left at an odd one.
    unusual = np.where(looks.near, looks.change - looks.usual, 0.0)[start : end + 1]
    moves = unusual * -np.sign(size)
    pairs = moves + np.append(moves[1:], 0.0)
    back = np.maximum(moves, pairs)
    return bool(((back >= numbers["scale_log.undone_share"] * abs(size)) & (back < large)).any())


def _edge(looks: Looks, start: int, end: int, numbers: Numbers) -> Edge:
    """The two readings between which the weight jumps, found among those of the looks.

    The cut is where the readings before lie nearest to the one level and those after nearest
    to the other. From there each side is followed outwards until the weight lies still: a
    swarm leaves over many minutes, and a hive being worked on shows anything.
    """
    before, after = looks.kg[start], looks.kg[end]
    low, high = int(looks.first[start]), int(looks.last[end])
    kg = looks.trace.kg[low : high + 1]
    cost = np.cumsum(np.abs(kg - before))[:-1] + np.cumsum(np.abs(kg - after)[::-1])[::-1][1:]
    left = low + int(np.argmin(cost))
    still = _still(looks, end, after - before, numbers)
    return (
        _until_still(looks.level, left, low, -1, *still),
        _until_still(looks.level, left + 1, high, 1, *still),
    )


def _still(looks: Looks, at: int, size: float, numbers: Numbers) -> tuple[int, float]:
    """How many readings must lie still, and how little they may stray to do so. [kg]"""
    reach = numbers["scale_log.still_h"]
    count = max(1, round(reach / looks.traits.spacing_h))
    bees = _wander(looks, int(looks.last[at])) * np.sqrt(reach)
    noise = numbers["scale_log.noise_times"] * looks.traits.noise_kg
    return count, max(noise, bees, numbers["scale_log.still_share"] * abs(size))


def _until_still(level: np.ndarray, at: int, stop: int, way: int, count: int, most: float) -> int:
    """Go from one reading outwards until it lies at the level of those beyond it."""
    while at != stop:
        beyond = level[at + 1 : at + count + 1] if way > 0 else level[max(at - count, 0) : at]
        if not len(beyond) or np.median(np.abs(beyond - level[at])) <= most:
            break
        at += way
    return at


def _in_turn(edges: list[Edge]) -> list[Edge]:
    """Edges in order, none beginning before the one ahead of it ends."""
    kept: list[Edge] = []
    for left, right in sorted(edges):
        if kept and left < kept[-1][1]:
            left = kept[-1][1]
        if right > left:
            kept.append((left, right))
    return kept


def _level_at(looks: Looks, side: np.ndarray, wander: float) -> tuple[float, float, float]:
    """Level [kg], time [h] and variance [kg²] of the readings of one side, nearest first."""
    noise = max(looks.traits.noise_kg, 1e-6)
    moves = wander**2 * looks.traits.spacing_h / noise**2
    gain = (np.sqrt(moves**2 + 4 * moves) - moves) / 2  # steady state of the filter
    weights = np.maximum(1 - gain, 0.0) ** np.arange(len(side))
    weights /= weights.sum()
    level, hour = weights @ looks.level[side], weights @ looks.trace.hours[side]
    return float(level), float(hour), float(noise**2 * (weights @ weights))


def _slope(looks: Looks, left: int, right: int) -> tuple[float, float]:
    """Change an hour of the looks around a jump, usual course removed, and its error. [kg/h]

    The median of the changes, drawn to zero by as much as their scatter leaves it in doubt.
    """
    start = int(np.searchsorted(looks.last, left, side="right")) - 1  # the last look before
    end = int(np.searchsorted(looks.first, right))  # the first look after
    ways = np.append(np.arange(start - 2, start + 1), np.arange(end + 1, end + 4))
    ways = ways[(ways > 0) & (ways < len(looks.hours))]
    ways = ways[looks.near[ways]]
    if len(ways) < 2:
        return 0.0, 0.0
    rates = (looks.change[ways] - looks.usual[ways]) / looks.gap[ways]
    slope = float(np.median(rates))
    error = 1.4826 * float(np.median(np.abs(rates - slope))) * np.sqrt(np.pi / 2 / len(rates))
    kept = max(0.0, 1 - error**2 / slope**2) if slope else 0.0
    return kept * slope, kept * error


def _wander(looks: Looks, right: int) -> float:
    """How far bees move the weight, standard deviation over an hour. [kg/√h]

    A move that is exceeded on two days of four weeks is about three standard deviations of those
    between two looks.
    """
    at = int(np.searchsorted(looks.first, right, side="right")) - 1
    return float((looks.rise[at] + looks.fall[at]) / 6 / np.sqrt(looks.spacing_h))


def _widened(mask: np.ndarray, by: int) -> np.ndarray:
    out = mask.copy()
    for k in range(1, by + 1):
        out[k:] |= mask[:-k]
        out[:-k] |= mask[k:]
    return out
