"""What the pipeline hands to whoever shows it: records, outlooks and checks as plain objects."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from flowcast.advice.after import AfterAdvice
from flowcast.advice.refractometer import WaterReading
from flowcast.advice.ripe import RipeAdvice, SetsFast
from flowcast.advice.splits import SplitAdvice, SwarmWatch
from flowcast.advice.start import StartAdvice
from flowcast.advice.stores import StoresAdvice
from flowcast.advice.supers import SuperAdvice
from flowcast.advice.visits import Visits
from flowcast.advice.when import Advice
from flowcast.advice.winter import LeaveAdvice
from flowcast.beetle import BeetleOutlook, Count, Presence, Reading
from flowcast.flow.days import Days
from flowcast.flow.fit import FlowModel
from flowcast.flow.outlook import Outlook
from flowcast.flow.standing import Standing
from flowcast.reasons import Kilograms, Season
from flowcast.scale_log import CleanLog
from flowcast.sources.service import Origin
from flowcast.sources.stations import StationHours
from flowcast.tables import Place
from flowcast.verification import Verdict
from flowcast.weather import Normals, Weather
from flowcast.yard import Yard


@dataclass(frozen=True)
class WeatherPart:
    """A stretch of the weather from one source: UTC stamps first to last, hours in it."""

    origin: Origin
    first: pd.Timestamp
    last: pd.Timestamp
    hours: int
    place: Place

    @property
    def distance_km(self) -> float | None:
        """From the yard to the middle of the grid cell, or to the station. [km]"""
        cell = self.origin.cell
        if cell is None or cell[0] is None or cell[1] is None:
            return None
        north = np.radians(cell[0] - self.place.latitude)
        east = np.radians(cell[1] - self.place.longitude)
        flat = east * np.cos(np.radians(self.place.latitude))
        return float(6371 * np.hypot(north, flat))

    @property
    def height_difference_m(self) -> float | None:
        """What the figures stand for, less the yard's height. [m]"""
        cell = self.origin.cell
        return None if not cell or cell[2] is None else cell[2] - self.place.elevation_m

    def continues(self, later: WeatherPart) -> bool:
        """The same source goes on."""
        one, two = self.origin, later.origin
        return (one.service, one.model, one.corrections) == (
            two.service,
            two.model,
            two.corrections,
        )

    def joined(self, later: WeatherPart) -> WeatherPart:
        """Both as one stretch, as old as its oldest answer."""
        one, two = self.origin, later.origin
        times = [t for t in (one.retrieved_at, two.retrieved_at) if t is not None]
        origin = replace(
            two,
            retrieved_at=min(times, default=None),
            age_s=max(one.age_s, two.age_s),
            stale=one.stale or two.stale,
            notes=tuple(dict.fromkeys((*one.notes, *two.notes))),
        )
        first, last = min(self.first, later.first), max(self.last, later.last)
        return WeatherPart(origin, first, last, self.hours + later.hours, self.place)


@dataclass(frozen=True)
class Forecast:
    """The weather forecast as daily members from the day after the record, on the yard's climate."""

    members: tuple[pd.DataFrame, ...]
    is_point: bool
    origin: Origin

    @property
    def days(self) -> int:
        """Days of the shortest member."""
        return min(len(member) for member in self.members)


@dataclass(frozen=True)
class StationCheck:
    """The yard's weather against the nearest station's, temperature at the yard's height.

    temp_bias_c: ours less theirs, mean. rain_ratio: ours over theirs. widen: factor on the
    outlook's spread; 1 unless they differ much.
    """

    station: StationHours
    days: float
    temp_bias_c: float
    temp_rmse_c: float
    rain_ratio: float
    doubtful: bool
    widen: float


@dataclass(frozen=True)
class Record:
    """What is known of a yard on the morning of the issue date.

    daily: index every local date up to the day before, columns of `tables.SEASON_DAY` and the
    hours lost to each factor. spans: `tables.GAIN` of the yard. notes: plain sentences on what
    was filled, marked or left out. parts: where the weather's hours are from. columns: for each
    weather column the share of hours given, filled and missing. forecast: of the days ahead, where
    there is one. others: the same of other yards it learns from, nearest first, their days by this
    yard's clock of warmth.
    """

    yard: Yard
    issue_date: pd.Timestamp
    weather: Weather
    daily: pd.DataFrame
    normals: Normals
    days: Days
    logs: list[CleanLog]
    spans: pd.DataFrame
    apart: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    parts: list[WeatherPart] = field(default_factory=list)
    columns: pd.DataFrame = field(default_factory=pd.DataFrame)
    station: StationCheck | None = None
    forecast: Forecast | None = None
    others: list[Record] = field(default_factory=list)


