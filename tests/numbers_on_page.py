"""Which numbers of a page are not in the JSON of the same run.

The rule: a number may be shown with fewer digits than JSON gives it, a share as a percentage, of a
hundred or in tens, a weight in pounds. What stands in a sentence or cell of JSON may stand on the
page as it does there. A date's day, month and year belong together. Texts that never change
(captions, headings, the glossary, cautions with common practice in them) hold no findings; they are
named in FIXED.
"""

import json
import re

MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]
POUNDS = 1 / 0.45359237  # exact by definition (from memory)
NUMBER = re.compile(r"(?<![\w.])[+−-]?\d[\d,]*(?:\.\d+)?(?!\w)")
# Ways of speaking, not findings: how intervals and chances are said, axis ends, hours of the clock.
FIXED = re.compile(
    r"8 times in 10|8 in 10|8 (?:years|days|such \w+) (?:in|of) 10|1 (?:in 10|year in 10) (?:below|above)"
    r"|less than 1 in 20|more than 19 in 20|of 100\b|of 10\b|in the next 7 days|\d\d:\d\d"
)


def missing(text: str, data: dict) -> list[str]:
    """Numbers in a page's text that its JSON does not give, each with a few words around it."""
    strings, numbers = _leaves(data)
    said = " ".join(strings)
    dates = set(re.findall(r"\d{4}-\d\d-\d\d", json.dumps(data)))
    days = {(int(d[8:]), MONTHS[int(d[5:7]) - 1]) for d in dates}
    days |= {(int(day), month) for day, month in _days(said)}
    years = {d[:4] for d in dates} | set(re.findall(r"\b(?:19|20)\d\d\b", said))
    known = {n.replace(",", "") for n in NUMBER.findall(said)}
    rest = FIXED.sub(lambda m: " " * len(m[0]), text)
    lost = [f"{d} {m}" for d, m in _days(rest) if (int(d), m) not in days]
    rest = _spans(rest, days, lost)
    for found in NUMBER.finditer(rest):
        token = found[0].replace(",", "")
        after = rest[found.end() : found.end() + 8]
        if token in known or token.lstrip("+−-") in known or token in years:
            continue
        if not _rounds(token, after, numbers):
            lost.append(text[max(0, found.start() - 25) : found.end() + 15])
    return lost


def _days(text: str) -> list[tuple[str, str]]:
    return re.findall(rf"(\d{{1,2}}) ({'|'.join(MONTHS)})\b", text)


def _spans(text: str, days: set, lost: list[str]) -> str:
    """The text without its dates; the first day of "3 to 9 February" is looked up here."""
    months = "|".join(MONTHS)
    for first, month in re.findall(rf"\b(\d{{1,2}}) to \d{{1,2}} ({months})\b", text):
        if (int(first), month) not in days:
            lost.append(f"{first} to ... {month}")
    return re.sub(rf"\b(?:\d{{1,2}} to )?\d{{1,2}} (?:{months})\b", " ", text)


def _rounds(token: str, after: str, numbers: list[tuple[str, float]]) -> bool:
    """Whether some number of JSON rounds to this one, in the unit that follows it."""
    value = float(token.replace("−", "-").lstrip("+"))
    step = 10.0 ** -len(token.partition(".")[2])
    in_tens = re.match(r" in 10\b", after)
    scales = (100.0, 1.0) if after.startswith(" %") else (1.0, 100.0)
    for key, number in numbers:
        if in_tens and 0 <= number <= 1:
            scaled = (10 * number,)
        elif "kg" in key:
            scaled = (number, POUNDS * number)
        else:
            scaled = tuple(scale * number for scale in scales)
        if any(abs(abs(s) - abs(value)) <= 0.5001 * step for s in scaled):
            return True
    return False


def _leaves(data, key: str = "") -> tuple[list[str], list[tuple[str, float]]]:
    """All strings, and all numbers with the path that leads to them."""
    if isinstance(data, str):
        return [data], []
    if isinstance(data, bool) or data is None:
        return [], []
    if isinstance(data, int | float):
        return [], [(key, float(data))]
    parts = data.items() if isinstance(data, dict) else ((key, value) for value in data)
    strings, numbers = [], []
    for name, value in parts:
        path = f"{key}.{name}" if isinstance(data, dict) else key
        more = _leaves(value, _with_unit(path))
        strings += more[0]
        numbers += more[1]
    return strings, numbers


def _with_unit(path: str) -> str:
    """Quantiles of gains carry no unit in their name."""
    return f"{path}_kg" if re.match(r"\.(daily|total|weekly)\.q\d\d$", path) else path
