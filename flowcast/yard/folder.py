"""The yard folder: what the keeper wrote, read whole and checked, never written to."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import ValidationError

from flowcast.errors import InputError, TimeIndexError
from flowcast.messages import Note, Say, read_words
from flowcast.numbers import Numbers, load_numbers
from flowcast.reading import KG_PER, read_rows, slash_order, stamp_of, to_utc
from flowcast.tables import WORK_SIGN, Place
from flowcast.yard.settings import (
    FILE_NAME,
    ForageSection,
    HiveSection,
    Settings,
    YardSection,
    flat_numbers,
    line_of,
    read_settings,
)

WORK_COLUMNS = ("date", "time", "hive", "what", "kg", "lb", "note")
BLOOM_COLUMNS = ("date", "plant", "stage")
BEETLE_COLUMNS = (
    "date",
    "hive",
    "days",
    "beetles",
    "larvae",
    "trap",
    "frames_of_bees",
    "queenright",
)
OTHER_WEIGHTS = ("lbs", "pounds", "g", "grams", "weight", "weight_kg", "weight_lb")
BLOOM_STAGES = ("buds none", "buds heavy", "first", "full", "over")
NO_HEIGHT = Note.of("place.no_height")
TRAPS = ("oil tray", "dry tray", "between frames")


@dataclass(frozen=True)
class Yard:
    """One yard as its keeper describes it.

    work: time (UTC), timed (bool), hive, what, kg (NaN: to be measured), note.
    bloom: date, plant, stage. beetles: date, hive, days, beetles, larvae, trap, frames_of_bees,
    queenright. `notes` tell what was doubtful but could be used. folder is None for a
    point on the map with no files behind it. say: how the keeper wants to be spoken to. learn_from: folders
    of the keeper's other yards whose logs are to tell of this one too.
    """

    folder: Path | None
    settings: Settings
    place: Place
    numbers: Numbers
    work: pd.DataFrame
    bloom: pd.DataFrame
    beetles: pd.DataFrame
    notes: tuple[Note, ...] = ()
    say: Say = field(default_factory=Say)
    learn_from: tuple[Path, ...] = ()

    @property
    def name(self) -> str:
        """The yard's name."""
        return self.settings.yard.name

    @property
    def is_place(self) -> bool:
        """A point on the map and nothing else."""
        return self.folder is None

    @property
    def hives(self) -> list[HiveSection]:
        """The hives, in the order of yard.toml."""
        return self.settings.hive

    @property
    def forage(self) -> list[ForageSection]:
        """The plants the keeper names."""
        return self.settings.forage

    @property
    def flow_day_kg(self) -> float:
        """Yard-median daily net gain from which a day counts as a flow day. [kg]"""
        return self.settings.yard.flow_day_kg or self.numbers["flow.flow_day_kg"]

    def work_of(self, hive: str) -> pd.DataFrame:
        """The lines of work.csv about one hive."""
        return self.work[self.work["hive"] == hive].reset_index(drop=True)


def read_yard(folder: Path | str, *, alone: bool = False) -> Yard:
    """The yard in this folder; alone: whatever other yards it is told to learn from.

    Raises
    ------
    InputError
        At the first thing that cannot be understood, with file, line and cure.
    """
    folder = Path(folder)
    settings, text = read_settings(folder)
    place, notes = _place(settings, text)
    numbers = load_numbers(_overrides(settings))
    hives = {hive.name for hive in settings.hive}
    habit = _habit(folder, settings)
    return Yard(
        folder=folder,
        settings=settings,
        place=place,
        numbers=numbers,
        work=_read_work(folder / "work.csv", hives, place.timezone, habit),
        bloom=_read_bloom(folder / "bloom.csv", habit),
        beetles=_read_beetles(folder / "beetles.csv", hives, habit),
        notes=(
            *notes,
            *_unread(folder / "work.csv", WORK_COLUMNS),
            *_unread(folder / "bloom.csv", BLOOM_COLUMNS),
            *_unread(folder / "beetles.csv", BEETLE_COLUMNS),
        ),
        say=_say(settings.yard, folder, text),
        learn_from=() if alone else _learn_from(settings, folder, text),
    )


def _learn_from(settings: Settings, folder: Path, text: str) -> tuple[Path, ...]:
    """The folders of the other yards, each once; whether they can be read is seen later."""
    line = line_of(text, "yard", 0, "learn_from")
    found = []
    for name in settings.yard.learn_from:
        path = (folder / name).resolve()
        problem = _cannot_teach(path, folder.resolve())
        if problem:
            raise InputError(f"{FILE_NAME}, line {line}: learn_from = {name!r}: {problem}")
        found += [path] if path not in found else []
    return tuple(found)


