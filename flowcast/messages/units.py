"""The yard's own units: the one place in which kilograms and degrees Celsius become others.

Everything is reckoned, and kept in JSON, in metric units. A yard whose yard.toml says `units = "lb"`
reads pounds, degrees Fahrenheit, inches, feet and miles. Figures known as numbers are converted
from the number (`Say.weight`, `Say.temp`, `Say.rain`); finished sentences of parts that know no yard
are converted as they are said (`told`).
"""

from __future__ import annotations

import re

# Each is exact by definition (international pound, inch, foot and mile; from memory).
POUNDS_PER_KG = 1 / 0.45359237
INCHES_PER_MM = 1 / 25.4
FEET_PER_M = 1 / 0.3048
MILES_PER_KM = 1 / 1.609344
F_PER_C, F_AT_ZERO_C = 1.8, 32.0


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
