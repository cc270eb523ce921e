"""What every advice is made of: when, why, what would change it, what to mind.

Reasons, changes, cautions and needs are short keys such as "comb runs out"; whoever shows the
advice turns them into sentences. `visits` everywhere in this package are the dates, ascending, on
which the keeper can look into a hive: fit days in the rhythm of the yard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.spells import end_dates


@dataclass(frozen=True)
class When:
    """A date to act on.

    date: the visit on which the advice falls; None when no visit ahead serves. first, last: 10
    and 90 % quantiles of the day by which it must be done, given that it must; last None beyond
    the days looked at. chance: that it must be done within the days looked at.
    """

    date: pd.Timestamp | None
    first: pd.Timestamp | None
    last: pd.Timestamp | None
    chance: float


@dataclass(frozen=True, kw_only=True)
class Advice:
    """Fields shared by every advice.

    hive: its name, None for the whole yard. verdict: a short key, what to do. when: None when
    there is nothing to date. needs: what the keeper would have to say for a better answer.
    """

    verdict: str
    hive: str | None = None
    when: When | None = None
    reasons: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


def within_reasons(numbers: Numbers) -> dict[str, tuple[float, float]]:
    """Weights that sentences of reasons name, from and to. [kg]"""
    custom = numbers["timing.mild_custom_low_kg"], numbers["timing.mild_custom_kg"]
    comb = numbers["timing.comb_kg_low"], numbers["timing.comb_kg_high"]
    return {"custom": custom, "comb": comb}


def when_of(day: np.ndarray, date: pd.Timestamp | None, dates: pd.DatetimeIndex) -> When:
    """The date of an advice, from the position of the day in each scenario.

    Parameters
    ----------
    day : array, shape (scenarios,)
        Position among `dates` by which it must be done; len(dates) or more: not within them.
    date : Timestamp or None
        The visit on which it falls.
    """
    comes = day < len(dates)
    if not comes.any():
        return When(date, None, None, 0.0)
    first, _, last = end_dates(day[comes], dates)
    return When(date, first if first is not None else dates[-1], last, float(comes.mean()))


def visit_before(day: pd.Timestamp, visits: pd.DatetimeIndex) -> pd.Timestamp | None:
    """The last visit not after a day; None when there is none."""
    kept = visits[visits <= day]
    return kept[-1] if len(kept) else None
