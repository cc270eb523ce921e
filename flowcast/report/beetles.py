"""Beetles in words: the same sentences on screen and page, local biosecurity rules first."""

from __future__ import annotations

import math
import re
from itertools import groupby

import pandas as pd

from flowcast.beetle import BeetleOutlook, Reading
from flowcast.flow.outlook import chance_word
from flowcast.report import units, words
from flowcast.results import YardBeetles
from flowcast.weather import LAST_WEEKS

RULES_FIRST = (
    "Local biosecurity rules come first: in many places the small hive beetle must be reported, and "
    "moving hives, comb or honey-house waste is restricted. Ask the authority before acting."
)
LARVAE_OR_MOTH = (
    "Beetle larvae are cream-coloured, with spines along the back and legs only near the head, and spin no "
    "web; wax moth larvae web the comb."
)
LOOK_FOR = (
    "Look for small dark beetles, about a third of a bee's length, that run from the light under the lid "
    "and into corners; for larvae; and for combs that look wet and smell of fermenting. "
    f"{LARVAE_OR_MOTH}"
)
REPORT_AT_ONCE = (
    "Report any suspected beetle at once; do not move hives. Keep a beetle or larva in a closed "
    "jar in the freezer for whoever identifies it."
)
LARVAE_ACT = (
    "Where larvae or slime are: take the slimed combs out and freeze or melt them, never extract them; "
    "close the space to what the bees cover; put a colony that has given up out of reach of others."
)
WHAT_TO_DO = (
    "Keep colonies strong and with a laying queen; give no more boxes than the bees cover, since "
    "uncovered comb is where beetles lay.",
    "Splits and nuclei are the most exposed: make them strong, close their space to what they cover, "
    "look at them weekly in high breeding weather, and put off late weak ones.",
    "Beetle traps of any kind help with adults; nothing need be done about a few beetles in a strong colony.",
    "Clear dead hives at once. Take honey in good time, extract within 1 to 3 days, keep the honey "
    "house clean, store combs dry or cold.",
    "Feed small amounts and no patties while breeding weather is high.",
    "Larvae, slime or a fermenting smell is the alarm, whatever the count.",
)
KNOWN_AND_OURS = (
    "Known from trials: warmth speeds the beetle and 39 °C kills it, no stage grows below 10 to 13 °C, "
    "dry soil lets none emerge, dry air spoils eggs, and small colonies fail at loads that large "
    "ones bear.",
    "Our assumption: how these work together, where low, moderate and high begin, how fast the ground "
    "dries, how far beetles fly at dusk, and all figures for counts in trays; none of these has been tested "
    "on real counts.",
)
DRY_YARD = (
    "A dry yard is not a safe one: beetles fly in, larvae walk far to damp ground, and watered ground "
    "breeds them."
)
IF_WATERED = " Say under [beetle] in yard.toml whether the ground near the hives is watered: irrigated = true or false."
IF_UNKNOWN_HERE = "If beetles are not known in your district, report any suspected one at once and do not move hives."


def headline(found: YardBeetles) -> str:
    """Whose beetles, and of when."""
    record = found.record
    return f"{record.yard.name}: beetles, {words.full_day(record.issue_date)}"


def answer(found: YardBeetles) -> str:
    """The beetles in one sentence."""
    alarms = _alarms(found)
    if alarms:
        named = ", ".join(f"{c.hive} ({words.day(c.date)})" for c in alarms)
        what = "act now, whatever the counts"
        if found.presence.kept_out:
            what = "if they are the small hive beetle's, report them at once; do not move hives"
        return f"Beetle larvae were seen in {named}: {what}."
    if found.presence.kept_out:
        return _kept_out(found)
    if not found.presence.lives_here:
        return _ask(found)
    return _spell(found.outlook)


def alarm(found: YardBeetles) -> str:
    """The answer where larvae were seen lately; empty where they were not."""
    return answer(found) if _alarms(found) else ""


def sentences(found: YardBeetles) -> list[str]:
    """What stands behind the answer, from the alarm to what is expected."""
    alarm = [LARVAE_OR_MOTH, LARVAE_ACT] if _alarms(found) else []
    if found.presence.kept_out:
        lines = [*alarm[:1], *_contradicted(found), *_counted_where_absent(found)]
        return [*lines, *([] if alarm else [LOOK_FOR]), REPORT_AT_ONCE]
    if not found.presence.lives_here:
        return [*alarm, _suitability(found.outlook), LOOK_FOR, IF_UNKNOWN_HERE]
    return [
        *alarm,
        *_contradicted(found),
        *_dry_yard(found),
        _against_usual(found),
        _standing(found),
        _cohort(found.outlook),
        _generations(found.outlook),
    ]


