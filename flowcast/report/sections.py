"""What stands on the page, section by section in the order of a keeper's questions.

Each function gives what one section shows, or None where there is nothing to show: the page then
has no such section. Texts and pictures are made here; `page.html` only sets them out.
"""

from __future__ import annotations

from dataclasses import asdict
from importlib.metadata import version

import pandas as pd

from flowcast.advice.visits import CALENDAR_D
from flowcast.messages import Say
from flowcast.numbers import Number
from flowcast.report import beetles as beetle_words
from flowcast.report import explain, figures, timing, trust, weather, words
from flowcast.report.basis import basis, cautions, latest
from flowcast.results import (
    YardBeetles,
    YardOutlook,
    YardReport,
    YardSeason,
    YardTiming,
)

SECTIONS = (
    "ahead", "work", "beetles", "standing", "happened", "why", "trust", "rests", "cautions",
)  # fmt: skip


def sections(report: YardReport) -> dict:
    """Everything the page shows; a section that would be empty is None.

    Parameters
    ----------
    report : YardReport
        What the pipeline found.

    Returns
    -------
    dict
        A value for each of `SECTIONS`, and for `head`, `foot` and `say`.
    """
    found = report.outlook
    return {
        "say": found.record.yard.say,
        "head": _head(report),
        "ahead": _ahead(found),
        "work": _work(report.dates),
        "beetles": _beetles(report.beetles),
        "standing": _standing(found),
        "happened": _happened(found),
        "why": _why(report.season),
        "trust": _trust(report),
        "rests": _rests(report),
        "cautions": _cautions(report),
        "foot": _foot(found),
    }


def titles(shown: dict) -> dict[str, str]:
    """The headings of the sections that are there, by key, in their order."""
    name = shown["why"]["name"] if shown["why"] else ""
    say = shown["say"]
    return {key: say(f"titles.{key}", season=name) for key in SECTIONS if shown[key]}


def pictures(shown) -> list[figures.Figure]:
    """Every picture of the page, in its order."""
    if isinstance(shown, figures.Figure):
        return [shown]
    if isinstance(shown, figures.LogPart):
        return [shown.figure]
    parts = shown.values() if isinstance(shown, dict) else shown
    if not isinstance(shown, dict | list | tuple):
        return []
    return [picture for part in parts for picture in pictures(part)]


def _head(report: YardReport) -> dict:
    found = report.outlook
    outlook, yard = found.outlook, found.record.yard
    say, has_log = yard.say, found.model.has_log
    mark = "" if has_log else say("outlook.no_log")
    return {
        "yard": yard.name,
        "issued": say.full_day(outlook.issue_date),
        "warnings": words.warnings(found.record.notes, say),
        "answer": words.answer(outlook, say),
        "mark": say("outlook.of_place") if yard.is_place else mark,
        "gains": words.gains(found),
        "flow_day": say("outlook.flow_day", weight=say.weight(outlook.threshold_kg)),
        "alarm": beetle_words.alarm(report.beetles) if report.beetles else "",
        "first": timing.answer(report.dates) if report.dates else "",
    }


def _ahead(found: YardOutlook) -> dict:
    say = found.record.yard.say
    head = tuple(say(f"weeks.{key}") for key in ("days", "gain", "between", "flow_days"))
    weeks = [
        (words.week_span(first, week, say), say.weight(week["q50"]), *words.week_cells(week, say))
        for first, week in found.outlook.weekly.iterrows()
    ]
    return {"ribbon": figures.ribbon(found), "fan": figures.fan(found), "weeks": [head, *weeks]}


def _work(found: YardTiming | None) -> dict | None:
    """A calendar, then every room; those with nothing in the calendar can be opened."""
    if found is None:
        return None
    dated = timing.dated_rooms(found)
    return {
        "calendar": timing.calendar_rows(found),
        "days": CALENDAR_D,
        "rooms": [
            {"name": room, "told": told, "dated": room in dated}
            for room, told in timing.rooms(found).items()
        ],
        "fit_days": timing.fit_days(found),
    }


def _beetles(found: YardBeetles | None, most: int = 5) -> dict | None:
    """A shorter section where they are not known to live."""
    if found is None:
        return None
    shown = found.outlook is not None and found.presence.lives_here
    head, *counts = beetle_words.tray_rows(found)
    return {
        "rules": found.record.yard.say("beetles.rules_first"),
        "answer": beetle_words.answer(found),
        "sentences": beetle_words.sentences(found),
        "figure": figures.beetle_figure(found) if shown else None,
        "weeks": beetle_words.week_rows(found) if shown else [],
        "counts": [head, *counts[:most]] if counts else [],
        "earlier": [head, *counts[most:]] if counts[most:] else [],
        "advice": beetle_words.advice(found),
    }


def _standing(found: YardOutlook) -> dict:
    return {
        "sentences": words.season_so_far(found),
        "figures": figures.standing_figures(found),
    }


