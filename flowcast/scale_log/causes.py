"""What a step that nobody wrote down may have been, and how sure that is.

Every cause has a usual size and a share of all steps; what else is seen of a step (the hour,
whether the hive was open, whether the same was done to its neighbours, whether nectar was coming
in, whether bees flew, whether it rained) makes each cause more or less likely. The shares are then
chances that add up to one, "unknown" among them.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.log import CleanLog, hours_of
from flowcast.scale_log.words import by_night, unlogged_note

# By name in numbers.toml: words, and which way the weight goes (0: either).
CAUSES = {
    "boxes_on": ("boxes on", 1),
    "feed": ("feed", 1),
    "frames_in": ("frames in", 1),
    "bees_added": ("bees added", 1),
    "water": ("rain or snow on the wood", 0),
    "honey_off": ("honey off", -1),
    "boxes_off": ("boxes off", -1),
    "frames_out": ("frames out", -1),
    "swarm": ("a prime swarm", -1),
    "cast": ("an after-swarm", -1),
    "theft": ("theft, or the hive overturned", -1),
    "moved": ("hive moved, or the scale set anew", 0),
    "unknown": ("unknown", 0),
}
PUT_BACK = "lifted and put back"
NAMES = list(CAUSES)
WORK = ("boxes_on", "feed", "frames_in", "bees_added", "honey_off", "boxes_off", "frames_out")
BOXES = ("boxes_on", "boxes_off")
SWARMS = ("swarm", "cast")


@dataclass(frozen=True)
class Seen:
    """What is seen of one step.

    kg, before_kg: its size and the weight before it. night: by night, when nobody works; noon: in
    the hours in which swarms leave; open_: hive lifted beside it; gap_h: hours between the readings
    on either side. alike, others: whether the same, or anything, was done to a neighbour that day;
    alone: there are neighbours and nothing was. income: usual gain of the days around [kg/d].
    flight, rain: hours fit for flight that day [h], rain of that day and the one before [mm], NaN
    where there is no weather. zeros: the scale showed no hive between. box_kg: weights of boxes that
    the keeper wrote down.
    """

    kg: float
    before_kg: float
    night: bool
    noon: bool
    open_: bool
    gap_h: float
    alike: bool
    others: bool
    alone: bool
    income: float
    flight: float
    rain: float
    zeros: bool
    box_kg: tuple[float, ...] = ()


def chances(seen: Seen, numbers: Numbers) -> pd.Series:
    """The chance of each cause, by name; they add up to one."""
    score = np.array([_size_score(name, seen.kg, numbers) for name in NAMES])
    for names, strength in _hints(seen, numbers):
        score += strength * np.isin(NAMES, names)
    share = np.exp(score - score.max())
    return pd.Series(share / share.sum(), NAMES)


def _size_score(name: str, kg: float, numbers: Numbers) -> float:
    """Logarithm of a cause's share times the density of this size under it (lognormal)."""
    way = CAUSES[name][1]
    if way * kg < 0:
        return -np.inf
    spread = numbers[f"scale_log.{name}_spread"]
    away = np.log(abs(kg) / numbers[f"scale_log.{name}_typical_kg"]) / spread
    return float(np.log(numbers[f"scale_log.{name}_share"] / spread) - away**2 / 2)


def _hints(seen: Seen, numbers: Numbers) -> list[tuple[tuple[str, ...], float]]:
    """Causes and by how much each hint raises or lowers them, as logarithms of ratios."""
    mild, strong, sure = (
        np.log(numbers[f"scale_log.hint_{name}"]) for name in ("mild", "strong", "sure")
    )
    hints: list[tuple[tuple[str, ...], float]] = []
    if seen.night:
        hints += [(WORK, -sure), (SWARMS, -sure), (("theft", "water"), strong)]
    if not seen.noon:
        hints += [(SWARMS, -sure)]
    hints += [(SWARMS, -strong), (WORK, mild)] if seen.open_ else []
    if seen.alike:
        hints += [(WORK, strong), (SWARMS, -strong)]
    elif seen.others:
        hints += [(WORK, mild), (SWARMS, -mild)]
    elif seen.alone:
        hints += [(SWARMS, mild)]
    hints += _of_season(seen, mild, strong, numbers)
    hints += _of_weather(seen, strong, sure, numbers)
    if seen.box_kg:
        hints += [(BOXES, strong if _is_boxes(seen, numbers) else -mild)]
    if seen.zeros:
        hints += [(("moved",), sure)]
    if seen.kg < 0:
        left = seen.before_kg + seen.kg
        hints += [(("water",), -strong)]  # it dries or melts off slowly
        hints += [(("theft",), strong)] if left < seen.before_kg / 2 else []
        hints += [(("theft",), strong)] if left < numbers["scale_log.bare_kg"] else []
    return hints


