"""What the terminal shows: plain sentences and small tables."""

from __future__ import annotations

import textwrap

import pandas as pd

from flowcast.flow.outlook import Outlook
from flowcast.report import beetles, explain, kilograms, timing, trust, units, weather, words
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
    outlook, yard = found.outlook, found.record.yard
    unit = units.of(yard)
    standing = found.standing
    lines = [*_paragraph(words.headline(found)), ""]
    lines += _paragraph(words.answer(outlook))
    lines += _paragraph(words.gains(outlook, unit, log=bool(found.model.observed)))
    lines += ["", *_weeks(outlook, unit), "", "How the season stands"]
    for sentence in (words.lead(standing), words.soil(standing), words.foraging(standing)):
        lines += _item(sentence)
    for sentence in words.log_so_far(standing, unit):
        lines += _item(sentence)
    lines += ["", "What this rests on"]
    for sentence in basis(found):
        lines += _item(sentence)
    lines += _notes(found.record.notes, found.record.yard)
    lines += ["", *_paragraph(cautions(unit)[0])]
    for text, _ in weather.credits(found.record):
        lines += ["", *_paragraph(text)]
    return "\n".join(lines)


def check_text(found: Checked) -> str:
    """What was understood of a yard, as a screen of text."""
    lines = [f"{found.yard.name}: what was understood", ""]
    for heading, sentences in check_lines(found).items():
        lines.append(heading)
        for sentence in sentences:
            lines += _item(sentence)
        lines.append("")
    return "\n".join(lines[:-1] + _notes(found.notes, found.yard))


def pulled_text(found: Pulled) -> str:
    """What a pull brought, as a screen of text."""
    lines = [f"{found.record.yard.name}: weather pulled", ""]
    for sentence in weather.pulled_text(found):
        lines += _item(sentence)
    lines += _notes(found.record.notes, found.record.yard)
    lines += ["", *[text for text, _ in weather.credits(found.record)]]
    return "\n".join(lines)


def backtest_text(found: Backtest) -> str:
    """How far to trust the outlook of this yard, as a screen of text."""
    lines = [f"{found.record.yard.name}: past outlooks against what came", ""]
    for sentence in trust.trust_lines(found):
        lines += _item(sentence)
    lines += ["", *_cells(trust.trust_table(found))]
    lines += [
        "",
        *_paragraph("Loss: twice the mean quantile loss, near the CRPS; smaller is better."),
    ]
    return "\n".join(lines)


def beetles_text(found: YardBeetles, most: int = 5) -> str:
    """The beetles as a screen of text; the newest counts, not more than `most`."""
    lines = [*_paragraph(beetles.headline(found)), "", *_paragraph(beetles.RULES_FIRST), ""]
    lines += _paragraph(beetles.answer(found))
    lines += [part for sentence in beetles.sentences(found) for part in _item(sentence)]
    if found.outlook is not None and found.presence.lives_here:
        lines += ["", *_cells(beetles.week_rows(found))]
    lines += _counts(found, most)
    for heading, said in (
        ("What to do", beetles.advice(found)),
        ("What this rests on", beetles.rests_on(found)),
    ):
        lines += ["", heading] if said else []
        lines += [part for sentence in said for part in _item(sentence)]
    return "\n".join(lines + _notes(found.record.notes, found.record.yard))


def season_text(found: YardSeason) -> str:
    """A season explained, as a screen of text."""
    season = found.season
    lines = [*_paragraph(explain.headline(found)), "", *_paragraph(explain.answer(found))]
    lines += [part for sentence in explain.sentences(found) for part in _item(sentence)]
    parts = kilograms.rows(found)
    lines += ["", *_cells(parts)] if parts else []
    lines += [
        "",
        *_cells(explain.hour_rows(season)),
        "",
        *_cells(explain.month_rows(season, units.of(found.record.yard))),
    ]
    if found.other:
        lines += ["", *_cells(explain.beside_rows(found))]
    lines += ["", "What this cannot say"]
    lines += [part for sentence in explain.limits(found) for part in _item(sentence)]
    return "\n".join(lines + _notes(found.record.notes, found.record.yard))


def timing_text(found: YardTiming) -> str:
    """The dates for the work as a screen of text."""
    lines = [*_paragraph(timing.headline(found)), "", *_paragraph(timing.answer(found))]
    lines += _paragraph(timing.water(found.water, units.of(found.record.yard)))
    rows = timing.calendar_rows(found)
    lines += ["", *_cells(rows)] if len(rows) > 1 else []
    for heading, told in timing.rooms(found).items():
        lines += ["", heading]
        for said in told:
            lines += [part for what in said.what for part in _item(what)]
            lines += [part for line in said.lines for part in _under(line)]
    for heading, sentences in (
        ("Days fit to open a hive", timing.fit_days(found)),
        ("To mind", timing.cautions(found)),
        ("What this rests on", timing.rests_on(found)),
    ):
        lines += ["", heading, *(part for sentence in sentences for part in _item(sentence))]
    return "\n".join(lines + _notes(found.record.notes, found.record.yard))


def _counts(found: YardBeetles, most: int) -> list[str]:
    """The newest beetle trays."""
    rows = beetles.tray_rows(found)[1:]
    lines = ["", "Beetle trays, newest first"] if rows else []
    for date, counted, means in rows[:most]:
        lines += _item(f"{date}: {counted}. {means}")
    earlier = len(rows) - most
    return lines + (_item(f"And {earlier} earlier; all are in --json.") if earlier > 0 else [])


def _cells(rows: list[tuple[str, ...]]) -> list[str]:
    """A small table: the head first, columns as wide as they need."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return ["  " + "   ".join(map(str.ljust, row, widths)).rstrip() for row in rows]


def _weeks(outlook: Outlook, unit: str) -> list[str]:
    """Gain by week: the middle and interval of its sum, and the flow days expected in it."""
    rows = [("days ahead", f"gain, {unit}", "8 times in 10", "flow days expected")]
    for first, week in outlook.weekly.iterrows():
        last = first + pd.Timedelta(days=int(week["days"]) - 1)
        rows.append(
            (
                words.from_to(first, last),
                words.weight(week["q50"], unit).split()[0],
                words.weight_range(week["q10"], week["q90"], unit),
                f"{week['flow_days']:.1f} of {week['days']:.0f}",
            )
        )
    return _cells(rows)


def _notes(notes: list[str], yard) -> list[str]:
    if not notes:
        return []
    lines = ["", "To know"]
    for note in notes:
        lines += _item(units.told(note, units.of(yard)))
    return lines


def _paragraph(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)


def _under(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="      ")


def _item(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
