"""The one place that joins files to models: what is known of a yard, and the outlook from it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast import scale_log, weather
from flowcast.errors import NotEnoughDataError, SourceUnavailable
from flowcast.flow.days import days_of
from flowcast.flow.fit import FlowModel, fit_flow
from flowcast.flow.outlook import read_outlook
from flowcast.flow.prior import Plant, draw_ensemble
from flowcast.flow.scenarios import Future, Scenarios, known_ahead, past_years_ahead, simulate
from flowcast.flow.standing import Standing, read_standing
from flowcast.foraging import foraging_days
from flowcast.results import Checked, Record, YardOutlook
from flowcast.sources.files import ScaleFile, WeatherFile, doubtful_unit, read_scale, read_weather
from flowcast.yard import Yard, read_yard
from flowcast.yard.settings import ForageSection

HORIZON_DAYS = 45
SCENARIOS = 1000
SEED = 1
ENSEMBLE_SEED = 0


@dataclass(frozen=True)
class Sources:
    """Everything that was read of a yard, nothing cleaned or cut yet."""

    yard: Yard
    weather: WeatherFile
    scales: list[ScaleFile]


def read_sources(folder: Path | str) -> Sources:
    """Read a yard folder whole.

    Raises
    ------
    InputError, SourceUnavailable
        At the first file that cannot be understood, or when there is no weather.
    """
    yard = read_yard(folder)
    scales = [read_scale(yard, hive) for hive in yard.hives if hive.scale]
    return Sources(yard, read_weather(yard), scales)


def default_issue_date(sources: Sources) -> pd.Timestamp:
    """The day after the last whole day of weather: the newest date an outlook can stand on."""
    table, zone = sources.weather.table, sources.yard.place.timezone
    if sources.weather.daily:
        return table.index[-1] + pd.Timedelta(days=1)
    return table.index[-1].tz_convert(zone).tz_localize(None).normalize()


def outlook(
    folder: Path | str,
    *,
    as_of: str | pd.Timestamp | None = None,
    seed: int = SEED,
    scenarios: int = SCENARIOS,
) -> YardOutlook:
    """The outlook of the yard in this folder.

    Parameters
    ----------
    as_of : date, optional
        Issue date (local). The outlook is issued that morning and knows nothing from that day
        on; the day after the weather ends when not given.
    seed : int
        Equal seeds give equal outlooks.
    """
    sources = read_sources(folder)
    issue_date = (
        pd.Timestamp(as_of).normalize() if as_of is not None else default_issue_date(sources)
    )
    return outlook_from(known_before(sources, issue_date), seed=seed, scenarios=scenarios)


def known_before(sources: Sources, issue_date: pd.Timestamp) -> Record:
    """Cut everything at the start of the issue date, then clean and reckon.

    The cut comes first, so that no step of the reckoning can see beyond it.

    Raises
    ------
    NotEnoughDataError
        When the weather begins after the issue date or ends long before it.
    """
    yard = sources.yard
    place, numbers = yard.place, yard.numbers
    cut = issue_date.tz_localize(place.timezone, nonexistent="shift_forward", ambiguous=True)
    whole = _weather_before(sources, cut, issue_date)
    daily = _daily(whole, place, numbers)
    _check_reach(daily, issue_date, numbers)
    normals = weather.fit_normals(daily, weather.midwinter(place), numbers)
    logs, notes = _clean_logs(yard, sources.scales, cut)
    spans, dropped = _yard_spans(logs, daily.index, issue_date, numbers)
    return Record(
        yard=yard,
        issue_date=issue_date,
        weather=whole,
        daily=daily,
        normals=normals,
        days=days_of(daily, normals, place, numbers),
        logs=logs,
        spans=spans,
        apart=scale_log.apart(logs, numbers),
        notes=[
            *yard.notes,
            *sources.weather.notes,
            *_daily_notes(sources.weather),
            *whole.notes,
            *_holes(daily),
            *notes,
            *dropped,
        ],
    )


def outlook_from(
    record: Record,
    *,
    seed: int = SEED,
    scenarios: int = SCENARIOS,
    horizon: int = HORIZON_DAYS,
    ahead: pd.DataFrame | None = None,
) -> YardOutlook:
    """Fit the flow model to a record and read its outlook.

    Parameters
    ----------
    ahead : DataFrame, optional
        Daily table of the days after the record as they truly came, for judging the model apart
        from the weather. Past years' weather when not given.
    """
    rng = np.random.default_rng(seed)
    model = fit_record(record)
    unknown = (record.issue_date - record.daily.index[-1]).days - 1
    future = _future(record, horizon + unknown, ahead)
    drawn = _from_issue(simulate(model, future, record.yard.numbers, rng, scenarios), unknown)
    recent = _recent_gain(record)
    read = read_outlook(drawn, recent, record.yard.flow_day_kg, record.yard.numbers)
    return YardOutlook(record, model, read, standing_of(record), seed)


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
    )


def check(folder: Path | str) -> Checked:
    """Read and clean all of a yard, without fitting anything.

    Raises
    ------
    InputError
        At the first file that cannot be understood. A yard without weather is no error here.
    """
    try:
        sources = read_sources(folder)
    except SourceUnavailable as error:
        yard = read_yard(folder)
        return Checked(yard, None, *_all_logs(yard, str(error)))
    record = known_before(sources, default_issue_date(sources))
    return Checked(sources.yard, record, record.logs, record.notes)


def _all_logs(yard: Yard, why: str) -> tuple[list[scale_log.CleanLog], list[str]]:
    """The logs of a yard that has no weather."""
    scales = [read_scale(yard, hive) for hive in yard.hives if hive.scale]
    end = max((s.readings.index.max() for s in scales), default=pd.Timestamp(0, tz="UTC"))
    logs, notes = _clean_logs(yard, scales, end)
    return logs, [*yard.notes, why, *notes]


def fit_record(record: Record) -> FlowModel:
    """The flow model of a record; its prior ensemble is the same for every seed."""
    rng = np.random.default_rng(ENSEMBLE_SEED)
    numbers = record.yard.numbers
    ensemble = draw_ensemble(plants_of(record.yard), _flight_season(record), numbers, rng)
    return fit_flow(record.spans, record.days, ensemble, numbers)


def _flight_season(record: Record) -> np.ndarray:
    """Normal foraging hours by season day; without a whole year, what the record's days had."""
    yard = record.yard
    course = weather.normal_course(
        record.daily, "foraging_h", yard.place.season_start, yard.numbers
    )
    return course["mean"].fillna(record.daily["foraging_h"].mean()).to_numpy()