def _of_season(
    seen: Seen, mild: float, strong: float, numbers: Numbers
) -> list[tuple[tuple[str, ...], float]]:
    """Boxes go on and swarms leave while nectar comes in; hives are fed when none does."""
    if np.isnan(seen.income):
        return []
    if seen.income > numbers["scale_log.income_flow_kg"]:
        return [(("feed",), -strong), (("boxes_on",), strong), (SWARMS, mild)]
    if seen.income < numbers["scale_log.income_none_kg"]:
        return [(("feed",), strong), (("boxes_on",), -mild), (SWARMS, -mild)]
    return []


def _of_weather(
    seen: Seen, strong: float, sure: float, numbers: Numbers
) -> list[tuple[tuple[str, ...], float]]:
    if np.isnan(seen.flight) or np.isnan(seen.rain):
        return []
    hints = [(("water",), strong if seen.rain > numbers["scale_log.wet_roof_mm"] else -sure)]
    if seen.flight < numbers["scale_log.swarm_flight_h"]:
        hints += [(SWARMS, -sure)]
    else:
        hints += [(("water",), -strong)] if seen.kg > 0 else []
    return hints


def _is_boxes(seen: Seen, numbers: Numbers) -> bool:
    """Whether the size is that of one or several boxes as the keeper weighed them."""
    many = np.outer(seen.box_kg, np.arange(1, 6))
    return bool((np.abs(many - abs(seen.kg)) < numbers["scale_log.box_near_kg"]).any())


def explain(
    logs: list[CleanLog], air: pd.DataFrame | None, timezone: str, numbers: Numbers
) -> list[CleanLog]:
    """The same logs, with a cause, its chance and a sentence for each step not in work.csv.

    Parameters
    ----------
    logs : list of CleanLog
        All hives of a yard that have weights: what was done to one is a hint to the next.
    air : DataFrame or None
        As clean_log.
    timezone : str
        The yard's.
    numbers : Numbers
        Group scale_log.
    """
    days = _days(air, timezone)
    return [
        replace(
            log, steps=_explained(log, [o for o in logs if o is not log], days, timezone, numbers)
        )
        for log in logs
    ]


def _explained(
    log: CleanLog, others: list[CleanLog], days: pd.DataFrame, timezone: str, numbers: Numbers
) -> pd.DataFrame:
    steps = log.steps.copy()
    back = _put_back(steps, numbers)
    for row in steps[~steps["logged"]].itertuples():
        local = row.time.tz_convert(timezone)
        if back[row.Index]:
            found = [(PUT_BACK, 0.9)]
        else:
            share = chances(_seen(log, row, local, others, days, numbers), numbers)
            share = share.sort_values(ascending=False, kind="stable")
            found = [(CAUSES[name][0], float(p)) for name, p in share.items()]
        cause, chance = found[0]
        steps.loc[row.Index, "cause"] = cause if cause == "unknown" else f"{cause}?"
        steps.loc[row.Index, "confidence"] = round(chance, 2)
        steps.loc[row.Index, "note"] = unlogged_note(row.kg, local, found, row.gap_h, numbers)
    return steps


