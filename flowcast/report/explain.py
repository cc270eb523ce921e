"""A season explained in words: one sentence first, then the figures behind it, then what it cannot say."""

from __future__ import annotations

import math

import pandas as pd

from flowcast.foraging import FACTORS
from flowcast.reasons import Against, Season
from flowcast.reasons.season import Reason
from flowcast.report import kilograms, words
from flowcast.report.units import rain
from flowcast.results import YardSeason

NAMES = {
    "cold": "cold",
    "heat": "heat",
    "light": "poor light",
    "rain": "rain",
    "wind": "wind",
    "humid": "damp air",
}
LIMIT = (
    "This lays figures side by side; it does not prove a cause. Rain, cold, poor light and damp come "
    "together, so that hours shared out among them are a way of counting."
)
NO_KILOGRAMS = "What each of them cost in kilograms is not reckoned: {why}."
NOT_THE_CROP = (
    "Gain on the scale is not the crop: drying, brood and the colony's own stores come off first."
)
SHARED = (
    "Hives low together is something shared: weather or forage, but also mites, spray, disease, "
    "swarming or no room. Do a mite count."
)


def headline(found: YardSeason) -> str:
    """Whose season, and which days."""
    season = found.season
    return (
        f"{found.record.yard.name}: {found.name}, {words.full_day(season.first)} to "
        f"{words.full_day(season.last)}"
    )


def answer(found: YardSeason, season: Season | None = None) -> str:
    """The season in one sentence: what it brought, and what set its weather apart."""
    season = season or found.season
    gained, cost, gave = _gained(found, season), *_by_way(season)
    parts = kilograms.clauses(found) if season is found.season else []
    if parts:
        return _by_kilograms(parts, gained, season.gain_side)
    if math.isnan(season.hours["foraging_h"].now):
        missing = f"{season.missing_days} of {len(season.daily)} days"
        return _sentence(
            gained, f"too much of its weather is missing to say what set it apart ({missing})"
        )
    if season.years < 2:
        return (
            "There is no other year of weather here, so nothing can be said of what is usual. Give at "
            "least two years, better ten."
        )
    if cost:
        link = "in spite of" if season.gain_side > 0 else "what set its weather apart was"
        more = f"; {_short(cost[1])} as well" if len(cost) > 1 else ""
        return _sentence(gained, f"{link} {_named(cost[0])}: {_figure(cost[0])}{more}")
    elsewhere = _elsewhere(found, season) if season.gain_side < 0 else ""
    if gave:
        text = f"its weather was kinder than usual: {_named(gave[0])}, {_figure(gave[0])}"
        return _sentence(gained, text + elsewhere)
    return _sentence(
        gained,
        "nothing in its hours of flight, the water in the soil or frost was far from the usual"
        + elsewhere,
    )


def _by_kilograms(parts: list[tuple[int, str]], gained: str, side: int) -> str:
    """The largest two parts, and what the season gained; that first where they went against it."""
    said = "; ".join(clause for _, clause in parts[:2])
    if gained and side and parts[0][0] != side:
        return _sentence(f"{gained}, though {said}", "nothing here tells why")
    return _sentence(said, gained or ("" if len(parts) > 2 else "nothing else is clear of 0"))


def _elsewhere(found: YardSeason, season: Season) -> str:
    """Where to look for a loss that no clear part explains; a driver that may hold it is not ruled out."""
    perhaps = kilograms.perhaps(found) if season is found.season else ""
    if perhaps:
        return f"; {perhaps} may be behind it, which this log cannot tell"
    return "; look for a reason elsewhere"


def _by_way(season: Season) -> tuple[list[Reason], list[Reason]]:
    """Reasons that cost, and that gave."""
    return [r for r in season.reasons if r.way < 0], [r for r in season.reasons if r.way > 0]


def _gained(found: YardSeason, season: Season) -> str:
    """The gain against other seasons of the log, where both are known."""
    gain, units = season.gain, found.record.yard.settings.yard.units
    if math.isnan(gain.now) or math.isnan(gain.usual):
        return ""
    others = (
        "the other season" if gain.years == 2 else f"the mean of {gain.years - 1} other seasons"
    )
    losses = gain.now < 0 and gain.usual < 0
    verb = "lost" if losses else "gained"
    if not season.gain_side:
        return f"{_whose(found)} {verb} about as much as in {others} of the log"
    side = "more" if (gain.more > 0) != losses else "less"
    return f"{_whose(found)} {verb} {_weight(abs(gain.more), units)} {side} than in {others} of the log"


def _whose(found: YardSeason) -> str:
    if len(found.record.logs) == 1:
        return f"hive {found.record.logs[0].hive}"
    by_hand = {log.kind for log in found.record.logs} == {"hand weighings"}
    return "a hive in the mean" if by_hand else "the middle hive"


