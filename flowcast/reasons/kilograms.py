"""What each driver cost or brought in kilograms, with its interval, and what is left over.

Two things are known of a season, both in doubt: what the model says each driver brought
(`swaps`), and by how much it brought more or less than the other seasons of the log, whose own luck is
in that figure too. They are joined as normal errors: a season far off the others is laid to what could
have done it, each in proportion to how little the model could tell of it; what nothing named here
explains is the rest. It is association learned from this log, not proof.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from scipy.special import ndtr

from flowcast.numbers import Numbers
from flowcast.reasons.season import Season
from flowcast.reasons.swaps import DRIVERS, FLIGHT, FLOWERS, Swapped, grown, lost
from flowcast.tables import Z_90

GROUPS = ["flight" if driver in FLIGHT else driver for driver in DRIVERS]  # trusted alike
IN_ALL = "flight"  # cold, heat, rain, wind and light together
ALIKE = 0.6  # correlation from which two drivers are said to have gone together


@dataclass(frozen=True)
class Kilograms:
    """The parts of a span's gain against the usual.

    parts: index `DRIVERS`; kg: what the driver brought against its usual (cost: negative), q10, q90:
    80 % interval; first, last: the days that hold most of it, NaT where it is spread out. flight: the
    drivers of flight in one, of the same columns; they often go together. more_kg: the gain less that
    of the log's other seasons, on days known in both; NaN without another. rest_kg: more_kg less all
    parts. water: as `water`. together: correlation of the drivers' weekly departures from the usual
    over the span. years: how many lent their weather; seasons: how many other seasons the log has.
    """

    parts: pd.DataFrame
    flight: pd.Series
    more_kg: float
    rest_kg: float
    water: int
    together: pd.DataFrame
    years: int
    seasons: int

    @property
    def alike(self) -> list[tuple[str, str, float]]:
        """Pairs of drivers that went together over the span, and their correlation."""
        names = list(self.together)
        pairs = [(a, b, self.together.loc[a, b]) for a, b in combinations(names, 2)]
        return sorted((p for p in pairs if abs(p[2]) >= ALIKE), key=lambda p: -abs(p[2]))


def season_in_kilograms(
    season: Season,
    swapped: Swapped,
    spans: dict[int, pd.DataFrame],
    lacks: np.ndarray,
    numbers: Numbers,
    hidden_kg: float = 0.0,
) -> Kilograms:
    """A season's parts with the days that hold most of each, the rest, and what goes with them.

    Parameters
    ----------
    spans : dict
        The days of each year that were swapped, by year.
    lacks : array of bool, shape (days,)
        Days without weather of the season's own.
    hidden_kg : float
        As in `in_kilograms`. [kg]
    """
    year, usual = season.first.year, swapped.usual_kg
    parts, rest = in_kilograms(
        swapped,
        lost_share(spans, year, usual),
        season.gain.more,
        season.gain_years,
        season.gain_told,
        float(usual[lacks].sum() / max(usual.sum(), 1e-9)),
        numbers,
        hidden_kg,
    )
    wetter = water(spans, year, usual)
    days = when(departures(spans, year), usual, parts["kg"], numbers)
    if not wetter:
        days.loc["soil"] = pd.NaT
    parts = parts.join(days)
    return Kilograms(
        parts=parts.drop(index=IN_ALL),
        flight=parts.loc[IN_ALL],
        more_kg=season.gain.more,
        rest_kg=rest,
        water=wetter,
        together=together(spans, year),
        years=len(spans) - 1,
        seasons=len(season.gain_years),
    )


def in_kilograms(
    swapped: Swapped,
    lost_share: np.ndarray,
    more_kg: float,
    beside: Sequence[int],
    known: float,
    blind: float,
    numbers: Numbers,
    hidden_kg: float = 0.0,
) -> tuple[pd.DataFrame, float]:
    """Parts (index DRIVERS and IN_ALL; kg, q10, q90) and the rest, as of `Kilograms`.

    Parameters
    ----------
    lost_share : array, shape (drivers,)
        `lost_share`.
    more_kg : float
        The gain less the mean of the log's other seasons; NaN without another. [kg]
    beside : sequence of int
        Their years.
    known : float
        Share of the span's days, or of those of its bloom, with a known gain; doubt grows as it falls.
    blind : float
        Share of what the span usually brings that falls on days without weather: there the season
        may have been any of the other years.
    hidden_kg : float
        By how much more than the other seasons it lacked for want of comb, as the model thinks; as
        much in doubt. The drivers did not do that: it goes to the rest. [kg]
    """
    with_room = more_kg + hidden_kg
    lacking = -with_room if np.isfinite(with_room) else 0.0
    scale = max(swapped.intake_kg, float(swapped.usual_kg.sum()), swapped.intake_kg + lacking)
    by_year = _trust(numbers) * swapped.parts[:, 0]  # (years, drivers)
    thought = by_year.mean(axis=0)
    var = _doubt(swapped, thought, lost_share, scale, numbers)
    var = (var + blind * by_year.var(axis=0)) / max(min(known, 1.0 - blind), 0.1)
    cov = np.diag(var)
    if np.isfinite(more_kg) and len(beside) and scale > 0:
        expected = _against_log(by_year, swapped.years, beside)
        luck = float(np.hypot(numbers["reasons.luck"] * scale, hidden_kg))
        thought, cov = _joined(thought, cov, with_room - expected, len(beside), luck)
    every = {d: np.array([d == other for other in DRIVERS]) for d in DRIVERS}
    every |= {IN_ALL: np.array([d in FLIGHT for d in DRIVERS])}
    rows = {name: _interval(thought, cov, these) for name, these in every.items()}
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["kg", "q10", "q90"])
    return table, more_kg - float(thought.sum())


def likely_loss(parts: pd.DataFrame) -> pd.Series:
    """What each part cost in the mean, where what it may have brought counts as nothing. [kg]

    So parts can be put in an order that heeds their doubt: one that is near 0 for want of knowledge may
    well have cost more than one that is known to have cost little.
    """
    sd = np.maximum((parts["q90"] - parts["q10"]) / (2 * Z_90), 1e-12)
    off = parts["kg"] / sd
    return sd * np.exp(-0.5 * off**2) / np.sqrt(2 * np.pi) - parts["kg"] * ndtr(-off)


def _interval(thought: np.ndarray, cov: np.ndarray, these: np.ndarray) -> tuple[float, ...]:
    """Sum of these parts with its 80 % interval. [kg]"""
    kg, half = thought[these].sum(), Z_90 * np.sqrt(cov[np.ix_(these, these)].sum())
    return kg, kg - half, kg + half


def _trust(numbers: Numbers) -> np.ndarray:
    """Share of the model's parts that stands. Shape (drivers,). [1]"""
    return np.array([numbers[f"reasons.trust_{group}"] for group in GROUPS])


