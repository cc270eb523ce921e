"""The runs a user asks for: pull, check, outlook."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast import weather
from flowcast.errors import NotEnoughDataError, SourceUnavailable
from flowcast.flow.fit import FlowModel, fit_yards
from flowcast.flow.kin import nearness
from flowcast.flow.noted import Noted, noted_blooms
from flowcast.flow.outlook import read_outlook
from flowcast.flow.plants import Plant
from flowcast.flow.prior import Akin, draw_ensemble
from flowcast.flow.scenarios import Scenarios, future_of, simulate
from flowcast.flow.seen import YardLog
from flowcast.flow.standing import Standing, read_standing
from flowcast.messages import Note
from flowcast.pipeline.gather import (
    Reach,
    Sources,
    read_place,
    read_sources,
    sources_of,
    spot_of,
)
from flowcast.pipeline.record import (
    clean_logs,
    default_issue_date,
    known_before,
    with_free_comb,
)
from flowcast.results import Checked, LearnedFrom, Pulled, Record, YardOutlook
from flowcast.scale_log import CleanLog, robbing
from flowcast.sources.files import read_scale
from flowcast.yard import Yard, read_yard
from flowcast.yard.settings import ForageSection

HORIZON_DAYS = 45
AHEAD_DAYS = 60  # how far the runs of weather reach, whatever is read off them
SCENARIOS = 1000
SEED = 1
ENSEMBLE_SEED = 0


def outlook(
    folder: Path | str | None = None,
    *,
    at: str | None = None,
    as_of: str | pd.Timestamp | None = None,
    seed: int = SEED,
    scenarios: int = SCENARIOS,
    reach: Reach | None = None,
) -> YardOutlook:
    """The outlook of the yard in this folder, or of a place on the map.

    Parameters
    ----------
    folder : path, optional
        The yard's folder.
    at : str, optional
        In place of a folder: "48.2 16.4" or "Town, Country"; weather, climate and prior alone.
    as_of : date, optional
        Issue date (local). The outlook is issued that morning and knows nothing from that day
        on. When not given: today where a service gives the weather, else the day after the
        yard's own weather ends.
    seed : int
        Equal seeds give equal outlooks.
    reach : Reach, optional
        How far the run may reach for weather: offline, refresh.

    Raises
    ------
    InputError, SourceUnavailable, NotEnoughDataError
    """
    record = record_of(folder, at, as_of, reach)
    return outlook_from(record, seed=seed, scenarios=scenarios)


def record_of(
    folder: Path | str | None,
    at: str | None,
    as_of: str | pd.Timestamp | None,
    reach: Reach | None,
) -> Record:
    """What is known of a yard, or of a place on the map, on the morning of the issue date."""
    issue_date = pd.Timestamp(as_of).normalize() if as_of is not None else None
    reach = _until(reach or Reach(), issue_date)
    sources = _sources(folder, at, reach)
    if issue_date is None:
        issue_date = default_issue_date(sources)
        sources = _said_if_old(sources, issue_date)
    return known_before(sources, issue_date, current=as_of is None)


def pull(folder: Path | str, *, reach: Reach | None = None) -> Pulled:
    """Bring the weather of a yard, and of those it learns from, into the store; say what there is.

    Raises
    ------
    InputError
        When the yard folder cannot be understood.
    SourceUnavailable
        When the yard asks no service, or none has anything.
    """
    reach = reach or Reach()
    sources = read_sources(folder, reach)
    if sources.asked is None:
        raise SourceUnavailable(
            f"{sources.yard.name}: it has its own weather file and asks no service. To add the days "
            'ahead, write services = ["open-meteo"] under [weather] in yard.toml.'
        )
    try:
        record = known_before(sources, default_issue_date(sources))
    except NotEnoughDataError as error:
        raise SourceUnavailable(f"{error} {' '.join(map(str, sources.notes[:2]))}") from None
    asked = sum((Counter(one.asked) for one in (sources, *sources.others)), Counter())
    return Pulled(record, dict(asked), sources.now)


def check(folder: Path | str, *, reach: Reach | None = None) -> Checked:
    """Read and clean all of a yard, without fitting anything.

    Raises
    ------
    InputError
        At the first file that cannot be understood. A yard without weather is no error here.
    """
    try:
        sources = read_sources(folder, reach or Reach())
    except SourceUnavailable as error:
        yard = read_yard(folder)
        logs, notes = _all_logs(yard, str(error))
        return Checked(yard, None, logs, notes, _robbed(logs, yard))
    issue_date = default_issue_date(sources)
    sources = _said_if_old(sources, issue_date)
    record = known_before(sources, issue_date, current=True)
    robbed = _robbed(record.logs, sources.yard)
    doubtful = [*_still_to_come(sources, max(issue_date, sources.today)), *_unnamed(sources.yard)]
    return Checked(sources.yard, record, record.logs, [*doubtful, *record.notes], robbed)


def _still_to_come(sources: Sources, today: pd.Timestamp) -> list[Note]:
    """What the keeper's files tell of days that are still to come: a year mistyped, most likely."""
    yard, tomorrow = sources.yard, today + pd.Timedelta(days=1)
    zone = yard.place.timezone
    dates = {scale.name: scale.readings.index.tz_convert(zone) for scale in sources.scales}
    dates["work.csv"] = pd.DatetimeIndex(yard.work["time"]).tz_convert(zone)
    dates = {name: index.tz_localize(None) for name, index in dates.items()}
    dates["bloom.csv"] = pd.DatetimeIndex(yard.bloom["date"])
    dates["beetles.csv"] = pd.DatetimeIndex(yard.beetles["date"])
    found = {name: index[index >= tomorrow] for name, index in dates.items()}
    return [
        Note.of("files.still_to_come", file=name, n=len(late), first=late.min())
        for name, late in found.items()
        if len(late)
    ]


