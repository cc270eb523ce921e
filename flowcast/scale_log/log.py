"""What the cleaner hands on, and the small shapes that pass between its parts."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

STEP_COLUMNS = [
    "time", "kg", "sd_kg", "cause", "confidence", "logged", "note", "gap_h", "before_kg", "handled",
]  # fmt: skip
HOUR_NS = 3_600_000_000_000


@dataclass(frozen=True)
class CleanLog:
    """One hive's log with faults marked and work taken out.

    Attributes
    ----------
    hive : str
        Name of the hive.
    kind : str
        "scale" (several readings a day) or "hand weighings".
    readings : DataFrame
        UTC index, sorted, each time once. `weight_kg` as read; `mark` is one of "good",
        "impossible" (above the scale's range), "restart" (at or below what a hive can weigh),
        "spike" (one reading off), "lifted" (a short dip or jump that returns), "stuck" (the same
        value for too long); `weather_kg` is what warmth and water made the scale show, as far as
        it is known and taken out; `net_kg` is the weight with that and all steps taken out, NaN
        unless good.
    steps : DataFrame
        One row a step: `time` (UTC), `kg` (signed, what was taken out of the weight), `sd_kg`,
        `cause` (words; a guess ends in a question mark), `confidence` (chance that the cause is
        right; 1 for work.csv), `logged` (from work.csv or found), `note` (plain words); `gap_h`
        between the readings on either side, `before_kg` the weight before it, `handled` whether
        the hive was lifted beside it.
    gains : DataFrame
        As tables.GAIN with `quality` ("good" or "doubtful") and `lower_bound`, true where the hive
        had no empty drawn comb left and might have gained more; the index "date" is the local date
        on which the span starts. Spans tile the log without overlap.
    nights : Series
        Local date -> night weight as the scale showed it at the start of that date, less what
        weather added. [kg]
        The night weight at a span's end less that at its start, less the kg of all steps whose
        local date lies in the span, is the span's gain.
    counts : dict
        What was marked, dropped or could not be used, by name.
    weathering : DataFrame
        Effects of warmth, wet wood and snow on the scale, as `Weathering.effects`: what each
        measures, its error, and whether it was taken out. Empty where there is no weather.
    """

    hive: str
    kind: str
    readings: pd.DataFrame
    steps: pd.DataFrame
    gains: pd.DataFrame
    nights: pd.Series
    counts: dict[str, int] = field(default_factory=dict)
    weathering: pd.DataFrame = field(default_factory=pd.DataFrame)


def all_good(count: int) -> np.ndarray:
    """So many marks "good", all of them one text: np.full would make a new one for every reading."""
    marks = np.empty(count, object)
    marks[:] = "good"
    return marks


@dataclass(frozen=True)
class Trace:
    """The good readings of a scale as plain arrays, in order of time.

    `hours` is UTC in hours since 1970; `wall` the same instants on the yard's clock, so that
    wall // 24 numbers local dates and wall % 24 is the local hour.
    """

    hours: np.ndarray
    wall: np.ndarray
    kg: np.ndarray

    def __len__(self) -> int:
        return len(self.hours)

    def where(self, keep: np.ndarray) -> "Trace":
        """The readings for which `keep` is true."""
        return Trace(self.hours[keep], self.wall[keep], self.kg[keep])

    @property
    def day(self) -> np.ndarray:
        """Number of the local date, days since 1970."""
        return np.floor(self.wall / 24).astype(np.int64)


@dataclass(frozen=True)
class ScaleTraits:
    """What a log tells of its own scale: spacing [h], noise [kg], resolution [kg]."""

    spacing_h: float
    noise_kg: float
    resolution_kg: float


def hours_of(index: pd.DatetimeIndex) -> np.ndarray:
    """Stamps as hours since 1970, UTC."""
    return index.as_unit("ns").asi8 / HOUR_NS


def wall_hours_of(index: pd.DatetimeIndex, timezone: str) -> np.ndarray:
    """Stamps as hours since 1970 on the yard's own clock, summer time included."""
    return hours_of(index.tz_convert(timezone).tz_localize(None))


def stamps_of(hours: np.ndarray) -> pd.DatetimeIndex:
    """Hours since 1970 as UTC stamps, to the second."""
    seconds = np.round(np.asarray(hours, float) * 3600).astype("int64")
    return pd.DatetimeIndex(seconds.astype("datetime64[s]")).as_unit("ns").tz_localize("UTC")


def dates_of(days: np.ndarray) -> pd.DatetimeIndex:
    """Day numbers as naive local dates."""
    dates = np.asarray(days, "int64").astype("datetime64[D]").astype("datetime64[ns]")
    return pd.DatetimeIndex(dates, name="date")


def days_of(times: pd.Series, timezone: str) -> np.ndarray:
    """Local day numbers of UTC times."""
    wall = wall_hours_of(pd.DatetimeIndex(times), timezone)
    return np.floor(wall / 24).astype(np.int64)


def steps_table(rows: list[dict]) -> pd.DataFrame:
    """Rows of steps as a table in order of time, with fixed column types."""
    steps = pd.DataFrame(rows, columns=STEP_COLUMNS)
    steps["time"] = pd.to_datetime(steps["time"], utc=True).dt.as_unit("ns")
    steps["confidence"] = steps["confidence"].astype(float).fillna(1.0)
    steps["gap_h"] = steps["gap_h"].astype(float).fillna(0.0)
    steps["handled"] = steps["handled"].eq(True)
    numbers = ("kg", "sd_kg", "before_kg")
    steps = steps.astype(dict.fromkeys(numbers, float) | {"logged": bool, "handled": bool})
    return steps.sort_values("time", kind="stable").reset_index(drop=True)


def marked(readings: pd.DataFrame) -> dict[str, int]:
    """How many readings carry each mark other than good."""
    marks = readings["mark"].value_counts().drop("good", errors="ignore")
    return {str(mark): int(n) for mark, n in marks.items()}
