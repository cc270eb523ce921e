"""Which weather stations near a yard should have its hours, by the public library meteostat.

The library finds the stations and knows the licences. It cannot reach the network: it sees one local
copy of the station list and no address to fetch another from.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from flowcast.errors import SourceFormatError, SourceUnavailable
from flowcast.messages import Amount, Note
from flowcast.numbers import Numbers
from flowcast.sources.service import Site
from flowcast.sources.station_file import LICENCE, METEOSTAT, MODEL_SOURCES, Span

if TYPE_CHECKING:
    from types import ModuleType

MOST_LISTED = 500  # the library's own limit of 100 could hide the only station with hours

_one_at_a_time = threading.Lock()  # the library's settings belong to the whole process


class Station(NamedTuple):
    """A station on the list; height_difference_m is station minus yard, NaN where it is unknown."""

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


def candidates(
    content: bytes, place: Site, span: Span, within_km: float, numbers: Numbers
) -> tuple[list[Station], list[str]]:
    """Stations that should have hours for the span, nearest first, and words on those left out."""
    with _library(content) as ms:
        point = ms.Point(place.latitude, place.longitude)
        listed = ms.stations.nearby(point, radius=1000 * within_km, limit=MOST_LISTED)
        if listed.empty:
            raise SourceUnavailable(
                f"no weather station within {within_km:g} km of {where_of(place)}. A larger "
                "stations.radius_km under [numbers] in yard.toml looks further."
            )
        working = _with_hours(ms, list(listed.index.unique()), span, numbers)
    stations = [s for s in _stations(listed, place) if s.id in working]
    if not stations:
        raise SourceUnavailable(
            f"none of the {len(listed)} weather stations within {within_km:g} km of {where_of(place)} "
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


def _with_hours(ms: ModuleType, ids: list[str], span: Span, numbers: Numbers) -> set[str]:
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


def _stations(listed: pd.DataFrame, place: Site) -> list[Station]:
    listed = listed[~listed.index.duplicated()]  # a station with two names stands there twice
    own = np.nan if place.elevation_m is None else place.elevation_m
    heights = pd.to_numeric(listed["elevation"], errors="coerce").astype("float64")
    return [
        Station(str(id_), str(name or id_), float(metres) / 1000, float(height - own))
        for id_, name, metres, height in zip(
            listed.index, listed["name"], listed["distance"], heights, strict=True
        )
    ]


def _near_in_height(stations: list[Station], most_m: float) -> tuple[list[Station], list[str]]:
    """Stations near the yard in height, or all when there is none; unknown heights are not near."""
    near = [s for s in stations if abs(s.height_difference_m) <= most_m]
    if not near:
        return stations, [Note.of("station.none_near_height", height=Amount(most_m, "m"))]
    far = [s.note for s in stations if s not in near and s.distance_km <= near[-1].distance_km]
    if not far:
        return near, []
    told = {"height": Amount(most_m, "m"), "stations": tuple(far)}
    return near, [Note.of("station.left_out", **told)]


def licences(providers: frozenset[str]) -> tuple[str, str]:
    """Licence and attribution of the collection and of the sources in it, always in one order."""
    from meteostat.core.providers import provider_service

    specs = [provider_service.get_provider(p) for p in sorted(providers)]
    licences = [spec.license for spec in specs if spec is not None and spec.license is not None]
    names = {licence.name for licence in licences if licence.name} - {LICENCE}
    credited = {licence.attribution for licence in licences if licence.attribution}
    licence = ", ".join([LICENCE, *sorted(names)])
    return licence, ", ".join(["Meteostat (https://meteostat.net)", *sorted(credited)])


def where_of(place: Site) -> str:
    """The place as an error names it."""
    return f"{place.latitude:.2f}, {place.longitude:.2f}"
