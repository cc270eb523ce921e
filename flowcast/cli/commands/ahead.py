"""What lies ahead: the nectar flow, the beetles, and when to do what."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flowcast.cli.options import AsOf, At, Draws, Json, Offline, Refresh, Seed, SomeYard
from flowcast.cli.telling import progress, show, show_with
from flowcast.cli.typed import day_of, must_be_one_place, reading_of


def outlook(
    yard: SomeYard = None,
    at: At = None,
    as_of: AsOf = None,
    offline: Offline = False,
    refresh: Refresh = False,
    seed: Seed = 1,
    scenarios: Draws = 1000,
    as_json: Json = False,
) -> None:
    """Say whether a nectar flow is likely in the next 30 days, how much, when and how sure.

    Example: flowcast outlook sample_yards/subtropical-coast --as-of 2026-09-01
    """
    must_be_one_place(yard, at)
    day = day_of(as_of, "--as-of")
    from flowcast import pipeline  # heavy, so only once the question is understood
    from flowcast.report import data, screen

    with progress("Working out the outlook") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, tell=tell)
        found = pipeline.outlook(
            yard, at=at, as_of=day, seed=seed, scenarios=scenarios, reach=reach
        )
    show(found, data.outlook_data, screen.outlook_text, as_json)


def beetles(
    yard: SomeYard = None,
    at: At = None,
    as_of: AsOf = None,
    offline: Offline = False,
    refresh: Refresh = False,
    seed: Seed = 1,
    as_json: Json = False,
) -> None:
    """Say when small hive beetles breed in the weeks ahead, and read the yard's beetle trays.

    Example: flowcast beetles sample_yards/subtropical-coast --as-of 2026-02-01
    """
    must_be_one_place(yard, at)
    day = day_of(as_of, "--as-of")
    from flowcast import pipeline
    from flowcast.report import data, screen

    with progress("Working out the beetles") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, tell=tell)
        found = pipeline.beetles(yard, at=at, as_of=day, seed=seed, reach=reach)
    show(found, data.beetles_data, screen.beetles_text, as_json)


def timing(
    yard: SomeYard = None,
    at: At = None,
    as_of: AsOf = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", metavar="FILE", help="Write the dates as a calendar, FILE.ics."),
    ] = None,
    refractometer: Annotated[
        str | None,
        typer.Option(
            metavar="READING[@TEMP]",
            help="Refractive index or per cent of water of honey, and its °C, such as 1.4915@24.",
        ),
    ] = None,
    offline: Offline = False,
    refresh: Refresh = False,
    seed: Seed = 1,
    as_json: Json = False,
) -> None:
    """Say when to super, split, feed, take and leave honey, on days fit to open a hive.

    Example: flowcast timing sample_yards/inland-winter --ics dates.ics
    """
    must_be_one_place(yard, at)
    day, reading = day_of(as_of, "--as-of"), reading_of(refractometer)
    from flowcast import pipeline
    from flowcast.report import calendar, data, screen

    with progress("Working out the dates") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, tell=tell)
        found = pipeline.timing(yard, at=at, as_of=day, seed=seed, reading=reading, reach=reach)
    written = [str(calendar.write_calendar(found, ics))] if ics else []
    show_with(written, found, data.timing_data, screen.timing_text, as_json)
