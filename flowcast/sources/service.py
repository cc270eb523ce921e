"""What a weather service is to us, and what it gives: blocks of hours with their origin."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from flowcast.errors import SourceFormatError
from flowcast.messages import Note
from flowcast.tables import WEATHER

# What a parser may stumble over in an answer of a shape it was not made for.
STUMBLES = (LookupError, AttributeError, TypeError, ValueError, ArithmeticError, RecursionError)


@dataclass(frozen=True)
class Service:
    """One weather service.

    name is what yard.toml calls it; url its base, which [weather.urls] or an environment variable
    may replace. free_url: it costs nothing but is for non-commercial use, so key_url takes over
    where there is a key. limits: whose allowance its calls count against ("" for none).
    """

    name: str
    url: str
    licence: str
    attribution: str
    link: str = ""
    key_url: str = ""
    limits: str = ""
    needs_contact: bool = False
    commercial: bool = True

    @property
    def variable(self) -> str:
        """The environment variable that replaces its base URL."""
        return "FLOWCAST_URL_" + self.name.upper().replace(" ", "_").replace("-", "_")

    def base(self, urls: dict[str, str], key: str | None) -> str:
        """Its base URL for this caller, without a slash at the end."""
        told = {name.lower(): url for name, url in urls.items()}.get(self.name.lower())
        told = told or os.environ.get(self.variable)
        return (told or (self.key_url if key and self.key_url else self.url)).rstrip("/")


@dataclass(frozen=True)
class Site:
    """The point that weather is asked for: rounded, so that neighbours share kept answers.

    elevation_m is None where the keeper did not say; a service then takes its own terrain's.
    """

    latitude: float
    longitude: float
    elevation_m: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "latitude", round(self.latitude, 3))
        object.__setattr__(self, "longitude", round(self.longitude, 3))


@dataclass(frozen=True)
class Answer:
    """Bytes of an answer, when it came and whether it is older than it should be."""

    content: bytes
    url: str
    retrieved_at: pd.Timestamp
    age_s: float
    stale: bool = False
    headers: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Origin:
    """Where a block of weather is from: all that --json and the page print of it.

    cell: latitude, longitude and height of what the figures stand for (grid cell or station).
    columns: what each of our columns was made from. stations: id, name, distance and height
    difference. corrections: what was done to its values.
    """

    service: str = ""
    model: str = ""
    url: str = ""
    licence: str = ""
    attribution: str = ""
    link: str = ""
    retrieved_at: pd.Timestamp | None = None
    age_s: float = 0.0
    stale: bool = False
    issued: str | None = None
    cell: tuple[float, float, float | None] | None = None
    members: int = 1
    columns: dict[str, str] = field(default_factory=dict)
    stations: tuple[dict, ...] = ()
    corrections: tuple[Note, ...] = ()
    notes: tuple[Note | str, ...] = ()

    def signed(self, service: Service, model: str, answer: Answer) -> Origin:
        """The same with the service that gave it and the answer it came in."""
        return replace(
            self,
            service=service.name,
            model=model,
            url=answer.url,
            licence=service.licence,
            attribution=service.attribution,
            link=service.link,
            retrieved_at=answer.retrieved_at,
            age_s=answer.age_s,
            stale=answer.stale,
        )

    def corrected(self, *notes: Note) -> Origin:
        """The same with more corrections named."""
        return replace(self, corrections=(*self.corrections, *notes))


@dataclass(frozen=True)
class Block:
    """Hours from one source: columns of `tables.WEATHER`, UTC stamps at the END of each hour.

    daily: days instead, columns of `tables.DAILY_WEATHER` on local dates; only the yard's own file
    may come so.
    """

    table: pd.DataFrame
    origin: Origin
    daily: bool = False

    @property
    def climate(self) -> str:
        """What must be alike for two blocks to need no correction between them."""
        return f"{self.origin.service}, {self.origin.model}"


@dataclass(frozen=True)
class Ahead:
    """Hours that have not come yet: one table a member, in one shape, and where they are from."""

    members: tuple[pd.DataFrame, ...]
    origin: Origin

    @property
    def is_point(self) -> bool:
        """One run alone, which says nothing of its own uncertainty."""
        return len(self.members) == 1


def read_json(content: bytes, who: str) -> dict | list:
    """The JSON of an answer.

    Raises
    ------
    SourceFormatError
        When it is cut short, is another kind of page, or an error sent as an answer.
    """
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        start = content[:60].decode("utf-8", "replace").strip()
        raise SourceFormatError(
            f"{who} answered with something that is no JSON (begins {start!r}). Try again later."
        ) from None


@contextmanager
def known_shape(who: str) -> Iterator[None]:
    """Whatever is looked for in an answer and is not there, or is of another kind, in one line.

    Raises
    ------
    SourceFormatError
    """
    try:
        yield
    except STUMBLES:
        raise SourceFormatError(f"{who}: its answer has an unknown shape.") from None


def cell_of(latitude, longitude, height=None) -> tuple[float, float, float | None] | None:
    """Where a grid cell lies, as far as the answer tells it in numbers."""
    told = [
        float(v) if isinstance(v, int | float) and math.isfinite(v) else None
        for v in (latitude, longitude, height)
    ]
    return None if None in told[:2] else tuple(told)


def within_bounds(table: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, int]]:
    """Values that no weather can have made missing, and how many there were in each column."""
    table, wild = table.copy(), {}
    for name in table.columns.intersection(list(WEATHER)):
        values = table[name].to_numpy()
        bad = (values < WEATHER[name].low) | (values > WEATHER[name].high)
        if bad.any():
            wild[name] = int(bad.sum())
            table[name] = np.where(bad, np.nan, values)
    return table, wild


def wild_notes(wild: dict[str, int], who: str) -> tuple[Note, ...]:
    """One sentence on values that were taken out, if any were."""
    if not wild:
        return ()
    what = tuple(f"{name} {n:,}" for name, n in wild.items())
    return (Note.of("sources_said.wild", who=who, what=what),)
