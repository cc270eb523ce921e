"""What the weight usually does at this hour: the daily wave, and the largest moves of bees."""

import numpy as np

from flowcast.numbers import Numbers
from flowcast.scale_log.log import ScaleTraits, Trace


def usual_course(trace: Trace, traits: ScaleTraits, numbers: Numbers) -> np.ndarray:
    """Weight as neighbouring days would have it, up to a constant, at each reading. [kg]

    For every hour the change of weight is the median of the changes at the same hour of the
    days around it (`wave_days` on either side, its own day left out), and these are added up.
    A step, a spike or one odd day therefore does not enter. Changes larger than bees can make
    are left out; fewer than three neighbours count as no change.
    """
    hour = np.floor(trace.hours).astype(np.int64)
    first = int(hour[0])
    bridge = max(numbers["scale_log.near_h"], 1.5 * traits.spacing_h)
    level = _hourly_level(hour - first, trace.kg, bridge)
    change = np.diff(level, prepend=np.nan)
    change[np.abs(change) > numbers["scale_log.bees_kg_h"]] = np.nan
    reach = int(numbers["scale_log.wave_days"])
    offsets = [24 * day for day in range(-reach, reach + 1) if day]
    usual = _median_rows(np.array([_shifted(change, k) for k in offsets]), at_least=3)
    course = np.cumsum(usual)
    within = float(np.median(trace.hours - hour))
    return np.interp(trace.hours, first + within + np.arange(len(course)), course)


def usual_moves(
    day: np.ndarray, change: np.ndarray, spacing_h: float, numbers: Numbers
) -> tuple[np.ndarray, np.ndarray]:
    """The largest rise and fall that bees make between two looks in these weeks. [kg]

    Parameters
    ----------
    day : array of int
        Local day of each change.
    change : array
        Change of weight from one look to the next; NaN where the looks are not next. [kg]
    spacing_h : float
        Usual time between two looks. [h]
    numbers : Numbers
        Group scale_log.

    Returns
    -------
    rise, fall : arrays
        For each change the third largest daily extreme among the days around (`compare_days` on
        either side, its own day left out), both positive. The third, so that two small steps
        among them (a second swarm, a frame taken) do not hide the next.
    """
    first = int(day[0])
    length = int(day[-1]) - first + 1
    most = numbers["scale_log.bees_kg_h"] * np.sqrt(max(spacing_h, 1.0))
    bees = np.abs(np.nan_to_num(change)) <= most
    moves = np.where(bees, np.nan_to_num(change), 0.0)
    reach = int(numbers["scale_log.compare_days"])
    out = []
    for sign in (1.0, -1.0):
        extreme = np.zeros(length)
        np.maximum.at(extreme, day - first, sign * moves)
        out.append(_third_largest_around(extreme, reach)[day - first])
    return out[0], out[1]


def look_blocks(hours: np.ndarray, look_h: float) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of the first and last reading of each block of `look_h` that has one."""
    block = np.floor(hours / look_h + 1e-9).astype(np.int64)
    first = np.flatnonzero(np.diff(block, prepend=block[0] - 1))
    return first, np.append(first[1:], len(hours)) - 1


def block_medians(kg: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Median weight of each block of readings. [kg]"""
    if len(first) == len(kg):
        return kg
    block = np.repeat(np.arange(len(first)), last - first + 1)
    ranked = kg[np.lexsort((kg, block))]
    return (ranked[(first + last) // 2] + ranked[(first + last + 1) // 2]) / 2


def _hourly_level(hour: np.ndarray, kg: np.ndarray, bridge_h: float) -> np.ndarray:
    """Mean weight of each hour, short holes bridged, long ones NaN."""
    count = np.bincount(hour)
    with np.errstate(invalid="ignore"):
        level = np.bincount(hour, weights=kg) / count
    there = np.flatnonzero(count)
    bridged = np.interp(np.arange(len(level)), there, level[there])
    gap = np.diff(there, prepend=there[0])
    behind = gap[np.minimum(np.searchsorted(there, np.arange(len(level))), len(there) - 1)]
    return np.where(behind <= bridge_h, bridged, np.nan)


def _third_largest_around(values: np.ndarray, reach: int) -> np.ndarray:
    around = [np.nan_to_num(_shifted(values, k)) for k in range(-reach, reach + 1) if k]
    return np.partition(np.array(around), -3, axis=0)[-3]


def _shifted(values: np.ndarray, by: int) -> np.ndarray:
    out = np.full(len(values), np.nan)
    if abs(by) >= len(values):
        return out
    if by > 0:
        out[by:] = values[:-by]
    else:
        out[:by] = values[-by:]
    return out


def _median_rows(stack: np.ndarray, at_least: int) -> np.ndarray:
    """Column medians leaving NaN out; zero where fewer than `at_least` values are there."""
    ranked = np.sort(stack, axis=0)  # NaN goes last
    count = np.isfinite(stack).sum(axis=0)
    column = np.arange(stack.shape[1])
    low, high = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, len(stack) - 1)
    middle = (ranked[low, column] + ranked[high, column]) / 2
    return np.where(count >= at_least, middle, 0.0)
