"""One file of a weather station: the hours it measured, in our columns and units.

The files are of the public library meteostat, but its own reader tells a broken file and a lost network
no better than "no data", takes the time from the first columns whatever they are called, and lets
joined sources with a model in them pass as measured. Parsing by header with pandas is shorter than
guarding against all that.
"""

from __future__ import annotations

import gzip
import io
import re
import zlib
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import pandas as pd

from flowcast.errors import SourceFormatError
from flowcast.sources.service import Service
from flowcast.tables import WEATHER

# Their column, our column, factor. Speed comes in km/h, cloud in eighths of the sky; rain is that of
# the hour before the stamp and the rest is read at the stamp, so stamps mark the end of their hour.
COLUMNS = {
    "temp": ("temp_c", 1.0),
    "rhum": ("rh_pct", 1.0),
    "prcp": ("precip_mm", 1.0),
    "wspd": ("wind_ms", 1 / 3.6),
    "cldc": ("cloud_pct", 12.5),
    "pres": ("pressure_hpa", 1.0),
}
CLOCK = ["year", "month", "day", "hour"]
MODEL_SOURCES = frozenset({"model", "dwd_mosmix", "metno_forecast"})
SKY_HIDDEN_OKTA = 9  # code of the observers: fog or snow hides the sky, so no share can be told
LICENCE = "CC BY 4.0"  # of the collection as a whole; single sources may add their own

METEOSTAT = Service(
    name="Meteostat",
    link="https://meteostat.net/",
    url="https://data.meteostat.net",
    licence=LICENCE,
    attribution="Meteostat (https://meteostat.net)",
)


class Span(NamedTuple):
    """Whole UTC days, both ends included."""

    first: pd.Timestamp
    last: pd.Timestamp

    def __str__(self) -> str:
        return f"{self.first:%Y-%m-%d} to {self.last:%Y-%m-%d}"

    @property
    def years(self) -> range:
        """The calendar years that it touches."""
        return range(self.first.year, self.last.year + 1)

    def within(self, year: int) -> Span:
        """Its part in that year."""
        first, last = pd.Timestamp(year, 1, 1), pd.Timestamp(year, 12, 31)
        return Span(max(self.first, first), min(self.last, last))


@dataclass(frozen=True)
class Hours:
    """One file's values with the counts of what was taken out, and who measured what is left."""

    table: pd.DataFrame
    removed: int
    wild: int
    twice: int
    providers: frozenset[str]


def parse_hours(
    content: bytes,
    *,
    where: str = "station file",
    first: date | None = None,
    last: date | None = None,
) -> tuple[pd.DataFrame, int]:
    """The measured values of one station-year, in our columns and units.

    Parameters
    ----------
    content : bytes
        CSV with a header, plain or gzip: year, month, day, hour in UTC, then values each with a column
        of sources (`temp`, `temp_source`, ...). Columns are found by name.
    where : str
        Names the file in errors.
    first, last : date, optional
        UTC days outside which rows are left out; all rows when None.

    Returns
    -------
    DataFrame
        Subset of `tables.WEATHER`, float64, UTC end-of-hour index, in order, each stamp once (the
        first row wins). Columns and rows without any value are left out, and so are values outside
        the bounds of `tables.WEATHER`. Hidden sky (9 eighths) is no cloud cover but NaN.
    int
        Values taken out because a model filled them in, alone or joined with others, or because
        no source is named.

    Raises
    ------
    SourceFormatError
        In one line, when the bytes are not such a file.
    """
    span = Span(pd.Timestamp(first or date.min), pd.Timestamp(last or date.max))
    hours = read_hours(content, where, span)
    return hours.table, hours.removed


def read_hours(content: bytes, where: str, span: Span) -> Hours:
    """The measured values of one station-year within a span (`parse_hours`), with what was taken out."""
    cells = _cells(content, where)
    days = cells.index.tz_localize(None).normalize()
    cells = cells[(days >= span.first) & (days <= span.last)]
    twice = cells.index.duplicated()
    cells = cells[~twice].sort_index()
    names = _present(cells)
    values = pd.DataFrame({n: _numbers(cells, n, where) for n in names}, index=cells.index)
    measured = pd.DataFrame({n: _measured(cells[f"{n}_source"]) for n in names}, index=cells.index)
    removed = int((values.notna() & ~measured).to_numpy().sum())
    table = _in_our_units(values.where(measured))
    sane = _within_bounds(table)
    wild = int(table.notna().to_numpy().sum() - sane.notna().to_numpy().sum())
    sane = sane.dropna(axis="columns", how="all").dropna(how="all")
    return Hours(sane, removed, wild, int(twice.sum()), _providers(cells, sane))


