"""Reading what was typed: the place, dates, a refractometer's reading."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import typer

from flowcast.errors import InputError


class PlaceCommand(typer.core.TyperCommand):
    """A command that takes `--at LAT LON` as well as `--at "Town, Country"`."""

    def parse_args(self, ctx, args):
        """Join two numbers behind --at into one value, minus signs and all."""
        args = list(args)
        if "--at" in args:
            k = args.index("--at")
            pair = args[k + 1 : k + 3]
            if len(pair) == 2 and all(re.fullmatch(r"[-+]?\d+(\.\d+)?,?", word) for word in pair):
                args[k : k + 3] = [f"--at={' '.join(word.rstrip(',') for word in pair)}"]
        return super().parse_args(ctx, args)


def must_be_one_place(yard: Path | None, at: str | None) -> None:
    """Refuse both a yard and a place, and neither."""
    if (yard is None) == (at is None):
        raise typer.BadParameter("name a yard's folder, or a place with --at, one of the two.")


def day_of(text: str | None, option: str) -> date | None:
    """A date behind an option; None where none was given."""
    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{option} {text}: not understood as a date. Write it as 2026-05-31."
        ) from None
    if not 1900 <= day.year <= 2200:
        raise InputError(f"{option} {text}: no year of bees and weather. Mend the year.")
    return day


def span_of(from_: str | None, to: str | None) -> tuple[date | None, date | None]:
    """The dates behind --from and --to, in their order; None for what was not given."""
    first, last = day_of(from_, "--from"), day_of(to, "--to")
    if first and last and first > last:
        raise InputError(f"--from {first} lies after --to {last}. Change them round.")
    return first, last


def reading_of(text: str | None) -> tuple[float, float | None] | None:
    """A refractometer reading with the temperature behind an @, as numbers."""
    if text is None:
        return None
    try:
        reading, _, temp = text.replace(",", ".").partition("@")
        return float(reading), float(temp) if temp else None
    except ValueError:
        raise InputError(
            f"--refractometer {text}: not understood. Write the reading and, after an @, the honey's "
            "temperature in °C: 1.4915@24, or 18.2."
        ) from None
