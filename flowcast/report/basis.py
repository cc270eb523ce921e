"""What an outlook rests on, what is missing and what that costs it: plain sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.flow.plants import SEASON_DAYS
from flowcast.messages import Amount, Note, Say
from flowcast.messages.units import shown_in
from flowcast.report.weather import ahead_line, weather_lines
from flowcast.results import Checked, Record, YardOutlook
from flowcast.scale_log import CleanLog
from flowcast.scale_log.words import cause_note
from flowcast.weather import season_start_year


def basis(found: YardOutlook) -> list[str]:
    """What the outlook rests on."""
    record, model, say = found.record, found.model, found.record.yard.say
    lines = [_log_basis(record, model.seasons), *_others_basis(found)]
    lines += [*weather_lines(record), ahead_line(found)]
    lines.append(_forage_basis(record, model.prior.ensemble.seasons))
    own_kg = record.yard.flow_day_kg
    if record.yard.numbers.entry("flow.flow_day_kg").value != own_kg:
        lines.append(say("basis.flow_day", weight=_as_stated(own_kg, say)))
    return [line for line in lines if line]


def _as_stated(kg: float, say: Say) -> str:
    """A weight of yard.toml with the decimals it was written with."""
    digits = len(f"{kg:g}".partition(".")[2])
    return say.weight(kg, digits)


def cautions(say: Say) -> list[str]:
    """What a keeper must bear in mind, whatever the figures."""
    advises = say("cautions.advises", stores=say.weights(6, 10, 0))
    return [advises, *(say(f"cautions.{key}") for key in ("wear", "infants", "law", "about"))]


def check_lines(found: Checked) -> dict[str, list[str]]:
    """What was understood, under headings."""
    say = found.yard.say
    told = [say.note(one) for one in found.robbed]
    left = [say.note(one) for one in (found.record.apart if found.record else [])]
    lines = {
        "place": _place_lines(found),
        "hives": _hive_lines(found),
        "marked": _marked_lines(found),
        "jumps": _jump_lines(found),
        "weathering": _weathering_lines(found),
        "robbed": latest(told, say),
        "apart": latest(left, say),
        "work": _work_lines(found),
        "weather": _weather_lines(found),
        "forage": _forage_lines(found),
        "beetles": _beetle_lines(found),
        "missing": _missing_lines(found),
    }
    return {say(f"check.{key}"): part for key, part in lines.items() if part}


def latest(sentences: list[str], say: Say, most: int = 4) -> list[str]:
    """The last few of sentences in order of time, and how many came before."""
    earlier = len(sentences) - most
    return sentences[-most:] + ([say("check.times_before", n=earlier)] if earlier > 0 else [])


def _log_basis(record: Record, seasons: float) -> str:
    say = record.yard.say
    if not record.logs:
        return say("basis.no_log")
    kinds = {log.kind for log in record.logs}
    how = "by_hand" if kinds == {"hand weighings"} else "on_scales"
    rests = [say(f"basis.{how}", n=len(record.logs), length=_length(seasons, say))]
    touched = _seasons_touched(record)
    if touched - seasons >= record.yard.numbers["season.spread_seasons"]:
        rests.append(say("basis.spread", n=touched))
    if seasons < 2:
        rests.append(say("basis.short_log"))
    return " ".join(rests)


def _seasons_touched(record: Record) -> int:
    """In how many seasons the gains lie: a scale that stands in summer only tells of many in part."""
    days = [log.gains.index[log.gains["quality"] == "good"] for log in record.logs]
    start = record.yard.place.season_start
    return len(set().union(*(season_start_year(index, start) for index in days)))


def _others_basis(found: YardOutlook) -> list[str]:
    """The other yards whose logs are in it."""
    say = found.record.yard.say
    return [
        say(
            "basis.other",
            yard=other.yard,
            length=_length(other.seasons, say),
            far=Amount(other.distance_km, "km"),
            height=say(f"basis.{_height_key(other.height_m)}", by=Amount(abs(other.height_m), "m")),
        )
        for other in found.learned_from
    ]


def _height_key(height_m: float) -> str:
    if abs(height_m) < 10:
        return "as_high"
    return "higher" if height_m > 0 else "lower"


def _length(seasons: float, say: Say) -> str:
    """How long a log is, in seasons or, of less than one, in days."""
    if seasons >= 0.95:
        return say("basis.seasons", figure=say.number(seasons, 1))
    return say("basis.days", n=round(seasons * 365))


def _forage_basis(record: Record, noted: tuple[int, ...]) -> str:
    plants, say = record.yard.forage, record.yard.say
    if not plants:
        return say("basis.no_bloom")
    named = say.listed(p.name for p in plants)
    said = say("basis.bloom", plants=named, n=round(record.yard.numbers["flow.shift_sd_d"]))
    return f"{said} {say('basis.notes_of_bloom', n=len(noted))}" if noted else said


def _place_lines(found: Checked) -> list[str]:
    place, say = found.yard.place, found.yard.say
    ns, ew = "N" if place.latitude >= 0 else "S", "E" if place.longitude >= 0 else "W"
    told = {
        "latitude": say.number(abs(place.latitude), 3),
        "ns": say(f"compass.{ns}"),
        "longitude": say.number(abs(place.longitude), 3),
        "ew": say(f"compass.{ew}"),
        "height": Amount(place.elevation_m, "m"),
        "zone": place.timezone,
        "start": say.yearly(pd.Timestamp(2024, *place.season_start)),
    }
    return [say("check.place_line", **told)]


def _hive_lines(found: Checked) -> list[str]:
    logs, say = {log.hive: log for log in found.logs}, found.yard.say
    zone = found.yard.place.timezone
    return [
        _log_line(logs[hive.name], zone, say) if hive.name in logs else _no_log(hive, say)
        for hive in found.yard.hives
    ]


def _no_log(hive, say: Say) -> str:
    return say("check.no_weights" if hive.scale is None else "check.no_weights_yet", hive=hive.name)


def _log_line(log: CleanLog, zone: str, say: Say) -> str:
    days = say.full_span(*log.readings.index[[0, -1]].tz_convert(zone))
    told = {"hive": log.hive, "n": len(log.readings), "days": days, "gains": _gain_words(log, say)}
    if log.kind == "hand weighings":
        return say("check.weighings", **told)
    return say("check.readings", **told, every=_sampling(log, say))


def _marked_lines(found: Checked) -> list[str]:
    say, lines = found.yard.say, []
    for log in found.logs:
        marked = [say(f"marks.{word}", n=n) for word, n in log.counts.items() if n]
        told = say.listed(marked)
        lines += [say("check.marked_line", hive=log.hive, marked=told)] if marked else []
        lines += _weighings_left_out(log, found.yard.place.timezone, say)
        lines += latest(_work_not_seen(log, found.yard.place.timezone, say), say)
    return lines


def _work_not_seen(log: CleanLog, zone: str, say: Say) -> list[str]:
    """Lines of work.csv that should show in the weight and do not, so that a slip can be mended."""
    unseen = [
        step
        for step in log.steps.itertuples()
        if isinstance(step.note, Note) and "steps_known.not_seen" in step.note.keys
    ]
    return [
        say(
            "check.work_not_seen",
            hive=log.hive,
            date=say.full_day(step.time.tz_convert(zone)),
            what=cause_note(step.cause),
        )
        for step in unseen
    ]


def _weighings_left_out(log: CleanLog, zone: str, say: Say) -> list[str]:
    """A weighing by hand that cannot be, with its date, so that a slip of the pen can be mended."""
    if log.kind != "hand weighings":
        return []
    wrong = log.readings[log.readings["mark"].isin(("impossible", "spike", "restart"))]
    told = [(say.full_day(row.Index.tz_convert(zone)), row.weight_kg) for row in wrong.itertuples()]
    return [
        say("check.weighing_left_out", hive=log.hive, date=date, weight=say.weight(kg))
        for date, kg in told
    ]


def _jump_lines(found: Checked) -> list[str]:
    zone, say = found.yard.place.timezone, found.yard.say
    return [
        say(
            "check.jump",
            hive=log.hive,
            date=say.full_day(step.time.tz_convert(zone)),
            note=say.note(step.note),
        )
        for log in found.logs
        for step in log.steps[~log.steps["logged"].astype(bool)].itertuples()
    ]


def _weathering_lines(found: Checked) -> list[str]:
    """Effects that were taken out, hive by hive, and of drift with warmth also where it was not."""
    lines, say = [], found.yard.say
    for log in found.logs:
        for row in log.weathering.itertuples():
            told = {"hive": log.hive, "size": _effect(row, say), "n": row.hours}
            if row.taken_out:
                lines.append(say("weathering.taken_out", **told))
            elif row.effect == "warmth":
                known = "not_sure" if np.isfinite(row.sd_kg) else "cannot_be_told"
                lines.append(say(f"weathering.{known}", **told))
    return lines


def _effect(row, say: Say) -> str:
    """The size of an effect in the yard's units; both the weight and what it goes by change."""
    effect = row.effect.replace(" ", "_")
    by = shown_in({"warmth": "K", "snow": "mm"}.get(effect, ""), say.units)[1]
    if say.units == "lb" and effect == "snow":
        effect = "snow_inch"
    kg, sd = (say.scale / by * value for value in (row.kg, row.sd_kg))
    told = {"kg": say.number(kg, 3, sign="+"), "sd": say.number(sd, 3), "unit": say.units}
    return say(f"weathering.{effect}", **told)


