"""Results as plain data for --json: documented in DEVELOPERS.md, versioned, the same every run."""

from __future__ import annotations

import math
from dataclasses import asdict, fields, is_dataclass

import pandas as pd

from flowcast.advice.visits import CALENDAR_D
from flowcast.advice.when import Advice, When
from flowcast.flow.outlook import Outlook
from flowcast.flow.standing import Measure, Standing
from flowcast.messages import Note, Say
from flowcast.report import advice, beetles, explain, kilograms, timing, words
from flowcast.report.basis import basis, check_lines
from flowcast.report.sections import files_read, pictures, shaping, work_done
from flowcast.report.trust import trust_data
from flowcast.report.weather import pulled_text, weather_data
from flowcast.results import (
    Backtest,
    Checked,
    HiveTiming,
    Pulled,
    YardBeetles,
    YardOutlook,
    YardReport,
    YardSeason,
    YardTiming,
)

SCHEMA_VERSION = 1
SHAPING = ("foraging", "soil", "season", "scale_log", "flow", "align")


def outlook_data(found: YardOutlook) -> dict:
    """The JSON of `flowcast outlook`: weights in kg, dates local, chances 0 to 1."""
    outlook, yard = found.outlook, found.record.yard
    return {
        "schema": "flowcast-outlook",
        "schema_version": SCHEMA_VERSION,
        "yard": yard.name,
        "issue_date": _date(outlook.issue_date),
        "seed": found.seed,
        "scenarios": len(outlook.scenarios.gain_kg),
        "seasons_of_log": _number(found.model.seasons),
        "learned_from": [
            {name: _number(value) if isinstance(value, float) else value for name, value in row}
            for row in (asdict(other).items() for other in found.learned_from)
        ],
        "scales": asdict(found.model.prior.scales),
        "flow_day_kg": _number(outlook.threshold_kg),
        "answer": words.answer(outlook, yard.say),
        "flow_window": _window(outlook),
        "daily": [_day(date, row) for date, row in outlook.daily.iterrows()],
        "total": [_day(date, row) for date, row in outlook.total.iterrows()],
        "weekly": [_day(date, row) for date, row in outlook.weekly.iterrows()],
        "standing": _standing(found.standing),
        "hives_apart": _told(found.record.apart, yard.say),
        "rests_on": basis(found),
        "weather": weather_data(found.record),
        "notes": _told(found.record.notes, found.record.yard.say),
        "numbers": [_entry(n) for n in yard.numbers.under(*SHAPING)],
    }


def report_data(report: YardReport, shown: dict) -> dict:
    """The JSON of `flowcast report`: the outlook's object, and beside it every part of the page.

    Parameters
    ----------
    shown : dict
        The page's sections, from `sections.sections`: its pictures' tables are told as they stand.
    """
    numbers = report.outlook.record.yard.numbers
    parts = {
        "files_read": files_read(report.outlook),
        "work": [
            {
                "date": _date(w.time),
                "hive": w.hive,
                "what": w.what,
                "kg": _number(w.kg),
                "note": w.note,
            }
            for w in work_done(report.outlook).itertuples()
        ],
        "logs": [_hive(log, report.outlook.record.yard.say) for log in report.outlook.record.logs],
        "pictures": [
            {"name": p.name, "finding": p.alt, "caption": p.caption, "table": [p.header, *p.rows]}
            | {"days": {_date(day): told for day, told in p.days.items()}}
            for p in pictures(shown)
        ],
        "beetles": beetles_data(report.beetles) if report.beetles else None,
        "season": season_data(report.season) if report.season else None,
        "timing": timing_data(report.dates) if report.dates else None,
        "trust": backtest_data(report.trust) if report.trust else None,
        "cautions": shown["cautions"]["always"],
    }
    every = [_entry(n) for n in numbers.under(*shaping(report))]
    parts |= {"numbers": every}
    return outlook_data(report.outlook) | parts


