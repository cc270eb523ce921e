"""Beetles in words: the same sentences on screen and page, local biosecurity rules first."""

from __future__ import annotations

import math
import re
from itertools import groupby

import pandas as pd

from flowcast.beetle import BeetleOutlook, Reading
from flowcast.flow.outlook import chance_word
from flowcast.messages import Say
from flowcast.report.words import soon_to
from flowcast.results import YardBeetles
from flowcast.weather import LAST_WEEKS

WHAT_TO_DO = ("strong", "splits", "traps", "clear", "feed", "alarm")
JUDGED = ("ordinary", "high", "unusual")  # only these are told what strong colonies show


def headline(found: YardBeetles) -> str:
    """Whose beetles, and of when."""
    record, say = found.record, found.record.yard.say
    return say("beetles.headline", yard=record.yard.name, date=say.full_day(record.issue_date))


def answer(found: YardBeetles) -> str:
    """The beetles in one sentence."""
    alarms, say = _alarms(found), found.record.yard.say
    if alarms:
        named = (say("beetles.hive_on", hive=c.hive, date=say.day(c.date)) for c in alarms)
        absent = "_where_absent" if found.presence.kept_out else ""
        return say(f"beetles.larvae_seen{absent}", hives=say.listed(named))
    if found.presence.kept_out:
        return _kept_out(found)
    if not found.presence.lives_here:
        return _ask(found)
    return _spell(found.outlook, say)


def alarm(found: YardBeetles) -> str:
    """The answer where larvae were seen lately; empty where they were not."""
    return answer(found) if _alarms(found) else ""


def sentences(found: YardBeetles) -> list[str]:
    """What stands behind the answer, from the alarm to what is expected."""
    say = found.record.yard.say
    told = ("beetles.larvae_or_moth", "beetles.larvae_act") if _alarms(found) else ()
    alarm = [say(key) for key in told]
    if found.presence.kept_out:
        lines = [*alarm[:1], *_contradicted(found), *_counted_where_absent(found)]
        lines += [] if alarm else [_look_for(say)]
        return [*lines, say("beetles.report_at_once")]
    if not found.presence.lives_here:
        asked = [_suitability(found.outlook, say), _look_for(say), say("beetles.if_unknown_here")]
        return [*alarm, *asked]
    return [
        *alarm,
        *_contradicted(found),
        *_dry_yard(found),
        _against_usual(found),
        _standing(found),
        _cohort(found.outlook, say),
        _generations(found.outlook, say),
    ]


def _look_for(say: Say) -> str:
    return say("beetles.look_for", or_moth=say("beetles.larvae_or_moth"))


def advice(found: YardBeetles) -> list[str]:
    """What to do, in general terms; empty unless the beetle lives here by the keeper's word."""
    if not found.presence.lives_here:
        return []
    return [found.record.yard.say(f"beetle_work.{key}") for key in WHAT_TO_DO]


def rests_on(found: YardBeetles) -> list[str]:
    """What is known and what is ours, the soil, and the hint from the map."""
    presence, say = found.presence, found.record.yard.say
    lines = []
    if not presence.kept_out:
        trials = {"kills": say.temp(39), "grows": say.temps(10, 13)}
        lines += [say("beetle_basis.known", **trials), say("beetle_basis.ours")]
    if found.outlook is not None:
        lines.append(_draws(found))
        lines += _ahead_from(found)
    if presence.area:
        told = {"hint": _hint(presence.hint, say), "source": _source(presence.source)}
        lines.append(say("beetle_basis.hint", area=_area(found), **told))
    return lines


def _draws(found: YardBeetles) -> str:
    soil, say = found.record.yard.settings.beetle.soil, found.record.yard.say
    named = say("beetle_basis.soil", soil=say(f"soils.{soil}")) if soil else ""
    soil = named or say("beetle_basis.soil_not_stated")
    ground, n = say(f"beetle_basis.ground_{_ground(found)}"), str(len(found.outlook.traits))
    return say("beetle_basis.draws", n=n, soil=soil, ground=ground)


def _source(text: str) -> str:
    """Where a hint is from, without the marks that are for the makers."""
    return re.sub(r"[;,]? ?\b(READ|MEMORY)\b", "", text).strip()


def _ahead_from(found: YardBeetles) -> list[str]:
    if found.outlook.weather != {LAST_WEEKS}:
        return []
    return [found.record.yard.say("beetle_basis.no_past_year")]


def week_rows(found: YardBeetles) -> list[tuple[str, ...]]:
    """The weeks ahead as cells, the head first."""
    outlook, say = found.outlook, found.record.yard.say
    edge = say.number(100 * found.record.yard.numbers["beetle.high_from"])
    head = (say("beetle_weeks.week"), say("beetle_weeks.high", edge=edge))
    rows = [(*head, say("beetle_weeks.usual"), say("beetle_weeks.between"))]
    for first, week in outlook.weekly.iterrows():
        usual = week["usual_high"]
        rows.append(
            (
                say.span(first, first + pd.Timedelta(days=6)),
                say.chance(week["p_high"]),
                say("numbers.not_known") if math.isnan(usual) else say.chance(usual),
                say.either(say.number(100 * week["q10"]), say.number(100 * week["q90"])),
            )
        )
    return rows


