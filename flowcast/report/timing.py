"""Dates for the work in words: rooms of advice, hives that are told the same together, a calendar."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.refractometer import WaterReading
from flowcast.advice.ripe import SetsFast
from flowcast.advice.splits import SplitAdvice
from flowcast.advice.visits import CALENDAR_D
from flowcast.advice.when import Advice
from flowcast.report import advice, units, words
from flowcast.report.advice import CAUTIONS, LOOK_FIRST
from flowcast.results import HiveTiming, YardTiming

ROOMS = {
    "Swarms and splits": lambda h: (h.swarm, *advice.alike(h.splits)),
    "Supers": lambda h: (h.supers,),
    "Ripe honey": lambda h: (h.ripe,),
    "Honey to take, honey to leave": lambda h: (h.leave,),
    "Stores and feed": lambda h: (h.stores,),
    "New colonies": lambda h: (h.start,) if h.start else (),
}
ALL = "all hives"
IN_A_CELL = 6  # hives named in a line of the calendar; the rooms name every one
FIRES = "Where a total fire ban holds, no smoker is lit and no hive opened with one; that is not reckoned here."
NO_HIVES = (
    "No hive stands here on this date by yard.toml: only what holds for a strong colony is said. Describe "
    "each [[hive]] with its boxes, and more can be told."
)
FIT = "A day counts as fit to open a hive with {least:g} working hours or more that are dry, calm and from {low:g} to {high:g} °C."


@dataclass(frozen=True)
class Said:
    """Advice in words with the same reasons: what each hive (or several alike) is told, and why."""

    what: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Entry:
    """A dated task. room: a name that stays the same from one issue to the next."""

    date: pd.Timestamp
    hive: str | None
    task: str
    room: str
    advice: Advice


def headline(found: YardTiming) -> str:
    """Whose dates, and of when."""
    return f"{found.record.yard.name}: what to do and by when, {words.full_day(found.issue_date)}"


def answer(found: YardTiming) -> str:
    """What comes first, in one sentence."""
    rows = calendar_rows(found)[1:]
    unknown = [h.hive for h in found.hives if h.stores.verdict == "unknown"]
    if not rows and unknown:
        return f"Weigh or heft first ({_named(unknown, len(found.hives), IN_A_CELL)}): without stores nothing can be dated."
    if not rows:
        return f"By what is known nothing needs a date within {CALENDAR_D} days; {LOOK_FIRST}."
    date, hives, task = rows[0][:3]
    whose = f" ({hives})" if hives else ""
    return f"First comes: {task}{whose}, by {date}; {LOOK_FIRST}."


def rooms(found: YardTiming) -> dict[str, list[Said]]:
    """Every advice under its heading, in words."""
    shown = {
        heading: _together([(h.hive, a) for h in found.hives for a in of(h)], found)
        for heading, of in ROOMS.items()
    }
    if found.usual:
        shown["Swarms and splits"] = _together([("", a) for a in advice.alike(found.usual)], found)
    shown["Ripe honey"] += _together([("", a) for a in found.sets], found)
    shown["After the flow"] = _together([("", found.after)], found)
    return {heading: said for heading, said in shown.items() if said}


def dated_rooms(found: YardTiming) -> set[str]:
    """The headings under which something stands in the calendar."""
    dated = {id(entry.advice) for entry in entries(found)}
    held = {heading: [a for h in found.hives for a in of(h)] for heading, of in ROOMS.items()}
    held["Ripe honey"] = [*held["Ripe honey"], *found.sets]
    held["After the flow"] = [found.after]
    return {heading for heading, told in held.items() if any(id(a) in dated for a in told)}


def _together(pairs: list[tuple[str, Advice]], found: YardTiming) -> list[Said]:
    """Hives that are told the same share a line, and lines with the same reasons share these."""
    units, every = found.record.yard.settings.yard.units, len(found.hives)
    groups: dict[tuple, list[tuple[str, Advice]]] = {}
    for hive, one in pairs:
        lines = (advice.why(one), advice.changes(one))
        groups.setdefault(tuple(line for line in lines if line), []).append((hive, one))
    return [_said(told, lines, units, every) for lines, told in groups.items()]


def _said(told: list[tuple[str, Advice]], lines: tuple[str, ...], units: str, every: int) -> Said:
    """What each hive is told, and after it the rule for all of them, or each rule for those it is for."""
    rules = [(hive, advice.rule(one, units)) for hive, one in told]
    what = _by_text([(hive, advice.own(one, units)) for hive, one in told], every)
    if len({rule for _, rule in rules}) == 1:
        lines = (*(rule for _, rule in rules[:1] if rule), *lines)
    else:
        what += _by_text([(hive, rule) for hive, rule in rules if rule], every)
    return Said(tuple(what), (*lines, *_needs(told, every)))


def _by_text(told: list[tuple[str, str]], every: int) -> list[str]:
    """Each text once, after the names of those it is for. every: how many hives stand in the yard."""
    hives: dict[str, list[str]] = {}
    for hive, text in told:
        hives.setdefault(text, []).append(hive)
    return [_for(list(dict.fromkeys(names)), text, every) for text, names in hives.items()]


def _needs(told: list[tuple[str, Advice]], every: int) -> list[str]:
    """What would tell more, after the names of the hives where it would not for all of them."""
    wished = [(hive, advice.needs(one)) for hive, one in told]
    if len({text for _, text in wished}) == 1:
        return [text for _, text in wished[:1] if text]
    return _by_text([(hive, text) for hive, text in wished if text], every)


def _for(hives: list[str], what: str, every: int) -> str:
    named = _named([hive for hive in hives if hive], every)
    head = named.capitalize() if named == ALL else named
    return f"{head}: {what}" if named else what


def _named(hives: list[str], every: int, most: int | None = None) -> str:
    """The hives by name; all of several in a word, and no more of them than `most` where it is given."""
    if len(hives) == every > 2:
        return ALL
    if most is None or len(hives) <= most:
        return ", ".join(hives)
    return f"{', '.join(hives[: most - 1])} and {len(hives) - most + 1} more"


def _last(found: YardTiming) -> pd.Timestamp:
    return found.issue_date + pd.Timedelta(days=CALENDAR_D)


def entries(found: YardTiming) -> list[Entry]:
    """The dated tasks of the next 90 days, in order of time."""
    pairs = [(h.hive, a) for h in found.hives for a in _dated(h)]
    pairs += [(None, a) for a in (*found.sets, found.after)]
    listed = [
        Entry(one.when.date, hive, task, _room(one), one)
        for hive, one in pairs
        if (task := advice.task(one)) and one.when is not None and one.when.date is not None
        if one.when.date <= _last(found)
    ]
    return sorted(listed, key=lambda e: (e.date, e.hive or "", e.room))


def _dated(hive: HiveTiming) -> list[Advice]:
    """The hive's advice for a calendar, which names one kind of split: that which adds most."""
    splits = [a for a in hive.splits if a.when is not None and a.weeks is not None]
    best = max(splits, key=lambda a: a.weeks["crop_q50"].max(), default=None)
    return [a for a in hive.advice if not isinstance(a, SplitAdvice) or a is best]


