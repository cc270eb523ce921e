"""What is read off the beetles' course: the season so far, weeks ahead, spells of high pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.beetle.clock import emergence_day, emerges, generations
from flowcast.beetle.course import SPIN_UP_D, Course, run_course
from flowcast.beetle.ground import drivers_ahead, one_after_the_other, past_drivers, soil_ahead
from flowcast.beetle.stages import in_hive_days
from flowcast.beetle.traits import Traits
from flowcast.numbers import Numbers
from flowcast.spells import end_dates, first_ahead, spells, spells_each, start_dates, three
from flowcast.tables import Place
from flowcast.weather import WeatherAhead, midwinter, normal_course, season_day

TAIL_D = 200  # days before the issue date that a run of weather needs behind it
COURSE_D = 365  # days of the past that are shown
LINES = 60  # draws in which generations are counted, season by season
BANDS = ("low", "moderate", "high")
Three = tuple[pd.Timestamp | None, ...]


@dataclass(frozen=True)
class HighSpell:
    """The first spell of high breeding weather that touches the days ahead.

    chance: that there is one. open_chance: that it is on already. start: quantiles 10, 50, 90 % as
    dates, given that one is yet to come; end: given that there is one, None where most runs stay
    high to the last day.
    """

    chance: float
    open_chance: float
    start: Three | None
    end: Three | None


@dataclass(frozen=True)
class Cohort:
    """Larvae that go into the soil on the issue date: chance that they emerge within the days looked
    at, when (quantiles 10, 50, 90 %, given that), and of a hundred how many in the middle; dies: chance
    that too few outlive their time in the soil."""

    chance: float
    dies: float
    emerges: Three | None
    of_hundred: float


@dataclass(frozen=True)
class Generations:
    """Generations that leave the soil in a season, each as quantiles 10, 50, 90 %.

    season_from: its first day, midwinter. so_far: up to the issue date. season: expected by its
    end, and usual: in past seasons; both NaN without a past season.
    """

    season_from: pd.Timestamp
    so_far: tuple[float, ...]
    season: tuple[float, ...]
    usual: tuple[float, ...]


@dataclass(frozen=True)
class BeetleOutlook:
    """Beetle breeding weather and standing beetles, from one issue date.

    course: index the local date, the last year and the days ahead; pressure_q10, _q50, _q90 and the
    same of stock; usual, usual_q10, usual_q90 of the pressure by the yard's past years (NaN without
    a whole one). weekly: index the first date of each week ahead; p_high, chance that its mean
    pressure is high; usual_high, the same on these dates in past years; q10, q50, q90 of that mean;
    showing, the middle of the stock that a tray meets. pressure_now: quantiles 10, 50, 90 % on
    the evening before the issue date, high_now the chance that it is high. emerging: chance that
    adults are leaving the soil on the issue date; next_emergence: when they next do, None when less
    than half of the draws see them within the days looked at. breeding_season: first and last date
    of the usual year with pressure at moderate or above, a whole year where it always is; None
    where it never is.
    years: whole ones of weather. weather: labels of the runs ahead. showing, dates: of every draw and day before the issue date, for counts.
    """

    issue_date: pd.Timestamp
    course: pd.DataFrame
    weekly: pd.DataFrame
    spell: HighSpell
    cohort: Cohort
    emerging: float
    next_emergence: Three | None
    generations: Generations
    breeding_season: tuple[pd.Timestamp, pd.Timestamp] | None
    pressure_now: tuple[float, ...]
    high_now: float
    years: int
    weather: frozenset[str]
    dates: pd.DatetimeIndex
    showing: np.ndarray
    traits: Traits

    @property
    def days_ahead(self) -> int:
        """How many days are looked at, the issue date included."""
        return (self.course.index[-1] - self.issue_date).days + 1


@dataclass(frozen=True)
class _Drawn:
    """Every draw's course: the past whole, the days ahead with a tail of the past before them.

    Of the standing stock only the end of the past, as far as it is shown.
    """

    pressure: np.ndarray
    stock: np.ndarray
    showing: np.ndarray
    ahead: Course
    lines: list[tuple[np.ndarray, Course]]


def read_outlook(
    daily: pd.DataFrame,
    ahead: WeatherAhead,
    traits: Traits,
    place: Place,
    numbers: Numbers,
    *,
    irrigated: bool = False,
    unknown: int = 0,
) -> BeetleOutlook:
    """Run the beetles' course through the record and the days ahead, and read it.

    Parameters
    ----------
    daily : DataFrame
        The record's days, up to the last known one.
    ahead : WeatherAhead
        Runs of weather from the day after.
    traits : Traits
        The draws, each of which follows one run of weather.
    unknown : int
        Days of `ahead` that lie before the issue date.
    """
    drawn = _draw(daily, ahead, traits, numbers, irrigated)
    edges = numbers["beetle.high_from"] + traits.edge_shift
    past = daily.index
    issue_date = ahead.dates[unknown]
    usual = _usual(drawn, edges, past, place, numbers)
    now = TAIL_D + unknown
    pressure = drawn.ahead.pressure
    return BeetleOutlook(
        issue_date=issue_date,
        course=_course(drawn, past, ahead.dates, usual),
        weekly=_weekly(drawn.ahead, now, edges, ahead.dates[unknown:], usual),
        spell=_spell(pressure, now, edges, ahead.dates[unknown:], numbers),
        cohort=_cohort(drawn.ahead, now, ahead.dates[unknown:], numbers),
        **_emergence(drawn.ahead, now, ahead.dates[unknown:], numbers),
        generations=_generations(drawn, past, _season_first(issue_date, place), traits, numbers),
        breeding_season=_breeding_season(usual, issue_date, numbers),
        pressure_now=tuple(np.quantile(pressure[:, now - 1], [0.1, 0.5, 0.9])),
        high_now=float((pressure[:, now - 1] >= edges).mean()),
        years=len(past) // 365,
        weather=frozenset(ahead.labels),
        dates=past,
        showing=drawn.showing,
        traits=traits,
    )


def _draw(daily, ahead: WeatherAhead, traits: Traits, numbers: Numbers, irrigated: bool) -> _Drawn:
    count, days = len(traits), len(daily)
    reach = {"pressure": days, "stock": min(COURSE_D, days), "showing": days}
    kept = {name: np.empty((count, length), np.float32) for name, length in reach.items()}
    parts, order, lines = [], [], []
    soil_c, tail = soil_ahead(daily, ahead, numbers), min(TAIL_D, days)
    grown = 1.0 - np.exp(-np.arange(1, len(ahead.dates) + 1) / numbers["beetle.seam_d"])
    for rows in traits.blocks():
        part = traits.rows(rows)
        before = past_drivers(daily, part.ground, numbers, irrigated=irrigated)
        past = run_course(before, part, numbers)
        for name, values in kept.items():
            values[rows] = getattr(past, name)[:, -reach[name] :]
        water = before.soil_water[-1]
        later = drivers_ahead(ahead, soil_c, part.ground, water, numbers, irrigated=irrigated)
        seam = part.seam_shift_c[:, None] * grown
        both = one_after_the_other(before, later, rows % len(ahead.labels), tail, seam)
        parts.append(run_course(both, part, numbers, before=past.stock[:, -tail:]))
        order.append(rows)
        few = slice(0, max(1, LINES * len(rows) // count))
        # Copied: views of a few draws would keep the courses of all of them.
        lines.append((rows[few], past.part(rows=few).each(np.copy)))
    whole = Course.stacked(parts, np.argsort(np.concatenate(order)))
    return _Drawn(**kept, ahead=_padded(whole, TAIL_D - tail), lines=lines)


def _padded(course: Course, lack: int) -> Course:
    """A short past, filled up in front with its first day, so that positions hold everywhere."""
    wide = course.each(lambda values: np.pad(values, ((0, 0), (lack, 0)), mode="edge"))
    wide.starts[:, lack:] += lack
    return wide


@dataclass(frozen=True)
class _Usual:
    """By season day: the middle draw's pressure over past years, and how often it was high."""

    pressure: pd.DataFrame
    high: pd.Series
    season_start: tuple[int, int]

    def on(self, dates: pd.DatetimeIndex) -> pd.DataFrame:
        """Rows for these dates: mean, q10, q90, high."""
        table = self.pressure.assign(high=self.high)
        return table.iloc[season_day(dates, self.season_start)].set_axis(dates)


