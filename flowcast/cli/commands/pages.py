"""All that is known, as pages: one yard's, or those of several with a front page."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from flowcast.cli.options import AsOf, At, Draws, Json, Offline, Refresh, Seed
from flowcast.cli.telling import progress, show_json, show_words
from flowcast.cli.typed import day_of, must_be_one_place


def report(
    yards: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[YARD]...", help="Yards' folders, or a folder of them.", show_default=False
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            help="The page to write, flowcast-NAME.html here if not given; for several yards "
            "the folder to write into.",
        ),
    ] = None,
    open_it: Annotated[bool, typer.Option("--open", help="Open the page in a browser.")] = False,
    trust: Annotated[
        bool,
        typer.Option("--trust", help="Add the past record of this forecaster on the yard."),
    ] = False,
    processes: Annotated[
        int, typer.Option(help="How many to work with, for several yards.", min=1, max=64)
    ] = 2,
    at: At = None,
    as_of: AsOf = None,
    offline: Offline = False,
    refresh: Refresh = False,
    seed: Seed = 1,
    scenarios: Draws = 1000,
    as_json: Json = False,
) -> None:
    """Write all that is known of a yard as one page to read on a phone, send on or print.

    Several yards, or a folder of them, get a page each and a front page that ranks them by what
    needs doing first.

    Example: flowcast report sample_yards/subtropical-coast --out page.html
    """
    yards = yards or []
    must_be_one_place(yards[0] if yards else None, at)
    day = day_of(as_of, "--as-of")
    from flowcast import pipeline
    from flowcast.report.several import yards_in

    reach = pipeline.Reach(offline=offline, refresh=refresh)
    look = partial(pipeline.report, as_of=day, seed=seed, scenarios=scenarios, trust=trust)
    folders = yards_in(yards)
    if len(folders) > 1 or folders != yards:
        look = partial(look, reach=reach)
        found, path = _several(folders, look, out, processes, with_data=as_json)
    else:
        found, path = _single(yards[0] if yards else None, at, look, reach, out, with_data=as_json)
    if as_json:
        show_json(found | {"page": str(path)})
    else:
        show_words(f"The page is {path}. Open it in any browser.")
    if open_it:
        import webbrowser

        webbrowser.open(path.resolve().as_uri())


def _single(
    folder: Path | None, at: str | None, look, reach, out: Path | None, *, with_data: bool
) -> tuple[dict | None, Path]:
    """One yard's page, and where asked the same as data."""
    from flowcast.report import page
    from flowcast.report.data import report_data
    from flowcast.report.sections import sections

    with progress("Writing the page") as tell:
        found = look(folder, at=at, reach=replace(reach, tell=tell))
        tell("the pictures", 0.8)
        shown = sections(found)
        path = page.write_page(page.render_sections(shown), out or _page_name(folder, at))
    return report_data(found, shown) if with_data else None, path


def _page_name(folder: Path | None, at: str | None) -> Path:
    """The page of a yard or a place, where no other name was asked for."""
    name = folder.resolve().name if folder else re.sub(r"[^\w.-]+", "-", at).strip("-")
    return Path(f"flowcast-{name}.html")


def _several(
    folders: list[Path], look, out: Path | None, processes: int, *, with_data: bool
) -> tuple[dict, Path]:
    """A page a yard and the front page; a yard that cannot be read is named there."""
    from flowcast.report.several import write_pages

    into = out or Path("flowcast-yards")
    with progress("Writing the pages") as tell:
        return write_pages(folders, look, into, tell, with_data=with_data, processes=processes)
