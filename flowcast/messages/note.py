"""What a part has to tell that knows neither the yard's language nor its units: a key and values."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Amount:
    """A figure with its unit, told later in the yard's own.

    unit: "kg", "mm", "km", "m", "°C", "K" for a difference of temperatures, "" for a plain figure.
    digits: decimals; sign: "+" where a plus is to be seen too.
    """

    value: float
    unit: str = ""
    digits: int = 0
    sign: str = ""


@dataclass(frozen=True)
class Note:
    """A text of the messages by its key, with what fills its fields.

    fields: (name, value) pairs; a value is a text, a whole number, a date, an `Amount`, another note or
    a tuple of such. As a string a note reads in English and metric units.
    """

    key: str
    fields: tuple[tuple[str, object], ...] = ()

    @classmethod
    def of(cls, key: str, /, **fields) -> Note:
        """Note.of("steps.stated", kg=Amount(4.3, "kg", 1))"""
        return cls(key, tuple(fields.items()))

    @property
    def keys(self) -> set[str]:
        """Its own key and those of the notes within it."""
        inner = (value for _, value in self.fields if isinstance(value, Note))
        return {self.key}.union(*(note.keys for note in inner))

    def __str__(self) -> str:
        from flowcast.messages.say import Say

        return Say().note(self)