def _put_back(steps: pd.DataFrame, numbers: Numbers) -> np.ndarray:
    """Pairs of steps that nobody wrote down, the second undoing the first within `put_back_h`."""
    back = np.zeros(len(steps), bool)
    for k in range(len(steps) - 1):
        one, two = steps.iloc[k], steps.iloc[k + 1]
        soon = two["time"] - one["time"] <= pd.Timedelta(hours=numbers["scale_log.put_back_h"])
        unseen = not one["logged"] and not two["logged"]
        rest = abs(one["kg"] + two["kg"])
        most = 0.05 * abs(one["kg"]) + 3 * np.hypot(one["sd_kg"], two["sd_kg"])
        if soon and unseen and one["kg"] * two["kg"] < 0 and rest < min(most, abs(one["kg"]) / 3):
            back[[k, k + 1]] = True
    return back


def _seen(log: CleanLog, step, local: pd.Timestamp, others, days, numbers: Numbers) -> Seen:
    hour = local.hour + local.minute / 60
    noon = numbers["scale_log.swarm_start_h"] <= hour <= numbers["scale_log.swarm_end_h"]
    known = step.gap_h <= numbers["scale_log.match_h"]
    beside = _beside(step, others, numbers)
    alike = any(kg * step.kg > 0 and 2 / 3 < kg / step.kg < 3 / 2 for kg in beside)
    date = local.tz_localize(None).normalize()
    sky = days.loc[date] if date in days.index else {"flight": np.nan, "rain": np.nan}
    return Seen(
        kg=step.kg,
        before_kg=step.before_kg,
        night=by_night(local, step.gap_h, numbers),
        noon=bool(noon or not known),
        open_=bool(step.handled),
        gap_h=step.gap_h,
        alike=alike,
        others=bool(beside),
        alone=bool(others) and not beside,
        income=_income(log, date),
        flight=float(sky["flight"]),
        rain=float(sky["rain"]),
        zeros=_zeros(log, step),
        box_kg=_box_weights([log, *others]),
    )


def _beside(step, others: list[CleanLog], numbers: Numbers) -> list[float]:
    """Sizes of the steps of the other hives within `visit_h` of this one."""
    near = pd.Timedelta(hours=numbers["scale_log.visit_h"])
    return [
        float(kg)
        for log in others
        for kg in log.steps["kg"][(log.steps["time"] - step.time).abs() <= near]
        if kg
    ]


def _income(log: CleanLog, date: pd.Timestamp) -> float:
    """Median gain of five days on either side of a date, NaN where fewer than four are known. [kg/d]

    The day itself is left out: its gain is what is left of the step.
    """
    around = log.gains.loc[date - pd.Timedelta(days=5) : date + pd.Timedelta(days=5)]
    known = around["gain_kg"][(around["days"] == 1) & (around.index != date)]
    return float(known.median()) if len(known) >= 4 else np.nan


def _zeros(log: CleanLog, step) -> bool:
    """Whether the scale showed no hive for a while just before the step ended."""
    half = pd.Timedelta(hours=step.gap_h / 2 + 0.1)
    between = log.readings.loc[step.time - half : step.time + half, "mark"]
    return bool((between == "restart").sum() > 2)


def _box_weights(logs: list[CleanLog]) -> tuple[float, ...]:
    """Weights of single boxes that the keeper wrote down in this yard, to 0.1 kg."""
    boxes = [log.steps["kg"][log.steps["cause"] == "super on"] for log in logs]
    return tuple(sorted({round(float(kg), 1) for part in boxes for kg in part if kg > 1.0}))


def _days(air: pd.DataFrame | None, timezone: str) -> pd.DataFrame:
    """Hours fit for flight, and rain of the day and the one before, by local date."""
    if air is None or not len(air):
        return pd.DataFrame(columns=["flight", "rain"])
    local = (air.index - pd.Timedelta(minutes=30)).tz_convert(timezone).tz_localize(None)
    days = air.groupby(local.normalize()).agg(
        flight=("suitability", "sum"), rain=("precip_mm", "sum")
    )
    return days.assign(rain=days["rain"].rolling(2, min_periods=1).sum())


def handled_beside(readings: pd.DataFrame, times: pd.Series) -> np.ndarray:
    """Whether the hive was lifted within an hour of each time."""
    lifted = hours_of(readings.index[(readings["mark"] == "lifted").to_numpy()])
    at = hours_of(pd.DatetimeIndex(times))
    return np.searchsorted(lifted, at + 1.01) > np.searchsorted(lifted, at - 1.01)
