"""Hand weighings: the total over an interval, kept as what it is."""

import numpy as np
import pandas as pd

from flowcast.messages import Note
from flowcast.numbers import Numbers
from flowcast.scale_log.log import (
    CleanLog,
    dates_of,
    days_of,
    hours_of,
    marked,
    steps_table,
    wall_hours_of,
)
from flowcast.scale_log.nights import gains_between, net_weights, taken_before
from flowcast.scale_log.words import SIZE_NOT_KNOWN, logged_note
from flowcast.tables import WORK_SIGN

POUNDS_A_KILOGRAM = 2.20462  # 1 lb = 0.45359237 kg by definition
_INSTANT = pd.Timedelta(seconds=1)


def clean_hand_weighings(
    table: pd.DataFrame,
    work: pd.DataFrame,
    counts: dict[str, int],
    *,
    hive: str,
    timezone: str,
    numbers: Numbers,
) -> CleanLog:
    """Clean a log of hand weighings.

    Parameters
    ----------
    table : DataFrame
        As tidy gives it.
    work, hive, timezone, numbers
        As clean_log.
    counts : dict
        What tidy has counted.

    Returns
    -------
    CleanLog
        Spans run from one night with a weighing beside it to the next; several beside one night
        count as their median. Work with stated kilograms is taken out. Work that changes weight
        without them is sized from the span it lies in, and makes it doubtful.

    Notes
    -----
    A weighing far from both its neighbours while these agree is marked "impossible" when the
    factor is that of pounds to kilograms, else "spike"; work with stated kilograms is taken
    out first, and where work without them lies between, nothing is said.

    What a span gained beyond the usual gain of the spans around it (`_usual`) is what work of
    unknown size in it is taken to weigh. The same is done, and listed as a step, where a span
    without such work loses more than colonies use (`hand_loss_kg_d`) while its neighbours do not, or,
    in a dearth, that much beyond what they lose; or gains more than any can: honey taken, or a swarm
    gone, that nobody wrote down. Honey taken out of a span that gained as much cannot be seen.

    Work on a date of weighing whose hour is not known may lie before or after it. It is put on the
    side that makes the two spans more like those around them; where neither is `hint_sure` times
    more likely it counts as after, and both spans carry its size as an error.
    """
    work, outside = _inside(table, work, timezone)
    steps = steps_table([_hand_row(line, numbers) for line in work.itertuples(index=False)])
    _mark_implausible(table, steps, numbers)
    good = table[table["mark"] == "good"]
    steps, doubts = _on_days_of_weighing(good, steps, work, timezone, numbers)
    steps = _sized(good, steps, timezone, numbers)
    table["net_kg"] = np.nan
    kg = net_weights(hours_of(good.index), good["weight_kg"].to_numpy(), steps)
    table.loc[good.index, "net_kg"] = kg
    nights = _weighings(table.loc[good.index], steps, timezone, numbers)
    gains = gains_between(nights, steps, doubts, timezone, numbers, gap_sd_kg=0.0)
    counts |= marked(table) | {
        "work outside the log": outside,
        "spans left out": max(len(nights) - 1, 0) - len(gains),
        "steps not in work.csv": int((~steps["logged"]).sum()),
    }
    return CleanLog(
        hive=hive,
        kind="hand weighings",
        readings=table,
        steps=steps,
        gains=gains,
        nights=pd.Series(nights["raw_kg"].to_numpy(), dates_of(nights.index), name="night_kg"),
        counts={name: n for name, n in counts.items() if n},
    )


def _inside(table: pd.DataFrame, work: pd.DataFrame, timezone: str) -> tuple[pd.DataFrame, int]:
    """Lines that change weight, in order of time, and how many of them lie outside the log."""
    work = work[work["what"].map(WORK_SIGN).fillna(0) != 0].sort_values("time", kind="stable")
    if not len(work):
        return work, 0
    first, last = days_of(table.index[[0, -1]], timezone)
    day = days_of(work["time"], timezone)
    inside = (day >= first) & (day <= last)
    return work[inside].reset_index(drop=True), int((~inside).sum())


def _hand_row(line, numbers: Numbers) -> dict:
    known = np.isfinite(line.kg)
    stated = WORK_SIGN[line.what] * float(line.kg) if known else np.nan
    sd = numbers["scale_log.stated_sd_kg" if known else "scale_log.unknown_work_sd_kg"]
    note = logged_note(line.what, "stated" if known else "unknown", np.nan, stated, False)
    kg = stated if known else 0.0
    return {
        "time": line.time, "kg": kg, "sd_kg": sd, "cause": line.what, "logged": True, "note": note,
    }  # fmt: skip