def _unnamed(yard: Yard) -> list[Note]:
    """Plants of bloom.csv that yard.toml does not name, so that nothing is made of their notes."""
    known = {plant.name.casefold() for plant in yard.forage}
    plants = tuple(p for p in yard.bloom["plant"].drop_duplicates() if p.casefold() not in known)
    return [Note.of("files.plants_unnamed", plants=plants)] if plants else []


def _robbed(logs: list[CleanLog], yard: Yard) -> list[str]:
    scales = [log for log in logs if log.kind == "scale"]
    return robbing(scales, yard.place.timezone, yard.numbers)


def outlook_from(
    record: Record,
    *,
    seed: int = SEED,
    scenarios: int = SCENARIOS,
    horizon: int = HORIZON_DAYS,
    ahead: pd.DataFrame | None = None,
    model: FlowModel | None = None,
) -> YardOutlook:
    """Fit the flow model to a record and read its outlook.

    Parameters
    ----------
    ahead : DataFrame, optional
        Daily table of the days after the record as they truly came, for judging the model apart
        from the weather. When not given: the record's weather forecast, then past years' weather.
    model : FlowModel, optional
        Fitted to this record already.
    """
    rng = np.random.default_rng(seed)
    model = model or fit_record(record)
    unknown = (record.issue_date - record.daily.index[-1]).days - 1
    runs = weather_ahead(record, horizon + unknown, ahead)
    future = future_of(runs, record.daily, record.normals, record.yard.place, record.yard.numbers)
    widen = record.station.widen if record.station else 1.0
    drawn = simulate(model, future, record.yard.numbers, rng, scenarios, widen=widen)
    recent = _recent_gain(record)
    read = read_outlook(
        from_issue(drawn, unknown), recent, record.yard.flow_day_kg, record.yard.numbers
    )
    return YardOutlook(record, model, read, standing_of(record), seed, learned_from(record, model))


def learned_from(record: Record, model: FlowModel) -> tuple[LearnedFrom, ...]:
    """The other yards whose logs are in the model."""
    found = []
    for other, seasons in zip(record.others, model.learned, strict=True):
        east, north, up = spot_of(other.yard, record.yard)
        found.append(LearnedFrom(other.yard.name, seasons, float(np.hypot(east, north)), up))
    return tuple(found)


def weather_ahead(
    record: Record, days: int, ahead: pd.DataFrame | None = None
) -> weather.WeatherAhead:
    """The runs of weather for so many days after the record: the same ones for all who ask.

    `ahead` is the weather as it came, for judging a model apart from the weather.
    """
    if ahead is not None:
        return weather.known_ahead(record.daily, ahead.iloc[:days])
    unknown = (record.issue_date - record.daily.index[-1]).days - 1
    reach = max(days, AHEAD_DAYS + unknown)
    numbers = record.yard.numbers
    if record.forecast is None:
        return weather.past_years_ahead(record.daily, reach, numbers).first(days)
    members, point = list(record.forecast.members), record.forecast.is_point
    return weather.forecast_ahead(record.daily, members, point, reach, numbers).first(days)


