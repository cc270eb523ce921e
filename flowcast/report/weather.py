"""Where the weather is from, how old it is and what was done to it: sentences and plain data."""

from __future__ import annotations

import math

import pandas as pd

from flowcast.report import units, words
from flowcast.results import Pulled, Record, StationCheck, WeatherPart, YardOutlook
from flowcast.sources.service import Origin
from flowcast.tables import WEATHER
from flowcast.weather import LAST_WEEKS

OWN_FILE = "the yard's own file"
HOUR = pd.Timedelta(hours=1)


def weather_lines(record: Record) -> list[str]:
    """One sentence a source of the past weather, and one on the station it was compared with."""
    lines = [_part_line(part, record) for part in record.parts]
    lines += [station_line(record.station)] if record.station else []
    return [units.told(line, units.of(record.yard)) for line in lines]


def ahead_line(found: YardOutlook) -> str:
    """What stands for the days ahead."""
    record, scenarios = found.record, found.outlook.scenarios
    years = len(set(scenarios.labels))
    past = f"{_count(years, 'past year')}, from today's soil water and warmth"
    if set(scenarios.labels) == {LAST_WEEKS}:
        past = (
            "the last weeks, for want of a whole past year of weather; the season's turn is not "
            "in them"
        )
    if record.forecast is None:
        text = f"No weather forecast is used: the days ahead are those of {past}."
    else:
        text = _forecast_words(found, past)
    gap = (found.outlook.issue_date - record.daily.index[-1]).days - 1
    if gap > 0:
        text += (
            f" The last {_count(gap, 'day')} before the issue date "
            f"{'has' if gap == 1 else 'have'} no weather and {'counts' if gap == 1 else 'count'} "
            "as unknown."
        )
    return units.told(text, units.of(record.yard))


def station_line(check: StationCheck) -> str:
    """How far the weather is from what the nearest station measured."""
    station = check.station
    parts = []
    if math.isfinite(check.temp_bias_c):
        than = "warmer" if check.temp_bias_c > 0 else "colder"
        parts.append(f"{abs(check.temp_bias_c):.1f} °C {than} in the mean")
    if math.isfinite(check.rain_ratio):
        parts.append(f"{check.rain_ratio:.1f} times its rain")
    found = " and ".join(parts) or "nothing that could be compared"
    said = (
        f"Against the weather station {station.name}, {station.distance_km:.0f} km away, over "
        f"{check.days:.0f} days: {found}."
    )
    if check.doubtful:
        said += " That is far apart, so the intervals here are wider."
    return said


def credits(record: Record) -> list[tuple[str, str]]:
    """Whose weather it is, as its licence asks: text and link, each once."""
    origins = [part.origin for part in record.parts]
    origins += [record.forecast.origin] if record.forecast else []
    said = {f"{o.attribution} ({o.licence})": o.link for o in origins if o.attribution}
    if record.station:
        station = record.station.station
        said[f"{station.attribution} ({station.licence})"] = "https://meteostat.net/"
    return list(said.items())


def pulled_text(pulled: Pulled) -> list[str]:
    """What a pull brought: how complete it is, which gaps there are and what they cost."""
    record = pulled.record
    daily = record.daily
    holes = int(daily["temp_mean_c"].isna().sum())
    asked = sum(pulled.asked.values())
    lines = [
        f"{words.full_day(daily.index[0])} to {words.full_day(daily.index[-1])}: "
        f"{len(daily) - holes:,} whole days, {_count(holes, 'day')} missing."
    ]
    lines += weather_lines(record)
    if record.forecast is None:
        lines.append("No weather forecast: past years stand for all days ahead.")
    else:
        lines.append(
            f"Days ahead: {_who(record.forecast.origin)}, {_members(record.forecast)}, "
            f"{_count(record.forecast.days, 'day')}."
        )
    lines += _gap_lines(record)
    to = ", ".join(f"{name} {n}" for name, n in sorted(pulled.asked.items()) if n)
    lines.append(
        f"{_count(asked, 'request')} made: {to}."
        if asked
        else "Nothing was asked: all of it was kept from before and is fresh."
    )
    return lines


def source_rows(record: Record) -> list[tuple[str, ...]]:
    """Each source of weather as a row: who, which days, where, when it was pulled, what was done."""
    zone = record.yard.place.timezone
    rows = []
    for part in record.parts:
        first, last = part.first.tz_convert(zone), (part.last - HOUR).tz_convert(zone)
        rows.append((_who(part.origin), _span(first, last), _where(part), *_treated(part.origin)))
    if record.forecast:
        dates = record.forecast.members[0].index
        who = f"{_who(record.forecast.origin)}, {_members(record.forecast)}"
        ahead = f"{words.full_day(dates[0])} and {_count(len(dates) - 1, 'day')} on"
        rows.append((who, ahead, "", *_treated(record.forecast.origin)))
    return [tuple(units.told(cell, units.of(record.yard)) for cell in row) for row in rows]


def column_rows(record: Record) -> list[tuple[str, ...]]:
    """Each quantity as a row: the share given, computed or filled, and missing, and from what."""
    return [
        (
            units.told(WEATHER[name].meaning, units.of(record.yard)),
            *(f"{100 * row[share]:.1f} %" for share in ("given", "filled", "missing")),
            row["from"],
        )
        for name, row in record.columns.iterrows()
    ]


def weather_data(record: Record) -> dict:
    """The same as plain data for --json."""
    forecast = record.forecast
    return {
        "parts": [_part_data(part) for part in record.parts],
        "forecast": None
        if forecast is None
        else _origin_data(forecast.origin)
        | {"days": forecast.days, "first": _date(forecast.members[0].index[0])},
        "columns": {
            name: {
                "given": _number(row["given"]),
                "filled": _number(row["filled"]),
                "missing": _number(row["missing"]),
                "from": row["from"],
            }
            for name, row in record.columns.iterrows()
        },
        "station": None if record.station is None else _station_data(record.station),
    }


