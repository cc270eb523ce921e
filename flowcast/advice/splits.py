"""When a split still meets the next flow, when it costs the crop, when it is too late; swarm watch."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flowcast.advice.ahead import (
    HiveAhead,
    flows,
    next_flow,
    two_weeks,
)
from flowcast.advice.hive import HiveNow, size_of
from flowcast.advice.when import Advice, When
from flowcast.numbers import Numbers

# Kinds of split, and their names in numbers.toml.
KINDS = {"laying queen": "laying", "ripe cell": "cell", "walk-away": "walk"}
MATING = {"ripe cell": "cell", "walk-away": "walk"}
WORDS = (
    "meets the flow",
    "no flow near",
    "costs the crop",
    "no mating weather",
    "must be fed",
    "too late",
    "too cold",
)


@dataclass(frozen=True, kw_only=True)
class SplitAdvice(Advice):
    """Of one kind of split: "laying queen", "ripe cell" or "walk-away".

    Verdicts: "split" and "wait" for a week that is likely to meet a flow, or adds to the crop in the mean
    of the futures though it may well miss the next one; else "increase" (weeks without loss of crop, for more
    colonies), "costs the crop", "must be fed", "too late",
    "no mating weather" or "too cold"; "feed first" (a hive short of stores is fed, and split only once
    it is strong); "larvae first" (nor is one split now in which beetle larvae were seen);
    "cells: act now", "not this colony", "unknown".
    weeks: index the first date of each week; meets (chance that its bees forage when the next
    flow opens), crop_q10, crop_q50, crop_q90 (what the split adds to the crop of the hive that is
    split, both halves together, until the end of the days looked at; negative when it costs
    [kg]), warm (chance of weather to open hives in), mating (chance of mating weather when the queen flies; NaN with a laying queen),
    in_time (chance that it is a full colony before winter), fed (that it has two weeks of flow before a
    long time without), word (one of `WORDS`).
    mating_from, mating_to: when the queen of a split made on the advised date flies to mate;
    unmated_after: without eggs by then expect a drone layer.
    """

    kind: str = ""
    weeks: pd.DataFrame | None = None
    mating_from: pd.Timestamp | None = None
    mating_to: pd.Timestamp | None = None
    unmated_after: pd.Timestamp | None = None


@dataclass(frozen=True, kw_only=True)
class SwarmWatch(Advice):
    """Verdicts: "look", "not the season", "has room" (a nucleus swarms only once its box is full),
    "cells: act now". every_d: days between looks.

    hot_nights: dates of nights ahead so warm that bees hanging outside may only be cooling the
    hive. season_to: the last day of the season ahead, as far as it is looked at.
    """

    every_d: int | None = None
    season_to: pd.Timestamp | None = None
    hot_nights: tuple[pd.Timestamp, ...] = ()


@dataclass(frozen=True)
class Air:
    """Weather of each future, arrays (scenarios, days): means and highest of the day, the night's
    lowest [°C] and foraging hours [h]."""

    temp_c: np.ndarray
    warmest_c: np.ndarray
    night_c: np.ndarray
    foraging_h: np.ndarray


def split_advice(
    hive: HiveNow,
    ahead: HiveAhead,
    air: Air,
    kind: str,
    threshold_kg: float,
    numbers: Numbers,
    rng: np.random.Generator,
    *,
    beetle_season: bool = False,
) -> SplitAdvice:
    """The weeks ahead for one kind of split.

    Parameters
    ----------
    ahead : HiveAhead
        To the end of the flow after next: 200 to 300 days.
    kind : str
        One of `KINDS`.

    Notes
    -----
    The crop of both halves is that of the whole hive times a course: less until the new foragers
    fly (`timing.split_takes`), then more, growing over a forager's youth (`timing.split_gives`).
    Only gains above the threshold count as crop.
    """
    starts = np.arange(0, len(ahead.dates) - 70, 7)
    if not len(starts):
        return SplitAdvice(verdict="unknown", hive=hive.name, kind=kind, needs=("days ahead",))
    ready = _ready(kind, len(ahead.gain_kg), numbers, rng)
    windows = flows(ahead.gain_kg, threshold_kg, numbers)
    crop = np.where(ahead.gain_kg >= threshold_kg, ahead.gain_kg, 0.0)
    course = _split_course(ready, crop.shape[1], numbers)
    # From each split on the crop goes by the course's first days.
    over = np.stack([(crop[:, s:] * course[:, : crop.shape[1] - s]).sum(axis=1) for s in starts])
    ready_on = starts[:, None] + ready
    table = pd.DataFrame(
        {
            "meets": _meets(windows, starts, ready_on, len(ahead.dates)),
            **{f"crop_q{q}": np.quantile(over, q / 100, axis=1) for q in (10, 50, 90)},
            "crop_mean": over.mean(axis=1),
            "warm": (two_weeks(air.warmest_c) >= numbers["timing.open_from_c"]).mean(axis=0)[
                starts
            ],
            "mating": _mating(air, kind, starts, numbers),
            "in_time": _in_time(air, ready_on, numbers),
            "fed": _fed(windows, ready_on, len(ahead.dates), numbers),
        },
        index=ahead.dates[starts],
    )
    table["word"] = [_word(row, numbers) for row in table.itertuples()]
    return _read(hive, kind, table, beetle_season, numbers)


def _ready(kind: str, count: int, numbers: Numbers, rng: np.random.Generator) -> np.ndarray:
    """Days from the split to its new foragers, one a scenario."""
    name = KINDS[kind]
    low, high = numbers[f"timing.foragers_{name}_low_d"], numbers[f"timing.foragers_{name}_high_d"]
    return np.round(low + (high - low) * (rng.permutation(count) + 0.5) / count).astype(int)


def _split_course(ready: np.ndarray, days: int, numbers: Numbers) -> np.ndarray:
    """Share that a split adds to the crop of the day it is made and of those after, (scenarios, days)."""
    since = np.arange(days)
    grown = np.clip((since - ready[:, None]) / numbers["timing.egg_to_forager_d"], 0.0, 1.0)
    before = since < ready[:, None]
    return numbers["timing.split_gives"] * grown - numbers["timing.split_takes"] * before


def _meets(windows: list[list], starts: np.ndarray, ready_on: np.ndarray, days: int) -> np.ndarray:
    """Chance that the new foragers fly when the first flow after each split opens."""
    opens = next_flow(windows, days, after=np.broadcast_to(starts[:, None], ready_on.shape))
    return ((opens < days) & (ready_on <= opens)).mean(axis=1)


def _mating(air: Air, kind: str, starts: np.ndarray, numbers: Numbers) -> list[float]:
    """Chance of enough days on which the young queen can mate, for each split."""
    if kind not in MATING:
        return [float("nan")] * len(starts)
    fit, span = mating_days(air, numbers), int(numbers["timing.mating_span_d"])
    first = starts + _flies_after(kind, numbers)
    days = np.stack([fit[:, day : day + span].sum(axis=1) for day in first])
    return list((days >= numbers["timing.mating_days"]).mean(axis=1))


def _flies_after(kind: str, numbers: Numbers) -> int:
    """Days from the split to the first mating flight of its queen."""
    name = MATING[kind]
    return int(numbers[f"timing.mating_{name}_d"])


def mating_days(air: Air, numbers: Numbers) -> np.ndarray:
    """Days on which a queen can mate: warm, or cooler with sun and light wind. (scenarios, days)"""
    flown = air.foraging_h >= numbers["flow.flight_min_h"]
    sunny = air.foraging_h >= numbers["timing.mating_sun_h"]
    warm = air.warmest_c >= numbers["timing.mating_good_c"]
    cool = air.warmest_c >= numbers["timing.mating_possible_c"]
    return (warm & flown) | (cool & sunny)


def _in_time(air: Air, ready_on: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Chance that another round of brood is reared before winter; certain where none comes."""
    settled = ready_on + int(numbers["timing.settle_d"])
    cold = two_weeks(air.temp_c) < numbers["timing.cold_c"]
    days = cold.shape[1]
    colds = np.where(cold, np.arange(days), days)
    first = np.minimum.accumulate(colds[:, ::-1], axis=1)[:, ::-1]  # from each day on
    winter = _on(first, ready_on, days)
    return ((settled <= winter) | (winter == days)).mean(axis=1)


