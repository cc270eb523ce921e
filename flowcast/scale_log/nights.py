"""Night weights, and from them the daily net gain with the work taken out."""

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.log import ScaleTraits, Trace, dates_of, days_of, hours_of
from flowcast.scale_log.weathering import Weathering
from flowcast.tables import GAIN


def net_weights(hours: np.ndarray, kg: np.ndarray, steps: pd.DataFrame) -> np.ndarray:
    """Weights with every step up to each hour taken out. [kg]"""
    times = hours_of(pd.DatetimeIndex(steps["time"]))
    total = np.append(0.0, np.cumsum(steps["kg"].to_numpy()))
    return kg - total[np.searchsorted(times, hours, side="right")]


def night_weights(
    trace: Trace,
    traits: ScaleTraits,
    steps: pd.DataFrame,
    weathering: Weathering,
    timezone: str,
    numbers: Numbers,
) -> pd.DataFrame:
    """Weight of the hive in the quiet hours before each local date's work begins.

    Returns
    -------
    DataFrame
        Index: number of the local date. `net_kg` median of the net weights between `night_start_h`
        and `night_end_h`, or where none is, of the last hours of the evening before; `raw_kg`
        the same as the scale showed it at the start of the date; `sd_kg`; `evening`; `wet`, how
        wet the wood was, 0 to 1.

    Notes
    -----
    The median is taken of net weights, so a step inside the window mixes nothing. Steps count
    to the local date they fall on: raw = net + all steps before that date. Without a step in
    the window raw is the plain median of what the scale showed.
    """
    net = net_weights(trace.hours, trace.kg, steps)
    hour, day = trace.wall % 24, trace.day
    start, end = numbers["scale_log.night_start_h"], numbers["scale_log.night_end_h"]
    night = _medians(day, net, (hour >= start) & (hour < end), evening=False)
    late = hour >= numbers["scale_log.evening_start_h"]
    wet = weathering.wet_at(trace.hours)
    wet = pd.Series(wet).groupby(day + late).mean()
    evening = _medians(day + 1, net, late, evening=True)
    nights = pd.concat([night, evening[~evening.index.isin(night.index)]]).sort_index()
    nights["raw_kg"] = nights["net_kg"] + taken_before(nights.index, steps, timezone)
    nights["wet"] = wet.reindex(nights.index).to_numpy()
    noise = _reading_variance(nights["readings"].to_numpy(), traits)
    nights["sd_kg"] = _night_sd(nights, noise, weathering.flight_h(timezone), numbers)
    return nights


def gains_between(
    nights: pd.DataFrame,
    steps: pd.DataFrame,
    doubts: np.ndarray,
    timezone: str,
    numbers: Numbers,
    *,
    gap_sd_kg: float,
) -> pd.DataFrame:
    """Spans from night to night with their net gain, standard error and quality.

    Parameters
    ----------
    nights : DataFrame
        As night_weights: one row a local date that has a night weight.
    steps : DataFrame
        As CleanLog.steps.
    doubts : ndarray, shape (n, 2)
        Local date number, and what else makes the span that holds it uncertain. [kg]
    gap_sd_kg : float
        Work unseen on a day without readings, as an error for each day beyond the first. [kg/√d]

    Returns
    -------
    DataFrame
        As CleanLog.gains.

    Notes
    -----
    Variances add: both nights, every step in the span, nights taken from different windows
    (`evening_sd_kg`), and `gap_sd_kg` squared for each day beyond the first. A span whose error
    exceeds `doubtful_sd_kg` times the root of its days is doubtful. A span that tables.GAIN
    cannot hold (longer than its bound, or a gain that no hive can have) is left out.
    """
    day = nights.index.to_numpy()
    days = np.diff(day).astype(float)
    variance = _span_variance(nights, days, gap_sd_kg, numbers)
    step_days = days_of(steps["time"], timezone)
    variance += _in_spans(day, step_days, steps["sd_kg"].to_numpy() ** 2)
    variance += _in_spans(day, doubts[:, 0], doubts[:, 1] ** 2)
    sd = np.sqrt(variance)
    good = sd <= numbers["scale_log.doubtful_sd_kg"] * np.sqrt(days)
    gains = pd.DataFrame(
        {
            "days": days.astype(int),
            "gain_kg": np.diff(nights["net_kg"].to_numpy()),
            "gain_sd_kg": np.minimum(sd, GAIN["gain_sd_kg"].high),
            "quality": np.where(good, "good", "doubtful"),
            "lower_bound": False,  # until somebody tells of the combs
        },
        index=dates_of(day[:-1]),
    )
    return gains[_possible(gains)]


def _possible(gains: pd.DataFrame) -> np.ndarray:
    """Spans that the table of gains can hold: not years long, nor a gain no hive can have."""
    inside = np.ones(len(gains), bool)
    for name in ("days", "gain_kg"):
        inside &= gains[name].between(GAIN[name].low, GAIN[name].high).to_numpy()
    return inside


