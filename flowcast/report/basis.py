"""What an outlook rests on, what is missing and what that costs it: plain sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.report import units, words
from flowcast.report.weather import ahead_line, weather_lines
from flowcast.results import Checked, Record, YardOutlook
from flowcast.scale_log import CleanLog


def basis(found: YardOutlook) -> list[str]:
    """What the outlook rests on."""
    record, model = found.record, found.model
    lines = [_log_basis(record, model.seasons), *weather_lines(record), ahead_line(found)]
    lines += [_forage_basis(record, model.prior.ensemble.seasons)]
    if record.yard.numbers.entry("flow.flow_day_kg").value != record.yard.flow_day_kg:
        lines.append(
            f"A flow day here is {record.yard.flow_day_kg:g} kg or more, as yard.toml says."
        )
    return [units.told(line, units.of(record.yard)) for line in lines if line]


def cautions(unit: str = "kg") -> list[str]:
    """What a keeper must bear in mind, whatever the figures."""
    return [units.told(line, unit) for line in CAUTIONS]


CAUTIONS = [
    "This advises on dates; it does not replace looking into the hive. Gain on the scale is not "
    "honey to take: drying, brood and the colony's own stores come off first, and 6 to 10 kg "
    "stay with a full colony all year and everywhere.",
    "Wear protective clothing; with a known allergy to stings take medical advice first. Full "
    "supers are heavy: lift with help. Heed fire bans before lighting a smoker.",
    "No honey to infants under one year. Never feed syrup while supers are on that people will "
    "eat from; white sugar only; never honey or comb from other or unknown hives.",
    "Local codes on keeping bees and the duty to report notifiable pests and diseases come "
    "first; when unsure, ask an experienced local beekeeper or the authority.",
    "About Apis mellifera. Weight says nothing of pollen, queen or health.",
]


def check_lines(found: Checked) -> dict[str, list[str]]:
    """What was understood, under headings."""
    lines = {
        "Place": _place_lines(found),
        "Hives": _hive_lines(found),
        "Marked in the logs, and kept out of every gain": _marked_lines(found),
        "Jumps that work.csv does not explain (a line there settles each)": _jump_lines(found),
        "What weather makes the scales show": _weathering_lines(found),
        "Hives that lost by day what a neighbour gained": latest(found.robbed),
        "Hives that left the others": latest(found.record.apart if found.record else []),
        "Work": _work_lines(found),
        "Weather": _weather_lines(found),
        "Forage": _forage_lines(found),
        "Beetle trays": _beetle_lines(found),
        "What is missing, and what it costs the outlook": _missing_lines(found),
    }
    unit = units.of(found.yard)
    return {
        heading: [units.told(line, unit) for line in part]
        for heading, part in lines.items()
        if part
    }


def latest(sentences: list[str], most: int = 4) -> list[str]:
    """The last few of sentences in order of time, and how many came before."""
    earlier = len(sentences) - most
    return sentences[-most:] + ([f"And {earlier} times before."] if earlier > 0 else [])


def _log_basis(record: Record, seasons: float) -> str:
    if not record.logs:
        return (
            "No scale log: the figures rest on weather and stated bloom only, for a colony of usual "
            "strength, and are rough. Three weeks of weights under one hive already help."
        )
    hives = _count(len(record.logs), "hive")
    kinds = {log.kind for log in record.logs}
    how = "hand weighings" if kinds == {"hand weighings"} else "scales"
    length = f"{seasons:.1f} seasons" if seasons >= 0.95 else f"{round(seasons * 365)} days"
    short = "" if seasons >= 2 else " With so short a log the stated bloom still counts for much."
    return f"{hives} on {how}, {length} of gains that could be trusted.{short}"


def _forage_basis(record: Record, noted: tuple[int, ...]) -> str:
    plants = record.yard.forage
    if not plants:
        return "No bloom is stated in yard.toml, so before the log speaks any time of the flight season may flow."
    days = record.yard.numbers["flow.shift_sd_d"]
    return (
        f"Bloom as stated: {', '.join(p.name for p in plants)}. Dates may shift by about {days:.0f} "
        f"days either way.{_notes_basis(noted)}"
    )


def _notes_basis(noted: tuple[int, ...]) -> str:
    """Seasons whose bloom the keeper noted."""
    if not noted:
        return ""
    return f" Your notes of bloom in {_count(len(noted), 'season')} are in it."


def _place_lines(found: Checked) -> list[str]:
    place = found.yard.place
    ns, ew = "N" if place.latitude >= 0 else "S", "E" if place.longitude >= 0 else "W"
    start = pd.Timestamp(2024, *place.season_start)
    return [
        f"{abs(place.latitude):.3f}° {ns}, {abs(place.longitude):.3f}° {ew}, {place.elevation_m:.0f} m, "
        f"time zone {place.timezone}; the season counts from {words.day(start)}."
    ]


def _hive_lines(found: Checked) -> list[str]:
    logs = {log.hive: log for log in found.logs}
    zone = found.yard.place.timezone
    return [
        _log_line(logs[hive.name], zone) if hive.name in logs else _no_log(hive)
        for hive in found.yard.hives
    ]


def _no_log(hive) -> str:
    if hive.scale is None:
        return f"{hive.name}: no weights."
    return f"{hive.name}: no weights before the last day of weather."


def _log_line(log: CleanLog, zone: str) -> str:
    first, last = log.readings.index[[0, -1]].tz_convert(zone)
    what = "hand weighings" if log.kind == "hand weighings" else f"readings, {_sampling(log)}"
    return (
        f"{log.hive}: {len(log.readings):,} {what}, {words.full_day(first)} to "
        f"{words.full_day(last)}; {_gain_words(log)}."
    )


def _marked_lines(found: Checked) -> list[str]:
    lines = []
    for log in found.logs:
        marked = [f"{word}: {n:,}" for word, n in log.counts.items() if n]
        lines += [f"{log.hive}: {', '.join(marked)}."] if marked else []
    return lines


def _jump_lines(found: Checked) -> list[str]:
    zone = found.yard.place.timezone
    return [
        f"{log.hive}, {words.full_day(step.time.tz_convert(zone))}: {step.note}"
        for log in found.logs
        for step in log.steps[~log.steps["logged"].astype(bool)].itertuples()
    ]


EFFECT_WORDS = {
    "warmth": "for each degree of warmth",
    "wet wood": "when the wood is soaked",
    "snow": "for each millimetre of water lying as snow",
}


def _weathering_lines(found: Checked) -> list[str]:
    """Effects that were taken out, hive by hive, and of drift with warmth also where it was not."""
    lines = []
    for log in found.logs:
        for row in log.weathering.itertuples():
            size = _effect(row, units.of(found.yard))
            if row.taken_out:
                lines.append(f"{log.hive}: {size}, told from {row.hours:,} hours; taken out.")
            elif row.effect == "warmth":
                why = f"not sure enough ({size})" if np.isfinite(row.sd_kg) else "cannot be told"
                lines.append(f"{log.hive}: drift with warmth {why}; nothing taken out for it.")
    return lines


def _effect(row, unit: str) -> str:
    """The size of an effect in the yard's units; both the weight and what it goes by change."""
    what, by = EFFECT_WORDS[row.effect], 1.0
    if unit == "lb" and row.effect == "warmth":
        by = 1 / units.F_PER_C
    if unit == "lb" and row.effect == "snow":
        what, by = "for each inch of water lying as snow", 1 / units.INCHES_PER_MM
    kg, sd = (by * units.scale_of(unit) * value for value in (row.kg, row.sd_kg))
    return f"{kg:+.3f} ± {sd:.3f} {unit} {what}".replace("-", "−")


