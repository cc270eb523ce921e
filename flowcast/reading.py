"""How the user's text files become rows, numbers and UTC stamps.

One place for what goes wrong between a keeper's spreadsheet and a table: encodings, separators,
decimal marks, clocks, half-written files. Nothing is ever written back.
"""

import csv
import gzip
import io
import warnings
import zlib
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast.errors import InputError, MissingColumnError, TimeIndexError
from flowcast.messages import Note

SEPARATORS = (",", ";", "\t")
KG_PER = {"kg": 1.0, "g": 0.001, "lb": 0.45359237}  # international pound, exact by definition


@dataclass(frozen=True)
class TextTable:
    """A file as text cells, with the line each row stands on and what had to be passed over."""

    path: Path
    cells: pd.DataFrame
    lines: np.ndarray
    notes: list[str] = field(default_factory=list)

    def column(self, name: str, cure: str = "Name the right one in yard.toml.") -> pd.Series:
        """The cells of one column; the name may differ in case and outer blanks.

        Raises
        ------
        MissingColumnError
            Naming the file, the column asked for and those that are there.
        """
        for there in self.cells.columns:
            if there.strip().lower() == name.strip().lower():
                return self.cells[there]
        raise MissingColumnError(
            f"{self.path.name}: no column {name!r}. The file has: "
            f"{', '.join(self.cells.columns)}. {cure}"
        )

    def rows(self, keep: np.ndarray) -> "TextTable":
        """The same file with some of its rows."""
        return replace(self, cells=self.cells[keep].reset_index(drop=True), lines=self.lines[keep])

    def has(self, name: str) -> bool:
        """Whether such a column is there."""
        return any(c.strip().lower() == name.strip().lower() for c in self.cells.columns)


def read_table(path: Path, separator: str | None = None) -> TextTable:
    """A CSV file, plain or gzip, as text cells.

    Parameters
    ----------
    path : Path
        Any of UTF-8 (with or without mark), UTF-16 with mark, or Windows-1252; plain or .gz.
    separator : str, optional
        Found from the header line when not given.

    Raises
    ------
    InputError
        When the file is missing, empty, has no header, or is no text.
    """
    text, notes = _text(path)
    if not text.strip():
        raise InputError(
            f"{path.name}: the file is empty. Put the data in, or take it out of yard.toml."
        )
    frame = _parse(text, separator or _separator(text), path)
    frame.columns = [str(c).strip() for c in frame.columns]
    frame, lines, partial = _whole_rows(frame, text, path.name)
    notes += partial
    return TextTable(path, frame, lines, notes)


def numbers_in(table: TextTable, name: str, decimal: str | None = None) -> np.ndarray:
    """One column as floats; empty and "nan"-like cells are NaN.

    decimal: "." or ","; told from the column when not given.

    Raises
    ------
    InputError
        At the first cell that is no number, with its line and, where that is it, the decimal mark.
    """
    cells = table.column(name)
    values = pd.to_numeric(cells, errors="coerce").to_numpy(float, copy=True)
    # Most cells are plain numbers; only the others are looked at as text, which takes time and memory.
    left = np.flatnonzero(np.isnan(values))
    others = cells.iloc[left].str.strip()
    decimal = decimal or _decimal(others, cells)
    plain = others.str.replace(",", ".") if decimal == "," else others
    values[left] = pd.to_numeric(plain, errors="coerce").to_numpy(float)
    empty = others.str.lower().isin(["", "na", "nan", "n/a", "null", "none", "-", "--", "?"])
    bad = left[np.isnan(values[left]) & ~empty.to_numpy()]
    if len(bad):
        raise InputError(_bad_number(table, name, cells.iloc[bad[0]].strip(), bad, decimal))
    return np.where(np.isfinite(values), values, np.nan)


def _decimal(others: pd.Series, cells: pd.Series) -> str:
    """The decimal mark: a comma where all that is no plain number has one, and no point stands beside it.

    Three digits behind every comma may be thousands, and are left to the keeper to settle.
    """
    comma = others[others.str.fullmatch(r"[-+]?\d+,\d+")]
    if comma.empty or comma.str.fullmatch(r".*,\d{3}").all():
        return "."
    return "." if cells.str.contains(".", regex=False).any() else ","


