"""How well the cleaner finds steps and gains, on yards whose truth is known.

    python scripts/measure_cleaning.py YARD_DIR...

Each folder is a yard with truth/ in it: events-<hive>.csv (time, kind, kg) and gain-<hive>.csv (date,
gain_kg).

Printed for each yard: steps of 1 kg and more, the share found within 2 h, the same of those at
which the scale was reading, steps found where none was (a hive and year), error of size (median
and 90 %), lines of work.csv that found their step, mean absolute error and mean error of the daily
gain on good days, standard deviation of error over stated error, share of days that are good.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast.scale_log import CleanLog, clean_log
from flowcast.sources.files import read_scale
from flowcast.tables import WORK_SIGN
from flowcast.yard import Yard, read_yard

LEAST_KG, NEAR_H = 1.0, 2.0  # steps that count, and how near in time a found one must lie


@dataclass(frozen=True)
class Case:
    """One hive with what the cleaner made of it and what is true."""

    log: CleanLog
    events: pd.DataFrame
    gain: pd.Series
    lines: int


def read_cases(folder: Path) -> list[Case]:
    """Clean every hive of a yard that has a truth."""
    yard = read_yard(folder)
    return [_case(yard, hive) for hive in yard.hives if hive.scale]


def _case(yard: Yard, hive) -> Case:
    work = yard.work_of(hive.name)
    readings = read_scale(yard, hive).readings
    log = clean_log(
        readings, work, hive=hive.name, timezone=yard.place.timezone, numbers=yard.numbers
    )
    truth = yard.folder / "truth"
    events = pd.read_csv(truth / f"events-{hive.name}.csv", parse_dates=["time"])
    start, end = log.readings.index[0], log.readings.index[-1]
    events = events[(events["time"] >= start) & (events["time"] <= end)]
    # Two things done at one time are one step to a scale.
    events = events.groupby("time", as_index=False)["kg"].sum()
    gain = pd.read_csv(truth / f"gain-{hive.name}.csv", parse_dates=["date"])
    moves = work["time"].between(start, end) & (work["what"].map(WORK_SIGN) != 0)
    return Case(log, events, gain.set_index("date")["gain_kg"], int(moves.sum()))


def measure(case: Case) -> dict[str, float]:
    """Sums and lists of one hive, from which shares over hives can be made."""
    steps = case.log.steps
    found = steps[steps["kg"].abs() > 0]
    true = case.events[case.events["kg"].abs() >= LEAST_KG]
    size = _sizes(true, found)
    seen = _seen_by_scale(case, true)
    days = case.log.gains
    daily = days[(days["days"] == 1) & (days["quality"] == "good")]
    error = (daily["gain_kg"] - case.gain.reindex(daily.index)).dropna()
    return {
        "steps": len(true),
        "found": int(np.isfinite(size).sum()),
        "seen": int(seen.sum()),
        "found seen": int((np.isfinite(size) & seen).sum()),
        "false": _false(case.events, found),
        "years": (case.log.readings.index[-1] - case.log.readings.index[0]).days / 365.25,
        "size": np.abs(size[np.isfinite(size)]),
        "lines": case.lines,
        "logged": int((steps["logged"] & (steps["kg"] != 0)).sum()),
        "error": error.abs().to_numpy(),
        "bias": error.to_numpy(),
        "z": (error / daily["gain_sd_kg"].loc[error.index]).to_numpy(),
        "good": len(daily),
        "read": _days_read(case.log),
    }


def _sizes(true: pd.DataFrame, found: pd.DataFrame) -> np.ndarray:
    """Error of size of the found step nearest to each true one; NaN where none is near."""
    out = np.full(len(true), np.nan)
    for k, event in enumerate(true.itertuples()):
        away = (found["time"] - event.time).abs() / pd.Timedelta(hours=1)
        near = found[(away <= NEAR_H) & (np.sign(found["kg"]) == np.sign(event.kg))]
        if len(near):
            best = (near["kg"] - event.kg).abs().idxmin()
            out[k] = found["kg"][best] - event.kg
    return out


def _false(events: pd.DataFrame, found: pd.DataFrame) -> int:
    """Found steps of the least size and more with no event of any size near them."""
    large = found[(found["kg"].abs() >= LEAST_KG) & ~found["logged"]]
    nearest = [
        (events["time"] - time).abs().min() if len(events) else pd.Timedelta(days=999)
        for time in large["time"]
    ]
    return sum(away > pd.Timedelta(hours=NEAR_H + 1) for away in nearest)


def _seen_by_scale(case: Case, true: pd.DataFrame) -> np.ndarray:
    """Whether the scale gave a value within six hours on both sides of each event."""
    good = case.log.readings.index[case.log.readings["mark"] == "good"]
    reach = pd.Timedelta(hours=6)
    times = pd.DatetimeIndex(true["time"])
    before = good.searchsorted(times) - good.searchsorted(times - reach) > 0
    after = good.searchsorted(times + reach) - good.searchsorted(times) > 0
    return before & after


def _days_read(log: CleanLog) -> int:
    read = log.readings["weight_kg"].notna()
    return len(np.unique(log.readings.index[read].tz_convert("UTC").date))


def table_of(yard: str, rows: list[dict]) -> dict[str, str]:
    """One line of the printed table from the hives of a yard."""
    total = {key: sum(row[key] for row in rows) for key in rows[0] if np.isscalar(rows[0][key])}
    size, error, bias, z = (
        np.concatenate([row[key] for row in rows]) for key in ("size", "error", "bias", "z")
    )
    return {
        "yard": yard,
        "steps": f"{total['steps']}",
        "found %": f"{100 * total['found'] / max(total['steps'], 1):.1f}",
        "of those seen %": f"{100 * total['found seen'] / max(total['seen'], 1):.1f}",
        "false/hive/yr": f"{total['false'] / total['years']:.2f}",
        "size median": f"{np.median(size):.3f}",
        "size p90": f"{np.quantile(size, 0.9):.3f}",
        "logged": f"{total['logged']}/{total['lines']}",
        "gain MAE": f"{error.mean():.4f}",
        "gain bias": f"{bias.mean():+.4f}",
        "err/sd": f"{z.std():.2f}",
        "good days %": f"{100 * total['good'] / total['read']:.1f}",
    }


def main() -> None:
    """Measure the yards named on the command line and print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    lines, everything = [], []
    for yard in parser.parse_args().yards:
        rows = [measure(case) for case in read_cases(yard)]
        everything += rows
        lines.append(table_of(yard.name, rows))
    lines.append(table_of("all", everything))
    print(pd.DataFrame(lines).to_string(index=False))


if __name__ == "__main__":
    main()