def advice(found: YardBeetles) -> list[str]:
    """What to do, in general terms; empty unless the beetle lives here by the keeper's word."""
    return list(WHAT_TO_DO) if found.presence.lives_here else []


def rests_on(found: YardBeetles) -> list[str]:
    """What is known and what is ours, the soil, and the hint from the map."""
    presence, beetle = found.presence, found.record.yard.settings.beetle
    lines = [] if found.presence.kept_out else list(KNOWN_AND_OURS)
    if found.outlook is not None:
        soil = f"soil {beetle.soil}" if beetle.soil else "soil not stated, so all kinds are drawn"
        runs = f"{len(found.outlook.traits)} draws of what is not known of the beetle; {soil}"
        lines.append(f"{runs}; {_ground(found)}.")
        lines += _ahead_from(found)
    if presence.area:
        lines.append(
            f"By our list, which ages and proves nothing, the beetle is {_hint(presence.hint)} in "
            f"{presence.area} ({_source(presence.source)}). The national veterinary authority knows better."
        )
    return [units.told(line, units.of(found.record.yard)) for line in lines]


def _source(text: str) -> str:
    """Where a hint is from, without the marks that are for the makers."""
    return re.sub(r"[;,]? ?\b(READ|MEMORY)\b", "", text).strip()


def _ahead_from(found: YardBeetles) -> list[str]:
    if found.outlook.weather != {LAST_WEEKS}:
        return []
    return ["No past year of weather is there: the last weeks stand for the days ahead."]


def week_rows(found: YardBeetles) -> list[tuple[str, ...]]:
    """The weeks ahead as cells, the head first."""
    outlook = found.outlook
    high = 100 * found.record.yard.numbers["beetle.high_from"]
    rows = [
        ("week", f"high (from {high:.0f})", "usually", "breeding weather of 100, 8 times in 10")
    ]
    for first, week in outlook.weekly.iterrows():
        last = first + pd.Timedelta(days=6)
        usual = week["usual_high"]
        rows.append(
            (
                words.from_to(first, last),
                words.chance(week["p_high"]),
                "not known" if math.isnan(usual) else words.chance(usual),
                f"{100 * week['q10']:.0f} to {100 * week['q90']:.0f}",
            )
        )
    return rows


JUDGED = ("ordinary", "high", "unusual")  # only these are told what strong colonies show


def tray_rows(found: YardBeetles) -> list[tuple[str, ...]]:
    """The counts from the newest on as cells, the head first; hives that were read together and mean
    the same share a row."""
    newest = reversed(found.readings)
    rows = [("tray read", "beetles", "what it means")]
    for (date, means), alike in groupby(newest, key=lambda r: (r.count.date, _means(r, found))):
        counted = ", ".join(
            f"{r.count.hive} {r.count.beetles:.0f} in {r.count.days:.0f} days" for r in alike
        )
        rows.append((words.full_day(date), counted, means))
    return rows


def _means(reading: Reading, found: YardBeetles) -> str:
    """The verdict, and what strong colonies show."""
    said = verdict(reading, found)
    if not found.presence.lives_here or reading.verdict not in JUDGED:
        return said
    low, _, high = reading.expected
    return f"{said} Strong colonies here: {low:.0f} to {high:.0f} in 14 days, 8 in 10."


def verdict(reading: Reading, found: YardBeetles) -> str:
    """What a count means, in a sentence or two; shorter when the next look was due before now."""
    known = found.presence.lives_here
    due = reading.count.date + pd.Timedelta(days=found.record.yard.numbers["beetle.period_d"])
    if due <= found.record.issue_date:
        return _verdict_then(reading, known, due)
    if reading.verdict == "larvae":
        return f"Larvae: act now, whatever the count. {LARVAE_OR_MOTH}"
    if not known:
        return "Not judged: say in yard.toml whether beetles are established here."
    return {
        "colony": f"No comfort from the number: {_amiss(reading, found)}. {CHECK}",
        "period": f"Lay {reading.count.days:.0f} days, which cannot be compared; read the beetle tray after 14.",
        "no weather": NO_WEATHER,
        "ordinary": "Ordinary for a strong colony this month, look again in 14 days.",
        "high": "High for the season. Look now for larvae and slime, and again in 7 days.",
        "unusual": "Unusual for the season. Look now for larvae and slime, check queen and space, and "
        "look again in a few days.",
    }[reading.verdict]


def _verdict_then(reading: Reading, known: bool, due: pd.Timestamp) -> str:
    if reading.verdict == "larvae":
        return "Larvae were seen."
    if not known:
        return "Not judged."
    return {
        "colony": "No comfort from the number: the colony was weak, unsettled or not known.",
        "period": "Lay too short or too long to compare.",
        "no weather": NO_WEATHER,
        "ordinary": f"Was ordinary for a strong colony in {due - pd.Timedelta(days=14):%B}; the next look "
        f"was due {words.day(due)}.",
        "high": "Was high for the season.",
        "unusual": "Was unusual for the season.",
    }[reading.verdict]


