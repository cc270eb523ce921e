"""What a keeper's notes of bloom say: how early or late each season's bloom is, and whether it comes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.flow.plants import SEASON_DAYS, Plant
from flowcast.numbers import Numbers

OPEN_AT = {"first": -1, "full": 0, "over": 1}  # which way from the middle of the bloom
BUDS = {"buds none": "none", "buds heavy": "heavy"}


@dataclass(frozen=True)
class Noted:
    """One season's bloom of a plant by the notes.

    late_d: days by which its middle is later than stated, NaN where it was not seen open; sd_d: the
    error of that. buds: "", "none" or "heavy", by the last note of them.
    """

    season: int
    late_d: float
    sd_d: float
    buds: str

    @property
    def opened(self) -> bool:
        """Whether it was seen open."""
        return bool(np.isfinite(self.late_d))


def noted_blooms(
    plant: Plant,
    notes: pd.DataFrame,
    day: np.ndarray,
    season_of: Callable[[pd.Timestamp], int],
    numbers: Numbers,
) -> tuple[Noted, ...]:
    """The seasons of a plant that the notes tell of, in order.

    Parameters
    ----------
    notes : DataFrame
        Notes of this plant: date (local), stage ("buds none", "buds heavy", "first", "full", "over").
    day : array, shape (notes,)
        Season day of each by the clock the plant follows (the phenological one for warmth). [d]
    season_of : callable
        Local date -> the year its season began in.

    Notes
    -----
    A stage belongs to the bloom whose stated middle is nearest, buds to the next one. First and over are
    half a length and a little from the middle, so they err with the length as well as with the eye.
    """
    seen: dict[int, list[tuple[float, float]]] = {}
    buds: dict[int, str] = {}
    for note, at in zip(notes.itertuples(), day, strict=True):
        if note.stage in BUDS:
            ahead = (plant.middle_day - at) % SEASON_DAYS
            buds[season_of(note.date + pd.Timedelta(days=round(ahead)))] = BUDS[note.stage]
            continue
        away = _nearest(at - plant.middle_day)
        season = season_of(note.date - pd.Timedelta(days=round(away)))
        reach = OPEN_AT[note.stage] * numbers["flow.note_ends_at"] * plant.width_d / 2
        late = away - reach
        seen.setdefault(season, []).append((late, _error(note.stage, plant, numbers)))
    seasons = sorted({*seen, *buds})
    return tuple(Noted(s, *_mean(seen.get(s, [])), buds.get(s, "")) for s in seasons)


def _nearest(days: float) -> float:
    """Days to the nearest turn of the season. Positive when later."""
    return (days + SEASON_DAYS / 2) % SEASON_DAYS - SEASON_DAYS / 2


def _error(stage: str, plant: Plant, numbers: Numbers) -> float:
    share = numbers["flow.note_full_frac" if stage == "full" else "flow.note_end_frac"]
    # What is stated of a plant that follows rain spans its early and late years: one bloom is shorter.
    wide = numbers["flow.note_rain_wider"] if plant.follows == "rain" else 1.0
    return float(np.hypot(numbers["flow.note_sd_d"], wide * share * plant.width_d))


def _mean(seen: list[tuple[float, float]]) -> tuple[float, float]:
    """Mean of what the stages say, by their errors, and its own."""
    if not seen:
        return np.nan, np.nan
    late, sd = np.array(seen).T
    weight = 1.0 / sd**2
    return float((late * weight).sum() / weight.sum()), float(weight.sum() ** -0.5)