def _part_line(part: WeatherPart, record: Record) -> str:
    zone = record.yard.place.timezone
    # Stamps mark the end of their hour, so midnight is still the day before.
    first, last = part.first.tz_convert(zone), (part.last - HOUR).tz_convert(zone)
    if part.origin.service == OWN_FILE:
        days = record.daily.index
        if len(record.parts) == 1:
            first, last = days[0], days[-1]
        return f"Weather from the yard's own file, {_span(first, last)}."
    said = f"Weather from {_who(part.origin)}, {_span(first, last)}; {_where(part)}{_age(part.origin)}."
    return " ".join([said, *part.origin.corrections])


def _treated(origin: Origin) -> tuple[str, str]:
    """When it was pulled, and what was done to its values."""
    pulled = "" if origin.retrieved_at is None else f"{origin.retrieved_at:%Y-%m-%d %H:%M} UTC"
    return pulled + (", old" if origin.stale else ""), " ".join(origin.corrections)


def _who(origin: Origin) -> str:
    return f"{origin.service} ({origin.model})" if origin.model else origin.service


def _span(first: pd.Timestamp, last: pd.Timestamp) -> str:
    years = (last - first).days / 365.25
    months = max(1, round(years * 12))
    length = _count(round(years), "year") if years >= 0.95 else _count(months, "month")
    if years * 365 < 25:
        length = _count((last - first).days + 1, "day")
    return f"{words.full_day(first)} to {words.full_day(last)} ({length})"


def _where(part: WeatherPart) -> str:
    if part.origin.service == OWN_FILE:
        return "the yard"
    if part.origin.stations:
        station = part.origin.stations[0]
        return f"station {station['name']}, {station['distance_km']:.0f} km away"
    if part.distance_km is None:
        return "place not stated"
    height = part.height_difference_m
    level = ""
    if height is not None and abs(height) >= 20:
        level = f", {abs(height):.0f} m {'above' if height > 0 else 'below'} the yard"
    return f"grid cell {part.distance_km:.0f} km away{level}"


def _age(origin: Origin) -> str:
    if origin.retrieved_at is None:
        return ""
    if origin.stale:
        return f"; pulled {_ago(origin.age_s)} and older than it should be"
    return f"; pulled {_ago(origin.age_s)}"


def _ago(seconds: float) -> str:
    if seconds < 90 * 60:
        return "within the hour"
    hours = round(seconds / 3600)
    return f"{hours} hours ago" if hours < 48 else f"{round(seconds / 86400)} days ago"


def _forecast_words(found: YardOutlook, past: str) -> str:
    forecast = found.record.forecast
    followed = found.outlook.scenarios.followed_d
    least, most = int(followed.min()), int(followed.max())
    days = f"{least} to {most} days" if least < most else _count(most, "day")
    said = (
        f"Days ahead from {_who(forecast.origin)}, {_members(forecast)}{_age(forecast.origin)}: each "
        f"future follows it for {days}, then goes on with one of {past}."
    )
    return " ".join([said, *forecast.origin.corrections])


def _members(forecast) -> str:
    return "one run" if forecast.is_point else f"{forecast.origin.members} members"


def _gap_lines(record: Record) -> list[str]:
    gap = (record.issue_date - record.daily.index[-1]).days - 1
    if gap <= 0:
        return []
    return [
        f"The last {_count(gap, 'day')} could not be had: the outlook counts them as unknown and "
        "lets each future run through them."
    ]


def _part_data(part: WeatherPart) -> dict:
    return _origin_data(part.origin) | {
        "first": part.first.isoformat(),
        "last": part.last.isoformat(),
        "hours": part.hours,
        "distance_km": _number(part.distance_km),
        "height_difference_m": _number(part.height_difference_m),
    }


def _origin_data(origin: Origin) -> dict:
    latitude, longitude, height = origin.cell or (None, None, None)
    return {
        "service": origin.service,
        "model": origin.model,
        "url": origin.url,
        "retrieved_at": None if origin.retrieved_at is None else origin.retrieved_at.isoformat(),
        "age_h": _number(origin.age_s / 3600, 1) if origin.retrieved_at is not None else None,
        "stale": origin.stale,
        "issued": origin.issued,
        "cell": {"latitude": latitude, "longitude": longitude, "elevation_m": height},
        "members": origin.members,
        "columns": origin.columns,
        "stations": list(origin.stations),
        "corrections": list(origin.corrections),
        "notes": list(origin.notes),
        "licence": origin.licence,
        "attribution": origin.attribution,
        "link": origin.link,
    }


def _station_data(check: StationCheck) -> dict:
    station = check.station
    return {
        "id": station.id,
        "name": station.name,
        "distance_km": _number(station.distance_km, 1),
        "height_difference_m": _number(station.height_difference_m, 1),
        "days": _number(check.days, 1),
        "temp_bias_c": _number(check.temp_bias_c, 2),
        "temp_rmse_c": _number(check.temp_rmse_c, 2),
        "rain_ratio": _number(check.rain_ratio, 3),
        "doubtful": check.doubtful,
        "widen": check.widen,
        "model_values_removed": station.removed,
        "licence": station.licence,
        "attribution": station.attribution,
    }


def _date(stamp: pd.Timestamp) -> str:
    return stamp.date().isoformat()


def _number(value: float | None, digits: int = 4) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def _count(n: int, noun: str) -> str:
    return f"{n:,} {noun}" + ("" if n == 1 else "s")
