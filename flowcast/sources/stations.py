"""Hours measured by weather stations near the yard, through the public library meteostat.

The library finds the stations and knows the licences. The files it would read are fetched by `web`
and parsed here, because the library's own reader asks without time limit, retry or name, tells a
broken file and a lost network no better than "no data", takes the time from the first columns
whatever they are called, and lets joined sources with a model in them pass as measured. Parsing by
header with pandas is shorter than guarding against all that. The library itself cannot reach the
network: it sees one local copy of the station list and no address to fetch another from.
"""

from __future__ import annotations

import gzip
import io
import logging
import re
import sqlite3
import threading
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from flowcast.errors import InputError, NothingThere, SourceFormatError, SourceUnavailable
from flowcast.messages import Amount, Note
from flowcast.numbers import Numbers, load_numbers
from flowcast.sources.http import Web
from flowcast.sources.service import Answer, Block, Origin, Service, Site
from flowcast.tables import WEATHER

if TYPE_CHECKING:
    from types import ModuleType

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
DAY_S = 86_400.0
LIST_LIFETIME_S = 7 * DAY_S
SETTLED_LIFETIME_S = 30 * DAY_S
SETTLES_DAYS = 31  # a year's file still grows in the first month of the next
MOST_LISTED = 500  # the library's own limit of 100 could hide the only station with hours

_one_at_a_time = threading.Lock()  # the library's settings belong to the whole process


@dataclass(frozen=True)
class StationHours:
    """What one weather station measured.

    `table` has a subset of the columns of `tables.WEATHER`, float64, on UTC stamps that mark the end
    of their hour; hours without any value have no row. `height_difference_m` is station minus yard,
    NaN where the station's height is unknown; temperatures are as measured there
    (`to_yard_height`). `removed` counts the values taken out because a model filled them in or no
    source is named. `licence` and `attribution` cover the sources of the values left.
    """

    id: str
    name: str
    distance_km: float
    height_difference_m: float
    table: pd.DataFrame
    removed: int
    licence: str
    attribution: str
    notes: tuple[str, ...]
    retrieved_at: pd.Timestamp | None = None

    def block(self) -> Block:
        """The record as one block of weather, temperature as measured there."""
        columns = {ours: theirs for theirs, (ours, _) in COLUMNS.items() if ours in self.table}
        told = {
            "id": self.id,
            "name": self.name,
            "distance_km": round(self.distance_km, 1),
            "height_difference_m": self.height_difference_m,
        }
        origin = Origin(
            service=METEOSTAT.name,
            model=f"station {self.id}",
            licence=self.licence,
            attribution=self.attribution,
            link=METEOSTAT.link,
            retrieved_at=self.retrieved_at,
            columns=columns,
            stations=(told,),
            notes=self.notes,
        )
        return Block(self.table, origin)


class _Station(NamedTuple):
    id: str
    name: str
    distance_km: float
    height_difference_m: float

    def __str__(self) -> str:
        return str(self.note)

    @property
    def note(self) -> Note:
        """Its name, and how far it is."""
        return Note.of("station.named", name=self.name, far=Amount(self.distance_km, "km"))


class _Span(NamedTuple):
    """Whole UTC days, both ends included."""

    first: pd.Timestamp
    last: pd.Timestamp

    def __str__(self) -> str:
        return f"{self.first:%Y-%m-%d} to {self.last:%Y-%m-%d}"

    @property
    def years(self) -> range:
        """The calendar years that it touches."""
        return range(self.first.year, self.last.year + 1)

    def within(self, year: int) -> _Span:
        """Its part in that year."""
        first, last = pd.Timestamp(year, 1, 1), pd.Timestamp(year, 12, 31)
        return _Span(max(self.first, first), min(self.last, last))


@dataclass(frozen=True)
class _Hours:
    """One file's values with the counts of what was taken out, and who measured what is left."""

    table: pd.DataFrame
    removed: int
    wild: int
    twice: int
    providers: frozenset[str]


