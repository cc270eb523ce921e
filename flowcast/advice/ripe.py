"""Whether honey is likely ripe, from what a day looks like inside, and which honey cannot wait.

A steady scale and a small night loss also mean damp air, dearth or a full hive, so nothing here
replaces looking at the cappings and into the refractometer.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.numbers import Numbers
from flowcast.weather import local_dates

Three = tuple[pd.Timestamp, ...]
# Words in a plant's name by which its honey is known to set in the comb. MEMORY
SETS_FAST = ("rape", "canola", "colza", "ivy")
NIGHT_UNTIL_H = 6


@dataclass(frozen=True)
class Ripeness:
    """What a hive's scale says of its honey.

    state: "no reading" (no scale, or too few whole nights), "no flow" (none lately), "coming in",
    "drying", "damp nights" (the small loss proves nothing) or "likely ripe".
    ended: last day on which nectar came in. flow_loss_kg, loss_kg: middle night loss in the flow, and
    of the last dry nights. [kg] ripe: quantiles 10, 50, 90 % of when it is ripe, where nectar has
    ended and it is not yet.
    """

    hive: str
    state: str
    ended: pd.Timestamp | None = None
    flow_loss_kg: float = float("nan")
    loss_kg: float = float("nan")
    ripe: Three | None = None


def night_humidity(hourly: pd.DataFrame, timezone: str) -> pd.Series:
    """Mean relative humidity of the night after each local date: its evening and the next morning. [%]"""
    clock = (hourly.index - pd.Timedelta(minutes=30)).tz_convert(timezone)
    evening, morning = clock.hour >= 24 - NIGHT_UNTIL_H, clock.hour < NIGHT_UNTIL_H
    dates = local_dates(hourly.index, timezone)
    dates = dates.where(~morning, dates - pd.Timedelta(days=1))
    night = evening | morning
    return hourly["rh_pct"][night].groupby(dates[night]).mean()


def read_ripeness(
    hive: str,
    within: pd.DataFrame,
    humidity: pd.Series,
    issue_date: pd.Timestamp,
    numbers: Numbers,
) -> Ripeness:
    """Ripeness of a hive's honey on the morning of the issue date.

    Parameters
    ----------
    within : DataFrame
        Of `scale_log.within_days`: intake_kg and night_loss_kg by local date.
    humidity : Series
        Of `night_humidity`, by the date on which the night begins. [%]
    numbers : Numbers
        timing.ripe_* and timing.dry_night_pct.

    Notes
    -----
    Nectar has ended when it stayed away for some days that were read; it is likely ripe when the
    nights since, dry ones, lose no more than bees breathe away, or a small share of what they lost in
    the flow.
    """
    back = issue_date - pd.Timedelta(days=int(numbers["timing.ripe_back_d"]))
    known = within[(within.index >= back) & (within.index < issue_date)]
    known = known.dropna(subset=["intake_kg", "night_loss_kg"])
    if len(known) < numbers["timing.ripe_least_d"]:
        return Ripeness(hive, "no reading")
    flow = known[known["intake_kg"] >= numbers["timing.ripe_flow_kg"]]
    if not len(flow):
        return Ripeness(hive, "no flow")
    in_flow = float(flow["night_loss_kg"].median())
    busy = known.index[known["intake_kg"] >= numbers["timing.ripe_idle_kg"]]
    since = known[known.index > busy[-1]]
    if len(since) < numbers["timing.ripe_quiet_d"]:
        return Ripeness(hive, "coming in", busy[-1], in_flow)
    dry = since[humidity.reindex(since.index).to_numpy() <= numbers["timing.dry_night_pct"]]
    loss = float(dry["night_loss_kg"].iloc[-3:].median()) if len(dry) else float("nan")
    small = max(numbers["timing.ripe_breath_kg"], numbers["timing.ripe_share"] * in_flow)
    state = _state(loss, len(dry), float(since["night_loss_kg"].iloc[-3:].median()), small, numbers)
    ripe = ripe_dates((busy[-1],) * 3, issue_date, numbers) if state != "likely ripe" else None
    return Ripeness(hive, state, busy[-1], in_flow, loss, ripe)


def _state(dry_loss: float, dry_nights: int, last_loss: float, small: float, numbers) -> str:
    if dry_nights >= numbers["timing.ripe_dry_nights"]:
        return "likely ripe" if dry_loss <= small else "drying"
    return "damp nights" if last_loss <= small else "drying"


def ripe_dates(ended: Three, issue_date: pd.Timestamp, numbers: Numbers) -> Three:
    """When honey is ripe after nectar has ended, quantiles 10, 50, 90 %; not before the issue date."""
    waits = ("timing.ripe_early_d", "timing.ripe_usual_d", "timing.ripe_late_d")
    dates = (
        end + pd.Timedelta(days=int(numbers[wait])) for end, wait in zip(ended, waits, strict=True)
    )
    return tuple(max(date, issue_date) for date in dates)


@dataclass(frozen=True)
class SetsFast:
    """Honey that sets in the comb: take it by `by` (quantiles 10, 50, 90 %). noted: the end of bloom
    is from the keeper's notes and not from the dates in yard.toml."""

    plant: str
    over: pd.Timestamp
    by: Three
    noted: bool


def sets_fast(
    forage: list[tuple[str, pd.Timestamp]],
    bloom: pd.DataFrame,
    issue_date: pd.Timestamp,
    numbers: Numbers,
) -> list[SetsFast]:
    """Take-off dates of honey that sets within weeks of bloom, for bloom that is near.

    Parameters
    ----------
    forage : list of (name, date)
        Plants the keeper names, with the end of the bloom nearest to the issue date.
    bloom : DataFrame
        The keeper's notes: date, plant, stage; those from the issue date on are not read.
    """
    found = []
    near = pd.Timedelta(days=int(numbers["timing.sets_near_d"]))
    for plant, stated in forage:
        if not any(word in plant.lower() for word in SETS_FAST):
            continue
        note = _noted_end(plant, stated, bloom, issue_date)
        over = note or stated
        unsure = numbers["timing.sets_noted_d" if note else "timing.sets_stated_d"]
        by = over + pd.Timedelta(days=int(numbers["timing.sets_d"]))
        if abs(by - issue_date) <= near:
            around = pd.Timedelta(days=int(unsure))
            found.append(SetsFast(plant, over, (by - around, by, by + around), note is not None))
    return found


def _noted_end(plant, stated, bloom: pd.DataFrame, issue_date) -> pd.Timestamp | None:
    """The day on which the keeper noted this bloom as over, near the stated date."""
    near = pd.Timedelta(days=90)
    days = [
        note.date
        for note in bloom.itertuples()
        if note.stage == "over" and note.plant.lower() == plant.lower()
    ]
    return max((d for d in days if d < issue_date and abs(d - stated) < near), default=None)


def nearest_end(month_day: str, issue_date: pd.Timestamp) -> pd.Timestamp:
    """The date of this month and day that lies nearest to the issue date."""
    month, day = int(month_day[:2]), int(month_day[3:])
    days = [
        pd.Timestamp(issue_date.year + k, month, 1) + pd.Timedelta(days=day - 1) for k in (-1, 0, 1)
    ]
    return min(days, key=lambda date: abs(date - issue_date))


def extract_within_d(high_chance: float, numbers: Numbers) -> int:
    """Days within which boxes taken off are to be extracted where beetles live, by the chance of
    high breeding weather. [d]"""
    high = high_chance >= 0.5
    return int(numbers["timing.extract_high_d" if high else "timing.extract_d"])
