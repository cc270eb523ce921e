"""Beetles in words: the same sentences on screen and page, local biosecurity rules first."""

from __future__ import annotations

import math
from itertools import groupby

import pandas as pd

from flowcast.beetle import BeetleOutlook, Reading
from flowcast.flow.outlook import chance_word
from flowcast.report import words
from flowcast.results import YardBeetles

RECENT_D = 28  # days for which a count still calls for something
ALARM_D = 60  # days for which larvae lead the answer

RULES_FIRST = (
    "Local biosecurity rules come first: in many places the small hive beetle must be reported, and "
    "moving hives, comb or honey-house waste is restricted. Ask the authority before acting."
)
LOOK_FOR = (
    "Look for small dark beetles, about a third of a bee's length, that run from the light under the lid "
    "and into corners; for cream-coloured larvae with spines along the back and legs only near the head; "
    "for combs that look wet and smell of fermenting."
)
REPORT_AT_ONCE = (
    "Report any suspected beetle at once; do not move hives. Keep a beetle or larva in a closed "
    "jar in the freezer for whoever identifies it."
)
LARVAE_OR_MOTH = (
    "Beetle larvae have spines along the back, legs only near the head, and spin no web; wax "
    "moth larvae web the comb."
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
    "Our assumption: how these work together, where low, moderate and high begin, how far beetles "
    "fly at dusk, and all figures for counts in trays; none of these has been tested on real counts.",
)
IRRIGATION = (
    "A dry yard is not a safe one: beetles fly in, larvae walk far to damp ground, and watered ground "
    "breeds them. If the ground near the hives is watered, write irrigated = true under [beetle]."
)


def headline(found: YardBeetles) -> str:
    """Whose beetles, and of when."""
    record = found.record
    return f"{record.yard.name}: beetles, {words.full_day(record.issue_date)}"


def answer(found: YardBeetles) -> str:
    """The beetles in one sentence."""
    alarms = [r for r in _alarms(found) if _days_ago(found, r.date) <= ALARM_D]
    if found.presence.kept_out:
        return _kept_out(found)
    if alarms:
        named = ", ".join(f"{c.hive} ({words.day(c.date)})" for c in alarms)
        return f"Beetle larvae were seen in {named}: act now, whatever the counts."
    if not found.presence.lives_here:
        return _ask(found)
    return _spell(found.outlook)


def sentences(found: YardBeetles) -> list[str]:
    """What stands behind the answer, from the rules to what is expected."""
    if found.presence.kept_out:
        return [LOOK_FOR, REPORT_AT_ONCE, *_counted_where_absent(found)]
    lines = [_suitability(found.outlook)] if not found.presence.lives_here else []
    if found.presence.lives_here:
        lines = [
            *_against_usual(found.outlook),
            _standing(found),
            _cohort(found.outlook),
            _generations(found.outlook),
            *_contradicted(found),
        ]
    return [line for line in lines if line]


def advice(found: YardBeetles) -> list[str]:
    """What to do, in general terms; empty where the beetle is not known to live."""
    if found.presence.kept_out:
        return []
    ground = [] if found.record.yard.settings.beetle.irrigated else [IRRIGATION]
    return [*WHAT_TO_DO, *ground]


def rests_on(found: YardBeetles) -> list[str]:
    """What is known and what is ours, the soil, and the hint from the map."""
    presence, beetle = found.presence, found.record.yard.settings.beetle
    lines = [] if found.presence.kept_out else list(KNOWN_AND_OURS)
    if found.outlook is not None:
        soil = f"soil {beetle.soil}" if beetle.soil else "soil not stated, so all kinds are drawn"
        runs = f"{len(found.outlook.traits)} draws of what is not known of the beetle; {soil}"
        lines.append(f"{runs}; {_ground(found)}.")
    if presence.area:
        lines.append(
            f"By our list, which ages and proves nothing, the beetle is {_hint(presence.hint)} in "
            f"{presence.area} ({presence.source}). The national veterinary authority knows better."
        )
    return lines


