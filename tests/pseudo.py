"""A translation made by machine: every Latin letter of every text becomes a Greek one, fields apart.

What still stands in Latin letters on a page spoken so never went through the file of messages.
"""

import json
import re
import string
from pathlib import Path

from flowcast.messages import english

LATIN = "abcdefghijklmnopqrstuvwxyz"
GREEK = "αβψδεφγηιξκλμνοπϙρστθωϝχυζ"
TO_GREEK = str.maketrans(LATIN + LATIN.upper(), GREEK + GREEK.upper())
WORD = re.compile(r"[A-Za-z]{2,}")


def in_greek(text: str) -> str:
    """The text in Greek letters, its fields as they were."""
    parts = string.Formatter().parse(text)
    return "".join(
        said.translate(TO_GREEK) + (f"{{{field}}}" if field is not None else "")
        for said, field, _, _ in parts
    )


def write_pseudo(folder: Path, language: str = "xx", *, leave_out: tuple[str, ...] = ()) -> Path:
    """words-xx.toml beside a yard, in the form in which a translator hands it back."""
    path = folder / f"words-{language}.toml"
    lines = ['plural = "n != 1"']
    for key, forms in english().entries.items():
        if key not in leave_out:
            name = ".".join(json.dumps(part) for part in key.split("."))
            told = [in_greek(form) for form in forms]
            value = json.dumps(told if len(told) > 1 else told[0], ensure_ascii=False)
            lines.append(f"{name} = {value}")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path
