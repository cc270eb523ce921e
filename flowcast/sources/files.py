"""The yard's own observation files: scale logs and weather."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast.errors import InputError, SourceUnavailable, TimeIndexError
from flowcast.messages import Amount, Note
from flowcast.reading import KG_PER, TextTable, numbers_in, read_table, stamps_in
from flowcast.tables import DAILY_WEATHER, SCALE, WEATHER, check_bounds
from flowcast.yard.folder import Yard
from flowcast.yard.settings import HiveSection, ScaleSection

# Column endings that name another unit: (our column ending, factor, offset), value * factor + offset.
UNITS = {
    "_f": ("_c", 5 / 9, -160 / 9),
    "_in": ("_mm", 25.4, 0.0),
    "_kmh": ("_ms", 1 / 3.6, 0.0),
    "_mph": ("_ms", 0.44704, 0.0),
    "_kn": ("_ms", 1852 / 3600, 0.0),
    "_okta": ("_pct", 12.5, 0.0),
}
TIME_NAMES = ("time_utc", "time_local", "time", "date")


@dataclass(frozen=True)
class ScaleFile:
    """Readings of one hive as they stand in its files: weight_kg on UTC stamps, not yet cleaned.

    changed: the first stamps of the scales that replaced another.
    """

    hive: str
    name: str
    unit: str
    readings: pd.DataFrame
    notes: list[str] = field(default_factory=list)
    changed: pd.DatetimeIndex = field(default_factory=lambda: pd.DatetimeIndex([], tz="UTC"))


@dataclass(frozen=True)
class WeatherFile:
    """The yard's own weather: hourly (UTC, end of hour) or daily (local dates)."""

    table: pd.DataFrame
    daily: bool
    name: str
    notes: list[str] = field(default_factory=list)


def read_scale(yard: Yard, hive: HiveSection) -> ScaleFile:
    """All weights of one hive in kg on UTC stamps.

    Raises
    ------
    InputError
        Naming file, line and cure when a column is missing or a cell cannot be read.
    """
    if not hive.scales:
        raise InputError(f"hive {hive.name!r} has no scale in yard.toml.")
    timezone = yard.place.timezone
    read = [_read_scale(yard.folder, hive.name, scale, timezone) for scale in hive.scales]
    read = [(_within_stay(readings, hive, timezone), said) for readings, said in read]
    readings, changed, notes = _one_after_the_other(hive.name, [part for part, _ in read])
    notes = [note for _, said in read for note in said] + notes
    names = dict.fromkeys(name for scale in hive.scales for name in scale.files)
    return ScaleFile(hive.name, ", ".join(names), hive.scales[-1].unit, readings, notes, changed)


def _read_scale(
    folder: Path, hive: str, scale: ScaleSection, timezone: str
) -> tuple[pd.DataFrame, list[str]]:
    """All files of one scale; where they overlap the cleaner counts what stands twice."""
    parts, notes = [], []
    for name in scale.files:
        readings, said = _read_scale_file(folder / name, hive, scale, timezone)
        parts.append(readings)
        notes += said
    return pd.concat(parts) if len(parts) > 1 else parts[0], notes


def _one_after_the_other(
    hive: str, parts: list[pd.DataFrame]
) -> tuple[pd.DataFrame, pd.DatetimeIndex, list[str]]:
    """Readings of scales that replaced one another: each counts until the next one begins."""
    parts = sorted((part for part in parts if len(part)), key=lambda part: part.index.min())
    if len(parts) < 2:
        return parts[0] if parts else pd.DataFrame({"weight_kg": []}), _no_stamps(), []
    begins = [part.index.min() for part in parts]
    kept = [part[part.index < after] for part, after in zip(parts, begins[1:], strict=False)]
    lost = sum(len(part) for part in parts[:-1]) - sum(len(part) for part in kept)
    notes = []
    if lost:
        notes.append(Note.of("files.replaced_scale", hive=hive, n=lost))
    return pd.concat([*kept, parts[-1]]), pd.DatetimeIndex(begins[1:]), notes


def _no_stamps() -> pd.DatetimeIndex:
    return pd.DatetimeIndex([], tz="UTC")


