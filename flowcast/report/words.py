"""Plain sentences for what was found: the same words on screen and page."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

from flowcast.flow.outlook import Outlook, chance_word
from flowcast.flow.standing import Measure, Standing
from flowcast.messages import Note, Say
from flowcast.results import YardOutlook
from flowcast.weather import midwinter

WARNINGS = (
    "files.clock_early",
    "files.clock_late",
    "files.other_hemisphere",
    "colony.not_eating_now",
)


def warnings(notes: Iterable[Note | str], say: Say) -> list[str]:
    """What takes all figures their worth, to be said before any of them."""
    return [say.note(note) for note in notes if is_warning(note)]


def is_warning(note: Note | str) -> bool:
    """Whether a note says that no figure can be trusted."""
    return isinstance(note, Note) and note.key in WARNINGS


def headline(found: YardOutlook) -> str:
    """Whose outlook it is and of when; a place without a yard says what it rests on."""
    yard = found.record.yard
    key = "outlook.headline_of_place" if yard.is_place else "outlook.headline"
    return yard.say(key, yard=yard.name, date=yard.say.full_day(found.outlook.issue_date))


def answer(outlook: Outlook, say: Say) -> str:
    """The outlook in a sentence."""
    window = outlook.window
    is_open = say.chance(window.open_chance)
    told = {"chance": say.chance(window.chance), "n": outlook.window_days}
    if chance_word(window.open_chance) == "likely":
        return _until(outlook, is_open, say)
    if outlook.chance_word == "unlikely":
        return say("outlook.unlikely", **told)
    if chance_word(window.open_chance) == "even":
        return say("outlook.perhaps_on", open=is_open, **told)
    word = "likely" if outlook.chance_word == "likely" else "even"
    return say(f"outlook.{word}_{_when(outlook)}", **told, when=_dates(outlook, say))


def _when(outlook: Outlook) -> str:
    """How the dates of a window are known: as an open beginning, a day or a span."""
    start, end = _ends(outlook)
    if end is None:
        return "from"
    return "between" if end > start else "on"


def _dates(outlook: Outlook, say: Say) -> str:
    start, end = _ends(outlook)
    return say.day(start) if end is None or end <= start else say.span(start, end)


def _ends(outlook: Outlook) -> tuple[pd.Timestamp, pd.Timestamp | None]:
    window = outlook.window
    return max(window.start[1], outlook.issue_date), window.end[1]


def _until(outlook: Outlook, is_open: str, say: Say) -> str:
    low, middle, high = outlook.window.end
    if middle is None:
        return say("outlook.on_beyond", open=is_open, last=say.day(outlook.daily.index[-1]))
    return say("outlook.on", open=is_open, end=say.day(middle), between=soon_to(low, high, say))


def soon_to(low: pd.Timestamp | None, high: pd.Timestamp | None, say: Say) -> str:
    """From a date to a date, where the first may be past and the last out of sight."""
    first = say("outlook.soon") if low is None else say.day(low)
    last = say("outlook.out_of_sight") if high is None else say.day(high)
    return say("dates.range", first=first, last=last)


def gains(found: YardOutlook) -> str:
    """The running total after 7 and 30 days with its interval."""
    outlook, say = found.outlook, found.record.yard.say
    week, month = (_total(outlook, n, say) for n in (7, outlook.window_days))
    log = "_alone" if _alone(found) else ""
    key = f"outlook.gains{log}" if found.model.has_log else "outlook.gains_usual"
    return say(key, week=week, month=month)


def _alone(found: YardOutlook) -> bool:
    """Whether the yard has one hive only, so that there is no middle one."""
    return len(found.record.yard.hives) == 1


def _total(outlook: Outlook, n: int, say: Say) -> str:
    q = outlook.total_after(n)
    gain = gain_or_loss(q["q50"], say)
    return say("outlook.total", n=n, gain=gain, between=say.weights(q["q10"], q["q90"]))


def gain_or_loss(kg: float, say: Say) -> str:
    """gain 2.0 kg; lose 1.5 kg"""
    return say("outlook.gain" if kg >= 0 else "outlook.lose", weight=say.weight(abs(kg)))


def week_span(first: pd.Timestamp, week: pd.Series, say: Say) -> str:
    """Which days a week ahead holds."""
    return say.span(first, first + pd.Timedelta(days=int(week["days"]) - 1))


def week_cells(week: pd.Series, say: Say) -> tuple[str, str]:
    """The interval of a week's gain, and the flow days expected in it."""
    some, every = say.number(week["flow_days"], 1), say.number(week["days"])
    return say.weights(week["q10"], week["q90"]), say("weeks.of_days", some=some, all=every)


