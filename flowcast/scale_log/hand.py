"""Hand weighings: the total over an interval, kept as what it is."""

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.log import CleanLog, dates_of, days_of, hours_of, marked, steps_table
from flowcast.scale_log.nights import gains_between, net_weights, taken_before
from flowcast.scale_log.words import logged_note
from flowcast.tables import WORK_SIGN

POUNDS_A_KILOGRAM = 2.20462  # 1 lb = 0.45359237 kg by definition


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
        Spans run from one date with a weighing to the next; several on one date count as their
        median. Work with stated kilograms is taken out. Work that changes weight without them
        makes its span doubtful: nothing is taken out, and the error is `unknown_work_sd_kg`.

    Notes
    -----
    A weighing far from both its neighbours while these agree is marked "impossible" when the
    factor is that of pounds to kilograms, else "spike"; work with stated kilograms is taken
    out first, and where work without them lies between, nothing is said. A loss larger than a
    hive can have (a swarm and `loss_kg_d` a day) is work that nobody wrote down: doubtful too.
    Work on a date of weighing whose hour is not known may lie before or after it: it counts
    as after, and both spans carry its size as an error.
    """
    steps, outside, doubts = _hand_steps(table, work, timezone, numbers)
    _mark_implausible(table, steps, numbers)
    good = (table["mark"] == "good").to_numpy()
    table["net_kg"] = np.nan
    hours, kg = hours_of(table.index[good]), table["weight_kg"].to_numpy()[good]
    table.loc[good, "net_kg"] = net_weights(hours, kg, steps)
    nights = _weighings(table[good], steps, timezone, numbers)
    doubts = np.concatenate([doubts, _beyond_bees(nights, numbers)])
    gains = gains_between(nights, steps, doubts, timezone, numbers, gap_sd_kg=0.0)
    left_out = max(len(nights) - 1, 0) - len(gains)
    counts |= marked(table) | {"work outside the log": outside, "spans left out": left_out}
    return CleanLog(
        hive=hive,
        kind="hand weighings",
        readings=table,
        steps=steps,
        gains=gains,
        nights=pd.Series(nights["raw_kg"].to_numpy(), dates_of(nights.index), name="night_kg"),
        counts={name: n for name, n in counts.items() if n},
    )


def _hand_steps(
    table: pd.DataFrame, work: pd.DataFrame, timezone: str, numbers: Numbers
) -> tuple[pd.DataFrame, int, np.ndarray]:
    """Steps as stated, how many lines lie outside the log, and doubts (day, kg) of their order."""
    weighed = days_of(table.index, timezone)
    rows, doubts, outside = [], [], 0
    for line in work.sort_values("time", kind="stable").itertuples(index=False):
        if not WORK_SIGN.get(line.what):
            continue
        day = int(days_of(pd.DatetimeIndex([line.time]), timezone)[0])
        if not weighed[0] <= day <= weighed[-1]:
            outside += 1
            continue
        row = _hand_row(line, numbers)
        if not line.timed and day in weighed:
            row["time"] = _end_of_day(table, weighed, day, row["time"])
            doubts += [(d, abs(row["kg"])) for d in (day - 1, day)]
        rows.append(row)
    return steps_table(rows), outside, np.array(doubts, float).reshape(-1, 2)


def _hand_row(line, numbers: Numbers) -> dict:
    known = np.isfinite(line.kg)
    stated = WORK_SIGN[line.what] * float(line.kg) if known else np.nan
    sd = numbers["scale_log.stated_sd_kg" if known else "scale_log.unknown_work_sd_kg"]
    note = logged_note(line.what, "stated" if known else "unknown", np.nan, stated, False)
    kg = stated if known else 0.0
    return {
        "time": line.time, "kg": kg, "sd_kg": sd, "cause": line.what, "logged": True, "note": note,
    }  # fmt: skip


def _end_of_day(
    table: pd.DataFrame, weighed: np.ndarray, day: int, noon: pd.Timestamp
) -> pd.Timestamp:
    """Noon, or just after the date's last weighing where that is later."""
    last = table.index[weighed == day][-1] + pd.Timedelta(seconds=1)
    return max(pd.Timestamp(noon), last)


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
    open_ended = steps[steps["note"].str.contains("not known")]
    times = hours_of(pd.DatetimeIndex(open_ended["time"]))
    return np.searchsorted(times, hours[:-2]) == np.searchsorted(times, hours[2:])


def _weighings(
    good: pd.DataFrame, steps: pd.DataFrame, timezone: str, numbers: Numbers
) -> pd.DataFrame:
    """One row a date with a weighing, in the shape of night_weights."""
    net = good["net_kg"].groupby(days_of(good.index, timezone)).median()
    table = pd.DataFrame({"net_kg": net, "evening": False})
    table["raw_kg"] = table["net_kg"] + taken_before(table.index, steps, timezone)
    return table.assign(sd_kg=numbers["scale_log.hand_sd_kg"])


def _beyond_bees(nights: pd.DataFrame, numbers: Numbers) -> np.ndarray:
    """Spans that lose or gain more than a hive can: work nobody wrote down, as doubts (day, kg)."""
    day = nights.index.to_numpy()
    days, gain = np.diff(day), np.diff(nights["net_kg"].to_numpy())
    loss = numbers["scale_log.swarm_kg"] + numbers["scale_log.loss_kg_d"] * days
    odd = (gain < -loss) | (gain > numbers["scale_log.gain_kg_d"] * days)
    return np.column_stack([day[:-1][odd], np.abs(gain[odd])])