def _room(one: Advice) -> str:
    name = advice.ROOMS[type(one)]
    return f"{name} {one.plant}" if isinstance(one, SetsFast) else name


def calendar_rows(found: YardTiming) -> list[tuple[str, ...]]:
    """The next 90 days as cells, the head first; hives with the same task on the same day together."""
    groups: dict[tuple, list[Entry]] = {}
    for entry in entries(found):
        groups.setdefault((entry.date, entry.task), []).append(entry)
    rows = [("by", "hives", "what", "8 times in 10", "chance")]
    for (date, task), alike in groups.items():
        whens = [e.advice.when for e in alike]
        firsts = [w.first for w in whens if w.first is not None]
        lasts = [w.last for w in whens]
        rows.append(
            (
                advice.on(date),
                _named([e.hive for e in alike if e.hive], len(found.hives), IN_A_CELL),
                task,
                _interval(firsts, lasts),
                _chance(max(w.chance for w in whens)),
            )
        )
    return rows


def _chance(p: float) -> str:
    """Empty where the thing is to be done whatever comes."""
    return "" if p == 1.0 else words.chance(p)


def _interval(firsts: list[pd.Timestamp], lasts: list[pd.Timestamp | None]) -> str:
    """From the first to the last; beyond the days looked at it stays open."""
    if not firsts:
        return ""
    if None in lasts:
        return f"from {words.day(min(firsts))} on"
    first, last = min(firsts), max(lasts)
    return words.day(first) if first >= last else words.from_to(first, last)