def week_rows(outlook: BeetleOutlook) -> list[tuple[str, ...]]:
    """The weeks ahead as cells, the head first."""
    rows = [("week", "high breeding weather", "usually", "breeding weather of 100, 8 times in 10")]
    for first, week in outlook.weekly.iterrows():
        last = first + pd.Timedelta(days=int(week["days"]) - 1)
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
    if not found.presence.lives_here or reading.expected is None:
        return said
    low, _, high = reading.expected
    return f"{said} Strong colonies here: {low:.0f} to {high:.0f} in 14 days, 8 in 10."


def verdict(reading: Reading, found: YardBeetles) -> str:
    """What a count means, in a sentence or two; shorter when it is past acting on."""
    known = found.presence.lives_here
    if _days_ago(found, reading.count.date) > RECENT_D:
        return _verdict_then(reading, known)
    if reading.verdict == "larvae":
        return f"Larvae: act now, whatever the count. {LARVAE_OR_MOTH}"
    if not known:
        return "Not judged: say in yard.toml whether beetles are established here."
    return {
        "colony": f"No comfort from the number: {_amiss(reading, found)}. {CHECK}",
        "period": f"Lay {reading.count.days:.0f} days, which cannot be compared; read the beetle tray after 14.",
        "no weather": "Not judged: the weather of that time is not there.",
        "ordinary": "Ordinary for a strong colony this month, look again in 14 days.",
        "high": "High for the season. Look now for larvae and slime, and again in 7 days.",
        "unusual": "Unusual for the season. Look now for larvae and slime, check queen and space, and "
        "look again in a few days.",
    }[reading.verdict]


def _verdict_then(reading: Reading, known: bool) -> str:
    if reading.verdict == "larvae":
        return "Larvae were seen."
    if not known:
        return "Not judged."
    return {
        "colony": "No comfort from the number: the colony was weak, unsettled or not known.",
        "period": "Lay too short or too long to compare.",
        "no weather": "Not judged: the weather of that time is not there.",
        "ordinary": "Was ordinary for a strong colony in that month.",
        "high": "Was high for the season.",
        "unusual": "Was unusual for the season.",
    }[reading.verdict]


