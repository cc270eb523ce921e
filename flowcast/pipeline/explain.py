"""A season of a yard explained, from what is known on the morning of the issue date."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from flowcast import weather
from flowcast.errors import InputError, NotEnoughDataError
from flowcast.flow.days import days_of
from flowcast.pipeline.gather import Reach
from flowcast.pipeline.run import fit_record, plants_of, record_of
from flowcast.reasons import Season, explain_span, hive_seasons
from flowcast.reasons.kilograms import NEEDED, Kilograms, in_kilograms
from flowcast.reasons.spans import same_dates
from flowcast.results import Record, YardSeason

LEAST_DAYS = 14


def explain(
    folder: Path | str | None = None,
    *,
    at: str | None = None,
    season: str | None = None,
    first: str | pd.Timestamp | None = None,
    last: str | pd.Timestamp | None = None,
    against: str | None = None,
    as_of: str | pd.Timestamp | None = None,
    reach: Reach | None = None,
) -> YardSeason:
    """Why a season of a yard was what it was.

    Parameters
    ----------
    season : str, optional
        "2025", or "2025/26" where a season runs into the next year. The last whole one when neither
        it nor `first` and `last` are given; a running one is explained up to the day before the
        issue date.
    first, last : date, optional
        A span in its place, both days included.
    against : str, optional
        A second season, to be laid beside the first.

    Raises
    ------
    InputError
        When the season cannot be understood, or lies beyond the weather.
    SourceUnavailable, NotEnoughDataError
    """
    record = record_of(folder, at, as_of, reach)
    if first is not None or last is not None:
        span = (
            pd.Timestamp(first or record.daily.index[0]),
            pd.Timestamp(last or record.daily.index[-1]),
        )
        name = f"{span[0]:%Y-%m-%d} to {span[1]:%Y-%m-%d}"
    else:
        name, span = season_span(record, season)
    other = None
    if against is not None:
        other_name, other_span = season_span(record, against)
        other = (other_name, explain_record(record, *other_span))
    return YardSeason(record, name, explain_record(record, *span), other)


def last_season(record: Record) -> YardSeason | None:
    """The last whole season of a record explained; None where its weather does not reach it."""
    name, span = season_span(record, None)
    try:
        return YardSeason(record, name, explain_record(record, *span))
    except NotEnoughDataError:
        return None


def explain_record(record: Record, first: pd.Timestamp, last: pd.Timestamp) -> Season:
    """One span of a record explained; cut at the record's last day."""
    known = record.daily.index
    last = min(last, known[-1])
    spared = record.yard.numbers["reasons.missing_share"] * (last - first)
    first = known[0] if first < known[0] <= first + spared else first
    if first < known[0] or (last - first).days + 1 < LEAST_DAYS:
        raise NotEnoughDataError(
            f"the weather runs from {known[0]:%Y-%m-%d} to {known[-1]:%Y-%m-%d}, and fewer than "
            f"{LEAST_DAYS} of the days asked for lie in it. Ask for another season, or for a span with "
            "--from and --to."
        )
    if (last - first).days > 366:
        raise InputError("the span is longer than a year. Ask for one season at a time.")
    yard = record.yard
    hives = hive_seasons(
        [hive.name for hive in yard.hives], record.logs, yard.work, first, last, yard.place.timezone
    )
    daily = record.daily.assign(lead_d=_lead(record))
    return explain_span(daily, record.spans, bloom_days(record), hives, first, last, yard.numbers)


def kilograms_of(record: Record, season: Season) -> Kilograms | None:
    """Kilograms by driver, where daily gains and enough other years of weather are known.

    In work: it is measured by scripts/measure_explain.py and not shown, since its signs are not right
    often enough (DEVELOPERS.md).
    """
    numbers = record.yard.numbers
    shift = record.days.pheno_day - record.days.season_day
    spans = same_dates(record.daily.assign(shift_d=shift), season.first, season.last, numbers)
    whole = {y: part for y, part in spans.items() if part[list(NEEDED)].notna().all(axis=None)}
    year = season.first.year
    single = record.spans[record.spans["days"] == 1]["gain_kg"].groupby(level=0).median()
    gain = single.reindex(spans[year].index).to_numpy(float)
    told = np.isfinite(gain).sum() >= numbers["reasons.gain_share"] * len(gain)
    if year not in whole or not told or len(whole) - 1 < numbers["reasons.kg_years"]:
        return None
    days = record.days.take(record.daily.index.get_indexer(spans[year].index))
    return in_kilograms(fit_record(record), days, gain, whole, year, numbers)


def season_span(record: Record, name: str | None) -> tuple[str, tuple[pd.Timestamp, pd.Timestamp]]:
    """The name and days of a season of the yard; of the last whole one without a name."""
    start = record.yard.place.season_start
    year = _whole_season(record) if name is None else _year_of(name)
    first = pd.Timestamp(year, *start)
    last = pd.Timestamp(year + 1, *start) - pd.Timedelta(days=1)
    return weather.season_name(year, start), (first, last)


def _year_of(name: str) -> int:
    try:
        year = int(name.split("/")[0])
    except ValueError:
        year = 0
    if not 1900 <= year <= 2200:
        raise InputError(f"--season {name}: no season. Write it as 2025, or 2025/26.")
    return year


def _whole_season(record: Record) -> int:
    """The last season that ended before the issue date."""
    start = record.yard.place.season_start
    return int(weather.season_start_year([record.issue_date], start)[0]) - 1


def bloom_days(record: Record) -> pd.Series:
    """Whether a plant the keeper names blooms, by the dates stated, on each day of the record."""
    dates = record.daily.index
    day = weather.season_day(dates, record.yard.place.season_start)
    blooms = np.zeros(len(dates), bool)
    for plant in plants_of(record.yard):
        blooms |= (day - plant.first_day) % 366 < plant.width_d
    return pd.Series(blooms, dates)


def _lead(record: Record) -> np.ndarray:
    """Days by which each day ran early, as far as warmth still moves plants then; else NaN."""
    place, numbers = record.yard.place, record.yard.numbers
    days = days_of(record.daily, record.normals, place, numbers)
    pull = weather.warmth_pull(record.daily.index, place, numbers)
    lead = days.pheno_day - days.season_day
    return np.where((pull >= 1) & bool(record.normals.seasons), lead, np.nan)