def _fed(windows: list[list], ready_on: np.ndarray, days: int, numbers: Numbers) -> list[float]:
    """Chance that a new colony has two weeks of flow before a long time without any, for each split.

    Among the futures in which any flow comes: one that may fail is no reason against a week. What lies
    beyond the days looked at does not count against it; 0 where no flow comes in any of them.
    """
    needs = ready_on + int(numbers["timing.settle_flow_d"])
    last = _on(_flow_until(windows, days, numbers), ready_on, -1)
    fed = (needs <= last) | (needs > days)
    return [float(own[c].mean()) if c.any() else 0.0 for own, c in zip(fed, last >= 0, strict=True)]


def _flow_until(windows: list[list], days: int, numbers: Numbers) -> np.ndarray:
    """For each day the last one of flow before a time without any that is too long for a new colony;
    -1 where no flow comes from that day on. Shape (futures, days)."""
    until = np.full((len(windows), days), -1)
    for row, own in zip(until, windows, strict=True):
        opens, ends = np.inf, -1
        for first, last in reversed(own):
            ends = last if opens - last >= numbers["timing.dearth_d"] else ends
            row[: last + 1], opens = ends, first
    return until


def _on(table: np.ndarray, day: np.ndarray, beyond: int) -> np.ndarray:
    """A table (futures, days) on one day a future, (weeks, futures); `beyond` after its last day."""
    days = table.shape[1]
    found = table[np.arange(len(table)), np.minimum(day, days - 1)]
    return np.where(day < days, found, beyond)