def _cannot_teach(path: Path, own: Path) -> str:
    """Why nothing can be learned from the yard in this folder, with the cure; "" where it can."""
    if path == own:
        return "this is the yard itself. Name your other yards only."
    if not path.is_dir():
        return "no such folder. Write the path from this yard's folder to the other's."
    if not (path / FILE_NAME).is_file():
        return f"no {FILE_NAME} in it. Name the folder of another yard."
    try:
        other, _ = read_settings(path)
    except InputError:
        return ""  # said where its files are read
    if not any(hive.scale for hive in other.hive):
        return "no hive of that yard has a scale log. Name a yard whose hives are weighed."
    return ""


def yard_at(name: str, latitude: float, longitude: float, elevation_m: float | None = None) -> Yard:
    """A yard that is a place on the map and nothing else: no folder, no hives, no stated bloom.

    Raises
    ------
    InputError
        When the place is no place on land, or too near a pole for bees.
    """
    label = name or _coordinates(latitude, longitude)
    try:
        section = YardSection(
            name=label, latitude=latitude, longitude=longitude, elevation_m=elevation_m
        )
    except ValidationError:
        raise InputError(
            f"{label}: latitude must lie between -66.6 and 71, longitude between -180 and 180; "
            "latitude comes first."
        ) from None
    settings = Settings(yard=section)
    try:
        place, notes = _place(settings, "")
    except InputError:
        raise InputError(f"{label} lies in the sea. Latitude comes first; mend it.") from None
    return Yard(
        folder=None,
        settings=settings,
        place=place,
        numbers=load_numbers(),
        work=_read_work(None, set(), place.timezone),
        bloom=_read_bloom(None),
        beetles=_read_beetles(None, set()),
        notes=tuple(notes),
    )


def _say(yard: YardSection, folder: Path, text: str) -> Say:
    """In English, or as the file words-LANGUAGE.toml in the folder has it."""
    if yard.language == "en":
        return Say(dates=yard.dates, units=yard.units)
    path = folder / f"words-{yard.language}.toml"
    if not path.is_file():
        line = line_of(text, "yard", 0, "language")
        raise InputError(
            f"{FILE_NAME}, line {line}: language = {yard.language!r}, but there is no {path.name} beside "
            "it. Copy flowcast/messages/en.toml there under that name and translate it."
        )
    return Say(read_words(path, yard.language), yard.dates, yard.units)


def _coordinates(latitude: float, longitude: float) -> str:
    ns, ew = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{abs(latitude):g}° {ns}, {abs(longitude):g}° {ew}"


def _overrides(settings: Settings) -> dict[str, float]:
    overrides = flat_numbers(settings.numbers)
    if settings.weather.shelter is not None:
        overrides["foraging.shelter"] = settings.weather.shelter
    return overrides


def _place(settings: Settings, text: str) -> tuple[Place, list[str]]:
    yard = settings.yard
    timezone, notes = _timezone(settings, text)
    if yard.elevation_m is None:
        notes.append(NO_HEIGHT)
    midwinter = (1, 1) if yard.latitude >= 0 else (7, 1)
    start = yard.season_start
    season_start = (int(start[:2]), int(start[3:])) if start else midwinter
    return Place(
        yard.latitude, yard.longitude, yard.elevation_m or 0.0, timezone, season_start
    ), notes


def _timezone(settings: Settings, text: str) -> tuple[str, list[str]]:
    """The yard's time zone; looked up from the coordinates, which the look-up also checks."""
    import tzfpy

    yard = settings.yard
    found = tzfpy.get_tz(yard.longitude, yard.latitude) or ""
    at_sea = not found or found.startswith("Etc/")
    if at_sea:
        sentence = f"latitude {yard.latitude:g}, longitude {yard.longitude:g} lie in the sea"
        if abs(yard.longitude) <= 66 and not _is_sea(yard.longitude, yard.latitude):
            sentence += "; changed round they lie on land, so they are likely swapped"
        if yard.timezone is None:
            line = line_of(text, "yard", 0, "latitude")
            raise InputError(
                f"{FILE_NAME}, line {line}: {sentence}. Mend them, or, for a yard right at the "
                "shore, add timezone."
            )
        return _known_zone(yard.timezone, text), [_at_sea(yard)]
    return (_known_zone(yard.timezone, text) if yard.timezone else found), []


def _at_sea(yard: YardSection) -> Note:
    swapped = abs(yard.longitude) <= 66 and not _is_sea(yard.longitude, yard.latitude)
    place = {"latitude": f"{yard.latitude:g}", "longitude": f"{yard.longitude:g}"}
    return Note.of("place.at_sea_swapped" if swapped else "place.at_sea", **place)


def _is_sea(latitude: float, longitude: float) -> bool:
    import tzfpy

    zone = tzfpy.get_tz(longitude, latitude) or "Etc/"
    return zone.startswith("Etc/")


