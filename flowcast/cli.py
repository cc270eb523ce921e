"""The command line: parse, call one function, print. Heavy imports wait until a command runs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from flowcast.errors import FlowcastError

app = typer.Typer(
    name="flowcast",
    help="Nectar-flow outlooks from weather data and hive scale logs, with stated uncertainty.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

YardArgument = Annotated[Path, typer.Argument(help="The yard's folder, with yard.toml in it.")]
AsOf = Annotated[
    str | None,
    typer.Option(
        "--as-of",
        metavar="DATE",
        help="Issue date, such as 2026-05-31; knows nothing from then on.",
    ),
]
Json = Annotated[
    bool, typer.Option("--json", help="Print JSON (schema in DEVELOPERS.md) instead of words.")
]
Seed = Annotated[int, typer.Option(help="Equal seeds give equal answers.", min=0)]
Draws = Annotated[
    int, typer.Option("--scenarios", help="How many futures to draw.", min=100, max=20000)
]


@app.command()
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

    answers = {
        "name": name or typer.prompt("Name of the yard"),
        "latitude": lat
        if lat is not None
        else typer.prompt("Latitude (south is negative)", type=float),
        "longitude": lon
        if lon is not None
        else typer.prompt("Longitude (west is negative)", type=float),
    }
    plants = [plant_from_words(words) for words in forage or []]
    text = yard_text(
        folder=folder.name, elevation_m=elevation, hives=hive or [], plants=plants, **answers
    )
    path = write_new_yard(folder, text)
    said = f"Wrote {path}. Read it through, add what you know, then: flowcast check {folder}"
    _print(
        {"schema": "flowcast-new", "schema_version": 1, "file": str(path)} if as_json else said,
        as_json,
    )


@app.command()
def check(yard: YardArgument, as_json: Json = False) -> None:
    """Say in words what was understood of a yard, what is missing and what that costs.

    Example: flowcast check sample_yards/subtropical-coast
    """
    from flowcast import pipeline
    from flowcast.report import data, screen

    with _progress("Reading the yard"):
        found = pipeline.check(yard)
    _print(data.check_data(found) if as_json else screen.check_text(found), as_json)


@app.command()
def outlook(
    yard: YardArgument,
    as_of: AsOf = None,
    seed: Seed = 1,
    scenarios: Draws = 1000,
    as_json: Json = False,
) -> None:
    """Say whether a nectar flow is likely in the next 30 days, how much, when and how sure.

    Example: flowcast outlook sample_yards/subtropical-coast --as-of 2026-09-01
    """
    from flowcast import pipeline
    from flowcast.report import data, screen

    with _progress("Working out the outlook"):
        found = pipeline.outlook(yard, as_of=_date(as_of), seed=seed, scenarios=scenarios)
    _print(data.outlook_data(found) if as_json else screen.outlook_text(found), as_json)


@app.command()
def report(
    yard: YardArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", help="The page to write; flowcast-NAME.html here if not given."
        ),
    ] = None,
    as_of: AsOf = None,
    seed: Seed = 1,
    scenarios: Draws = 1000,
    as_json: Json = False,
) -> None:
    """Write the outlook as one page to read on a phone, send on or print.

    Example: flowcast report sample_yards/subtropical-coast --out page.html
    """
    from flowcast import pipeline
    from flowcast.report import data, page

    with _progress("Drawing the page"):
        found = pipeline.outlook(yard, as_of=_date(as_of), seed=seed, scenarios=scenarios)
        path = page.write_page(
            page.render_page(found), out or Path(f"flowcast-{yard.resolve().name}.html")
        )
    if as_json:
        _print(data.outlook_data(found) | {"page": str(path)}, as_json)
    else:
        typer.echo(f"The page is {path}. Open it in any browser.")


def _date(text: str | None):
    from datetime import date

    from flowcast.errors import InputError

    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError(
            f"--as-of {text}: not understood as a date. Write it as 2026-05-31."
        ) from None


def _print(found, as_json: bool) -> None:
    if as_json:
        import json

        typer.echo(json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        typer.echo(found)


def _progress(doing: str):
    """A line on the screen while work lasts; nothing where the output is not a screen."""
    from rich.console import Console

    return Console(stderr=True).status(f"{doing} ...")


def main() -> None:
    """Run the command line: exit 0 done, 1 an error of the user's data in one line, 2 usage."""
    try:
        app()
    except FlowcastError as error:
        typer.echo(f"flowcast: {error}", err=True)
        sys.exit(1)