def get_stations(
    web: Web,
    place: Site,
    first: date,
    last: date,
    *,
    count: int | None = None,
    within_km: float | None = None,
    numbers: Numbers | None = None,
    today: date | None = None,
) -> list[StationHours]:
    """Measured hours of the nearest weather stations, nearest first.

    Only stations whose inventory has measured temperature or rain by the hour in the span are asked,
    and stations at much another height (`stations.height_m`) only where none is nearer in height.
    A station that proves to have nothing makes room for the next, up to `stations.asked`.

    Parameters
    ----------
    web : Web
        Fetches "/stations.db" and "/hourly/{year}/{station}.csv.gz" of service "meteostat".
    place : Place
        Where the yard stands.
    first, last : date
        Span of stamps, whole UTC days, both included.
    count : int, optional
        Stations to return at most; `stations.count` (3) when None.
    within_km : float, optional
        Largest distance from the yard; `stations.radius_km` (50) when None. [km]
    numbers : Numbers, optional
        Group `stations`; the defaults when None.
    today : date, optional
        Decides which years are settled and may come from an older copy; the clock when None.

    Returns
    -------
    list of StationHours
        At least one. What the search passed over is in the notes of the first.

    Raises
    ------
    SourceUnavailable
        When there is no station, none has anything for the span, or the web gives nothing.
    SourceFormatError
        When the station list or a station's file has a shape that this version does not know.
    InputError
        When the span ends before it begins, or no station is wanted.
    """
    numbers = load_numbers() if numbers is None else numbers
    within_km = numbers["stations.radius_km"] if within_km is None else within_km
    count = int(numbers["stations.count"] if count is None else count)
    span = _Span(pd.Timestamp(first), pd.Timestamp(last))
    _check_question(span, count)
    now = pd.Timestamp.now("UTC").tz_localize(None) if today is None else pd.Timestamp(today)

    answer, notes = _fetch(web, "/stations.db", LIST_LIFETIME_S, "the list of weather stations")
    stations, passed = _candidates(answer.content, place, span, within_km, numbers)
    notes += passed
    found = []
    for station in stations[: int(numbers["stations.asked"])]:
        if len(found) == count:
            break
        hours = _station_hours(web, station, span, now)
        if hours is None:
            notes.append(Note.of("station.nothing_measured", station=station.note, span=str(span)))
        else:
            found.append(hours)
    if not found:
        raise SourceUnavailable(
            f"the weather stations near {_where(place)} have nothing for {span}: "
            f"asked {', '.join(map(str, stations[: int(numbers['stations.asked'])]))}. "
            "Take another span, or another weather source."
        )
    found[0] = replace(found[0], notes=(*notes, *found[0].notes))
    return found


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
    span = _Span(pd.Timestamp(first or date.min), pd.Timestamp(last or date.max))
    hours = _read_hours(content, where, span)
    return hours.table, hours.removed


def to_yard_height(
    table: pd.DataFrame, height_difference_m: float, *, numbers: Numbers | None = None
) -> pd.DataFrame:
    """The same table with the air temperature brought to the yard's height. [°C]

    Parameters
    ----------
    table : DataFrame
        Hours of a station; only `temp_c` is changed.
    height_difference_m : float
        Station minus yard; NaN (unknown) corrects nothing. [m]
    numbers : Numbers, optional
        `stations.lapse_c_km` and `stations.lapse_from_m`; the defaults when None.

    Returns
    -------
    DataFrame
        A copy; equal to `table` when the difference is below `stations.lapse_from_m`.

    Notes
    -----
    The mean fall of temperature with height in the standard atmosphere, 6.5 °C/km [1]_. A clear
    night in a valley can have the opposite, which no fixed rate mends.

    References
    ----------
    .. [1] ISO 2533, "Standard Atmosphere," 1975.
    """
    numbers = load_numbers() if numbers is None else numbers
    if "temp_c" not in table or not abs(height_difference_m) >= numbers["stations.lapse_from_m"]:
        return table.copy()
    warmer = numbers["stations.lapse_c_km"] * height_difference_m / 1000
    return table.assign(temp_c=table["temp_c"] + warmer)