def _on_days_of_weighing(
    good: pd.DataFrame, steps: pd.DataFrame, work: pd.DataFrame, timezone: str, numbers: Numbers
) -> tuple[pd.DataFrame, np.ndarray]:
    """Steps on the side of their date's weighing where they fit, and doubts (day, kg) of others."""
    steps, doubts = steps.copy(), []
    weighed = days_of(good.index, timezone)
    local = good.index.tz_convert(timezone)
    # Weighings by date alone stand at midnight: their hour is as unknown as that of such a line.
    undated = bool((local == local.normalize()).all())
    for k in np.flatnonzero(~work["timed"].to_numpy(bool) | undated):
        day = int(days_of(steps["time"].iloc[[k]], timezone)[0])
        there = np.flatnonzero(weighed == day)
        if not len(there):
            continue
        sides = [good.index[there[0]] - _INSTANT, good.index[there[-1]] + _INSTANT]
        tried = [steps.assign(time=steps["time"].where(steps.index != k, side)) for side in sides]
        nights = _night_of(good.index[there], timezone, numbers)
        before, after = (_likeness(good, part, nights, timezone, numbers) for part in tried)
        sure = np.log(numbers["scale_log.hint_sure"])
        steps = tried[0] if before - after > sure else tried[1]
        if abs(before - after) <= sure:
            doubts += [(d, abs(steps["kg"].iloc[k])) for d in (nights[0] - 1, nights[-1])]
    steps = steps.sort_values("time", kind="stable", ignore_index=True)
    return steps, np.array(doubts, float).reshape(-1, 2)


def _likeness(
    good: pd.DataFrame, steps: pd.DataFrame, nights: np.ndarray, timezone: str, numbers: Numbers
) -> float:
    """How well the spans beside these nights fit the usual gain around them, a log-likelihood."""
    weighings = _net_by_day(good, steps, timezone, numbers)
    day_of = weighings.index.to_numpy()
    days, gain = np.diff(day_of), np.diff(weighings.to_numpy())
    touching = np.isin(day_of[:-1], nights) | np.isin(day_of[1:], nights)
    if touching.all() or not touching.any():
        return 0.0
    usual, spread = _usual(day_of, gain, ~touching, numbers)
    away = (gain - usual * days)[touching] / (spread * np.sqrt(days))[touching]
    return float(-np.log1p(away**2 / 4).sum() * 2.5)  # Student-t, four degrees of freedom


def _usual(
    day: np.ndarray, gain: np.ndarray, known: np.ndarray, numbers: Numbers
) -> tuple[np.ndarray, np.ndarray]:
    """For each span the usual gain of the known ones around it [kg/d], and their spread [kg/√d]."""
    days, middle = np.diff(day), (day[1:] + day[:-1]) / 2
    rate = gain / days
    scatter = 1.4826 * np.median(np.abs(rate[known] - np.median(rate[known]))) if known.any() else 0
    usual = np.zeros(len(gain))
    for k in range(len(gain)):
        near = known & (np.abs(middle - middle[k]) <= numbers["scale_log.hand_usual_d"])
        near[k] = False
        usual[k] = np.median(rate[near]) if near.any() else 0.0
    least = numbers["scale_log.hand_spread_kg"]
    return usual, np.full(len(gain), max(scatter * np.sqrt(np.median(days)), least))


def _sized(
    good: pd.DataFrame, steps: pd.DataFrame, timezone: str, numbers: Numbers
) -> pd.DataFrame:
    """Work of unknown size sized from its span, and steps nobody wrote down added."""
    weighings = _net_by_day(good, steps, timezone, numbers)
    day = weighings.index.to_numpy()
    days, gain = np.diff(day), np.diff(weighings.to_numpy())
    if not len(gain):
        return steps
    # By the instant, not the date: a weighing of the evening stands for the night after.
    last = good.groupby(_night_of(good.index, timezone, numbers)).tail(1).index
    span = np.searchsorted(last, pd.DatetimeIndex(steps["time"]), side="left") - 1
    unknown = steps["sd_kg"].to_numpy() >= numbers["scale_log.unknown_work_sd_kg"]
    unknown &= steps["kg"].to_numpy() == 0.0
    open_ = np.isin(np.arange(len(gain)), span[unknown])
    usual, _ = _usual(day, gain, ~open_ & ~_beyond(days, gain, 0.0 * gain, numbers), numbers)
    excess = gain - usual * days
    for k in np.flatnonzero(open_):
        steps = _with_size(steps, np.flatnonzero(unknown & (span == k)), float(excess[k]))
    found = [
        _found_row(good, int(day[k]), int(days[k]), float(excess[k]), timezone)
        | {"before_kg": float(weighings.iloc[k])}
        for k in np.flatnonzero(_beyond(days, gain, usual, numbers) & ~open_)
    ]
    return steps_table([*steps.to_dict("records"), *found])


def _with_size(steps: pd.DataFrame, lines: np.ndarray, excess: float) -> pd.DataFrame:
    """The excess of a span shared among its lines of unknown size that go the same way."""
    fit = [i for i in lines if WORK_SIGN[steps["cause"].iloc[i]] * excess > 0]
    steps = steps.copy()
    for i in fit:
        part = excess / len(fit)
        note = logged_note(steps["cause"].iloc[i], "sized", part, np.nan, False)
        sd = max(abs(part), steps["sd_kg"].iloc[i])
        steps.loc[steps.index[i], ["kg", "sd_kg", "note"]] = [part, sd, note]
    return steps