def stamps_in(
    table: TextTable, name: str, clock: str, timezone: str, dates: str | None = None
) -> pd.DatetimeIndex:
    """One column as tz-aware UTC stamps.

    Parameters
    ----------
    clock : str
        "utc", "local" (the yard's time zone, with its summer time) or a fixed offset "+10:00".
        Stamps that carry their own offset keep it, whatever the clock says.
    dates : str, optional
        "day first" or "month first", for dates such as 03/04/2024; told from the file when not
        given.

    Raises
    ------
    TimeIndexError
        At the first stamp that cannot be read, with its line.
    """
    cells = table.column(name)
    try:
        parsed = _parse_stamps(cells, dates)
    except TimeIndexError as error:
        raise TimeIndexError(
            f"{table.path.name}, column {name!r}: {error} Or say "
            'dates = "day first" or "month first" beside the file in yard.toml.'
        ) from None
    bad = np.flatnonzero(parsed.isna())
    if len(bad):
        raise TimeIndexError(
            f"{table.path.name}, line {table.lines[bad[0]]}: {cells.iloc[bad[0]].strip()!r} in column "
            f"{name!r} is no date or time ({len(bad)} such rows). Write it as 2026-05-31 14:00."
        )
    stamps = pd.DatetimeIndex(parsed)
    if stamps.tz is not None:
        return stamps.tz_convert("UTC")
    table.notes.extend(_never_were(stamps, _zone(clock, timezone), table.path.name))
    return to_utc(stamps, clock, timezone)


def _never_were(naive: pd.DatetimeIndex, zone: str, file: str) -> list[Note]:
    """A word on stamps in the hour that summer time skips: such a clock does not follow it."""
    first = np.ones(len(naive), bool)
    skipped = naive.tz_localize(zone, ambiguous=first, nonexistent="NaT").isna()
    skipped &= naive != naive.normalize()  # a mere date, where clocks change at midnight
    if not skipped.any():
        return []
    seen = naive[skipped][0]
    before = (seen - pd.Timedelta(days=1)).tz_localize(zone, ambiguous=True)
    offset = before.strftime("%z")
    clock = f"{offset[:3]}:{offset[3:]}"
    return [Note.of("files.no_summer_time", file=file, stamp=f"{seen:%Y-%m-%d %H:%M}", clock=clock)]


def to_utc(naive: pd.DatetimeIndex, clock: str, timezone: str) -> pd.DatetimeIndex:
    """Naive stamps of this clock as UTC; the hour that summer time repeats is told by order."""
    zone = _zone(clock, timezone)
    # The hour that never was is read as the next that was.
    local = naive.tz_localize(zone, ambiguous=_first_time(naive, zone), nonexistent="shift_forward")
    return local.tz_convert("UTC")


