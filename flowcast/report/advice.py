"""One advice in words: what to do and by when, why, what would change it, what to mind.

Advice carries short keys; their words stand in the file of messages under the same keys.
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
from flowcast.advice.supers import ONLY_IN_FLOW, SuperAdvice
from flowcast.advice.visits import CALENDAR_D
from flowcast.advice.when import Advice, When, within_reasons
from flowcast.advice.winter import LeaveAdvice
from flowcast.messages import Say
from flowcast.messages.say import capital
from flowcast.numbers import Numbers


def why(advice: Advice, say: Say, numbers: Numbers) -> str:
    """The reason in a line; empty where the advice is nothing but a question."""
    weights = {name: say.weights(*kg, 0) for name, kg in within_reasons(numbers).items()}
    told = [say(f"why.{key}", **weights) for key in advice.reasons]
    return say("advice.why", reasons=say.listed(told, "semicolon")) if told else ""


def changes(advice: Advice, say: Say) -> str:
    """What would change the advice, in a line."""
    told = [say(f"changes.{key}") for key in advice.changes]
    return say("advice.changes", what=say.listed(told, "semicolon")) if told else ""


def needs(advice: Advice, say: Say) -> str:
    """What the keeper would have to say for a better answer."""
    told = [say(f"needs.{key}") for key in advice.needs]
    return say("advice.needs", what=say.listed(told, "semicolon")) if told else ""


def minds(keys, say: Say) -> list[str]:
    """What is to be minded, each once, the look into the hive first."""
    return [say(f"minds.{key}") for key in dict.fromkeys(["look first", *keys])]


def what(advice: Advice, say: Say) -> str:
    """What to do and by when, whole."""
    return _joined(own(advice, say), rule(advice, say))


def own(advice: Advice, say: Say) -> str:
    """What one hive is told."""
    return SAY[type(advice)](advice, say)


def rule(advice: Advice, say: Say) -> str:
    """What holds as well for every hive that is told alike; empty where there is no more to say."""
    told = RULES.get(type(advice))
    return told(advice, say) if told else ""


def _joined(*sentences: str) -> str:
    return " ".join(sentence for sentence in sentences if sentence)


def _between(when: When, say: Say) -> str:
    """The interval of a date; nothing where there is none."""
    if when.first is None or when.first == when.last:
        return ""
    if when.last is None:
        return say("advice.between_open", first=say.day(when.first))
    return say("advice.between", span=say.span(when.first, when.last))


def _by(when: When, say: Say) -> str:
    return say("advice.no_fit_day") if when.date is None else say.weekday(when.date)


def _by_between(when: When, say: Say) -> str:
    """A date with its interval in brackets."""
    by, between = _by(when, say), _between(when, say)
    return say("advice.by_between", by=by, between=between) if between else by


def _split_day(when: When, say: Say) -> str:
    """The best day for a split, and how long others are as good: no interval of anything."""
    by = _by(when, say)
    if when.date is None or when.first == when.last:
        return by
    if when.date > when.last:
        return say("advice.after_its_days", by=by, span=say.span(when.first, when.last))
    return say("advice.as_good_until", by=by, last=say.day(when.last))


def alike(splits: tuple[SplitAdvice, ...]) -> tuple[SplitAdvice, ...]:
    """Kinds of split without a date that come to the same thing, as one."""
    first = splits[0]
    told = {(a.reasons, _splits(replace(a, kind="any"), Say())) for a in splits}
    undated = all(a.when is None or a.verdict == "cells: act now" for a in splits)
    if undated and len(told) == 1:
        keys = dict.fromkeys(key for a in splits for key in a.cautions)
        return (replace(first, kind="any", cautions=tuple(keys)),)
    return splits


def _sure(low_middle_high, say: Say) -> str:
    low, middle, high = low_middle_high
    return say("advice.sure", middle=say.weight(middle), between=say.weights(low, high))


def _supers(a: SuperAdvice, say: Say) -> str:
    if a.verdict in ("unknown", "too few bees"):
        return say(f"supers.{a.verdict}")
    if a.verdict == "take off":
        return _take_off(a, say)
    room = say("supers.room", kg=_sure(a.free_kg, say))
    last = say("supers.last_worth", date=say.full_day(a.last_worth)) if a.last_worth else ""
    if a.verdict == "no more this season":  # which is what `last` would say
        return say(f"supers.{a.verdict}", room=room)
    if a.verdict == "add":
        return _joined(_add(a, room, say), last)
    return _joined(say(f"supers.{a.verdict}", room=room), last)


def _take_off(a: SuperAdvice, say: Say) -> str:
    until, chance = say.day(a.back_until), say.chance(a.back_chance)
    told = {"by": _by(a.when, say), "until": until, "chance": chance}
    return say("supers.take off", supers=_some(a, say), **told)


def _some(a: SuperAdvice, say: Say) -> str:
    return say("supers.some", n=a.count, kind=say(f"boxes.{a.box_kind}"))


def _add(a: SuperAdvice, room: str, say: Say) -> str:
    supers = _some(a, say)
    told = {"by": _by(a.when, say), "room": room, "chance": say.chance(a.when.chance)}
    between = _between(a.when, say)
    if not between:
        return say("supers.add", supers=supers, **told)
    return say("supers.add_between", supers=supers, between=between, **told)


def _splits(a: SplitAdvice, say: Say) -> str:
    split = say(f"queens.{a.kind}")
    if a.verdict in ("split", "wait"):
        return _joined(_best(a, split, say), _mating(a, say))
    if a.verdict == "costs the crop":
        cost = _cost(a, say)
        if "must be fed" not in set(a.weeks["word"]):
            return say("splits.costs the crop", split=split, cost=cost)
        free = _weeks(a, "must be fed", say)
        return say("splits.costs_then_free", split=split, cost=cost, weeks=free)
    if a.verdict == "increase":
        return say("splits.increase", split=split, weeks=_weeks(a, "no flow near", say))
    if a.verdict == "must be fed":
        return say("splits.must be fed", split=split, weeks=_weeks(a, "must be fed", say))
    return say(f"splits.{a.verdict}", split=split)


def _best(a: SplitAdvice, split: str, say: Say) -> str:
    """How likely the next flow is met; where it is not, what the split brings on the whole."""
    told = {"split": split, "by": _split_day(a.when, say), "chance": say.chance(a.when.chance)}
    if "pays on the whole" not in a.reasons:
        return say("splits.best", **told)
    adds = a.weeks["crop_mean"].asof(a.when.first)
    return say("splits.best_on_the_whole", **told, kg=say.weight(adds))


def _cost(a: SplitAdvice, say: Say) -> str:
    week = a.weeks[a.weeks["word"] == "costs the crop"].iloc[0]
    kg = say.weights(max(-week["crop_q90"], 0.0), max(-week["crop_q10"], 0.0))
    if week.name == a.weeks.index[0]:
        return say("splits.cost_now", kg=kg)
    return say("splits.cost_later", kg=kg, date=say.day(week.name))


def _weeks(a: SplitAdvice, word: str, say: Say) -> str:
    """From the first to the last day of the first weeks in a row of which this is said; open when they
    go on for a quarter of a year."""
    said = (a.weeks["word"] == word).to_numpy()
    first = int(said.argmax())
    row = said[first:]
    count = len(row) if row.all() else int(row.argmin())
    begins = a.weeks.index[first]
    last = a.weeks.index[first + count - 1] + pd.Timedelta(days=6)
    if last > begins + pd.Timedelta(days=CALENDAR_D):
        return say("splits.weeks_on", first=say.day(begins))
    return say.span(begins, last)


def _mating(a: SplitAdvice, say: Say) -> str:
    if a.mating_from is None or "pays on the whole" in a.reasons:
        return ""
    span = say.span(a.mating_from, a.mating_to)
    return say("splits.mating", span=span, unmated=say.day(a.unmated_after))


def _swarm(a: SwarmWatch, say: Say) -> str:
    if a.verdict == "look":
        told = say("swarms.look", until=say.day(a.season_to), n=a.every_d)
    else:
        told = say(f"swarms.{a.verdict}")
    return _joined(told, _hot(a.hot_nights, say))


def _hot(nights, say: Say, most: int = 3) -> str:
    if not nights:
        return ""
    key = "swarms.hot_nights_and_more" if len(nights) > most else "swarms.hot_nights"
    return say(key, nights=say.listed(say.day(n) for n in nights[:most]))


def _ripe(a: RipeAdvice, say: Say) -> str:
    if a.shut:
        return say("ripe.waits", date=say.full_day(a.when.date))
    if a.verdict == "likely ripe":
        return _joined(say("ripe.likely ripe", by=_by(a.when, say)), _extract(a, say))
    if a.when is None:
        return say(f"ripe.{a.verdict}")
    look = f"ripe.look_{a.verdict.replace(' ', '_')}"
    return _joined(say(look, by=_by_between(a.when, say)), _extract(a, say))


def _extract(a: RipeAdvice, say: Say) -> str:
    return "" if a.extract_d is None else say("ripe.extract", n=a.extract_d)


def _sets(a: SetsFast, say: Say) -> str:
    told = {"plant": capital(a.plant), "by": _by_between(a.when, say), "over": say.day(a.over)}
    return say("ripe.sets_fast_noted" if a.noted else "ripe.sets_fast_stated", **told)


def _leave(a: LeaveAdvice, say: Say) -> str:
    if a.verdict == "take":
        sure, _, even = (say.weight(kg) for kg in a.spare_kg)
        if a.not_before is None:
            return say("leave.spare", sure=sure, even=even)
        return say("leave.spare_in_cold", date=say.day(a.not_before), sure=sure, even=even)
    if a.verdict == "short":
        return say("leave.short", kg=say.weights(a.short_kg[0], a.short_kg[2]))
    return say(f"leave.{a.verdict}")


def _leave_rule(a: LeaveAdvice, say: Say) -> str:
    half, most, nine = (say.weight(kg) for kg in a.leave_kg)
    frames = say("leave.frames", n=round(a.frames), kind=say(f"boxes.{a.box_kind}"))
    told = {"nine": nine, "frames": frames, "most": most, "half": half} | _lean(a, say)
    doubt = ""
    if a.much_doubt:
        doubt = say("leave.doubt", kg=say.weight(a.doubt_kg))
    rule = say(f"leave.rule{_lean_key(a)}", **told)
    named = a.to is not None and a.reached  # else there is no flow to speak of
    floor = say("leave.floor" if named else "leave.floor_no_flow", kg=say.weight(a.floor_kg))
    return _joined(rule, doubt, floor)


def _lean_key(a: LeaveAdvice) -> str:
    """Which lean time the stores are to last through."""
    if a.to is None:
        return ""
    begins = "" if a.from_ is None else "_flow"
    return f"{begins}_to_flow" if a.reached else f"{begins}_seen"


def _lean(a: LeaveAdvice, say: Say) -> dict[str, str]:
    """From when to when it is to last."""
    first = {} if a.from_ is None else {"first": say.day(a.from_)}
    return {} if a.to is None else {"to": say.full_day(a.to)} | first


def _stores(a: StoresAdvice, say: Say) -> str:
    if a.needs:
        stores = say("feed.stores_guessed", kg=say.weights(a.stores_kg[0], a.stores_kg[2]))
    else:
        stores = say("feed.stores", kg=_sure(a.stores_kg, say))
    told = {"stores": stores, "risk": _risk(a, say)}
    if a.verdict == "unknown" or a.feed_kg is None:
        return say("feed.unknown" if a.verdict == "unknown" else "feed.none", **told)
    told |= {"food": say(f"foods.{a.food}"), "by": _by(a.when, say)}
    told |= {"kg": say.weights(a.feed_kg[0], a.feed_kg[2]), "sugar": say.weight(a.sugar_kg)}
    return say("feed.supers_off_first" if a.verdict == "supers off first" else "feed.give", **told)


def _risk(a: StoresAdvice, say: Say) -> str:
    """What becomes of the stores if nothing is fed."""
    floor = say.weight(a.floor_kg)
    if a.stores_kg[1] < a.floor_kg and not a.needs:
        risk = say("feed.below_floor", floor=floor)
    else:
        risk = say("feed.may_fall", floor=floor, chance=say.chance(float(a.low.iloc[-1])))
    if not a.peak or a.starve_chance < 0.05:
        return risk
    first, last = (say.day(date) for date in a.peak)
    chance = say.chance(a.starve_chance)
    return say("feed.may_run_out", risk=risk, chance=chance, first=first, last=last)


def _feed_rule(a: StoresAdvice, say: Say) -> str:
    if a.feed_kg is None:
        return ""
    key = "feed.rule_winter" if set(a.reasons) & set(FOR_WINTER) else "feed.rule_weeks"
    syrup_ends = a.finish_by and a.food != "fondant"
    finish = say("feed.finish", date=say.day(a.finish_by)) if syrup_ends else ""
    return _joined(say(key, kg=say.weight(a.portion_kg)), finish)


def _start(a: StartAdvice, say: Say) -> str:
    return _joined(
        say(f"newcomers.{a.kind}", date=say.full_day(a.installed)),
        say("newcomers.look", by=_by(a.when, say)) if a.when else "",
        say(
            "newcomers.filled",
            brood=_filled(a.brood_box, say),
            super=_filled(a.super_box, say),
            until=say.full_day(a.until),
        ),
        say(f"newcomers.{a.verdict}"),
    )


def _filled(f: Filled, say: Say) -> str:
    if f.when is None:
        return say.chance(0.0)
    low, middle, high = f.when
    told = {"chance": say.chance(f.chance), "date": say.day(middle), "span": say.span(low, high)}
    return say("newcomers.chance_about", **told)


def _after(a: AfterAdvice, say: Say) -> str:
    if a.verdict in ("no winter", "unknown"):
        return say(f"after.{a.verdict}")
    low, middle, high = a.bees.start
    reared = {"date": say.day(middle), "span": say.span(low, high)}
    if a.verdict == "past":
        return say("after.past", **reared)
    return _joined(
        _supers_off(a, say),
        say("after.reared", **reared),
        say("after.goes_on", chance=say.chance(a.goes_on)) if 0.1 <= a.goes_on < 0.5 else "",
        _warmest(a, say),
    )


def _supers_off(a: AfterAdvice, say: Say) -> str:
    until = say.day(a.until)
    if a.verdict == "now":
        return say("after.now", by=_by(a.when, say), until=until)
    if a.goes_on >= 0.5:
        latest, chance = _by(a.when, say), say.chance(a.goes_on)
        return say("after.before_its_end", latest=latest, chance=chance, until=until)
    if a.when.date is not None and a.when.date > a.latest:
        told = {"span": say.span(a.when.first, a.when.last), "latest": say.day(a.latest)}
        return say("after.later_unfit", **told, by=_by(a.when, say), until=until)
    by = _by_between(a.when, say)
    return say("after.later", by=by, latest=say.day(a.latest), until=until)


def _warmest(a: AfterAdvice, say: Say) -> str:
    if a.high_c is None or any(math.isnan(v) for v in a.high_c):
        return ""
    return say("after.warmest", temps=say.temps(a.high_c[0], a.high_c[2]))


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

MOVED = {"add": "tasks.add", "take off": "tasks.take_off"}


def task(advice: Advice, say: Say) -> str | None:
    """The advice as a line of a calendar; None where there is nothing to do."""
    if isinstance(advice, SuperAdvice) and ONLY_IN_FLOW in advice.reasons:
        return say("tasks.add_if", n=advice.count, kind=say(f"boxes.{advice.box_kind}"))
    if isinstance(advice, SuperAdvice) and advice.verdict in MOVED:
        return say(MOVED[advice.verdict], n=advice.count, kind=say(f"boxes.{advice.box_kind}"))
    if isinstance(advice, SplitAdvice) and advice.verdict in ("split", "wait"):
        return say("tasks.split", queen=say(f"task_queens.{advice.kind}"))
    if isinstance(advice, SwarmWatch) and advice.verdict == "cells: act now":
        return say("tasks.cells")
    if isinstance(advice, SwarmWatch) and advice.verdict == "look":
        return say("tasks.look", n=advice.every_d)
    if isinstance(advice, StoresAdvice) and advice.feed_kg is not None:
        off = advice.verdict == "supers off first"
        return say(
            "tasks.supers_off_feed" if off else "tasks.feed", food=say(f"foods.{advice.food}")
        )
    if isinstance(advice, RipeAdvice):
        return say("tasks.ripe")
    if isinstance(advice, StartAdvice):
        return say("tasks.first_look")
    if isinstance(advice, AfterAdvice):
        over = advice.verdict != "now" and advice.goes_on < 0.5  # else they come off before its end
        return say("tasks.supers_off_after" if over else "tasks.supers_off")
    if isinstance(advice, SetsFast):
        return say("tasks.sets_fast", plant=advice.plant)
    return None