def _usual(drawn: _Drawn, edges, past: pd.DatetimeIndex, place: Place, numbers: Numbers) -> _Usual:
    middle = np.median(drawn.pressure, axis=0)
    high = (drawn.pressure >= edges[:, None]).mean(axis=0)
    table = pd.DataFrame({"pressure": middle, "high": high}, index=past)
    table = table.iloc[SPIN_UP_D:] if len(table) > 3 * SPIN_UP_D else table
    start = place.season_start
    pressure = normal_course(table, "pressure", start, numbers)
    return _Usual(pressure, normal_course(table, "high", start, numbers)["mean"], start)


def _course(drawn: _Drawn, past, dates: pd.DatetimeIndex, usual: _Usual) -> pd.DataFrame:
    shown = min(COURSE_D, len(past))
    index = past[-shown:].append(dates)
    parts = {}
    for name in ("pressure", "stock"):
        values = np.hstack(
            [getattr(drawn, name)[:, -shown:], getattr(drawn.ahead, name)[:, TAIL_D:]]
        )
        parts |= {
            f"{name}_q{100 * q:.0f}": v
            for q, v in zip(
                (0.1, 0.5, 0.9), np.quantile(values, [0.1, 0.5, 0.9], axis=0), strict=True
            )
        }
    normal = usual.on(index)
    return pd.DataFrame(parts, index=index).assign(
        usual=normal["mean"], usual_q10=normal["q10"], usual_q90=normal["q90"]
    )


