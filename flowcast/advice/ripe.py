"""Whether honey is likely ripe, from what a day looks like inside, and which honey cannot wait.

A steady scale and a small night loss also mean damp air, dearth or a full hive, so nothing here
replaces looking at the cappings and into the refractometer.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.visits import Visits
from flowcast.advice.when import Advice, When
from flowcast.numbers import Numbers
from flowcast.weather import local_dates

Three = tuple[pd.Timestamp, ...]
# Words in a plant's name by which its honey is known to set in the comb. MEMORY
SETS_FAST = ("rape", "canola", "colza", "ivy")
NIGHT_UNTIL_H = 6


REASONS = {
    "no reading": ("no whole nights",),
    "no flow": ("no flow lately",),
    "coming in": ("nectar coming in",),
    "drying": ("nectar ended", "nights still lose much"),
    "damp nights": ("nectar ended", "nights damp"),
    "likely ripe": ("nectar ended", "nights dry and lose little"),
}
CHANGES = ("damp air or a full hive", "nectar again")
CAUTIONS = ("cappings and refractometer", "lift full boxes", "honey to infants", "toxic honey")


@dataclass(frozen=True, kw_only=True)
class RipeAdvice(Advice):
    """What a hive's scale says of its honey.

    Verdicts: "no reading" (no scale, or too few whole nights), "no flow" (none lately), "coming in",
    "drying", "damp nights" (the small loss proves nothing) or "likely ripe".
    ended: last day on which nectar came in. flow_loss_kg, loss_kg: middle night loss in the flow, and
    of the last dry nights. [kg] extract_d: days from taking boxes off to extracting them, where
    beetles live. [d] shut: no day soon after it may be ripe is likely fit to open the hive.
    """

    ended: pd.Timestamp | None = None
    flow_loss_kg: float = float("nan")
    loss_kg: float = float("nan")
    extract_d: int | None = None
    shut: bool = False


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
    visits: Visits,
    numbers: Numbers,
    *,
    flow_end: Three | None = None,
    beetles_high: float | None = None,
) -> RipeAdvice:
    """Ripeness of a hive's honey on the morning of the first day of `visits`.

    Parameters
    ----------
    within : DataFrame
        Of `scale_log.within_days`: intake_kg and night_loss_kg by local date.
    humidity : Series
        Of `night_humidity`, by the date on which the night begins. [%]
    numbers : Numbers
        Group timing: ripe_flow_kg and its neighbours, dry_night_pct.
    flow_end : three dates, optional
        Quantiles 10, 50, 90 % of the end of the flow that is on.
    beetles_high : float, optional
        Chance of high beetle breeding weather, where beetles live.

    Notes
    -----
    Nectar has ended when it stayed away for some days that were read; it is likely ripe when the
    nights since, dry ones, lose no more than bees breathe away, or a small share of what they lost in
    the flow.
    """
    today = visits.chance.index[0]
    found = _seen(within, humidity, today, numbers)
    verdict, ended = found["verdict"], found.get("ended")
    ends = {"coming in": flow_end, "drying": (ended,) * 3, "damp nights": (ended,) * 3}.get(verdict)
    ripe = ripe_dates(ends, today, numbers) if ends else None
    ripe = (today,) * 3 if verdict == "likely ripe" else ripe
    when = When(visits.next_fit(ripe[1]), ripe[0], ripe[2], 1.0) if ripe else None
    return RipeAdvice(
        hive=hive,
        when=when,
        reasons=REASONS[verdict],
        changes=CHANGES if ripe else (),
        cautions=CAUTIONS if ripe else (),
        needs=("scale",) if verdict == "no reading" else (),
        extract_d=None if beetles_high is None else extract_within_d(beetles_high, numbers),
        shut=_stays_shut(when, numbers),
        **found,
    )


def _stays_shut(when: When | None, numbers: Numbers) -> bool:
    """Whether the next fit day comes so long after honey may be ripe that it is no next visit."""
    if when is None or when.date is None or when.last is None:
        return False
    return (when.date - when.last).days > numbers["timing.ripe_shut_d"]


def _seen(within: pd.DataFrame, humidity: pd.Series, today: pd.Timestamp, numbers) -> dict:
    """The verdict, and what of the last weeks it rests on."""
    back = today - pd.Timedelta(days=int(numbers["timing.ripe_back_d"]))
    known = within[(within.index >= back) & (within.index < today)]
    known = known.dropna(subset=["intake_kg", "night_loss_kg"])
    if len(known) < numbers["timing.ripe_least_d"]:
        return {"verdict": "no reading"}
    if (today - known.index[-1]).days > numbers["timing.weight_fresh_d"]:  # it has fallen silent
        return {"verdict": "no reading"}
    flow = known[known["intake_kg"] >= numbers["timing.ripe_flow_kg"]]
    if not len(flow):
        return {"verdict": "no flow"}
    busy = known.index[known["intake_kg"] >= numbers["timing.ripe_idle_kg"]]
    seen = {"ended": busy[-1], "flow_loss_kg": float(flow["night_loss_kg"].median())}
    since = known[known.index > busy[-1]]
    if len(since) < numbers["timing.ripe_quiet_d"]:
        return {"verdict": "coming in", **seen}
    dry = since[humidity.reindex(since.index).to_numpy() <= numbers["timing.dry_night_pct"]]
    loss = float(dry["night_loss_kg"].iloc[-3:].median())
    small = max(
        numbers["timing.ripe_breath_kg"], numbers["timing.ripe_share"] * seen["flow_loss_kg"]
    )
    last = float(since["night_loss_kg"].iloc[-3:].median())
    return {"verdict": _state(loss, len(dry), last, small, numbers), "loss_kg": loss, **seen}


def _state(dry_loss: float, dry_nights: int, last_loss: float, small: float, numbers) -> str:
    """A small loss counts only in nights dry enough to have lost more."""
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


@dataclass(frozen=True, kw_only=True)
class SetsFast(Advice):
    """Honey that sets in the comb. Verdict: "take soon".

    plant: as the keeper names it. over: the end of its bloom. noted: from the keeper's notes, not from
    the dates in yard.toml.
    """

    plant: str
    over: pd.Timestamp
    noted: bool


def sets_fast(
    forage: list[tuple[str, pd.Timestamp]],
    bloom: pd.DataFrame,
    visits: Visits,
    numbers: Numbers,
) -> list[SetsFast]:
    """Take-off dates of honey that sets within weeks of bloom, for bloom that is near.

    Parameters
    ----------
    forage : list of (name, date)
        Plants the keeper names, with the end of the bloom nearest to the issue date.
    bloom : DataFrame
        The keeper's notes: date, plant, stage; those from the issue date on are not read.
    visits : Visits
        From the issue date on.
    """
    today, found = visits.chance.index[0], []
    near = pd.Timedelta(days=int(numbers["timing.sets_near_d"]))
    for plant, stated in forage:
        if not any(word in plant.lower() for word in SETS_FAST):
            continue
        note = _noted_end(plant, stated, bloom, today)
        over = note or stated
        by = over + pd.Timedelta(days=int(numbers["timing.sets_d"]))
        late = pd.Timedelta(
            days=int(numbers["timing.sets_noted_d" if note else "timing.sets_stated_d"])
        )
        if by + late >= today and by - today <= near:
            when = When(visits.next_fit(max(by, today)), max(by - late, today), by + late, 1.0)
            found.append(_take_soon(plant, over, note is not None, when))
    return found


def _take_soon(plant: str, over: pd.Timestamp, noted: bool, when: When) -> SetsFast:
    return SetsFast(
        verdict="take soon",
        plant=plant,
        over=over,
        noted=noted,
        when=when,
        reasons=("sets in the comb",),
        changes=("bloom ends early or late",) if not noted else (),
        cautions=CAUTIONS,
    )


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
