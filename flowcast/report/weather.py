"""Where the weather is from, how old it is and what was done to it: sentences and plain data."""

from __future__ import annotations

import math

import pandas as pd

from flowcast.messages import Amount, Say
from flowcast.results import Pulled, Record, StationCheck, WeatherPart, YardOutlook
from flowcast.sources.service import Origin
from flowcast.weather import LAST_WEEKS

OWN_FILE = "the yard's own file"
HOUR = pd.Timedelta(hours=1)


def weather_lines(record: Record) -> list[str]:
    """One sentence a source of the past weather, and one on the station it was compared with."""
    lines = [_part_line(part, record) for part in record.parts]
    return lines + ([station_line(record.station, record.yard.say)] if record.station else [])


def ahead_line(found: YardOutlook) -> str:
    """What stands for the days ahead."""
    record, say = found.record, found.record.yard.say
    text = _no_forecast(found) if record.forecast is None else _forecast_words(found)
    gap = (found.outlook.issue_date - record.daily.index[-1]).days - 1
    return f"{text} {say('ahead.gap', n=gap)}" if gap > 0 else text


def _past(found: YardOutlook) -> tuple[str, int]:
    """Whether the last weeks or past years stand for the days ahead, and how many of those."""
    labels = set(found.outlook.scenarios.labels)
    return ("last_weeks" if labels == {LAST_WEEKS} else "past_years"), len(labels)


def _no_forecast(found: YardOutlook) -> str:
    past, years = _past(found)
    return found.record.yard.say(f"ahead.{past}", n=years)


def station_line(check: StationCheck, say: Say) -> str:
    """How far the weather is from what the nearest station measured."""
    station, parts = check.station, []
    if math.isfinite(check.temp_bias_c):
        key = "station.warmer" if check.temp_bias_c > 0 else "station.colder"
        parts.append(say(key, by=Amount(abs(check.temp_bias_c), "K", 1)))
    if math.isfinite(check.rain_ratio):
        parts.append(say("station.rain", ratio=say.number(check.rain_ratio, 1)))
    compared = say.listed(parts, "and") or say("station.nothing")
    told = {"name": station.name, "far": Amount(station.distance_km, "km"), "n": round(check.days)}
    said = say("station.against", **told, compared=compared)
    return f"{said} {say('station.doubtful')}" if check.doubtful else said


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
    record, say = pulled.record, pulled.record.yard.say
    daily = record.daily
    holes = int(daily["temp_mean_c"].isna().sum())
    days, whole = say.full_span(daily.index[0], daily.index[-1]), say.count(len(daily) - holes)
    lines = [say("weather.pulled_days", days=days, whole=whole, n=holes), *weather_lines(record)]
    if record.forecast is None:
        lines.append(say("weather.pulled_no_forecast"))
    else:
        who, members = _who(record.forecast.origin, say), _members(record.forecast, say)
        lines.append(
            say("weather.pulled_forecast", who=who, members=members, n=record.forecast.days)
        )
    return [*lines, *_gap_lines(record), _asked(pulled.asked, say)]


def _asked(asked: dict[str, int], say: Say) -> str:
    to = say.listed(f"{name} {n}" for name, n in sorted(asked.items()) if n)
    every = sum(asked.values())
    return say("weather.asked", n=every, to=to) if every else say("weather.nothing_asked")


def source_rows(record: Record) -> list[tuple[str, ...]]:
    """Each source of weather as a row: who, which days, where, when it was pulled, what was done; the
    head first."""
    zone, say = record.yard.place.timezone, record.yard.say
    heads = ("source", "days", "place", "pulled", "treated")
    rows = [tuple(say(f"sources.{head}") for head in heads)]
    for part in record.parts:
        first, last = part.first.tz_convert(zone), (part.last - HOUR).tz_convert(zone)
        who, treated = _who(part.origin, say), _treated(part.origin, say)
        rows.append((who, _span(first, last, say), _where(part, say), *treated))
    if record.forecast:
        dates, origin = record.forecast.members[0].index, record.forecast.origin
        who, members = _who(origin, say), _members(record.forecast, say)
        ahead = say("sources.ahead", date=say.full_day(dates[0]), n=len(dates) - 1)
        treated = _treated(origin, say)
        rows.append((say("sources.forecast", who=who, members=members), ahead, "", *treated))
    return rows


def column_rows(record: Record) -> list[tuple[str, ...]]:
    """Each quantity as a row: the share given, computed or filled, and missing, and from what; the
    head first."""
    say, shares = record.yard.say, ("given", "filled", "missing")
    rows = [tuple(say(f"quantities_table.{head}") for head in ("head", *shares, "from"))]
    for name, row in record.columns.iterrows():
        told = (say.percent(row[share], 1) for share in shares)
        rows.append((_quantity(name, say), *told, row["from"]))
    return rows


def _quantity(name: str, say: Say) -> str:
    """What a column of the weather holds."""
    return say(f"quantities.{name}", two=Amount(2, "m"), ten=Amount(10, "m"))