NO_WEATHER = (
    "Not judged: half a year of weather must stand behind a count, and all the days the trap lay."
)
AMISS = {
    "nucleus": "it is a nucleus",
    "frames not known": "frames of bees at the count are not written down",
    "few frames": "bees on fewer than {least:g} frames",
    "queenless": "no laying queen",
    "queen not known": "a laying queen is not written down",
    "swarmed": "it swarmed not long before or since",
    "split": "it was split not long before or since",
    "new": "it was hived or came not long before",
}


CHECK = (
    "Look for eggs, for larvae and slime in corners and on the floor, and close the space to what "
    "the bees cover; look again in 7 days."
)


def _amiss(reading: Reading, found: YardBeetles) -> str:
    least = found.record.yard.numbers["beetle.frames_least"]
    return ", ".join(AMISS[why].format(least=least) for why in reading.why)


def _kept_out(found: YardBeetles) -> str:
    if found.presence.stated is False:
        return "By your word small hive beetles do not live here, so no beetle season is shown."
    return f"Small hive beetles are not known to be established in {found.presence.area}, so no beetle season is shown."


def _ask(found: YardBeetles) -> str:
    hint = found.presence.hint
    known = (
        f" By our list the beetle is {_hint(hint)} in {found.presence.area}."
        if hint in ("established", "in places")
        else ""
    )
    return (
        "Do small hive beetles live here? Ask the authority or keepers near you, and write present = "
        f"true or false under [beetle] in yard.toml.{known}"
    )


def _hint(hint: str) -> str:
    return {
        "established": "established",
        "in places": "established in places",
        "not known": "not known to be established",
        "unsure": "not spoken of",
    }[hint]


def _spell(outlook: BeetleOutlook) -> str:
    spell, days = outlook.spell, outlook.days_ahead
    open_now = chance_word(spell.open_chance)
    if open_now == "likely":
        return (
            f"Beetle breeding weather is high ({words.chance(spell.open_chance)}){_until(outlook)}."
        )
    if open_now == "even":
        return (
            f"Beetle breeding weather may be high already ({words.chance(spell.open_chance)}); the chance "
            f"that it is within {days} days is {words.chance(spell.chance)}."
        )
    if spell.chance < 0.05 or spell.start is None:
        return f"No high beetle breeding weather in sight: {words.chance(spell.chance)} for the next {days} days."
    return (
        f"Beetle breeding weather is not high yet; the chance that it will be within {days} days is "
        f"{words.chance(spell.chance)}, if so from about {_span(spell.start)} on."
    )


def _until(outlook: BeetleOutlook) -> str:
    low, middle, high = outlook.spell.end
    if middle is None:
        return f" and will likely stay so beyond {words.day(outlook.course.index[-1])}"
    late = f"to {words.day(high)}" if high is not None else "to later than can be seen"
    early = words.day(low) if low is not None else "soon"
    return f" and will likely end about {words.day(middle)} ({early} {late}, 8 in 10)"


def _against_usual(found: YardBeetles) -> str:
    outlook = found.outlook
    now = outlook.course.loc[: outlook.issue_date - pd.Timedelta(days=1)].iloc[-1]
    middle, low, high = (100 * now[f"pressure_q{q}"] for q in (50, 10, 90))
    edge = 100 * found.record.yard.numbers["beetle.high_from"]
    text = f"Breeding weather stands at {middle:.0f} of 100 ({low:.0f} to {high:.0f}, 8 in 10; high from {edge:.0f})"
    if math.isnan(now["usual"]):
        return f"{text}; what is usual needs a whole past year of weather."
    usual, least, most = (100 * now[name] for name in ("usual", "usual_q10", "usual_q90"))
    often = "8 years of 10" if outlook.years >= 8 else f"most of the {outlook.years} years known"
    ranged = f"{least:.0f} to {most:.0f} in {often}"
    if middle > most:
        return f"{text}, more than usual on this date ({ranged})."
    if middle < least:
        return f"{text}, less than usual on this date ({ranged})."
    return f"{text}, within what is usual on this date ({ranged}, {usual:.0f} in the mean)."


def _standing(found: YardBeetles) -> str:
    trap, (low, middle, high) = found.expected
    return (
        "Beetles live for months, so their number lags the weather by one to three months. By our "
        f"assumption a strong colony would show about {middle:.0f} in 14 days now ({trap}; {low:.0f} to "
        f"{high:.0f} in 8 such colonies of 10)."
    )


