"""How well the cleaner finds steps, their causes and gains, on yards whose truth is known.

    python scripts/measure_cleaning.py YARD_DIR... [--no-work]
    python scripts/measure_cleaning.py --twins COARSE.csv FINE.csv --zone Europe/Prague

Each folder is a yard with truth/ in it: events-<hive>.csv (time, kind, kg) and gain-<hive>.csv (date,
gain_kg). The logs are cleaned as the pipeline does it, weather and neighbours included. With
--no-work nothing is taken from work.csv, so that every cause has to be guessed.

Printed for each yard: steps of 1 kg and more, the share found within 2 h, the same of those at
which the scale was reading, steps found where none was (a hive and year), error of size (median
and 90 %; of work within 2 h the sum, as one visit), lines of work.csv that found their step, causes
right among steps found that were not logged, and the chance they were given in the mean; mean
absolute error and mean error of the daily gain on good days, root mean square of error over stated
error on days that gain and on days that lose, share of days that are good.

Hand-weighed yards get a table of their own: spans, those trusted, error over stated error of these (root
mean square, and share beyond three), spans that lost 8 kg and more by work with no line in work.csv,
how many of them were found, and spans found without any step in them.

With --twins, two files of the same hives read seldom and often, a column a hive behind a column of
local times: how far their daily gains lie apart, the largest gain, and steps found.
"""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast import pipeline
from flowcast.numbers import load_numbers
from flowcast.pipeline.gather import sources_of
from flowcast.pipeline.record import clean_logs
from flowcast.scale_log import CleanLog, clean_log
from flowcast.sources.files import read_scale, weather_path
from flowcast.tables import WORK_SIGN
from flowcast.yard import read_yard

LEAST_KG, NEAR_H = 1.0, 2.0  # steps that count, and how near in time a found one must lie


# What a true step may rightly be called; words of causes.CAUSES.
RIGHT = {
    "super_on": {"boxes on"},
    "super_off": {"boxes off"},
    "harvest": {"honey off"},
    "feed": {"feed"},
    "swarm": {"a prime swarm"},
    "cast": {"an after-swarm", "a prime swarm"},
    "united": {"bees added"},
    "theft": {"theft, or the hive overturned"},
    "put_back": {"lifted and put back"},
    "moved": {"hive moved, or the scale set anew"},
}


@dataclass(frozen=True)
class Case:
    """One hive with what the cleaner made of it and what is true."""

    log: CleanLog
    events: pd.DataFrame
    gain: pd.Series
    lines: int


def read_cases(folder: Path, no_work: bool = False) -> list[Case]:
    """Clean every hive of a yard that has a truth."""
    yard = read_yard(folder)
    if no_work:
        yard = replace(yard, work=yard.work.iloc[:0])
    if weather_path(yard):
        sources = sources_of(yard, pipeline.Reach())
        logs = pipeline.known_before(sources, pipeline.default_issue_date(sources)).logs
    else:
        scales = [read_scale(yard, hive) for hive in yard.hives if hive.scale]
        logs, _ = clean_logs(yard, scales, max(s.readings.index[-1] for s in scales))
    return [_case(yard, log) for log in logs]


def _case(yard, log: CleanLog) -> Case:
    truth = yard.folder / "truth"
    events = pd.read_csv(truth / f"events-{log.hive}.csv", parse_dates=["time"])
    start, end = log.readings.index[0], log.readings.index[-1]
    events = events[(events["time"] >= start) & (events["time"] <= end)]
    # Two things done at one time are one step to a scale.
    events = events.groupby("time", as_index=False).agg(kg=("kg", "sum"), kind=("kind", set))
    gain = pd.read_csv(truth / f"gain-{log.hive}.csv", parse_dates=["date"])
    work = yard.work_of(log.hive)
    moves = work["time"].between(start, end) & (work["what"].map(WORK_SIGN) != 0)
    return Case(log, events, gain.set_index("date")["gain_kg"], int(moves.sum()))


