"""Why a season was what it was: its weather against the yard's other seasons, and its hives. Pure.

spans (the same dates of every year) -> hours (flight, and what each factor took), plants (soil water,
dry spells, rain by the standard index, frost, timing), hives (gains and crops, who left the others)
-> season (all of it, and what stands out); swaps (the flow model with drivers of other years),
shapley (shared out) -> kilograms (with intervals, and the rest).
"""

from flowcast.reasons.hives import HiveSeason, hive_seasons
from flowcast.reasons.kilograms import Kilograms
from flowcast.reasons.plants import standardized_precipitation
from flowcast.reasons.season import Season, explain_span
from flowcast.reasons.spans import Against

__all__ = [
    "Against",
    "HiveSeason",
    "Kilograms",
    "Season",
    "explain_span",
    "hive_seasons",
    "standardized_precipitation",
]
