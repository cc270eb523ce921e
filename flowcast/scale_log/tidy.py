"""Readings as the file gave them -> in order, each time once, with what is impossible marked."""

import numpy as np
import pandas as pd

from flowcast.errors import NotEnoughDataError, TimeIndexError
from flowcast.numbers import Numbers
from flowcast.scale_log.log import ScaleTraits, Trace, all_good, hours_of, wall_hours_of
from flowcast.tables import require_columns


def tidy(readings: pd.DataFrame, numbers: Numbers) -> tuple[pd.DataFrame, dict[str, int]]:
    """Readings in order of time, each time once, with marks "good", "restart", "impossible".

    Parameters
    ----------
    readings : DataFrame
        Column `weight_kg`, tz-aware index; any order, with duplicates and NaN. [kg]
    numbers : Numbers
        Group scale_log.

    Returns
    -------
    DataFrame
        Columns `weight_kg`, `weather_kg` (0, nothing being known yet) and `mark`, sorted unique UTC
        index.
    dict
        Rows without a value, out of order, repeated, and at odds with another of the same time.

    Raises
    ------
    TimeIndexError
        When the index carries no time zone.
    NotEnoughDataError
        When no reading can be the weight of a hive. The message does not name the file; the
        caller puts it in front.

    Notes
    -----
    Two rows of one time and one value are one reading. Two values at one time are both
    suspect, and their median stands for them; a possible value wins over an impossible one.
    """
    weights, counts = _in_order(readings)
    marks = _marks(weights.to_numpy(), numbers)
    _require_good(weights, marks, numbers)
    if not weights.index.is_unique:
        weights, marks = _once(weights, marks, counts)
    columns = {"weight_kg": weights.to_numpy(), "weather_kg": 0.0, "mark": marks}
    table = pd.DataFrame(columns, index=weights.index)
    return table, {name: n for name, n in counts.items() if n}


def _in_order(readings: pd.DataFrame) -> tuple[pd.Series, dict[str, int]]:
    require_columns(readings, ["weight_kg"], where="scale log")
    if not isinstance(readings.index, pd.DatetimeIndex) or readings.index.tz is None:
        raise TimeIndexError(
            "the scale log has times without a time zone. Give them as UTC, or set clock in "
            "yard.toml."
        )
    weights = pd.Series(readings["weight_kg"].to_numpy(float), readings.index, name="weight_kg")
    weights.index = weights.index.tz_convert("UTC").as_unit("ns").rename("time")
    there = np.isfinite(weights.to_numpy()) & weights.index.notna()
    counts = {"no value": int((~there).sum())}
    weights = weights[there]
    times = weights.index.asi8
    latest = np.maximum.accumulate(times) if len(times) else times
    counts["out of order"] = int((times < latest).sum())
    return weights.sort_index(kind="stable"), counts


def _marks(kg: np.ndarray, numbers: Numbers) -> np.ndarray:
    marks = all_good(len(kg))
    marks[kg <= numbers["scale_log.lowest_kg"]] = "restart"
    marks[kg > numbers["scale_log.highest_kg"]] = "impossible"
    return marks


def _require_good(weights: pd.Series, marks: np.ndarray, numbers: Numbers) -> None:
    if (marks == "good").any():
        return
    low, high = numbers["scale_log.lowest_kg"], numbers["scale_log.highest_kg"]
    if not len(weights):
        raise NotEnoughDataError("the scale log has no weight in it. Check the column.")
    raise NotEnoughDataError(
        f"none of the {len(weights)} weights is between {low:g} and {high:g} kg "
        f"({weights.min():g} to {weights.max():g}). Check the unit and the column; for a scale "
        "that was set to zero with the hive on it, lower scale_log.lowest_kg under [numbers]."
    )


def _once(weights: pd.Series, marks: np.ndarray, counts: dict) -> tuple[pd.Series, np.ndarray]:
    rows = pd.DataFrame({"time": weights.index, "kg": weights.to_numpy(), "mark": marks})
    whole = len(rows)
    rows = rows.drop_duplicates(["time", "kg"])
    counts["duplicate"] = whole - len(rows)
    rows["good"] = rows["mark"] == "good"
    best = rows.groupby("time")["good"].transform("any")
    # Where one of several values at a time can be a hive's weight, the others are no vote.
    voters = rows[rows["good"] | ~best]
    counts["at odds with another of the same time"] = len(rows) - rows["time"].nunique()
    once = voters.groupby("time").agg(kg=("kg", "median"), mark=("mark", "first"))
    once.index = pd.DatetimeIndex(once.index, name="time")
    return once["kg"].rename("weight_kg"), once["mark"].to_numpy(object)


def trace_of(readings: pd.DataFrame, timezone: str) -> Trace:
    """The readings marked good, as arrays on both clocks; what weather adds is taken off."""
    good = readings[(readings["mark"] == "good").to_numpy()]
    wall = wall_hours_of(good.index, timezone)
    kg = good["weight_kg"].to_numpy() - good["weather_kg"].to_numpy()
    return Trace(hours_of(good.index), wall, kg)


def traits_of(trace: Trace, numbers: Numbers) -> ScaleTraits:
    """Spacing, noise and resolution of a scale, told from its own readings.

    Noise is read from differences of neighbouring readings at night, when bees neither leave nor
    come: their robust spread over the square root of two. A coarse scale shows the same
    value over and over; its noise is at least the rounding error, resolution / √12.
    """
    steps, gaps = np.diff(trace.kg), np.diff(trace.hours)
    spacing = float(np.median(gaps)) if len(gaps) else 24.0
    resolution = _resolution(steps)
    hour = trace.wall[1:] % 24
    late = hour >= numbers["scale_log.evening_start_h"]
    quiet = late | (hour < numbers["scale_log.night_end_h"])
    near = gaps <= 1.5 * spacing
    night = steps[quiet & near]
    spread = _robust_sd(night if len(night) >= 10 else steps) / np.sqrt(2)
    return ScaleTraits(spacing, max(spread, resolution / np.sqrt(12)), resolution)


def _resolution(steps: np.ndarray) -> float:
    moved = np.abs(steps[np.abs(steps) > 1e-6])
    return float(np.quantile(moved, 0.05)) if len(moved) else 0.0


def _robust_sd(values: np.ndarray) -> float:
    if not len(values):
        return 0.0
    return float(1.4826 * np.median(np.abs(values - np.median(values))))
