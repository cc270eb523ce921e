"""A season explained in words: one sentence first, then the figures behind it, then what it cannot say."""

from __future__ import annotations

import math

import pandas as pd

from flowcast.foraging import FACTORS
from flowcast.messages import Say
from flowcast.messages.say import capital
from flowcast.reasons import Against, Season
from flowcast.reasons.season import Reason
from flowcast.report import kilograms
from flowcast.results import YardSeason
from flowcast.scale_log.words import cause_note
from flowcast.weather import midsummer

RARE = ((2.0, "extremely"), (1.5, "severely"), (1.0, "moderately"))  # McKee et al. 1993
SOIL = ("dry", "wet")


def headline(found: YardSeason) -> str:
    """Whose season, and which days."""
    say, season = found.record.yard.say, found.season
    days = say.full_span(season.first, season.last)
    return say("explain.headline", yard=found.record.yard.name, season=found.name, days=days)


def answer(found: YardSeason, season: Season | None = None) -> str:
    """The season in one sentence: what it brought, and what set its weather apart."""
    season, say = season or found.season, found.record.yard.say
    gained, cost, gave = _gained(found, season), *_by_way(season)
    parts = kilograms.clauses(found) if season is found.season else []
    if parts:
        return _by_kilograms(parts, gained, season.gain_side, say)
    if math.isnan(season.hours["foraging_h"].now):
        some, every = season.missing_days, len(season.daily)
        return _sentence(gained, say("explain.too_much_missing", some=some, all=every), say)
    if season.years < 2:
        return say("explain.no_other_year")
    if cost:
        return _by_cost(cost, gained, season.gain_side, say)
    elsewhere = _elsewhere(found, season) if season.gain_side < 0 else ""
    if gave:
        told = {"reason": _named(gave[0], say), "figure": _figure(gave[0], say)}
        said = say("explain.kinder", **told)
    else:
        # Only bloom was judged where it is stated: the rest of the season may well have been odd.
        said = say("explain.nothing_odd_in_bloom" if season.bloom_hours else "explain.nothing_odd")
    return _sentence(gained, _and_then(said, elsewhere, say), say)


def _by_cost(cost: list[Reason], gained: str, side: int, say: Say) -> str:
    """What set the weather apart; what the season gained in spite of it."""
    said = say("explain.reason", reason=_named(cost[0], say), figure=_figure(cost[0], say))
    if len(cost) > 1:
        said = _and_then(said, say("explain.as_well", reason=_short(cost[1], say)), say)
    if side > 0:
        return capital(say("explain.in_spite", gained=gained, reason=said))
    return _sentence(gained, say("explain.apart", reason=said), say)


def _by_kilograms(parts: list[tuple[int, str]], gained: str, side: int, say: Say) -> str:
    """The largest two parts, and what the season gained; that first where they went against it."""
    said = say.listed((clause for _, clause in parts[:2]), "semicolon")
    if gained and side and parts[0][0] != side:
        said = say("explain.though", gained=gained, parts=said)
        return _sentence(said, say("explain.nothing_tells"), say)
    nothing_else = "" if len(parts) > 2 else say("explain.nothing_else_clear")
    return _sentence(said, gained or nothing_else, say)


def _elsewhere(found: YardSeason, season: Season) -> str:
    """Where to look for a loss that no clear part explains; a driver that may hold it is not ruled out."""
    say = found.record.yard.say
    perhaps = kilograms.perhaps(found) if season is found.season else ""
    return say("explain.perhaps", driver=perhaps) if perhaps else say("explain.elsewhere")


def _by_way(season: Season) -> tuple[list[Reason], list[Reason]]:
    """Reasons that cost, and that gave."""
    return [r for r in season.reasons if r.way < 0], [r for r in season.reasons if r.way > 0]