def _read_scale_file(
    path: Path, hive: str, scale: ScaleSection, timezone: str
) -> tuple[pd.DataFrame, list[str]]:
    table = read_table(path, scale.separator)
    _need_rows(table)
    table = _rows_of_hive(table, hive, scale)
    index = stamps_in(table, scale.time, scale.clock, timezone, scale.dates)
    cells = [numbers_in(table, name, scale.decimal) for name in scale.weights]
    weight = np.sum(cells, axis=0) * KG_PER[scale.unit]
    if np.isnan(weight).all():
        names = ", ".join(map(repr, scale.weights))
        raise InputError(
            f"{path.name}: column {names} holds no number. Name the weight column in yard.toml."
        )
    readings = pd.DataFrame({"weight_kg": weight}, index=index)
    sane = readings.where(readings["weight_kg"].between(-500, 2000))
    check_bounds(sane, SCALE, where=path.name)
    wild = int(readings["weight_kg"].notna().sum() - sane["weight_kg"].notna().sum())
    notes = list(table.notes)
    if wild:
        notes.append(Note.of("files.wild_weights", file=path.name, n=wild, unit=scale.unit))
    return sane, notes


def _rows_of_hive(table: TextTable, hive: str, scale: ScaleSection) -> TextTable:
    """Of a file with all hives below one another, the rows of this one."""
    if scale.hive_column is None:
        return table
    name = scale.hive_name or hive
    there = table.column(scale.hive_column).str.strip()
    own = (there.str.lower() == name.strip().lower()).to_numpy()
    if not own.any():
        names = ", ".join(sorted(set(there))[:12])
        raise InputError(
            f"{table.path.name}: no row of hive {name!r} in column {scale.hive_column!r}. The file "
            f"has: {names}. Write hive_name as it stands there."
        )
    return table.rows(own)


def _need_rows(table: TextTable) -> None:
    if table.cells.empty:
        raise InputError(
            f"{table.path.name}: a header and no rows. Put the data in, or take the file out of yard.toml."
        )


def doubtful_unit(file: ScaleFile, readings: pd.DataFrame) -> list[str]:
    """A unit is never guessed, but a median that few hives have is worth a word.

    Parameters
    ----------
    readings : DataFrame
        The part of the file's readings that may be looked at.
    """
    typical = float(readings["weight_kg"].median())
    told = {"file": file.name, "hive": file.hive, "kg": Amount(typical, "kg")}
    if typical > 130:
        return [Note.of("files.very_heavy", **told)]
    if 0 < typical < 4:
        return [Note.of("files.very_light", **told, unit=file.unit)]
    return []


def _within_stay(readings: pd.DataFrame, hive: HiveSection, timezone: str) -> pd.DataFrame:
    """Only what was weighed while the hive stood at this yard."""
    local = readings.index.tz_convert(timezone).tz_localize(None)
    keep = np.ones(len(readings), bool)
    if hive.from_:
        keep &= local >= pd.Timestamp(hive.from_)
    if hive.to:
        keep &= local < pd.Timestamp(hive.to) + pd.Timedelta(days=1)
    return readings[keep]


def weather_path(yard: Yard) -> Path | None:
    """The yard's own weather file: the one yard.toml names, else weather.csv or weather.csv.gz."""
    if yard.folder is None:
        return None
    if yard.settings.weather.file:
        return yard.folder / yard.settings.weather.file
    found = [yard.folder / n for n in ("weather.csv.gz", "weather.csv")]
    return next((path for path in found if path.is_file()), None)