def _cells(content: bytes, where: str) -> pd.DataFrame:
    """The file as text on UTC stamps."""
    try:
        # Some servers unpack on the way, so the first two bytes decide, not the name of the file.
        plain = gzip.decompress(content) if content[:2] == b"\x1f\x8b" else content
        # All columns are read: with a choice of columns pandas passes over rows with too many cells.
        cells = pd.read_csv(io.BytesIO(plain), dtype=str)
    except (OSError, EOFError, zlib.error, ValueError) as error:
        raise _not_a_file(where, error) from error
    missing = [name for name in CLOCK if name not in cells]
    missing += [f"{name}_source" for name in _present(cells) if f"{name}_source" not in cells]
    if missing:
        raise _not_a_file(where, f"no column {', '.join(missing)}")
    return cells.set_index(_stamps(cells, where))


def _not_a_file(where: str, reason: object) -> SourceFormatError:
    said = " ".join(str(reason).split())
    return SourceFormatError(
        f"{METEOSTAT.name}, {where}: not the file this version knows ({said}). Try again later."
    )


def _present(cells: pd.DataFrame) -> list[str]:
    return [name for name in COLUMNS if name in cells]


def _stamps(cells: pd.DataFrame, where: str) -> pd.DatetimeIndex:
    parts = pd.DataFrame({name: _numbers(cells, name, where) for name in CLOCK})
    stamps = pd.to_datetime(parts, utc=True, errors="coerce")
    broken = stamps.isna() | (parts != parts.round()).any(axis=1) | ~parts["hour"].between(0, 23)
    if broken.any():
        row = int(broken.to_numpy().argmax())
        raise _not_a_file(where, f"row {row + 2} has no date and hour")
    return pd.DatetimeIndex(stamps, name="time")


def _numbers(cells: pd.DataFrame, name: str, where: str) -> pd.Series:
    """One column as float64, never the file's small whole numbers, which wrap around below zero."""
    values = pd.to_numeric(cells[name], errors="coerce").astype("float64")
    broken = cells[name].notna() & values.isna()
    if broken.any():
        raise _not_a_file(where, f"{name} holds {cells.loc[broken, name].iloc[0]!r}")
    return values


def _tokens(source: object) -> set[str]:
    """The providers a cell names; joined sources name several."""
    return set(re.findall(r"\w+", source.lower())) if isinstance(source, str) else set()


def _measured(sources: pd.Series) -> pd.Series:
    """True where a source is named and no part of it is a model."""
    verdict = {s: bool(_tokens(s)) and not _tokens(s) & MODEL_SOURCES for s in sources.unique()}
    return pd.Series([verdict[s] for s in sources], index=sources.index, dtype=bool)


def _in_our_units(values: pd.DataFrame) -> pd.DataFrame:
    if "cldc" in values:
        values = values.assign(cldc=values["cldc"].where(values["cldc"] < SKY_HIDDEN_OKTA))
    ours = {COLUMNS[name][0]: values[name] * COLUMNS[name][1] for name in values}
    return pd.DataFrame(ours, index=values.index)


def _within_bounds(table: pd.DataFrame) -> pd.DataFrame:
    sane = {n: table[n].where(table[n].between(WEATHER[n].low, WEATHER[n].high)) for n in table}
    return pd.DataFrame(sane, index=table.index)


def _providers(cells: pd.DataFrame, table: pd.DataFrame) -> frozenset[str]:
    """Who measured the values that are left."""
    found: set[str] = set()
    for name in _present(cells):
        ours = COLUMNS[name][0]
        if ours in table:
            left = table.index[table[ours].notna()]
            found.update(*map(_tokens, cells.loc[left, f"{name}_source"].unique()))
    return frozenset(found)