def _gained(found: YardSeason, season: Season) -> str:
    """The gain against other seasons of the log, where both are known."""
    gain, say = season.gain, found.record.yard.say
    if math.isnan(gain.now) or math.isnan(gain.usual):
        return ""
    losses = gain.now < 0 and gain.usual < 0
    verb, others = "lost" if losses else "gained", {"n": gain.years - 1}
    if not season.gain_side:
        return say(f"gains.{verb}_as_much", whose=_whose(found), **others)
    side = "more" if (gain.more > 0) != losses else "less"
    kg = say.weight(abs(gain.more))
    return say(f"gains.{verb}_{side}", whose=_whose(found), kg=kg, **others)


def _whose(found: YardSeason) -> str:
    logs, say = found.record.logs, found.record.yard.say
    if len(logs) == 1:
        return say("gains.of_hive", hive=logs[0].hive)
    by_hand = {log.kind for log in logs} == {"hand weighings"}
    return say("gains.of_mean" if by_hand else "gains.of_middle")


def _and_then(first: str, second: str, say: Say) -> str:
    return say.listed([part for part in (first, second) if part], "semicolon")


def _sentence(first: str, second: str, say: Say) -> str:
    return capital(say("explain.sentence", clauses=_and_then(first, second, say)))


def sentences(found: YardSeason) -> list[str]:
    """Flight, plants, gains, hives: each in a sentence."""
    season, say = found.season, found.record.yard.say
    lines = [*_flight(season, say), *_others(found), *_water(season, say), *_timing(found)]
    lines += [*_gain(found), *kilograms.sentences(found), *_hives(season, say)]
    lines += [*_crop(season, say), *_crops(found)]
    return [line for line in [*lines, _missing(found)] if line]


def _missing(found: YardSeason) -> str:
    """Days without weather, and what stands for them."""
    days = found.season.missing_days
    key = "explain.missing" if found.kilograms is None else "explain.missing_kg"
    return found.record.yard.say(key, n=days) if days else ""


def hour_rows(season: Season, say: Say) -> list[tuple[str, ...]]:
    """Hours of flight and what took them, as cells, the head first."""
    bloom = season.bloom_hours
    heads = ("head", "now", "usual", "range", *(("in_bloom", "usual") if bloom else ()))
    rows = [tuple(say(f"hours.{head}") for head in heads)]
    for key in ("foraging_h", *(f"lost_{factor}_h" for factor in FACTORS)):
        more = _two(bloom[key], say) if bloom else ()
        rows.append((say(f"hours.{key}"), *_cells(season.hours[key], say), *more))
    return rows


def month_rows(season: Season, say: Say) -> list[tuple[str, ...]]:
    """Months as cells, the head first."""
    heads = ("head", "hours", "usual", "lost", "soil", "usual", "rain", "usual")
    rows = [tuple(say(f"months_table.{head}") for head in heads)]
    for (date, month), (_, plant) in zip(
        season.months.iterrows(), season.plants.months.iterrows(), strict=True
    ):
        rows.append(
            (
                say.month(date),
                _count(month["now"], say),
                _count(month["usual"], say),
                say(f"reasons.{month['lost']}") if month["lost"] in FACTORS else "",
                _percent(plant["soil_frac"], say),
                _percent(plant["soil_usual"], say),
                _rain(plant["rain_mm"], say),
                _rain(plant["rain_usual"], say),
            )
        )
    return rows


def beside_rows(found: YardSeason) -> list[tuple[str, ...]]:
    """Two seasons side by side, the head first; empty without a second one."""
    if found.other is None:
        return []
    say, (name, other) = found.record.yard.say, found.other
    two = (found.season, other)
    rows = [("", found.name, name)]
    for key in ("foraging_h", *(f"lost_{factor}_h" for factor in FACTORS)):
        rows.append((say(f"beside.{key}"), *(_count(s.hours[key].now, say) for s in two)))
    rows.append((say("beside.rain"), *(_rain(s.plants.rain_mm.now, say) for s in two)))
    parched = (_count(s.plants.parched_days.now, say) for s in two)
    rows.append((say("beside.parched"), *parched))
    if not all(math.isnan(s.gain.now) for s in two):
        rows.append((say("beside.gain"), *(_weight(s.gain.now, say) for s in two)))
    return rows