def _check_question(span: _Span, count: int) -> None:
    if span.last < span.first:
        raise InputError(
            f"weather stations: the span {span} ends before it begins. Swap the dates."
        )
    if count < 1:
        raise InputError(f"weather stations: {count} stations are none. Ask for 1 or more.")


def _where(place: Site) -> str:
    return f"{place.latitude:.2f}, {place.longitude:.2f}"


def _fetch(web: Web, path: str, lifetime_s: float, what: str) -> tuple[Answer, list[str]]:
    """The answer, and a word when it is older than it should be."""
    answer = web.get(METEOSTAT, path, None, lifetime_s=lifetime_s, what=what)
    if answer.age_s <= lifetime_s:
        return answer, []
    return answer, [Note.of("station.old_copy", what=what, date=answer.retrieved_at)]


# Which stations: the library's part.


def _candidates(
    content: bytes, place: Site, span: _Span, within_km: float, numbers: Numbers
) -> tuple[list[_Station], list[str]]:
    """Stations that should have hours for the span, nearest first, and words on those left out."""
    with _library(content) as ms:
        point = ms.Point(place.latitude, place.longitude)
        listed = ms.stations.nearby(point, radius=1000 * within_km, limit=MOST_LISTED)
        if listed.empty:
            raise SourceUnavailable(
                f"no weather station within {within_km:g} km of {_where(place)}. A larger "
                "stations.radius_km under [numbers] in yard.toml looks further."
            )
        working = _with_hours(ms, list(listed.index.unique()), span, numbers)
    stations = [s for s in _stations(listed, place) if s.id in working]
    if not stations:
        raise SourceUnavailable(
            f"none of the {len(listed)} weather stations within {within_km:g} km of {_where(place)} "
            f"has temperature or rain by the hour for {span}. Take another span, a larger "
            "stations.radius_km under [numbers] in yard.toml, or another weather source."
        )
    return _near_in_height(stations, numbers["stations.height_m"])


@contextmanager
def _library(content: bytes) -> Iterator[ModuleType]:
    """The library, silent, looking at this station list alone, and as it was before afterwards."""
    import meteostat as ms  # here, so that a command without stations does not load it

    log = logging.getLogger("meteostat")
    with _one_at_a_time, TemporaryDirectory(prefix="flowcast-") as folder:
        path = Path(folder) / "stations.db"
        path.write_bytes(content)
        settings, silent = dict(vars(ms.config)), log.disabled
        ms.config.stations_db_file = str(path)
        ms.config.stations_db_endpoints = []  # no address, so no way out whatever the library thinks
        ms.config.cache_directory = folder
        log.disabled = True
        try:
            yield ms
        except (sqlite3.Error, pd.errors.DatabaseError) as error:
            raise _not_the_list(error.__cause__ or error) from error
        finally:
            log.disabled = silent
            vars(ms.config).clear()
            vars(ms.config).update(settings)


def _not_the_list(reason: object) -> SourceFormatError:
    said = " ".join(str(reason).split())
    return SourceFormatError(
        f"{METEOSTAT.name} stations.db: not the station list this version knows ({said}). Try again later."
    )


def _with_hours(ms: ModuleType, ids: list[str], span: _Span, numbers: Numbers) -> set[str]:
    """Those of the stations whose inventory has measured temperature or rain in the span."""
    inventory = ms.stations.inventory(ids).df
    if inventory is None:
        return set()
    rows = inventory.reset_index()
    rows = rows[rows["parameter"].isin(["temp", "prcp"]) & rows["provider"].map(_measures_hours)]
    try:
        start, end = (pd.to_datetime(rows[name], format="%Y-%m-%d") for name in ("start", "end"))
    except ValueError as error:
        raise _not_the_list(error) from error
    lag = pd.Timedelta(days=numbers["stations.inventory_lag_d"])
    return set(rows.loc[(start <= span.last) & (end + lag >= span.first), "station"])


def _measures_hours(provider: str) -> bool:
    from meteostat import Granularity
    from meteostat.core.providers import provider_service

    known = provider_service.get_provider(provider)
    return (
        known is not None
        and known.granularity is Granularity.HOURLY
        and provider not in MODEL_SOURCES
    )