def _first_time(naive: pd.DatetimeIndex, zone: str) -> np.ndarray:
    """Of stamps in the hour that summer time repeats, whether each is of its first time.

    Each autumn is told by itself, by where its clock steps back; one that never does is read as
    the first time (summer time).
    """
    if len(naive) and naive[0] > naive[-1]:  # newest first
        return _first_time(naive[::-1], zone)[::-1]
    first = np.ones(len(naive), bool)
    twice = np.asarray(naive.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward").isna())
    if twice.any():
        back = np.r_[False, naive[1:] <= naive[:-1]] & twice & np.r_[False, twice[:-1]]
        day = pd.Series(back[twice]).groupby(naive[twice].normalize())
        first[twice] = day.cumsum().to_numpy() == 0
    return first


def _zone(clock: str, timezone: str) -> str:
    if clock == "local":
        return timezone
    return "UTC" if clock == "utc" else f"UTC{clock}"


def _text(path: Path) -> tuple[str, list[str]]:
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError(
            f"{path.name}: no such file in {path.parent.name}. Check the name."
        ) from None
    except OSError as error:
        raise InputError(
            f"{path.name}: cannot be read ({error.strerror}). Check its rights."
        ) from None
    notes: list[str] = []
    if raw[:2] == b"\x1f\x8b":
        raw, whole = _unzip(raw)
        if not whole:
            notes.append(Note.of("files.ends_early", file=path.name))
    return _decode(raw, path), notes


def _unzip(raw: bytes) -> tuple[bytes, bool]:
    try:
        return gzip.decompress(raw), True
    except (EOFError, zlib.error, gzip.BadGzipFile):
        part = zlib.decompressobj(wbits=31)
        try:
            return part.decompress(raw), False
        except zlib.error:
            return b"", False


def _decode(raw: bytes, path: Path) -> str:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return raw.decode("utf-16", errors="replace")
    if b"\x00" in raw[:4096]:
        raise InputError(f"{path.name}: this is no text file. Save it as CSV.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _separator(text: str) -> str:
    header = text.lstrip("\n").split("\n", 1)[0]
    return max(SEPARATORS, key=header.count)


def _parse(text: str, separator: str, path: Path) -> pd.DataFrame:
    """Cells as text, blank lines kept so that row numbers are line numbers."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            return pd.read_csv(
                io.BytesIO(text.encode()),  # a fourth of the memory of a text buffer
                sep=separator,
                dtype=str,
                keep_default_na=False,
                skip_blank_lines=False,
                index_col=False,
            )
    except (pd.errors.ParserError, pd.errors.ParserWarning, pd.errors.EmptyDataError):
        line = _first_long_line(text, separator)
        where = f"{path.name}, line {line}" if line else path.name
        raise InputError(
            f"{where}: more cells than the header has names, or a quote left open. Is the separator "
            f"{separator!r}? A decimal comma needs another separator."
        ) from None


def _first_long_line(text: str, separator: str) -> int | None:
    lines = text.splitlines()
    long = (
        n for n, line in enumerate(lines, 1) if line.count(separator) > lines[0].count(separator)
    )
    return next(long, None)


def _whole_rows(
    frame: pd.DataFrame, text: str, name: str
) -> tuple[pd.DataFrame, np.ndarray, list[Note]]:
    """Rows with anything in them; a last row cut short in the writing is passed over."""
    notes = []
    lines = np.arange(len(frame)) + 2
    frame = frame.fillna("")  # a row shorter than the header is padded with missing cells
    filled = (frame != "").any(axis=1).to_numpy()
    cut = not text.endswith("\n") and len(frame) > 1 and _is_cut(frame)
    if cut:
        filled[-1] = False
        rows = int(filled.sum())
        notes.append(Note.of("files.cut_short", file=name, line=str(lines[-1]), n=rows))
    return frame[filled].reset_index(drop=True), lines[filled], notes


def _is_cut(frame: pd.DataFrame) -> bool:
    last, before = frame.iloc[-1], frame.iloc[-2]
    return (last == "").sum() > (before == "").sum()


# Forms that custom reads day first; a slash may mean either order.
DAYS = ("%d.%m.%Y", "%d-%m-%Y", "%d.%m.%y")
SLASHES = {"day first": ("%d/%m/%Y", "%d/%m/%y"), "month first": ("%m/%d/%Y", "%m/%d/%y")}
HOURS = (" %H:%M", " %H:%M:%S", "", " %I:%M %p", " %I:%M:%S %p")


def _parse_stamps(cells: pd.Series, dates: str | None) -> pd.Series:
    """ISO stamps first (fast), then seconds since 1970, then the forms of spreadsheets."""
    parsed = _iso_stamps(cells)
    if not parsed.isna().any():
        return parsed
    cells, midnight = _midnight_as_zero(cells.str.strip())
    parsed = _iso_stamps(cells)
    if parsed.isna().any():
        parsed = _since_1970(cells) if _is_count(cells) else _other_forms(cells, parsed, dates)
    return parsed + pd.to_timedelta(midnight.astype(int), unit="D") if midnight.any() else parsed


def stamp_of(cell: str, dates: str) -> pd.Timestamp:
    """One hand-written date or time; NaT when it is none. dates: "day first" or "month first"."""
    return _parse_stamps(pd.Series([cell]), dates).iloc[0]


def _iso_stamps(cells: pd.Series) -> pd.Series:
    return pd.to_datetime(cells, format="ISO8601", errors="coerce", utc=_has_offset(cells))


def _midnight_as_zero(cells: pd.Series) -> tuple[pd.Series, pd.Series]:
    """24:00, the end of a day, as 00:00 and the rows that must move on by a day."""
    midnight = cells.str.contains(r"[ T]24:00(?::00)?$", regex=True)
    if midnight.any():
        cells = cells.str.replace(r"([ T])24:00", r"\g<1>00:00", regex=True)
    return cells, midnight


def _is_count(cells: pd.Series) -> bool:
    """Whether these are seconds or milliseconds since 1970, of 2001 or later."""
    return bool(cells.str.fullmatch(r"\d{10}(?:\.\d+)?|\d{13}").all())


def _since_1970(cells: pd.Series) -> pd.Series:
    count = pd.to_numeric(cells)
    return pd.to_datetime(count.where(count < 1e11, count / 1000), unit="s", utc=True)


def _other_forms(cells: pd.Series, parsed: pd.Series, dates: str | None) -> pd.Series:
    if parsed.dt.tz is not None:
        return parsed  # stamps with an offset are in one form or in none
    for day in (*DAYS, *SLASHES[dates or slash_order(cells)]):
        for hour in HOURS:
            left = parsed.isna()
            if not left.any():
                return parsed
            found = pd.to_datetime(cells[left], format=day + hour, errors="coerce")
            parsed = parsed.where(~left, found.reindex(parsed.index))
    return parsed


def slash_order(cells: pd.Series) -> str:
    """Which comes first in dates such as 03/04/2024, told by those that can be read in one way only.

    Raises
    ------
    TimeIndexError
        Without a line, when all could be either and both orders run on in time.
    """
    parts = cells.str.extract(r"^(\d{1,2})/(\d{1,2})/").dropna().astype(int)
    if not len(parts) or (parts[0] > 12).any():
        return "day first"
    if (parts[1] > 12).any():
        return "month first"
    runs = {}
    for order, (form, _) in SLASHES.items():
        first = pd.to_datetime(cells.str.split(" ").str[0], format=form, errors="coerce").dropna()
        runs[order] = first.is_monotonic_increasing
    if runs["day first"] != runs["month first"]:
        return "day first" if runs["day first"] else "month first"
    if len(parts.drop_duplicates()) == 1 and (parts[0] == parts[1]).all():
        return "day first"
    first = cells[parts.index[0]]
    raise TimeIndexError(
        f"{first!r} may be read day first or month first, and nothing tells which. Write dates as 2026-05-31."
    )


def _has_offset(cells: pd.Series) -> bool:
    first = next((text for c in cells if (text := c.strip())), "")
    return first.endswith("Z") or (first[-6:-5] in ("+", "-") and first[-3:-2] == ":")


def _bad_number(table: TextTable, name: str, cell: str, bad: np.ndarray, decimal: str) -> str:
    where = f"{table.path.name}, line {table.lines[bad[0]]}"
    other = cell.replace(",", ".") if decimal == "." else cell
    try:
        float(other)
        cure = 'If that is a decimal comma, write decimal = "," beside the file in yard.toml.'
    except ValueError:
        cure = "Write a number there, or leave it empty."
    return f"{where}: {cell!r} in column {name!r} is no number ({len(bad)} such rows). {cure}"


def read_rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    """A small hand-written CSV (work, bloom, beetles) as (line, cells by lower-case header).

    Raises
    ------
    InputError
        At a line with more cells than the header, which a decimal comma makes of a number.
    """
    text, _ = _text(path)
    reader = csv.reader(io.StringIO(text), delimiter=_separator(text))
    header = [h.strip().lower() for h in next(reader, [])]
    rows = []
    for cells in reader:
        if any(c.strip() for c in cells[len(header) :]):
            raise InputError(
                f"{path.name}, line {reader.line_num}: more cells than the header has names. Write "
                "12.5 with a point, put a note with commas in quotes, or separate with ;."
            )
        if any(c.strip() for c in cells):
            padded = [c.strip() for c in cells] + [""] * (len(header) - len(cells))
            rows.append((reader.line_num, dict(zip(header, padded, strict=False))))
    return rows
