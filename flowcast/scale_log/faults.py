"""Faults of a scale that show in its own readings: spikes, lifts, stuck stretches."""

import numpy as np
import pandas as pd
from pandas.api.indexers import BaseIndexer

from flowcast.numbers import Numbers
from flowcast.scale_log.log import ScaleTraits, Trace, all_good
from flowcast.scale_log.wave import block_medians, look_blocks, usual_course, usual_moves


def stuck(trace: Trace, traits: ScaleTraits, numbers: Numbers) -> np.ndarray:
    """True where the scale showed one and the same value for too long.

    Notes
    -----
    A hive's weight always moves, but a coarse scale cannot show it. A run of equal values is
    stuck when it lasts longer than all of

    - `stuck_h`;
    - the days in which a broodless winter cluster eats `stuck_steps` steps of the scale (least
      use `least_use_kg_d`);
    - `stuck_runs` times the length that 95 % of this log's runs stay below, which is how a
      scale looks that reports only larger changes.

    A log that never moves does not tell its steps; it is judged as the coarsest scale is,
    `coarsest_kg`.
    """
    if len(trace) < 2:
        return np.zeros(len(trace), bool)
    starts = np.flatnonzero(np.diff(trace.kg, prepend=np.nan) != 0)
    ends = np.append(starts[1:], len(trace)) - 1
    lasted = trace.hours[ends] - trace.hours[starts]
    least_step = traits.resolution_kg or numbers["scale_log.coarsest_kg"]
    steps = numbers["scale_log.stuck_steps"] * least_step
    coarse = 24.0 * steps / numbers["scale_log.least_use_kg_d"]
    many = len(starts) > 20  # fewer runs have no 95th percentile to speak of
    common = numbers["scale_log.stuck_runs"] * np.quantile(lasted, 0.95) if many else 0.0
    too_long = lasted > max(numbers["scale_log.stuck_h"], coarse, common)
    return np.repeat(too_long & (ends > starts), ends - starts + 1)


def excursions(trace: Trace, traits: ScaleTraits, numbers: Numbers) -> np.ndarray:
    """Marks "good", "spike" or "lifted" for each reading.

    A reading is off when it lies outside the range between the median of the readings before
    it and the median of those after it, by more than noise and bees can explain, and when the
    weight leaves and comes back at once. A step leaves the weight on one of its two sides, so it
    is never off; a swarm made good by a flow comes back slowly. The usual daily course is
    removed first.

    Notes
    -----
    Windows of three lengths are used, the shortest first, up to twice `lift_h` and an hour on
    either side, so that dips and jumps up to about `lift_h` are found: a short one is plain
    against its own hour even while the weight climbs, and once it is out of the way a longer
    one is.

    A single reading is a spike, except a fall in working hours on a scale that reads seldom:
    that is a hive lifted once. Several in a row are a lift.
    """
    marks = all_good(len(trace))
    if len(trace) < 3:
        return marks
    level = trace.kg - usual_course(trace, traits, numbers)
    margin = _margin(trace, traits, numbers)
    off = np.zeros(len(trace), np.int8)
    for reach in _reaches(traits, numbers):
        rest = np.flatnonzero(off == 0)
        off[rest] = _off(trace.hours[rest], level[rest], margin[rest], reach, numbers)
    marks[off != 0] = "lifted"
    marks[(off != 0) & ~_is_lift(trace, traits, off, numbers)] = "spike"
    return marks


def _reaches(traits: ScaleTraits, numbers: Numbers) -> list[float]:
    """Lengths of window from short to long, each holding a few readings. [h]"""
    longest = 2 * numbers["scale_log.lift_h"] + 1
    shares = (longest / 4, longest / 2, longest)
    return sorted({max(share, 3.5 * traits.spacing_h) for share in shares})


def _off(
    hours: np.ndarray, level: np.ndarray, margin: np.ndarray, reach: float, numbers: Numbers
) -> np.ndarray:
    """+1 for readings of a jump that returns, -1 for those of a dip, 0 for the others."""
    low, high = _range_around(hours, level, reach, numbers)
    side = np.where(low - level > margin, -1, np.where(level - high > margin, 1, 0))
    starts = np.flatnonzero((side != 0) & (side != np.append(0, side[:-1])))
    ends = np.flatnonzero((side != 0) & (side != np.append(side[1:], 0)))
    for start, end in zip(starts, ends, strict=True):
        if not _sharp(hours, level * side[start], start, end, margin[start], numbers):
            side[start : end + 1] = 0
    return side


