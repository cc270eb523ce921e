"""Measure outlooks on simulated yards whose truth is known.

    python scripts/measure_outlook.py YARD [YARD ...] [--every 14] [--days 337] [--csv FILE]
                                      [--no-log [--region YARD ...]] [--boxes toml|none|visits]

Each yard folder holds truth/gain-<hive>.csv (date, gain_kg). Outlooks are issued over the last
year of the truth, from the log and weather before each date, once with past years' weather ahead
and once with the weather as it came, and scored against the median true gain over hives: twice
the pinball loss, mean over the quantiles, beside climatology, persistence and a damped blend
learned from the same cleaned log; and the share of truths inside the 10-90 % interval. With
--no-log the hives are taken away first, as in a new yard, and what stands beside is a climatology of
the region: the true gains of earlier years at the other yards given that share its climate, more of
them with --region. Hand-weighed yards have no daily gains
for the simple forecasters, and get no ratios. In yards made with --full-hives, --boxes says what is
known of free comb: as in yard.toml, nothing, or as seen on the last visit before each issue date
(truth/boxes.csv), as a keeper has it who keeps yard.toml up to date.
"""

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from simulator.yards import boxes_toml

from flowcast import pipeline
from flowcast.tables import QUANTILE_NAMES, QUANTILES
from flowcast.verification.simple import BASELINES
from flowcast.yard.settings import HiveSection

HORIZON = 30
GROUPS = {"days 1-7": (0, 7), "days 8-16": (7, 16), "days 17-30": (16, 30)}
TOTALS = {"total 7 d": 6, "total 30 d": 29}
TOLERANCE_KG = 0.01


def truth_of(folder: Path) -> pd.Series:
    """Median over hives of the true daily net gain, by local date. [kg]"""
    parts = [
        pd.read_csv(p, index_col="date", parse_dates=True)
        for p in (folder / "truth").glob("gain-*.csv")
    ]
    return pd.concat([p["gain_kg"] for p in parts], axis=1).median(axis=1)


def climate_of(folder: Path) -> str:
    """The climate that a simulated yard was made in."""
    about = (folder / "truth" / "about.txt").read_text().splitlines()
    return dict(line.split(": ", 1) for line in about)["climate"]


def region_of(folder: Path, yards: list[Path]) -> list[pd.Series]:
    """True gains of the other yards in this one's climate, up to the year that is judged."""
    others = [y for y in yards if y != folder and climate_of(y) == climate_of(folder)]
    first = pd.Timestamp(truth_of(folder).index[-1].year, 1, 1)
    return [truth[truth.index < first] for truth in map(truth_of, others)]


def regional(region: list[pd.Series], dates: pd.DatetimeIndex) -> tuple[np.ndarray, np.ndarray]:
    """Climatology of a region: quantiles over its yards, years, and ten days either way."""
    runs = [
        truth.reindex(dates - pd.DateOffset(years=years) + pd.Timedelta(days=off)).to_numpy()
        for truth in region
        for years in range(1, 12)
        for off in range(-10, 11, 2)
    ]
    whole = np.array([run for run in runs if np.isfinite(run).all()])
    return tuple(np.quantile(part, QUANTILES, axis=0).T for part in (whole, whole.cumsum(axis=1)))


def with_boxes(sources, folder: Path, issue: pd.Timestamp, boxes: str):
    """The sources with the boxes of the hives as asked for."""
    if boxes == "toml":
        return sources
    seen = pd.read_csv(folder / "truth" / "boxes.csv", index_col="date", parse_dates=True)
    return with_looks(sources, seen[seen.index < issue] if boxes == "visits" else seen[:0])


def with_looks(sources, seen: pd.DataFrame):
    """The sources with the boxes of the hives as last seen (`simulator.yards.looks_table`)."""
    hives = []
    for hive in sources.yard.hives:
        looks = seen[seen["hive"] == hive.name].drop(columns="hive")
        told = {"boxes": [], "seen": None}
        if len(looks):
            full = looks.iloc[-1].dropna().astype(float).tolist()
            told = {"boxes": boxes_toml(full), "seen": looks.index[-1].date()}
        whole = hive.model_dump(by_alias=True, exclude={"boxes", "seen"})
        hives.append(HiveSection.model_validate(whole | told))
    settings = sources.yard.settings.model_copy(update={"hive": hives})
    return replace(sources, yard=replace(sources.yard, settings=settings))