def _found_row(good: pd.DataFrame, day: int, days: int, kg: float, timezone: str) -> dict:
    """A step that nobody wrote down, in the middle of its span."""
    middle = dates_of([day])[0] + pd.Timedelta(hours=12 * days)
    time = middle.tz_localize(timezone, ambiguous=True, nonexistent="shift_forward")
    time = min(max(time.tz_convert("UTC"), good.index[0] + _INSTANT), good.index[-1])
    return {
        "time": time, "kg": kg, "sd_kg": abs(kg), "cause": "unknown", "logged": False, "note": "",
        "gap_h": 24.0 * days, "handled": False,
    }  # fmt: skip


def _beyond(days: np.ndarray, gain: np.ndarray, usual: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Spans that lose more than colonies use while their neighbours do not, or so much more than these
    besides; or gain too much."""
    error = 3 * np.sqrt(2) * numbers["scale_log.hand_sd_kg"]
    most = numbers["scale_log.hand_loss_kg_d"] * days + error
    amid_gains = usual > -numbers["scale_log.hand_loss_kg_d"] / 2
    odd = (gain < -most) & (amid_gains | (gain - usual * days < -most))
    odd |= gain < -(numbers["scale_log.swarm_kg"] + numbers["scale_log.loss_kg_d"] * days)
    return odd | (gain > numbers["scale_log.gain_kg_d"] * days)


def _net_by_day(
    good: pd.DataFrame, steps: pd.DataFrame, timezone: str, numbers: Numbers
) -> pd.Series:
    """Median net weight of each date with a weighing. [kg]"""
    steps = steps.sort_values("time", kind="stable")
    net = net_weights(hours_of(good.index), good["weight_kg"].to_numpy(), steps)
    return pd.Series(net).groupby(_night_of(good.index, timezone, numbers)).median()


def _night_of(times: pd.DatetimeIndex, timezone: str, numbers: Numbers) -> np.ndarray:
    """Number of the local date whose night a weighing stands for.

    Weighed in the evening a hive has the day's nectar in, as in the night after; in the morning it
    has none of it, as in the night before.
    """
    turns = 24 - numbers["scale_log.hand_day_turns_h"]
    return np.floor((wall_hours_of(times, timezone) + turns) / 24).astype(np.int64)


def _mark_implausible(table: pd.DataFrame, steps: pd.DataFrame, numbers: Numbers) -> None:
    """Mark lone weighings that cannot be, in place."""
    good = np.flatnonzero((table["mark"] == "good").to_numpy())
    if len(good) < 3:
        return
    hours, kg = hours_of(table.index[good]), table["weight_kg"].to_numpy()[good]
    net = net_weights(hours, kg, steps)
    before, here, after = slice(0, -2), slice(1, -1), slice(2, None)
    share = (hours[here] - hours[before]) / (hours[after] - hours[before])
    taken = (kg - net)[here]
    first, last = net[before] + taken, net[after] + taken
    ratio = kg[here] / (first + share * (last - first))
    near = numbers["scale_log.hand_agree_share"] * np.minimum(first, last)
    agree = (np.abs(first - last) < near) & _sizes_known(hours, steps)
    pounds = np.abs(np.abs(np.log(np.abs(ratio))) / np.log(POUNDS_A_KILOGRAM) - 1)
    far = np.abs(ratio - 1) > numbers["scale_log.hand_far_share"]
    marks = table["mark"].to_numpy(object).copy()
    marks[good[here][agree & far]] = "spike"
    unit = agree & (pounds < numbers["scale_log.hand_pounds_share"])
    marks[good[here][unit]] = "impossible"
    table["mark"] = marks


def _sizes_known(hours: np.ndarray, steps: pd.DataFrame) -> np.ndarray:
    """Whether all work between the neighbours of each inner weighing has a size."""
    unknown = [isinstance(n, Note) and bool(n.keys & SIZE_NOT_KNOWN) for n in steps["note"]]
    open_ended = steps[np.array(unknown, bool)]
    times = hours_of(pd.DatetimeIndex(open_ended["time"]))
    return np.searchsorted(times, hours[:-2]) == np.searchsorted(times, hours[2:])


def _weighings(
    good: pd.DataFrame, steps: pd.DataFrame, timezone: str, numbers: Numbers
) -> pd.DataFrame:
    """One row a night with a weighing, in the shape of night_weights."""
    night = _night_of(good.index, timezone, numbers)
    local = good.index.tz_convert(timezone)
    hour = local.hour + local.minute / 60
    # Of the day's gain a weighing at noon holds an unknown half, one at dawn or dusk hardly any.
    part = pd.Series(np.clip(np.minimum(hour - 6, 20 - hour) / 14, 0.0, 0.5)).groupby(night).max()
    table = pd.DataFrame({"net_kg": good["net_kg"].groupby(night).median(), "evening": False})
    rate = np.abs(np.diff(table["net_kg"]) / np.diff(table.index))
    a_day = np.fmax(np.append(rate, np.nan), np.append(np.nan, rate))
    table["raw_kg"] = table["net_kg"] + taken_before(table.index, steps, timezone)
    return table.assign(
        sd_kg=np.hypot(numbers["scale_log.hand_sd_kg"], part * np.nan_to_num(a_day))
    )
