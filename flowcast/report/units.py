"""The yard's own units: the one place in which kilograms and degrees Celsius become others.

Everything is reckoned, and kept in JSON, in metric units. A yard whose yard.toml says `units = "lb"`
reads pounds, degrees Fahrenheit, inches, feet and miles. Figures known as numbers are converted
from the number (`weight`, `temp`, `rain`); finished sentences of parts that know no yard are
converted as they are said (`told`).
"""

from __future__ import annotations

import re

from flowcast.yard import Yard

# Each is exact by definition (international pound, inch, foot and mile; from memory).
POUNDS_PER_KG = 1 / 0.45359237
INCHES_PER_MM = 1 / 25.4
FEET_PER_M = 1 / 0.3048
MILES_PER_KM = 1 / 1.609344
F_PER_C, F_AT_ZERO_C = 1.8, 32.0


def of(yard: Yard) -> str:
    """The yard's units: "kg" for metric ones, "lb" for customary ones."""
    return yard.settings.yard.units


def scale_of(units: str) -> float:
    """How many of the yard's unit of weight make a kilogram."""
    return POUNDS_PER_KG if units == "lb" else 1.0


def weight(kg: float, units: str = "kg") -> str:
    """A weight in the yard's unit with one decimal below 10, none above."""
    value = kg * scale_of(units)
    text = f"{value:.1f}" if abs(value) < 9.95 else f"{value:.0f}"
    return f"{'0' if float(text) == 0 else _minus(text)} {units}"


def weight_range(low: float, high: float, units: str = "kg") -> str:
    """−0.3 to 3.8 kg"""
    return f"{weight(low, units).split()[0]} to {weight(high, units)}"


def length_of(units: str) -> tuple[float, str]:
    """How many of the yard's unit of distance make a kilometre, and its name."""
    return (MILES_PER_KM, "mi") if units == "lb" else (1.0, "km")


def temp(celsius: float, units: str = "kg") -> str:
    """A temperature in whole degrees: 14 °C; 57 °F"""
    if units == "lb":
        return f"{_minus(f'{F_PER_C * celsius + F_AT_ZERO_C:.0f}')} °F"
    return f"{_minus(f'{celsius:.0f}')} °C"


def temp_range(low: float, high: float, units: str = "kg") -> str:
    """14 to 38 °C"""
    return f"{temp(low, units).split()[0]} to {temp(high, units)}"


def rain(mm: float, units: str = "kg") -> str:
    """An amount of rain: 523 mm; 20.6 in"""
    return f"{mm * INCHES_PER_MM:.1f} in" if units == "lb" else f"{mm:.0f} mm"


_NUMBER = r"[+−-]?\d[\d,]*(?:\.\d+)?"
_FIGURE = re.compile(
    rf"(?<![\w.,])(?P<one>{_NUMBER})(?:(?P<word> to | and | ± )(?P<two>{_NUMBER}))?"
    r" (?P<unit>kg|°C|mm|km|m)(?![\w/])(?P<than> warmer| colder)?"
)
_LINEAR = {
    "kg": (POUNDS_PER_KG, "lb"),
    "mm": (INCHES_PER_MM, "in"),
    "km": (MILES_PER_KM, "mi"),
    "m": (FEET_PER_M, "ft"),
}


def told(sentence: str, units: str) -> str:
    """A finished sentence with its metric figures in the yard's units.

    Figures keep the decimals they were said with, and one more in inches. A temperature with a
    plus before it, and one that is warmer or colder than another, is a difference: it is
    stretched, not moved by 32 degrees.
    """
    return _FIGURE.sub(_customary, sentence) if units == "lb" else sentence


def _customary(found: re.Match) -> str:
    unit, than = found["unit"], found["than"] or ""
    if unit == "°C":
        differs = bool(than) or found["one"][0] == "+" or found["word"] == " ± "
        factor, start, name = F_PER_C, 0.0 if differs else F_AT_ZERO_C, "°F"
    else:
        (factor, name), start = _LINEAR[unit], 0.0
    more = 1 if name == "in" else 0
    one = _figure(found["one"], factor, start, more)
    two = _figure(found["two"], factor, start, more) if found["two"] else ""
    return f"{one}{found['word'] or ''}{two} {name}{than}"


def _figure(text: str, factor: float, start: float, more: int) -> str:
    digits = len(text.partition(".")[2]) + more
    value = float(text.replace(",", "").replace("−", "-")) * factor + start
    sign = "+" if text[0] == "+" else ""
    return _minus(f"{value:{sign},.{digits}f}")


def _minus(text: str) -> str:
    return text.replace("-", "−")
