"""One hive's log from the file's readings to daily net gain."""

from dataclasses import replace

import numpy as np
import pandas as pd

from flowcast.errors import NotEnoughDataError
from flowcast.numbers import Numbers
from flowcast.scale_log.causes import explain, handled_beside
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
from flowcast.scale_log.weathering import Weathering, estimate_weathering
from flowcast.scale_log.work import FoundSteps, find_steps


def clean_log(
    readings: pd.DataFrame,
    work: pd.DataFrame,
    *,
    hive: str,
    timezone: str,
    numbers: Numbers,
    air: pd.DataFrame | None = None,
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
    air : DataFrame, optional
        The yard's hours, UTC, end of hour: `temp_c` [°C], `precip_mm` [mm], `suitability` for
        flight [1]. With it the effects of warmth and water on the scale are sought.

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
    trace = trace_of(table, timezone)
    if not _reads_often(trace, numbers):
        log = clean_hand_weighings(
            table, work, counts, hive=hive, timezone=timezone, numbers=numbers
        )
        return explain([log], air, timezone, numbers)[0]
    traits = traits_of(trace, numbers)
    _mark_faults(table, trace, traits, timezone, numbers)
    looks, found = _steps_in(table, traits, work, timezone, numbers)
    weathering = _weathering_in(table, found.steps, air, timezone, numbers)
    if weathering.kg.any():
        # Steps are measured anew where weather no longer moves the weight beside them.
        table["weather_kg"] = weathering.at(hours_of(table.index))
        looks, found = _steps_in(table, traits, work, timezone, numbers)
    good = np.flatnonzero((table["mark"] == "good").to_numpy())
    table.iloc[good[found.amid], table.columns.get_loc("mark")] = "lifted"
    counts |= {name: n for name, n in found.counts.items() if n}
    steps = found.steps.assign(handled=handled_beside(table, found.steps["time"]))
    log = _assembled(table, looks, steps, weathering, counts, hive, timezone, numbers)
    return explain([log], air, timezone, numbers)[0]


def _steps_in(
    table: pd.DataFrame, traits: ScaleTraits, work: pd.DataFrame, timezone: str, numbers: Numbers
) -> tuple[Looks, FoundSteps]:
    lifted_h = hours_of(table.index[(table["mark"] == "lifted").to_numpy()])
    looks = looks_at(trace_of(table, timezone), traits, lifted_h, numbers)
    return looks, find_steps(looks, work, numbers, timezone=timezone)


def _weathering_in(
    table: pd.DataFrame,
    steps: pd.DataFrame,
    air: pd.DataFrame | None,
    timezone: str,
    numbers: Numbers,
) -> Weathering:
    """Effects of weather on the weights with all steps taken out."""
    trace = trace_of(table, timezone)
    trace = replace(trace, kg=net_weights(trace.hours, trace.kg, steps))
    night = trace.wall % 24 < numbers["scale_log.night_end_h"]
    level = pd.Series(trace.kg[night]).groupby(trace.day[night]).median()
    gain = level.diff().where(np.diff(level.index, prepend=0) == 1)
    # An evening and the night after it follow the same day, whose gain ends in that night.
    flow = gain.reindex(np.floor((trace.wall + 12) / 24).astype(np.int64)).to_numpy()
    return estimate_weathering(trace, flow, air, numbers)


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
    weathering: Weathering,
    counts: dict[str, int],
    hive: str,
    timezone: str,
    numbers: Numbers,
) -> CleanLog:
    trace = trace_of(table, timezone)
    nights = night_weights(trace, looks.traits, steps, weathering, timezone, numbers)
    odd = unexplained(looks, numbers)
    doubts = np.column_stack([days_of(stamps_of(odd["hours"]), timezone), odd["kg"].abs() / 2])
    table["net_kg"] = np.nan
    table.loc[(table["mark"] == "good").to_numpy(), "net_kg"] = net_weights(
        trace.hours, trace.kg, steps
    )
    gap_sd = numbers["scale_log.gap_sd_kg"]
    water = _gained_without_flight(nights, weathering.flight_h(timezone), numbers)
    doubts = np.concatenate([doubts, water])
    gains = gains_between(nights, steps, doubts, timezone, numbers, gap_sd_kg=gap_sd)
    counts |= {"days that gained without flight: water on the wood?": len(water)}
    return CleanLog(
        hive=hive,
        kind="scale",
        readings=table,
        steps=steps,
        gains=gains,
        nights=pd.Series(nights["raw_kg"].to_numpy(), dates_of(nights.index), name="night_kg"),
        counts={n: k for n, k in (counts | _counted(table, nights, gains)).items() if k},
        weathering=weathering.effects,
    )


def _gained_without_flight(
    nights: pd.DataFrame, flight_h: pd.Series, numbers: Numbers
) -> np.ndarray:
    """Days on which nobody flew and the hive gained all the same, as doubts (day, kg)."""
    day, gain = nights.index.to_numpy()[:-1], np.diff(nights["net_kg"].to_numpy())
    alone = np.diff(nights.index.to_numpy()) == 1
    still = flight_h.reindex(day).to_numpy() < numbers["scale_log.still_day_h"]
    odd = alone & still & (gain > numbers["scale_log.still_gain_kg"])
    return np.column_stack(
        [day[odd], np.maximum(gain[odd], numbers["scale_log.doubtful_sd_kg"] + 0.01)]
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