def _word(row, numbers: Numbers) -> str:
    """The week in a word, the strongest objection first."""
    likely = numbers["timing.split_chance"]
    if row.warm < likely:
        return "too cold"
    if row.in_time < likely:
        return "too late"
    if row.mating < likely:
        return "no mating weather"
    if row.meets >= likely:
        return "meets the flow"
    if row.crop_mean < -numbers["timing.split_costs_kg"]:
        return "costs the crop"
    return "must be fed" if row.fed < likely else "no flow near"


def _read(hive, kind: str, table: pd.DataFrame, beetle_season: bool, numbers) -> SplitAdvice:
    """The verdict and date: the week that adds most among those without objection."""
    found = SplitAdvice(
        verdict="wait",
        hive=hive.name,
        kind=kind,
        weeks=table,
        reasons=("new foragers take weeks",),
        changes=("an early or late flow", "queen cells", "mating weather"),
        cautions=(
            "look first",
            *(("beetles on small units",) if beetle_season else ()),
            *(("drone layer",) if kind in MATING else ()),
        ),
        needs=() if hive.frames_of_bees is not None else ("frames of bees",),
    )
    if hive.cells:
        now = When(table.index[0], table.index[0], table.index[0], 1.0)
        return replace(found, verdict="cells: act now", when=now, reasons=("queen cells",))
    if hive.queenright is False:
        return replace(found, verdict="not this colony", reasons=("no queen",))
    if hive.nucleus or _few(hive, numbers):
        return replace(found, verdict="not this colony", reasons=("too few bees to split",))
    good = table[table["word"] == "meets the flow"]
    if len(good):
        return _dated(found, good, numbers)
    pays = table["crop_mean"] >= numbers["timing.split_costs_kg"]
    good = table[pays & (table["word"] == "no flow near")]
    if len(good):
        return replace(_dated(found, good, numbers), reasons=("pays on the whole",))
    return replace(found, **_undated(table))


# Verdicts by which a split is offered, if at a price.
OFFERED = ("split", "wait", "increase", "costs the crop", "must be fed")

# What is said where no week meets a flow: the mildest objection of any week ahead.
UNDATED = {
    "no flow near": "increase",
    **{word: word for word in ("costs the crop", "must be fed", "too late", "no mating weather")},
}


def _undated(table: pd.DataFrame) -> dict:
    words = set(table["word"])
    word = next((word for word in UNDATED if word in words), "too cold")
    why = "new foragers take weeks" if word == "no flow near" else word
    return {"verdict": UNDATED.get(word, word), "reasons": (why,)}


def after_feed(split: SplitAdvice, short_until: pd.Timestamp | None) -> SplitAdvice:
    """A hive that is short of stores is fed first, and split only once it is fed and strong.

    In the cold no hive is divided, fed or not, and that is said instead. short_until: the day up to
    which it is short (`StoresAdvice.short_until`); None where it is not.
    """
    if short_until is None or split.verdict not in OFFERED:
        return split
    day = split.weeks.index[0] if split.when is None else split.when.date or split.when.first
    if day > short_until:
        return split
    cold = split.weeks["word"].iloc[0] == "too cold"
    verdict, why = ("too cold", "too cold") if cold else ("feed first", "stores run short")
    return replace(
        split, verdict=verdict, when=None, reasons=(why,),
        mating_from=None, mating_to=None, unmated_after=None,
    )  # fmt: skip


