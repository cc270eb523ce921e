"""Climates of the second world: five of its own, and three that it shares with the first."""

from __future__ import annotations

from simulator import climates as first
from simulator.climates import Climate

_OWN = (
    # Two rains a year and hardly a season of warmth: the tropics at some 1700 m.
    Climate(
        "equatorial-highland", (0.5, 4.0), 18.6, 1.1, 70, (12.0, 13.0), (1.1, 1.2),
        (.14, .16, .36, .62, .48, .20, .13, .14, .17, .38, .58, .34),
        (7.0, 8.0), (.7, .75), (.40, .38), (1.5, 2.0), (3.0, 3.3), 1.8, 0.30, 0.35,
    ),
    # Small swing, much wind, drizzle at all times of year.
    Climate(
        "windy-coast", (53.5, 58.0), 9.2, 5.0, 212, (4.5, 7.0), (2.6, 1.8),
        (.62, .55, .52, .44, .42, .42, .44, .48, .52, .60, .63, .64),
        (4.5, 4.2), (.02, .20), (.68, .52), (1.0, 1.3), (7.2, 5.2), 1.5, 0.36, 0.25,
    ),
    # Cold dry bright winters, wet warm summers.
    Climate(
        "continental-monsoon", (36.0, 42.0), 11.2, 14.0, 204, (11.0, 9.5), (3.8, 2.0),
        (.10, .11, .16, .20, .25, .36, .50, .46, .27, .18, .15, .11),
        (2.5, 13.0), (.05, .60), (.25, .48), (4.0, 1.6), (3.6, 2.8), 2.5, 0.26, 0.35,
    ),
    Climate(
        "southern-temperate", (-44.0, -37.5), 11.6, 5.3, 207, (8.5, 11.5), (2.2, 2.6),
        (.46, .42, .40, .38, .36, .33, .30, .29, .33, .38, .42, .46),
        (5.5, 6.0), (.05, .40), (.52, .40), (1.6, 2.4), (4.2, 4.4), 2.5, 0.30, 0.40,
    ),
    # Few rains of the cool half, great heat in the other.
    Climate(
        "semi-desert", (-33.0, -29.0), 18.2, 7.4, 208, (12.0, 15.5), (2.8, 2.6),
        (.20, .19, .17, .13, .10, .06, .05, .05, .06, .09, .13, .17),
        (6.0, 8.5), (.15, .75), (.30, .12), (3.5, 7.0), (3.4, 3.8), 2.0, 0.32, 0.55,
    ),
)  # fmt: skip
_SHARED = ("inland-winter", "mediterranean", "wet-dry-tropics")
CLIMATES = {c.name: c for c in _OWN} | {name: first.CLIMATES[name] for name in _SHARED}