def _sentence(first: str, second: str) -> str:
    link = ", " if second.startswith("in spite of") else "; "
    text = link.join(part for part in (first, second) if part)
    return f"{text[0].upper()}{text[1:]}."


def sentences(found: YardSeason) -> list[str]:
    """Flight, plants, gains, hives: each in a sentence."""
    season = found.season
    units = found.record.yard.settings.yard.units
    lines = [*_flight(season), *_others(found), *_water(season, units), *_timing(season)]
    lines += [*_gain(found), *kilograms.sentences(found), *_hives(season, units)]
    lines += [*_crop(season, units), *_crops(found)]
    return [line for line in [*lines, _missing(found)] if line]


def _missing(found: YardSeason) -> str:
    """Days without weather, and what stands for them."""
    days = found.season.missing_days
    if not days:
        return ""
    said = "1 day of weather is" if days == 1 else f"{days} days of weather are"
    if found.kilograms is None:
        return f"{said} missing; the rest stands for the whole."
    return (
        f"{said} missing; the rest stands for the whole, but the kilograms take what is missing for "
        "days like those of other years, with wider intervals."
    )


def hour_rows(season: Season) -> list[tuple[str, ...]]:
    """Hours of flight and what took them, as cells, the head first."""
    bloom = season.bloom_hours
    rows = [("hours", "this time", "usual", "range", *(("in bloom", "usual") if bloom else ()))]
    for key, name in [
        ("foraging_h", "of flight"),
        *((f"lost_{f}_h", f"lost to {NAMES[f]}") for f in FACTORS),
    ]:
        rows.append((name, *_cells(season.hours[key]), *(_two(bloom[key]) if bloom else ())))
    return rows


def month_rows(season: Season, unit: str = "kg") -> list[tuple[str, ...]]:
    """Months as cells, the head first."""
    rows = [
        (
            "month",
            "hours of flight",
            "usual",
            "more than usual lost to",
            "soil water",
            "usual",
            "rain",
            "usual",
        )
    ]
    for (date, month), (_, plant) in zip(
        season.months.iterrows(), season.plants.months.iterrows(), strict=True
    ):
        rows.append(
            (
                f"{date:%B %Y}",
                _count(month["now"]),
                _count(month["usual"]),
                NAMES.get(month["lost"], ""),
                _percent(plant["soil_frac"]),
                _percent(plant["soil_usual"]),
                _rain(plant["rain_mm"], unit),
                _rain(plant["rain_usual"], unit),
            )
        )
    return rows


def beside_rows(found: YardSeason) -> list[tuple[str, ...]]:
    """Two seasons side by side, the head first; empty without a second one."""
    if found.other is None:
        return []
    name, other = found.other
    one = found.season
    rows = [("", found.name, name)]
    keys = [
        ("foraging_h", "hours of flight"),
        *((f"lost_{f}_h", f"hours lost to {NAMES[f]}") for f in FACTORS),
    ]
    rows += [(label, _count(one.hours[k].now), _count(other.hours[k].now)) for k, label in keys]
    units = found.record.yard.settings.yard.units
    rows.append(("rain", *(_rain(s.plants.rain_mm.now, units) for s in (one, other))))
    rows.append(
        ("parched days", _count(one.plants.parched_days.now), _count(other.plants.parched_days.now))
    )
    if not math.isnan(one.gain.now) or not math.isnan(other.gain.now):
        rows.append(
            ("gain of the middle hive", *(_weight(s.gain.now, units) for s in (one, other)))
        )
    return rows


def weeks_finding(season: Season) -> str:
    """What the weeks show, in a sentence."""
    weekly = season.weekly
    below, above = (
        int((weekly["now"] < weekly["low"]).sum()),
        int((weekly["now"] > weekly["high"]).sum()),
    )
    return f"Of {len(weekly)} weeks {below} had fewer hours of flight than 8 years in 10 bring, and {above} more."


def _named(reason: Reason) -> str:
    soil = {"dry": "a dry soil", "wet": "a wet soil"}
    where = " in bloom" if reason.in_bloom else ""
    if reason.what in soil:
        before = " before and in bloom" if reason.in_bloom else ""
        return soil[reason.what] + before
    if reason.what == "frost":
        return "frost on bloom"
    return f"{'little ' if reason.way > 0 else ''}{NAMES[reason.what]}{where}"


def _short(reason: Reason) -> str:
    show = _percent if reason.what in ("dry", "wet") else _count
    return f"{_named(reason)} ({show(reason.figure.now)}, usually {show(reason.figure.usual)})"