def tray_rows(found: YardBeetles) -> list[tuple[str, ...]]:
    """The counts from the newest on as cells, the head first; hives that were read together and mean
    the same share a row."""
    say, newest = found.record.yard.say, reversed(found.readings)
    rows = [tuple(say(f"trays.{head}") for head in ("read", "beetles", "means"))]
    for (date, means), alike in groupby(newest, key=lambda r: (r.count.date, _means(r, found))):
        counted = say.listed(_counted(r.count, say) for r in alike)
        rows.append((say.full_day(date), counted, means))
    return rows


def _counted(count, say: Say) -> str:
    beetles = say.number(count.beetles)
    return say("trays.counted", hive=count.hive, beetles=beetles, n=round(count.days))


def _means(reading: Reading, found: YardBeetles) -> str:
    """The verdict, and what strong colonies show."""
    said, say = verdict(reading, found), found.record.yard.say
    if not found.presence.lives_here or reading.verdict not in JUDGED:
        return said
    low, _, high = (say.number(value) for value in reading.expected)
    return f"{said} {say('trays.strong_show', low=low, high=high)}"


def verdict(reading: Reading, found: YardBeetles) -> str:
    """What a count means, in a sentence or two; shorter when the next look was due before now."""
    say, count = found.record.yard.say, reading.count
    period = pd.Timedelta(days=found.record.yard.numbers["beetle.period_d"])
    judged = found.presence.lives_here or reading.verdict == "larvae"
    key = reading.verdict if judged else "not_known_here"
    due = count.date + period
    if due <= found.record.issue_date:
        month = say.month_name(due - pd.Timedelta(days=14))
        return say(f"trays_then.{key}", month=month, date=say.day(due))
    return say(f"trays.{key}", amiss=_amiss(reading, found), n=round(count.days))


def _amiss(reading: Reading, found: YardBeetles) -> str:
    say = found.record.yard.say
    least = say.short(found.record.yard.numbers["beetle.frames_least"])
    return say.listed(say(f"amiss.{why}", least=least) for why in reading.why)


def _kept_out(found: YardBeetles) -> str:
    say = found.record.yard.say
    if found.presence.stated is False:
        return say("beetles.not_here_by_word")
    return say("beetles.not_here_by_list", area=_area(found))


def _ask(found: YardBeetles) -> str:
    hint, say = found.presence.hint, found.record.yard.say
    if hint not in ("established", "in places"):
        return say("beetles.ask")
    return say("beetles.ask_with_hint", hint=_hint(hint, say), area=_area(found))


def _area(found: YardBeetles) -> str:
    return found.record.yard.say(f"areas.{found.presence.area}")


def _hint(hint: str, say: Say) -> str:
    return say(f"presence.{hint}")


def _spell(outlook: BeetleOutlook, say: Say) -> str:
    spell = outlook.spell
    open_now, is_open = chance_word(spell.open_chance), say.chance(spell.open_chance)
    if open_now == "likely":
        return _until(outlook, is_open, say)
    told = {"chance": say.chance(spell.chance), "n": outlook.days_ahead}
    if open_now == "even":
        return say("breeding.perhaps_on", open=is_open, **told)
    if spell.chance < 0.05 or spell.start is None:
        return say("breeding.none", **told)
    return say("breeding.not_yet", **told, when=_span(spell.start, say))


def _until(outlook: BeetleOutlook, is_open: str, say: Say) -> str:
    low, middle, high = outlook.spell.end
    if middle is None:
        return say("breeding.on_beyond", open=is_open, last=say.day(outlook.course.index[-1]))
    return say("breeding.on", open=is_open, end=say.day(middle), between=soon_to(low, high, say))


def _against_usual(found: YardBeetles) -> str:
    outlook, say = found.outlook, found.record.yard.say
    now = outlook.course.loc[: outlook.issue_date - pd.Timedelta(days=1)].iloc[-1]
    middle, low, high = (100 * now[f"pressure_q{q}"] for q in (50, 10, 90))
    edge = say.number(100 * found.record.yard.numbers["beetle.high_from"])
    told = {"middle": say.number(middle), "low": say.number(low), "high": say.number(high)}
    told |= {"edge": edge}
    if math.isnan(now["usual"]):
        return say("breeding.now", **told)
    usual, least, most = (100 * now[name] for name in ("usual", "usual_q10", "usual_q90"))
    often = "breeding.usual_of_8" if outlook.years >= 8 else "breeding.usual_of_most"
    told["usual"] = say(often, low=say.number(least), high=say.number(most), n=outlook.years)
    way = "above" if middle > most else "below" if middle < least else "usual"
    return say(f"breeding.now_{way}", **told, mean=say.number(usual))


