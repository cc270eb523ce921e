"""Dates for the work in words: rooms of advice, hives that are told the same together, a calendar."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.refractometer import WaterReading
from flowcast.advice.ripe import SetsFast
from flowcast.advice.splits import SplitAdvice
from flowcast.advice.visits import CALENDAR_D
from flowcast.advice.when import Advice
from flowcast.messages import Say
from flowcast.messages.say import capital
from flowcast.report import advice
from flowcast.results import HiveTiming, YardTiming

ROOMS = {
    "swarms_and_splits": lambda h: (h.swarm, *advice.alike(h.splits)),
    "supers": lambda h: (h.supers,),
    "ripe": lambda h: (h.ripe,),
    "leave": lambda h: (h.leave,),
    "feed": lambda h: (h.stores,),
    "newcomers": lambda h: (h.start,) if h.start else (),
}
IN_A_CELL = 6  # hives named in a line of the calendar; the rooms name every one


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
    say = found.record.yard.say
    return say("timing.headline", yard=found.record.yard.name, date=say.full_day(found.issue_date))


def answer(found: YardTiming) -> str:
    """What comes first, in one sentence."""
    say, rows = found.record.yard.say, calendar_rows(found)[1:]
    unknown = [h.hive for h in found.hives if h.stores.verdict == "unknown"]
    if not rows and unknown:
        return say("timing.weigh_first", hives=_named(unknown, len(found.hives), say, IN_A_CELL))
    if not rows:
        return say("timing.nothing", n=CALENDAR_D)
    date, hives, task = rows[0][:3]
    if not hives:
        return say("timing.first", task=task, date=date)
    return say("timing.first_of_hives", task=task, date=date, hives=hives)


def rooms(found: YardTiming) -> dict[str, list[Said]]:
    """Every advice in words, by the room it belongs to."""
    shown = {
        room: _together([(h.hive, a) for h in found.hives for a in of(h)], found)
        for room, of in ROOMS.items()
    }
    if found.usual:
        usual = [("", a) for a in advice.alike(found.usual)]
        shown["swarms_and_splits"] = _together(usual, found)
    shown["ripe"] += _together([("", a) for a in found.sets], found)
    shown["after"] = _together([("", found.after)], found)
    return {room: said for room, said in shown.items() if said}


def dated_rooms(found: YardTiming) -> set[str]:
    """The rooms of which something stands in the calendar."""
    dated = {id(entry.advice) for entry in entries(found)}
    held = {room: [a for h in found.hives for a in of(h)] for room, of in ROOMS.items()}
    held["ripe"] = [*held["ripe"], *found.sets]
    held["after"] = [found.after]
    return {room for room, told in held.items() if any(id(a) in dated for a in told)}


def _together(pairs: list[tuple[str, Advice]], found: YardTiming) -> list[Said]:
    """Hives that are told the same share a line, and lines with the same reasons share these."""
    yard, every = found.record.yard, len(found.hives)
    say = yard.say
    groups: dict[tuple, list[tuple[str, Advice]]] = {}
    for hive, one in pairs:
        lines = (advice.why(one, say, yard.numbers), advice.changes(one, say))
        groups.setdefault(tuple(line for line in lines if line), []).append((hive, one))
    return [_said(told, lines, say, every) for lines, told in groups.items()]


def _said(told: list[tuple[str, Advice]], lines: tuple[str, ...], say: Say, every: int) -> Said:
    """What each hive is told, and after it the rule for all of them, or each rule for those it is for."""
    rules = [(hive, advice.rule(one, say)) for hive, one in told]
    what = _by_text([(hive, advice.own(one, say)) for hive, one in told], say, every)
    if len({rule for _, rule in rules}) == 1:
        lines = (*(rule for _, rule in rules[:1] if rule), *lines)
    else:
        what += _by_text([(hive, rule) for hive, rule in rules if rule], say, every)
    return Said(tuple(what), (*lines, *_needs(told, say, every)))


def _by_text(told: list[tuple[str, str]], say: Say, every: int) -> list[str]:
    """Each text once, after the names of those it is for. every: how many hives stand in the yard."""
    hives: dict[str, list[str]] = {}
    for hive, text in told:
        hives.setdefault(text, []).append(hive)
    return [_for(list(dict.fromkeys(names)), text, say, every) for text, names in hives.items()]


def _needs(told: list[tuple[str, Advice]], say: Say, every: int) -> list[str]:
    """What would tell more, after the names of the hives where it would not for all of them."""
    wished = [(hive, text) for hive, one in told if (text := advice.needs(one, say))]
    texts = list(dict.fromkeys(text for _, text in wished))
    if len(texts) == 1 and {hive for hive, _ in wished} == {hive for hive, _ in told}:
        return texts
    return _by_text(wished, say, every)


def _for(hives: list[str], what: str, say: Say, every: int) -> str:
    named = [hive for hive in hives if hive]
    if not named:
        return what
    whose = _named(named, every, say)
    # A keeper's own names stay as they are written.
    whose = capital(whose) if _is_all(named, every) else whose
    return say("timing.for_hives", hives=whose, what=what)


def _is_all(hives: list[str], every: int) -> bool:
    return len(hives) == every > 2


def _named(hives: list[str], every: int, say: Say, most: int | None = None) -> str:
    """The hives by name; all of several in a word, and no more of them than `most` where it is given."""
    if _is_all(hives, every):
        return say("timing.all_hives")
    if most is None or len(hives) <= most:
        return say.listed(hives)
    some = say.listed(hives[: most - 1])
    return say("timing.and_more", hives=some, n=len(hives) - most + 1)


def _last(found: YardTiming) -> pd.Timestamp:
    return found.issue_date + pd.Timedelta(days=CALENDAR_D)


def entries(found: YardTiming) -> list[Entry]:
    """The dated tasks of the next 90 days, in order of time."""
    say = found.record.yard.say
    pairs = [(h.hive, a) for h in found.hives for a in _dated(h)]
    pairs += [(None, a) for a in (*found.sets, found.after)]
    listed = [
        Entry(one.when.date, hive, task, _room(one), one)
        for hive, one in pairs
        if (task := advice.task(one, say)) and one.when is not None and one.when.date is not None
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
    say = found.record.yard.say
    rows = [tuple(say(f"calendar.{head}") for head in ("by", "hives", "what", "between", "chance"))]
    for (date, task), alike in groups.items():
        whens = [e.advice.when for e in alike]
        spread = [e.advice.when for e in alike if not isinstance(e.advice, SplitAdvice)]
        firsts = [w.first for w in spread if w.first is not None]
        lasts = [w.last for w in spread]
        rows.append(
            (
                say.weekday(date),
                _named(_hives(alike, found), len(found.hives), say, IN_A_CELL),
                task,
                _interval(firsts, lasts, say),
                _chance([w.chance for w in whens], say),
            )
        )
    return rows


def _hives(alike: list[Entry], found: YardTiming) -> list[str]:
    """Whom entries are for: what is for the whole yard is for all of its hives."""
    named = [e.hive for e in alike if e.hive]
    return named or [h.hive for h in found.hives]


def _chance(chances: list[float], say: Say) -> str:
    """From the least of the hives' chances to the greatest; empty where it is to be done whatever comes."""
    return "" if max(chances) == 1.0 else say.chances(min(chances), max(chances))