def standing_of(record: Record) -> Standing:
    """How the season stands on the record's issue date."""
    yard = record.yard
    days = record.days
    return read_standing(
        record.daily,
        float(days.pheno_day[-1] - days.season_day[-1]) if record.normals.seasons else np.nan,
        bool(weather.warmth_pull(record.daily.index[-1:], yard.place, yard.numbers)[0] > 0),
        record.spans[record.spans["days"] == 1]["gain_kg"],
        yard.flow_day_kg,
        yard.place,
        yard.numbers,
        full=record.spans.index[(record.spans["days"] == 1) & (record.spans["lower_bound"] > 0)],
    )


def fit_record(record: Record) -> FlowModel:
    """The flow model of a record and of those it learns from; the prior is the same for every seed."""
    return fit_yards(yard_logs(record))


def yard_logs(record: Record) -> list[YardLog]:
    """What the fit takes: of the yard itself, then of those it learns from."""
    yard, plants = record.yard, plants_of(record.yard)
    own = _log_of(record, plants, np.random.default_rng(ENSEMBLE_SEED))
    others = []
    for number, other in enumerate(record.others, start=1):
        spot = spot_of(other.yard, yard)
        near = nearness(spot, (0.0, 0.0, 0.0), yard.numbers)
        alike = (near * yard.numbers[f"flow.share_{name}"] for name in ("plant", "plant_year"))
        plants = [_by_clock_of(record, other, plant) for plant in plants_of(other.yard)]
        rng = np.random.default_rng([ENSEMBLE_SEED, number])
        log = _log_of(other, plants, rng, Akin(own.ensemble.drawn, *alike))
        others.append(replace(log, spot=spot))
    return [own, *others]


def _log_of(
    record: Record, plants: list[Plant], rng: np.random.Generator, akin: Akin | None = None
) -> YardLog:
    """What the fit takes of one yard, on the spot itself."""
    numbers, noted = record.yard.numbers, noted_of(record, plants)
    flight = _flight_season(record)
    ensemble = draw_ensemble(plants, flight, numbers, rng, noted=noted, akin=akin)
    return YardLog(record.spans, record.days, ensemble, numbers)


def _by_clock_of(record: Record, other: Record, plant: Plant) -> Plant:
    """Another yard's plant with its dates by this yard's clock of warmth, as that yard's days are.

    What blooms there on a date blooms in the warmth that is normal there on that date.
    """
    if plant.follows != "warmth" or not (other.normals.seasons and record.normals.seasons):
        return plant
    place, numbers = record.yard.place, record.yard.numbers
    start = pd.Timestamp(2024, *place.season_start)
    date = pd.DatetimeIndex([start + pd.Timedelta(days=round(plant.middle_day))])
    warmth = other.normals.warmth_cd[weather.season_day(date, other.normals.season_start)]
    lead = weather.phenological_lead(date, warmth, record.normals, numbers)
    clock = weather.pheno_day(date, lead, place.season_start, place, numbers)
    moved = float((clock - weather.season_day(date, place.season_start))[0])
    return replace(plant, first_day=plant.first_day + moved, last_day=plant.last_day + moved)


def noted_of(record: Record, plants: list[Plant]) -> dict[str, tuple[Noted, ...]]:
    """What bloom.csv says of these plants, by name: notes before the issue date, within the weather."""
    notes, known = record.yard.bloom, record.daily.index
    notes = notes[(notes["date"] < record.issue_date) & notes["date"].isin(known)]
    at = known.get_indexer(notes["date"])
    start = record.yard.place.season_start
    found = {}
    for plant in plants:
        own = (notes["plant"].str.casefold() == plant.name.casefold()).to_numpy()
        clock = record.days.pheno_day if plant.follows == "warmth" else record.days.season_day
        found[plant.name] = noted_blooms(
            plant,
            notes[own],
            clock[at[own]],
            lambda date: int(weather.season_start_year([date], start)[0]),
            record.yard.numbers,
        )
    return {name: blooms for name, blooms in found.items() if blooms}


def plants_of(yard: Yard) -> list[Plant]:
    """The stated forage in season days of the yard's own season."""
    return [_plant(f, yard) for f in yard.forage]