def check_data(found: Checked) -> dict:
    """The JSON of `flowcast check`."""
    yard = found.yard
    return {
        "schema": "flowcast-check",
        "schema_version": SCHEMA_VERSION,
        "yard": yard.name,
        "place": {
            "latitude": yard.place.latitude,
            "longitude": yard.place.longitude,
            "elevation_m": yard.place.elevation_m,
            "timezone": yard.place.timezone,
        },
        "hives": [_hive(log, yard.say) for log in found.logs],
        "understood": check_lines(found),
        "weather": weather_data(found.record) if found.record else None,
        "notes": _told(found.notes, yard.say),
    }


def pulled_data(found: Pulled) -> dict:
    """The JSON of `flowcast pull`."""
    return {
        "schema": "flowcast-pull",
        "schema_version": SCHEMA_VERSION,
        "yard": found.record.yard.name,
        "asked": found.asked,
        "days": len(found.record.daily),
        "missing_days": int(found.record.daily["temp_mean_c"].isna().sum()),
        "weather": weather_data(found.record),
        "understood": pulled_text(found),
        "notes": _told(found.record.notes, found.record.yard.say),
    }


def backtest_data(found: Backtest) -> dict:
    """The JSON of `flowcast backtest`."""
    head = {"schema": "flowcast-backtest", "schema_version": SCHEMA_VERSION}
    return head | {"yard": found.record.yard.name} | trust_data(found)


def beetles_data(found: YardBeetles) -> dict:
    """The JSON of `flowcast beetles`."""
    presence, numbers = found.presence, found.record.yard.numbers
    return {
        "schema": "flowcast-beetles",
        "schema_version": SCHEMA_VERSION,
        "yard": found.record.yard.name,
        "issue_date": _date(found.record.issue_date),
        "seed": found.seed,
        "presence": {
            "stated": presence.stated,
            "hint": presence.hint,
            "area": presence.area,
            "source": presence.source,
        },
        "answer": beetles.answer(found),
        "says": [found.record.yard.say("beetles.rules_first"), *beetles.sentences(found)],
        "ahead": _beetles_ahead(found) if found.outlook and presence.lives_here else None,
        "suitability": _suitability(found) if found.outlook else None,
        "counts": [_count(reading, found) for reading in found.readings],
        "what_to_do": beetles.advice(found),
        "rests_on": beetles.rests_on(found),
        "notes": _told(found.record.notes, found.record.yard.say),
        "numbers": [_entry(n) for n in numbers.under("beetle", "topsoil", "soil")],
    }


def season_data(found: YardSeason) -> dict:
    """The JSON of `flowcast explain`."""
    return {
        "schema": "flowcast-explain",
        "schema_version": SCHEMA_VERSION,
        "yard": found.record.yard.name,
        "issue_date": _date(found.record.issue_date),
        "season": {"name": found.name} | _season(found, found.season),
        "against": {"name": found.other[0]} | _season(found, found.other[1])
        if found.other
        else None,
        "kilograms": kilograms.data(found.kilograms),
        "harvests": [
            {"season": name, "kg": _number(row.kg), "hives": int(row.hives)}
            for name, row in found.crops.iterrows()
        ],
        "says": [*explain.sentences(found), *explain.limits(found)],
        "notes": _told(found.record.notes, found.record.yard.say),
        "numbers": [
            _entry(n) for n in found.record.yard.numbers.under("reasons", "foraging", "soil")
        ],
    }


def timing_data(found: YardTiming) -> dict:
    """The JSON of `flowcast timing`."""
    record, visits = found.record, found.visits
    return {
        "schema": "flowcast-timing",
        "schema_version": SCHEMA_VERSION,
        "yard": record.yard.name,
        "issue_date": _date(found.issue_date),
        "until": _date(found.until),
        "seed": found.outlook.seed,
        "answer": timing.answer(found),
        "calendar": [
            {"date": _date(e.date), "hive": e.hive, "task": e.task} | _when(e.advice.when)
            for e in timing.entries(found)
        ],
        "hives": [_hive_timing(hive, found) for hive in found.hives],
        "splits_usual": [_advice(a, found) for a in found.usual],
        "sets_fast": [_advice(a, found) for a in found.sets],
        "after": _advice(found.after, found),
        "beetles_high_now_chance": _number(found.beetles),
        "refractometer": _plain(found.water),
        "fit_days": [
            {"date": _date(d), "chance": _number(p), "own_day": visits.is_own(d)}
            for d, p in visits.chance.iloc[: CALENDAR_D + 1].items()
        ],
        "cautions": timing.cautions(found),
        "rests_on": timing.rests_on(found),
        "notes": _told(record.notes, record.yard.say),
        "numbers": [_entry(n) for n in record.yard.numbers.under("timing", *SHAPING)],
    }


