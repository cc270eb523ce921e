"""Day by day: breeding weather, the pressure it makes, and the beetles that stand.

Breeding weather is what a day does for breeding, 0 to 1. Pressure is its mean over the time that
the adults emerging on a day have just spent in the soil. The stock of standing adults is fed by
emergence, which needs parents, and by beetles flying in, and lost over lives of one to six months,
so it lags the pressure. A tray shows the stock as far as it moves about; counts are read against
that. How the parts are put together is our assumption.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from flowcast.beetle.stages import (
    adult_life,
    dusk_flight,
    egg_hatch,
    in_hive_days,
    soil_rate,
    soil_survival,
    water_survival,
)
from flowcast.beetle.traits import Traits, typical_traits
from flowcast.numbers import Numbers

SPIN_UP_D = 365


@dataclass(frozen=True)
class Drivers:
    """The weather that beetles feel, arrays (days,) or (draws, days) without holes.

    soil_c: soil temperature at 5 to 10 cm [°C]; soil_water: of the top soil, 0 wilting point, 1
    field capacity [1]; rh_pct: daily mean [%]; dusk_c: air at sunset [°C]; air_c: daily mean [°C].
    """

    soil_c: np.ndarray
    soil_water: np.ndarray
    rh_pct: np.ndarray
    dusk_c: np.ndarray
    air_c: np.ndarray


@dataclass(frozen=True)
class Course:
    """What the draws make of the weather, arrays (draws, days).

    breeding: breeding weather of the day, 0 to 1. rate: share of the soil stage done [1/d]. fit:
    survival in the soil, of the best [1]. starts: the day on which the cohort that emerges went into
    the soil, a position. pressure: mean breeding weather since then, 0 to 1. stock: standing adults,
    1 where full breeding weather would keep them for ever at beetle.stock_life_d. showing: the
    part of them that moves about and meets a tray.
    """

    breeding: np.ndarray
    rate: np.ndarray
    fit: np.ndarray
    starts: np.ndarray
    pressure: np.ndarray
    stock: np.ndarray
    showing: np.ndarray

    def part(self, rows=slice(None), days: slice = slice(None)) -> Course:
        """Some draws and days; `starts` still count from the first day of the whole."""
        return self.each(lambda values: values[rows, days])

    def each(self, change: Callable[[np.ndarray], np.ndarray]) -> Course:
        """The same change to every array."""
        return Course(**{f.name: change(getattr(self, f.name)) for f in fields(self)})

    @classmethod
    def stacked(cls, parts: list[Course], order: np.ndarray) -> Course:
        """Draws of several courses as one, taken in this order."""
        arrays = {f.name: [getattr(p, f.name) for p in parts] for f in fields(cls)}
        return cls(**{name: np.concatenate(values)[order] for name, values in arrays.items()})


def breeding_weather(drivers: Drivers, traits: Traits, numbers: Numbers):
    """(breeding, rate, fit) of `Course`.

    Parameters
    ----------
    traits : Traits
        As columns (`Traits.column`) where there are several draws.

    Notes
    -----
    breeding = min(1, speed of the soil stage against that at beetle.best_soil_c) x survival by
    temperature and water x hatch x flight at dusk. The factors have sources, their product is ours.
    """
    soil_c = drivers.soil_c + traits.soil_shift_c
    rate = soil_rate(soil_c, traits, numbers)
    full = soil_rate(numbers["beetle.best_soil_c"], typical_traits(numbers), numbers)
    fit = soil_survival(soil_c, numbers)
    fit = fit * water_survival(drivers.soil_water, traits.water_knee, numbers)
    entering = egg_hatch(drivers.rh_pct, traits, numbers) * _moving(drivers.dusk_c, numbers)
    return np.minimum(1.0, rate / full) * fit * entering, rate, fit


def _moving(temp_c, numbers: Numbers):
    """Share of adults that move: some always do inside the hives, more as it is warmer. [1]"""
    least = numbers["beetle.dusk_least"]
    return least + (1.0 - least) * dusk_flight(temp_c, numbers)


def soil_windows(rate: np.ndarray, numbers: Numbers) -> np.ndarray:
    """For each day the position of the day on which the cohort emerging on it went into the soil.

    Parameters
    ----------
    rate : array, shape (draws, days)
        Share of the soil stage done each day. [1/d]

    Returns
    -------
    array of int, shape (draws, days)
        The last day from which the shares up to the day sum to 1, held to beetle.window_least_d
        and window_most_d; not before the first day.
    """
    days = rate.shape[1]
    done = np.concatenate([np.zeros((len(rate), 1)), np.cumsum(rate, axis=1, dtype=float)], axis=1)
    done += np.arange(days + 1) * 1e-12  # strictly rising, so that each day has one answer
    starts = np.array([np.searchsorted(row, row[1:] - 1.0, "right") - 1 for row in done])
    day = np.arange(days)
    earliest = day + 1 - int(numbers["beetle.window_most_d"])
    latest = day + 1 - int(numbers["beetle.window_least_d"])
    return np.clip(np.clip(starts, earliest, latest), 0, None)


def mean_since(values: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Mean of each row from the day at `starts` up to each day, both included."""
    total = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1, dtype=float)], 1)
    days = np.arange(1, values.shape[1] + 1)
    before = np.take_along_axis(total, starts, axis=1)
    return (total[:, 1:] - before) / (days - starts)


