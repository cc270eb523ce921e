"""What warmth and water do to the weight a scale shows: estimated from hours without flight.

A load cell shows more or less as it warms, wood soaks up rain and dries again, snow lies on the
roof. None of it is the bees' doing. In hours in which nobody flies (nights, cold days) the colony
only eats and dries nectar, evenly, so that what moves with temperature and rain beyond that is the
scale's and the wood's own. Each of the three effects is estimated for one hive from its own such
hours, and taken out only where its error says that it is there.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.log import Trace, days_of, hours_of, stamps_of

NAMES = ("warmth", "wet wood", "snow")
UNITS = {"warmth": "kg/°C", "wet wood": "kg when soaked", "snow": "kg/mm"}
EFFECT_COLUMNS = ["effect", "kg", "sd_kg", "unit", "hours", "taken_out"]
# Shapes tried for each effect, the best by the squares left over: memory of the scale's warmth [h];
# rain that the wood holds [mm] and its drying time at 10 °C [h]; melt without warmth [mm/h].
MEMORIES_H = (0.0, 1.5, 3.0, 6.0)
HOLDS = tuple((mm, dry_h) for mm in (1.5, 3.0, 6.0, 12.0) for dry_h in (12.0, 24.0, 48.0))
MELTS_MM_H = (0.02, 0.1, 0.3)
HALVES = 3  # rounds of taking out blocks and hours of the day in turn: more change no digit shown


@dataclass(frozen=True)
class Weathering:
    """What weather makes one hive's scale show.

    Attributes
    ----------
    effects : DataFrame
        One row an effect: `effect` (warmth, wet wood, snow), `kg` for a degree, for soaked wood
        or for a millimetre of water lying as snow, `sd_kg`, `unit`, `hours` it was estimated from
        and `taken_out`.
    hours, kg : arrays
        UTC hours since 1970, and the sum of the effects that are taken out. [kg]
    wet : array
        How wet the wood may be at these hours, 0 to 1: soaked or under snow. [1]
    flight : array
        How far each hour let bees fly, 0 to 1. [1]
    """

    effects: pd.DataFrame
    hours: np.ndarray = field(default_factory=lambda: np.zeros(0))
    kg: np.ndarray = field(default_factory=lambda: np.zeros(0))
    wet: np.ndarray = field(default_factory=lambda: np.zeros(0))
    flight: np.ndarray = field(default_factory=lambda: np.zeros(0))

    @property
    def known(self) -> bool:
        """Whether there is weather to go by."""
        return len(self.hours) > 0

    def at(self, hours: np.ndarray) -> np.ndarray:
        """What weather adds at these hours; 0 where nothing is known. [kg]"""
        return np.interp(hours, self.hours, self.kg) if self.known else np.zeros(len(hours))

    def wet_at(self, hours: np.ndarray) -> np.ndarray:
        """How wet the wood is at these hours; 0 where nothing is known. [1]"""
        return np.interp(hours, self.hours, self.wet) if self.known else np.zeros(len(hours))

    def flight_h(self, timezone: str) -> pd.Series:
        """Hours fit for flight by number of local date; empty where nothing is known. [h]"""
        # A stamp ends its hour: the hour before midnight belongs to the day before.
        day = days_of(stamps_of(self.hours - 0.5), timezone)
        return pd.Series(self.flight).groupby(day).sum()


NOTHING = Weathering(pd.DataFrame(columns=EFFECT_COLUMNS))


def estimate_weathering(
    trace: Trace, flow_kg: np.ndarray, air: pd.DataFrame | None, numbers: Numbers
) -> Weathering:
    """The three effects of weather on one hive's scale.

    Parameters
    ----------
    trace : Trace
        Good readings with all steps taken out.
    flow_kg : ndarray
        Net gain of the day that ends in the night of each reading, NaN where not known. [kg]
    air : DataFrame or None
        Hourly, UTC, end of hour: `temp_c`, `precip_mm`, `suitability` (as foraging_hours).
        None where the yard has no weather: nothing is then known of its effects.
    numbers : Numbers
        Group scale_log.

    Returns
    -------
    Weathering

    Notes
    -----
    Least squares of the hourly weight on the three courses, within blocks of hours without flight.
    Warmth is told only by stretches of a whole day, in which it both rises and falls. From each
    block its mean and its slope are taken off (what the colony uses), and from each hour
    of the day its mean over a month (what it does every night). Nights after a day of flow are
    left out: nectar drying off falls fast at first and slowly later, as the temperature does.
    Blocks that scatter three times more than the typical one are left out as well. The errors are
    those of whole blocks (a sandwich), since hours of one night err together. An effect is taken out
    when it exceeds `weathering_sure` times its error, less what its error makes of it.
    """
    if air is None or not len(air):
        return NOTHING
    hours = hours_of(pd.DatetimeIndex(air.index))
    inside = (hours >= trace.hours[0] - 240) & (hours <= trace.hours[-1] + 1)
    if inside.sum() < 48:
        return NOTHING
    sky = _Sky.of(air[inside], hours[inside])
    quiet = _quiet_hours(trace, flow_kg, sky, numbers)
    courses = _first_courses(sky, numbers)
    if len(quiet.kg) < 24 or quiet.blocks < numbers["scale_log.weathering_blocks"]:
        return Weathering(
            _effects(None, 0, numbers), sky.hours, 0 * sky.hours, _wet(courses), sky.flight
        )
    quiet = quiet.typical(courses, sky)
    courses = _best_courses(quiet, sky, courses, numbers)
    effects = _effects(_fitted(quiet, courses, sky, numbers), len(quiet.kg), numbers)
    out = effects["taken_out"].to_numpy(bool)
    size = _drawn_in(effects["kg"].to_numpy(), effects["sd_kg"].to_numpy())
    taken = (size * out) @ courses
    return Weathering(effects, sky.hours, taken, _wet(courses), sky.flight)


@dataclass(frozen=True)
class _Sky:
    """Weather as arrays without holes."""

    hours: np.ndarray
    temp: np.ndarray
    rain: np.ndarray
    flight: np.ndarray

    @classmethod
    def of(cls, air: pd.DataFrame, hours: np.ndarray) -> "_Sky":
        """Temperature bridged, rain and flight nothing where they are not known."""
        temp = air["temp_c"].interpolate(limit_direction="both").fillna(0.0).to_numpy()
        rain, flight = (air[name].fillna(0.0).to_numpy() for name in ("precip_mm", "suitability"))
        return cls(hours, temp, rain, flight)


@dataclass(frozen=True)
class _Quiet:
    """Hourly weights without flight, each in its block and its cell of month and hour of day."""

    hours: np.ndarray
    kg: np.ndarray
    block: np.ndarray
    cell: np.ndarray

    @property
    def blocks(self) -> int:
        """How many stretches there are."""
        return len(np.unique(self.block))

    def part(self, keep: np.ndarray) -> "_Quiet":
        """Some of the hours, blocks and cells numbered anew."""
        block, cell = (np.unique(x[keep], return_inverse=True)[1] for x in (self.block, self.cell))
        return _Quiet(self.hours[keep], self.kg[keep], block, cell)

    @property
    def whole_days(self) -> np.ndarray:
        """Whether each hour lies in a stretch that holds a day's rise and fall of temperature."""
        return (np.bincount(self.block) >= 20)[self.block]

    def typical(self, courses: np.ndarray, sky: _Sky) -> "_Quiet":
        """Without the blocks that scatter far more than others."""
        _, rest, _ = _solved(self, courses, sky)
        count = np.bincount(self.block)
        scatter = np.sqrt(np.bincount(self.block, rest**2) / np.maximum(count, 1))
        return self.part((scatter <= 3 * np.median(scatter))[self.block])