def _doubt(
    swapped: Swapped,
    thought: np.ndarray,
    lost_share: np.ndarray,
    scale_kg: float,
    numbers: Numbers,
) -> np.ndarray:
    """Variance of what the model alone lets one think of each driver. Shape (drivers,). [kg2]

    scale_kg is what there was to lose or to win. Hours lost may have cost all they could have
    brought, or nothing.
    """
    doubt, soil = np.array([numbers[f"reasons.doubt_{g}"] for g in GROUPS]), DRIVERS.index("soil")
    own = numbers["reasons.doubt_share"] * thought
    own[soil] = numbers["reasons.member_share"] * swapped.parts.mean(axis=0)[1:, soil].std()
    doubt[soil] += numbers["reasons.doubt_rain_plants"] * swapped.rain_share
    could = numbers["reasons.doubt_lost"] * lost_share
    return own**2 + (doubt**2 + could**2) * scale_kg**2


def _against_log(by_year: np.ndarray, years: Sequence[int], beside: Sequence[int]) -> float:
    """What all drivers brought against the log's other seasons, by the model. [kg]

    Those had weather of their own, which need not be the usual; where a season's weather is not
    among the years that lent theirs it counts as the usual.
    """
    sums = dict(zip(years, by_year.sum(axis=1), strict=True))
    usual = by_year.sum(axis=1).mean()
    return float(np.mean([sums.get(year, usual) for year in beside]))


def _joined(
    thought: np.ndarray, cov: np.ndarray, surprise_kg: float, seasons: int, luck_kg: float
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the drivers once the season is seen beside the others of the log.

    Parameters
    ----------
    surprise_kg : float
        How much more it brought than the others, less what the drivers are thought to have brought
        against those. It holds the error of that and the season's luck, and the same of each of the
        others over their number.
    """
    seen = (cov.sum() + luck_kg**2) * (1.0 + 1.0 / seasons)
    with_sum = cov.sum(axis=1)
    thought = thought + with_sum / seen * surprise_kg
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


def when(off: pd.DataFrame, usual_kg: np.ndarray, kg: pd.Series, numbers: Numbers) -> pd.DataFrame:
    """First and last of the days that hold most of each driver's doing; NaT where it is spread out.

    Also where its hours went the other way than its part: then no days of it can be named.

    Parameters
    ----------
    off : DataFrame
        `departures`, by date.
    usual_kg : array, shape (days,)
        What a day usually brings: an hour lost when nothing blooms costs nothing. [kg]
    kg : Series
        The part of each driver.
    """
    days = {}
    for driver in off:
        course = off[driver].to_numpy() * usual_kg
        side = np.sign(course.sum()) if driver in FLOWERS else -np.sign(kg[driver])
        run = _shortest(course * side, numbers["reasons.most_share"])
        short = driver != "timing" and run and run[1] - run[0] < numbers["reasons.most_days"]
        days[driver] = (off.index[run[0]], off.index[run[1]]) if short else (pd.NaT, pd.NaT)
    return pd.DataFrame.from_dict(days, orient="index", columns=["first", "last"])


def _shortest(values: np.ndarray, share: float) -> tuple[int, int] | None:
    """First and last position of the shortest run that holds this share of all above 0.

    None where what is below 0 outweighs that.
    """
    sums, above = np.r_[0.0, np.cumsum(values)], np.maximum(values, 0.0).sum()
    if sums[-1] <= 0:
        return None
    for length in range(1, len(values) + 1):
        held = sums[length:] - sums[:-length]
        if held.max() >= share * above:
            return int(held.argmax()), int(held.argmax()) + length - 1
    return None


def water(spans: dict[int, pd.DataFrame], year: int, usual_kg: np.ndarray) -> int:
    """Whether flowers had more water than usual (+1) or less (-1) when there was most to gather.

    0 where the soil and the rain of the weeks before do not agree.
    """
    courses = {y: (p["soil_water_frac"].to_numpy(), grown(p["rained"])) for y, p in spans.items()}
    usual = np.mean([course for y, course in courses.items() if y != year], axis=0)
    soil, rain = np.sign((np.array(courses[year]) - usual) @ usual_kg)
    return int(soil) if soil == rain else 0


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