def plants_of(yard: Yard) -> list[Plant]:
    """The stated forage in season days of the yard's own season."""
    return [_plant(f, yard) for f in yard.forage]


def _plant(forage: ForageSection, yard: Yard) -> Plant:
    # A leap year holds every month and day; bloom may span the new year or the season's start.
    dates = pd.DatetimeIndex([f"2024-{forage.from_}", f"2024-{forage.to}"])
    first, last = weather.season_day(dates, yard.place.season_start)
    return Plant(
        forage.name, float(first), float(last), forage.strength, forage.follows, forage.irregular
    )


def _weather_before(
    sources: Sources, cut: pd.Timestamp, issue_date: pd.Timestamp
) -> weather.Weather:
    place, numbers = sources.yard.place, sources.yard.numbers
    table = sources.weather.table
    if sources.weather.daily:
        past = table[table.index < issue_date]
        hourly = weather.hourly_from_daily(past, place, numbers) if len(past) else past
    else:
        past = hourly = table[table.index <= cut]  # a stamp at midnight ends the day before
    if not len(past):
        raise NotEnoughDataError(
            f"{sources.weather.name}: no weather before {issue_date:%Y-%m-%d}; it begins "
            f"{table.index[0]:%Y-%m-%d}. Choose a later --as-of."
        )
    return weather.complete_weather(hourly, place, numbers)


def _daily(whole: weather.Weather, place, numbers) -> pd.DataFrame:
    """Weather, foraging hours and warmth of every local day."""
    daily = whole.daily.join(foraging_days(whole.hourly, place.timezone, numbers))
    low, high = daily["temp_min_c"], daily["temp_max_c"]
    return daily.assign(
        degree_days_cd=weather.degree_days(low, high, numbers),
        warmth_cd=weather.warmth(low, high, weather.midwinter(place), numbers),
    )


def _check_reach(daily: pd.DataFrame, issue_date: pd.Timestamp, numbers) -> None:
    if len(daily) < 2 or (issue_date - daily.index[-1]).days > numbers["flow.stale_most_d"]:
        last = f"ends {daily.index[-1]:%Y-%m-%d}" if len(daily) else "has no whole day"
        raise NotEnoughDataError(
            f"the weather {last}, too long before {issue_date:%Y-%m-%d}. Add the days between, or "
            "choose an earlier --as-of."
        )


def _daily_notes(file: WeatherFile) -> list[str]:
    return weather.hourly_from_daily_notes(file.table) if file.daily else []