def _hive_timing(hive: HiveTiming, found: YardTiming) -> dict:
    rooms = {
        f.name: getattr(hive, f.name) for f in fields(hive) if f.name not in ("hive", "splits")
    }
    splits = [_advice(a, found) for a in hive.splits]
    told = {name: _advice(a, found) if a else None for name, a in rooms.items()}
    return {"hive": hive.hive, "splits": splits} | told


def _advice(one: Advice, found: YardTiming) -> dict:
    """Every field of an advice, its words, and nothing twice."""
    plain = {k: v for k, v in _plain(one).items() if k != "hive"}
    return {"says": advice.what(one, found.record.yard.say)} | plain


def _when(when: When) -> dict:
    return {"first": _date(when.first), "last": _date(when.last), "chance": _number(when.chance)}


def _plain(value):
    """Dataclasses, tables and dates as plain data."""
    if is_dataclass(value):
        return {f.name.rstrip("_"): _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, pd.DataFrame):
        return [
            {"date": _date(d)} | {k: _plain(v) for k, v in r.items()} for d, r in value.iterrows()
        ]
    if isinstance(value, pd.Series):
        return [{"date": _date(d), "chance": _number(v)} for d, v in value.items()]
    if isinstance(value, pd.Timestamp):
        return _date(value)
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    if value is None or isinstance(value, bool | str | int):
        return value
    return _number(float(value))


def _season(found: YardSeason, season) -> dict:
    plants = season.plants
    figures = ("rain_mm", "soil_frac", "parched_days", "longest_dry_d", "frost_days", "lead_d")
    return {
        "first": _date(season.first),
        "last": _date(season.last),
        "answer": explain.answer(found, season),
        "years": season.years,
        "missing_days": season.missing_days,
        "hours": {k: _against(v) for k, v in season.hours.items()},
        "hours_in_bloom": {k: _against(v) for k, v in (season.bloom_hours or {}).items()},
        "plants": {k: _against(getattr(plants, k)) for k in figures} | {"spi": _number(plants.spi)},
        "months": [
            {"date": _date(date), "lost": row.pop("lost")} | {k: _number(v) for k, v in row.items()}
            for date, row in (
                (d, season.months.loc[d].to_dict() | plants.months.loc[d].to_dict())
                for d in season.months.index
            )
        ],
        "weekly": [_day(date, row) for date, row in season.weekly.iterrows()],
        "gain_kg": _against(season.gain),
        "gain_known": _number(season.gain_known),
        "full_days": season.full_days,
        "hives": [
            {
                "hive": h.hive,
                "gain_kg": _number(h.gain_kg),
                "known": _number(h.known),
                "full_days": int(h.full.sum()),
                "crop_kg": _number(h.crop_kg),
                "events": [{"date": _date(d), "what": w} for d, w in h.events],
            }
            for h in season.hives
        ],
        "low": [low.season.hive for low in season.low],
        "reasons": [
            {"what": r.what, "in_bloom": r.in_bloom, "way": r.way, "figure": _against(r.figure)}
            for r in season.reasons
        ],
    }


def _against(f) -> dict:
    named = {k: _number(getattr(f, k)) for k in ("now", "usual", "low", "high")}
    return named | {"rank": f.rank, "years": f.years}