def issue_dates(truth: pd.Series, every: int, days: int) -> pd.DatetimeIndex:
    """Dates to issue outlooks on, the last as late as its truth allows."""
    last = truth.index[-1] - pd.Timedelta(days=HORIZON - 1)
    return pd.date_range(end=last, periods=days // every, freq=f"{every}D")


def measure(
    folder: Path, every: int, days: int, no_log: bool, boxes: str, region: list[pd.Series]
) -> pd.DataFrame:
    """One row a forecaster, weather mode, issue date and lead group."""
    truth = truth_of(folder)
    sources = pipeline.read_sources(folder)
    sources = replace(sources, scales=[]) if no_log else sources
    whole = pipeline.known_before(sources, truth.index[-1] + pd.Timedelta(days=1)).daily
    rows = []
    for issue in issue_dates(truth, every, days):
        dates = pd.date_range(issue, periods=HORIZON)
        record = pipeline.known_before(with_boxes(sources, folder, issue, boxes), issue)
        obs = truth.reindex(dates).to_numpy()
        found = list(_forecasts(record, dates, whole.reindex(dates), obs))
        if region:
            beside = _scores(*regional(region, dates), obs)
            found += [{"forecaster": "region", "weather": "none"} | row for row in beside]
        rows += [{"yard": folder.name, "issue": issue} | row for row in found]
    return pd.DataFrame(rows)


def _forecasts(record, dates, ahead: pd.DataFrame, obs: np.ndarray):
    """Scores of flowcast in both weather modes and of the simple forecasters, from one date."""
    names = list(QUANTILE_NAMES)
    for weather, known in (("past years", None), ("observed", ahead)):
        # Two days more, so that the centred means at the end are whole; the truth has no more.
        horizon = HORIZON if known is not None else HORIZON + 2
        read = pipeline.outlook_from(record, ahead=known, horizon=horizon).outlook
        daily, total = (t[names].to_numpy()[:HORIZON] for t in (read.daily, read.total))
        chance = read.daily["p_flow_day"].to_numpy()[:HORIZON]
        for row in _scores(daily, total, obs, chance, record.yard.flow_day_kg):
            yield {"forecaster": "flowcast", "weather": weather} | row
    yield from simple(record, dates, obs)


def simple(record, dates: pd.DatetimeIndex, obs: np.ndarray):
    """Scores of the simple forecasters that know the cleaned log before the first of the dates."""
    gains = record.spans[record.spans["days"] == 1]["gain_kg"]
    if len(gains):
        gains = gains.reindex(pd.date_range(gains.index[0], dates[0] - pd.Timedelta(days=1)))
        for name, forecaster in BASELINES.items():
            for row in _scores(*forecaster(gains, dates, QUANTILES), obs):
                yield {"forecaster": name, "weather": "none"} | row


def _scores(daily, total, obs, chance=None, threshold=0.0):
    """One row a lead group; chances of a flow day are judged where they are given."""
    for group, (first, after) in GROUPS.items():
        row = _row(group, daily[first:after], obs[first:after])
        if chance is not None:
            row |= _said_and_came(chance[first:after], obs[first:after] >= threshold)
        yield row
    running = np.cumsum(obs)
    for group, day in TOTALS.items():
        yield _row(group, total[day : day + 1], running[day : day + 1])


def _said_and_came(chance: np.ndarray, came: np.ndarray) -> dict:
    """Sums over the days whose flow is neither nearly sure nor nearly ruled out."""
    open_ = (chance >= 0.2) & (chance <= 0.9)
    return {"said": chance[open_].sum(), "came": came[open_].sum(), "open_days": open_.sum()}


def _row(group: str, fcst: np.ndarray, obs: np.ndarray) -> dict:
    error = obs[:, None] - fcst
    levels = np.array(QUANTILES)
    loss = 2 * np.maximum(levels * error, (levels - 1) * error).mean()
    low, high, upper = (fcst[:, QUANTILE_NAMES.index(q)] for q in ("q10", "q90", "q75"))
    below, above = obs < low - TOLERANCE_KG, obs > high + TOLERANCE_KG
    inside, flowing = ~(below | above), upper > 0.2
    return {
        "group": group,
        "loss": loss,
        "inside": inside.mean(),
        "below": below.mean(),
        "above": above.mean(),
        "flow_inside": inside[flowing].sum(),
        "flow_cases": flowing.sum(),
    }


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Loss and coverage by yard, forecaster, weather and lead group."""
    keys = ["yard", "forecaster", "weather", "group"]
    grouped = rows.groupby(keys, sort=False)
    sums = grouped[["flow_inside", "flow_cases"]].sum()
    found = grouped[["loss", "inside", "below", "above"]].mean()
    return found.assign(flow_cov=sums["flow_inside"] / sums["flow_cases"].replace(0, np.nan))


def ratios(rows: pd.DataFrame) -> pd.DataFrame:
    """Geometric mean over yards of the loss against each baseline and the best of them."""
    loss = table(rows)["loss"].unstack(["forecaster", "weather"])
    named = [name for name in (*BASELINES, "region") if name in loss.columns]
    simple = loss[named].droplevel("weather", axis=1)
    simple["best simple"] = simple.min(axis=1)
    out = {
        (weather, name): np.exp(
            np.log(loss["flowcast"][weather] / simple[name]).groupby("group", sort=False).mean()
        )
        for weather in loss["flowcast"].columns
        for name in simple.columns
    }
    return pd.DataFrame(out)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    parser.add_argument("--every", type=int, default=14, help="days between issue dates")
    parser.add_argument("--days", type=int, default=337, help="days of the last year to issue in")
    parser.add_argument("--no-log", action="store_true", help="take the hives away first")
    parser.add_argument(
        "--region", nargs="*", type=Path, default=[], help="further yards, some in the same climate"
    )
    parser.add_argument("--boxes", choices=["toml", "none", "visits"], default="toml")
    parser.add_argument("--csv", type=Path, help="write every score here")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    known = [*options.yards, *options.region] if options.no_log else []
    asked = (options.every, options.days, options.no_log, options.boxes)
    with ProcessPoolExecutor(options.processes) as pool:
        jobs = [pool.submit(measure, y, *asked, region_of(y, known)) for y in options.yards]
        rows = pd.concat([_said(job, y) for job, y in zip(jobs, options.yards, strict=True)])
    if options.csv:
        rows.to_csv(options.csv, index=False)
    pd.set_option("display.width", 160, "display.max_rows", 500)
    flow = table(rows)
    print(flow[flow.index.get_level_values("forecaster") == "flowcast"].round(3).to_string())
    if rows["forecaster"].nunique() > 1:
        print("\nloss of flowcast as a ratio, geometric mean over yards")
        print(ratios(rows).round(3).to_string())
    pooled = rows[rows["forecaster"] == "flowcast"].groupby(["weather", "group"], sort=False)
    print("\n10-90 % coverage, pooled")
    print(pooled[["inside", "below", "above"]].mean().round(3).to_string())
    days = rows[rows["open_days"] > 0].groupby("weather")
    print(
        "\nflow days given 0.2 to 0.9: chance said, share that came, days; coverage of flowing days"
    )
    sums = days[["said", "came", "open_days", "flow_inside", "flow_cases"]].sum()
    shares = sums[["said", "came"]].div(sums["open_days"], axis=0)
    shares = shares.assign(days=sums["open_days"], flowing=sums["flow_inside"] / sums["flow_cases"])
    print(shares.round(3).to_string())


def _said(job, yard) -> pd.DataFrame:
    rows = job.result()
    print(f"{yard.name}: done", file=sys.stderr)
    return rows


if __name__ == "__main__":
    main()
