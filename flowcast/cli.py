"""The command line: parse, call one function, print. Heavy imports wait until a command runs."""

from __future__ import annotations

import gc
import re
import shlex
import sys
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from flowcast.errors import FlowcastError


class PlaceCommand(typer.core.TyperCommand):
    """A command that takes `--at LAT LON` as well as `--at "Town, Country"`."""

    def parse_args(self, ctx, args):
        """Join two numbers behind --at into one value, minus signs and all."""
        args = list(args)
        if "--at" in args:
            k = args.index("--at")
            pair = args[k + 1 : k + 3]
            if len(pair) == 2 and all(re.fullmatch(r"[-+]?\d+(\.\d+)?,?", word) for word in pair):
                args[k : k + 3] = [f"--at={' '.join(word.rstrip(',') for word in pair)}"]
        return super().parse_args(ctx, args)


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
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="LAT LON",
        help='A place in place of a yard: LAT LON, or "Town, Country".',
    ),
]
SomeYard = Annotated[
    Path | None, typer.Argument(help="The yard's folder, with yard.toml in it.", show_default=False)
]
SomeYards = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[YARD]...", help="Yards' folders, or a folder of them.", show_default=False
    ),
]
Page = Annotated[
    Path | None,
    typer.Option(
        "--out",
        "-o",
        help="The page to write, flowcast-NAME.html here if not given; for several yards "
        "the folder to write into.",
    ),
]
Offline = Annotated[
    bool, typer.Option("--offline", help="Ask no weather service; use what was pulled before.")
]
Refresh = Annotated[
    bool, typer.Option("--refresh", help="Ask the weather services again for all that may change.")
]
WeatherAhead = Annotated[
    str,
    typer.Option(
        help="Weather ahead: past-years (a lower bound), observed (an upper bound) or both."
    ),
]
Draws = Annotated[
    int, typer.Option("--scenarios", help="How many futures to draw.", min=100, max=20000)
]


@app.command(short_help="Make a yard: write a commented yard.toml.")
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
    check_it = f"flowcast check {shlex.quote(str(folder))}"
    said = f"Wrote {path}. Read it through, add what you know, then: {check_it}"
    _print(
        {"schema": "flowcast-new", "schema_version": 1, "file": str(path)} if as_json else said,
        as_json,
    )


@app.command(short_help="Bring the weather of a yard.")
def pull(
    yard: YardArgument,
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
    first, last = _day(from_, "--from"), _day(to, "--to")
    _in_order(first, last)
    from flowcast import pipeline
    from flowcast.report import data, screen

    with _bar("Pulling weather") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, first=first, last=last, tell=tell)
        found = pipeline.pull(yard, reach=reach)
    _print(data.pulled_data(found) if as_json else screen.pulled_text(found), as_json)


@app.command(short_help="Say what was understood of a yard.")
def check(
    yard: YardArgument,
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

    with _bar("Reading the yard") as tell:
        found = pipeline.check(yard, reach=pipeline.Reach(offline=offline, tell=tell))
    written = logs.write_logs(found, plot) if plot else []
    _print_with(written, found, data.check_data, screen.check_text, as_json)


@app.command(cls=PlaceCommand, short_help="Say whether a nectar flow is likely, and how sure.")
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
    found = _outlook("Working out the outlook", yard, at, as_of, offline, refresh, seed, scenarios)
    from flowcast.report import data, screen

    _print(data.outlook_data(found) if as_json else screen.outlook_text(found), as_json)


@app.command(cls=PlaceCommand, short_help="Say when beetles breed, and what a count means.")
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
    day = _one_place(yard, at, as_of)
    from flowcast import pipeline
    from flowcast.report import data, screen

    with _bar("Working out the beetles") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, tell=tell)
        found = pipeline.beetles(yard, at=at, as_of=day, seed=seed, reach=reach)
    _print(data.beetles_data(found) if as_json else screen.beetles_text(found), as_json)


