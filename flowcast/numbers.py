"""Every number that flowcast did not compute, read from numbers.toml.

A number has a value, the range within which a yard may set it, a unit, a status
(published | common practice | our choice) and a source with the mark of how it was seen:
READ (in the source's own text), READ2 (in another text that reports it), MEMORY (from memory,
not seen), ASSUMPTION (ours).
"""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib.resources import files

from flowcast.errors import InputError

STATUSES = ("published", "common practice", "our choice")


@dataclass(frozen=True, slots=True)
class Number:
    """One number with where it comes from; `changed` is true when the yard overrides it."""

    key: str
    value: float
    low: float
    high: float
    unit: str
    status: str
    source: str
    changed: bool = False


class Numbers(Mapping):
    """The numbers in force at a yard: `numbers["foraging.wind_stops_ms"]` is the value."""

    def __init__(self, entries: Mapping[str, Number]):
        self._entries = dict(entries)

    def __getitem__(self, key: str) -> float:
        return self._entries[key].value

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def entry(self, key: str) -> Number:
        """The number with its unit, range and source."""
        return self._entries[key]

    def under(self, *groups: str) -> list[Number]:
        """All numbers of these groups ("foraging", "flow"), in the order of the file."""
        return [n for n in self._entries.values() if n.key.split(".")[0] in groups]

    def with_overrides(self, overrides: Mapping[str, float], where: str = "[numbers]") -> "Numbers":
        """The same numbers with the yard's own values.

        Raises
        ------
        InputError
            When a key is unknown or a value lies outside the number's range.
        """
        entries = dict(self._entries)
        for key, value in overrides.items():
            entries[key] = replace(_checked(entries, key, value, where), value=value, changed=True)
        return Numbers(entries)


def load_numbers(overrides: Mapping[str, float] | None = None) -> Numbers:
    """The numbers of this version, with a yard's overrides ("group.name" -> value)."""
    raw = tomllib.loads(files("flowcast").joinpath("numbers.toml").read_text("utf-8"))
    entries = {
        f"{group}.{name}": Number(f"{group}.{name}", **fields)
        for group, names in raw.items()
        for name, fields in names.items()
    }
    return Numbers(entries).with_overrides(overrides or {})


def _checked(entries: Mapping[str, Number], key: str, value: float, where: str) -> Number:
    if key not in entries:
        raise InputError(f"{where}: there is no number called {key!r}. {_nearest(entries, key)}")
    number = entries[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{where}: {key} = {value!r} is not a number. Give it in {number.unit}.")
    if not number.low <= value <= number.high:
        raise InputError(
            f"{where}: {key} = {value:g} {number.unit} lies outside {number.low:g} to "
            f"{number.high:g}. Take a value in that range, or leave the line out for {number.value:g}."
        )
    return number


def _nearest(entries: Mapping[str, Number], key: str) -> str:
    from difflib import get_close_matches

    close = get_close_matches(key, entries, n=1)
    return f"Did you mean {close[0]!r}?" if close else "The report lists all of them."