def _quiet_hours(trace: Trace, flow_kg: np.ndarray, sky: _Sky, numbers: Numbers) -> _Quiet:
    """The hourly means of the weight in long enough stretches without flight."""
    hour, wall, kg, flow = _hourly(trace, flow_kg)
    reach = int(numbers["scale_log.settled_h"])
    flying = np.convolve(sky.flight > 0.01, np.ones(2 * reach + 1), mode="same") > 0
    at = np.searchsorted(sky.hours, hour - 1e-6)
    known = at < len(sky.hours)
    at = np.minimum(at, len(sky.hours) - 1)
    still = known & ~flying[at] & ~(flow > numbers["scale_log.still_gain_kg"])
    hour, wall, kg = hour[still], wall[still], kg[still]
    block = _blocks(hour, numbers["scale_log.weathering_block_h"])
    long = np.bincount(block, minlength=1)[block] >= 6 if len(block) else np.zeros(0, bool)
    cell = (np.floor(wall / (24 * 30)) * 24 + np.floor(wall % 24)).astype(np.int64)
    return _Quiet(hour, kg, block, cell).part(long)


def _hourly(trace: Trace, flow_kg: np.ndarray) -> tuple[np.ndarray, ...]:
    """Means over each hour of time, local time, weight and the day's gain."""
    key = np.ceil(trace.hours - 1e-9).astype(np.int64)
    first = np.flatnonzero(np.diff(key, prepend=key[0] - 1))
    count = np.diff(np.append(first, len(key)))
    means = [np.add.reduceat(x, first) / count for x in (trace.hours, trace.wall, trace.kg)]
    return *means, flow_kg[first]


