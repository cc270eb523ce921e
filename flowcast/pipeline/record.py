"""What is known of a yard on the morning of an issue date, and nothing from then on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from flowcast import scale_log, weather
from flowcast.errors import NotEnoughDataError
from flowcast.flow.days import days_of
from flowcast.foraging import foraging_hours
from flowcast.messages import Note
from flowcast.pipeline.ahead import days_and_hours, forecast_after
from flowcast.pipeline.gather import Sources, spot_of
from flowcast.pipeline.hives import seen_on
from flowcast.pipeline.stations import against_station
from flowcast.results import Record, WeatherPart
from flowcast.sources.files import ScaleFile, doubtful_unit
from flowcast.sources.service import Block
from flowcast.tables import GAIN, WEATHER
from flowcast.yard import Yard
from flowcast.yard.settings import HiveSection


def default_issue_date(sources: Sources) -> pd.Timestamp:
    """Today where the weather reaches it; else the day after the last whole day of weather.

    A yard that keeps its own weather file and asks no service always has the latter.
    """
    last = max(_day_after(block, sources) for block in sources.blocks)
    if sources.asked is None:
        return last
    oldest = sources.today - pd.Timedelta(days=sources.yard.numbers["service.stale_most_d"])
    return sources.today if last >= oldest else last


def _day_after(block: Block, sources: Sources) -> pd.Timestamp:
    if block.daily:
        return block.table.index[-1] + pd.Timedelta(days=1)
    last = min(block.table.index[-1], block.origin.retrieved_at or block.table.index[-1])
    return last.tz_convert(sources.yard.place.timezone).tz_localize(None).normalize()


def known_before(sources: Sources, issue_date: pd.Timestamp, *, current: bool = False) -> Record:
    """Cut everything at the start of the issue date, then clean and reckon.

    The cut comes first, so that no step of the reckoning can see beyond it. current: what yard.toml
    says of the hives without a `seen` date is of the issue date.

    Raises
    ------
    NotEnoughDataError
        When the weather begins after the issue date or ends long before it.
    """
    yard = sources.yard
    place, numbers = yard.place, yard.numbers
    cut = issue_date.tz_localize(place.timezone, nonexistent="shift_forward", ambiguous=True)
    kept = _cut(sources, cut, issue_date)
    joined = weather.join_blocks(
        [table for _, table in kept], [block.climate for block, _ in kept], numbers
    )
    whole = weather.complete_weather(joined.table, place, numbers)
    daily = daily_of(whole, place, numbers)
    _check_reach(daily, issue_date, numbers)
    of_weather = _weather_notes(kept, whole, daily, issue_date)
    normals = weather.fit_normals(daily, weather.midwinter(place), numbers)
    logs, notes = clean_logs(yard, sources.scales, cut, _air(whole, numbers))
    gone = _not_eating(logs, daily, issue_date, numbers)
    logs = with_free_comb(logs, yard, issue_date, current=current)
    spans, dropped = _yard_spans(logs, daily.index, issue_date, numbers)
    check = against_station(sources.nearby, joined.table, place, numbers)
    others, left_out = _others(sources, issue_date, normals, current=current)
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
        notes=[*yard.notes, *sources.notes, *of_weather, *notes, *gone, *dropped, *left_out],
        parts=_parts(kept, joined, place),
        columns=_columns(joined, whole, [block for block, _ in kept]),
        station=check,
        forecast=forecast_after(sources, daily, joined, issue_date),
        others=others,
    )


def _others(
    sources: Sources, issue_date: pd.Timestamp, normals: weather.Normals, *, current: bool
) -> tuple[list[Record], list[Note]]:
    """What was known that morning of the other yards, and of which of them nothing was.

    Their warmth is laid against this yard's normals: a yard higher up has its spring later by the
    calendar and on the same days by this clock.
    """
    records, notes = [], []
    for other in sources.others:
        yard = other.yard
        try:
            record = known_before(other, issue_date, current=current)
        except NotEnoughDataError as error:
            notes.append(Note.of("others.left_out", folder=yard.name, why=str(error)))
            continue
        if not len(record.spans):
            notes.append(Note.of("others.nothing_yet", yard=yard.name))
            continue
        days = days_of(record.daily, normals, yard.place, yard.numbers)
        records.append(replace(record, days=days))
    return sorted(records, key=lambda one: _away(one.yard, sources.yard)), notes


def _away(other: Yard, yard: Yard) -> tuple:
    """By what the other yards are put in order, however they are written."""
    east, north, up = spot_of(other, yard)
    return np.hypot(east, north), east, north, up, other.name, str(other.folder)


def daily_of(whole: weather.Weather, place, numbers) -> pd.DataFrame:
    """Weather, hours for bees and for keepers, and warmth of every local day."""
    daily = days_and_hours(whole, place, numbers)
    low, high = daily["temp_min_c"], daily["temp_max_c"]
    return daily.assign(
        degree_days_cd=weather.degree_days(low, high, numbers),
        warmth_cd=weather.warmth(low, high, weather.midwinter(place), numbers),
    )


def _with_changes(work: pd.DataFrame, changed: pd.DatetimeIndex) -> pd.DataFrame:
    """Another scale under the hive is a step of no stated size: its zero is another."""
    if not len(changed):
        return work
    lines = pd.DataFrame(
        {"time": changed, "timed": True, "what": scale_log.ANOTHER_SCALE, "kg": np.nan, "note": ""}
    )
    return pd.concat([work, lines], ignore_index=True) if len(work) else lines


def _air(whole: weather.Weather, numbers) -> pd.DataFrame:
    """What the weather may do to a scale: warmth, rain, and whether bees flew."""
    fit = foraging_hours(whole.hourly, numbers)["suitability"]
    return whole.hourly[["temp_c", "precip_mm"]].assign(suitability=fit)


def _silent_since(
    yard: Yard, hive: str, readings: pd.DataFrame, cut: pd.Timestamp
) -> pd.Timestamp | None:
    """The local day of the last weight of a hive that still stands here, where it is no longer fresh."""
    last = readings["weight_kg"].last_valid_index()
    to = next((one.to for one in yard.hives if one.name == hive), None)
    fresh = pd.Timedelta(days=int(yard.numbers["timing.weight_fresh_d"]))
    if last is None or to is not None or cut - last <= fresh:
        return None
    return last.tz_convert(yard.place.timezone).tz_localize(None).normalize()


def clean_logs(
    yard: Yard, scales: list[ScaleFile], cut: pd.Timestamp, air: pd.DataFrame | None = None
) -> tuple[list[scale_log.CleanLog], list[str]]:
    """The log of every hive up to the cut, cleaned, and what is to be said of it."""
    logs, notes = [], []
    for file in scales:
        readings = file.readings[file.readings.index <= cut]
        work = _with_changes(yard.work_of(file.hive), file.changed)
        notes += file.notes
        if not len(readings):
            notes.append(Note.of("files.no_weight_yet", file=file.name, hive=file.hive))
            continue
        notes += doubtful_unit(file, readings)
        silent = _silent_since(yard, file.hive, readings, cut)
        try:
            logs.append(
                scale_log.clean_log(
                    readings,
                    work[work["time"] <= cut],
                    hive=file.hive,
                    timezone=yard.place.timezone,
                    numbers=yard.numbers,
                    air=air,
                )
            )
        except NotEnoughDataError as error:
            raise NotEnoughDataError(f"{file.name}, hive {file.hive}: {error}") from None
        if silent is not None and logs[-1].kind != "hand weighings":
            notes.append(Note.of("files.silent", hive=file.hive, date=silent))
    # Only now, since what was done to one hive is a hint to what was done to the next.
    return scale_log.explain(logs, air, yard.place.timezone, yard.numbers), notes


def _not_eating(
    logs: list[scale_log.CleanLog], daily: pd.DataFrame, issue_date: pd.Timestamp, numbers
) -> list[Note]:
    """Hives whose weight says that nobody lives in them; a hand weighing now and then does not."""
    scales = [log for log in logs if log.kind == "scale"]
    return [
        note for log in scales for note in scale_log.not_eating(log, daily, issue_date, numbers)
    ]


def with_free_comb(
    logs: list[scale_log.CleanLog], yard: Yard, issue_date: pd.Timestamp, *, current: bool = False
) -> list[scale_log.CleanLog]:
    """The same logs with days without free comb marked, by the boxes in yard.toml.

    What stands there is of the day `seen`, without it of the issue date where that is current: an
    outlook of an earlier date must not know it.
    """
    zone, numbers, marked = yard.place.timezone, yard.numbers, {log.hive: log for log in logs}
    for hive in yard.hives:
        seen = seen_on(hive, issue_date, current=current)
        if hive.name in marked and seen is not None:
            free = _free_comb(hive, numbers)
            marked[hive.name] = scale_log.mark_full(marked[hive.name], free, zone, numbers, seen)
    return list(marked.values())


def _free_comb(hive: HiveSection, numbers) -> float | None:
    """What the empty combs of the boxes in yard.toml can hold; None where it does not say. [kg]"""
    boxes = [(box.kind, box.drawn, box.full) for box in hive.boxes]
    if not boxes or any(drawn is None or full is None for _, drawn, full in boxes):
        return None
    return scale_log.free_comb(boxes, numbers)


def _cut(
    sources: Sources, cut: pd.Timestamp, issue_date: pd.Timestamp
) -> list[tuple[Block, pd.DataFrame]]:
    """Hours of each block up to the cut, days spread over hours; blocks with none left out."""
    place, numbers = sources.yard.place, sources.yard.numbers
    kept = []
    for block in sources.blocks:
        table = block.table
        if block.daily:
            past = table[table.index < issue_date]
            past = weather.hourly_from_daily(past, place, numbers) if len(past) else past
        else:
            past = table[table.index <= _known_until(block, cut)]  # midnight ends the day before
        if len(past):
            kept.append((block, past))
    if not kept:
        block = sources.blocks[0]
        raise NotEnoughDataError(
            f"{block.origin.url or block.origin.service}: no weather before "
            f"{issue_date:%Y-%m-%d}; it begins {block.table.index[0]:%Y-%m-%d}. Choose a later "
            "--as-of."
        )
    return kept


def _known_until(block: Block, cut: pd.Timestamp) -> pd.Timestamp:
    """What a service said of hours after it was asked is a forecast, not a record."""
    return min(cut, block.origin.retrieved_at or cut)


def _check_reach(daily: pd.DataFrame, issue_date: pd.Timestamp, numbers) -> None:
    if len(daily) < 2 or (issue_date - daily.index[-1]).days > numbers["flow.stale_most_d"]:
        last = f"ends {daily.index[-1]:%Y-%m-%d}" if len(daily) else "has no whole day"
        raise NotEnoughDataError(
            f"the weather {last}, too long before {issue_date:%Y-%m-%d}. Add the days between, or "
            "choose an earlier --as-of."
        )


def _weather_notes(
    kept: list[tuple[Block, pd.DataFrame]],
    whole: weather.Weather,
    daily: pd.DataFrame,
    issue_date: pd.Timestamp,
) -> list[Note]:
    """What is to be said of the weather: of each block, of what was completed, of days it lacks."""
    completed = (note for note in whole.notes if "completed.days_missing" not in note.keys)
    return [*_block_notes(kept, issue_date), *completed, *_holes(daily)]


def _block_notes(kept: list[tuple[Block, pd.DataFrame]], issue_date: pd.Timestamp) -> list[str]:
    notes: list[str] = []
    for block, _ in kept:
        notes += [note for note in block.origin.notes if note not in notes]
        if block.daily:
            notes += weather.hourly_from_daily_notes(block.table[block.table.index < issue_date])
    return notes


def _parts(kept, joined: weather.Joined, place) -> list[WeatherPart]:
    """Where the hours are from, block by block, blocks of one climate that follow one another as one."""
    stamps = joined.table.index
    found = []
    for k, (block, _) in enumerate(kept):
        own = stamps[joined.block == k]
        if not len(own):
            continue
        correction = joined.corrections.get(block.climate, ...)
        found.append(WeatherPart(_said(block, correction), own[0], own[-1], len(own), place))
    parts: list[WeatherPart] = []
    for part in sorted(found, key=lambda part: part.first):
        joins = bool(parts) and parts[-1].continues(part)
        parts.append(parts.pop().joined(part) if joins else part)
    return parts


def _said(block: Block, correction):
    """The origin with what was done to its values; `...` stands for the training climate itself."""
    if correction is ...:
        return block.origin
    if correction is None:
        return block.origin.corrected(Note.of("corrected.too_few_days"))
    return block.origin.corrected(correction.note())


def _columns(joined: weather.Joined, whole: weather.Weather, blocks: list[Block]) -> pd.DataFrame:
    """For each column: the share of hours given, computed or filled, and missing."""
    hours = len(whole.hourly)
    rows = {}
    for name in (n for n in WEATHER if n in whole.hourly):
        known = int(whole.hourly[name].notna().sum())
        given = int(joined.table[name].notna().sum()) if name in joined.table else 0
        made = {b.origin.columns.get(name, "") for b in blocks} - {""}
        rows[name] = {
            "given": min(given, known) / hours,
            "filled": max(known - given, 0) / hours,
            "missing": (hours - known) / hours,
            "from": "; ".join(sorted(made)),
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def _runs(years: set[int]) -> tuple[str | Note, ...]:
    """Years in a row as one: 2016 to 2019, 2022."""
    firsts = sorted(year for year in years if year - 1 not in years)
    lasts = sorted(year for year in years if year + 1 not in years)
    return tuple(
        Note.of("numbers.range", low=str(first), high=str(last)) if last > first else str(first)
        for first, last in zip(firsts, lasts, strict=True)
    )


def _holes(daily: pd.DataFrame) -> list[Note]:
    """Days in the midst of the weather that could not be completed, and what they cost."""
    gone = daily.index[daily["temp_mean_c"].isna()]
    if not len(gone):
        return []
    years = _runs(set(map(int, gone.year)))
    return [Note.of("weather.holes", n=len(gone), first=gone[0], last=gone[-1], years=years)]


def _yard_spans(
    logs: list[scale_log.CleanLog], known: pd.DatetimeIndex, issue_date: pd.Timestamp, numbers
) -> tuple[pd.DataFrame, list[str]]:
    """What the hives say of the yard: daily medians, and totals where no daily gain is known."""
    single = scale_log.yard_gains(logs, numbers)
    single = single.assign(days=1)[list(GAIN)]
    longer = [_longer_spans(log, single.index, numbers) for log in logs]
    spans = pd.concat([single, *longer]).astype(float).sort_index(kind="stable")
    ends = spans.index + pd.to_timedelta(spans["days"], unit="D")
    inside = (spans.index >= known[0]) & (ends <= min(issue_date, known[-1] + pd.Timedelta(days=1)))
    lost = int((~inside).sum())
    notes = [Note.of("weather.gains_outside", n=lost)] if lost else []
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
            "lower_bound": gains["lower_bound"],
        }
    )
