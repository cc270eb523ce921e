"""What each driver cost or brought, in words and as a table."""

from __future__ import annotations

import pandas as pd

from flowcast.reasons import Kilograms
from flowcast.reasons.kilograms import FLIGHT, IN_ALL
from flowcast.report import words
from flowcast.results import YardSeason

COSTS = {
    IN_ALL: "weather that kept the bees at home ({most})",
    "cold": "cold in hours of flight",
    "heat": "heat",
    "rain": "rain in hours of flight",
    "wind": "wind",
    "light": "poor light and damp air",
    "timing": "the timing of the season and its warmth on the flowers",
}
SHORT = {
    "cold": ("cold", "little cold"),
    "heat": ("heat", "little heat"),
    "rain": ("rain", "little rain"),
    "wind": ("wind", "little wind"),
    "light": ("poor light", "good light"),
}
WATER = {  # cost or gift, and whether there was more or less of it than usual
    (-1, -1): "too little water for the flowers",
    (-1, 1): "too much water for the flowers",
    (1, 1): "good water for the flowers",
    (1, -1): "a dry time, good for the flowers,",
}
WATER_BOTH_WAYS = "the way water came to the flowers"
GIFTS = COSTS | {
    IN_ALL: "good flying weather ({most})",
    "cold": "little cold in hours of flight",
    "heat": "little heat",
    "rain": "little rain in hours of flight",
    "wind": "little wind",
    "light": "good light",
}
LEAST_KG = 1.0  # a part of less is not worth a sentence
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
    "had the right sign (water for the flowers 8 to 9 of 10), 8 of 10 intervals held the true figure, the "
    "largest loss came first in 6 to 7 of 10 seasons, and of the few parts that were clear of 0, 3 of 4 "
    "had the right sign."
)


def clauses(found: YardSeason) -> list[tuple[int, str]]:
    """What is clear of 0, on the side the season fell to first: -1 cost or 1 gift, and a clause."""
    if found.kilograms is None:
        return []
    units, k = found.record.yard.settings.yard.units, found.kilograms
    told = _worth_saying(k, units)
    if not any(driver in FLIGHT for driver in told) and _clear(k.flight, units):
        told[IN_ALL] = k.flight
    side = -1 if found.season.gain_side <= 0 else 1
    ordered = sorted(told.items(), key=lambda d: (d[1]["kg"] * side < 0, -abs(d[1]["kg"])))
    return [(-1 if row["kg"] < 0 else 1, _clause(driver, row, k, units)) for driver, row in ordered]


def perhaps(found: YardSeason) -> str:
    """The driver that may have cost half of what the season lacks and more, by its interval."""
    k = found.kilograms
    if k is None or not k.more_kg < 0:
        return ""
    able = k.parts[k.parts["q10"] <= 0.5 * k.more_kg]["kg"]
    return ROWS[able.idxmin()] if len(able) and able.min() < 0 else ""


def _worth_saying(k: Kilograms, units: str) -> dict[str, pd.Series]:
    """The drivers whose parts are clear of 0, and their rows."""
    return {driver: row for driver, row in k.parts.iterrows() if _clear(row, units)}


def _clear(row: pd.Series, units: str) -> bool:
    """Whether a part is a kilogram or more and its interval leaves out 0, as it is printed too."""
    near = row["q10"] if row["kg"] > 0 else -row["q90"]
    shown = words.weight(near, units).split(" ")[0] != "0"
    return abs(row["kg"]) >= LEAST_KG and near > 0 and shown


def _clause(driver: str, row: pd.Series, k: Kilograms, units: str) -> str:
    verb = "cost" if row["kg"] < 0 else "brought"
    low, high = sorted((abs(row["q10"]), abs(row["q90"])))
    kg = f"about {words.weight(abs(row['kg']), units)} a hive ({_span(low, high, units)})"
    return f"{name_of(driver, row['kg'], k)} {verb} {kg}{_when(row)}"


def name_of(driver: str, kg: float, k: Kilograms) -> str:
    """The driver as a cost or a gift; water by whether there was more or less of it than usual."""
    side = -1 if kg < 0 else 1
    if driver == "soil":
        return WATER.get((side, k.water), WATER_BOTH_WAYS)
    return (COSTS if side < 0 else GIFTS)[driver].format(most=_most_of(k, side))


def _most_of(k: Kilograms, side: int) -> str:
    """The driver behind more than half of what flight cost or brought; all of them where none is."""
    each = k.parts.loc[list(FLIGHT), "kg"] * side
    if each.max() > 0.5 * each.clip(lower=0).sum():
        return f"mostly {SHORT[each.idxmax()][side > 0]}"
    return "cold, heat, rain, wind, light"


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
    units, lines = found.record.yard.settings.yard.units, []
    if not _worth_saying(k, units):
        lines.append("No single driver's part is clear of 0.")
    if k.seasons and abs(k.rest_kg) >= LEAST_KG:
        lines.append(
            f"Not explained: {words.weight(abs(k.rest_kg), units)} "
            f"{'more' if k.rest_kg > 0 else 'less'} than these parts come to; good and bad years of "
            "plants, the colonies, what the scale cannot tell, and how far the log's other seasons "
            "were from the usual themselves."
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
