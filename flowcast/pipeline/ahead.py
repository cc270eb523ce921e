"""The weather forecast as daily members on the yard's own climate, for the days after the record."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast import weather
from flowcast.advice.visits import open_hours
from flowcast.foraging import foraging_days
from flowcast.messages import Note
from flowcast.pipeline.gather import Sources
from flowcast.results import Forecast
from flowcast.sources.service import Ahead

POINT_MEMBERS = 30
DRAW_SEED = 0


def forecast_after(
    sources: Sources, daily: pd.DataFrame, joined: weather.Joined, issue_date: pd.Timestamp
) -> Forecast | None:
    """Members of the weather forecast from the day after `daily` on.

    None when there is no forecast, when it was made after the issue date (it would know what was
    not known then), or when it ends before the record does.
    """
    ahead = sources.ahead or _point_of(sources)
    if ahead is None or not len(daily):
        return None
    made = ahead.origin.retrieved_at.tz_convert(sources.yard.place.timezone).tz_localize(None)
    if made.normalize() > issue_date:
        return None
    members, said = _on_the_climate(sources, ahead, joined)
    tables = [_daily_after(_with_hours_before(m, sources, joined), daily, sources) for m in members]
    tables = [table for table in tables if len(table)]
    if not tables:
        return None
    return Forecast(tuple(tables), ahead.is_point, ahead.origin.corrected(said))


def _point_of(sources: Sources) -> Ahead | None:
    """The point forecast that comes with the last weeks, when nothing better answered."""
    recent = sources.recent
    if recent is None:
        return None
    later = recent.table[recent.table.index > recent.origin.retrieved_at]
    return Ahead((recent.table,), recent.origin) if len(later) >= 48 else None


def _on_the_climate(sources: Sources, ahead: Ahead, joined: weather.Joined):
    """The members corrected to the yard's history, or each made unsure in its own way.

    The history has no hour in common with days ahead. The last weeks have: they are corrected to
    the history already, and their own point forecast tells of the same first days as the ensemble.
    """
    numbers = sources.yard.numbers
    rng = np.random.default_rng(DRAW_SEED)
    members = list(ahead.members)
    reference = _reference(sources, joined)
    correction = None
    if reference is not None and ahead.origin.service != sources.recent.origin.service:
        days = pd.Timedelta(days=numbers["align.ahead_d"])
        mean = _mean(members)
        mean = mean[mean.index <= mean.index[0] + days]
        correction = weather.fit_correction(mean, reference, numbers, scale=False)
        reference = None if correction is None else reference
    elif reference is not None:
        members = [reference[reference.index > joined.table.index[-1]]]
    if correction is not None:
        members = [correction.apply(m) for m in members]
        said = correction.note(of_forecast=True)
    elif reference is not None:
        said = Note.of("corrected.as_last_weeks")
    else:
        said = Note.of("corrected.each_its_own")
    if ahead.is_point:
        members = weather.drifting(members[0], POINT_MEMBERS, rng, numbers)
    if reference is None:
        members = weather.unsure(members, rng, numbers)
    return members, said


def _reference(sources: Sources, joined: weather.Joined) -> pd.DataFrame | None:
    """The last weeks and their point forecast on the yard's climate."""
    recent = sources.recent
    if recent is None:
        return None
    correction = joined.corrections.get(recent.climate, ...)
    if correction is ...:
        return recent.table
    return None if correction is None else correction.apply(recent.table)


def _mean(members: list[pd.DataFrame]) -> pd.DataFrame:
    """The mean of the members, hour by hour."""
    shared = members[0].columns
    stack = np.stack([m[shared].to_numpy(float) for m in members])
    return pd.DataFrame(stack.mean(axis=0), members[0].index, shared)


def _with_hours_before(
    member: pd.DataFrame, sources: Sources, joined: weather.Joined
) -> pd.DataFrame:
    """The member with the hours between the record's end and its own start, so that days are whole."""
    reference = _reference(sources, joined)
    record = joined.table.iloc[-72:]
    parts = [record, member]
    if reference is not None:
        between = reference[
            (reference.index > record.index[-1]) & (reference.index < member.index[0])
        ]
        parts.insert(1, between)
    table = pd.concat(parts)
    return table[~table.index.duplicated(keep="first")].sort_index()


def days_and_hours(whole: weather.Weather, place, numbers) -> pd.DataFrame:
    """Weather of each local day with the hours in which bees forage and a hive may be opened."""
    hours = whole.hourly
    daily = whole.daily.join(foraging_days(hours, place.timezone, numbers))
    return daily.join(open_hours(hours, place.timezone, numbers))


def _daily_after(hours: pd.DataFrame, daily: pd.DataFrame, sources: Sources) -> pd.DataFrame:
    """Whole days after the record, up to the first that is not whole."""
    place, numbers = sources.yard.place, sources.yard.numbers
    whole = weather.complete_weather(hours, place, numbers)
    table = days_and_hours(whole, place, numbers)
    table["degree_days_cd"] = weather.degree_days(table["temp_min_c"], table["temp_max_c"], numbers)
    table = table[table.index > daily.index[-1]]
    first = daily.index[-1] + pd.Timedelta(days=1)
    if not len(table) or table.index[0] != first:
        return table.iloc[:0]
    broken = np.flatnonzero(table["temp_mean_c"].isna())
    return table.iloc[: broken[0]] if len(broken) else table
