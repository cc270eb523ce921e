"""Days on which a hive had no empty drawn comb left: its gains are then lower bounds."""

from dataclasses import replace

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.log import CleanLog, dates_of, days_of

# Kinds of box in yard.toml, and their names in numbers.toml.
FRAMES = {
    "deep": "deep",
    "medium": "medium",
    "shallow": "shallow",
    "jumbo": "jumbo",
    "national brood": "national_brood",
    "national super": "national_super",
}
HONEY = {"feed", "honey off"}  # weight put on or taken that fills or empties combs
BOX_ON, BOX_OFF = {"super on", "boxes on"}, {"super off", "boxes off"}


def mark_full(
    log: CleanLog,
    free_kg: float | None,
    timezone: str,
    numbers: Numbers,
    seen: pd.Timestamp | None = None,
) -> CleanLog:
    """The log with `lower_bound` set on the spans that began or ended with hardly any free comb.

    Parameters
    ----------
    log : CleanLog
        A hive's.
    free_kg : float or None
        What the empty drawn combs of the hive could hold when its boxes were seen; None where the
        keeper does not say: nothing is then marked. [kg]
    timezone : str
        The yard's.
    numbers : Numbers
        Group scale_log.
    seen : Timestamp, optional
        Local date on which the boxes were seen, its work done and its gain still to come; after the
        last reading when not given.

    Notes
    -----
    Further than `room_back_d` from that day, before or after, nothing is said, since the errors add
    up. A day that ended full may have brought less than it could; so may a week in which the comb
    ran out. A box put on within a span does not change that it began full.
    """
    if free_kg is None or not len(log.gains):
        return log
    gains = log.gains
    ends = gains.index + pd.to_timedelta(gains["days"].to_numpy(), unit="D")
    seen = ends[-1] if seen is None else seen
    begun, ended = (
        free_kg + free_since(log, dates, timezone, numbers, seen) for dates in (gains.index, ends)
    )
    reach = pd.Timedelta(days=numbers["scale_log.room_back_d"])
    near = (ends >= seen - reach) & (gains.index <= seen + reach)
    full = near & (np.minimum(begun, ended) < numbers["scale_log.limited_kg"])
    counts = log.counts | (
        {"days without free comb": int(gains["days"][full].sum())} if full.any() else {}
    )
    return replace(log, gains=gains.assign(lower_bound=full), counts=counts)


def free_since(
    log: CleanLog,
    dates: pd.DatetimeIndex,
    timezone: str,
    numbers: Numbers,
    seen: pd.Timestamp | None = None,
) -> np.ndarray:
    """How much more comb was free at the start of each date than when the boxes were seen. [kg]

    Every kilogram gained or fed in between had been free. A box put on brings room
    (`super_room_kg`), one taken off takes it; honey off leaves room in its combs, which come back
    unless a box off says that they did not. Boxes put on or taken off alone are empty. Foundation
    is not drawn comb.
    """
    gains, steps = log.gains, log.steps
    done = dates_of(days_of(steps["time"], timezone))
    words = [set(cause.removesuffix("?").split(" and ")) for cause in steps["cause"]]
    boxes = np.array([bool(BOX_ON & w) - bool(BOX_OFF & w) for w in words], float)
    honey = np.array([bool(HONEY & w) for w in words], float)
    of_honey = steps["kg"].to_numpy() - numbers["scale_log.boxes_on_typical_kg"] * boxes
    taken = honey * of_honey - numbers["scale_log.super_room_kg"] * boxes
    gained, worked = _later(gains["gain_kg"].to_numpy()), _later(taken)
    free = gained[gains.index.searchsorted(dates)] + worked[done.searchsorted(dates)]
    if seen is None:
        return free
    # What was done on the day itself was done when the boxes were seen.
    return free - gained[gains.index.searchsorted(seen)] - worked[done.searchsorted(seen, "right")]


def _later(kg: np.ndarray) -> np.ndarray:
    """Sum of each value and all that follow it, and 0 at the end."""
    return np.append(kg[::-1].cumsum()[::-1], 0.0)


def free_comb(boxes: list[tuple[str, float, float]], numbers: Numbers) -> float:
    """What the empty drawn combs of a hive can hold. [kg]

    Parameters
    ----------
    boxes : list of (kind, drawn, full)
        Frames drawn and frames full of each box; kinds as in yard.toml.
    """
    free = 0.0
    for kind, drawn, full in boxes:
        name = FRAMES[kind]
        free += max(drawn - full, 0.0) * numbers[f"scale_log.frame_{name}_kg"]
    return free