def _beetles_ahead(found: YardBeetles) -> dict:
    outlook = found.outlook
    spell, cohort = outlook.spell, outlook.cohort
    return {
        "high_now_chance": _number(outlook.high_now),
        "high_spell": {
            "chance": _number(spell.chance),
            "open_now_chance": _number(spell.open_chance),
            "start": _three(spell.start),
            "end": _three(spell.end),
        },
        "larvae_entering_now": {
            "chance": _number(cohort.chance),
            "emerge": _three(cohort.emerges),
            "of_hundred": _number(cohort.of_hundred),
        },
        "emerging_now_chance": _number(outlook.emerging),
        "next_emergence": _three(outlook.next_emergence),
        "generations_so_far": _three(outlook.generations.so_far),
        "generations_season": _three(outlook.generations.season),
        "weekly": [_day(date, row) for date, row in outlook.weekly.iterrows()],
        "daily": [_day(date, row) for date, row in outlook.course.iterrows()],
    }


def _suitability(found: YardBeetles) -> dict:
    """What the climate allows, which says nothing of presence."""
    outlook = found.outlook
    return {
        "breeding_season": [_date(d) for d in outlook.breeding_season or ()],
        "generations_usual": _three(outlook.generations.usual),
    }


def _count(reading, found: YardBeetles) -> dict:
    count = reading.count
    judged = found.presence.lives_here
    compared = judged and reading.verdict in beetles.JUDGED  # no comfort from a number otherwise
    return {
        "date": _date(count.date),
        "hive": count.hive,
        "beetles": _number(count.beetles),
        "days": _number(count.days),
        "trap": count.trap,
        "larvae": bool(count.larvae),
        "per_14_d": _number(reading.per_14_d),
        "verdict": reading.verdict if judged or reading.verdict == "larvae" else "not judged",
        "why": list(reading.why),
        "expected": _three(reading.expected) if compared else None,
        "share_at_or_below": _number(reading.share) if compared else None,
        "means": beetles.verdict(reading, found),
    }


def _told(notes: list[Note | str], say: Say) -> list[str]:
    return [say.note(note) for note in notes]


def _hive(log, say: Say) -> dict:
    return {
        "hive": log.hive,
        "kind": log.kind,
        "readings": len(log.readings),
        "counts": {k: int(v) for k, v in log.counts.items()},
        "steps": [
            {
                "time": row.time.isoformat(),
                "kg": _number(row.kg),
                "sd_kg": _number(row.sd_kg),
                "cause": row.cause,
                "confidence": _number(row.confidence),
                "logged": bool(row.logged),
                "note": say.note(row.note),
            }
            for row in log.steps.itertuples()
        ],
    }


def _window(outlook: Outlook) -> dict:
    window = outlook.window
    return {
        "within_days": outlook.window_days,
        "chance": _number(window.chance),
        "open_now_chance": _number(window.open_chance),
        "word": outlook.chance_word,
        "start": _three(window.start),
        "end": _three(window.end),
        "size_kg": _three(window.size_kg),
    }


def _three(values) -> dict | None:
    if values is None:
        return None
    plain = [_date(v) if isinstance(v, pd.Timestamp) else _number(v) for v in values]
    return dict(zip(("q10", "q50", "q90"), plain, strict=True))


def _standing(standing: Standing) -> dict:
    last = standing.last_window
    return {
        "lead_d": _number(standing.lead_d),
        "soil_water_frac": _measure(standing.soil_frac),
        "foraging_h_per_day": _measure(standing.foraging_h),
        "gain_last_30_days_kg": _number(standing.gain_kg),
        "full_days_of_last_30": standing.full_days,
        "last_flow_window": [_date(d) for d in last] if last else None,
    }


def _measure(m: Measure) -> dict:
    return {k: _number(getattr(m, k)) for k in ("now", "normal", "low", "high")}


def _day(date: pd.Timestamp, row: pd.Series) -> dict:
    return {"date": _date(date)} | {name: _number(value) for name, value in row.items()}


def _entry(number) -> dict:
    return {
        "key": number.key,
        "value": number.value,
        "unit": number.unit,
        "status": number.status,
        "source": number.source,
        "changed": number.changed,
    }


def _date(date: pd.Timestamp | None) -> str | None:
    return None if date is None else date.date().isoformat()


def _number(value: float | None, digits: int = 4) -> float | None:
    """A finite number with few digits, so that the same run prints the same bytes; else null."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0
