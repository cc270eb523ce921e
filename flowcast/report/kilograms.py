"""What each driver cost or brought, in words and as a table."""

from __future__ import annotations

import pandas as pd

from flowcast.messages import Say
from flowcast.reasons import Kilograms
from flowcast.reasons.kilograms import FLIGHT, IN_ALL, likely_loss
from flowcast.results import YardSeason

LEAST_KG = 1.0  # a part of less is not worth a sentence
WATER = {  # cost or gift, and whether there was more or less of it than usual
    (-1, -1): "little_water",
    (-1, 1): "much_water",
    (1, 1): "good_water",
    (1, -1): "dry_time",
}


def clauses(found: YardSeason) -> list[tuple[int, str]]:
    """What is clear of 0, on the side the season fell to first: -1 cost or 1 gift, and a clause."""
    if found.kilograms is None:
        return []
    say, k = found.record.yard.say, found.kilograms
    told = _worth_saying(k, say)
    if not any(driver in FLIGHT for driver in told) and _clear(k.flight, say):
        told[IN_ALL] = k.flight
    side = -1 if found.season.gain_side <= 0 else 1
    ordered = sorted(told.items(), key=lambda d: (d[1]["kg"] * side < 0, -abs(d[1]["kg"])))
    return [(-1 if row["kg"] < 0 else 1, _clause(driver, row, k, say)) for driver, row in ordered]


def perhaps(found: YardSeason) -> str:
    """The driver that may have cost half of what the season lacks and more, by its interval."""
    k = found.kilograms
    if k is None or not k.more_kg < 0:
        return ""
    able = k.parts[k.parts["q10"] <= 0.5 * k.more_kg]
    driver = likely_loss(able).idxmax() if len(able) else ""
    likely = driver and able.loc[driver, "kg"] < 0
    return found.record.yard.say(f"drivers.{driver}") if likely else ""


def _worth_saying(k: Kilograms, say: Say) -> dict[str, pd.Series]:
    """The drivers whose parts are clear of 0, and their rows."""
    return {driver: row for driver, row in k.parts.iterrows() if _clear(row, say)}


def _clear(row: pd.Series, say: Say) -> bool:
    """Whether a part is a kilogram or more and its interval leaves out 0, as it is printed too."""
    near = row["q10"] if row["kg"] > 0 else -row["q90"]
    return abs(row["kg"]) >= LEAST_KG and near > 0 and say.kg(near) != "0"


def _clause(driver: str, row: pd.Series, k: Kilograms, say: Say) -> str:
    low, high = sorted((abs(row["q10"]), abs(row["q90"])))
    told = {
        "driver": name_of(driver, row["kg"], k, say),
        "kg": say.weight(abs(row["kg"])),
        "between": say.either(say.kg(low), say.kg(high)),
    }
    verb = "cost" if row["kg"] < 0 else "brought"
    if pd.isna(row["first"]):
        return say(f"kilograms.{verb}", **told)
    first, last = say.day(row["first"]), say.day(row["last"])
    if row["first"] == row["last"]:
        return say(f"kilograms.{verb}_on", **told, date=first)
    return say(f"kilograms.{verb}_between", **told, first=first, last=last)


def name_of(driver: str, kg: float, k: Kilograms, say: Say) -> str:
    """The driver as a cost or a gift; water by whether there was more or less of it than usual."""
    side = -1 if kg < 0 else 1
    if driver == "soil":
        return say(f"water.{WATER.get((side, k.water), 'its_way')}")
    told = {"most": _most_of(k, side, say)} if driver == IN_ALL else {}
    return say(f"costs.{driver}" if side < 0 else f"gifts.{driver}", **told)


def _most_of(k: Kilograms, side: int, say: Say) -> str:
    """The driver behind more than half of what flight cost or brought; all of them where none is."""
    each = k.parts.loc[list(FLIGHT), "kg"] * side
    if each.max() > 0.5 * each.clip(lower=0).sum():
        most = each.idxmax()
        return say(f"mostly_costs.{most}" if side < 0 else f"mostly_gifts.{most}")
    return say("kilograms.all_of_flight")


def rows(found: YardSeason) -> list[tuple[str, ...]]:
    """Parts and the rest as cells, the head first; empty where there are none."""
    k = found.kilograms
    if k is None:
        return []
    say = found.record.yard.say
    table = [tuple(say(f"kilograms.{head}") for head in ("head", "head_about", "head_between"))]
    parts = [*k.parts.iterrows(), (IN_ALL, k.flight)]
    table += [_row(say(f"drivers.{driver}"), row, say) for driver, row in parts]
    if k.seasons:
        table.append((say("kilograms.rest"), say.weight(k.rest_kg, sign="+"), ""))
        table.append((say("kilograms.more"), say.weight(k.more_kg, sign="+"), ""))
    return table


def _row(name: str, row: pd.Series, say: Say) -> tuple[str, str, str]:
    kg, low, high = (say.weight(row[part], sign="+") for part in ("kg", "q10", "q90"))
    return name, kg, say("kilograms.low_and_high", low=low, high=high)


def sentences(found: YardSeason) -> list[str]:
    """What the parts leave open: the rest, drivers that went together, too little log."""
    k, say = found.kilograms, found.record.yard.say
    if k is None:
        return []
    lines = [] if _worth_saying(k, say) else [say("kilograms.none_clear")]
    if k.seasons and abs(k.rest_kg) >= LEAST_KG:
        key = "kilograms.rest_more" if k.rest_kg > 0 else "kilograms.rest_less"
        lines.append(say(key, kg=say.weight(abs(k.rest_kg))))
    if k.seasons < 2:
        lines.append(say("kilograms.few_seasons"))
    if k.alike:
        one, two, size = k.alike[0]
        key = "kilograms.went_together" if size > 0 else "kilograms.went_apart"
        names = {"one": say(f"drivers.{one}"), "two": say(f"drivers.{two}")}
        lines.append(say(key, **names, size=say.number(abs(size), 1)))
    return lines


def data(k: Kilograms | None) -> dict | None:
    """For the JSON: plain numbers, unknown is None."""
    if k is None:
        return None
    return {
        "parts": {driver: _part(row) for driver, row in k.parts.iterrows()},
        "flight_in_all": _part(k.flight),
        "more_kg": _number(k.more_kg),
        "rest_kg": _number(k.rest_kg) if k.seasons else None,
        "went_together": [[a, b, _number(size)] for a, b, size in k.alike],
        "years": k.years,
        "seasons": k.seasons,
    }


def _part(row: pd.Series) -> dict:
    numbers = {q: _number(row[q]) for q in ("kg", "q10", "q90")}
    return numbers | {end: _date(row[end]) for end in ("first", "last")}


def _number(value: float) -> float | None:
    return None if pd.isna(value) else round(float(value), 4)


def _date(value) -> str | None:
    return None if pd.isna(value) else f"{value:%Y-%m-%d}"