@dataclass(frozen=True)
class LearnedFrom:
    """Another yard of the keeper whose log an outlook rests on too.

    seasons: of its log that were used. height_m: above this yard.
    """

    yard: str
    seasons: float
    distance_km: float
    height_m: float


@dataclass(frozen=True)
class YardOutlook:
    """An outlook with the record and the model it rests on."""

    record: Record
    model: FlowModel
    outlook: Outlook
    standing: Standing
    seed: int
    learned_from: tuple[LearnedFrom, ...] = ()


@dataclass(frozen=True)
class YardBeetles:
    """The beetles of a yard.

    outlook and expected are None, readings empty, where they are not known to live. expected: a kind of
    trap, and quantiles 10, 50, 90 % of what it would show in 14 days in strong colonies now.
    """

    record: Record
    presence: Presence
    outlook: BeetleOutlook | None
    readings: tuple[Reading, ...]
    counts: tuple[Count, ...]
    expected: tuple[str, tuple[float, ...]] | None
    seed: int


@dataclass(frozen=True)
class Checked:
    """What could be understood of a yard, with or without its weather.

    record is None where there is no weather to speak of; logs are there all the same. robbed:
    sentences about hives that lost by day what a neighbour gained.
    """

    yard: Yard
    record: Record | None
    logs: list[CleanLog]
    notes: list[str]
    robbed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Pulled:
    """What a pull brought: the record that stands on it, and how often each service was asked."""

    record: Record
    asked: dict[str, int]
    now: pd.Timestamp


@dataclass(frozen=True)
class Backtest:
    """Outlooks of past dates beside what came.

    record: the whole record, whose log is the truth. forecasts and windows: tables as
    `flowcast.verification.summary` describes them.
    """

    record: Record
    origins: pd.DatetimeIndex
    every: int
    horizon: int
    forecasts: pd.DataFrame
    windows: pd.DataFrame
    verdict: Verdict


@dataclass(frozen=True)
class YardSeason:
    """A season explained, by name, and another beside it where one was asked for.

    kilograms: what each driver brought, None where the log or the weather tell too little. crops: by
    season, index its name; kg and hives, by the keeper's words in work.csv.
    """

    record: Record
    name: str
    season: Season
    other: tuple[str, Season] | None = None
    kilograms: Kilograms | None = None
    crops: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"kg": [], "hives": []}))


@dataclass(frozen=True)
class HiveTiming:
    """All that is advised on one hive; None, or empty, where a question does not arise."""

    hive: str
    supers: SuperAdvice
    splits: tuple[SplitAdvice, ...]
    swarm: SwarmWatch
    stores: StoresAdvice
    leave: LeaveAdvice
    ripe: RipeAdvice
    start: StartAdvice | None = None

    @property
    def advice(self) -> tuple[Advice, ...]:
        """Every advice on the hive, in the order of the rooms."""
        parts = (self.swarm, self.supers, *self.splits, self.ripe, self.leave, self.stores)
        return (*parts, self.start) if self.start else parts


@dataclass(frozen=True)
class YardTiming:
    """Dated advice for a yard, read off the futures of its outlook and longer ones.

    until: the last day looked at. hives: none at a mere place on the map. usual: weeks for a split
    of a usual strong colony, where no hive is named. beetles: chance of high breeding weather, None
    where beetles are not known to live. water: a refractometer reading understood.
    """

    outlook: YardOutlook
    visits: Visits
    until: pd.Timestamp
    hives: tuple[HiveTiming, ...]
    usual: tuple[SplitAdvice, ...]
    after: AfterAdvice
    sets: tuple[SetsFast, ...]
    beetles: float | None = None
    water: WaterReading | None = None

    @property
    def record(self) -> Record:
        """What all of it rests on."""
        return self.outlook.record

    @property
    def issue_date(self) -> pd.Timestamp:
        """The morning on which it is issued."""
        return self.outlook.outlook.issue_date


@dataclass(frozen=True)
class YardReport:
    """All that a page tells of a yard; what is None has no section there.

    trust: the forecaster's own past record on this yard, where it was asked for; no_trust: why there
    is none in spite of that.
    """

    outlook: YardOutlook
    beetles: YardBeetles | None = None
    season: YardSeason | None = None
    dates: YardTiming | None = None
    trust: Backtest | None = None
    no_trust: str = ""
