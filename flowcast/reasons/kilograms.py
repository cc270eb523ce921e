"""What each driver cost or brought in kilograms, with its interval, and what is left over.

Two things are known of a season, both in doubt: what the model says each driver brought
(`swaps`), and by how much it brought more or less than the other seasons of the log, whose own luck is
in that figure too. They are joined as normal errors: a season far off the others is laid to what could
have done it, each in proportion to how little the model could tell of it; what nothing named here
explains is the rest. It is association learned from this log, not proof.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.reasons.swaps import DRIVERS, FLIGHT, Swapped, lost

IN_ALL = "flight"  # cold, heat, rain, wind and light together
ALIKE = 0.6  # correlation from which two drivers are said to have gone together
Z80 = 1.2816  # half an 80 % interval of a normal, in standard deviations


@dataclass(frozen=True)
class Kilograms:
    """The parts of a span's gain against the usual.

    parts: index `DRIVERS`; kg: what the driver brought against its usual (cost: negative), q10, q90:
    80 % interval; first, last: the days that hold most of it, NaT where it is spread out. flight: the
    drivers of flight in one, of the same columns; they often go together. more_kg: the gain less that of the log's other seasons, on days known in both; NaN
    without another. rest_kg: more_kg less all parts. together: correlation of the drivers' weekly
    departures from the usual over the span. years: how many lent their weather; seasons: how many
    other seasons the log has.
    """

    parts: pd.DataFrame
    flight: pd.Series
    more_kg: float
    rest_kg: float
    together: pd.DataFrame
    years: int
    seasons: int

    @property
    def told(self) -> pd.DataFrame:
        """Parts whose interval leaves out nothing, the largest first."""
        clear = self.parts[(self.parts["q10"] > 0) | (self.parts["q90"] < 0)]
        return clear.reindex(clear["kg"].abs().sort_values(ascending=False).index)

    @property
    def alike(self) -> list[tuple[str, str, float]]:
        """Pairs of drivers that went together over the span, and their correlation."""
        names = list(self.together)
        pairs = [(a, b, self.together.loc[a, b]) for a, b in combinations(names, 2)]
        return sorted((p for p in pairs if abs(p[2]) >= ALIKE), key=lambda p: -abs(p[2]))


def in_kilograms(
    swapped: Swapped,
    lost_share: np.ndarray,
    more_kg: float,
    seasons: int,
    known: float,
    numbers: Numbers,
) -> tuple[pd.DataFrame, float]:
    """Parts (index DRIVERS and IN_ALL; kg, q10, q90) and the rest, as of `Kilograms`.

    Parameters
    ----------
    lost_share : array, shape (drivers,)
        `lost_share`.
    more_kg : float
        The gain less the mean of the log's other seasons; NaN without another. [kg]
    seasons : int
        How many others.
    known : float
        Share of the span's days whose weather and gain are known; doubt grows as it falls.
    """
    lacking = -more_kg if np.isfinite(more_kg) else 0.0
    scale = max(swapped.intake_kg, float(swapped.usual_kg.sum()), swapped.intake_kg + lacking)
    thought, var = _thought(swapped, lost_share, scale, numbers)
    cov = np.diag(var / max(known, 0.1))
    if np.isfinite(more_kg) and seasons > 0:
        thought, cov = _joined(thought, cov, more_kg, seasons, scale, numbers)
    every = {d: np.array([d == other for other in DRIVERS]) for d in DRIVERS}
    every |= {IN_ALL: np.array([d in FLIGHT for d in DRIVERS])}
    rows = {name: _interval(thought, cov, these) for name, these in every.items()}
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["kg", "q10", "q90"])
    return table, more_kg - float(thought.sum())


def _interval(thought: np.ndarray, cov: np.ndarray, these: np.ndarray) -> tuple[float, ...]:
    """Sum of these parts with its 80 % interval. [kg]"""
    kg, half = thought[these].sum(), Z80 * np.sqrt(cov[np.ix_(these, these)].sum())
    return kg, kg - half, kg + half


def _thought(
    swapped: Swapped, lost_share: np.ndarray, scale_kg: float, numbers: Numbers
) -> tuple[np.ndarray, np.ndarray]:
    """What the model alone lets one think of each driver: mean and variance. [kg]

    scale_kg is what there was to lose or to win. Hours lost may have cost all they could have
    brought, or nothing.
    """
    groups = ["flight" if driver in FLIGHT else driver for driver in DRIVERS]
    trust = np.array([numbers[f"reasons.trust_{group}"] for group in groups])
    doubt = np.array([numbers[f"reasons.doubt_{group}"] for group in groups])
    by_year = swapped.parts.mean(axis=0)  # (1 + members, drivers)
    thought, soil = trust * by_year[0], DRIVERS.index("soil")
    own = numbers["reasons.doubt_share"] * thought
    own[soil] = numbers["reasons.member_share"] * by_year[1:, soil].std()
    doubt[soil] += numbers["reasons.doubt_rain_plants"] * swapped.rain_share
    could = numbers["reasons.doubt_lost"] * lost_share
    return thought, own**2 + (doubt**2 + could**2) * scale_kg**2


def _joined(
    thought: np.ndarray,
    cov: np.ndarray,
    more_kg: float,
    seasons: int,
    scale_kg: float,
    numbers: Numbers,
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the drivers once the season's departure from the others is seen.

    The others' mean strays by what a season strays, over the root of their number.
    """
    one_season = cov.sum() + (numbers["reasons.luck"] * scale_kg) ** 2
    seen = one_season * (1.0 + 1.0 / seasons)
    with_sum = cov.sum(axis=1)
    thought = thought + with_sum / seen * (more_kg - thought.sum())
    return thought, cov - np.outer(with_sum, with_sum) / seen