def _sampling(log: CleanLog, say: Say) -> str:
    minutes = np.median(np.diff(log.readings.index.values) / np.timedelta64(1, "m"))
    if minutes < 120:
        return say("check.every_minutes", n=round(minutes))
    return say("check.every_hours", n=round(minutes / 60))


def _gain_words(log: CleanLog, say: Say) -> str:
    good = log.gains[log.gains["quality"] == "good"]
    single, gaps = int((good["days"] == 1).sum()), good["days"][good["days"] > 1]
    parts = [say("check.daily_gains", n=single)] if single else []
    if len(gaps):
        low, high = say.number(gaps.min()), say.number(gaps.max())
        span = low if low == high else say.either(low, high)
        parts.append(say("check.totals", n=len(gaps), days=span))
    return say.listed(parts, "and") or say("check.no_gain")


def _work_lines(found: Checked) -> list[str]:
    work, say = found.yard.work, found.yard.say
    if work.empty:
        return []
    counts = work["what"].value_counts().items()
    kinds = say.listed(say("check.times", what=say(f"work.{word}"), n=n) for word, n in counts)
    return [say("check.work_lines", n=len(work), kinds=kinds)]


def _weather_lines(found: Checked) -> list[str]:
    record, say = found.record, found.yard.say
    if record is None:
        return []
    holes = int(record.daily["temp_mean_c"].isna().sum())
    days = say.full_span(record.daily.index[0], record.daily.index[-1])
    whole = say.count(len(record.daily) - holes)
    lines = [say("check.weather_days", days=days, whole=whole, n=holes)]
    told = len(record.parts) > 1 or record.station
    return [*lines, *(weather_lines(record) if told else [])]