def _stations(listed: pd.DataFrame, place: Site) -> list[_Station]:
    listed = listed[~listed.index.duplicated()]  # a station with two names stands there twice
    own = np.nan if place.elevation_m is None else place.elevation_m
    heights = pd.to_numeric(listed["elevation"], errors="coerce").astype("float64")
    return [
        _Station(str(id_), str(name or id_), float(metres) / 1000, float(height - own))
        for id_, name, metres, height in zip(
            listed.index, listed["name"], listed["distance"], heights, strict=True
        )
    ]


def _near_in_height(stations: list[_Station], most_m: float) -> tuple[list[_Station], list[str]]:
    """Stations near the yard in height, or all when there is none; unknown heights are not near."""
    near = [s for s in stations if abs(s.height_difference_m) <= most_m]
    if not near:
        return stations, [Note.of("station.none_near_height", height=Amount(most_m, "m"))]
    far = [s.note for s in stations if s not in near and s.distance_km <= near[-1].distance_km]
    if not far:
        return near, []
    told = {"height": Amount(most_m, "m"), "stations": tuple(far)}
    return near, [Note.of("station.left_out", **told)]


def _licences(providers: frozenset[str]) -> tuple[str, str]:
    """Licence and attribution of the collection and of the sources in it, always in one order."""
    from meteostat.core.providers import provider_service

    specs = [provider_service.get_provider(p) for p in sorted(providers)]
    licences = [spec.license for spec in specs if spec is not None and spec.license is not None]
    names = {licence.name for licence in licences if licence.name} - {LICENCE}
    credited = {licence.attribution for licence in licences if licence.attribution}
    licence = ", ".join([LICENCE, *sorted(names)])
    return licence, ", ".join(["Meteostat (https://meteostat.net)", *sorted(credited)])


# What they measured: the files.


def _station_hours(
    web: Web, station: _Station, span: _Span, now: pd.Timestamp
) -> StationHours | None:
    """All years of one station; None when it measured neither temperature nor rain."""
    years, notes, retrieved_at = [], [], None
    for year in span.years:
        what = f"hours of {year} at {station}"
        path = f"/hourly/{year}/{station.id}.csv.gz"
        try:
            answer, said = _fetch(web, path, _lifetime_s(year, now), what)
        except NothingThere:
            notes.append(Note.of("station.no_file", station=station.note, year=str(year)))
            continue
        notes += said
        retrieved_at = answer.retrieved_at
        years.append(_read_hours(answer.content, what, span.within(year)))
    table = _joined([year.table for year in years])
    if not {"temp_c", "precip_mm"} & set(table.columns):
        return None
    providers = frozenset().union(*(year.providers for year in years))
    removed = sum(year.removed for year in years)
    notes += _counts(station, years)
    return StationHours(*station, table, removed, *_licences(providers), tuple(notes), retrieved_at)


def _lifetime_s(year: int, now: pd.Timestamp) -> float:
    settled = year < (now - pd.Timedelta(days=SETTLES_DAYS)).year
    return SETTLED_LIFETIME_S if settled else DAY_S


def _joined(tables: list[pd.DataFrame]) -> pd.DataFrame:
    if not tables:
        return pd.DataFrame()
    table = pd.concat(tables)
    return table[[name for name in WEATHER if name in table]]


def _counts(station: _Station, years: list[_Hours]) -> list[str]:
    removed, wild, twice = (
        sum(getattr(y, name) for y in years) for name in ("removed", "wild", "twice")
    )
    notes = []
    if removed:
        notes.append(Note.of("station.model_values", station=station.note, n=removed))
    if wild:
        notes.append(Note.of("station.wild", station=station.note, n=wild))
    if twice:
        notes.append(Note.of("station.twice", station=station.note, n=twice))
    if np.isnan(station.height_difference_m):
        notes.append(Note.of("station.no_height", station=station.note))
    return notes


def _read_hours(content: bytes, where: str, span: _Span) -> _Hours:
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
    return _Hours(sane, removed, wild, int(twice.sum()), _providers(cells, sane))


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