def _known_zone(name: str, text: str) -> str:
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        line = line_of(text, "yard", 0, "timezone")
        raise InputError(
            f"{FILE_NAME}, line {line}: no time zone is called {name!r}. Leave the line out (it is "
            'looked up from the coordinates), or write one such as "Europe/Prague".'
        ) from None
    return name


class _Row:
    """One line of a hand-written CSV; what cannot be understood is said with its line."""

    def __init__(self, file: str, line: int, cells: dict[str, str], slashes: str = "day first"):
        self.file, self.line, self.cells, self.slashes = file, line, cells, slashes

    def fail(self, problem: str, cure: str) -> InputError:
        """The error that names this line."""
        return InputError(f"{self.file}, line {self.line}: {problem}. {cure}")

    def text(self, name: str) -> str:
        """What stands in a column; nothing where there is none."""
        return self.cells.get(name, "")

    def choice(self, name: str, known: tuple[str, ...] | set[str] | dict, empty: str = "") -> str:
        """One of the known words, `empty` where nothing is written."""
        written = self.text(name)
        if not written and empty:
            return empty
        if not written:
            raise self.fail(f"{name} is empty", f"Write one of: {', '.join(sorted(known))}.")
        alike = [word for word in known if word.lower() == written.lower()]
        if len(alike) == 1:
            return alike[0]
        close = get_close_matches(written, known, n=1)
        hint = f"Did you mean {close[0]!r}? " if close else ""
        raise self.fail(
            f"{name} is {written!r}, which is not known",
            f"{hint}Known: {', '.join(sorted(known))}."
            + (" Write a line for each hive." if name == "hive" else ""),
        )

    def number(self, name: str) -> float:
        """A number that is not negative; NaN where nothing is written."""
        cell = self.text(name).replace(",", ".")
        if not cell:
            return np.nan
        try:
            value = float(cell)
        except ValueError:
            raise self.fail(
                f"{name} is {cell!r}, no number", "Write one or leave it empty."
            ) from None
        if not 0 <= value < 10000:
            way = "It cannot be negative; the word says which way." if name == "kg" else ""
            raise self.fail(f"{name} is {cell}", way or "Write a number from 0 to 9999.")
        return value

    def within(
        self, name: str, least: float, most: float, cure: str, *, needed: bool = True
    ) -> float:
        """A number within these bounds; NaN where it is empty and not needed."""
        value = self.number(name)
        if not least <= value <= most and (needed or not np.isnan(value)):
            raise self.fail(f"{name} is {self.text(name)!r}", cure)
        return value

    def stamp(self) -> tuple[pd.Timestamp, bool]:
        """The line's time, noon of a mere date, and whether an hour was written."""
        cell = self.text("date") or self.text("time")
        stamp = stamp_of(cell, self.slashes)
        if pd.isna(stamp) or not 1950 <= stamp.year <= 2200:
            raise self.fail(f"{cell!r} is no date", "Write it as 2026-05-31 or 2026-05-31 14:00.")
        timed = re.search(r"\d[T ]\d", cell) is not None
        return (stamp if timed else stamp.normalize() + pd.Timedelta(hours=12)), timed

    def day(self) -> date:
        """The line's date."""
        return self.stamp()[0].date()


def _rows(path: Path | None, needs: tuple[str, ...], habit: str | None = None) -> list[_Row]:
    if path is None or not path.is_file():
        return []
    read = read_rows(path)
    slashes = _slashes(path.name, read, habit)
    rows = [_Row(path.name, line, cells, slashes) for line, cells in read]
    for name in needs:
        if rows and name not in rows[0].cells and not (name == "date" and "time" in rows[0].cells):
            raise InputError(
                f"{path.name}, line 1: no column {name!r}. Its first line names the columns: "
                f"{', '.join(needs)}."
            )
    return rows


def _slashes(file: str, rows: list[tuple[int, dict[str, str]]], habit: str | None) -> str:
    """Which comes first in this file's dates such as 03/04/2025: as they tell, else the keeper's habit."""
    try:
        return slash_order(_dates(rows))
    except TimeIndexError as error:
        if habit:
            return habit
        raise InputError(f"{file}: {error}") from None


def _habit(folder: Path, settings: Settings) -> str | None:
    """The order that yard.toml states for any file, or that any of the keeper's own tables tells."""
    files = [scale.dates for hive in settings.hive for scale in hive.scales]
    stated = next((dates for dates in (*files, settings.weather.dates) if dates), None)
    for name in ("work.csv", "bloom.csv", "beetles.csv"):
        path = folder / name
        written = _dates(read_rows(path)) if path.is_file() and not stated else _dates([])
        if written.str.contains("/").any():
            with suppress(TimeIndexError):
                return slash_order(written)
    return stated


def _dates(rows: list[tuple[int, dict[str, str]]]) -> pd.Series:
    return pd.Series([cells.get("date") or cells.get("time", "") for _, cells in rows], dtype=str)


