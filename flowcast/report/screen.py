"""What the terminal shows: plain sentences and small tables."""

from __future__ import annotations

import textwrap

from flowcast.flow.outlook import Outlook
from flowcast.messages import Note, Say
from flowcast.report import beetles, explain, kilograms, timing, trust, weather, words
from flowcast.report.basis import basis, cautions, check_lines
from flowcast.results import (
    Backtest,
    Checked,
    Pulled,
    YardBeetles,
    YardOutlook,
    YardSeason,
    YardTiming,
)

WIDTH = 88


def outlook_text(found: YardOutlook) -> str:
    """The outlook as a screen of text."""
    outlook, say = found.outlook, found.record.yard.say
    lines = [*_paragraph(words.headline(found)), *_warned(found.record.notes, say), ""]
    lines += _paragraph(words.answer(outlook, say))
    lines += _paragraph(words.gains(found))
    lines += ["", *_weeks(outlook, say)]
    lines += _under_heading(say("titles.standing"), words.season_so_far(found))
    lines += _under_heading(say("titles.rests"), basis(found))
    lines += _notes(found.record.notes, say)
    lines += ["", *_paragraph(cautions(say)[0])]
    for text, _ in weather.credits(found.record):
        lines += ["", *_paragraph(text)]
    return "\n".join(lines)


def check_text(found: Checked) -> str:
    """What was understood of a yard, as a screen of text."""
    say = found.yard.say
    lines = [say("check.headline", yard=found.yard.name), *_warned(found.notes, say)]
    for heading, sentences in check_lines(found).items():
        lines += _under_heading(heading, sentences)
    return "\n".join(lines + _notes(found.notes, say))


def pulled_text(found: Pulled) -> str:
    """What a pull brought, as a screen of text."""
    yard = found.record.yard
    lines = [yard.say("weather.pulled_headline", yard=yard.name)]
    lines += [*_warned(found.record.notes, yard.say), ""]
    for sentence in weather.pulled_text(found):
        lines += _item(sentence)
    lines += _notes(found.record.notes, yard.say)
    lines += ["", *[text for text, _ in weather.credits(found.record)]]
    return "\n".join(lines)


def backtest_text(found: Backtest) -> str:
    """How far to trust the outlook of this yard, as a screen of text."""
    yard = found.record.yard
    lines = [yard.say("trust.headline", yard=yard.name), ""]
    for sentence in trust.trust_lines(found):
        lines += _item(sentence)
    if len(found.verdict.scores):  # few weighings by hand give no day and no week to score
        lines += ["", *_cells(trust.trust_table(found)), "", *_paragraph(yard.say("trust.loss"))]
    return "\n".join(lines)


def beetles_text(found: YardBeetles, most: int = 5) -> str:
    """The beetles as a screen of text; the newest counts, not more than `most`."""
    say = found.record.yard.say
    lines = [*_paragraph(beetles.headline(found)), *_warned(found.record.notes, say), ""]
    lines += [*_paragraph(say("beetles.rules_first")), "", *_paragraph(beetles.answer(found))]
    lines += [part for sentence in beetles.sentences(found) for part in _item(sentence)]
    if found.outlook is not None and found.presence.lives_here:
        lines += ["", *_cells(beetles.week_rows(found))]
    lines += _counts(found, most)
    lines += _under_heading(say("beetles.what_to_do"), beetles.advice(found))
    lines += _under_heading(say("titles.rests"), beetles.rests_on(found))
    return "\n".join(lines + _notes(found.record.notes, say))


