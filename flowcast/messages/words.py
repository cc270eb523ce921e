"""A language: its texts by key, read from one TOML file and held against the English ones.

A text that is counted is a list of forms. Which one a number takes is told by `plural`, the rule of
the language as gettext writes it ("n != 1"), read by the gettext of the standard library.
"""

from __future__ import annotations

import gettext
import re
import string
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from flowcast.errors import InputError

HERE = Path(__file__).parent
RULE, DIRECTION = "plural", "direction"  # the keys that are no texts
DIRECTIONS = ("ltr", "rtl")  # from left to right, from right to left
# Of these a translator may make up a date as the language does.
DATE_PARTS = {"day", "dd", "mm", "month", "mon", "year", "weekday", "wd"}


@dataclass(frozen=True)
class Words:
    """A language's texts.

    entries: key -> its forms, one where nothing is counted. rules: key -> the plural rule that picks
    among them. missing: keys for which the English text stands in. direction: one of `DIRECTIONS`.
    """

    language: str
    entries: dict[str, tuple[str, ...]]
    rules: dict[str, str]
    missing: tuple[str, ...] = ()
    direction: str = DIRECTIONS[0]

    def form(self, key: str, n: int | None = None) -> str:
        """The text of a key, in the form that goes with n."""
        forms = self.entries[key]
        return forms[0] if len(forms) == 1 else forms[_rule(self.rules[key])(abs(int(n)))]


@cache
def _rule(text: str):
    return gettext.c2py(text)


@cache
def english() -> Words:
    """The texts that come with flowcast, against which every translation is held."""
    rule, direction, entries = _parse((HERE / "en.toml").read_text("utf-8"))
    return Words("en", entries, dict.fromkeys(entries, rule), direction=direction)


def read_words(path: Path, language: str) -> Words:
    """A language's texts from a translator's file.

    Raises
    ------
    InputError
        When it cannot be read, is no TOML, or an entry does not match the English one; the sentence
        names file, key and cure.
    """
    try:
        rule, direction, own = _parse(path.read_bytes().decode("utf-8-sig"))
        reached = _reach(rule)
    except (
        OSError,
        tomllib.TOMLDecodeError,
        UnicodeDecodeError,
        ValueError,
        ArithmeticError,
    ) as error:
        raise InputError(
            f"{path.name}: {error}. Mend it; en.toml shows how it is written."
        ) from None
    theirs = english()
    for key, forms in own.items():
        wrong = _mismatch(key, forms, theirs.entries.get(key), reached)
        if wrong:
            raise InputError(f"{path.name}, {key}: {wrong}")
    rules = theirs.rules | dict.fromkeys(own, rule)
    missing = tuple(key for key in theirs.entries if key not in own)
    return Words(language, theirs.entries | own, rules, missing, direction)


def _mismatch(key: str, forms: tuple, original: tuple | None, reached: int) -> str:
    """What is wrong with an entry, and the cure; empty where nothing is."""
    if original is None:
        return "no such text in English. Take the line out, or mend the key."
    wanted = 1 if len(original) == 1 else reached
    if len(forms) != wanted:
        return f"has {len(forms)} forms where {wanted} are wanted by {RULE}. Write as many."
    asked = fields_of(original)
    may = asked | DATE_PARTS if key.count(".") == 2 and key.startswith("dates.") else asked
    try:
        full, every = fields_of(forms[-1:]), fields_of(forms)
    except ValueError:
        return "a brace is not closed. Write every field as in English."
    if not (every <= may and asked <= full | (may & DATE_PARTS)):
        named = ", ".join(f"{{{name}}}" for name in sorted(asked)) or "none"
        return f"its fields are not those of the English text ({named}). Write just these."
    return ""


def fields_of(forms: tuple[str, ...]) -> set[str]:
    """What stands in braces in any of these texts; a name alone, where it is one of ours."""
    return {
        f"{name}{f':{spec}' if spec else ''}{f'!{turned}' if turned else ''}"
        for text in forms
        for _, name, spec, turned in string.Formatter().parse(text)
        if name is not None
    }


def _parse(text: str) -> tuple[str, str, dict[str, tuple[str, ...]]]:
    """The plural rule, the direction of the letters, and the texts."""
    tree = tomllib.loads(text)
    rule, direction = str(tree.pop(RULE, "n != 1")), str(tree.pop(DIRECTION, DIRECTIONS[0]))
    if direction not in DIRECTIONS:
        raise ValueError(f"{DIRECTION} = {direction!r} is neither of {', '.join(DIRECTIONS)}")
    return rule, direction, dict(_flat(tree))


def _flat(tree: dict, prefix: str = ""):
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            forms = value if isinstance(value, list) else [value]
            yield f"{prefix}{key}", tuple(str(form) for form in forms)


def _reach(rule: str) -> int:
    """How many forms the language has."""
    if not re.fullmatch(r"[n0-9\s()<>=!&|?:%+*/-]+", rule):
        raise ValueError(f"{RULE} = {rule!r} is not understood")
    return 1 + max(_rule(rule)(n) for n in range(1000))
