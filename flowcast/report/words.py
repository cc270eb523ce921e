"""Plain sentences for what was found: the same words on screen and page."""

from __future__ import annotations

import math

import pandas as pd

from flowcast.flow.outlook import Outlook, chance_word
from flowcast.flow.standing import Measure, Standing
from flowcast.report.units import weight, weight_range
from flowcast.results import YardOutlook

PLACE_ONLY = "from weather, climate and prior alone: no yard, no log and no stated bloom."


def chance(p: float) -> str:
    """A chance as a keeper says it: "7 in 10"; the ends as "less than 1 in 20"."""
    if p < 0.05:
        return "less than 1 in 20"
    if p > 0.95:
        return "more than 19 in 20"
    return f"{min(max(round(10 * p), 1), 9)} in 10"


def day(date: pd.Timestamp) -> str:
    """9 November"""
    return f"{date.day} {date:%B}"


def full_day(date: pd.Timestamp) -> str:
    """9 November 2026"""
    return f"{day(date)} {date.year}"


def from_to(first: pd.Timestamp, last: pd.Timestamp) -> str:
    """9 to 28 November; 28 October to 9 November"""
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {day(last)}"
    return f"{day(first)} to {day(last)}"


def headline(found: YardOutlook) -> str:
    """Whose outlook it is and of when; a place without a yard says what it rests on."""
    yard, issued = found.record.yard, full_day(found.outlook.issue_date)
    if yard.is_place:
        return f"{yard.name}: outlook of {issued}, {PLACE_ONLY}"
    return f"{yard.name}: outlook of {issued}"


def answer(outlook: Outlook) -> str:
    """The outlook in a sentence."""
    window, ahead = outlook.window, f"the next {outlook.window_days} days"
    if chance_word(window.open_chance) == "likely":
        return f"A flow is on ({chance(window.open_chance)}){_until(outlook)}."
    if outlook.chance_word == "unlikely":
        return f"No flow likely: {chance(window.chance)} for {ahead}."
    if chance_word(window.open_chance) == "even":
        return (
            f"A flow may be on already ({chance(window.open_chance)}); the chance of one within "
            f"{ahead} is {chance(window.chance)}."
        )
    if outlook.chance_word == "likely":
        return f"Flow likely: {chance(window.chance)} for {ahead}{_when(outlook, 'most likely')}."
    when = _when(outlook, "if it comes, about")
    return f"A flow may or may not come: {chance(window.chance)} for {ahead}{when}."


def _when(outlook: Outlook, how: str) -> str:
    start, end = outlook.window.start[1], outlook.window.end[1]
    start = max(start, outlook.issue_date)
    if end is None:
        return f", {how} from {day(start)} on"
    return f", {how} from {from_to(start, end)}" if end > start else f", {how} on {day(start)}"


def _until(outlook: Outlook) -> str:
    low, middle, high = outlook.window.end
    if middle is None:
        return f" and will likely last beyond {day(outlook.daily.index[-1])}"
    late = f"to {day(high)}" if high is not None else "to later than can be seen"
    return f" and will likely end about {day(middle)} ({day(low) if low is not None else 'soon'} {late}, 8 in 10)"


def gains(outlook: Outlook, units: str, *, log: bool) -> str:
    """The running total after 7 and 30 days with its interval."""
    parts = []
    for n in (7, outlook.window_days):
        q = outlook.total_after(n)
        parts.append(
            f"{gain_or_loss(q['q50'], units)} in the next {n} days "
            f"({weight_range(q['q10'], q['q90'], units)})"
        )
    whose = "The middle hive of the yard" if log else "A colony of usual strength"
    return f"{whose} may be expected to {parts[0]} and to {parts[1]}; 8 times in 10 it stays within these bounds."


def gain_or_loss(kg: float, units: str) -> str:
    """gain 2.0 kg; lose 1.5 kg"""
    return f"{'gain' if kg >= 0 else 'lose'} {weight(abs(kg), units)}"


def lead(standing: Standing) -> str:
    """How early or late the season runs, or why that is not told."""
    if not standing.warmth_moves:
        return (
            "At this time of the year warmth no longer moves the bloom; early or late is not "
            "reckoned until midwinter is past."
        )
    if math.isnan(standing.lead_d):
        return "Whether the season runs early or late cannot be told without a whole past year of weather."
    days = round(standing.lead_d)
    if abs(days) < 2:
        return "The season's warmth is where it normally is on this date."
    return f"By its warmth the season runs {abs(days)} days {'early' if days > 0 else 'late'}."


def soil(standing: Standing) -> str:
    """Soil water against normal."""
    m = standing.soil_frac
    text = f"The soil holds {100 * m.now:.0f} % of the water plants can draw"
    if math.isnan(m.normal):
        return f"{text}."
    return (
        f"{text}, {_against(m, 'less than usual', 'more than usual')} on this date "
        f"({100 * m.low:.0f} to {100 * m.high:.0f} % on 8 such days of 10)."
    )


def foraging(standing: Standing) -> str:
    """Foraging hours of the last month against normal."""
    m = standing.foraging_h
    text = f"The last 30 days had {m.now:.1f} foraging hours a day"
    if math.isnan(m.normal):
        return f"{text}."
    return (
        f"{text}, {_against(m, 'fewer than usual', 'more than usual')} "
        f"({m.low:.1f} to {m.high:.1f} in 8 such months of 10)."
    )


def _against(m: Measure, below: str, above: str) -> str:
    if m.now < m.low:
        return below
    return above if m.now > m.high else "about what is usual"


def log_so_far(standing: Standing, units: str) -> list[str]:
    """What the scales said lately."""
    lines = []
    if not math.isnan(standing.gain_kg):
        verb = "gained" if standing.gain_kg >= 0 else "lost"
        lines.append(
            f"Over the last 30 days the middle hive {verb} {weight(abs(standing.gain_kg), units)}."
        )
    if standing.last_window:
        first, last = standing.last_window
        lines.append(f"The last flow in the log ran from {full_day(first)} to {full_day(last)}.")
    return lines