def _standing(found: YardBeetles) -> str:
    (trap, expected), say = found.expected, found.record.yard.say
    low, middle, high = (say.number(value) for value in expected)
    return say("breeding.standing", middle=middle, trap=say(f"traps.{trap}"), low=low, high=high)


def _cohort(outlook: BeetleOutlook, say: Say) -> str:
    """What becomes of larvae that leave the hives now, and of those that left before."""
    cohort = outlook.cohort
    if cohort.chance >= 0.5:
        when, share = _span(cohort.emerges, say), say.number(cohort.of_hundred)
        return say("breeding.larvae_now", when=when, of_hundred=share)
    key = "breeding.larvae_die" if cohort.dies >= 0.5 else "breeding.larvae_later"
    others = _others(outlook, say)
    return " ".join(filter(None, (say(key, n=outlook.days_ahead), others)))


def _others(outlook: BeetleOutlook, say: Say) -> str:
    if outlook.emerging >= 0.5:
        return say("breeding.leaving_now")
    later = outlook.next_emergence
    return say("breeding.leaving_next", when=_span(later, say)) if later else ""


def _span(dates, say: Say) -> str:
    low, middle, high = dates
    if low == high:
        return say.day(middle)
    return say("breeding.when", date=say.day(middle), span=say.span(low, high))


def _generations(outlook: BeetleOutlook, say: Say) -> str:
    g = outlook.generations
    told = {"generations": _many(g.so_far, say), "date": say.day(g.season_from)}
    if math.isnan(g.season[1]):
        return say("breeding.so_far", **told)
    past_6 = "_past_6" if g.season[1] > 6 else ""
    told |= {"season": _number(g.season, say), "usual": _number(g.usual, say)}
    return say(f"breeding.so_far_and_season{past_6}", **told)


def _dry_yard(found: YardBeetles) -> list[str]:
    """Said first where the weather looks safe; a keeper who has said it is not asked again."""
    irrigated = found.record.yard.settings.beetle.irrigated
    if irrigated or found.outlook.spell.chance > 1 / 3:
        return []
    key = "beetles.dry_yard" if irrigated is False else "beetles.dry_yard_ask"
    return [found.record.yard.say(key)]


def _many(three: tuple[float, ...], say: Say) -> str:
    return say("breeding.generations", figure=_number(three, say), n=round(three[2]))


def _number(three: tuple[float, ...], say: Say) -> str:
    low, middle, high = (say.number(value) for value in three)
    return middle if low == high else say("breeding.three", middle=middle, low=low, high=high)


def _suitability(outlook: BeetleOutlook, say: Say) -> str:
    """What the climate would let the beetle do, without a word on whether it is here."""
    g = outlook.generations
    if math.isnan(g.usual[1]) or outlook.course["usual"].isna().all():
        return say("breeding.climate_unknown")
    generations = _many(g.usual, say)
    if not outlook.breeding_season:
        return say("breeding.climate_hardly", generations=generations)
    first, last = outlook.breeding_season
    if (last - first).days >= 360:
        return say("breeding.climate_all_year", generations=generations)
    span = {"first": say.day(first), "last": say.day(last)}
    return say("breeding.climate_season", **span, generations=generations)


def _ground(found: YardBeetles) -> str:
    """What of the soil is given with the weather."""
    given = found.record.columns
    names = {"soil_temp_c": "temp_given", "soil_moisture_m3m3": "water_given"}
    told = [w for n, w in names.items() if n in given.index and given.loc[n, "given"] > 0.5]
    if len(told) == 2:
        return "given"
    return told[0] if told else "reckoned"


def _alarms(found: YardBeetles) -> list:
    """The newest count of each hive, where it is recent and has larvae."""
    newest = {count.hive: count for count in found.counts}
    days = pd.Timedelta(days=found.record.yard.numbers["beetle.alarm_d"])
    since = found.record.issue_date - days
    return [count for count in newest.values() if count.larvae and count.date >= since]


def _counted_where_absent(found: YardBeetles) -> list[str]:
    seen, say = [c for c in found.counts if c.beetles > 0 or c.larvae], found.record.yard.say
    if not seen:
        return []
    last = {"hive": seen[-1].hive, "date": say.full_day(seen[-1].date)}
    return [say("beetles.counted_where_absent", **last)]


def _contradicted(found: YardBeetles) -> list[str]:
    """Where the keeper's word and the list disagree."""
    presence, say = found.presence, found.record.yard.say
    if presence.lives_here and presence.hint == "not known":
        report = say("beetles.report_at_once")
        return [say("beetles.said_but_not_listed", area=_area(found), report=report)]
    if presence.stated is False and presence.hint in ("established", "in places"):
        told = {"hint": _hint(presence.hint, say), "area": _area(found)}
        return [say("beetles.listed_but_not_said", **told)]
    return []
