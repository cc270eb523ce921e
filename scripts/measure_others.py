"""Measure what learning from another yard of the keeper is worth, on simulated pairs with known truth.

    python scripts/measure_others.py PAIR-B [PAIR-B ...] [--every 35] [--seasons 0,1,2] [--csv FILE]

Each folder is a yard that learns from another (`make_trial_yards.py --pairs`). Outlooks are issued over the
last year of its truth, with so many seasons of its own log before that year (and the log of the year itself;
0: no log at all), once with the other yard's log and once without, with past years' weather ahead and with
the weather as it came. They are scored as in measure_outlook.py; losses are told as the ratio with over
without, geometric mean over yards with a 90 % bootstrap interval over yards.
"""

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from measure_outlook import HORIZON, _scores, truth_of

from flowcast import pipeline
from flowcast.tables import QUANTILE_NAMES

SCENARIOS = 300
SHOWN = ["days 1-7", "days 17-30", "total 7 d", "total 30 d"]


def measure(folder: Path, every: int, seasons: list[int]) -> pd.DataFrame:
    """One row a variant, weather mode, issue date and lead group."""
    truth = truth_of(folder)
    sources = pipeline.read_sources(folder)
    last = truth.index[-1] - pd.Timedelta(days=HORIZON - 1)
    origins = pd.date_range(end=last, periods=337 // every, freq=f"{every}D")
    alone = replace(sources, others=())
    whole = pipeline.known_before(alone, truth.index[-1] + pd.Timedelta(days=1)).daily
    rows = []
    for issue in origins:
        dates = pd.date_range(issue, periods=HORIZON)
        record = pipeline.known_before(sources, issue)
        for own in seasons:
            kept = _with_log(record, own, truth.index[-1].year)
            for others in ([], record.others):
                about = {"yard": folder.name, "issue": issue, "seasons": own, "with": bool(others)}
                told = replace(kept, others=others)
                found = _forecasts(told, dates, whole.reindex(dates), truth.reindex(dates))
                rows += [about | row for row in found]
    return pd.DataFrame(rows)


def _with_log(record, seasons: int, year: int):
    """The record with so many seasons of log before this year; with none, not even of the year."""
    since = pd.Timestamp(year - seasons, 1, 1) if seasons else record.issue_date
    spans = record.spans[record.spans.index >= since]
    return replace(record, spans=spans, logs=record.logs if seasons else [])


def _forecasts(record, dates, ahead: pd.DataFrame, truth: pd.Series):
    """Scores in both weather modes, of one fit."""
    names, obs = list(QUANTILE_NAMES), truth.to_numpy()
    model = pipeline.fit_record(record)
    for weather, known in (("past years", None), ("observed", ahead)):
        horizon = HORIZON if known is not None else HORIZON + 2
        read = pipeline.outlook_from(
            record, ahead=known, horizon=horizon, scenarios=SCENARIOS, model=model
        ).outlook
        daily, total = (t[names].to_numpy()[:HORIZON] for t in (read.daily, read.total))
        chance = read.daily["p_flow_day"].to_numpy()[:HORIZON]
        for row in _scores(daily, total, obs, chance, record.yard.flow_day_kg):
            yield {"weather": weather} | row


def ratios(rows: pd.DataFrame) -> pd.DataFrame:
    """Loss with the other yard over loss without, by seasons of own log, weather and lead group."""
    keys = ["seasons", "weather", "group", "yard"]
    loss = rows.groupby([*keys, "with"])["loss"].mean().unstack("with")
    log = np.log(loss[True] / loss[False]).unstack("yard")[lambda t: t.index.isin(SHOWN, level=2)]
    rng = np.random.default_rng(0)
    drawn = rng.integers(log.shape[1], size=(2000, log.shape[1]))
    spread = np.exp(log.to_numpy()[:, drawn].mean(-1))
    low, high = np.quantile(spread, [0.05, 0.95], axis=1)
    return pd.DataFrame(
        {
            "ratio": np.exp(log.mean(axis=1)),
            "low": low,
            "high": high,
            "best": np.exp(log.min(axis=1)),
            "worst": np.exp(log.max(axis=1)),
        }
    )


def coverage(rows: pd.DataFrame) -> pd.DataFrame:
    """Share inside the 10-90 % interval, and chances of a flow day against what came."""
    keys = ["seasons", "with", "weather"]
    inside = rows.groupby([*keys, "group"])["inside"].mean().unstack("group")[SHOWN]
    sums = rows.groupby(keys)[["said", "came", "open_days"]].sum()
    shares = sums[["said", "came"]].div(sums["open_days"], axis=0)
    return inside.join(shares).join(sums["open_days"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    parser.add_argument("--every", type=int, default=35, help="days between issue dates")
    parser.add_argument("--seasons", default="0,1,2", help="seasons of own log, in turn")
    parser.add_argument("--csv", type=Path, help="write every score here")
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args()
    seasons = [int(part) for part in options.seasons.split(",")]
    with ProcessPoolExecutor(options.processes) as pool:
        jobs = [pool.submit(measure, y, options.every, seasons) for y in options.yards]
        found = []
        for job, yard in zip(jobs, options.yards, strict=True):
            found.append(job.result())
            print(f"{yard.name}: done", file=sys.stderr, flush=True)
    rows = pd.concat(found)
    if options.csv:
        rows.to_csv(options.csv, index=False)
    pd.set_option("display.width", 160, "display.max_rows", 500)
    print("loss with the other yard's log over loss without")
    print(ratios(rows).round(3).to_string())
    print("\n10-90 % coverage; flow days given 0.2 to 0.9: chance said, share that came, days")
    print(coverage(rows).round(3).to_string())


if __name__ == "__main__":
    main()