def lost_share(spans: dict[int, pd.DataFrame], year: int, usual_kg: np.ndarray) -> np.ndarray:
    """Hours each driver of flight took beyond the usual, weighed by what an hour usually brings.

    As a share of all usual hours so weighed; 0 for the drivers of the flowers. Shape (drivers,). [1]
    """
    hours = np.mean([p["foraging_h"].to_numpy() for y, p in spans.items() if y != year], axis=0)
    an_hour = usual_kg / np.maximum(hours, 1.0)
    off = departures(spans, year)
    shares = [
        (off[d] * an_hour).sum() / max(usual_kg.sum(), 1e-9) if d in FLIGHT else 0.0
        for d in DRIVERS
    ]
    return np.array(shares)


def together(spans: dict[int, pd.DataFrame], year: int) -> pd.DataFrame:
    """Correlation between drivers' weekly departures from the usual of the other years."""
    off = departures(spans, year).drop(columns=IN_ALL)
    off = off.loc[:, off.std() > 0]
    return off.groupby(np.arange(len(off)) // 7).mean().corr()


def when(off: pd.DataFrame, usual_kg: np.ndarray, numbers: Numbers) -> pd.DataFrame:
    """First and last of the days that hold most of each driver's doing; NaT where it is spread out.

    Parameters
    ----------
    off : DataFrame
        `departures`, by date.
    usual_kg : array, shape (days,)
        What a day usually brings: an hour lost when nothing blooms costs nothing. [kg]
    """
    days = {}
    for driver in off:
        course = off[driver].to_numpy() * usual_kg
        run = _shortest(course * np.sign(course.sum()), numbers["reasons.most_share"])
        short = driver != "timing" and run and run[1] - run[0] < numbers["reasons.most_days"]
        days[driver] = (off.index[run[0]], off.index[run[1]]) if short else (pd.NaT, pd.NaT)
    return pd.DataFrame.from_dict(days, orient="index", columns=["first", "last"])


def _shortest(values: np.ndarray, share: float) -> tuple[int, int] | None:
    """First and last position of the shortest run that holds this share of a positive sum."""
    sums = np.r_[0.0, np.cumsum(values)]
    if sums[-1] <= 0:
        return None
    for length in range(1, len(values) + 1):
        held = sums[length:] - sums[:-length]
        if held.max() >= share * sums[-1]:
            return int(held.argmax()), int(held.argmax()) + length - 1
    return None


def departures(spans: dict[int, pd.DataFrame], year: int) -> pd.DataFrame:
    """Each driver's course less the mean of the other years, by date: hours lost, water, warmth."""
    others = [part for y, part in spans.items() if y != year]
    courses = {d: lambda part, d=d: lost(part, d) for d in FLIGHT}
    courses["soil"] = lambda part: part["soil_water_frac"].to_numpy()
    courses["timing"] = lambda part: part["temp_mean_c"].to_numpy()
    off = {
        d: course(spans[year]) - np.mean([course(part) for part in others], axis=0)
        for d, course in courses.items()
    }
    off[IN_ALL] = sum(off[d] for d in FLIGHT)
    return pd.DataFrame(off, spans[year].index)