def _unread(path: Path, known: tuple[str, ...]) -> list[Note]:
    """A word on columns that are there and mean nothing to us; a weight in another unit is no such."""
    rows = read_rows(path) if path.is_file() else []
    others = [name for name in (rows[0][1] if rows else ()) if name and name not in known]
    weights = [name for name in others if name.lower() in OTHER_WEIGHTS]
    if weights:
        raise InputError(
            f"{path.name}, line 1: a column {weights[0]!r}. Weights stand here in a column called kg, "
            "or lb for pounds. Write its name so."
        )
    if not others:
        return []
    columns = tuple(map(repr, others))
    return [Note.of("files.columns_not_read", file=path.name, columns=columns, known=known)]


def _read_work(
    path: Path | None, hives: set[str], timezone: str, habit: str | None = None
) -> pd.DataFrame:
    rows = _rows(path, ("date", "hive", "what"), habit)
    table = pd.DataFrame(
        _each(rows, lambda row: _work(row, hives)),
        columns=["time", "timed", "hive", "what", "kg", "note"],
    )
    table["time"] = _utc(table["time"], timezone)
    return table.sort_values("time", kind="stable").reset_index(drop=True)


def _work(row: _Row, hives: set[str]) -> dict:
    time, timed = row.stamp()
    return {
        "time": time,
        "timed": timed,
        "hive": row.choice("hive", hives),
        "what": row.choice("what", WORK_SIGN),
        "kg": _kg(row),
        "note": row.text("note"),
    }


def _kg(row: _Row) -> float:
    """The weight of a line, whichever of its two columns holds it."""
    kg, lb = row.number("kg"), row.number("lb") * KG_PER["lb"]
    if not np.isnan(kg) and not np.isnan(lb):
        raise row.fail("a weight in kg and one in lb", "Leave one of them.")
    return lb if np.isnan(kg) else kg


def _each(rows: list[_Row], read: Callable[[_Row], dict]) -> list[dict]:
    """All rows read; every line that cannot be understood is named, in a line each."""
    found, wrong = [], []
    for row in rows:
        try:
            found.append(read(row))
        except InputError as error:
            wrong.append(str(error))
    if wrong:
        raise InputError("\n".join(dict.fromkeys(wrong)))
    return found


def _utc(times: pd.Series, timezone: str) -> pd.DatetimeIndex:
    """Local stamps as UTC, one by one, since hand-written lines stand in any order."""
    stamps = [
        t.tz_convert("UTC") if t.tzinfo else to_utc(pd.DatetimeIndex([t]), "local", timezone)[0]
        for t in times
    ]
    return pd.DatetimeIndex(stamps, tz="UTC").as_unit("ns")


def _read_bloom(path: Path | None, habit: str | None = None) -> pd.DataFrame:
    rows = _rows(path, ("date", "plant", "stage"), habit)
    table = pd.DataFrame(_each(rows, _bloom), columns=["date", "plant", "stage"])
    return table.sort_values("date", kind="stable", ignore_index=True)


def _bloom(row: _Row) -> dict:
    return {
        "date": pd.Timestamp(row.day()),
        "plant": row.text("plant"),
        "stage": row.choice("stage", BLOOM_STAGES),
    }


def _read_beetles(path: Path | None, hives: set[str], habit: str | None = None) -> pd.DataFrame:
    seen: dict[tuple, int] = {}

    def once(row: _Row) -> dict:
        """The count of a line, refused where the same trap stands on this date already."""
        count = _count(row, hives)
        trap = (count["date"], count["hive"], count["trap"])
        if trap in seen:
            first = f"this hive's {count['trap']} of this date stands in line {seen[trap]} already"
            raise row.fail(first, "Leave one of them, or add two traps up.")
        seen[trap] = row.line
        return count

    rows = _rows(path, ("date", "hive", "days", "beetles"), habit)
    table = pd.DataFrame(_each(rows, once), columns=list(BEETLE_COLUMNS))
    return table.sort_values("date", kind="stable", ignore_index=True)


def _count(row: _Row, hives: set[str]) -> dict:
    return {
        "date": pd.Timestamp(row.day()),
        "hive": row.choice("hive", hives),
        "days": row.within("days", 1, 366, "Write for how many days the trap lay, such as 14."),
        "beetles": row.within("beetles", 0, 9999, "Write the number of adult beetles, 0 for none."),
        "larvae": row.choice("larvae", ("yes", "no", "slime"), empty="no") != "no",
        "trap": row.choice("trap", TRAPS, empty="oil tray"),
        "frames_of_bees": row.within(
            "frames_of_bees", 0, 40, "Write how many frames bees covered, up to 40.", needed=False
        ),
        "queenright": row.choice("queenright", ("yes", "no", "unknown"), empty="unknown"),
    }
