"""What is known of one hive on the issue date: its boxes, its bees, its stores with their doubt."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Box:
    """One box: kind as in yard.toml, frames, frames drawn and frames full (None: not said)."""

    kind: str
    frames: int = 10
    drawn: int | None = None
    full: float | None = None


@dataclass(frozen=True)
class Estimate:
    """A weight known with doubt: middle and standard deviation [kg], and where it is from.

    how: "weight", "boxes", "keeper" or "unknown".
    """

    kg: float
    sd_kg: float
    how: str


@dataclass(frozen=True)
class HiveNow:
    """One hive on the issue date.

    gross_kg, wood_kg, keeper_kg: weight on the scale, of boxes with combs and without honey, and
    the keeper's own estimate of the stores; None where not known. [kg] boxes: bottom first.
    supers_on: whether boxes for people's honey are on; None when not known. share: what this hive
    brings in, as a share of the yard's middle hive, with its standard deviation in the log.
    """

    name: str
    boxes: tuple[Box, ...] = ()
    frames_of_bees: float | None = None
    queenright: bool | None = None
    nucleus: bool = False
    gross_kg: float | None = None
    wood_kg: float | None = None
    keeper_kg: float | None = None
    supers_on: bool | None = None
    share: tuple[float, float] = (1.0, 0.2)