def _medians(
    day: np.ndarray, net: np.ndarray, inside: np.ndarray, *, evening: bool
) -> pd.DataFrame:
    groups = pd.Series(net[inside]).groupby(day[inside])
    table = pd.DataFrame({"net_kg": groups.median(), "readings": groups.size()})
    return table.assign(evening=evening)


def taken_before(days: pd.Index, steps: pd.DataFrame, timezone: str) -> np.ndarray:
    """Sum of the steps on local dates before each of these day numbers. [kg]"""
    step_days = days_of(steps["time"], timezone)
    total = np.append(0.0, np.cumsum(steps["kg"].to_numpy()))
    return total[np.searchsorted(step_days, days.to_numpy(), side="left")]


def _reading_variance(readings: np.ndarray, traits: ScaleTraits) -> np.ndarray:
    """Noise of a median of n readings, and the scale's rounding. [kg²]

    A median's variance is π/2 times that of a mean, for more than two readings.
    """
    noise = traits.noise_kg**2 * np.where(readings > 2, np.pi / 2, 1.0) / readings
    return noise + traits.resolution_kg**2 / 12


def _night_sd(
    nights: pd.DataFrame, noise: np.ndarray, flight_h: pd.Series, numbers: Numbers
) -> np.ndarray:
    """Error of each night weight: noise, what more readings do not lower, and wet wood.

    The latter two are learned from the log's own days on which nothing came in, beside
    `error_nights` nights of the stated size: what their gains stray from those of the days around
    them is error. With weather such days are those without flight; without, those amid losses, and
    a night's error is told by its making one day better and the next worse.
    """
    dry, wet = numbers["scale_log.night_sd_kg"] ** 2, numbers["scale_log.wet_sd_kg"] ** 2
    stray, first, second = _strays(nights)
    share = nights["wet"].to_numpy() ** 2
    both, more = noise[first] + noise[second], share[first] + share[second]
    if len(flight_h):
        still = flight_h.reindex(nights.index[first]).to_numpy() < numbers["scale_log.still_day_h"]
        stray, both, more = _around(stray[still]), both[still], more[still]
        arid = more < 0.01
        dry = _learned(dry, (stray[arid] ** 2 - both[arid]) / 2, numbers)
        beyond = stray**2 - both - 2 * dry
        wet = _learned(wet, beyond[~arid] / more[~arid], numbers, weights=more[~arid] ** 2)
    else:
        loses = pd.Series(stray).rolling(7, center=True, min_periods=3).median().to_numpy() < 0
        off = _around(stray)
        next_to = (first[1:] == second[:-1]) & loses[1:] & loses[:-1]
        dry = _learned(dry, -(off[1:] * off[:-1])[next_to] - noise[second[:-1]][next_to], numbers)
    return np.sqrt(noise + dry + wet * share)


def _strays(nights: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gain of each single day, and the rows of its two nights."""
    day = nights.index.to_numpy()
    first = np.flatnonzero(np.diff(day) == 1)
    return np.diff(nights["net_kg"].to_numpy())[first], first, first + 1


def _around(gain: np.ndarray) -> np.ndarray:
    """Gains less the median of those of seven days about them."""
    return gain - pd.Series(gain).rolling(7, center=True, min_periods=3).median().to_numpy()


def _learned(
    stated: float, seen: np.ndarray, numbers: Numbers, weights: np.ndarray | None = None
) -> float:
    """A variance from what was seen, drawn to the stated one; the widest strays count less. [kg²]"""
    weights = np.ones(len(seen)) if weights is None else weights
    weights = weights[np.isfinite(seen)]
    seen = seen[np.isfinite(seen)]
    if not len(seen):
        return stated
    middle = np.median(np.abs(seen))
    seen = np.clip(seen, -16 * middle, 16 * middle)  # four standard deviations
    prior = numbers["scale_log.error_nights"]
    amount = weights.sum() ** 2 / max((weights**2).sum(), 1e-12)  # as good as so many alike
    mean = (weights @ seen) / max(weights.sum(), 1e-12)
    return max((prior * stated + amount * mean) / (prior + amount), stated / 16)


def _span_variance(
    nights: pd.DataFrame, days: np.ndarray, gap_sd_kg: float, numbers: Numbers
) -> np.ndarray:
    square = nights["sd_kg"].to_numpy() ** 2
    other_window = np.diff(nights["evening"].to_numpy().astype(int)) != 0
    variance = square[:-1] + square[1:]
    variance += other_window * numbers["scale_log.evening_sd_kg"] ** 2
    return variance + (days - 1) * gap_sd_kg**2


def _in_spans(day: np.ndarray, of: np.ndarray, amount: np.ndarray) -> np.ndarray:
    """Sum of the amounts whose day lies in each span [day k, day k+1)."""
    spans = max(len(day) - 1, 0)
    which = np.searchsorted(day, of, side="right") - 1
    inside = (which >= 0) & (which < spans)
    return np.bincount(which[inside], weights=amount[inside], minlength=spans)[:spans]
