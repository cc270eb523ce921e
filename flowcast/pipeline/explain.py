"""A season of a yard explained, from what is known on the morning of the issue date."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast import weather
from flowcast.errors import InputError, NotEnoughDataError
from flowcast.flow.days import Days, days_of
from flowcast.flow.fit import FlowModel
from flowcast.flow.household import intake_of
from flowcast.flow.latent import flight_days, from_scale
from flowcast.numbers import Numbers
from flowcast.pipeline.gather import Reach
from flowcast.pipeline.run import fit_record, plants_of, record_of
from flowcast.reasons import Season, explain_span, hive_seasons
from flowcast.reasons.kilograms import Kilograms, season_in_kilograms
from flowcast.reasons.plants import rain_against_normal
from flowcast.reasons.spans import same_dates
from flowcast.reasons.swaps import NEEDED, filled, kept, swap
from flowcast.results import Record, YardSeason
from flowcast.yard import Yard

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
    kilograms = kilograms_of(record, season_found)
    return YardSeason(record, name, season_found, other, kilograms, crops_of(record.yard))


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


def last_season(record: Record, model: FlowModel | None = None) -> YardSeason | None:
    """The last whole season of a record explained; None where its weather does not reach it.

    model: fitted to this record already, where it was.
    """
    name, span = season_span(record, None)
    try:
        season = explain_record(record, *span)
    except NotEnoughDataError:
        return None
    kilograms = kilograms_of(record, season, model=model)
    return YardSeason(record, name, season, None, kilograms, crops_of(record.yard))


def explain_record(record: Record, first: pd.Timestamp, last: pd.Timestamp) -> Season:
    """One span of a record explained; cut at the record's last day."""
    known = record.daily.index
    last = min(last, known[-1])
    spared = record.yard.numbers["reasons.missing_share"] * (last - first)
    first = known[0] if first < known[0] <= first + spared else first
    if first < known[0] or (last - first).days + 1 < LEAST_DAYS:
        raise NotEnoughDataError(
            f"the weather, from {known[0]:%Y-%m-%d} to {known[-1]:%Y-%m-%d}, does not hold all of "
            f"{first:%Y-%m-%d} to {last:%Y-%m-%d}, or these are fewer than {LEAST_DAYS} days. Ask for another season with "
            "--season, or for a span with --from and --to."
        )
    if (last - first).days > 366:
        raise InputError("the span is longer than a year. Ask for one season at a time.")
    yard = record.yard
    hives = hive_seasons(
        [hive.name for hive in yard.hives], record.logs, yard.work, first, last, yard.place.timezone
    )
    daily = record.daily.assign(lead_d=_lead(record))
    return explain_span(daily, record.spans, bloom_days(record), hives, first, last, yard.numbers)


def kilograms_of(
    record: Record, season: Season, seed: int = 1, model: FlowModel | None = None
) -> Kilograms | None:
    """Kilograms by driver, where the season and enough other years are known and bees fly; else None."""
    numbers, year = record.yard.numbers, season.first.year
    known = None if np.isnan(season.gain.now) else _flown(_lent(record, season), year, numbers)
    if known is None:
        return None
    spans, lacks = known
    model, at = model or fit_record(record), record.daily.index.get_indexer(spans[year].index)
    intake, full = _intake(record, model)
    # Of a day on which comb ran out the model knows better: to it the gain was a bound.
    days, seen = record.days.take(at), np.where(full, np.nan, intake)[at]
    swapped = swap(model, days, seen, spans, year, numbers, np.random.default_rng(seed))
    hidden = _hidden(record, season, model, intake, full)
    return season_in_kilograms(season, swapped, spans, lacks, numbers, hidden)