def season_so_far(found: YardOutlook) -> list[str]:
    """How the season stands, a sentence each."""
    standing, say = found.standing, found.record.yard.say
    return [
        lead(standing, _next_midwinter(found), found.record.yard.numbers["season.lead_max_d"], say),
        soil(standing, say),
        foraging(standing, found.record.yard.numbers["foraging.few_h"], say),
        *log_so_far(standing, say, alone=_alone(found)),
    ]


def _next_midwinter(found: YardOutlook) -> pd.Timestamp:
    """From when warmth counts anew: a date, since not every yard has a winter."""
    month, day = midwinter(found.record.yard.place)
    today = found.outlook.issue_date
    this_year = pd.Timestamp(today.year, month, day)
    return this_year if this_year > today else this_year + pd.DateOffset(years=1)


def lead(standing: Standing, again: pd.Timestamp, most_d: float, say: Say) -> str:
    """How early or late the season runs, or why that is not told.

    again: from when it is; most_d: the most that is believed, at which a lead is cut off. [d]
    """
    if not standing.warmth_moves:
        return say("season.no_lead_now", date=say.full_day(again))
    if math.isnan(standing.lead_d):
        return say("season.no_lead_known")
    days = round(standing.lead_d)
    if abs(days) < 2:
        return say("season.on_time")
    key = "season.early" if days > 0 else "season.late"
    return say(f"{key}_most" if abs(days) >= most_d else key, n=abs(days))


def soil(standing: Standing, say: Say) -> str:
    """Soil water against normal."""
    m = standing.soil_frac
    told = {"now": say.percent(m.now)}
    if not math.isnan(m.normal):
        told |= {"low": say.number(100 * m.low), "high": say.percent(m.high)}
    return say(f"season.soil{_against(m)}", **told)


def foraging(standing: Standing, few_h: float, say: Say) -> str:
    """Foraging hours of the last month against normal; of less than few_h a day only that. [h]"""
    m = standing.foraging_h
    if math.isnan(m.now):
        return say("season.hours_unknown")
    told = {"now": say.number(m.now, 1)}
    if max(m.now, m.high) < 0.05:  # would read 0.0 of 0.0
        return say("season.hours_none")
    if max(m.now, m.high) < few_h:
        return say("season.hours_few")
    if not math.isnan(m.normal):
        told |= {"low": say.number(m.low, 1), "high": say.number(m.high, 1)}
    return say(f"season.hours{_against(m)}", **told)


def _against(m: Measure) -> str:
    if math.isnan(m.normal):
        return ""
    if m.now < m.low:
        return "_below"
    return "_above" if m.now > m.high else "_usual"


def log_so_far(standing: Standing, say: Say, *, alone: bool = False) -> list[str]:
    """What the scales said lately. alone: of the only hive of the yard."""
    lines = []
    if not math.isnan(standing.gain_kg):
        way, full = "gained" if standing.gain_kg >= 0 else "lost", standing.full_days
        told = {"weight": say.weight(abs(standing.gain_kg))} | ({"n": full} if full else {})
        told |= {"whose": say("gains.of_only" if alone else "gains.of_middle")}
        lines.append(say(f"season.{way}_bound" if full else f"season.{way}", **told))
    if standing.last_window:
        first, last = (say.full_day(date) for date in standing.last_window)
        lines.append(say("season.last_flow", first=first, last=last))
    return lines