def fit_days(found: YardTiming, days: int = 14) -> list[str]:
    """When a hive can be opened: the next days of the keeper's that are likely fit."""
    numbers, visits = found.record.yard.numbers, found.visits
    own = [d for d in visits.chance.index[:days] if visits.is_own(d)]
    likely = [_span(span, visits.chance) for span in _runs(own, visits.chance >= visits.least)]
    said = f"Likely fit within {days} days: {', '.join(likely)}." if likely else _none_near(found)
    rule = FIT.format(
        least=numbers["timing.open_least_h"],
        low=numbers["timing.open_from_c"],
        high=numbers["timing.open_to_c"],
    )
    return [said, f"{units.told(rule, units.of(found.record.yard))} {FIRES}"]


def _runs(days: list[pd.Timestamp], fit: pd.Series) -> list[list[pd.Timestamp]]:
    """Fit days in runs without a gap."""
    runs: list[list[pd.Timestamp]] = []
    for day in (d for d in days if fit[d]):
        if runs and day - runs[-1][-1] == pd.Timedelta(days=1):
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs


def _span(days: list[pd.Timestamp], chance: pd.Series) -> str:
    """A run of days with the least of their chances."""
    named = f"{days[0]:%a} {words.day(days[0])}"
    if len(days) > 1:
        named += f" to {days[-1]:%a} {words.day(days[-1])}"
    least = float(chance[days].min())
    return f"{named} ({words.chance(least)}{' or more' if len(days) > 1 and least <= 0.95 else ''})"


def _none_near(found: YardTiming) -> str:
    day = found.visits.next_fit(found.issue_date)
    if day is None:
        return f"No day up to {words.full_day(found.until)} is more likely than not fit to open a hive; a hive can still be hefted and fed with fondant."
    return (
        f"No day of the next two weeks is likely fit to open a hive; the next is {advice.on(day)}."
    )


def cautions(found: YardTiming) -> list[str]:
    """What is to be minded with the advice that is given, each once."""
    every = [a for h in found.hives for a in h.advice]
    every += [*found.usual, *found.sets, found.after]
    keys = dict.fromkeys(["look first", *(key for a in every for key in a.cautions)])
    return [CAUTIONS[key] for key in keys]


def water(reading: WaterReading | None, unit: str = "kg") -> str:
    """A refractometer reading in words; empty where none was given."""
    if reading is None:
        return ""
    means = {
        "safe": "it keeps",
        "may ferment": "within the law, but it may ferment, the more so from 19 %",
        "ling only": "above the legal limit of 20 % for all but ling heather (Calluna)",
        "too wet": "above every legal limit: it will ferment; leave it to the bees",
    }[reading.verdict]
    read = (
        "corrected to 20 °C"
        if reading.corrected
        else "as read at 20 °C, or by an instrument that corrects itself"
    )
    return units.told(
        f"The honey holds {reading.water_pct:.1f} % of water ({read}): {means}.", unit
    )


def rests_on(found: YardTiming) -> list[str]:
    """What the dates rest on."""
    days = (found.until - found.issue_date).days + 1
    lines = [
        f"The futures of the outlook, drawn on over {days} days, to {words.full_day(found.until)}; "
        "each date is read off all of them, on a day that is more likely fit than not to open a hive."
    ]
    if days < CALENDAR_D:
        lines.append(
            "No past year of weather is there, so nothing is said of the months beyond these days."
        )
    if found.record.yard.is_place:
        lines.append(
            f"A place on the map, {words.PLACE_ONLY} What holds for a strong colony is said."
        )
    elif not found.hives:
        lines.append(NO_HIVES)
    lines.append(
        "How much bees eat, what combs hold, when brood ends and how new colonies grow are common practice "
        "or our assumption where no log tells; every number stands on the page with its source."
    )
    return lines