def _sharp(
    hours: np.ndarray, height: np.ndarray, start: int, end: int, margin: float, numbers: Numbers
) -> bool:
    """Whether the height leaves at once at the start of a run, and comes back so at its end.

    Both changes must exceed the margin, and neither be small beside the other: honey taken in
    a flow leaves at once and seems to come back as the flow goes on.
    """
    edges = []
    if start > 0:
        edges.append(_rise(hours[: end + 1], height[: end + 1], start, numbers))
    if end < len(hours) - 1:
        edges.append(
            _rise(-hours[start:][::-1], height[start:][::-1], len(hours) - 1 - end, numbers)
        )
    least = max(margin, numbers["scale_log.lift_share"] * max(edges, default=0.0))
    return all(edge > least for edge in edges)


def _rise(hours: np.ndarray, height: np.ndarray, at: int, numbers: Numbers) -> float:
    """From the lowest reading shortly before number `at` to the highest shortly from it on."""
    reach = numbers["scale_log.look_h"]
    first = min(int(np.searchsorted(hours, hours[at] - reach)), at - 1)
    last = max(int(np.searchsorted(hours, hours[at] + reach)), at + 1)
    return float(height[at:last].max() - height[first:at].min())


def _margin(trace: Trace, traits: ScaleTraits, numbers: Numbers) -> np.ndarray:
    """What a reading may stray without being off: noise, and the moves of bees. [kg]"""
    first, last = look_blocks(trace.hours, numbers["scale_log.look_h"])
    kg = block_medians(trace.kg, first, last)
    spacing = max(traits.spacing_h, numbers["scale_log.look_h"])
    near = np.diff(trace.hours[first], prepend=np.nan) <= 1.5 * spacing
    change = np.where(near, np.diff(kg, prepend=np.nan), np.nan)
    rise, fall = usual_moves(trace.day[first], change, spacing, numbers)
    bees = numbers["scale_log.step_factor"] * np.maximum(rise, fall)
    noise = numbers["scale_log.noise_times"] * traits.noise_kg
    margin = np.maximum(bees, max(numbers["scale_log.spike_kg"], noise))
    return np.repeat(margin, last - first + 1)


def _range_around(
    hours: np.ndarray, level: np.ndarray, reach: float, numbers: Numbers
) -> tuple[np.ndarray, np.ndarray]:
    instant = 1e-6
    before = _window_median(hours, level, -reach, -instant)
    after = _window_median(hours, level, instant, reach)
    # At an edge of the data there is one side only, and bees may have moved since.
    lone = np.where(np.isnan(before) | np.isnan(after), numbers["scale_log.bees_kg_h"], 0.0)
    return np.fmin(before, after) - lone, np.fmax(before, after) + lone


def _is_lift(trace: Trace, traits: ScaleTraits, off: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Several readings in a row, or a single fall when somebody may have been at the hive."""
    beside = np.zeros(len(off), bool)
    beside[1:] |= off[:-1] != 0
    beside[:-1] |= off[1:] != 0
    hour = trace.wall % 24
    start, end = numbers["scale_log.work_start_h"], numbers["scale_log.work_end_h"]
    worked = (off < 0) & (hour >= start) & (hour < end)
    return beside | (worked & (traits.spacing_h >= numbers["scale_log.look_h"]))


class _Window(BaseIndexer):
    """Windows of time before or after each reading, for pandas' rolling."""

    def get_window_bounds(
        self, num_values=0, min_periods=None, center=None, closed=None, step=None
    ):
        """First and last position of each window, as pandas asks for them."""
        return self.start, self.end


def _window_median(hours: np.ndarray, level: np.ndarray, start: float, end: float) -> np.ndarray:
    """Median of the level from `start` to `end` hours after each reading; NaN where none is."""
    first = np.searchsorted(hours, hours + start, side="left").astype(np.int64)
    last = np.searchsorted(hours, hours + end, side="right").astype(np.int64)
    window = _Window(start=first, end=np.maximum(last, first))
    return pd.Series(level).rolling(window, min_periods=1).median().to_numpy()