def _flown(
    lent: dict[int, pd.DataFrame], year: int, numbers: Numbers
) -> tuple[dict[int, pd.DataFrame], np.ndarray] | None:
    """Days on which bees fly in some year, without holes, and which of them the season itself lacks.

    A day on which nobody flies in any year brings nothing, whatever is swapped. None where too few
    years, no such day or too little of the season is known.
    """
    if len(lent) - 1 < numbers["reasons.kg_years"]:
        return None
    spans = filled(lent, year)
    hours = np.array([part["foraging_h"].to_numpy() for part in spans.values()])
    told = np.isfinite(hours).all(axis=0) & (hours.max(axis=0) >= numbers["flow.flight_min_h"])
    lacks = lent[year][list(NEEDED)].isna().any(axis=1).to_numpy()
    if not told.any() or 1 - lacks.mean() < numbers["reasons.gain_share"]:
        return None
    return {y: part[told] for y, part in spans.items()}, lacks[told]


def _intake(record: Record, model: FlowModel) -> tuple[np.ndarray, np.ndarray]:
    """Intake of each day of the record by its gain, NaN where that is not known alone, and whether
    comb ran out on it. [kg]"""
    single = record.spans[record.spans["days"] == 1].groupby(level=0)
    gain, bound = (
        single[column].median().reindex(record.daily.index).to_numpy(float)
        for column in ("gain_kg", "lower_bound")
    )
    return intake_of(gain, record.days, model.household)[0], bound > 0


def _hidden(record: Record, season: Season, model: FlowModel, intake, full) -> float:
    """What comb that ran out kept from the span's gain, less the same of the log's other seasons. [kg]"""
    told = full & flight_days(record.days, record.yard.numbers) & np.isfinite(intake)
    if not told.any() or not season.gain_years:
        return 0.0
    lacked = []
    for year in (season.first.year, *season.gain_years):
        first = season.first + pd.DateOffset(years=year - season.first.year)
        inside = (record.daily.index >= first) & (
            record.daily.index <= first + (season.last - season.first)
        )
        at = np.flatnonzero(told & inside)
        lacked.append(_beyond(model, record.days.take(at), intake[at]) if len(at) else 0.0)
    return lacked[0] - float(np.mean(lacked[1:]))


def _beyond(model: FlowModel, days: Days, intake_kg: np.ndarray) -> float:
    """What the model thinks was to be had on these days beyond this intake, as left on the scale. [kg]"""
    more = np.maximum(from_scale(model.predict(days)[0]) - intake_kg, 0.0)
    return float(more @ kept(days, model.household.mean, model.prior.numbers))


def _lent(record: Record, season: Season) -> dict[int, pd.DataFrame]:
    """The season's days and those of other years, with all that swapping needs."""
    numbers, start = record.yard.numbers, record.yard.place.season_start
    shift = record.days.pheno_day - record.days.season_day
    rained = rain_against_normal(record.daily["precip_mm"], start, numbers)
    days = record.days
    daily = record.daily.assign(
        shift_d=shift, rained=rained, washed=days.washed, showered=days.showered
    )
    spans = same_dates(daily, season.first, season.last, numbers)
    nearest = sorted(spans, key=lambda year: abs(year - season.first.year))
    return {y: spans[y] for y in nearest[: 1 + int(numbers["reasons.kg_most_years"])]}


def crops_of(yard: Yard) -> pd.DataFrame:
    """Honey of each season by the keeper's own words in work.csv.

    Index: the season's name; kg: mean over the hives that gave any, hives: how many. Of each hive
    the honey extracted, or where none is told the honey lifted off. Empty without such lines.
    """
    place = yard.place
    lines = yard.work[yard.work["what"].isin(["honey off", "extracted"]) & (yard.work["kg"] > 0)]
    local = lines["time"].dt.tz_convert(place.timezone).dt.tz_localize(None)
    year = pd.Series(weather.season_start_year(local, place.season_start), lines.index, dtype=int)
    sums = lines.groupby([year.rename("year"), "hive", "what"])["kg"].sum().unstack("what")
    sums = sums.reindex(columns=["extracted", "honey off"])
    each = sums["extracted"].fillna(sums["honey off"])
    table = each.groupby("year").agg(["mean", "count"])
    table.columns = ["kg", "hives"]
    names = [weather.season_name(y, place.season_start) for y in table.index]
    return table.set_axis(pd.Index(names, name="season"))


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