def _interval(firsts: list[pd.Timestamp], lasts: list[pd.Timestamp | None], say: Say) -> str:
    """From the first to the last; beyond the days looked at it stays open."""
    if not firsts:
        return ""
    if None in lasts:
        return say("calendar.from_on", date=say.day(min(firsts)))
    first, last = min(firsts), max(lasts)
    return say.day(first) if first >= last else say.span(first, last)


def fit_days(found: YardTiming, days: int = 14) -> list[str]:
    """When a hive can be opened: the next days of the keeper's that are likely fit."""
    numbers, visits, say = found.record.yard.numbers, found.visits, found.record.yard.say
    own = [d for d in visits.chance.index[:days] if visits.is_own(d)]
    likely = [_span(run, visits.chance, say) for run in _runs(own, visits.chance >= visits.least)]
    near = say("fit.likely", n=days, days=say.listed(likely)) if likely else _none_near(found)
    temps = say.temps(numbers["timing.open_from_c"], numbers["timing.open_to_c"])
    rule = say("fit.rule", hours=say.short(numbers["timing.open_least_h"]), temps=temps)
    return [near, f"{rule} {say('fit.fires')}"]


def _runs(days: list[pd.Timestamp], fit: pd.Series) -> list[list[pd.Timestamp]]:
    """Fit days in runs without a gap."""
    runs: list[list[pd.Timestamp]] = []
    for day in (d for d in days if fit[d]):
        if runs and day - runs[-1][-1] == pd.Timedelta(days=1):
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs


def _span(days: list[pd.Timestamp], chance: pd.Series, say: Say) -> str:
    """A run of days with the least of their chances."""
    least = float(chance[days].min())
    if len(days) == 1:
        return say("fit.day", date=say.soon(days[0]), chance=say.chance(least))
    key = "fit.days_or_more" if least <= 0.95 else "fit.days"
    return say(key, first=say.soon(days[0]), last=say.soon(days[-1]), chance=say.chance(least))


def _none_near(found: YardTiming) -> str:
    say, day = found.record.yard.say, found.visits.next_fit(found.issue_date)
    if day is None:
        return say("fit.none", date=say.full_day(found.until))
    date = say.weekday(day) if day.year == found.issue_date.year else say.full_day(day)
    return say("fit.none_near", date=date)


def cautions(found: YardTiming) -> list[str]:
    """What is to be minded with the advice that is given, each once."""
    every = [a for h in found.hives for a in h.advice]
    every += [*found.usual, *found.sets, found.after]
    return advice.minds([key for a in every for key in a.cautions], found.record.yard.say)


def water(reading: WaterReading | None, say: Say) -> str:
    """A refractometer reading in words; empty where none was given."""
    if reading is None:
        return ""
    read = "water_read.corrected" if reading.corrected else "water_read.as_read"
    told = {"share": say.percent(reading.water_pct / 100, 1), "read": say(read, at=say.temp(20))}
    return say(f"honey_water.{reading.verdict}", **told)


def rests_on(found: YardTiming) -> list[str]:
    """What the dates rest on."""
    say, days = found.record.yard.say, (found.until - found.issue_date).days + 1
    lines = [say("timing.futures", n=days, date=say.full_day(found.until))]
    if days < CALENDAR_D:
        lines.append(say("timing.no_past_year"))
    if found.record.yard.is_place:
        lines.append(say("timing.of_place"))
    elif not found.hives:
        lines.append(say("timing.no_hives"))
    return [*lines, say("timing.common_practice")]