def weather_data(record: Record) -> dict:
    """The same as plain data for --json."""
    forecast, say = record.forecast, record.yard.say
    return {
        "parts": [_part_data(part, say) for part in record.parts],
        "forecast": None
        if forecast is None
        else _origin_data(forecast.origin, say)
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
    zone, say = record.yard.place.timezone, record.yard.say
    # Stamps mark the end of their hour, so midnight is still the day before.
    first, last = part.first.tz_convert(zone), (part.last - HOUR).tz_convert(zone)
    if part.origin.service == OWN_FILE:
        days = record.daily.index
        if len(record.parts) == 1:
            first, last = days[0], days[-1]
        return say("weather.from_own_file", days=_span(first, last, say))
    told = {"who": _who(part.origin, say), "days": _span(first, last, say)}
    age = _age(part.origin, say)
    where = _where(part, say)
    if not age:
        said = say("weather.from", **told, where=where)
    else:
        key = "weather.from_pulled_too_old" if part.origin.stale else "weather.from_pulled"
        said = say(key, **told, where=where, ago=age)
    return " ".join([said, *map(say.note, part.origin.corrections)])


def _treated(origin: Origin, say: Say) -> tuple[str, str]:
    """When it was pulled, and what was done to its values."""
    pulled = "" if origin.retrieved_at is None else f"{origin.retrieved_at:%Y-%m-%d %H:%M} UTC"
    pulled = say("sources.old", pulled=pulled) if origin.stale else pulled
    return pulled, " ".join(map(say.note, origin.corrections))


def _who(origin: Origin, say: Say) -> str:
    if origin.service == OWN_FILE:
        return say("sources.own_file")
    return f"{origin.service} ({origin.model})" if origin.model else origin.service


def _span(first: pd.Timestamp, last: pd.Timestamp, say: Say) -> str:
    years = (last - first).days / 365.25
    months = max(1, round(years * 12))
    length = (
        say("counts.years", n=round(years)) if years >= 0.95 else say("counts.months", n=months)
    )
    if years * 365 < 25:
        length = say("counts.days", n=(last - first).days + 1)
    return say("sources.span", days=say.full_span(first, last), length=length)


def _where(part: WeatherPart, say: Say) -> str:
    if part.origin.service == OWN_FILE:
        return say("sources.at_yard")
    if part.origin.stations:
        station = part.origin.stations[0]
        return say(
            "sources.station", name=station["name"], far=Amount(station["distance_km"], "km")
        )
    if part.distance_km is None:
        return say("sources.no_place")
    far, height = Amount(part.distance_km, "km"), part.height_difference_m
    if height is None or abs(height) < 20:
        return say("sources.cell", far=far)
    key = "sources.cell_above" if height > 0 else "sources.cell_below"
    return say(key, far=far, height=Amount(abs(height), "m"))


def _age(origin: Origin, say: Say) -> str:
    return "" if origin.retrieved_at is None else _ago(origin.age_s, say)


def _ago(seconds: float, say: Say) -> str:
    if seconds < 90 * 60:
        return say("ago.hour")
    hours = round(seconds / 3600)
    return say("ago.hours", n=hours) if hours < 48 else say("ago.days", n=round(seconds / 86400))


def _forecast_words(found: YardOutlook) -> str:
    forecast, say = found.record.forecast, found.record.yard.say
    followed = found.outlook.scenarios.followed_d
    least, most = int(followed.min()), int(followed.max())
    days = say("counts.days", n=most)
    if least < most:
        days = say("ahead.days_between", low=least, high=most)
    past, years = _past(found)
    told = {"who": _who(forecast.origin, say), "members": _members(forecast, say)}
    age = _age(forecast.origin, say)
    if age:
        old = "ahead.pulled_too_old" if forecast.origin.stale else "ahead.pulled"
        told["members"] = say(old, members=told["members"], ago=age)
    said = say(f"ahead.forecast_then_{past}", **told, days=days, n=years)
    return " ".join([said, *map(say.note, forecast.origin.corrections)])


def _members(forecast, say: Say) -> str:
    if forecast.is_point:
        return say("ahead.one_run")
    return say("ahead.members", n=forecast.origin.members)


def _gap_lines(record: Record) -> list[str]:
    gap = (record.issue_date - record.daily.index[-1]).days - 1
    return [record.yard.say("weather.gap", n=gap)] if gap > 0 else []


def _part_data(part: WeatherPart, say: Say) -> dict:
    return _origin_data(part.origin, say) | {
        "first": part.first.isoformat(),
        "last": part.last.isoformat(),
        "hours": part.hours,
        "distance_km": _number(part.distance_km),
        "height_difference_m": _number(part.height_difference_m),
    }


def _origin_data(origin: Origin, say: Say) -> dict:
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
        "corrections": [say.note(one) for one in origin.corrections],
        "notes": [say.note(one) for one in origin.notes],
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
