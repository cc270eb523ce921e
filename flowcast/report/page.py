"""The page: one self-contained HTML file that needs no network, script or clock."""

from __future__ import annotations

from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from flowcast.advice.visits import CALENDAR_D
from flowcast.errors import InputError
from flowcast.numbers import Number
from flowcast.report import beetles as beetle_words
from flowcast.report import explain, timing, weather, words
from flowcast.report.basis import basis, cautions, latest
from flowcast.report.figures import (
    beetle_figure,
    fan,
    hours_calendar_figure,
    log_parts,
    parts_figure,
    ribbon,
    standing_figures,
    weeks_figure,
)
from flowcast.report.files import write_whole
from flowcast.results import YardBeetles, YardOutlook, YardSeason, YardTiming

USERS_OWN = (".toml", ".csv", ".gz")
DOCTYPE = b"<!doctype html>"


def render_page(
    found: YardOutlook,
    beetles: YardBeetles | None = None,
    season: YardSeason | None = None,
    dates: YardTiming | None = None,
) -> str:
    """The whole page as HTML text; the same bytes for the same outlook.

    Parameters
    ----------
    found : YardOutlook
        The outlook.
    beetles, season, dates : optional
        Sections of their own, left out when not given.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("flowcast", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    css = environment.loader.get_source(environment, "page.css")[0]
    return environment.get_template("page.html").render(
        css=css,
        beetles=_beetles(beetles),
        season_past=_season(season),
        dates=_dates(dates),
        **_content(found, beetles, dates),
    )


def write_page(html: str, path: Path) -> Path:
    """Write the page; the old one stays until the new one is whole.

    Parameters
    ----------
    html : str
        From `render_page`.
    path : Path
        Where to; folders on the way are made.

    Raises
    ------
    InputError
        When the place cannot be written, or what stands there is not a page: the user's own files
        are never written over.
    """
    if path.suffix.lower() in USERS_OWN:
        raise InputError(
            f"{path}: a page is written as .html, never over a data file. Choose another name."
        )
    return write_whole(html.encode(), path, ours=_is_page, what="page")


def _is_page(there: bytes) -> bool:
    return there.lstrip()[: len(DOCTYPE)].lower() == DOCTYPE


def _dates(found: YardTiming | None) -> dict | None:
    """The section on the work: what comes first, a calendar, and every advice by room."""
    if found is None:
        return None
    head, *rows = timing.calendar_rows(found)
    return {
        "answer": timing.answer(found),
        "head": head,
        "calendar": rows,
        "days": CALENDAR_D,
        "rooms": timing.rooms(found),
        "fit_days": timing.fit_days(found),
        "cautions": timing.cautions(found),
        "rests_on": timing.rests_on(found),
    }


def _season(found: YardSeason | None) -> dict | None:
    """The section on the last whole season; none where there is no other year to lay it beside."""
    if found is None or found.season.years < 2:
        return None
    head, *hours = explain.hour_rows(found.season)
    return {
        "name": found.name,
        "answer": explain.answer(found),
        "sentences": explain.sentences(found),
        "figure": weeks_figure(found),
        "parts": parts_figure(found),
        "calendar": hours_calendar_figure(found),
        "head": head,
        "hours": hours,
        "limits": explain.limits(found),
    }


def _beetles(found: YardBeetles | None, most: int = 5) -> dict | None:
    """The section on beetles; a shorter one where they are not known to live."""
    if found is None:
        return None
    shown = found.outlook is not None and found.presence.lives_here
    head, *counts = beetle_words.tray_rows(found)
    return {
        "rules": beetle_words.RULES_FIRST,
        "answer": beetle_words.answer(found),
        "sentences": beetle_words.sentences(found),
        "figure": beetle_figure(found) if shown else None,
        "weeks": beetle_words.week_rows(found) if shown else [],
        "head": head,
        "counts": counts[:most],
        "earlier": counts[most:],
        "advice": beetle_words.advice(found),
        "rests_on": beetle_words.rests_on(found),
    }


def _content(found: YardOutlook, beetles: YardBeetles | None, dates: YardTiming | None) -> dict:
    outlook, yard, standing = found.outlook, found.record.yard, found.standing
    units = yard.settings.yard.units
    has_log = bool(found.model.observed)
    return {
        "yard": yard.name,
        "issued": words.full_day(outlook.issue_date),
        "answer": words.answer(outlook),
        "no_log": not has_log,
        "place_only": words.PLACE_ONLY if yard.is_place else "",
        "credits": weather.credits(found.record),
        "weather_sources": weather.source_rows(found.record),
        "weather_columns": weather.column_rows(found.record),
        "gains": words.gains(outlook, units, log=has_log),
        "season": [ribbon(found), fan(found)],
        "weeks": _weeks(found, units),
        "units": units,
        "flow_day": words.weight(outlook.threshold_kg, units),
        "standing": [words.lead(standing), words.soil(standing), words.foraging(standing)],
        "standing_figures": standing_figures(found),
        "log_so_far": words.log_so_far(standing, units),
        "logs": log_parts(found),
        "apart": latest(found.record.apart),
        "rests_on": [*basis(found), _files_read(found)],
        "notes": found.record.notes,
        "numbers": _numbers(found, _other_groups(beetles, dates)),
        "cautions": cautions(),
        "version": version("flowcast"),
        "seed": found.seed,
        "scenarios": len(outlook.scenarios.gain_kg),
    }


def _weeks(found: YardOutlook, units: str) -> list[dict]:
    return [
        {
            "when": words.from_to(first, first + pd.Timedelta(days=int(week["days"]) - 1)),
            "middle": words.weight(week["q50"], units),
            "range": words.weight_range(week["q10"], week["q90"], units),
            "flow_days": f"{week['flow_days']:.1f} of {week['days']:.0f}",
        }
        for first, week in found.outlook.weekly.iterrows()
    ]


def _other_groups(beetles: YardBeetles | None, dates: YardTiming | None) -> list[str]:
    """Groups of numbers behind the sections that a page may lack."""
    shown = ["beetle", "topsoil"] if beetles is not None and beetles.outlook is not None else []
    return [*shown, "timing"] if dates is not None else shown


def _numbers(found: YardOutlook, others: list[str]) -> list[tuple[str, list[dict]]]:
    """Every number that shaped the outlook, by group, with its name in plain words."""
    groups = [
        "foraging",
        "soil",
        "season",
        "weather",
        "align",
        *(["scale_log"] if found.record.logs else []),
        *others,
    ]
    numbers = found.record.yard.numbers
    return [
        (group.replace("_", " "), [_plain(n) for n in numbers.under(group)])
        for group in [*groups, "flow"]
    ]


def _plain(number: Number) -> dict:
    name = number.key.split(".", 1)[1].replace("_", " ")
    return {**asdict(number), "key": name, "unit": "" if number.unit == "1" else number.unit}


def _files_read(found: YardOutlook) -> str:
    """The files behind the page, in a sentence: what they held up to the issue date."""
    record = found.record
    scales = {
        hive.name: ", ".join(dict.fromkeys(name for scale in hive.scales for name in scale.files))
        for hive in record.yard.hives
    }
    parts = ["yard.toml"]
    for log in record.logs:
        what = "readings" if log.kind == "scale" else "weighings"
        parts.append(f"{scales.get(log.hive, log.hive)} ({len(log.readings):,} {what})")
    known = record.yard.work["time"] < record.issue_date.tz_localize(record.yard.place.timezone)
    if known.any():
        parts.append(f"work.csv (lines: {known.sum():,})")
    return f"Read up to the issue date: {', '.join(parts)}, and the weather."