def _sources(folder: Path | str | None, at: str | None, reach: Reach) -> Sources:
    if at is None:
        return read_sources(folder if folder is not None else Path(), reach)
    return sources_of(read_place(at, reach), reach)


def _said_if_old(sources: Sources, issue_date: pd.Timestamp) -> Sources:
    """Weather that is too old for an outlook of today gives one of its own day, aloud."""
    if issue_date >= sources.today:
        return sources
    days = (sources.today - issue_date).days
    asked = sources.asked is not None
    old = (
        Note.of("weather.old", n=days, date=issue_date)
        if asked
        else _file_ends(sources, issue_date)
    )
    return replace(sources, notes=(old, *sources.notes))


def _file_ends(sources: Sources, issue_date: pd.Timestamp) -> Note:
    """The yard's own weather file ends before today, and the log perhaps not."""
    last = issue_date - pd.Timedelta(days=1)
    told = {"file": sources.blocks[0].origin.url, "last": last, "date": issue_date}
    zone = sources.yard.place.timezone
    cut, now = (
        issue_date.tz_localize(zone, nonexistent="shift_forward", ambiguous=True),
        sources.now,
    )
    times = [scale.readings.index for scale in sources.scales]
    later = [index[(index > cut) & (index <= now)] for index in times]  # a year mistyped is none
    newest = [index.max().tz_convert(zone) for index in later if len(index)]
    if not newest:
        return Note.of("weather.file_ends", **told)
    log = max(newest).tz_localize(None).normalize()
    return Note.of("weather.file_ends_before_log", **told, log=log)


def _until(reach: Reach, issue_date: pd.Timestamp | None) -> Reach:
    """A run for a past date asks for whole years up to that one, and for no day ahead."""
    now = reach.now or pd.Timestamp.now("UTC")
    if issue_date is None or issue_date.date() >= now.date():
        return reach
    return replace(
        reach, last=reach.last or min(date(issue_date.year, 12, 31), now.date()), live=False
    )


def _all_logs(yard: Yard, why: str):
    """The logs of a yard that has no weather."""
    scales = [read_scale(yard, hive) for hive in yard.hives if hive.scale]
    end = max((s.readings.index.max() for s in scales), default=pd.Timestamp(0, tz="UTC"))
    logs, notes = clean_logs(yard, scales, end)
    today = end.tz_convert(yard.place.timezone).tz_localize(None).normalize()
    logs = with_free_comb(logs, yard, today + pd.Timedelta(days=1), current=True)
    return logs, [*yard.notes, why, *notes]


def _flight_season(record: Record) -> np.ndarray:
    """Normal foraging hours by season day; without a whole year, what the record's days had."""
    yard = record.yard
    course = weather.normal_course(
        record.daily, "foraging_h", yard.place.season_start, yard.numbers
    )
    return course["mean"].fillna(record.daily["foraging_h"].mean()).to_numpy()


def _plant(forage: ForageSection, yard: Yard) -> Plant:
    # A leap year holds every month and day; bloom may span the new year or the season's start.
    dates = pd.DatetimeIndex([f"2024-{forage.from_}", f"2024-{forage.to}"])
    first, last = weather.season_day(dates, yard.place.season_start)
    return Plant(
        forage.name, float(first), float(last), forage.strength, forage.follows, forage.irregular
    )


def _recent_gain(record: Record, length: int = 60) -> np.ndarray:
    """The yard's last daily gains; what full hives gained below a flow day is no end of a flow. [kg]"""
    days = pd.date_range(end=record.issue_date - pd.Timedelta(days=1), periods=length)
    single = record.spans[record.spans["days"] == 1]
    silent = (single["lower_bound"] > 0) & (single["gain_kg"] < record.yard.flow_day_kg)
    return single["gain_kg"].mask(silent).reindex(days).to_numpy(float)


def from_issue(drawn: Scenarios, unknown: int) -> Scenarios:
    """Drop the days between the last known weather and the issue date."""
    if not unknown:
        return drawn
    cut = ("dates", "gain_kg", "intake_kg", "foraging_h", "soil_frac")
    later = {name: getattr(drawn, name)[..., unknown:] for name in cut}
    if drawn.more_use_kg is not None:
        later["more_use_kg"] = drawn.more_use_kg[:, unknown:]
    followed = np.maximum(drawn.followed_d - unknown, 0)
    return replace(drawn, **later, followed_d=followed)