def measure(case: Case) -> dict[str, float]:
    """Sums and lists of one hive, from which shares over hives can be made."""
    steps = case.log.steps
    found = steps[steps["kg"].abs() > 0]
    true = case.events[case.events["kg"].abs() >= LEAST_KG]
    found_at = _found(true, found)
    size = _sizes(case.events, found, found_at)
    seen = _seen_by_scale(case, true)
    days = case.log.gains
    daily = days[(days["days"] == 1) & (days["quality"] == "good")]
    error = (daily["gain_kg"] - case.gain.reindex(daily.index)).dropna()
    causes = _causes(case.events, found)
    return {
        "steps": len(true),
        "found": int(found_at.sum()),
        "seen": int(seen.sum()),
        "found seen": int((found_at & seen).sum()),
        "false": _false(case.events, found),
        "years": (case.log.readings.index[-1] - case.log.readings.index[0]).days / 365.25,
        "size": np.abs(size),
        "lines": case.lines,
        "right": np.array([right for _, right, _ in causes], float),
        "chance": np.array([chance for _, _, chance in causes], float),
        "causes": np.array([kind for kind, _, _ in causes], object),
        "logged": case.lines - case.log.counts.get("work not seen in the weight", 0),
        "error": error.abs().to_numpy(),
        "bias": error.to_numpy(),
        "z": (error / daily["gain_sd_kg"].loc[error.index]).to_numpy(),
        "true gain": case.gain.reindex(error.index).to_numpy(),
        "good": len(daily),
        "read": _days_read(case.log),
    }


def _found(true: pd.DataFrame, found: pd.DataFrame) -> np.ndarray:
    """Whether a step of the same sign was found near each true one."""
    return np.array(
        [
            bool(((_hours(found, event.time) <= NEAR_H) & (found["kg"] * event.kg > 0)).any())
            for event in true.itertuples()
        ],
        bool,
    )


def _hours(found: pd.DataFrame, time: pd.Timestamp) -> pd.Series:
    return (found["time"] - time).abs() / pd.Timedelta(hours=1)


def _visits(events: pd.DataFrame) -> list[pd.DataFrame]:
    """True steps within 2 h of one another: to a scale they may be one."""
    away = events["time"].diff() > pd.Timedelta(hours=NEAR_H)
    return [part for _, part in events.groupby(away.cumsum())]


def _sizes(events: pd.DataFrame, found: pd.DataFrame, found_at: np.ndarray) -> np.ndarray:
    """Error of what was found about each visit of 1 kg and more of which something was found."""
    out = []
    for visit in _visits(events):
        start, end = visit["time"].iloc[0], visit["time"].iloc[-1]
        reach = pd.Timedelta(hours=NEAR_H)
        near = found[found["time"].between(start - reach, end + reach)]
        if len(near) and visit["kg"].abs().max() >= LEAST_KG:
            out.append(near["kg"].sum() - visit["kg"].sum())
    return np.array(out, float)


def _causes(events: pd.DataFrame, found: pd.DataFrame) -> list[tuple[str, bool, float]]:
    """For each true visit found and not logged: what it was, whether said rightly, how surely."""
    rows = []
    for visit in _visits(events):
        start, end = visit["time"].iloc[0], visit["time"].iloc[-1]
        reach = pd.Timedelta(hours=NEAR_H)
        near = found[found["time"].between(start - reach, end + reach) & ~found["logged"]]
        near = near[near["kg"].abs() >= LEAST_KG]
        kinds = set().union(*visit["kind"])
        right = set().union(*(RIGHT.get(kind, set()) for kind in kinds))
        for step in near.itertuples():
            said = step.cause.removesuffix("?")
            rows.append((" and ".join(sorted(kinds)), said in right, step.confidence))
    return rows


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
    size, error, bias, z, true, right, chance = (
        np.concatenate([row[key] for row in rows])
        for key in ("size", "error", "bias", "z", "true gain", "right", "chance")
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
        "cause right": f"{int(right.sum())}/{len(right)}",
        "said": f"{chance.mean():.2f}" if len(chance) else "",
        "gain MAE": f"{error.mean():.4f}",
        "gain bias": f"{bias.mean():+.4f}",
        "err/sd gain": f"{_rms(z[true >= 0]):.2f}",
        "err/sd loss": f"{_rms(z[true < 0]):.2f}",
        "good days %": f"{100 * total['good'] / total['read']:.1f}",
    }


def by_hand(case: Case) -> dict[str, float]:
    """Counts of one hand-weighed hive."""
    found = case.log.steps[~case.log.steps["logged"]]
    when = [table["time"].dt.tz_localize(None) for table in (case.events, found)]
    row = {"spans": len(case.log.gains), "trusted": 0, "lost": 0, "lost found": 0, "false": 0}
    errors = []
    for start, span in case.log.gains.iterrows():
        end = start + pd.Timedelta(days=span["days"])
        events, steps = (((t >= start) & (t < end)).to_numpy() for t in when)
        lost = case.events["kg"][events].sum() < -8.0 and not case.lines
        row["lost"] += lost
        row["lost found"] += lost and steps.any()
        row["false"] += bool(steps.any() and not events.any())
        if span["quality"] == "good":
            true = case.gain[start : end - pd.Timedelta(days=1)].sum()
            errors.append((span["gain_kg"] - true) / span["gain_sd_kg"])
    return row | {"trusted": len(errors), "z": np.array(errors)}