def _blocks(hour: np.ndarray, longest: float) -> np.ndarray:
    """Number of the stretch each hour lies in; stretches end at holes of two hours or full length."""
    if not len(hour):
        return np.zeros(0, np.int64)
    starts = np.flatnonzero(np.diff(hour, prepend=-np.inf) > 2.5)
    run = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(hour))))
    part = np.floor((hour - hour[starts][run]) / longest).astype(np.int64)
    return np.unique(run * 10_000 + part, return_inverse=True)[1]


def warmth_course(temp: np.ndarray, memory_h: float) -> np.ndarray:
    """Warmth of the scale about its mean: the air's, following with this memory. [K]"""
    share = 1.0 - np.exp(-1.0 / memory_h) if memory_h else 1.0
    warm, out = float(temp[0]), np.empty(len(temp))
    for i, degrees in enumerate(temp.tolist()):
        warm += share * (degrees - warm)
        out[i] = warm
    return out - out.mean()


def wood_course(
    temp: np.ndarray, rain: np.ndarray, hold_mm: float, dry_h: float, numbers: Numbers
) -> np.ndarray:
    """How soaked the wood is, 0 to 1: a bucket that overflows at `hold_mm` and dries.

    The drying time is that at 10 °C; like the vapour that air can hold it halves every 10 °C.
    """
    keeps = np.exp(-(2.0 ** ((np.clip(temp, -20, 40) - 10) / 10)) / dry_h)
    wets = np.where(temp > numbers["scale_log.snow_below_c"], rain, 0.0)
    held, out = 0.0, np.empty(len(rain))
    for i, (mm, keep) in enumerate(zip(wets.tolist(), keeps.tolist(), strict=True)):
        held = min(held + mm, hold_mm) * keep
        out[i] = held
    return out / hold_mm


def snow_course(
    temp: np.ndarray, rain: np.ndarray, melt_mm_h: float, numbers: Numbers
) -> np.ndarray:
    """Water lying on the roof as snow, at most scale_log.snow_most_mm. [mm]

    It melts by scale_log.snow_melt_mm_h for each degree above freezing, and `melt_mm_h` are blown or
    slide off whatever the warmth.
    """
    falls = np.where(temp <= numbers["scale_log.snow_below_c"], rain, 0.0)
    melts = numbers["scale_log.snow_melt_mm_h"] * np.maximum(temp, 0.0) + melt_mm_h
    most = numbers["scale_log.snow_most_mm"]
    lies, out = 0.0, np.empty(len(rain))
    for i, (mm, melt) in enumerate(zip(falls.tolist(), melts.tolist(), strict=True)):
        lies = min(max(lies + mm - melt, 0.0), most)
        out[i] = lies
    return out


def _first_courses(sky: _Sky, numbers: Numbers) -> np.ndarray:
    return np.array(
        [
            warmth_course(sky.temp, 1.5),
            wood_course(sky.temp, sky.rain, 3.0, 24.0, numbers),
            snow_course(sky.temp, sky.rain, 0.1, numbers),
        ]
    )