@app.command(cls=PlaceCommand, short_help="Say why a season was what it was.")
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
    day, first, last = _one_place(yard, at, as_of), _day(from_, "--from"), _day(to, "--to")
    _in_order(first, last)
    if season and (first or last):
        raise typer.BadParameter("name a season, or --from and --to, one of the two.")
    from flowcast import pipeline
    from flowcast.report import data, screen

    with _bar("Looking into the season") as tell:
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
    _print(data.season_data(found) if as_json else screen.season_text(found), as_json)


@app.command(cls=PlaceCommand, short_help="Say when to super, split, feed, take and leave honey.")
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
    day, reading = _one_place(yard, at, as_of), _reading(refractometer)
    from flowcast import pipeline
    from flowcast.report import calendar, data, screen

    with _bar("Working out the dates") as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, tell=tell)
        found = pipeline.timing(yard, at=at, as_of=day, seed=seed, reading=reading, reach=reach)
    written = [str(calendar.write_calendar(found, ics))] if ics else []
    _print_with(written, found, data.timing_data, screen.timing_text, as_json)


@app.command(cls=PlaceCommand, short_help="Write a page a yard, and a front page for several.")
def report(
    yards: SomeYards = None,
    out: Page = None,
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
    day = _one_place(yards[0] if yards else None, at, as_of)
    asked = {"as_of": day, "seed": seed, "scenarios": scenarios, "trust": trust}
    reach = {"offline": offline, "refresh": refresh}
    found, path = _pages(yards or [], at, out, asked, reach, as_json, processes)
    if as_json:
        _print(found | {"page": str(path)}, as_json)
    else:
        typer.echo(f"The page is {path}. Open it in any browser.")
    if open_it:
        import webbrowser

        webbrowser.open(path.resolve().as_uri())


def _pages(yards: list[Path], at: str | None, out, asked: dict, reach: dict, as_json, processes):
    """One yard's page, or those of several, as data where asked, and the file to open."""
    from flowcast.report.several import yards_in

    folders = yards_in(yards)
    if len(folders) > 1 or folders != yards:
        return _several(folders, out, asked, reach, as_json, processes)
    return _single(folders[0] if folders else None, at, out, asked, reach, with_data=as_json)


def _single(
    folder: Path | None, at: str | None, out: Path | None, asked: dict, reach: dict, with_data: bool
):
    """One yard's page, and where asked the same as data."""
    from flowcast import pipeline
    from flowcast.report import page
    from flowcast.report.data import report_data
    from flowcast.report.sections import sections

    with _bar("Writing the page") as tell:
        reach = pipeline.Reach(tell=tell, **reach)
        found = pipeline.report(folder, at=at, reach=reach, **asked)
        tell("the pictures", 0.8)
        shown = sections(found)
        path = page.write_page(page.render_sections(shown), out or _page_name(folder, at))
    return report_data(found, shown) if with_data else None, path


def _several(
    folders: list[Path], out: Path | None, asked: dict, reach: dict, as_json: bool, processes: int
):
    """A page a yard and the front page; a yard that cannot be read is named there."""
    from flowcast.report import several

    look = partial(_look, asked=asked, reach=reach)
    with _bar("Writing the pages") as tell:
        into = out or Path("flowcast-yards")
        return several.write_pages(
            folders, look, into, tell, with_data=as_json, processes=processes
        )


def _look(folder: Path, asked: dict, reach: dict):
    """All that the page of one of several yards tells; at the top level, so that a process can have it."""
    from flowcast import pipeline

    return pipeline.report(folder, reach=pipeline.Reach(**reach), **asked)


@app.command(short_help="Try the outlook on the yard's own past.")
def backtest(
    yard: YardArgument,
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
    weather: WeatherAhead = "both",
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
    first, last = _day(from_, "--from"), _day(to, "--to")
    _in_order(first, last)
    from flowcast import pipeline
    from flowcast.report import data, screen, trust

    trust.must_be_new(csv)  # before the work, not after it
    modes = pipeline.MODES if weather == "both" else (weather,)
    with _bar("Looking back") as tell:
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
    written = _written(found, csv, picture)
    _print_with(written, found, data.backtest_data, screen.backtest_text, as_json)


def _written(found, csv: Path | None, picture: Path | None) -> list[str]:
    """The files that were asked for beside the words."""
    from flowcast.report import trust

    written = [str(trust.write_csv(found, csv))] if csv else []
    return written + ([str(_picture(found, picture))] if picture else [])


def _picture(found, path: Path) -> Path:
    from flowcast.plots.canvas import draw_alone
    from flowcast.plots.trust import draw_reliability
    from flowcast.report.page import write_page

    say = found.record.yard.say
    svg = draw_alone("reliability", lambda figure: draw_reliability(figure, found), (5, 5), say)
    return write_page(svg, path)


def _outlook(doing, yard, at, as_of, offline, refresh, seed, scenarios):
    """The outlook of a yard or of a place, whichever was named."""
    day = _one_place(yard, at, as_of)
    from flowcast import pipeline  # heavy, so only once the question is understood

    with _bar(doing) as tell:
        reach = pipeline.Reach(offline=offline, refresh=refresh, tell=tell)
        return pipeline.outlook(yard, at=at, as_of=day, seed=seed, scenarios=scenarios, reach=reach)


def _one_place(yard, at, as_of):
    """The issue date, once it is clear that one place was named."""
    if (yard is None) == (at is None):
        raise typer.BadParameter("name a yard's folder, or a place with --at, one of the two.")
    return _day(as_of, "--as-of")


def _page_name(yard: Path | None, at: str | None) -> Path:
    name = yard.resolve().name if yard else re.sub(r"[^\w.-]+", "-", at).strip("-")
    return Path(f"flowcast-{name}.html")


def _day(text: str | None, option: str):
    from datetime import date

    from flowcast.errors import InputError

    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{option} {text}: not understood as a date. Write it as 2026-05-31."
        ) from None
    if not 1900 <= day.year <= 2200:
        raise InputError(f"{option} {text}: no year of bees and weather. Mend the year.")
    return day


def _reading(text: str | None) -> tuple[float, float | None] | None:
    """A refractometer reading with the temperature behind an @, as numbers."""
    from flowcast.errors import InputError

    if text is None:
        return None
    try:
        reading, _, temp = text.replace(",", ".").partition("@")
        return float(reading), float(temp) if temp else None
    except ValueError:
        raise InputError(
            f"--refractometer {text}: not understood. Write the reading and, after an @, the honey's "
            "temperature in °C: 1.4915@24, or 18.2."
        ) from None


def _in_order(first, last) -> None:
    from flowcast.errors import InputError

    if first and last and first > last:
        raise InputError(f"--from {first} lies after --to {last}. Change them round.")


def _print(found, as_json: bool) -> None:
    from flowcast.errors import InputError

    if as_json:
        import json

        found = json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False)
    try:
        typer.echo(found)
    except BrokenPipeError:  # whoever reads has read enough
        raise
    except OSError as error:
        raise InputError(
            f"what was found cannot be written ({error.strerror}). Make room, or write elsewhere."
        ) from None


def _print_with(written: list[str], found, as_data, as_text, as_json: bool) -> None:
    """What was found, as data or in words, and the files written beside it."""
    if as_json:
        _print(as_data(found) | {"written": written}, as_json)
    else:
        _print("\n".join([as_text(found), *(f"Wrote {path}." for path in written)]), as_json)


@contextmanager
def _bar(doing: str):
    """What is being done and how far it is, while work lasts; nothing where there is no screen."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn

    if not gc.isenabled():
        gc.freeze()  # the libraries are loaded and stay: no sweep need look at them
        gc.enable()
    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(bar_width=24))
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(f"{doing} ...", total=None)

        def tell(words: str, share: float) -> None:
            """What is being done now, and the share that is behind."""
            bar.update(task, description=f"{doing}: {words}")
            if share:
                bar.update(task, total=1.0, completed=share)

        yield tell


def main() -> None:
    """Run the command line: exit 0 done, 1 an error of the user's data in one line, 2 usage."""
    gc.set_threshold(20_000, 20, 20)  # pictures are heaps of small objects: sweep them seldom
    gc.disable()  # until there is work: nothing that loads is waste
    try:
        app()
    except FlowcastError as error:
        typer.echo(f"flowcast: {error}", err=True)
        sys.exit(1)