def _figure(reason: Reason) -> str:
    f = reason.figure
    if reason.what in ("dry", "wet"):
        return (
            f"it held {_percent(f.now)} of what plants can draw, usually {_percent(f.usual)} "
            f"({100 * f.low:.0f} to {_percent(f.high)} in {_often(f)}){_rank(f)}"
        )
    what = "nights of it" if reason.what == "frost" else "hours of flight lost to it"
    return f"{f.now:.0f} {what}, usually {f.usual:.0f} ({_range(f)}){_rank(f)}"


def _often(f: Against) -> str:
    return "8 years of 10" if f.years > 8 else "most other years"


def _range(f: Against) -> str:
    return f"{f.low:.0f} to {f.high:.0f} in {_often(f)}"


def _rank(f: Against) -> str:
    """Its place among the years, where it is one of the two at an end."""
    if f.years < 8 or f.now == f.usual:
        return ""
    places = {1: "the most", 2: "second most", f.years - 1: "second least", f.years: "the least"}
    return f", {places[f.rank]} of {f.years} years" if f.rank in places else ""


def _flight(season: Season) -> list[str]:
    hours, days = season.hours["foraging_h"], season.hours["foraging_days"]
    if math.isnan(hours.now):
        return ["Too many days of weather are missing to count its hours of flight."]
    if math.isnan(hours.usual):
        return [f"It had {hours.now:.0f} hours of flight on {days.now:.0f} foraging days."]
    lines = [
        f"It had {hours.now:.0f} hours of flight on {days.now:.0f} foraging days, usually {hours.usual:.0f} "
        f"({_range(hours)}) on {days.usual:.0f}{_rank(hours)}."
    ]
    bloom = season.bloom_hours["foraging_h"] if season.bloom_hours else None
    if bloom and not math.isnan(bloom.now):
        lines.append(
            f"On the dates you state for bloom it had {bloom.now:.0f}, usually {bloom.usual:.0f} "
            f"({_range(bloom)})."
        )
    elif bloom:
        lines.append("Too much of the weather on the dates you state for bloom is missing.")
    worst = season.weekly["now"] - season.weekly["usual"]
    if worst.notna().any() and worst.min() < -5:
        week = worst.idxmin()
        lines.append(
            f"The week from {words.day(week)} was furthest below the usual, by {-worst.min():.0f} hours."
        )
    return lines


def _others(found: YardSeason) -> list[str]:
    """What lay far from the usual, beyond what the answer names; kilograms name none of it."""
    cost, gave = _by_way(found.season)
    named = [] if kilograms.clauses(found) else cost[:2] if cost else gave[:1]
    rest = [r for r in found.season.reasons if r not in named]
    first = "Also far" if named else "Far"
    said = "; ".join(_short(r) for r in rest[:3])
    return [f"{first} from the usual: {said}."] if rest else []


def _water(season: Season, unit: str) -> list[str]:
    p = season.plants
    if math.isnan(p.rain_mm.now):
        return ["Too many days of weather are missing to speak of rain and soil."]
    if math.isnan(p.rain_mm.usual):
        return [f"It rained {_rain(p.rain_mm.now, unit)}."]
    lines = [
        f"It rained {_rain(p.rain_mm.now, unit)}, usually {_amount(p.rain_mm.usual, unit)} ({_rain_range(p.rain_mm, unit)}{_rarity(p.spi)}).",
        f"Soil was parched on {p.parched_days.now:.0f} days, usually {p.parched_days.usual:.0f} "
        f"({_range(p.parched_days)}); the longest spell without a wet day was {p.longest_dry_d.now:.0f} days, "
        f"usually {p.longest_dry_d.usual:.0f}.",
    ]
    if p.frost_days.now > 0 or p.frost_days.usual >= 0.5:
        lines.append(
            f"Frost fell on the dates you state for bloom on {_nights(p.frost_days.now)}, usually on "
            f"{p.frost_days.usual:.1f}."
        )
    return lines


def _nights(count: float) -> str:
    if not count:
        return "no night"
    return f"{count:.0f} night{'' if count == 1 else 's'}"


def _rarity(spi: float) -> str:
    """How rare the rain was, by the bands of the precipitation index (McKee et al. 1993)."""
    if math.isnan(spi):
        return ""
    index = f"precipitation index {round(spi, 1) + 0.0:.1f}".replace("-", "−")
    for edge, word in ((2.0, "extremely"), (1.5, "severely"), (1.0, "moderately")):
        if abs(spi) >= edge:
            return f"; {word} {'wet' if spi > 0 else 'dry'}, {index}"
    return f"; near normal, {index}"


def _timing(season: Season) -> list[str]:
    lead = season.plants.lead_d.now
    if math.isnan(lead) or season.years < 2:  # alone it would be measured by itself
        return []
    days = round(lead)
    if abs(days) < 2:
        return ["By its warmth the season ran as usual at midsummer."]
    return [
        f"By its warmth the season ran {abs(days)} days {'early' if days > 0 else 'late'} at midsummer."
    ]


