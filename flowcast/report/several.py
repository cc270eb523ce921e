"""Several yards: a page each, and a front page that ranks them by what needs doing first."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_all_start_methods, get_context
from pathlib import Path

import pandas as pd

from flowcast.errors import FlowcastError, InputError
from flowcast.messages import Say
from flowcast.plots.canvas import draw_svg
from flowcast.plots.yards import map_height_in, plot_yards
from flowcast.report import beetles, page, timing, words
from flowcast.report.data import report_data
from flowcast.report.figures import NARROW_IN, Figure
from flowcast.report.sections import sections
from flowcast.results import YardReport

FRONT = "index.html"


@dataclass(frozen=True)
class Line:
    """A yard on the front page.

    page: its file's name. due: the first date on which something is to be done, None where nothing
    is dated. alarm: what comes before any date. chance: of a flow within 30 days. say: how the yard is
    spoken to.
    """

    name: str
    page: str
    latitude: float
    longitude: float
    units: str
    issued: pd.Timestamp
    due: pd.Timestamp | None
    first: str
    answer: str
    chance: float
    alarm: str = ""
    say: Say = field(default_factory=Say)

    @property
    def order(self) -> tuple:
        """Alarms, then the earliest date, then the likeliest flow."""
        late = pd.Timestamp.max if self.due is None else self.due
        return (not self.alarm, late, -self.chance, self.name)


@dataclass
class Told:
    """What becomes of the yards asked for: lines, data by yard, and what could not be read."""

    lines: list[Line] = field(default_factory=list)
    data: list[dict] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)

    def add(self, written: _Written) -> None:
        """What became of one more yard."""
        self.lines += [written.line] if written.line else []
        self.data += [written.data] if written.data else []
        self.failed += [written.failed] if written.failed else []


@dataclass(frozen=True)
class _Job:
    """One yard's page to be written."""

    folder: Path
    page: Path
    look: Callable[[Path], YardReport]
    with_data: bool


@dataclass(frozen=True)
class _Written:
    """What became of one yard: its line and data, or its name and why it could not be read."""

    line: Line | None = None
    data: dict | None = None
    failed: tuple[str, str] | None = None


def yards_in(paths: list[Path]) -> list[Path]:
    """The yards' folders: each path that is one, and those in a path that holds several.

    Raises
    ------
    InputError
        When a folder holds no yard.toml, nor any folder with one.
    """
    found: list[Path] = []
    for path in paths:
        inside = (
            [] if _is_yard(path) or not path.is_dir() else sorted(filter(_is_yard, path.iterdir()))
        )
        if path.is_dir() and not inside and not _is_yard(path):
            raise InputError(
                f"{path}: no yard.toml in it, nor in a folder within it. Make a yard with: flowcast new"
            )
        found += inside or [path]
    return list(dict.fromkeys(found))


def _is_yard(path: Path) -> bool:
    return (path / "yard.toml").is_file()


def write_pages(
    folders: list[Path],
    look: Callable[[Path], YardReport],
    out: Path,
    tell: Callable[[str, float], None],
    *,
    with_data: bool = True,
    processes: int = 1,
) -> tuple[dict, Path]:
    """Write every yard's page and the front page; a process holds one yard in memory at a time.

    Parameters
    ----------
    folders : list of Path
        From `yards_in`.
    look : callable
        A yard's folder to all that its page tells; for several processes one that can be pickled.
    out : Path
        The folder to write into.
    tell : callable
        Told what is being done and how far it is, 0 to 1.
    with_data : bool
        Whether each yard's own data are kept for the first result; they take some megabytes a yard.
    processes : int
        How many to work with; they change no result.

    Returns
    -------
    dict, Path
        The same as data, and the front page.

    Raises
    ------
    InputError
        When nothing can be written there, or no yard could be read.
    """
    if out.suffix == ".html":
        raise InputError(f"--out {out}: several yards are written into a folder. Name one.")
    told, names = Told(), _file_names(folders)
    jobs = [_Job(f, out / n, look, with_data) for f, n in zip(folders, names, strict=True)]
    results = _each(jobs, processes)
    for done, job in enumerate(jobs):
        tell(f"{job.folder.name}, {done + 1} of {len(jobs)}", done / len(jobs))
        told.add(next(results))
    if not told.lines:
        raise InputError(" ".join(said for _, said in told.failed))
    told.lines.sort(key=lambda line: line.order)
    return front_data(told), page.write_page(render_front(told), out / FRONT)


