"""What each driver cost or brought, in words and as a table."""

from __future__ import annotations

import math

import pandas as pd

from flowcast.reasons import Kilograms, Season
from flowcast.reasons.kilograms import FLIGHT, IN_ALL
from flowcast.report import words
from flowcast.results import YardSeason

COSTS = {
    IN_ALL: "weather that kept the bees at home (cold, rain, wind, poor light)",
    "cold": "cold in hours of flight",
    "heat": "heat",
    "rain": "rain in hours of flight",
    "wind": "wind",
    "light": "poor light and damp air",
    "timing": "the timing of the season and its warmth on the flowers",
}
GIFTS = COSTS | {
    IN_ALL: "good flying weather",
    "cold": "little cold in hours of flight",
    "heat": "little heat",
    "rain": "little rain in hours of flight",
    "wind": "little wind",
    "light": "good light",
}
ROWS = {
    IN_ALL: "all flying weather in one",
    "cold": "cold",
    "heat": "heat",
    "rain": "rain in hours of flight",
    "wind": "wind",
    "light": "poor light and damp air",
    "soil": "water for the flowers",
    "timing": "timing, and warmth on the flowers",
}
LIMIT = (
    "The kilograms are what the model, taught by this log, makes of the weather of other years: they go "
    "together with the drivers and do not prove them. On simulated yards 3 of 4 parts of 2 kg and more "
    "had the right sign (water for the flowers 9 of 10), 8 of 10 intervals held the true figure, and the "
    "largest loss came first in 7 of 10 seasons."
)


def clauses(found: YardSeason) -> list[str]:
    """What is clear of 0, on the side the season fell to first: each a clause."""
    if found.kilograms is None:
        return []
    told = found.kilograms.told
    told = told[told["kg"].abs() >= 1.0]
    whole = found.kilograms.flight
    if not any(driver in FLIGHT for driver in told.index) and _clear(whole):
        told.loc[IN_ALL] = whole
        told = told.reindex(told["kg"].abs().sort_values(ascending=False).index)
    side = -1 if found.season.gain_side <= 0 else 1
    ordered = pd.concat([told[told["kg"] * side > 0], told[told["kg"] * side < 0]])
    return [_clause(driver, row, found) for driver, row in ordered.iterrows()]


def _clause(driver: str, row: pd.Series, found: YardSeason) -> str:
    units = found.record.yard.settings.yard.units
    verb = "cost" if row["kg"] < 0 else "brought"
    low, high = sorted((abs(row["q10"]), abs(row["q90"])))
    kg = f"about {words.weight(abs(row['kg']), units)} a hive ({_span(low, high, units)})"
    return f"{name_of(driver, row['kg'], found.season)} {verb} {kg}{_when(row)}"


def _clear(row: pd.Series) -> bool:
    return (row["q10"] > 0 or row["q90"] < 0) and abs(row["kg"]) >= 1.0


def name_of(driver: str, kg: float, season: Season) -> str:
    """The driver as a cost or a gift; water by whether there was more or less of it than usual."""
    if driver != "soil":
        return (COSTS if kg < 0 else GIFTS)[driver]
    soil = season.plants.bloom_soil_frac
    more = soil.more if math.isfinite(soil.more) else season.plants.rain_mm.more
    if kg < 0:
        return "too little water for the flowers" if more < 0 else "too much rain on the flowers"
    return "good water for the flowers" if more > 0 else "a dry time, good for the flowers,"


def _span(low: float, high: float, units: str) -> str:
    return f"{words.weight(low, units).split(' ')[0]} to {words.weight(high, units).split(' ')[0]}"


def _when(row: pd.Series) -> str:
    if pd.isna(row["first"]):
        return ""
    if row["first"] == row["last"]:
        return f", mostly on {words.day(row['first'])}"
    return f", mostly between {words.day(row['first'])} and {words.day(row['last'])}"


def rows(found: YardSeason) -> list[tuple[str, ...]]:
    """Parts and the rest as cells, the head first; empty where there are none."""
    k = found.kilograms
    if k is None:
        return []
    units = found.record.yard.settings.yard.units
    table = [("against the usual, a hive", "about", "8 in 10 between")]
    table += [_row(ROWS[driver], row, units) for driver, row in k.parts.iterrows()]
    table.append(_row(ROWS[IN_ALL], k.flight, units))
    if k.seasons:
        table.append(("not explained by these", _signed(k.rest_kg, units), ""))
        table.append(("gain less that of the log's other seasons", _signed(k.more_kg, units), ""))
    return table


def _row(name: str, row: pd.Series, units: str) -> tuple[str, str, str]:
    between = f"{_signed(row['q10'], units)} and {_signed(row['q90'], units)}"
    return name, _signed(row["kg"], units), between


def _signed(kg: float, units: str) -> str:
    text = words.weight(abs(kg), units)
    if text.split(" ")[0].strip("0.") == "":
        return text
    return f"{'+' if kg > 0 else '−'}{text}"


def sentences(found: YardSeason) -> list[str]:
    """What the parts leave open: the rest, drivers that went together, too little log."""
    k = found.kilograms
    if k is None:
        return []
    lines = []
    if not k.told["kg"].abs().ge(1.0).any():
        lines.append("No driver's part in kilograms is clear of 0.")
    units = found.record.yard.settings.yard.units
    if k.seasons and abs(k.rest_kg) >= 1.0:
        lines.append(
            f"{words.weight(abs(k.rest_kg), units)} {'more' if k.rest_kg > 0 else 'less'} than these "
            "parts explain is left: good and bad years of plants, the colonies, and what the scale "
            "cannot tell."
        )
    if k.seasons < 2:
        lines.append(
            "With so few seasons of log to lay it beside, the kilograms rest mostly on what is known "
            "of other places."
        )
    if k.alike:
        one, two, size = k.alike[0]
        way = "together" if size > 0 else "against each other"
        lines.append(
            f"Week by week {ROWS[one]} and {ROWS[two]} went {way} ({abs(size):.1f} of 1), so "
            "their parts are hard to tell apart."
        )
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
