"""One hive's log from the file's readings to daily net gain."""

import numpy as np
import pandas as pd

from flowcast.errors import NotEnoughDataError
from flowcast.numbers import Numbers
from flowcast.scale_log.faults import excursions, stuck
from flowcast.scale_log.hand import clean_hand_weighings
from flowcast.scale_log.jumps import Looks, looks_at, unexplained
from flowcast.scale_log.log import (
    CleanLog,
    ScaleTraits,
    Trace,
    dates_of,
    days_of,
    hours_of,
    marked,
    stamps_of,
)
from flowcast.scale_log.nights import gains_between, net_weights, night_weights
from flowcast.scale_log.tidy import tidy, trace_of, traits_of
from flowcast.scale_log.work import find_steps


def clean_log(
    readings: pd.DataFrame,
    work: pd.DataFrame,
    *,
    hive: str,
    timezone: str,
    numbers: Numbers,
) -> CleanLog:
    """Clean one hive's scale log or hand weighings.

    Parameters
    ----------
    readings : DataFrame
        Column `weight_kg`, tz-aware index: unsorted, repeated and missing values are welcome, at
        any spacing from a minute to several weeks. [kg]
    work : DataFrame
        Columns `time` (tz-aware), `timed` (false when only the date is known; `time` is then
        local noon), `what` (a word of work.csv), `kg` (0 or more, NaN = measure it), `note`.
        Only this hive's rows; may be empty.
    hive : str
        Name of the hive.
    timezone : str
        The yard's zone, which decides what a night and a date is.
    numbers : Numbers
        Group scale_log.

    Returns
    -------
    CleanLog
        A log too short for one gain has an empty gains table; that is no error.

    Raises
    ------
    NotEnoughDataError
        When no reading can be a hive's weight (empty, all NaN, all zeros), or the scale showed
        one value for weeks and nothing else. The message does not name the file; the caller
        puts it in front.
    TimeIndexError
        When the times carry no zone.
    """
    table, counts = tidy(readings, numbers)
    # A correction of the readings themselves (a scale that drifts with temperature) belongs
    # here: everything below sees only table["weight_kg"].
    trace = trace_of(table, timezone)
    if not _reads_often(trace, numbers):
        return clean_hand_weighings(
            table, work, counts, hive=hive, timezone=timezone, numbers=numbers
        )
    traits = traits_of(trace, numbers)
    _mark_faults(table, trace, traits, timezone, numbers)
    trace = trace_of(table, timezone)
    lifted_h = hours_of(table.index[(table["mark"] == "lifted").to_numpy()])
    looks = looks_at(trace, traits, lifted_h, numbers)
    steps, amid, of_work = find_steps(looks, work, numbers, timezone=timezone)
    table.loc[table.index[table["mark"] == "good"][amid], "mark"] = "lifted"
    counts |= {name: n for name, n in of_work.items() if n}
    return _assembled(table, looks, steps, counts, hive, timezone, numbers)


def _reads_often(trace: Trace, numbers: Numbers) -> bool:
    """Whether the typical day with readings has several, and the typical night one."""
    day = trace.day
    days, a_day = np.unique(day, return_counts=True)
    hour = trace.wall % 24
    late = hour >= numbers["scale_log.evening_start_h"]
    night = late | (hour < numbers["scale_log.night_end_h"])
    nights = len(np.unique(day[night]))
    often = np.median(a_day) >= numbers["scale_log.scale_readings"]
    return bool(often and 2 * nights >= len(days))


def _mark_faults(
    table: pd.DataFrame, trace: Trace, traits: ScaleTraits, timezone: str, numbers: Numbers
) -> None:
    """Mark stuck stretches, then spikes and lifts among what is left."""
    good = np.flatnonzero((table["mark"] == "good").to_numpy())
    marks = table["mark"].to_numpy(object).copy()
    stays = stuck(trace, traits, numbers)
    if stays.all():
        raise NotEnoughDataError(
            f"the scale shows {trace.kg[0]:g} kg and nothing else for {len(trace)} readings: it is "
            "stuck. Look at the scale."
        )
    marks[good[stays]] = "stuck"
    marks[good[~stays]] = excursions(trace.where(~stays), traits, numbers)
    table["mark"] = marks


def _assembled(
    table: pd.DataFrame,
    looks: Looks,
    steps: pd.DataFrame,
    counts: dict[str, int],
    hive: str,
    timezone: str,
    numbers: Numbers,
) -> CleanLog:
    trace = trace_of(table, timezone)
    nights = night_weights(trace, looks.traits, steps, timezone, numbers)
    odd = unexplained(looks, numbers)
    doubts = np.column_stack([days_of(stamps_of(odd["hours"]), timezone), odd["kg"].abs() / 2])
    table["net_kg"] = np.nan
    table.loc[(table["mark"] == "good").to_numpy(), "net_kg"] = net_weights(
        trace.hours, trace.kg, steps
    )
    gap_sd = numbers["scale_log.gap_sd_kg"]
    gains = gains_between(nights, steps, doubts, timezone, numbers, gap_sd_kg=gap_sd)
    return CleanLog(
        hive=hive,
        kind="scale",
        readings=table,
        steps=steps,
        gains=gains,
        nights=pd.Series(nights["raw_kg"].to_numpy(), dates_of(nights.index), name="night_kg"),
        counts=counts | _counted(table, nights, gains),
    )


def _counted(table: pd.DataFrame, nights: pd.DataFrame, gains: pd.DataFrame) -> dict[str, int]:
    """Everything marked, bridged or left out; names without a case are not in it."""
    days = nights.index.to_numpy()
    counts = marked(table) | {
        "nights without readings": int(days[-1] - days[0] + 1 - len(days)) if len(days) else 0,
        "nights from the evening": int(nights["evening"].sum()),
        "spans left out": max(len(nights) - 1, 0) - len(gains),
    }
    return {name: n for name, n in counts.items() if n}
