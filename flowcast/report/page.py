"""The page: one self-contained HTML file that needs no network, script or clock."""

from __future__ import annotations

import tempfile
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from flowcast.errors import InputError
from flowcast.report import weather, words
from flowcast.report.basis import basis, cautions, latest
from flowcast.report.figures import log_figures, season_figures, standing_figures
from flowcast.results import YardOutlook

USERS_OWN = (".toml", ".csv", ".gz")
STEPS_SHOWN = 12


def render_page(found: YardOutlook) -> str:
    """The whole page as HTML text; the same bytes for the same outlook."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("flowcast", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    css = environment.loader.get_source(environment, "page.css")[0]
    return environment.get_template("page.html").render(css=css, **_content(found))


def write_page(html: str, path: Path) -> Path:
    """Write the page; the old one stays until the new one is whole.

    Raises
    ------
    InputError
        When the place cannot be written, or the name is that of a file users write themselves.
    """
    if path.suffix in USERS_OWN:
        raise InputError(
            f"{path}: a page is written as .html, never over a data file. Choose another name."
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, delete=False
        ) as file:
            file.write(html)
        Path(file.name).chmod(0o644)
        Path(file.name).replace(path)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror}). Choose another --out."
        ) from None
    return path


def _content(found: YardOutlook) -> dict:
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
        "gains": words.gains(outlook, units, log=has_log),
        "season": season_figures(found),
        "weeks": _weeks(found, units),
        "units": units,
        "flow_day": words.weight(outlook.threshold_kg, units),
        "standing": [words.lead(standing), words.soil(standing), words.foraging(standing)],
        "standing_figures": standing_figures(found),
        "log_so_far": words.log_so_far(standing, units),
        "logs": [_log_section(figure, log.hive) for figure, log in log_figures(found)],
        "apart": latest(found.record.apart),
        "rests_on": basis(found),
        "notes": found.record.notes,
        "numbers": _numbers(found),
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


def _log_section(figure, hive: str) -> dict:
    return {
        "hive": hive,
        "figure": figure,
        "steps": figure.rows[:STEPS_SHOWN],
        "earlier": figure.rows[STEPS_SHOWN:],
        "header": figure.header,
    }


def _numbers(found: YardOutlook) -> list[tuple[str, list]]:
    groups = ("foraging", "soil", "season", "weather", "align", "scale_log", "flow")
    return [(group.replace("_", " "), found.record.yard.numbers.under(group)) for group in groups]