def weeks_finding(season: Season, say: Say) -> str:
    """What the weeks show, in a sentence."""
    weekly = season.weekly
    fewer = int((weekly["now"] < weekly["low"]).sum())
    more = int((weekly["now"] > weekly["high"]).sum())
    return say("explain.weeks", n=len(weekly), fewer=fewer, more=more)


def _named(reason: Reason, say: Say) -> str:
    if reason.what == "frost":
        return say("reasons.frost")
    little = "little_" if reason.way > 0 and reason.what not in SOIL else ""
    return say(f"reasons.{little}{reason.what}{'_in_bloom' if reason.in_bloom else ''}")


def _short(reason: Reason, say: Say) -> str:
    show = _percent if reason.what in SOIL else _count
    now, usual = show(reason.figure.now, say), show(reason.figure.usual, say)
    return say("explain.short", reason=_named(reason, say), now=now, usual=usual)


def _figure(reason: Reason, say: Say) -> str:
    f = reason.figure
    if reason.what in SOIL:
        between = _often(f, say.number(100 * f.low), _percent(f.high, say), say)
        now, usual, key = _percent(f.now, say), _percent(f.usual, say), "explain.figure_soil"
    else:
        between, now, usual = _range(f, say), say.number(f.now), say.number(f.usual)
        key = "explain.figure_nights" if reason.what == "frost" else "explain.figure_hours"
    return say(key, now=now, usual=usual, between=between, rank=_rank(f, say))


def _often(f: Against, low: str, high: str, say: Say) -> str:
    return say("explain.in_8_years" if f.years > 8 else "explain.in_most_years", low=low, high=high)


def _range(f: Against, say: Say) -> str:
    return _often(f, say.number(f.low), say.number(f.high), say)


def _rank(f: Against, say: Say) -> str:
    """Its place among the years, where it is one of the two at an end."""
    if f.years < 8 or f.now == f.usual:
        return ""
    places = {1: "most", 2: "second_most", f.years - 1: "second_least", f.years: "least"}
    return say(f"ranks.{places[f.rank]}", n=f.years) if f.rank in places else ""


def _flight(season: Season, say: Say) -> list[str]:
    hours, days = season.hours["foraging_h"], season.hours["foraging_days"]
    if math.isnan(hours.now):
        return [say("flight.missing")]
    counted = {"hours": say("flight.of_flight", n=round(hours.now))}
    had = counted | {"days": say("flight.on_days", n=round(days.now))}
    if math.isnan(hours.usual):
        return [say("flight.alone", **had)]
    usual = {"usual": say.number(hours.usual), "usual_days": say.number(days.usual)}
    told = {"between": _range(hours, say), "rank": _rank(hours, say)}
    lines = [say("flight.whole", **had, **usual, **told)]
    bloom = season.bloom_hours["foraging_h"] if season.bloom_hours else None
    if bloom and not math.isnan(bloom.now):
        now, usual = say.number(bloom.now), say.number(bloom.usual)
        lines.append(say("flight.bloom", now=now, usual=usual, between=_range(bloom, say)))
    elif bloom:
        lines.append(say("flight.bloom_missing"))
    worst = season.weekly["now"] - season.weekly["usual"]
    if worst.notna().any() and worst.min() < -5:
        date = say.day(worst.idxmin())
        lines.append(say("flight.worst_week", date=date, n=round(-worst.min())))
    return lines


def _others(found: YardSeason) -> list[str]:
    """What lay far from the usual, beyond what the answer names; kilograms name none of it."""
    cost, gave = _by_way(found.season)
    named = [] if kilograms.clauses(found) else cost[:2] if cost else gave[:1]
    rest = [r for r in found.season.reasons if r not in named]
    say = found.record.yard.say
    said = say.listed((_short(r, say) for r in rest[:3]), "semicolon")
    return [say("explain.also_far" if named else "explain.far", reasons=said)] if rest else []


