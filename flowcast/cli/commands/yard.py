"""A yard as it is: make it, bring its weather, say what was understood of it."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from flowcast.cli.options import Json, Offline, Refresh, Yard
from flowcast.cli.telling import progress, show, show_json, show_with, show_words
from flowcast.cli.typed import span_of


def new(
    folder: Annotated[Path, typer.Argument(help="Where the yard is to be made.")],
    name: Annotated[str | None, typer.Option(help="The yard's name.")] = None,
    lat: Annotated[
        float | None, typer.Option(help="Latitude in degrees; south is negative.")
    ] = None,
    lon: Annotated[
        float | None, typer.Option(help="Longitude in degrees; west is negative.")
    ] = None,
    elevation: Annotated[float | None, typer.Option(help="Height above the sea in metres.")] = None,
    hive: Annotated[
        list[str] | None, typer.Option(help="A hive's name; give it once for each.")
    ] = None,
    forage: Annotated[
        list[str] | None,
        typer.Option(help='What blooms: "name 06-10 07-01", with light, fair or heavy at the end.'),
    ] = None,
    as_json: Json = False,
) -> None:
    """Make a yard: write a commented yard.toml, from options or a few questions.

    Example: flowcast new orchard --name Orchard --lat 48.2 --lon 16.4 --hive H1 --forage "lime 06-10 07-01 heavy"
    """
    from flowcast.yard.start import plant_from_words, write_new_yard, yard_text

    place = _asked(name, lat, lon)
    plants = [plant_from_words(words) for words in forage or []]
    text = yard_text(
        folder=folder.name, elevation_m=elevation, hives=hive or [], plants=plants, **place
    )
    path = write_new_yard(folder, text)
    if as_json:
        show_json({"schema": "flowcast-new", "schema_version": 1, "file": str(path)})
    else:
        check_it = f"flowcast check {shlex.quote(str(folder))}"
        show_words(f"Wrote {path}. Read it through, add what you know, then: {check_it}")


def _asked(name: str | None, lat: float | None, lon: float | None) -> dict:
    """Name and place of a new yard, asked for where they were not given."""
    return {
        "name": name or typer.prompt("Name of the yard"),
        "latitude": _degrees(lat, "Latitude (south is negative)"),
        "longitude": _degrees(lon, "Longitude (west is negative)"),
    }


def _degrees(given: float | None, question: str) -> float:
    return typer.prompt(question, type=float) if given is None else given


def pull(
    yard: Yard,
    from_: Annotated[
        str | None,
        typer.Option("--from", metavar="DATE", help="First day of history; 20 years if not given."),
    ] = None,
    to: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last day; today if not given.")
    ] = None,
    offline: Offline = False,
    refresh: Refresh = False,
    as_json: Json = False,
) -> None:
    """Bring the weather of a yard: decades of history, the last days, the days ahead.

    Example: flowcast pull orchard
    """
    first, last = span_of(from_, to)
    from flowcast import pipeline
    from flowcast.report import data, screen

    with progress("Pulling weather") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, first=first, last=last, tell=tell)
        found = pipeline.pull(yard, reach=reach)
    show(found, data.pulled_data, screen.pulled_text, as_json)


def check(
    yard: Yard,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", help="Draw each log: one FILE.svg, or a folder for one picture a hive."
        ),
    ] = None,
    offline: Offline = False,
    as_json: Json = False,
) -> None:
    """Say in words what was understood of a yard, what is missing and what that costs.

    A wrong guess at a jump in weight is corrected by a line in work.csv.

    Example: flowcast check sample_yards/subtropical-coast --plot logs
    """
    from flowcast import pipeline
    from flowcast.report import data, logs, screen

    with progress("Reading the yard") as tell:
        found = pipeline.check(yard, reach=pipeline.Reach(offline=offline, tell=tell))
    written = logs.write_logs(found, plot) if plot else []
    show_with(written, found, data.check_data, screen.check_text, as_json)