def _cohort(outlook: BeetleOutlook) -> str:
    """What becomes of larvae that leave the hives now, and of those that left before."""
    cohort = outlook.cohort
    if cohort.chance >= 0.5:
        return (
            f"Larvae that go into the soil now would be beetles about {_span(cohort.emerges)}, about "
            f"{cohort.of_hundred:.0f} of a hundred."
        )
    why = (
        "would mostly die there, in soil too dry, too cold or too hot"
        if cohort.dies >= 0.5
        else f"would hardly be beetles within {outlook.days_ahead} days"
    )
    return f"Larvae that go into the soil now {why}.{_others(outlook)}"


def _others(outlook: BeetleOutlook) -> str:
    if outlook.emerging >= 0.5:
        return " Beetles from larvae of earlier weeks are leaving the soil now."
    later = outlook.next_emergence
    return f" The next beetles leave the soil about {_span(later)}." if later else ""


def _span(dates) -> str:
    low, middle, high = dates
    if low == high:
        return words.day(middle)
    return f"{words.day(middle)} ({words.from_to(low, high)}, 8 in 10)"


def _generations(outlook: BeetleOutlook) -> str:
    g = outlook.generations
    text = f"At the quickest, {_many(g.so_far)} could have left the soil since {words.day(g.season_from)}"
    if math.isnan(g.season[1]):
        return f"{text}."
    text += f", {_number(g.season)} by the season's end, usually {_number(g.usual)}"
    return f"{text}; published counts end at 6." if g.season[1] > 6 else f"{text}."


def _dry_yard(found: YardBeetles) -> list[str]:
    """Said first where the weather looks safe; a keeper who has said it is not asked again."""
    irrigated = found.record.yard.settings.beetle.irrigated
    if irrigated or found.outlook.spell.chance > 1 / 3:
        return []
    return [DRY_YARD + ("" if irrigated is False else IF_WATERED)]


def _many(three: tuple[float, ...]) -> str:
    text = _number(three)
    return f"{text} generation{'' if text == '1' else 's'}"


def _number(three: tuple[float, ...]) -> str:
    low, middle, high = (f"{v:.0f}" for v in three)
    return middle if low == high else f"{middle} ({low} to {high})"


def _suitability(outlook: BeetleOutlook) -> str:
    """What the climate would let the beetle do, without a word on whether it is here."""
    g = outlook.generations
    if math.isnan(g.usual[1]) or outlook.course["usual"].isna().all():
        return "What the climate would let beetles do needs a whole past year of weather."
    when = "hardly at any time"
    if outlook.breeding_season:
        first, last = outlook.breeding_season
        whole = (last - first).days >= 360
        when = "all year" if whole else f"from about {words.day(first)} to {words.day(last)}"
    return (
        f"The climate here would let small hive beetles breed {when} in the usual year, with "
        f"{_many(g.usual)}, if they lived here; that says nothing of whether they do."
    )


def _ground(found: YardBeetles) -> str:
    given = found.record.columns
    names = {"soil_temp_c": "temperature of the soil", "soil_moisture_m3m3": "water of the soil"}
    told = [w for n, w in names.items() if n in given.index and given.loc[n, "given"] > 0.5]
    if len(told) == 2:
        return "temperature and water of the soil as given with the weather"
    if told:
        return f"{told[0]} as given with the weather, the rest reckoned from air, sun and rain"
    return "temperature and water of the soil reckoned from air, sun and rain"


def _alarms(found: YardBeetles) -> list:
    """The newest count of each hive, where it is recent and has larvae."""
    newest = {count.hive: count for count in found.counts}
    days = pd.Timedelta(days=found.record.yard.numbers["beetle.alarm_d"])
    since = found.record.issue_date - days
    return [count for count in newest.values() if count.larvae and count.date >= since]


def _counted_where_absent(found: YardBeetles) -> list[str]:
    seen = [c for c in found.counts if c.beetles > 0 or c.larvae]
    if not seen:
        return []
    return [
        f"beetles.csv holds beetles ({seen[-1].hive}, {words.full_day(seen[-1].date)}) where none are known to "
        "live: if they were small hive beetles, report them at once."
    ]


def _contradicted(found: YardBeetles) -> list[str]:
    """Where the keeper's word and the list disagree."""
    presence = found.presence
    if presence.lives_here and presence.hint == "not known":
        return [
            f"You say beetles live here; by our list they are not known to be established in "
            f"{presence.area}. {REPORT_AT_ONCE}"
        ]
    if presence.stated is False and presence.hint in ("established", "in places"):
        return [
            f"You say no beetles live here; by our list they are {_hint(presence.hint)} in "
            f"{presence.area}. Look again."
        ]
    return []