def _water(season: Season, say: Say) -> list[str]:
    p = season.plants
    if math.isnan(p.rain_mm.now):
        return [say("rain.missing")]
    if math.isnan(p.rain_mm.usual):
        return [say("rain.alone", now=say.rain(p.rain_mm.now))]
    between = _often(p.rain_mm, say.mm(p.rain_mm.low), say.mm(p.rain_mm.high), say)
    rain = {"now": say.rain(p.rain_mm.now), "usual": say.mm(p.rain_mm.usual), "between": between}
    soil = {"n": round(p.parched_days.now), "usual": say.number(p.parched_days.usual)}
    dry = {"dry": say.number(p.longest_dry_d.now), "dry_usual": say.number(p.longest_dry_d.usual)}
    parched = say("rain.parched", **soil, between=_range(p.parched_days, say), **dry)
    if not max(p.parched_days.now, p.parched_days.high):
        parched = say("rain.not_parched", **dry)
    lines = [say("rain.whole", **rain, rarity=_rarity(p.spi, say)), parched]
    if p.frost_days.now > 0 or p.frost_days.usual >= 0.5:
        key = "rain.frost" if p.frost_days.now else "rain.no_frost"
        usual = say.number(p.frost_days.usual, 1)
        lines.append(say(key, n=round(p.frost_days.now), usual=usual))
    return lines


def _rarity(spi: float, say: Say) -> str:
    """How rare the rain was, by the bands of the precipitation index (McKee et al. 1993)."""
    if math.isnan(spi):
        return ""
    index = say.number(round(spi, 1) + 0.0, 1)
    for edge, word in RARE:
        if abs(spi) >= edge:
            return say(f"rarity.{word}_{'wet' if spi > 0 else 'dry'}", index=index)
    return say("rarity.normal", index=index)


def _timing(found: YardSeason) -> list[str]:
    season, say = found.season, found.record.yard.say
    lead = season.plants.lead_d.now
    if math.isnan(lead) or season.years < 2:  # alone it would be measured by itself
        return []
    days, when = round(lead), _longest_day(found)
    if abs(days) < 2:
        return [say("explain.on_time", when=when)]
    return [say("explain.early" if days > 0 else "explain.late", n=abs(days), when=when)]


def _longest_day(found: YardSeason) -> str:
    """Midsummer; between the tropics, where there is no summer to be in the middle of, its date."""
    place, say = found.record.yard.place, found.record.yard.say
    if abs(place.latitude) > found.record.yard.numbers["season.tropic_deg"]:
        return say("explain.at_midsummer")
    day = pd.Timestamp(found.season.first.year, *midsummer(place))
    return say("explain.by_day", date=say.yearly(day))


def _gain(found: YardSeason) -> list[str]:
    season, say = found.season, found.record.yard.say
    gain = season.gain
    if math.isnan(gain.now):
        return [_too_little_log(season, say)]
    whose = capital(_whose(found))
    text = say("gains.it", whose=whose, gained=_gained_or_lost(gain.now, say, season.full_days))
    if 100 * season.gain_known <= 97:
        text = say("gains.on_known_days", gained=text, share=say.percent(season.gain_known))
    if math.isnan(gain.usual):
        return [say("gains.no_other", gained=text)]
    usual = _gained_or_lost(gain.usual, say)
    return [say("gains.others", gained=text, n=gain.years - 1, others=usual)]


def _too_little_log(season: Season, say: Say) -> str:
    """That no weights are told; of a log of some of the days, how to be told of those."""
    every = len(season.daily)
    known = round(season.gain_known * every)
    return say("gains.little_scale", known=str(known), n=every) if known else say("gains.no_scale")