def _sampling(log: CleanLog) -> str:
    minutes = np.median(np.diff(log.readings.index.values) / np.timedelta64(1, "m"))
    return (
        f"one every {minutes:.0f} minutes"
        if minutes < 120
        else f"one every {minutes / 60:.0f} hours"
    )


def _gain_words(log: CleanLog) -> str:
    good = log.gains[log.gains["quality"] == "good"]
    single = int((good["days"] == 1).sum())
    longer = int((good["days"] > 1).sum())
    parts = [f"{single:,} daily gains"] if single else []
    if longer:
        gaps = good["days"][good["days"] > 1]
        low, high = f"{gaps.min():.0f}", f"{gaps.max():.0f}"
        span = low if low == high else f"{low} to {high}"
        parts.append(f"{longer:,} totals over {span} days")
    return " and ".join(parts) or "no gain that can be trusted"


def _work_lines(found: Checked) -> list[str]:
    work = found.yard.work
    if work.empty:
        return []
    kinds = ", ".join(f"{word} {n}×" for word, n in work["what"].value_counts().items())
    return [f"{_count(len(work), 'line')} of work: {kinds}."]


def _weather_lines(found: Checked) -> list[str]:
    if found.record is None:
        return []
    daily = found.record.daily
    holes = int(daily["temp_mean_c"].isna().sum())
    return [
        f"{words.full_day(daily.index[0])} to {words.full_day(daily.index[-1])}, "
        f"{len(daily) - holes:,} whole days, {_count(holes, 'day')} missing.",
        *(
            weather_lines(found.record)
            if len(found.record.parts) > 1 or found.record.station
            else []
        ),
    ]


def _forage_lines(found: Checked) -> list[str]:
    return [
        f"{p.name}: {words.from_to(_date(p.from_), _date(p.to))}, {p.strength}, follows {p.follows}"
        f"{', not every year' if p.irregular else ''}."
        for p in found.yard.forage
    ]


def _beetle_lines(found: Checked) -> list[str]:
    counts = found.yard.beetles
    if counts.empty:
        return []
    first, last = counts["date"].iloc[[0, -1]]
    larvae = int(counts["larvae"].sum())
    seen = f", larvae in {larvae}" if larvae else ""
    return [
        f"{_count(len(counts), 'count')}, {words.full_day(first)} to {words.full_day(last)}{seen}."
    ]


def _date(month_day: str) -> pd.Timestamp:
    return pd.Timestamp(f"2024-{month_day}")


def _missing_lines(found: Checked) -> list[str]:
    yard, lines = found.yard, []
    if found.record is None:
        lines.append("No weather: no outlook can be given before there is.")
    elif len(found.record.daily) < 5 * 365:
        lines.append("Less than five years of weather: what is normal here is known poorly.")
    if not found.logs:
        lines.append("No scale log: kilograms rest on stated bloom alone and have a wide interval.")
    if not yard.forage:
        lines.append(
            "No bloom stated ([[forage]]): flows could come at any time of the flight season."
        )
    if found.logs and yard.work.empty:
        lines.append(_without_work(found.logs))
    return lines or ["Nothing that would much sharpen the outlook."]


def _without_work(logs: list[CleanLog]) -> str:
    if any(log.kind == "scale" for log in logs):
        return "No work.csv: boxes and harvests must be guessed from jumps in weight."
    return (
        "No work.csv: between hand weighings a box looks like honey, and only a loss that no colony "
        "can have is seen. Write down each box and harvest with its date and kilograms."
    )


def _count(n: int, noun: str) -> str:
    return f"{n:,} {noun}" + ("" if n == 1 else "s")