def hand_table(cases: list[Case]) -> pd.DataFrame:
    """One line over all hand-weighed hives."""
    rows = [by_hand(case) for case in cases]
    z = np.concatenate([row.pop("z") for row in rows])
    total = pd.DataFrame(rows).sum()
    return pd.DataFrame([total]).assign(**{"err/sd": _rms(z), "beyond 3": (np.abs(z) > 3).mean()})


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt((values**2).mean())) if len(values) else np.nan


def by_cause(rows: list[dict]) -> pd.DataFrame:
    """Causes right, and the chance they were given, by what the step truly was."""
    table = pd.DataFrame(
        {
            name: np.concatenate([row[name] for row in rows])
            for name in ("causes", "right", "chance")
        }
    )
    grouped = table.groupby("causes")
    return grouped.agg(steps=("right", "size"), right=("right", "mean"), said=("chance", "mean"))


def by_chance(rows: list[dict]) -> pd.DataFrame:
    """How often causes given about such a chance were right."""
    chance, right = (np.concatenate([row[name] for row in rows]) for name in ("chance", "right"))
    bins = pd.cut(chance, [0, 0.5, 0.7, 0.85, 0.95, 1.0])
    table = pd.DataFrame({"chance": chance, "right": right})
    return table.groupby(bins, observed=True).agg(
        steps=("right", "size"), said=("chance", "mean"), right=("right", "mean")
    )


def twins(coarse: Path, fine: Path, zone: str) -> pd.DataFrame:
    """One row a hive of two files that hold the same hives at two spacings."""
    tables = [pd.read_csv(path, index_col=0, parse_dates=True) for path in (coarse, fine)]
    rows = []
    for name in tables[0].columns:
        logs = [_of_column(table[name], zone) for table in tables]
        gains = [log.gains.query("days == 1 and quality == 'good'")["gain_kg"] for log in logs]
        apart = (gains[0] - gains[1]).dropna().abs()
        rows.append(
            {
                "hive": name,
                "days": len(apart),
                "median apart": apart.median(),
                "most apart": apart.max(),
                "largest gain": max(gain.max() for gain in gains),
                "steps": f"{len(logs[0].steps)} and {len(logs[1].steps)}",
                "lifted": f"{logs[0].counts.get('lifted', 0)} and {logs[1].counts.get('lifted', 0)}",
            }
        )
    return pd.DataFrame(rows)


def _of_column(weights: pd.Series, zone: str) -> CleanLog:
    index = weights.index.tz_localize(zone, ambiguous="NaT", nonexistent="NaT").tz_convert("UTC")
    readings = pd.DataFrame({"weight_kg": weights.to_numpy(float)}, index=index)
    readings = readings[readings.index.notna()]
    work = pd.DataFrame(columns=["time", "timed", "what", "kg", "note"])
    numbers = load_numbers()
    return clean_log(readings, work, hive=str(weights.name), timezone=zone, numbers=numbers)


def main() -> None:
    """Measure the yards named on the command line and print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="*", type=Path)
    parser.add_argument("--twins", nargs=2, type=Path, help="two files of the same hives")
    parser.add_argument("--zone", default="UTC", help="time zone of their stamps")
    parser.add_argument("--no-work", action="store_true", help="leave work.csv unread")
    options = parser.parse_args()
    pd.set_option("display.width", 220)
    if options.twins:
        print(twins(*options.twins, options.zone).round(4).to_string(index=False))
        return
    lines, everything, hand = [], [], []
    for yard in options.yards:
        cases = read_cases(yard, options.no_work)
        hand += [case for case in cases if case.log.kind == "hand weighings"]
        rows = [measure(case) for case in cases if case.log.kind == "scale"]
        everything += rows
        lines += [table_of(yard.name, rows)] if rows else []
    if hand:
        print(hand_table(hand).round(2).to_string(index=False))
    if not everything:
        return
    lines.append(table_of("all", everything))
    print(pd.DataFrame(lines).to_string(index=False))
    if sum(len(row["right"]) for row in everything):
        print("\ncauses of steps not logged, by what they were")
        print(by_cause(everything).round(2).to_string())
        print("\ncauses of steps not logged, by the chance they were given")
        print(by_chance(everything).round(2).to_string())


if __name__ == "__main__":
    main()