def _each(jobs: list[_Job], processes: int) -> Iterator[_Written]:
    """What becomes of each yard, in order."""
    if processes == 1 or len(jobs) == 1:
        yield from map(_write, jobs)
        return
    with ThreadPoolExecutor(processes) as threads:
        yield from threads.map(_write_apart, jobs)


def _write_apart(job: _Job) -> _Written:
    """As `_write`, in a process of its own: whatever memory it took goes with it."""
    # Copies of a small server that has loaded all once; where there is none, begun anew.
    kind = "forkserver" if "forkserver" in get_all_start_methods() else "spawn"
    context = get_context(kind)
    if kind == "forkserver":
        context.set_forkserver_preload(["flowcast.pipeline", "flowcast.report.page"])
    with ProcessPoolExecutor(1, mp_context=context) as pool:
        return pool.submit(_write, job).result()


def _write(job: _Job) -> _Written:
    """Look at one yard and write its page; nothing of it stays in memory but what is given back."""
    try:
        found = job.look(job.folder)
    except FlowcastError as error:
        return _Written(failed=(job.folder.name, str(error)))
    shown = sections(found)
    page.write_page(page.render_sections(shown, up=FRONT), job.page)
    data = report_data(found, shown) | {"page": str(job.page)} if job.with_data else None
    return _Written(_line(found, job.page.name), data)


def front_data(told: Told) -> dict:
    """The JSON of `flowcast report` for several yards."""
    return {
        "schema": "flowcast-yards",
        "schema_version": 1,
        "order": [
            {
                k: str(v.date()) if isinstance(v, pd.Timestamp) else v
                for k, v in vars(line).items()
                if k != "say"
            }
            for line in told.lines
        ],
        "failed": [{"yard": name, "why": why} for name, why in told.failed],
        "yards": told.data,
    }


def render_front(told: Told) -> str:
    """The front page as HTML text, in the language of the yard that stands first on it."""
    say = told.lines[0].say
    dates = dict.fromkeys(sorted(line.issued for line in told.lines))
    return page.fill(
        "front.html",
        rows=told.lines,
        failed=told.failed,
        issued=say.listed(map(say.full_day, dates)),
        newest=max(dates),
        picture_of=_map(told.lines, say) if len(told.lines) > 1 else None,
        say=say,
    )


def _line(found: YardReport, name: str) -> Line:
    outlook, dates = found.outlook.outlook, found.dates
    entries = timing.entries(dates) if dates else []
    yard = found.outlook.record.yard
    return Line(
        yard.name,
        name,
        yard.place.latitude,
        yard.place.longitude,
        yard.say.units,
        outlook.issue_date,
        entries[0].date if entries else None,
        timing.answer(dates) if dates else "",
        words.answer(outlook, yard.say),
        float(outlook.window.chance),
        beetles.alarm(found.beetles) if found.beetles else "",
        yard.say,
    )


def _map(lines: list[Line], say: Say) -> Figure:
    """Where the yards lie to each other, numbered as they are ranked."""
    frame = pd.DataFrame(
        [(line.name, line.latitude, line.longitude) for line in lines],
        columns=["yard", "latitude", "longitude"],
    )
    size = (NARROW_IN, map_height_in(frame, NARROW_IN))
    units = {line.units for line in lines}
    per_km, length = replace(say, units=units.pop() if len(units) == 1 else "kg").length

    def draw(figure):
        """The yards where they lie, with a scale bar in the unit they share."""
        plot_yards(frame, ax=figure.subplots(), per_km=per_km, unit=length)

    svg = draw_svg("map", draw, size, say)
    north, west = frame["latitude"].idxmax(), frame["longitude"].idxmin()
    ends = {"north": frame["yard"][north], "west": frame["yard"][west]}
    alt, caption = say("map.finding", n=str(len(frame)), **ends), say("map.caption")
    header = [say(f"map.{key}") for key in ("yard", "latitude", "longitude")]
    rows = [
        [f"{n}. {row.yard}", *(f"{say.number(at, 3)}°" for at in (row.latitude, row.longitude))]
        for n, row in enumerate(frame.itertuples(), start=1)
    ]
    return Figure("map", svg, alt, caption, header, rows)


def _file_names(folders: list[Path]) -> list[str]:
    """A page's name for each folder; alike ones, and the front page's, told apart by a number."""
    names: list[str] = []
    for folder in folders:
        stem = re.sub(r"[^\w.-]+", "-", folder.resolve().name).strip("-.") or "yard"
        taken = {FRONT, *(name.lower() for name in names)}
        tries = (f"{stem}{k}.html" for k in ["", *(f"-{n}" for n in range(2, len(folders) + 2))])
        names.append(next(name for name in tries if name.lower() not in taken))
    return names
