"""What a yard is and what its files and the weather services hold, read but not yet cut or cleaned."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast.errors import InputError, SourceUnavailable
from flowcast.flow.kin import Spot, spot_from, tells
from flowcast.messages import Amount, Note
from flowcast.numbers import Numbers, load_numbers
from flowcast.sources import open_meteo, plan
from flowcast.sources.files import ScaleFile, read_scale, read_weather, weather_path
from flowcast.sources.http import Caller, Web
from flowcast.sources.service import Ahead, Block, Origin, Site
from flowcast.sources.stations import StationHours
from flowcast.weather import hours_from_noon, summer_in_winter
from flowcast.yard import Yard, read_yard, yard_at
from flowcast.yard.folder import NO_HEIGHT
from flowcast.yard.settings import WeatherSection

OWN_FILE = "the yard's own file"
Tell = Callable[[str, float], None]


def unheard(words: str, share: float) -> None:
    """What is being done, told to nobody; named, so that a `Reach` can be sent to a process."""


@dataclass(frozen=True)
class Reach:
    """How far a run may reach for weather.

    offline: only what was pulled before (FLOWCAST_OFFLINE does the same). refresh: ask again for
    what is still fresh. first, last: days of history; the last 20 calendar years when None. live: the last
    days and the days ahead are wanted too. station: compare the history with the nearest station. now, sleep: the clock, for tests. tell: told
    what is being done and the share that is behind.
    """

    offline: bool = False
    refresh: bool = False
    first: date | None = None
    last: date | None = None
    live: bool = True
    station: bool = True
    now: pd.Timestamp | None = None
    sleep: Callable[[float], None] = time.sleep
    tell: Tell = unheard


@dataclass(frozen=True)
class Sources:
    """Everything that was read of a yard, nothing cleaned or cut yet.

    blocks: weather in order of trust; the first is the training climate. asked: how many requests
    went to each service. others: the same of the other yards this one learns from.
    """

    yard: Yard
    scales: list[ScaleFile]
    blocks: list[Block]
    now: pd.Timestamp
    recent: Block | None = None
    ahead: Ahead | None = None
    nearby: tuple[StationHours, ...] = ()
    notes: tuple[str, ...] = ()
    asked: dict[str, int] | None = None
    others: tuple[Sources, ...] = ()

    @property
    def today(self) -> pd.Timestamp:
        """Today at the yard."""
        return self.now.tz_convert(self.yard.place.timezone).tz_localize(None).normalize()


def read_sources(folder: Path | str, reach: Reach | None = None) -> Sources:
    """Read a yard folder whole, and the weather services where the yard asks them.

    A yard with its own weather file asks no service unless [weather] services names some; a yard
    without one asks all.

    Raises
    ------
    InputError, SourceUnavailable
        At the first file that cannot be understood, or when there is no weather.
    """
    return sources_of(read_yard(folder), reach or Reach())


def sources_of(yard: Yard, reach: Reach) -> Sources:
    """As `read_sources`, of a yard that is read already, with the other yards it learns from."""
    own = _alone(yard, reach)
    read = [_other(folder, yard, reach) for folder in yard.learn_from]
    others = tuple(one for one in read if isinstance(one, Sources))
    left_out = tuple(one for one in read if isinstance(one, Note))
    return replace(own, others=others, notes=(*own.notes, *left_out))


def _other(folder: Path, yard: Yard, reach: Reach) -> Sources | Note:
    """Another yard of the keeper, its season counted as this one's; or why nothing is learned from it.

    It helps and is not needed, so what is wrong with it stops nothing.
    """
    try:
        other = read_yard(folder, alone=True)
        if not tells(spot_of(other, yard), yard.numbers):
            far = Amount(float(np.hypot(*spot_of(other, yard)[:2])), "km")
            return Note.of("others.too_far", yard=other.name, far=far)
        place = replace(other.place, season_start=yard.place.season_start)
        read = _alone(replace(other, place=place), replace(reach, station=False))
    except (InputError, SourceUnavailable) as error:
        return Note.of("others.left_out", folder=folder.name, why=str(error))
    return replace(read, ahead=None)


def spot_of(other: Yard, yard: Yard) -> Spot:
    """Where another yard lies from this one; as high where the height of either is not known."""
    unknown = NO_HEIGHT in other.notes or NO_HEIGHT in yard.notes
    place = replace(other.place, elevation_m=yard.place.elevation_m) if unknown else other.place
    return spot_from(place, yard.place)


def _alone(yard: Yard, reach: Reach) -> Sources:
    """What one yard's own files and the services hold."""
    scales = [read_scale(yard, hive) for hive in yard.hives if hive.scale]
    now = (reach.now or pd.Timestamp.now("UTC")).tz_convert("UTC")
    own = [_own_block(yard)] if weather_path(yard) else []
    services = asked_services(yard)
    if services == ():
        if not own:
            read_weather(yard)  # says what is missing
        return Sources(yard, scales, own, now)
    gathered, asked = _gathered(yard, scales, services, reach, now)
    blocks = [*own, *gathered.history, *([gathered.recent] if gathered.recent else [])]
    if not blocks:
        raise SourceUnavailable(
            _no_weather(yard, gathered.notes, caller_of(yard.settings.weather, reach).offline)
        )
    return Sources(
        yard=_with_height(yard, gathered.history),
        scales=scales,
        blocks=blocks,
        now=now,
        recent=gathered.recent,
        ahead=gathered.ahead,
        nearby=gathered.nearby,
        notes=gathered.notes,
        asked=asked,
    )


