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
ONTO = ("feed",)  # weight put on that goes into the combs
BOX_ON, BOX_OFF = ("super on", "boxes on?"), ("super off", "boxes off?")


def mark_full(log: CleanLog, free_kg: float | None, timezone: str, numbers: Numbers) -> CleanLog:
    """The log with `lower_bound` set on the days that began with hardly any free comb.

    Parameters
    ----------
    log : CleanLog
        A hive's.
    free_kg : float or None
        What the empty drawn combs of the hive could hold after the last reading; None where the
        keeper does not say: nothing is then marked. [kg]
    timezone : str
        The yard's.
    numbers : Numbers
        Group scale_log.

    Notes
    -----
    Going back from the last reading, every kilogram gained or fed since then had been free, and
    every box put on since then was not there yet (`super_room_kg`; one taken off was, empty).
    Honey taken off takes its combs with it and leaves what is free as it was. Further back than
    `room_back_d` nothing is said, since the errors add up. Foundation is not drawn comb.
    """
    if free_kg is None or not len(log.gains):
        return log
    gains = log.gains
    end = gains.index[-1] + pd.Timedelta(days=float(gains["days"].iloc[-1]))
    free = free_kg + free_since(log, timezone, numbers)
    near = gains.index >= end - pd.Timedelta(days=numbers["scale_log.room_back_d"])
    full = near & (free.to_numpy() < numbers["scale_log.full_kg"])
    counts = log.counts | (
        {"days that began without free comb": int(full.sum())} if full.any() else {}
    )
    return replace(log, gains=gains.assign(lower_bound=full), counts=counts)


def free_since(log: CleanLog, timezone: str, numbers: Numbers) -> pd.Series:
    """How much more comb was free at the start of each span than after the last reading. [kg]"""
    gains, steps = log.gains, log.steps
    later = gains["gain_kg"][::-1].cumsum()[::-1]
    date = dates_of(days_of(steps["time"], timezone))
    room = numbers["scale_log.super_room_kg"]
    change = np.where(steps["cause"].isin(ONTO), steps["kg"], 0.0)
    change = change - room * steps["cause"].isin(BOX_ON) + room * steps["cause"].isin(BOX_OFF)
    before = [float(change[date >= start].sum()) for start in gains.index]
    return later + np.array(before)


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
