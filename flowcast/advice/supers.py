"""When the empty drawn comb runs out, and so when to add the next super."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.advice.when import Advice


@dataclass(frozen=True, kw_only=True)
class SuperAdvice(Advice):
    """Verdicts: "add", "room enough", "no more this season", "too few bees", "unknown".

    count: supers to add on that visit, of box_kind. free_kg: quantiles 10, 50, 90 % of what the
    empty drawn combs can still take. wanted_kg: the same of what would come in beyond them within
    the days looked at. last_worth: from which day on a further super is not worth it this season;
    None when beyond the days looked at.
    """

    count: int = 0
    box_kind: str | None = None
    free_kg: tuple[float, float, float] | None = None
    wanted_kg: tuple[float, float, float] | None = None
    last_worth: pd.Timestamp | None = None
