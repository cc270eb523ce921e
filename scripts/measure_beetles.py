"""Measure the beetles: speed and memory, generations at known climates, intervals on simulated cohorts.

    python scripts/measure_beetles.py YARD [YARD ...] [--every 28] [--draws 500]

Speed: 1,000 draws through ten years of daily weather, in a process of its own. Generations: the
quickest line at places with published counts, from weather normals (tests/climates.py). Intervals:
in each yard folder outlooks are issued over the last year of the weather, from the weather before
each date, with past years' weather ahead. The truth is one more draw of the beetle over the weather
that came. The chance of high breeding weather in a week is judged beside what is usual for that week
in the yard's past years and beside the chance that it is high on the issue date. All of this tests whether the
intervals hold if the beetle is as the ranges say; it cannot test the ranges.
"""

import argparse
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

from flowcast import pipeline
from flowcast.beetle import Drivers, draw_traits, run_course
from flowcast.beetle.clock import generations
from flowcast.beetle.ground import past_drivers
from flowcast.beetle.stages import in_hive_days
from flowcast.numbers import load_numbers
from flowcast.pipeline.beetles import beetle_outlook, soil_temp_given
from flowcast.weather import SOILS

ROOT = Path(__file__).resolve().parent.parent
TRUTH_SEED = 97


def speed(draws: int = 1000, years: int = 10) -> None:
    """Seconds and peak memory of pressure and stock, kept whole for every draw and day."""
    numbers, rng = load_numbers(), np.random.default_rng(1)
    days = np.arange(365 * years)
    air = 18 + 9 * np.sin(2 * np.pi * days / 365) + rng.normal(0, 3, len(days))
    weather = Drivers(air, rng.uniform(0, 1.2, len(days)), rng.uniform(40, 95, len(days)), air, air)
    traits = draw_traits(numbers, rng, draws)
    before = time.perf_counter()
    kept = np.empty((2, draws, len(days)), np.float32)
    for rows in traits.blocks():
        course = run_course(weather, traits.rows(rows), numbers)
        kept[0, rows], kept[1, rows] = course.pressure, course.stock
    seconds = time.perf_counter() - before
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{draws:,} draws x {years} years: {seconds:.2f} s (aim 2), {peak:.0f} MB (aim 400)")


def climates() -> None:
    """Generations of the quickest line beside published counts."""
    sys.path.insert(0, str(ROOT / "tests"))
    import climates as known

    numbers = load_numbers()
    places = {
        "southern Quebec, published 2 to 3": (known.MONTREAL, ()),
        "Luxembourg, published 2 to 3": (known.LUXEMBOURG, ()),
        "invented tropics with a dry season, published up to 6 worldwide": (
            known.WET_DRY_TROPICS,
            (11, 12, 1, 2, 3),
        ),
        "Gulf coast": (known.BATON_ROUGE, ()),
        "equator, wet all the year": (known.EQUATOR, ()),
    }
    for name, (place, dry) in places.items():
        traits = draw_traits(numbers, np.random.default_rng(1), 500, soil="loam")
        _, weather = known.drivers(place, dry_months=dry)
        course = run_course(weather, traits, numbers).part(days=slice(-365, None))
        pause = in_hive_days(traits, numbers) + traits.prelay_d
        found = np.quantile(generations(course, 0, pause, numbers), [0.1, 0.5, 0.9])
        print(f"{name}: {found[1]:.0f} ({found[0]:.0f} to {found[2]:.0f})")


def outlooks(folder: Path, every: int, draws: int) -> pd.DataFrame:
    """One row an issue date and lead week: what was said, what came, and what is usual."""
    sources = pipeline.read_sources(folder)
    end = pipeline.default_issue_date(sources)
    whole = pipeline.known_before(sources, end)
    last = end - pd.Timedelta(days=61)
    rows = []
    for k, issue in enumerate(pd.date_range(end=last, periods=300 // every, freq=f"{every}D")):
        record = pipeline.known_before(sources, issue)
        said = beetle_outlook(record, draws=draws)
        truth, edge = one_truth(whole, TRUTH_SEED + k)
        rows += list(compare(said, truth, edge, issue))
    return pd.DataFrame(rows).assign(yard=folder.name)


def one_truth(record, seed: int) -> tuple[pd.Series, float]:
    """Pressure of one more draw over the weather that came, and where it calls it high."""
    numbers, beetle = record.yard.numbers, record.yard.settings.beetle
    traits = draw_traits(
        numbers,
        np.random.default_rng(seed),
        len(SOILS),
        soil=beetle.soil.replace(" ", "_") if beetle.soil else None,
        soil_temp_given=soil_temp_given(record),
    ).rows(slice(0, 1))
    weather = past_drivers(record.daily, traits.ground, numbers, irrigated=bool(beetle.irrigated))
    pressure = run_course(weather, traits, numbers).pressure[0]
    edge = numbers["beetle.high_from"] + traits.edge_shift[0]
    return pd.Series(pressure, record.daily.index), float(edge)


def compare(said, truth: pd.Series, edge: float, issue: pd.Timestamp):
    """Rows of one outlook."""
    for week, (first, row) in enumerate(said.weekly.iterrows(), start=1):
        days = pd.date_range(first, periods=7)
        came = truth[days].mean()
        day = truth[days[-1]]
        course = said.course.loc[days[-1]]
        yield {
            "issue": issue,
            "week": week,
            "p_high": row["p_high"],
            "usual_high": row["usual_high"],
            "stands": said.high_now,
            "high": float(came >= edge),
            "inside": row["q10"] <= came <= row["q90"],
            "inside_day": course["pressure_q10"] <= day <= course["pressure_q90"],
            "width": row["q90"] - row["q10"],
        }


def summary(table: pd.DataFrame) -> None:
    """Coverage, and Brier scores against the usual of the week and against the issue date's chance."""
    table = table.assign(group=pd.cut(table["week"], [0, 2, 4, 8], labels=["1-2", "3-4", "5-8"]))
    for name, part in [*table.groupby("group", observed=True), ("all", table)]:
        known = part.dropna(subset="usual_high")
        brier = {
            c: float(((known[c] - known["high"]) ** 2).mean())
            for c in ("p_high", "usual_high", "stands")
        }
        print(
            f"weeks {name}: covered {part['inside'].mean():.2f} of weeks, {part['inside_day'].mean():.2f} "
            f"of days (said 0.80), width {part['width'].mean():.2f}; high said {part['p_high'].mean():.2f}, "
            f"came {part['high'].mean():.2f}; Brier {brier['p_high']:.3f}, usual {brier['usual_high']:.3f}, "
            f"as it stands {brier['stands']:.3f}; {len(part)} cases"
        )
    for low in np.arange(0, 1, 0.2):
        part = table[(table["p_high"] >= low) & (table["p_high"] < low + 0.2 + 1e-9 * (low > 0.7))]
        if len(part):
            print(
                f"  said {low:.1f} to {low + 0.2:.1f}: {part['p_high'].mean():.2f}, came "
                f"{part['high'].mean():.2f} ({len(part)} cases)"
            )


def main() -> None:
    """Print all three."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="*", type=Path)
    parser.add_argument("--every", type=int, default=28)
    parser.add_argument("--draws", type=int, default=500)
    parser.add_argument("--speed", action="store_true", help="only the speed, in this process")
    asked = parser.parse_args()
    if asked.speed:
        speed()
        return
    subprocess.run([sys.executable, __file__, "--speed"], check=True)
    climates()
    if asked.yards:
        summary(pd.concat([outlooks(y, asked.every, asked.draws) for y in asked.yards]))


if __name__ == "__main__":
    main()
