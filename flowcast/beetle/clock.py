"""The cohort clock: when larvae in the soil become beetles, and how many generations that makes."""

from __future__ import annotations

import numpy as np

from flowcast.beetle.course import Course, mean_since
from flowcast.numbers import Numbers

FULL = 1.0 - 1e-9  # a stage is done at 1, sums of shares are not exact


def emerges(course: Course, numbers: Numbers) -> np.ndarray:
    """Whether adults leave the soil on each day, shape (draws, days).

    A cohort must have gone in on a day fit to breed, come to its time on this day and not before, and
    have come through with beetle.cohort_least of the best survival.
    """
    days = np.arange(1, course.rate.shape[1] + 1)
    lived = mean_since(course.fit, course.starts) >= numbers["beetle.cohort_least"]
    done = mean_since(course.rate, course.starts) * (days - course.starts) >= FULL
    entered = np.take_along_axis(course.breeding, course.starts, axis=1) > 0
    return lived & done & entered & (course.rate > 0)


def emergence_day(course: Course, entered: int, numbers: Numbers) -> np.ndarray:
    """Day on which larvae that go into the soil at position `entered` emerge, shape (draws,).

    A position; infinite where their time is not up by the last day, NaN where too few outlive it.
    """
    done = np.cumsum(course.rate[:, entered:], axis=1)
    lived = np.cumsum(course.fit[:, entered:], axis=1) / np.arange(1, done.shape[1] + 1)
    day = np.argmax(done >= FULL, axis=1)
    rows = np.arange(len(day))
    up = np.where(done[:, -1] >= FULL, entered + day, np.inf)
    dies = lived[rows, np.where(np.isinf(up), -1, day)] < numbers["beetle.cohort_least"]
    return np.where(dies, np.nan, up)


def generations(course: Course, first: int, in_hive_d: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Generations that left the soil from position `first` to the last day, shape (draws,).

    The quickest line: larvae go into the soil on the first fit day, the adults that emerge lay
    after beetle.prelay_d, and their larvae go in as soon as egg and larva are done. Adults that
    came through the winter start it; a cohort that the soil kills is followed by the next fit day.

    Parameters
    ----------
    in_hive_d : array, shape (draws,)
        From emergence to the next larvae that leave the hive: before laying, egg and larva. [d]
    """
    return np.array(
        [
            _line(rate, fit, first, pause, numbers["beetle.cohort_least"])
            for rate, fit, pause in zip(course.rate, course.fit, in_hive_d, strict=True)
        ]
    )


def _line(rate: np.ndarray, fit: np.ndarray, first: int, pause: float, least: float) -> int:
    """Generations of one draw."""
    done = np.r_[0.0, np.cumsum(rate)]
    lived = np.r_[0.0, np.cumsum(fit)]
    fit_days = np.flatnonzero(fit >= least)
    count, day = 0, first
    while True:
        entry = np.searchsorted(fit_days, day)
        if entry == len(fit_days):
            return count
        start = int(fit_days[entry])
        out = int(np.searchsorted(done, done[start] + FULL))  # position after the last soil day
        if out >= len(done):
            return count
        if (lived[out] - lived[start]) / (out - start) >= least:
            count, day = count + 1, out + int(np.ceil(pause))
        else:
            day = start + 1
