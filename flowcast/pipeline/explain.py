"""A season of a yard explained, from what is known on the morning of the issue date."""

from __future__ import annotations

import re
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
    if first is None and last is not None:
        raise InputError("--to needs --from: name the first day as well.")
    if first is not None:
        span = (pd.Timestamp(first), pd.Timestamp(last or record.daily.index[-1]))
        name = "the days asked for"
    else:
        name, span = season_span(record, season)
    season_found = explain_record(record, *span)
    other = _same_days(record, season_found, against) if against is not None else None
    return YardSeason(record, name, season_found, other)


def _same_days(record: Record, season: Season, name: str) -> tuple[str, Season]:
    """The same dates of another season, so that like is laid beside like."""
    start = record.yard.place.season_start
    own = int(weather.season_start_year([season.first], start)[0])
    shift = pd.DateOffset(years=_year_of(name, start, "--against") - own)
    first = season.first + shift
    last = first + (season.last - season.first)
    return weather.season_name(own + shift.kwds["years"], start), explain_record(
        record, first, last
    )


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
            f"the weather runs from {known[0]:%Y-%m-%d} to {known[-1]:%Y-%m-%d}, which does not hold the "
            f"days asked for, or fewer than {LEAST_DAYS} of them. Ask for another season, or for a span "
            "with --from and --to."
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
    year = _whole_season(record) if name is None else _year_of(name, start, "--season")
    first, last = (_first_day(y, start) for y in (year, year + 1))
    last -= pd.Timedelta(days=1)
    return weather.season_name(year, start), (first, last)


def _first_day(year: int, start: tuple[int, int]) -> pd.Timestamp:
    """The season's first day; the next one where a year lacks it."""
    month, day = start
    return pd.Timestamp(year, month, 1) + pd.Timedelta(days=day - 1)


def _year_of(name: str, start: tuple[int, int], option: str) -> int:
    """The year a season begins in, from "2025" or "2025/26"."""
    form = re.fullmatch(r"(\d{4})(?:/(\d{2}))?", name.strip())
    year = int(form[1]) if form else 0
    if not 1900 <= year <= 2200 or (form[2] and int(form[2]) != (year + 1) % 100):
        one = weather.season_name(2025, start)
        raise InputError(f"{option} {name}: no season. Write it as {one}.")
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