def _happened(found: YardOutlook) -> dict | None:
    """The hives' weights with all work taken out, and the work as written; tables fold away."""
    logs, work = figures.log_parts(found), work_done(found)
    if not logs and work.empty:
        return None
    say = found.record.yard.say
    rows = [
        (say.full_day(row.time), row.hive, say(f"work.{row.what}"), _stated(row.kg, say), row.note)
        for row in work.itertuples()
    ]
    head = tuple(say(f"happened.{key}") for key in ("when", "hive", "what", "weight", "note"))
    more = len(logs) == figures.MOST_HIVES < len(found.record.logs)
    return {
        "logs": logs,
        "more": say("happened.more_hives") if more else "",
        "apart": [say.note(one) for one in latest(found.record.apart, say)],
        "work": [head, *rows] if rows else [],
    }


def _stated(kg: float, say: Say) -> str:
    """A weight as work.csv states it; empty where it is left to be measured."""
    return "" if pd.isna(kg) else say.weight(kg)


def work_done(found: YardOutlook) -> pd.DataFrame:
    """Lines of work.csv up to the issue date, newest first, their time on the yard's own clock."""
    record = found.record
    zone = record.yard.place.timezone
    work = record.yard.work
    known = work[work["time"] < record.issue_date.tz_localize(zone)]
    local = known.assign(time=known["time"].dt.tz_convert(zone).dt.tz_localize(None))
    return local.sort_values("time", ascending=False, kind="stable")


def _why(found: YardSeason | None) -> dict | None:
    """The last whole season; none where there is no other year to lay it beside."""
    if found is None or found.season.years < 2:
        return None
    return {
        "name": found.name,
        "answer": explain.answer(found),
        "sentences": explain.sentences(found),
        "weeks": figures.weeks_figure(found),
        "parts": figures.parts_figure(found),
        "calendar": figures.hours_calendar_figure(found),
        "hours": explain.hour_rows(found.season, found.record.yard.say),
        "limits": explain.limits(found),
    }


def _trust(report: YardReport) -> dict | None:
    """The past record of this forecaster on this yard; without a log there is none to be had."""
    found, past = report.outlook, report.trust
    yard = found.record.yard
    if not found.model.has_log or yard.is_place:
        return None
    if past is None:
        name = yard.folder.name
        folder = f'"{name}"' if " " in name else name
        said = report.no_trust or yard.say("trust.ask", folder=folder)
        return {"sentences": [said], "figure": None, "table": []}
    return {
        "sentences": trust.trust_lines(past),
        "figure": figures.trust_figure(past),
        "table": trust.trust_table(past),
    }


def _rests(report: YardReport) -> dict:
    found, say = report.outlook, report.outlook.record.yard.say
    return {
        "sentences": [*basis(found), files_read(found)],
        "work": timing.rests_on(report.dates) if report.dates else [],
        "beetles": beetle_words.rests_on(report.beetles) if report.beetles else [],
        "notes": [say.note(note) for note in found.record.notes],
        "sources": weather.source_rows(found.record),
        "columns": weather.column_rows(found.record),
        "numbers": _numbers(report),
    }


def _cautions(report: YardReport) -> dict:
    always = cautions(report.outlook.record.yard.say)
    work = timing.cautions(report.dates) if report.dates else []
    said = " ".join(always)
    return {"always": always, "work": [caution for caution in work if caution not in said]}


def _foot(found: YardOutlook) -> dict:
    return {
        "credits": weather.credits(found.record),
        "version": version("flowcast"),
        "seed": found.seed,
        "scenarios": found.record.yard.say.count(len(found.outlook.scenarios.gain_kg)),
    }


def shaping(report: YardReport) -> list[str]:
    """The groups of numbers that shaped what the page shows."""
    shown = report.beetles is not None and report.beetles.outlook is not None
    return [
        "foraging",
        "soil",
        "season",
        "weather",
        "align",
        *(["scale_log"] if report.outlook.record.logs else []),
        *(["beetle", "topsoil"] if shown else []),
        *(["reasons"] if report.season is not None else []),
        *(["timing"] if report.dates is not None else []),
        "flow",
    ]


def _numbers(report: YardReport) -> list[tuple[str, list[dict]]]:
    """Every number behind the page, by group, with its name in plain words."""
    yard = report.outlook.record.yard
    groups = [(group, yard.numbers.under(group)) for group in shaping(report)]
    return [
        (yard.say(f"number_groups.{group}"), [_plain(n) for n in some])
        for group, some in groups
        if some
    ]


def _plain(number: Number) -> dict:
    name = number.key.split(".", 1)[1].replace("_", " ")
    return {**asdict(number), "key": name, "unit": "" if number.unit == "1" else number.unit}


def files_read(found: YardOutlook) -> str:
    """The files behind the page, in a sentence: what they held up to the issue date."""
    record = found.record
    scales = {
        hive.name: ", ".join(dict.fromkeys(name for scale in hive.scales for name in scale.files))
        for hive in record.yard.hives
    }
    say, parts = record.yard.say, ["yard.toml"]
    for log in record.logs:
        key = "basis.file_of_readings" if log.kind == "scale" else "basis.file_of_weighings"
        parts.append(say(key, file=scales.get(log.hive, log.hive), n=len(log.readings)))
    known = record.yard.work["time"] < record.issue_date.tz_localize(record.yard.place.timezone)
    if known.any():
        parts.append(say("basis.file_of_work", n=int(known.sum())))
    return say("basis.files", files=say.listed(parts))