def _hives(season: Season, say: Say) -> list[str]:
    """Hives far behind the others, what is known to have happened to them; and all low together."""
    if math.isnan(season.gain.now):
        return []
    lines = [
        say(
            "gains.behind",
            hive=low.season.hive,
            gained=_gained_or_lost(low.gain_kg, say),
            others=_gained_or_lost(low.others_kg, say),
            why=_why(low.season, say),
        )
        for low in season.low
    ]
    full = [(h.hive, int(h.full.sum())) for h in season.hives if h.full.any()]
    if full:
        each = (say("gains.full_days", hive=hive, n=n) for hive, n in full)
        lines.append(say("gains.full", hives=say.listed(each), n=len(full)))
    told = [h for h in season.hives if h.known > 0]
    shared = season.gain_side < 0 and len(told) - len(season.low) > 1
    return [*lines, *([say("gains.shared")] if shared else [])]


def _why(hive, say: Say) -> str:
    if hive.parting is None:
        return say("gains.no_reason")
    date, what = hive.parting
    if what.endswith("?"):
        return say("gains.seems_to_have_left", date=say.day(date), what=cause_note(what[:-1]))
    return say("gains.written_down", date=say.day(date), what=cause_note(what))


def _crops(found: YardSeason) -> list[str]:
    """Harvests of the seasons side by side, by what the keeper wrote down."""
    crops, say = found.crops, found.record.yard.say
    each = [_named_weight(name, row.kg, say) for name, row in crops.iterrows()]
    return [say("explain.harvests", each=say.listed(each))] if len(crops) > 1 else []


def _named_weight(name: str, kg: float, say: Say) -> str:
    return say("explain.named_weight", name=name, kg=_weight(kg, say))


def limits(found: YardSeason) -> list[str]:
    """What the explanation cannot say."""
    say, why = found.record.yard.say, _why_no_kilograms(found)
    least = say.weight(found.record.yard.numbers["reasons.measured_kg"], 0)
    said = say(f"no_kilograms.{why}") if why else say("kilograms.limit", least=least)
    return [say("explain.limit"), said, say("explain.not_the_crop")]


def _why_no_kilograms(found: YardSeason) -> str:
    if found.kilograms is not None:
        return ""
    if math.isnan(found.season.gain.now):
        return "little_log" if found.season.gain_known else "no_log"
    numbers, season = found.record.yard.numbers, found.season
    if season.missing_days > (1 - numbers["reasons.gain_share"]) * len(season.daily):
        return "no_weather"
    if season.years - 1 < numbers["reasons.kg_years"]:
        return "few_years"
    return "no_flight"


def _crop(season: Season, say: Say) -> list[str]:
    crops = [h for h in season.hives if not math.isnan(h.crop_kg) and h.crop_kg > 0]
    each = [_named_weight(h.hive, h.crop_kg, say) for h in crops]
    return [say("explain.crop", each=say.listed(each))] if crops else []


def _gained_or_lost(kg: float, say: Say, full_days: int = 0) -> str:
    """What was gained or lost; with days without free comb, the least or the most that it was."""
    if say.kg(abs(kg)) == "0":
        return say("gains.neither")
    way = "gained" if kg >= 0 else "lost"
    return say(f"gains.{way}_bound" if full_days else f"gains.{way}", kg=say.weight(abs(kg)))


def _weight(kg: float, say: Say) -> str:
    return say("numbers.not_known") if math.isnan(kg) else say.weight(kg)


def _cells(f: Against, say: Say) -> tuple[str, ...]:
    unknown = math.isnan(f.low)
    span = (
        say("numbers.not_known") if unknown else say.either(say.number(f.low), say.number(f.high))
    )
    return (*_two(f, say), span)


def _two(f: Against, say: Say) -> tuple[str, str]:
    return _count(f.now, say), _count(f.usual, say)


def _count(value: float, say: Say) -> str:
    return say("numbers.not_known") if pd.isna(value) else say.number(value)


def _rain(mm: float, say: Say) -> str:
    return say("numbers.not_known") if pd.isna(mm) else say.rain(mm)


def _percent(share: float, say: Say) -> str:
    return say("numbers.not_known") if pd.isna(share) else say.percent(share)
