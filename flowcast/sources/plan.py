"""Which service answers for which span, and who steps in when one does not.

History comes year by year from the archive, the last days from the forecast host's past, the days
ahead from an ensemble. When a service fails, the next one takes over whole years or whole spans,
never single columns; what it gives keeps its own name, so that it can be put on one climate later.
A new service is one more module and one more line in the lists below.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from difflib import get_close_matches

from flowcast.errors import InputError, NothingThere, SourceError
from flowcast.messages import Note
from flowcast.sources import met_norway, nasa_power, open_meteo, stations
from flowcast.sources.http import Web
from flowcast.sources.service import Ahead, Block, Service, Site
from flowcast.sources.stations import StationHours

HISTORY = (
    (open_meteo.ARCHIVE, open_meteo.get_archive),
    (nasa_power.POWER, nasa_power.get_history),
)
AHEAD = (
    (open_meteo.ENSEMBLE, open_meteo.get_ensemble),
    (met_norway.LOCATIONFORECAST, met_norway.get_forecast),
)
RECENT = ((open_meteo.FORECAST, open_meteo.get_forecast),)
STATIONS = stations.METEOSTAT
ALL = (*(s for s, _ in (*HISTORY, *RECENT, *AHEAD)), STATIONS)


@dataclass(frozen=True)
class Wanted:
    """What a yard asks of the services.

    first: first day of history. today: the day on which it is asked. services: those that may be
    asked; all when None. ahead: whether the last days and the days ahead are wanted. station_site:
    the place with a height, where the services were asked without.
    """

    site: Site
    first: date
    last: date
    today: date
    services: tuple[str, ...] | None = None
    ahead: bool = True
    check_station: bool = False
    station_site: Site | None = None


@dataclass(frozen=True)
class Gathered:
    """What the services gave.

    history: in order of time, of one service where all went well. recent: the last weeks and the
    point forecast in one block. nearby: station records for the check of the history. notes: what
    could not be had, one sentence each.
    """

    history: tuple[Block, ...] = ()
    recent: Block | None = None
    ahead: Ahead | None = None
    nearby: tuple[StationHours, ...] = ()
    notes: tuple[str, ...] = field(default=())


def gather(
    web: Web, wanted: Wanted, tell: Callable[[str, float], None] = lambda w, s: None
) -> Gathered:
    """All that the services have for a yard, as far as they answer. [network]

    Parameters
    ----------
    tell : callable
        Told what is being done, and the share of the way that is behind.

    Raises
    ------
    nothing of its own: what could not be had is said in `notes`.
    """
    with web.allowance.turn():
        history, notes = _history(web, wanted, tell)
        wanted = _at_known_height(wanted, history)
        recent, said = _first(RECENT, web, wanted) if wanted.ahead else (None, [])
        tell("the days ahead", 0.9)
        ahead, more = _first(AHEAD, web, wanted) if wanted.ahead else (None, [])
        notes += said + more
        if wanted.ahead and recent is None and history:
            recent, said = _recent_from_stations(web, wanted)
            notes += said
        nearby, said = _nearby(web, wanted) if wanted.check_station else ((), [])
    notes = tuple(dict.fromkeys([*notes, *said, *web.notes]))
    return Gathered(history, recent, ahead, nearby, notes)


def check_names(names: list[str]) -> tuple[str, ...]:
    """The services that a yard names: full names, or the first word for all of one house.

    Raises
    ------
    InputError
        For a name that is none, with the nearest that is.
    """
    known = {service.name.lower(): service.name for service in ALL}
    chosen: list[str] = []
    for name in names:
        own = [k for k in known if name.lower() in (k, k.split(" ")[0])]
        if not own:
            close = get_close_matches(name.lower(), known, n=1)
            cure = (
                f"Did you mean {known[close[0]]!r}?"
                if close
                else f"Known: {', '.join(known.values())}."
            )
            raise InputError(f"yard.toml, [weather] services: no service {name!r}. {cure}")
        chosen += [known[k] for k in own]
    return tuple(chosen)


def _may(service: Service, wanted: Wanted) -> bool:
    return wanted.services is None or service.name in wanted.services


def _history(web: Web, wanted: Wanted, tell) -> tuple[tuple[Block, ...], list[str]]:
    """Each calendar year from the first service that has it."""
    services = [(s, get) for s, get in HISTORY if _may(s, wanted)]
    lag = timedelta(days=int(web.numbers["service.archive_lag_d"]) + 1)
    years = list(_years(wanted.first, min(wanted.last, wanted.today - lag)))
    blocks: list[Block] = []
    notes: list[str] = []
    for n, (first, last) in enumerate(years):
        tell(f"weather of {first.year}", 0.85 * n / len(years))
        block, said = _year(web, wanted, services, first, last)
        blocks += [block] if block else []
        notes += [sentence for sentence in said if sentence not in notes]
    blocks += _overlap(web, wanted, services, years, blocks)
    return tuple(blocks), _shortened(notes)


def _years(first: date, last: date) -> Iterator[tuple[date, date]]:
    """Calendar years, so that equal yards ask equal questions; the running one up to the lag."""
    for year in range(first.year, last.year + 1):
        start, end = date(year, 1, 1), min(date(year, 12, 31), last)
        if start <= end:
            yield start, end


def _year(web: Web, wanted: Wanted, services, first: date, last: date):
    notes = []
    for _, get in services:
        try:
            return get(web, wanted.site, first, last, wanted.today), notes
        except SourceError as error:
            notes.append(str(error))
    return None, notes


def _overlap(web: Web, wanted: Wanted, services, years, blocks: list[Block]) -> list[Block]:
    """Where a second service stepped in: a year of it that the first has too, to compare them by.

    The longest such span, the latest of equal ones: the running year is the last choice.
    """
    names = [block.origin.service for block in blocks]
    main = services[0][0].name if services else ""
    extra = []
    for service, get in services[1:]:
        ours = [b for b in blocks if b.origin.service == main]
        if service.name in names and ours:
            had = {b.table.index[len(b.table) // 2].year for b in ours}
            spans = [(first, last) for first, last in years if first.year in had]
            span = max(spans, key=lambda s: (min((s[1] - s[0]).days, 364), s[0]))
            block, _ = _year(web, wanted, [(service, get)], *span)
            extra += [block] if block else []
    return extra


def _first(services, web: Web, wanted: Wanted):
    """What the first service that answers gives, and what the others said."""
    notes = []
    for service, get in services:
        if _may(service, wanted):
            try:
                return get(web, wanted.site), notes
            except SourceError as error:
                notes.append(str(error))
    return None, notes


def _recent_from_stations(web: Web, wanted: Wanted) -> tuple[Block | None, list[str]]:
    """The last days as the nearest station measured them, when no forecast host answers."""
    if not _may(STATIONS, wanted):
        return None, []
    first = wanted.today - timedelta(days=open_meteo.PAST_DAYS)
    try:
        nearest = _stations(web, wanted, first, wanted.today)[0]
    except SourceError as error:
        return None, [str(error)]
    return nearest.block(), []


def _stations(web: Web, wanted: Wanted, first: date, last: date) -> list[StationHours]:
    """The nearest station with hours of the span, by the yard's own numbers and this run's day."""
    site = wanted.station_site or wanted.site
    return stations.get_stations(
        web, site, first, last, count=1, numbers=web.numbers, today=wanted.today
    )


def _at_known_height(wanted: Wanted, history: tuple[Block, ...]) -> Wanted:
    """Stations are told apart by height: where the keeper did not give it, the archive's terrain."""
    cell = history[0].origin.cell if history else None
    if wanted.site.elevation_m is not None or cell is None or cell[2] is None:
        return wanted
    return replace(wanted, station_site=replace(wanted.site, elevation_m=float(cell[2])))


def _nearby(web: Web, wanted: Wanted) -> tuple[tuple[StationHours, ...], list[str]]:
    """Records of the nearest station over the last whole year, to judge the history by."""
    if not _may(STATIONS, wanted):
        return (), []
    year = min(wanted.last, wanted.today).year - 1
    try:
        found = _stations(web, wanted, date(year, 1, 1), date(year, 12, 31))
    except NothingThere as error:
        return (), [str(error)]
    except SourceError as error:
        return (), [f"No station could be compared with: {error}"]
    return tuple(found), []


def _shortened(notes: list[str]) -> list[str]:
    """Twenty years that fail alike are one sentence and a count."""
    if len(notes) <= 3:
        return notes
    return [*notes[:2], Note.of("weather.more_spans", n=len(notes) - 2)]