def _gain(found: YardSeason) -> list[str]:
    season, units = found.season, found.record.yard.settings.yard.units
    gain = season.gain
    if math.isnan(gain.now):
        return ["No scale tells enough of this time to speak of kilograms."]
    known = 100 * season.gain_known
    days = "" if known > 97 else f" on the {known:.0f} % of days that are known"
    whose = _whose(found)
    text = f"{whose[0].upper()}{whose[1:]} {_gained_or_lost(gain.now, units)}{days}"
    if math.isnan(gain.usual):
        return [f"{text}; no other season of log is there to lay beside it."]
    others = "the other season" if gain.years == 2 else f"the mean of {gain.years - 1} others"
    return [f"{text}; {others} {_gained_or_lost(gain.usual, units)} on the days known in both."]


def _hives(season: Season, units: str) -> list[str]:
    """Hives far behind the others, what is known to have happened to them; and all low together."""
    if math.isnan(season.gain.now):
        return []
    lines = [
        f"{low.season.hive} {_gained_or_lost(low.gain_kg, units)} where the middle of the others "
        f"{_gained_or_lost(low.others_kg, units)}: that points to the colony more than to the weather. "
        f"{_why(low.season)}"
        for low in season.low
    ]
    told = [h for h in season.hives if h.known > 0]
    shared = season.gain_side < 0 and len(told) - len(season.low) > 1
    return [*lines, *([SHARED] if shared else [])]


def _why(hive) -> str:
    if hive.parting is None:
        return (
            "Nothing written down tells why: look for its queen, mites, disease or too little room."
        )
    date, what = hive.parting
    if what.endswith("?"):
        seen = f"On {words.day(date)} {what.rstrip('?')} seems to have left"
    else:
        seen = f'work.csv has "{what}" on {words.day(date)}'
    return f"{seen}: a likely reason, though weights alone never prove it."


def _crops(found: YardSeason) -> list[str]:
    """Harvests of the seasons side by side, by what the keeper wrote down."""
    crops, units = found.crops, found.record.yard.settings.yard.units
    if len(crops) < 2:
        return []
    each = ", ".join(f"{name} {_weight(row.kg, units)}" for name, row in crops.iterrows())
    return [f"Harvest of the seasons by work.csv, mean of the hives that gave any: {each}."]


def limits(found: YardSeason) -> list[str]:
    """What the explanation cannot say."""
    why = _why_no_kilograms(found)
    said = NO_KILOGRAMS.format(why=why) if why else kilograms.LIMIT
    return [LIMIT, said, NOT_THE_CROP]


def _why_no_kilograms(found: YardSeason) -> str:
    if found.kilograms is not None:
        return ""
    if math.isnan(found.season.gain.now):
        return "that needs a scale log, or hand weighings, of this time"
    numbers, season = found.record.yard.numbers, found.season
    if season.missing_days > (1 - numbers["reasons.gain_share"]) * len(season.daily):
        return "too much of its weather is missing"
    if season.years - 1 < numbers["reasons.kg_years"]:
        return "that needs more other years of weather"
    return "bees do not fly at this time of the year"


def _crop(season: Season, units: str) -> list[str]:
    crops = [h for h in season.hives if not math.isnan(h.crop_kg) and h.crop_kg > 0]
    if not crops:
        return []
    each = ", ".join(f"{h.hive} {_weight(h.crop_kg, units)}" for h in crops)
    return [f"Honey lifted off or extracted: {each}."]


def _gained_or_lost(kg: float, units: str) -> str:
    weight = words.weight(abs(kg), units)
    if weight.startswith("0 "):
        return "neither gained nor lost"
    return f"{'gained' if kg >= 0 else 'lost'} {weight}"


def _weight(kg: float, units: str) -> str:
    return "not known" if math.isnan(kg) else words.weight(kg, units)


def _cells(f: Against) -> tuple[str, ...]:
    span = "not known" if math.isnan(f.low) else f"{f.low:.0f} to {f.high:.0f}"
    return (_count(f.now), _count(f.usual), span)


def _two(f: Against) -> tuple[str, str]:
    return _count(f.now), _count(f.usual)


def _count(value: float) -> str:
    return "not known" if pd.isna(value) else f"{value:.0f}"


def _rain(mm: float, unit: str) -> str:
    return "not known" if pd.isna(mm) else rain(mm, unit)


def _amount(mm: float, unit: str) -> str:
    return rain(mm, unit).split()[0]


def _rain_range(f: Against, unit: str) -> str:
    return f"{_amount(f.low, unit)} to {_amount(f.high, unit)} in {_often(f)}"


def _percent(share: float) -> str:
    return "not known" if pd.isna(share) else f"{100 * share:.0f} %"