def not_on_larvae(split: SplitAdvice, larvae: bool) -> SplitAdvice:
    """A hive with beetle larvae in it is not divided now: small colonies are the most exposed."""
    if not larvae or split.verdict != "split":
        return split
    return replace(
        split, verdict="larvae first", when=None, reasons=("larvae seen",),
        changes=("a count without larvae",), mating_from=None, mating_to=None, unmated_after=None,
    )  # fmt: skip


def heed_drones(split: SplitAdvice, watch: SwarmWatch) -> SplitAdvice:
    """A young queen needs drones, which weather does not tell of: outside the swarm season a split
    to be made now says to look for them."""
    if watch.verdict != "not the season" or split.verdict != "split" or split.kind not in MATING:
        return split
    return replace(split, cautions=(*split.cautions, "drones first"))


def _few(hive: HiveNow, numbers: Numbers) -> bool:
    bees = hive.frames_of_bees
    return bees is not None and bees < numbers["timing.bees_for_split"]


def _dated(found: SplitAdvice, good: pd.DataFrame, numbers: Numbers) -> SplitAdvice:
    """The earliest of the weeks that are as good as the best: what can be done now is not put off."""
    near = good[good["crop_mean"] >= good["crop_mean"].max() - numbers["timing.split_costs_kg"]]
    best, row = near.index[0], near.iloc[0]
    found = replace(
        found,
        verdict="split" if best == found.weeks.index[0] else "wait",
        when=When(best, best, near.index[-1] + pd.Timedelta(days=6), float(row["meets"])),
    )
    if found.kind not in MATING:
        return found
    flies = best + pd.Timedelta(days=_flies_after(found.kind, numbers))
    return replace(
        found,
        mating_from=flies,
        mating_to=flies + pd.Timedelta(days=int(numbers["timing.mating_span_d"])),
        unmated_after=flies + pd.Timedelta(days=int(numbers["timing.unmated_d"])),
    )


def swarm_watch(
    hive: HiveNow,
    ahead: HiveAhead,
    air: Air,
    lengthening: bool,
    room_left_kg: float | None,
    numbers: Numbers,
) -> SwarmWatch:
    """Whether to look for queen cells, and how often; queen cells override any calendar.

    Parameters
    ----------
    lengthening : bool
        Whether the days still grow longer, or the season's main flow lies ahead: build-up.
    room_left_kg : float or None
        What the empty drawn combs can still take; little of it drives a swarm. [kg]
    """
    warm = np.median(two_weeks(air.temp_c), axis=0) >= numbers["timing.swarm_warm_c"]
    hot = (air.night_c >= numbers["timing.hot_night_c"]).mean(axis=0)
    near = np.arange(len(hot)) < numbers["timing.hot_nights_d"]
    nights = ahead.dates[near & (hot >= numbers["timing.hot_night_chance"])]
    clipped = "timing.swarm_look_clipped_d" if hive.clipped else "timing.swarm_look_d"
    found = SwarmWatch(
        verdict="not the season",
        hive=hive.name,
        every_d=int(numbers[clipped]),
        hot_nights=tuple(nights),
        cautions=("look first", *(("cooling, not swarming",) if len(nights) else ())),
    )
    if hive.cells:
        now = When(ahead.dates[0], ahead.dates[0], ahead.dates[0], 1.0)
        return replace(found, verdict="cells: act now", when=now, reasons=("queen cells",))
    if not (lengthening and warm[0]):
        return replace(found, every_d=None)
    room = numbers["timing.swarm_room_kg"] * size_of(hive, numbers)
    tight = room_left_kg is not None and room_left_kg < room
    if hive.nucleus and not tight:
        return replace(found, verdict="has room", every_d=None)
    reasons = ("build-up", "warmth", *(("space running out",) if tight else ()))
    return replace(found, verdict="look", reasons=reasons, season_to=_last_warm(warm, ahead.dates))


def _last_warm(warm: np.ndarray, dates: pd.DatetimeIndex) -> pd.Timestamp:
    cold = np.flatnonzero(~warm)
    return dates[cold[0] - 1] if len(cold) else dates[-1]
