"""What a keeper states of a plant."""

from __future__ import annotations

from dataclasses import dataclass

FOLLOWS = ("warmth", "day length", "rain", "dates")
SEASON_DAYS = 366


@dataclass(frozen=True)
class Plant:
    """A plant as the keeper states it: first and last season day of bloom (0-based)."""

    name: str
    first_day: float
    last_day: float
    strength: str = "fair"
    follows: str = "warmth"
    irregular: bool = False

    @property
    def width_d(self) -> float:
        """Length of the bloom. [d]"""
        return (self.last_day - self.first_day) % SEASON_DAYS + 1

    @property
    def middle_day(self) -> float:
        """Middle of the bloom, as a season day."""
        return (self.first_day + (self.width_d - 1) / 2) % SEASON_DAYS
