"""Translations made by machine: every Latin letter of every text becomes another one, fields apart.

Greek letters: what still stands in Latin ones on a page spoken so never went through the file of
messages. Greek words made longer: a page has room for languages that need more of it than English.
Hebrew letters: a page is read from right to left.
"""

import json
import math
import re
import string
from collections.abc import Callable
from pathlib import Path

from flowcast.messages import english

LATIN = "abcdefghijklmnopqrstuvwxyz"
GREEK = "αβψδεφγηιξκλμνοπϙρστθωϝχυζ"
HEBREW = "אבגדהוזחטיכלמנסעפצקרשתךםןף"
TO_GREEK = str.maketrans(LATIN + LATIN.upper(), GREEK + GREEK.upper())
TO_HEBREW = str.maketrans(LATIN + LATIN.upper(), HEBREW * 2)
WORD = re.compile(r"[A-Za-z]{2,}")
MORE = 0.4  # by which longer words are longer: a fair share of what translations from English need


def in_greek(text: str) -> str:
    """The text in Greek letters, its fields as they were."""
    return _turned(text, lambda said: said.translate(TO_GREEK))


def in_long_greek(text: str) -> str:
    """The same, and every word longer."""
    return _turned(text, lambda said: WORD.sub(_longer, said).translate(TO_GREEK))


def in_hebrew(text: str) -> str:
    """The text in Hebrew letters."""
    return _turned(text, lambda said: said.translate(TO_HEBREW))


def _longer(word: re.Match) -> str:
    return word[0] + word[0].lower()[: math.ceil(MORE * len(word[0]))]


def _turned(text: str, turn: Callable[[str], str]) -> str:
    parts = string.Formatter().parse(text)
    return "".join(
        turn(said) + (f"{{{field}}}" if field is not None else "") for said, field, _, _ in parts
    )


def write_pseudo(
    folder: Path,
    language: str = "xx",
    *,
    turn: Callable[[str], str] = in_greek,
    direction: str = "ltr",
    leave_out: tuple[str, ...] = (),
) -> Path:
    """words-xx.toml beside a yard, in the form in which a translator hands it back."""
    path = folder / f"words-{language}.toml"
    lines = ['plural = "n != 1"', f'direction = "{direction}"']
    for key, forms in english().entries.items():
        if key not in leave_out:
            name = ".".join(json.dumps(part) for part in key.split("."))
            told = [turn(form) for form in forms]
            value = json.dumps(told if len(told) > 1 else told[0], ensure_ascii=False)
            lines.append(f"{name} = {value}")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path