def read_weather(yard: Yard) -> WeatherFile:
    """The yard's own weather in our columns and units.

    Columns are those of `tables.WEATHER` (hourly) or `tables.DAILY_WEATHER` (daily), or the same
    with another unit in the name (temp_f, precip_in, wind_kmh, wind_mph, wind_kn, cloud_okta);
    `[weather] columns = { temp_max_c = "their name" }` maps any other header.

    Raises
    ------
    SourceUnavailable
        When the yard has no weather file.
    InputError
        When the file cannot be understood; names file, line and cure.
    """
    path = weather_path(yard)
    if path is None:
        raise SourceUnavailable(
            f"{yard.folder.name}: no weather. Put weather.csv in the folder, or name a file in yard.toml "
            "under [weather] with file = ..."
        )
    settings = yard.settings.weather
    table = read_table(path, settings.separator)
    _need_rows(table)
    time = settings.time or next((n for n in TIME_NAMES if table.has(n)), "time")
    table.column(time, 'Name the right one under [weather] in yard.toml: time = "their name".')
    values = _weather_columns(table, time, settings.columns, settings.decimal)
    daily = "temp_max_c" in values or "temp_min_c" in values
    frame = pd.DataFrame(values, index=_weather_index(table, time, daily, yard))
    _need_columns(frame, daily, path.name)
    frame = _clip_slack(frame)
    check_bounds(frame, DAILY_WEATHER if daily else WEATHER, where=path.name)
    frame, notes = _in_order(frame, path.name)
    return WeatherFile(frame, daily, path.name, [*table.notes, *notes])


def _weather_index(table: TextTable, time: str, daily: bool, yard: Yard) -> pd.DatetimeIndex:
    if daily:
        days = (
            stamps_in(table, time, "utc", "UTC", yard.settings.weather.dates)
            .tz_localize(None)
            .normalize()
        )
        return pd.DatetimeIndex(days, name="date")
    clock = yard.settings.weather.clock or ("utc" if time == "time_utc" else "local")
    dates = yard.settings.weather.dates
    return stamps_in(table, time, clock, yard.place.timezone, dates).rename("time")


def _weather_columns(
    table: TextTable, time: str, mapping: dict[str, str], decimal: str | None
) -> dict[str, np.ndarray]:
    theirs = {their: our for our, their in mapping.items()}
    for their in theirs:
        table.column(their)
    values = {}
    for header in table.cells.columns:
        our, factor, offset = _our_column(theirs.get(header, header))
        if header != time and our:
            values[our] = numbers_in(table, header, decimal) * factor + offset
    return values


def _our_column(name: str) -> tuple[str | None, float, float]:
    name = name.strip().lower()
    known = WEATHER | DAILY_WEATHER
    if name in known:
        return name, 1.0, 0.0
    for ending, (ours, factor, offset) in UNITS.items():
        if name.endswith(ending) and name.removesuffix(ending) + ours in known:
            return name.removesuffix(ending) + ours, factor, offset
    return None, 1.0, 0.0


def _need_columns(frame: pd.DataFrame, daily: bool, name: str) -> None:
    needs = ("temp_max_c", "temp_min_c", "precip_mm") if daily else ("temp_c", "precip_mm")
    for column in needs:
        if column not in frame:
            raise InputError(
                f"{name}: no column {column!r}. The least it needs is time, temp_c and precip_mm each "
                "hour, or date, temp_max_c, temp_min_c and precip_mm each day; "
                "[weather] columns = { " + column + ' = "their name" } maps another header, '
                "and temp_f, precip_in and their like one in Fahrenheit or inches."
            )


def _clip_slack(frame: pd.DataFrame) -> pd.DataFrame:
    """Sensors overshoot their ends a little: 101 % humidity, -2 W/m2 at night, -0.0 mm."""
    slack = {
        "rh_pct": (-2, 0, 100, 105),
        "cloud_pct": (-2, 0, 100, 105),
        "ghi_wm2": (-20, 0, None, None),
    }
    for name, (least, low, high, most) in slack.items():
        if name in frame:
            near = frame[name].ge(least) & (frame[name].le(most) if most else True)
            frame[name] = frame[name].where(~near, frame[name].clip(low, high))
    return frame


def _in_order(frame: pd.DataFrame, name: str) -> tuple[pd.DataFrame, list[str]]:
    notes = []
    twice = frame.index.duplicated()
    if twice.any():
        first = frame.index[twice][0]
        count = int(twice.sum())
        notes.append(Note.of("files.twice", file=name, n=count, first=str(first)))
        frame = frame[~twice]
    if not frame.index.is_monotonic_increasing:
        notes.append(Note.of("files.sorted", file=name))
        frame = frame.sort_index()
    if len(frame) > 1 and frame.index[-1] - frame.index[0] > pd.Timedelta(days=366 * 200):
        raise TimeIndexError(
            f"{name}: stamps span {frame.index[0]} to {frame.index[-1]}. Mend the years."
        )
    return frame, notes
