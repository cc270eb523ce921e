"""What has been: why a season was what it was, and how well outlooks from past dates did."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flowcast.cli.options import AsOf, At, Json, Offline, Refresh, SomeYard, Yard
from flowcast.cli.telling import progress, show, show_with
from flowcast.cli.typed import day_of, must_be_one_place, span_of


def explain(
    yard: SomeYard = None,
    season: Annotated[
        str | None,
        typer.Option(help="Such as 2025, or 2025/26; the last whole one if not given."),
    ] = None,
    from_: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day, in place of a season.")
    ] = None,
    to: Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last day.")] = None,
    against: Annotated[
        str | None, typer.Option(help="Another season, to be laid beside it.")
    ] = None,
    at: At = None,
    as_of: AsOf = None,
    offline: Offline = False,
    refresh: Refresh = False,
    as_json: Json = False,
) -> None:
    """Say why a season was what it was: flight, water and hives against the yard's other seasons.

    Example: flowcast explain sample_yards/inland-winter --season 2024
    """
    must_be_one_place(yard, at)
    day, (first, last) = day_of(as_of, "--as-of"), span_of(from_, to)
    if season and (first or last):
        raise typer.BadParameter("name a season, or --from and --to, one of the two.")
    from flowcast import pipeline
    from flowcast.report import data, screen

    with progress("Looking into the season") as tell:
        found = pipeline.explain(
            yard,
            at=at,
            season=season,
            first=first,
            last=last,
            against=against,
            as_of=day,
            reach=pipeline.Reach(offline=offline, refresh=refresh, tell=tell),
        )
    show(found, data.season_data, screen.season_text, as_json)


def backtest(
    yard: Yard,
    from_: Annotated[
        str | None,
        typer.Option("--from", metavar="DATE", help="First issue date; a year back if not given."),
    ] = None,
    to: Annotated[
        str | None,
        typer.Option("--to", metavar="DATE", help="Last issue date; as late as can be judged."),
    ] = None,
    every: Annotated[int, typer.Option(help="Days between issue dates.", min=1)] = 14,
    horizon: Annotated[int, typer.Option(help="Days ahead.", min=1, max=90)] = 30,
    weather: Annotated[
        str,
        typer.Option(
            help="Weather ahead: past-years (a lower bound), observed (an upper bound) or both."
        ),
    ] = "both",
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write every forecast beside what came.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", help="Write chances said against what came, as SVG.")
    ] = None,
    processes: Annotated[int, typer.Option(help="How many to work with.", min=1, max=64)] = 2,
    offline: Offline = False,
    as_json: Json = False,
) -> None:
    """Try the outlook on the yard's own past: issue it from past dates, compare with what came.

    Example: flowcast backtest sample_yards/subtropical-coast --every 28
    """
    first, last = span_of(from_, to)
    from flowcast import pipeline
    from flowcast.report import data, screen, trust

    trust.must_be_new(csv)  # before the work, not after it
    modes = pipeline.MODES if weather == "both" else (weather,)
    with progress("Looking back") as tell:
        found = pipeline.backtest(
            yard,
            first=first,
            last=last,
            every=every,
            horizon=horizon,
            modes=modes,
            processes=processes,
            reach=pipeline.Reach(offline=offline, tell=tell),
        )
    show_with(
        _written(found, csv, picture), found, data.backtest_data, screen.backtest_text, as_json
    )


def _written(found, csv: Path | None, picture: Path | None) -> list[str]:
    """The files that were asked for beside the words."""
    from flowcast.report import trust

    written = [str(trust.write_csv(found, csv))] if csv else []
    return written + ([str(_picture(found, picture))] if picture else [])


def _picture(found, path: Path) -> Path:
    """The picture of chances said against what came, written."""
    from flowcast.plots.canvas import draw_alone
    from flowcast.plots.trust import draw_reliability
    from flowcast.report.page import write_page

    say = found.record.yard.say
    svg = draw_alone("reliability", lambda figure: draw_reliability(figure, found), (5, 5), say)
    return write_page(svg, path)
