"""When a split still meets the next flow, when it costs the crop, when it is too late."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.when import Advice


@dataclass(frozen=True, kw_only=True)
class SplitAdvice(Advice):
    """Of one kind of split: "laying queen", "ripe cell" or "walk-away".

    Verdicts: "split", "wait", "costs the crop", "too late", "cells: act now", "not this colony".
    weeks: index the first date of each week; meets (chance that its bees forage when the next
    flow opens), crop_kg (what the split adds to or takes from the two hives' crop, q10 q50 q90 as
    crop_q10 ...), mating (share of days with mating weather when the queen flies; NaN with a
    laying queen), in_time (chance that it is a full colony before winter or dearth), word ("meets
    the flow", "costs the crop", "too late", "no mating weather").
    """

    kind: str = ""
    weeks: pd.DataFrame | None = None
    mating_from: pd.Timestamp | None = None
    mating_to: pd.Timestamp | None = None
    unmated_after: pd.Timestamp | None = None


@dataclass(frozen=True, kw_only=True)
class SwarmWatch(Advice):
    """Verdicts: "look", "not the season", "cells: act now". every_d: days between looks.

    hot_nights: dates of nights ahead so warm that bees hanging outside may only be cooling the
    hive.
    """

    every_d: int | None = None
    season_to: pd.Timestamp | None = None
    hot_nights: tuple[pd.Timestamp, ...] = ()
