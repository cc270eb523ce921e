"""Hours measured by weather stations near the yard: which ones, and what they measured.

`station_list` finds the stations, `station_file` reads what each has measured; the files come
through `web`, since the library's own reader asks without time limit, retry or name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from flowcast.errors import InputError, NothingThere, SourceUnavailable
from flowcast.messages import Note
from flowcast.numbers import Numbers, load_numbers
from flowcast.sources.http import Web
from flowcast.sources.service import Answer, Block, Origin, Site
from flowcast.sources.station_file import COLUMNS, METEOSTAT, Hours, Span, parse_hours, read_hours
from flowcast.sources.station_list import Station, candidates, licences, where_of
from flowcast.tables import WEATHER

__all__ = ["METEOSTAT", "StationHours", "get_stations", "parse_hours", "to_yard_height"]

DAY_S = 86_400.0
LIST_LIFETIME_S = 7 * DAY_S
SETTLED_LIFETIME_S = 30 * DAY_S
SETTLES_DAYS = 31  # a year's file still grows in the first month of the next


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
    span = Span(pd.Timestamp(first), pd.Timestamp(last))
    _check_question(span, count)
    now = pd.Timestamp.now("UTC").tz_localize(None) if today is None else pd.Timestamp(today)

    answer, notes = _fetch(web, "/stations.db", LIST_LIFETIME_S, "the list of weather stations")
    stations, passed = candidates(answer.content, place, span, within_km, numbers)
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
            f"the weather stations near {where_of(place)} have nothing for {span}: "
            f"asked {', '.join(map(str, stations[: int(numbers['stations.asked'])]))}. "
            "Take another span, or another weather source."
        )
    found[0] = replace(found[0], notes=(*notes, *found[0].notes))
    return found


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


def _check_question(span: Span, count: int) -> None:
    if span.last < span.first:
        raise InputError(
            f"weather stations: the span {span} ends before it begins. Swap the dates."
        )
    if count < 1:
        raise InputError(f"weather stations: {count} stations are none. Ask for 1 or more.")


def _fetch(web: Web, path: str, lifetime_s: float, what: str) -> tuple[Answer, list[str]]:
    """The answer, and a word when it is older than it should be."""
    answer = web.get(METEOSTAT, path, None, lifetime_s=lifetime_s, what=what)
    if answer.age_s <= lifetime_s:
        return answer, []
    return answer, [Note.of("station.old_copy", what=what, date=answer.retrieved_at)]


def _station_hours(
    web: Web, station: Station, span: Span, now: pd.Timestamp
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
        years.append(read_hours(answer.content, what, span.within(year)))
    table = _joined([year.table for year in years])
    if not {"temp_c", "precip_mm"} & set(table.columns):
        return None
    providers = frozenset().union(*(year.providers for year in years))
    removed = sum(year.removed for year in years)
    notes += _counts(station, years)
    return StationHours(*station, table, removed, *licences(providers), tuple(notes), retrieved_at)


def _lifetime_s(year: int, now: pd.Timestamp) -> float:
    settled = year < (now - pd.Timedelta(days=SETTLES_DAYS)).year
    return SETTLED_LIFETIME_S if settled else DAY_S


def _joined(tables: list[pd.DataFrame]) -> pd.DataFrame:
    if not tables:
        return pd.DataFrame()
    table = pd.concat(tables)
    return table[[name for name in WEATHER if name in table]]


def _counts(station: Station, years: list[Hours]) -> list[str]:
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
