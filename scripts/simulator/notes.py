"""What a keeper notes of flowers: entries of yard.toml and lines of bloom.csv."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from simulator.flora import Flora, Forage

BUDS_BEFORE_D = 35  # heavy buds are seen about five weeks ahead


def forage_sections(said: Iterable[Forage]) -> list[tuple[str, dict[str, Any]]]:
    """[[forage]] entries of yard.toml."""
    sections = []
    for entry in said:
        keys = {
            "name": entry.name,
            "from": entry.begins,
            "to": entry.ends,
            "strength": entry.strength,
            "follows": entry.follows,
        }
        sections.append(("[[forage]]", keys | ({"irregular": True} if entry.irregular else {})))
    return sections


def bloom_notes(
    flora: Flora, since: str, buds_of: list[str], rng: np.random.Generator
) -> pd.DataFrame:
    """Lines of bloom.csv: first, full and over of each bloom, buds of some, a few days off.

    Parameters
    ----------
    flora : Flora
        What truly grew.
    since : str
        First date of the notes.
    buds_of : list of str
        Plants whose buds the keeper looks at.
    rng : numpy.random.Generator
        For the days by which a note is off, and the blooms that go unnoted.

    Returns
    -------
    DataFrame
        date, plant, stage; in order of date.
    """
    rows: list[tuple[pd.Timestamp, str, str]] = []
    for plant in flora.bloom.columns:
        bloom = flora.bloom[plant]
        for first, full, over in _blooms(bloom[since:], float(bloom.quantile(0.995))):
            rows += _lines(plant, first, full, over, bloom.index[-1], plant in buds_of, rng)
    table = pd.DataFrame(rows, columns=["date", "plant", "stage"])
    table = table[(table["date"] >= since) & (table["date"] <= flora.bloom.index[-1])]
    table = table.sort_values(["date", "plant"], kind="stable", ignore_index=True)
    return table.assign(date=table["date"].dt.strftime("%Y-%m-%d"))


def _blooms(bloom: pd.Series, full_bloom: float) -> list[tuple[pd.Timestamp, ...]]:
    """(first, full, over) of every stretch that is open beyond a tenth of full bloom."""
    open_ = (bloom > 0.10 * full_bloom).to_numpy()
    turns = np.flatnonzero(np.diff(np.concatenate([[False], open_, [False]]).astype(int)))
    found = []
    for begins, ends in zip(turns[::2], turns[1::2], strict=True):
        if ends - begins >= 8:
            top = begins + int(np.argmax(bloom.to_numpy()[begins:ends]))
            found.append(tuple(bloom.index[i] for i in (begins, top, ends - 1)))
    return found


def _lines(
    plant: str,
    first: pd.Timestamp,
    full: pd.Timestamp,
    over: pd.Timestamp,
    last: pd.Timestamp,
    buds: bool,
    rng: np.random.Generator,
) -> list[tuple[pd.Timestamp, str, str]]:
    stages = [(first, "first"), (full, "full")]
    # A bloom that runs into the last day is not over.
    stages += [(over, "over")] if over < last else []
    stages += [(first - pd.Timedelta(days=BUDS_BEFORE_D), "buds heavy")] if buds else []
    kept = [(date, stage) for date, stage in stages if rng.random() < 0.85]
    return [
        (date + pd.Timedelta(days=int(rng.integers(-3, 4))), plant, stage) for date, stage in kept
    ]
