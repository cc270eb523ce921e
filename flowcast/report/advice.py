"""One advice in words: what to do and by when, why, what would change it, what to mind.

Advice carries short keys; their words stand here and nowhere else.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from flowcast.advice.after import AfterAdvice
from flowcast.advice.ripe import RipeAdvice, SetsFast
from flowcast.advice.splits import SplitAdvice, SwarmWatch
from flowcast.advice.start import Filled, StartAdvice
from flowcast.advice.stores import FOR_WINTER, StoresAdvice
from flowcast.advice.supers import SuperAdvice
from flowcast.advice.visits import CALENDAR_D
from flowcast.advice.when import Advice, When
from flowcast.advice.winter import LeaveAdvice
from flowcast.report import words
from flowcast.report.units import temp_range

DOUBT = 1.15  # from this much more it is said what colonies that eat more would need
LOOK_FIRST = "look into the hive first"

WHY = {
    "build-up": "the colony is building up",
    "warmth": "it is warm enough",
    "space running out": "space is running out",
    "queen cells": "queen cells were seen, which override any calendar",
    "comb runs out": "the empty drawn comb may run out before the visit after that",
    "foundation counts little": "foundation holds little until it is drawn",
    "chilled brood": "more room than bees can warm chills brood",
    "beetles and moth in empty comb": "beetles and wax moth lay in comb that no bees cover",
    "syrup in supers": "syrup would be stored in a super, and is not honey",
    "flow ends": "the flow ends before bees would fill it",
    "new foragers take weeks": "an egg laid today is a forager in about six weeks",
    "no queen": "it has no queen by yard.toml: give it one, or unite it",
    "feed first": "its stores are too low: it is fed first",
    "too few bees to split": "it is too small to be split",
    "meets the flow": "new foragers would meet the flow",
    "costs the crop": "foragers would be missing in the flow",
    "too late": "it would be no full colony before winter",
    "must be fed": "it would find too little flow to live on",
    "no mating weather": "a queen would find no weather to mate in",
    "too cold": "it is too cold to open hives and divide them",
    "no flow near": "no flow is near",
    "pays on the whole": "no single flow is likely, but one or another is; it costs no crop if none comes",
    "no whole nights": "no scale has told of enough whole nights",
    "no flow lately": "no flow was seen in the last weeks",
    "nectar coming in": "nectar is still coming in",
    "nectar ended": "nectar has ended",
    "nights still lose much": "the nights still lose much weight, so water is drying off",
    "nights damp": "the nights were damp, in which a small loss proves nothing",
    "nights dry and lose little": "dry nights now lose little weight",
    "sets in the comb": "this honey sets in the comb within weeks and is then lost to the extractor",
    "use learned": "what the colonies use is from this yard's own log",
    "use published": "what a colony uses is from published figures, for want of a log",
    "more than mild custom": (
        "that is more than the 10 to 20 kg over the floor that is custom where winters are mild: a full "
        "colony is reckoned to rear brood all the lean time, and one that shrinks needs less"
    ),
    "more than its boxes hold": "its boxes do not hold that much, so it will have to be fed on the way",
    "gain is not crop": "gain on the scale is not crop: water, brood and the colony's own stores come off",
    "stores last": "what is in the hive lasts to the next flow in most futures",
    "look again": "what comes in first decides: weigh or look again within four weeks",
    "late for winter": "what is in the hive does not last the winter, and it is late for syrup",
    "starving": "it may starve before a day fit to open a hive: feed on top of the combs today, in any weather",
    "stores fall to the floor": "stores may fall to the floor before the next flow",
    "winter ahead": "winter stores must be taken down while bees still take syrup",
    "brood eats a frame for a frame": "a full frame of honey raises about one frame of brood",
    "a nucleus grows": "a nucleus is a quarter of a colony and doubles in 3 to 6 weeks",
    "a package grows": "a package shrinks until its first brood emerges",
    "a swarm grows": "a swarm shrinks until its first brood emerges",
    "comb costs honey": "each frame of comb costs bees a kilogram or two of honey",
    "winter bees": "mites must be few before the bees that live through winter are reared",
}
CHANGES = {
    "stronger flow": "a stronger flow",
    "rain or cold": "rain or cold",
    "the flow ends": "an early end of the flow",
    "combs drawn or full otherwise than told": "combs drawn or full otherwise than yard.toml says",
    "bees on 7 to 8 of 10 frames": "bees on 7 to 8 of 10 frames",
    "an early or late flow": "an early or late flow",
    "queen cells": "queen cells",
    "mating weather": "the weather when queens mate",
    "damp air or a full hive": "damp air, dearth or a full hive, which look the same on a scale",
    "nectar again": "nectar coming in again",
    "bloom ends early or late": "bloom that ends early or late (note it in bloom.csv)",
    "another flow": "another flow",
    "a cold spring": "a cold spring",
    "a longer winter": "a longer winter",
    "the queen's brood": "more or less brood than usual",
    "more brood than usual": "more brood than usual",
    "feed": "feed",
    "swarms or loses its queen": "a swarm or a lost queen",
    "drawn comb given": "drawn comb given to it",
    "flow goes on": "a flow that goes on",
    "mild autumn": "a mild autumn, in which brood goes on",
    "mite count": "a mite count",
}
CAUTIONS = {
    "look first": "This is reckoned, not seen: look into the hive first.",
    "lift full boxes": "A full super is heavy: lift with help or frame by frame.",
    "honey to infants": "No honey to infants under one year.",
    "cappings and refractometer": "Take honey of which 80 to 90 % is capped and the refractometer reads 18 % or less; 20 % is the legal limit, 23 % for ling heather (Calluna) only.",
    "toxic honey": "Where plants give toxic honey, local rules on when to take it come first.",
    "white sugar only": "White sugar only.",
    "no honey or comb of other hives": "Never feed honey or comb from other or unknown hives: foulbrood travels in it.",
    "inside, at dusk, small entrance": "Feed inside the hive, at dusk, with a small entrance, against robbing.",
    "never with supers on": "Never feed while supers are on from which people will eat.",
    "small amounts, no patties": "Where beetles breed: small amounts at a time, and no patties.",
    "beetles on small units": "Splits and nuclei are the most exposed to beetles: make them strong and look weekly.",
    "drone layer": "A queen unmated three to four weeks on lays drones only: look for worker brood.",
    "cooling, not swarming": "On hot nights bees hanging outside may only be cooling the hive.",
    "late super": "A super put on that late stands on the hive when mites should be treated: weigh late honey against it.",
    "label": "No product and no dose is advised here: what the label says, and whether it is allowed, comes first.",
    "temperature limits": "Hold the label's temperature limits against the days ahead.",
    "withholding": "Heed withholding times: no treatment with supers on for people unless the label allows it.",
    "law": "Local law and the duty to report notifiable pests and diseases come first.",
}
NEEDS = {
    "boxes": "boxes in yard.toml (frames, drawn, full), with the day on which you saw them so (seen)",
    "frames of bees": "frames_of_bees in yard.toml, with the day (seen)",
    "weight or full frames": "wood_kg of a hive on a scale, or the full frames of its boxes, or stores_kg in yard.toml",
    "scale": "a scale that is read through the night",
    "days ahead": "a whole past year of weather",
}


def why(advice: Advice) -> str:
    """The reason in a line; empty where the advice is nothing but a question."""
    return _sentence("Why", [WHY[key] for key in advice.reasons])


def changes(advice: Advice) -> str:
    """What would change the advice, in a line."""
    return _sentence("Would change it", [CHANGES[key] for key in advice.changes])


def needs(advice: Advice) -> str:
    """What the keeper would have to say for a better answer."""
    return _sentence("Would tell more", [NEEDS[key] for key in advice.needs])


def _sentence(head: str, parts: list[str]) -> str:
    return f"{head}: {'; '.join(parts)}." if parts else ""


def on(date: pd.Timestamp) -> str:
    """Sunday 5 June"""
    return f"{date:%A} {words.day(date)}"


def what(advice: Advice, units: str) -> str:
    """What to do and by when, whole."""
    return " ".join(part for part in (own(advice, units), rule(advice, units)) if part)


def own(advice: Advice, units: str) -> str:
    """What one hive is told."""
    return SAY[type(advice)](advice, units)


def rule(advice: Advice, units: str) -> str:
    """What holds as well for every hive that is told alike; empty where there is no more to say."""
    say = RULES.get(type(advice))
    return say(advice, units) if say else ""


def _between(when: When) -> str:
    """The interval of a date in brackets; nothing where there is none."""
    if when.first is None or when.first == when.last:
        return ""
    if when.last is None:
        return f" (from {words.day(when.first)} to later than can be seen, 8 in 10)"
    return f" ({words.from_to(when.first, when.last)}, 8 in 10)"


def _by(when: When) -> str:
    if when.date is None:
        return "the first day fit to open a hive, of which none is likely for months"
    return on(when.date)


def alike(splits: tuple[SplitAdvice, ...]) -> tuple[SplitAdvice, ...]:
    """Kinds of split without a date that come to the same thing, as one."""
    first = splits[0]
    told = {(a.reasons, _splits(replace(a, kind="any"), "kg")) for a in splits}
    if all(a.when is None for a in splits) and len(told) == 1:
        keys = dict.fromkeys(key for a in splits for key in a.cautions)
        return (replace(first, kind="any", cautions=tuple(keys)),)
    return splits


def _three(low_middle_high, units: str) -> str:
    low, middle, high = low_middle_high
    return f"{words.weight(middle, units)} ({words.weight_range(low, high, units)}, 8 in 10)"


def _supers(a: SuperAdvice, units: str) -> str:
    if a.verdict == "unknown":
        return "Whether a super is needed cannot be told."
    room = f"the empty comb holds {_three(a.free_kg, units)}"
    last = (
        f" From {words.day(a.last_worth)} on a further super is not worth it."
        if a.last_worth
        else ""
    )
    if a.verdict == "add":
        count = f"{a.count} {a.box_kind} super{'s' if a.count > 1 else ''}"
        chance = words.chance(a.when.chance)
        return f"Add {count} by {_by(a.when)}: {room}; chance that it runs out {chance}{_between(a.when)}.{last}"
    if a.verdict == "too few bees":
        return "No super yet, though comb may run out: bees do not cover 7 to 8 of 10 frames."
    if a.verdict == "while fed":
        return f"No super while it is fed; then look again, since comb may run out later: {room}."
    if a.verdict == "no more this season":
        return f"No further super this season; {room}."
    return f"Room enough: {room}.{last}"


def _splits(a: SplitAdvice, units: str) -> str:
    name = {
        "any": "whatever queen",
        "laying queen": "a laying queen",
        "ripe cell": "a ripe queen cell",
        "walk-away": "a queen of its own raising",
    }
    head = f"Split with {name[a.kind]}"
    if a.verdict in ("split", "wait"):
        return f"{head}: best on {_by(a.when)}{_between(a.when)}, which {_meets(a, units)}.{_mating(a)}"
    if a.verdict == "costs the crop":
        free = "must be fed" in set(a.weeks["word"])
        later = f"; from {_weeks(a, 'must be fed')} it costs none, but must be fed" if free else ""
        return f"{head}: costs the crop{_cost(a, units)}{later}."
    if a.verdict == "increase":
        return f"{head}: no week ahead is likely to meet a flow. For more colonies, one made from {_weeks(a, 'no flow near')} costs no crop."
    if a.verdict == "must be fed":
        return f"{head}: for more colonies, from {_weeks(a, 'must be fed')}, and only if it is fed."
    return {
        "cells: act now": f"{head}: act on the queen cells now, whatever the calendar.",
        "too late": f"{head}: too late this season.",
        "no mating weather": f"{head}: no weather for a young queen to mate in.",
        "too cold": f"{head}: not in the cold ahead.",
        "not this colony": f"{head}: not from this colony.",
        "unknown": f"{head}: cannot be told.",
    }[a.verdict]


def _meets(a: SplitAdvice, units: str) -> str:
    """How likely the next flow is met; where it is not, what the split brings on the whole."""
    chance = words.chance(a.when.chance)
    if "pays on the whole" not in a.reasons:
        return f"meets the next flow {chance}"
    adds = a.weeks["crop_mean"].asof(a.when.first)
    return f"meets the next flow only {chance}, yet adds {words.weight(adds, units)} of crop in the mean"


def _cost(a: SplitAdvice, units: str) -> str:
    week = a.weeks[a.weeks["word"] == "costs the crop"].iloc[0]
    low, high = max(-week["crop_q90"], 0.0), max(-week["crop_q10"], 0.0)
    when = "this week" if week.name == a.weeks.index[0] else f"from {words.day(week.name)}"
    return f", {words.weight_range(low, high, units)} if made {when}"


def _weeks(a: SplitAdvice, word: str) -> str:
    """From the first to the last day of the first weeks in a row of which this is said; open when they
    go on for a quarter of a year."""
    said = (a.weeks["word"] == word).to_numpy()
    first = int(said.argmax())
    row = said[first:]
    count = len(row) if row.all() else int(row.argmin())
    begins = a.weeks.index[first]
    last = a.weeks.index[first + count - 1] + pd.Timedelta(days=6)
    if last > begins + pd.Timedelta(days=CALENDAR_D):
        return f"{words.day(begins)} on"
    return words.from_to(begins, last)


def _mating(a: SplitAdvice) -> str:
    if a.mating_from is None or "pays on the whole" in a.reasons:
        return ""
    return f" Its queen would mate {words.from_to(a.mating_from, a.mating_to)}; without worker brood by {words.day(a.unmated_after)} expect a drone layer."


def _swarm(a: SwarmWatch, units: str) -> str:
    hot = _hot(a.hot_nights)
    if a.verdict == "cells: act now":
        return f"Queen cells were seen: act now, whatever the calendar.{hot}"
    if a.verdict == "look":
        return f"Swarm season, until about {words.day(a.season_to)}: look for queen cells every {a.every_d} days.{hot}"
    if a.verdict == "has room":
        return f"A nucleus swarms once its box is full: look that it has room.{hot}"
    return f"Not the swarm season now.{hot}"


def _hot(nights, most: int = 3) -> str:
    if not nights:
        return ""
    named = ", ".join(words.day(n) for n in nights[:most])
    return f" Hot nights ahead ({named}{' and more' if len(nights) > most else ''})."


def _ripe(a: RipeAdvice, units: str) -> str:
    if a.verdict == "likely ripe":
        return f"Honey is likely ripe: check that 80 to 90 % is capped and the refractometer reads 18 % or less; next fit day {_by(a.when)}.{_extract(a)}"
    if a.when is not None:
        state = {
            "coming in": "The flow is on",
            "drying": "Honey is drying",
            "damp nights": "Honey may be ripe",
        }
        return f"{state[a.verdict]}: look whether it is ripe on {_by(a.when)}{_between(a.when)}.{_extract(a)}"
    return {
        "coming in": "Nectar is coming in: honey is not ripe.",
        "no flow": "No new honey to ripen: no flow was seen lately.",
        "no reading": "Whether honey is ripe is not told without a scale read through the night.",
    }[a.verdict]


def _extract(a: RipeAdvice) -> str:
    if a.extract_d is None:
        return ""
    days = "a day" if a.extract_d == 1 else f"{a.extract_d} days"
    return f" Where beetles live, extract within {days} of taking it off."


def _sets(a: SetsFast, units: str) -> str:
    end = "noted as over" if a.noted else "stated to be over"
    return f"{a.plant[:1].upper()}{a.plant[1:]} honey sets fast: take it by {_by(a.when)}{_between(a.when)}; bloom is {end} {words.day(a.over)}."


def _leave(a: LeaveAdvice, units: str) -> str:
    if a.verdict == "take":
        sure, _, even = (words.weight(kg, units) for kg in a.spare_kg)
        spare = f"{sure}, 9 in 10 that the rest lasts; with {even} taken it is 5 in 10."
        if a.not_before is None:
            return f"Spare to take now: {spare}"
        return f"Spare, but not to be taken in the cold: no day before {words.day(a.not_before)} is likely fit to open the hive. {spare[0].upper()}{spare[1:]}"
    if a.verdict == "short":
        low, _, high = a.short_kg
        return f"Nothing to take: short of {words.weight_range(low, high, units)} (5 and 9 times in 10)."
    return "Nothing to take." if a.verdict == "take nothing" else "What is spare cannot be told."


def _leave_rule(a: LeaveAdvice, units: str) -> str:
    half, most, nine = (words.weight(kg, units) for kg in a.leave_kg)
    frames = f"about {a.frames:.0f} full {a.box_kind} frames"
    rule = f"Leave {nine} ({frames}), enough 9 times in 10{_lean(a)}; {most} would do 8 times and {half} 5 times."
    doubt = words.weight(a.doubt_kg or 0.0, units)
    if a.doubt_kg is not None and a.doubt_kg > DOUBT * a.leave_kg[-1]:
        rule += f" Colonies may eat more than is known: {doubt} covers that as well."
    return f"{rule} Never less than {words.weight(a.floor_kg, units)}; where that flow fails, weigh and feed."


def _lean(a: LeaveAdvice) -> str:
    """From when to when it is to last."""
    if a.to is None:
        return ""
    begins = ", from now to "
    if a.from_ is not None:
        begins = f", from the end of flow, about {words.day(a.from_)}, to "
    if a.reached:
        return f"{begins}a flow that can be relied on, about {words.full_day(a.to)}"
    return f"{begins}{words.full_day(a.to)}, as far as can be seen"


def _stores(a: StoresAdvice, units: str) -> str:
    inside = f"Stores are {_three(a.stores_kg, units)}"
    if a.needs:
        guess = words.weight_range(a.stores_kg[0], a.stores_kg[2], units)
        inside = f"Stores are not known, perhaps {guess}"
    risk = _risk(a, units)
    if a.verdict == "unknown":
        return f"{inside}; {risk}. Weigh or look before feeding."
    if a.feed_kg is None:
        return f"{inside}; {risk}. No feed is called for now."
    first = "Take the supers off first, then feed" if a.verdict == "supers off first" else "Feed"
    amount = f"{words.weight_range(a.feed_kg[0], a.feed_kg[2], units)} of stores in all, of up to {words.weight(a.sugar_kg, units)} of sugar"
    return f"{first} {a.food} by {_by(a.when)}: {amount}. {inside}; {risk}."


def _risk(a: StoresAdvice, units: str) -> str:
    """What becomes of the stores if nothing is fed."""
    floor = words.weight(a.floor_kg, units)
    if a.stores_kg[1] < a.floor_kg and not a.needs:
        risk = f"that is below {floor}, the least to be kept at any time"
    else:
        risk = f"the chance that they fall to {floor} before the next flow is {words.chance(float(a.low.iloc[-1]))}"
    if not a.peak or a.starve_chance < 0.05:
        return risk
    span = f"{words.day(a.peak[0])} to {words.day(a.peak[1])}"
    return f"{risk}; the chance that they run out is {words.chance(a.starve_chance)}, most likely from {span}"


def _feed_rule(a: StoresAdvice, units: str) -> str:
    if a.feed_kg is None:
        return ""
    span = "all the winter" if set(a.reasons) & set(FOR_WINTER) else "the next weeks"
    finish = (
        f" Syrup must be down by {words.day(a.finish_by)}; then fondant only."
        if a.finish_by and a.food != "fondant"
        else ""
    )
    return f"Give {words.weight(a.portion_kg, units)} at a time. The stores are for {span}, enough 5 and 9 times in 10.{finish}"


def _start(a: StartAdvice, units: str) -> str:
    look = f"First look on {_by(a.when)}. " if a.when else ""
    head = f"A {a.kind}, {words.full_day(a.installed)}. {look}"
    honey = {
        "honey likely": "Honey to take this season: likely",
        "honey perhaps": "Honey to take this season: perhaps",
        "box this season": "Honey to take: not this season",
        "not this season": "Honey to take: not this season, and a full brood box hardly",
    }[a.verdict]
    return f"{head}Brood box drawn {_filled(a.brood_box)}, a first super filled {_filled(a.super_box)}, by {words.full_day(a.until)} and without feed. {honey}."


def _filled(f: Filled) -> str:
    if f.when is None:
        return words.chance(0.0)
    low, middle, high = f.when
    return (
        f"{words.chance(f.chance)}, about {words.day(middle)} ({words.from_to(low, high)}, 8 in 10)"
    )


def _after(a: AfterAdvice, units: str) -> str:
    if a.verdict == "no winter":
        return "Brood is reared here all the year, so no date is set by winter bees: go by mite counts."
    if a.verdict == "unknown":
        return "When winter bees are reared needs a whole past year of weather."
    reared = f"Winter bees are reared from about {words.day(a.bees.start[1])} ({words.from_to(a.bees.start[0], a.bees.start[2])}, 8 years of 10)"
    if a.verdict == "past":
        return f"{reared}: that time has begun. Count mites now."
    goes_on = f" A flow may go on later ({words.chance(a.goes_on)})." if a.goes_on >= 0.1 else ""
    high = ""
    if a.high_c is not None and not any(math.isnan(v) for v in a.high_c):
        high = f" Highest temperatures then: {temp_range(a.high_c[0], a.high_c[2], units)} on 8 days of 10."
    off = (
        f"Supers off now, on {_by(a.when)}"
        if a.verdict == "now"
        else f"Supers off when the flow ends, about {_by(a.when)}{_between(a.when)}, and by {words.day(a.latest)} at the latest"
    )
    return f"{off}: the window for mite treatment lies between then and {words.day(a.until)}. {reared}.{goes_on}{high}"


SAY = {
    SuperAdvice: _supers,
    SplitAdvice: _splits,
    SwarmWatch: _swarm,
    RipeAdvice: _ripe,
    SetsFast: _sets,
    LeaveAdvice: _leave,
    StoresAdvice: _stores,
    StartAdvice: _start,
    AfterAdvice: _after,
}
RULES = {LeaveAdvice: _leave_rule, StoresAdvice: _feed_rule}

# Names by which calendars know a task again from one issue to the next: never change one.
ROOMS = {
    SuperAdvice: "super",
    SplitAdvice: "split",
    SwarmWatch: "swarm",
    RipeAdvice: "ripe",
    SetsFast: "sets fast",
    StoresAdvice: "feed",
    StartAdvice: "first look",
    AfterAdvice: "supers off",
}


def task(advice: Advice) -> str | None:
    """The advice as a line of a calendar; None where there is nothing to do."""
    if isinstance(advice, SuperAdvice) and advice.verdict == "add":
        return f"Add {advice.count} {advice.box_kind} super{'s' if advice.count > 1 else ''}"
    if isinstance(advice, SplitAdvice) and advice.verdict in ("split", "wait"):
        return f"Best day for a split ({advice.kind})"
    if isinstance(advice, SwarmWatch) and advice.verdict == "cells: act now":
        return "Queen cells: act now"
    if isinstance(advice, SwarmWatch) and advice.verdict == "look":
        return f"Look for queen cells, then every {advice.every_d} days"
    if isinstance(advice, StoresAdvice) and advice.feed_kg is not None:
        first = "Supers off, then feed" if advice.verdict == "supers off first" else "Feed"
        return f"{first} {advice.food}"
    plain = {
        RipeAdvice: "Look whether honey is ripe",
        StartAdvice: "First look into the new colony",
        AfterAdvice: "Supers off; count mites"
        if advice.verdict == "now"
        else "Flow over? Supers off; count mites",
    }
    if isinstance(advice, SetsFast):
        return f"Take {advice.plant} honey"
    return plain.get(type(advice))