def asked_services(yard: Yard) -> tuple[str, ...] | None:
    """The services this yard may ask; None for all, () for none."""
    named = yard.settings.weather.services
    if named is not None:
        return plan.check_names(named)
    return () if weather_path(yard) else None


def caller_of(weather: WeatherSection, reach: Reach) -> Caller:
    """Who asks: contact and urls from yard.toml, the key from the environment only."""
    return Caller(
        contact=weather.contact or os.environ.get("FLOWCAST_CONTACT") or None,
        commercial=weather.commercial,
        key=os.environ.get("FLOWCAST_OPEN_METEO_KEY") or None,
        urls=weather.urls,
        offline=reach.offline or os.environ.get("FLOWCAST_OFFLINE", "0") not in ("", "0"),
        refresh=reach.refresh,
    )


def read_place(where: str, reach: Reach) -> Yard:
    """A yard that is only a place: "48.2 16.4" or "Town, Country". [network for names]

    Raises
    ------
    InputError
        When no place or more than one has that name.
    """
    coordinates = re.fullmatch(r"\s*([-+]?\d+(?:\.\d+)?)[,;\s]+([-+]?\d+(?:\.\d+)?)\s*", where)
    if coordinates:
        return yard_at("", float(coordinates[1]), float(coordinates[2]))
    with _web(WeatherSection(), load_numbers(), reach) as web:
        found = open_meteo.get_places(web, where)
    exact = [p for p in found if p.name.lower() == where.split(",")[0].strip().lower()] or found
    if len(exact) > 1:
        names = "; ".join(p.full_name for p in exact[:8])
        raise InputError(
            f"--at {where!r}: more than one place has that name: {names}. Write the region or the "
            'country behind it, as "Town, Country", or give latitude and longitude.'
        )
    place = exact[0]
    return yard_at(place.full_name, place.latitude, place.longitude, place.elevation_m)


def _gathered(yard: Yard, scales, services, reach: Reach, now: pd.Timestamp):
    place, numbers = yard.place, yard.numbers
    today = now.date()
    last = reach.last or today
    wanted = plan.Wanted(
        site=Site(place.latitude, place.longitude, yard.settings.yard.elevation_m),
        first=reach.first or _first_day(scales, last, numbers),
        last=last,
        today=today,
        services=services,
        ahead=reach.live and last >= today,
        check_station=reach.station,
    )
    with _web(yard.settings.weather, numbers, reach) as web:
        gathered = plan.gather(web, wanted, reach.tell)
        return gathered, dict(web.asked)


def _web(weather: WeatherSection, numbers: Numbers, reach: Reach) -> Web:
    """The door to the network as this yard and run may use it; a given clock stands still."""
    return Web(
        caller_of(weather, reach),
        numbers,
        clock=lambda: reach.now or pd.Timestamp.now("UTC"),
        sleep=reach.sleep,
        tell=lambda words: reach.tell(words, 0.0),
    )


def _first_day(scales: list[ScaleFile], last: date, numbers: Numbers) -> date:
    """The first of January so many years back, or of the year before the log begins."""
    years = [last.year - int(numbers["service.history_years"]) + 1]
    years += [s.readings.index.min().year - 1 for s in scales if len(s.readings)]
    return date(max(1940, min(years)), 1, 1)


def _own_block(yard: Yard) -> Block:
    file = read_weather(yard)
    late = None if file.daily else hours_from_noon(file.table, yard.place, yard.numbers)
    notes = list(file.notes)
    if late is not None:
        told = {"file": file.name, "hours": abs(round(late))}
        early, too_late = Note.of("files.clock_early", **told), Note.of("files.clock_late", **told)
        notes.insert(0, too_late if late > 0 else early)
    if summer_in_winter(file.table, yard.place, yard.numbers):
        notes.insert(0, Note.of("files.other_hemisphere", file=file.name))
    origin = Origin(service=OWN_FILE, url=file.name, notes=tuple(notes))
    return Block(file.table, origin, file.daily)


def _with_height(yard: Yard, history: tuple[Block, ...]) -> Yard:
    """A yard of unknown height takes that of the terrain its weather was made for."""
    cell = history[0].origin.cell if history else None
    if yard.settings.yard.elevation_m is not None or not cell or cell[2] is None:
        return yard
    height = float(cell[2])
    notes = [n for n in yard.notes if n != NO_HEIGHT]
    notes.append(Note.of("place.height_of_terrain", height=Amount(height, "m")))
    return replace(yard, place=replace(yard.place, elevation_m=height), notes=tuple(notes))


def _no_weather(yard: Yard, notes: tuple[str, ...], offline: bool) -> str:
    cure = "or put weather.csv in the yard's folder."
    if yard.is_place:
        cure = "or make a yard of the place with flowcast new and put a weather.csv in its folder."
    if offline:
        return (
            f"{yard.name}: no weather was pulled before, and this run is offline. Run it once with "
            f"a network, {cure}"
        )
    why = " ".join(
        note.removesuffix(" Try again later.") for note in map(str, dict.fromkeys(notes[:2]))
    )
    return f"{yard.name}: no weather. {why} Look at the network and pull again, {cure}"