AMISS = {
    "nucleus": "it is a nucleus",
    "frames not known": "frames of bees at the count are not written down",
    "few frames": "bees on fewer than {least:g} frames",
    "queenless": "no laying queen",
    "queen not known": "a laying queen is not written down",
    "swarmed": "it swarmed not long before",
    "split": "it was split not long before",
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
    spell, days = outlook.spell, 7 * len(outlook.weekly)
    if chance_word(spell.open_chance) == "likely":
        return (
            f"Beetle breeding weather is high ({words.chance(spell.open_chance)}){_until(outlook)}."
        )
    if spell.chance < 0.05:
        return f"No high beetle breeding weather in sight: {words.chance(spell.chance)} for the next {days} days."
    if chance_word(spell.open_chance) == "even":
        return (
            f"Beetle breeding weather may be high already ({words.chance(spell.open_chance)}); the chance "
            f"that it is within {days} days is {words.chance(spell.chance)}."
        )
    return (
        f"Beetle breeding weather is not high yet; the chance that it will be within {days} days is "
        f"{words.chance(spell.chance)}, if so from about {_span(spell.start)} on."
    )


def _until(outlook: BeetleOutlook) -> str:
    low, middle, high = outlook.spell.end
    if middle is None:
        return f" and will likely stay so beyond {words.day(outlook.weekly.index[-1])}"
    late = f"to {words.day(high)}" if high is not None else "to later than can be seen"
    early = words.day(low) if low is not None else "soon"
    return f" and will likely end about {words.day(middle)} ({early} {late}, 8 in 10)"


def _against_usual(outlook: BeetleOutlook) -> list[str]:
    now = outlook.course.loc[: outlook.issue_date - pd.Timedelta(days=1)].iloc[-1]
    middle, low, high = (
        100 * v for v in (now["pressure_q50"], now["pressure_q10"], now["pressure_q90"])
    )
    text = f"Breeding weather stands at {middle:.0f} of 100 ({low:.0f} to {high:.0f}, 8 in 10)"
    if math.isnan(now["usual"]):
        return [f"{text}; what is usual needs a whole past year of weather."]
    usual, least, most = (100 * now[name] for name in ("usual", "usual_q10", "usual_q90"))
    side = "more" if middle > most else "less" if middle < least else "about as much"
    than = "as" if side.startswith("about") else "than"
    return [
        f"{text}, {side} {than} usual on this date ({usual:.0f}; {least:.0f} to {most:.0f} in 8 years of 10)."
    ]


def _standing(found: YardBeetles) -> str:
    trap, (low, middle, high) = found.expected
    return (
        "Beetles live for months, so their number lags the weather by one to three months. By our "
        f"assumption a strong colony would show about {middle:.0f} in 14 days now ({trap}; {low:.0f} to "
        f"{high:.0f} in 8 such colonies of 10)."
    )


def _cohort(outlook: BeetleOutlook) -> str:
    cohort = outlook.cohort
    if cohort.chance < 0.5:
        days = 7 * len(outlook.weekly)
        later = outlook.next_emergence
        next_one = f" The next beetles leave the soil about {_span(later)}." if later else ""
        return f"Larvae that went into the soil now would hardly be beetles within {days} days.{next_one}"
    return (
        f"Larvae that go into the soil now would be beetles about {_span(cohort.emerges)}; of a hundred, "
        f"about {cohort.of_hundred:.0f} would live to be."
    )


def _span(dates) -> str:
    low, middle, high = dates
    if low == high:
        return words.day(middle)
    return f"{words.day(middle)} ({words.from_to(low, high)}, 8 in 10)"


def _generations(outlook: BeetleOutlook) -> str:
    g = outlook.generations
    so_far = f"Since {words.day(g.season_from)} {_many(g.so_far)} could have come out of the soil"
    if math.isnan(g.season[1]):
        return f"{so_far}."
    return f"{so_far}; by the season's end {_number(g.season)}, usually {_number(g.usual)}."


def _many(three: tuple[float, ...]) -> str:
    text = _number(three)
    return f"{text} generation{'' if text == '1' else 's'}"


def _number(three: tuple[float, ...]) -> str:
    low, middle, high = (f"{v:.0f}" for v in three)
    return middle if low == high else f"{middle} ({low} to {high})"


def _suitability(outlook: BeetleOutlook) -> str:
    """What the climate would let the beetle do, without a word on whether it is here."""
    g = outlook.generations
    if math.isnan(g.usual[1]):
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
    names = {"soil_temp_c": "its temperature", "soil_moisture_m3m3": "its water"}
    told = [w for n, w in names.items() if n in given.index and given.loc[n, "given"] > 0.5]
    if len(told) == 2:
        return "temperature and water of the soil as a weather service gives them"
    if told:
        return f"{told[0]} as a weather service gives it, the rest reckoned from air and rain"
    return "temperature and water of the soil reckoned from air, sun and rain"


def _alarms(found: YardBeetles) -> list:
    return [count for count in found.counts if count.larvae]


def _days_ago(found: YardBeetles, date: pd.Timestamp) -> int:
    return (found.record.issue_date - date).days


def _counted_where_absent(found: YardBeetles) -> list[str]:
    seen = [c for c in found.counts if c.beetles > 0 or c.larvae]
    if not seen:
        return []
    return [
        f"beetles.csv holds beetles ({seen[-1].hive}, {words.full_day(seen[-1].date)}) where none are known to "
        "live: if they were small hive beetles, report them at once."
    ]


def _contradicted(found: YardBeetles) -> list[str]:
    if found.presence.hint != "not known":
        return []
    return [
        f"You say beetles live here; by our list they are not known to be established in "
        f"{found.presence.area}. {REPORT_AT_ONCE}"
    ]
