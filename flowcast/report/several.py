"""Several yards: a page each, and a front page that ranks them by what needs doing first."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
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
) -> tuple[dict, Path]:
    """Write every yard's page and the front page; one yard is held in memory at a time.

    Parameters
    ----------
    folders : list of Path
        From `yards_in`.
    look : callable
        A yard's folder to all that its page tells.
    out : Path
        The folder to write into.
    tell : callable
        Told what is being done and how far it is, 0 to 1.
    with_data : bool
        Whether each yard's own data are kept for the first result; they take some megabytes a yard.

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
    told = Told()
    for done, (folder, name) in enumerate(zip(folders, _file_names(folders), strict=True)):
        tell(f"{folder.name}, {done + 1} of {len(folders)}", done / len(folders))
        try:
            found = look(folder)
        except FlowcastError as error:
            told.failed.append((folder.name, str(error)))
            continue
        shown = sections(found)
        page.write_page(page.render_sections(shown, up=FRONT), out / name)
        told.lines.append(_line(found, name))
        if with_data:
            told.data.append(report_data(found, shown) | {"page": str(out / name)})
    if not told.lines:
        raise InputError(" ".join(said for _, said in told.failed))
    told.lines.sort(key=lambda line: line.order)
    return front_data(told), page.write_page(render_front(told), out / FRONT)


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
        plot_yards(frame, ax=figure.subplots(), per_km=per_km, unit=length)

    svg = draw_svg("map", draw, size)
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
