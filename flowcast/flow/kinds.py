"""What kind of day it was, in the trade's words."""

from __future__ import annotations

import numpy as np

from flowcast.numbers import Numbers

KINDS = ("resting", "rained off", "loss", "trickle", "moderate", "strong", "exceptional")


def kinds_of_day(
    gain_kg: np.ndarray, foraging_h: np.ndarray, usual_h: np.ndarray, numbers: Numbers
) -> np.ndarray:
    """One of KINDS for each day; "" where the gain is not known.

    Parameters
    ----------
    gain_kg, foraging_h : array, shape (days,)
        Daily net gain [kg] and foraging hours [h].
    usual_h : array, shape (days,)
        Foraging hours normal on that date: below half a foraging day the colony rests. [h]

    Notes
    -----
    Resting: winter, no flight. Rained off: season, no flight. Trickle 0 to 0.5, moderate to 2,
    strong to 5, exceptional above 5 kg; loss otherwise (bee science sheet 2.3, MEMORY).
    """
    edges = [
        0.0,
        *(numbers[f"flow.{name}_from_kg"] for name in ("moderate", "strong", "exceptional")),
    ]
    by_gain = np.array(KINDS[2:])[np.searchsorted(edges, np.nan_to_num(gain_kg), side="right")]
    grounded = np.nan_to_num(foraging_h) < numbers["flow.flight_min_h"]
    winter = np.nan_to_num(usual_h) < numbers["foraging.day_h"] / 2
    kind = np.where(grounded, np.where(winter, "resting", "rained off"), by_gain)
    return np.where(np.isfinite(gain_kg), kind, "")