def _best_courses(quiet: _Quiet, sky: _Sky, courses: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Each course in turn in the shape that leaves the least squares, the others as they are."""
    tried = [
        [warmth_course(sky.temp, memory) for memory in MEMORIES_H],
        [wood_course(sky.temp, sky.rain, *shape, numbers) for shape in HOLDS],
        [snow_course(sky.temp, sky.rain, melt, numbers) for melt in MELTS_MM_H],
    ]
    courses = courses.copy()
    for k, shapes in enumerate(tried):
        left = []
        for shape in shapes:
            courses[k] = shape
            left.append(float((_solved(quiet, courses, sky)[1] ** 2).sum()))
        courses[k] = shapes[int(np.argmin(left))]
    return courses


def _solved(quiet: _Quiet, courses: np.ndarray, sky: _Sky) -> tuple[np.ndarray, ...]:
    """Sizes of the effects, what is left over, and the courses with the usual taken off."""
    seen = [np.interp(quiet.hours, sky.hours, course) for course in courses]
    table = _unusual(np.column_stack([quiet.kg, *seen]), quiet)
    # A night alone only cools, as nectar only dries: warmth is told from whole days without flight.
    table[~quiet.whole_days, 1] = 0.0
    kg, unusual = table[:, 0], table[:, 1:]
    size = np.linalg.lstsq(unusual, kg, rcond=None)[0]
    return size, kg - unusual @ size, unusual


def _unusual(table: np.ndarray, quiet: _Quiet) -> np.ndarray:
    """Each column less its mean and slope in every block and its mean in every cell."""
    count = np.bincount(quiet.block)
    time = quiet.hours - (np.bincount(quiet.block, quiet.hours) / count)[quiet.block]
    square = np.bincount(quiet.block, time**2)
    cells = np.bincount(quiet.cell)
    table = table.copy()
    for column in table.T:
        for _ in range(HALVES):
            column -= (np.bincount(quiet.cell, column) / cells)[quiet.cell]
            column -= (np.bincount(quiet.block, column) / count)[quiet.block]
            column -= (np.bincount(quiet.block, column * time) / square)[quiet.block] * time
    return table


def _fitted(
    quiet: _Quiet, courses: np.ndarray, sky: _Sky, numbers: Numbers
) -> tuple[np.ndarray, np.ndarray]:
    """Sizes and their errors, the errors by whole blocks."""
    size, rest, unusual = _solved(quiet, courses, sky)
    inverse = np.linalg.pinv(unusual.T @ unusual)
    scores = np.array([np.bincount(quiet.block, unusual[:, k] * rest) for k in range(len(courses))])
    variance = np.diag(inverse @ (scores @ scores.T) @ inverse)
    moves = (unusual**2).sum(axis=0) > 1e-6
    days = len(np.unique(quiet.block[quiet.whole_days]))
    moves[0] &= days >= numbers["scale_log.weathering_blocks"]
    return np.where(moves, size, 0.0), np.where(moves, np.sqrt(variance), np.inf)


def _effects(
    fitted: tuple[np.ndarray, np.ndarray] | None, hours: int, numbers: Numbers
) -> pd.DataFrame:
    kg, sd = fitted or (np.zeros(3), np.full(3, np.inf))
    sure = np.abs(kg) > numbers["scale_log.weathering_sure"] * sd
    # No scale is so bad, and water weighs something.
    sure &= [abs(kg[0]) < numbers["scale_log.drift_most_kg_c"], kg[1] > 0, kg[2] > 0]
    return pd.DataFrame(
        {
            "effect": NAMES, "kg": kg, "sd_kg": sd, "unit": [UNITS[n] for n in NAMES],
            "hours": hours, "taken_out": sure,
        }
    )  # fmt: skip


def _drawn_in(kg: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Sizes drawn to nothing by as much as their errors leave them in doubt."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(kg != 0, kg * np.maximum(0.0, 1 - sd**2 / kg**2), 0.0)


def _wet(courses: np.ndarray) -> np.ndarray:
    """Soaked wood or snow on the roof, 0 to 1; two millimetres lying as snow count as soaked."""
    return np.clip(courses[1] + courses[2] / 2.0, 0.0, 1.0)