def season_text(found: YardSeason) -> str:
    """A season explained, as a screen of text."""
    season, say = found.season, found.record.yard.say
    lines = [*_paragraph(explain.headline(found)), *_warned(found.record.notes, say), ""]
    lines += _paragraph(explain.answer(found))
    lines += [part for sentence in explain.sentences(found) for part in _item(sentence)]
    parts = kilograms.rows(found)
    lines += ["", *_cells(parts)] if parts else []
    lines += [
        "",
        *_cells(explain.hour_rows(season, say)),
        "",
        *_cells(explain.month_rows(season, say)),
    ]
    if found.other:
        lines += ["", *_cells(explain.beside_rows(found))]
    lines += _under_heading(say("explain.cannot_say"), explain.limits(found))
    return "\n".join(lines + _notes(found.record.notes, say))


def timing_text(found: YardTiming) -> str:
    """The dates for the work as a screen of text."""
    say = found.record.yard.say
    lines = [*_paragraph(timing.headline(found)), *_warned(found.record.notes, say), ""]
    lines += _paragraph(timing.answer(found))
    lines += _paragraph(timing.water(found.water, say))
    rows = timing.calendar_rows(found)
    lines += ["", *_cells(rows)] if len(rows) > 1 else []
    for room, told in timing.rooms(found).items():
        lines += ["", say(f"rooms.{room}")]
        for said in told:
            lines += [part for what in said.what for part in _item(what)]
            lines += [part for line in said.lines for part in _under(line)]
    lines += _under_heading(say("timing.fit_days"), timing.fit_days(found))
    lines += _under_heading(say("timing.to_mind"), timing.cautions(found))
    lines += _under_heading(say("titles.rests"), timing.rests_on(found))
    return "\n".join(lines + _notes(found.record.notes, say))


def _counts(found: YardBeetles, most: int) -> list[str]:
    """The newest beetle trays."""
    say, rows = found.record.yard.say, beetles.tray_rows(found)[1:]
    lines = ["", say("beetles.trays_newest_first")] if rows else []
    for date, counted, means in rows[:most]:
        lines += _item(say("beetles.tray", date=date, counted=counted, means=means))
    earlier = len(rows) - most
    return lines + (_item(say("beetles.earlier_in_json", n=earlier)) if earlier > 0 else [])


def _cells(rows: list[tuple[str, ...]]) -> list[str]:
    """A small table: the head first, columns as wide as they need."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return ["  " + "   ".join(map(str.ljust, row, widths)).rstrip() for row in rows]


def _weeks(outlook: Outlook, say: Say) -> list[str]:
    """Gain by week: the middle and interval of its sum, and the flow days expected in it."""
    gain = say("weeks.gain_in", unit=say.units)
    rows = [(say("weeks.days"), gain, say("weeks.between"), say("weeks.flow_days"))]
    rows += [
        (words.week_span(first, week, say), say.kg(week["q50"]), *words.week_cells(week, say))
        for first, week in outlook.weekly.iterrows()
    ]
    return _cells(rows)


def _warned(notes: list[Note], say: Say) -> list[str]:
    """What takes all figures their worth, right under the headline."""
    return [line for text in words.warnings(notes, say) for line in ("", *_paragraph(text))]


def _notes(notes: list[Note], say: Say) -> list[str]:
    """All notes but those that stand on top already."""
    others = [say.note(note) for note in notes if not words.is_warning(note)]
    return _under_heading(say("titles.to_know"), others)


def _under_heading(heading: str, sentences: list[str]) -> list[str]:
    """An empty line, the heading and its sentences; nothing where there are none."""
    if not sentences:
        return []
    return ["", heading, *(part for sentence in sentences for part in _item(sentence))]


def _wrapped(text: str, **indents: str) -> list[str]:
    """Lines of a text; a word with a hyphen stays whole, since some are to be typed as they stand."""
    return textwrap.wrap(text, WIDTH, break_on_hyphens=False, **indents)


def _paragraph(text: str) -> list[str]:
    return _wrapped(text)


def _under(text: str) -> list[str]:
    return _wrapped(text, initial_indent="    ", subsequent_indent="      ")


def _item(text: str) -> list[str]:
    return _wrapped(text, initial_indent="  - ", subsequent_indent="    ")