def standing_stock(
    pressure: np.ndarray,
    rate: np.ndarray,
    starts: np.ndarray,
    drivers: Drivers,
    traits: Traits,
    numbers: Numbers,
    before: np.ndarray | None = None,
) -> np.ndarray:
    """Standing adults on each day, shape (draws, days). [1]

    Parameters
    ----------
    pressure, rate, starts : arrays, shape (draws, days)
        As in `Course`; the parents of what emerges laid their eggs shortly before `starts`.
    before : array, shape (draws, fewer days), optional
        Stock of the first days where it is known. When not given the stock begins at that of the
        first year's mean weather, which another year forgets.

    Notes
    -----
    stock' = emergence x parents (1 + h) / (parents + h) + flown in - stock / life: few parents leave
    few young, many stand in each other's way. Emergence is the pressure times the speed of the
    day against the mean of the window, so that none comes out of soil that has gone cold. The unit
    of each draw is what full breeding weather would keep (`full_stock`): how many fly in or breed
    then moves the course of its stock and not its level.
    """
    out = pressure * rate * (np.arange(1, rate.shape[1] + 1) - starts)
    parents = starts - int(np.median(in_hive_days(traits, numbers)))
    kept, gain = _turnover(drivers, traits, numbers, pressure.shape)
    flown_in = traits.inflow * dusk_flight(drivers.dusk_c, numbers)
    # Days first: each step then works on neighbouring memory.
    feed, flown = (np.ascontiguousarray((a * gain).T) for a in (out, flown_in))
    kept, parents = np.ascontiguousarray(kept.T), parents.T
    known = 0 if before is None else before.shape[1]
    half = traits.breeders_half[:, 0]
    year = slice(0, SPIN_UP_D)
    level = ((feed[year] + flown[year]) / (1.0 - kept[year])).mean(axis=0)
    first = level if before is None else before[:, 0]
    stock = first if before is None else before[:, -1]
    # Days before the first stand in front, so that parents of any day can be looked up alike.
    lead = max(0, -int(parents.min()))
    whole = np.empty((lead + len(feed), len(half)))
    whole[:lead], course = first, whole[lead:]
    course[:known] = 0.0 if before is None else before.T
    laid, flat = (parents + lead) * len(half) + np.arange(len(half)), whole.ravel()
    more = 1.0 + half
    # What emerges has parents of days before: so many days at once are born of a stock that is known.
    apart = int((np.arange(len(parents))[:, None] - parents).min())
    for begin in range(known, len(course), apart):
        days = slice(begin, begin + apart)
        laying = flat[laid[days]]
        added = feed[days] * laying * more / (laying + half) + flown[days]
        # Of the stock and of all that is added since, as much as is left of it (stock' = kept stock + added).
        left = np.cumprod(kept[days], axis=0)
        course[days] = left * (stock + np.cumsum(added / left, axis=0))
        stock = course[days][-1]
    return course.T


def full_stock(traits: Traits) -> np.ndarray:
    """Where the stock of each draw settles in full breeding weather at beetle.stock_life_d. [1]

    The positive root of x = f ((1 + h) x / (x + h) + i), with the draw's life factor f, inflow i and
    breeders' half h.
    """
    f, i, h = traits.life_factor, traits.inflow, traits.breeders_half
    b = f * (1.0 + h + i) - h
    return (b + np.sqrt(b**2 + 4.0 * f * i * h)) / 2.0


def _turnover(drivers: Drivers, traits: Traits, numbers: Numbers, shape):
    """Share of the adults that see the next day, and what a full day's emergence adds to the stock."""
    share = numbers["beetle.warmed_share"]
    adults_c = share * traits.hive_c + (1.0 - share) * drivers.air_c
    life = np.maximum(adult_life(adults_c, numbers) * traits.life_factor, 1.0)
    kept = np.broadcast_to(np.exp(-1.0 / life), shape)
    return kept, (1.0 - kept) * life / numbers["beetle.stock_life_d"]


def run_course(
    drivers: Drivers, traits: Traits, numbers: Numbers, before: np.ndarray | None = None
) -> Course:
    """Breeding weather, pressure and stock of every draw.

    Parameters
    ----------
    drivers : Drivers
        One weather for all draws, or a row for each.
    traits : Traits
        The draws; all of one soil, since `drivers.soil_water` belongs to one.
    before : array, shape (draws, days), optional
        Stock of the first days, where an earlier run has it.
    """
    columns = traits.column
    breeding, rate, fit = breeding_weather(drivers, columns, numbers)
    starts = soil_windows(rate, numbers)
    pressure = mean_since(breeding, starts)
    unit = full_stock(columns)
    known = None if before is None else before * unit
    stock = standing_stock(pressure, rate, starts, drivers, columns, numbers, known) / unit
    # A tray works day and night, so what it meets goes by the day's mean and not by dusk.
    showing = stock * _moving(drivers.air_c, numbers)
    return Course(breeding, rate, fit, starts, pressure, stock, showing)