def _forage_lines(found: Checked) -> list[str]:
    say = found.yard.say
    return [
        say(
            "check.plant_irregular" if p.irregular else "check.plant",
            plant=p.name,
            days=say.yearly_span(_date(p.from_), _date(p.to)),
            strength=say(f"strengths.{p.strength}"),
            follows=say(f"follows.{p.follows}"),
        )
        for p in found.yard.forage
    ]


def _beetle_lines(found: Checked) -> list[str]:
    counts, say = found.yard.beetles, found.yard.say
    if counts.empty:
        return []
    larvae, days = int(counts["larvae"].sum()), say.full_span(*counts["date"].iloc[[0, -1]])
    key = "check.counts_with_larvae" if larvae else "check.counts"
    return [say(key, n=len(counts), days=days, larvae=larvae)]


def _date(month_day: str) -> pd.Timestamp:
    return pd.Timestamp(f"2024-{month_day}")


def _days_told(logs: list[CleanLog]) -> float:
    """Days of which the log that tells most has good gains."""
    return max(log.gains.loc[log.gains["quality"] == "good", "days"].sum() for log in logs)


def _missing_lines(found: Checked) -> list[str]:
    """What would sharpen the outlook, and what of a translation is still to be done."""
    yard, say = found.yard, found.yard.say
    keys = []
    if found.record is None:
        keys.append("no_weather")
    elif len(found.record.daily) < 5 * 365:
        keys.append("short_weather")
    if not found.logs:
        keys.append("no_log")
    elif _days_told(found.logs) < SEASON_DAYS:
        keys.append("short_log")
    if not yard.forage:
        keys.append("no_bloom")
    if found.logs and yard.work.empty:
        scales = any(log.kind == "scale" for log in found.logs)
        keys.append("no_work" if scales else "no_work_by_hand")
    lines = [say(f"missing.{key}") for key in keys or ["nothing"]]
    gaps = len(say.words.missing)
    told = {"n": gaps, "all": len(say.words.entries), "file": f"words-{say.language}.toml"}
    return [*lines, *([say("missing.translations", **told)] if gaps else [])]