def _holes(daily: pd.DataFrame) -> list[str]:
    """Days in the midst of the weather that could not be completed, and what they cost."""
    gone = daily.index[daily["temp_mean_c"].isna()]
    if not len(gone):
        return []
    years = ", ".join(str(y) for y in sorted(set(gone.year)))
    return [
        f"The weather misses {len(gone)} days (first {gone[0]:%Y-%m-%d}, last {gone[-1]:%Y-%m-%d}). "
        f"Gains on them teach nothing, and what is left of {years} stands for the days ahead only "
        "where it is whole."
    ]


def _clean_logs(
    yard: Yard, scales: list[ScaleFile], cut: pd.Timestamp
) -> tuple[list[scale_log.CleanLog], list[str]]:
    logs, notes = [], []
    for file in scales:
        readings = file.readings[file.readings.index <= cut]
        work = yard.work_of(file.hive)
        notes += file.notes
        if not len(readings):
            notes.append(f"{file.name}: no weight of hive {file.hive} before the issue date.")
            continue
        notes += doubtful_unit(file, readings)
        try:
            logs.append(
                scale_log.clean_log(
                    readings,
                    work[work["time"] <= cut],
                    hive=file.hive,
                    timezone=yard.place.timezone,
                    numbers=yard.numbers,
                )
            )
        except NotEnoughDataError as error:
            raise NotEnoughDataError(f"{file.name}, hive {file.hive}: {error}") from None
    return logs, notes


def _yard_spans(
    logs: list[scale_log.CleanLog], known: pd.DatetimeIndex, issue_date: pd.Timestamp, numbers
) -> tuple[pd.DataFrame, list[str]]:
    """What the hives say of the yard: daily medians, and totals where no daily gain is known."""
    columns = ["days", "gain_kg", "gain_sd_kg"]
    single = scale_log.yard_gains(logs, numbers)
    single = single.assign(days=1)[columns]
    longer = [_longer_spans(log, single.index, numbers) for log in logs]
    spans = pd.concat([single, *longer]).astype(float).sort_index(kind="stable")
    ends = spans.index + pd.to_timedelta(spans["days"], unit="D")
    inside = (spans.index >= known[0]) & (ends <= min(issue_date, known[-1] + pd.Timedelta(days=1)))
    lost = int((~inside).sum())
    notes = [f"{lost} gains lie outside the days with weather and are not used."] if lost else []
    return spans[inside], notes


def _longer_spans(log: scale_log.CleanLog, told: pd.DatetimeIndex, numbers) -> pd.DataFrame:
    """One hive's totals over several days, as a view of the yard: hives differ, so it is a loose one."""
    gains = log.gains
    keep = (gains["days"] > 1) & (gains["days"] <= numbers["flow.span_most_d"])
    keep &= gains["quality"] == "good"
    gains = gains[keep]
    mostly_told = [
        len(told.intersection(pd.date_range(start, periods=int(n)))) * 2 > n
        for start, n in gains["days"].items()
    ]
    gains = gains[~np.array(mostly_told, bool)]
    own = numbers["flow.hive_frac_sd"] * gains["gain_kg"].abs() + numbers["flow.hive_sd_kg"]
    return pd.DataFrame(
        {
            "days": gains["days"],
            "gain_kg": gains["gain_kg"],
            "gain_sd_kg": np.hypot(gains["gain_sd_kg"], own),
        }
    )


def _recent_gain(record: Record, length: int = 60) -> np.ndarray:
    days = pd.date_range(end=record.issue_date - pd.Timedelta(days=1), periods=length)
    single = record.spans[record.spans["days"] == 1]["gain_kg"]
    return single.reindex(days).to_numpy(float)


def _future(record: Record, horizon: int, ahead: pd.DataFrame | None) -> Future:
    known = (record.daily, record.normals, record.yard.place, record.yard.numbers)
    daily, *rest = known
    if ahead is not None:
        return known_ahead(daily, ahead.iloc[:horizon], *rest)
    return past_years_ahead(daily, horizon, *rest)


def _from_issue(drawn: Scenarios, unknown: int) -> Scenarios:
    """Drop the days between the last known weather and the issue date."""
    if not unknown:
        return drawn
    return Scenarios(
        drawn.dates[unknown:],
        drawn.gain_kg[:, unknown:],
        drawn.intake_kg[:, unknown:],
        drawn.foraging_h[:, unknown:],
        drawn.soil_frac[:, unknown:],
        drawn.weather,
        drawn.labels,
    )