def _weekly(ahead: Course, now: int, edges, dates: pd.DatetimeIndex, usual: _Usual) -> pd.DataFrame:
    """Weeks from the issue date on; a rest of less than a week is left out."""
    rows = []
    for first in range(0, len(dates) - 6, 7):
        week = slice(now + first, now + first + 7)
        pressure = ahead.pressure[:, week].mean(axis=1)
        low, middle, high = np.quantile(pressure, [0.1, 0.5, 0.9])
        rows.append(
            {
                "p_high": float((pressure >= edges).mean()),
                "usual_high": float(usual.on(dates[first : first + 7])["high"].mean()),
                "q10": low,
                "q50": middle,
                "q90": high,
                "showing": float(np.median(ahead.showing[:, week])),
            }
        )
    return pd.DataFrame(rows, index=dates[: 7 * len(rows) : 7])


def _spell(pressure, now: int, edges, dates: pd.DatetimeIndex, numbers: Numbers) -> HighSpell:
    least, gap = int(numbers["beetle.spell_least_d"]), int(numbers["beetle.spell_break_d"])
    high = pressure >= edges[:, None]
    found = [first_ahead(own, now, len(dates)) for own in spells_each(high, least, gap)]
    kept = [spell for spell in found if spell]
    if not kept:
        return HighSpell(0.0, 0.0, None, None)
    first, last = (np.array(kept) - now).T
    coming = first[first > 0]
    return HighSpell(
        chance=len(kept) / len(found),
        open_chance=float((first <= 0).sum() / len(found)),
        start=start_dates(coming, dates) if len(coming) else None,
        end=end_dates(last, dates),
    )


def _cohort(ahead: Course, now: int, dates: pd.DatetimeIndex, numbers: Numbers) -> Cohort:
    day = emergence_day(ahead, now, numbers) - now
    comes, dies = np.isfinite(day), float(np.isnan(day).mean())
    if not comes.any():
        return Cohort(0.0, dies, None, 0.0)
    lived = np.cumsum(ahead.fit[:, now:], axis=1) / np.arange(1, len(dates) + 1)
    survived = lived[comes, day[comes].astype(int)] * numbers["beetle.soil_survival"]
    when = tuple(dates[0] + pd.Timedelta(days=int(d)) for d in three(day[comes]))
    return Cohort(float(comes.mean()), dies, when, float(100 * np.median(survived)))


def _emergence(ahead: Course, now: int, dates: pd.DatetimeIndex, numbers: Numbers) -> dict:
    """Whether adults are leaving the soil, and when they next do."""
    out = emerges(ahead, numbers)[:, now:]
    comes = out.any(axis=1)
    first = np.argmax(out, axis=1)[comes]
    later = start_dates(first, dates) if comes.mean() >= 0.5 else None
    return {"emerging": float(out[:, 0].mean()), "next_emergence": later}


def _season_first(issue_date: pd.Timestamp, place: Place) -> pd.Timestamp:
    """The midwinter before the issue date."""
    day = int(season_day(pd.DatetimeIndex([issue_date]), midwinter(place))[0])
    return issue_date - pd.Timedelta(days=day)


def _generations(
    drawn: _Drawn, past: pd.DatetimeIndex, first: pd.Timestamp, traits: Traits, numbers: Numbers
) -> Generations:
    """Generations so far, by the season's end, and in past seasons.

    What is still to come is taken from what came after this date in past seasons of the same draw.
    """
    starts = [first - pd.DateOffset(years=y) for y in range(1, 1 + len(past) // 365)]
    seasons = [p for s in starts if (p := past.get_indexer([s])[0]) >= 0]
    here, length = int(past.searchsorted(first)), max((past[-1] - first).days + 1, 0)
    so_far, whole, total = [], [], []
    for rows, course in drawn.lines:
        part = traits.rows(rows)
        pause = in_hive_days(part, numbers) + part.prelay_d
        now = generations(course, here, pause, numbers)
        so_far.append(now)
        for p in seasons:
            year = generations(course.part(days=slice(p, p + 365)), 0, pause, numbers)
            part_of = generations(course.part(days=slice(p, p + length)), 0, pause, numbers)
            whole.append(year)
            total.append(now + year - part_of)
    return Generations(
        max(first, past[0]), *(_quantiles(parts) for parts in (so_far, total, whole))
    )


def _quantiles(parts: list[np.ndarray]) -> tuple[float, ...]:
    if not parts:
        return (np.nan,) * 3
    return tuple(float(v) for v in three(np.concatenate(parts)))


def _breeding_season(usual: _Usual, issue_date: pd.Timestamp, numbers: Numbers):
    """First and last date, from the issue date's season on, of the longest usual time of breeding."""
    moderate = usual.pressure["mean"].to_numpy() >= numbers["beetle.moderate_from"]
    if not moderate.any():  # never, or no whole past year to tell
        return None
    # Turned so that the year begins outside the time of breeding, which may span its end.
    turn = int(np.argmin(moderate))
    found = spells(np.roll(moderate, -turn), 1, int(numbers["beetle.spell_break_d"]))
    first, last = max(found, key=lambda s: s[1] - s[0])
    start = pd.Timestamp(issue_date.year, *usual.season_start) + pd.Timedelta(days=turn)
    return start + pd.Timedelta(days=first), start + pd.Timedelta(days=last)
