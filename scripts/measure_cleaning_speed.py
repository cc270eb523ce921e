"""Time and memory of cleaning a log of five-minute readings of 1, 5 and 10 years.

    python scripts/measure_cleaning_speed.py [--years 1,5,10]

Each length runs in a process of its own. Printed: rows, seconds pandas needs to read them as CSV,
seconds to clean them with weather, their ratio, seconds a million rows, and the most memory held.
"""

import argparse
import io
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pandas as pd

from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log

ROWS_A_YEAR = 365 * 24 * 12
NO_WORK = pd.DataFrame(columns=["time", "timed", "what", "kg", "note"])


def invented_log(years: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Readings and weather of a hive with a daily wave, thirty steps a year, lifts and zeros."""
    rng = np.random.default_rng(1)
    hours = np.arange(years * ROWS_A_YEAR) / 12
    hour, year = hours % 24, 2 * np.pi * hours / 8760
    light = np.clip(np.sin(np.pi * (hour - 8) / 10), 0, None) * ((hour > 8) & (hour < 18))
    summer = np.clip(-np.cos(year), 0, None)
    kg = 45 + np.cumsum(summer * light * 0.25 - 0.04 * summer - 0.004) / 12 - 0.5 * light * summer
    for at in rng.integers(0, len(kg), 30 * years):
        kg[at:] += rng.choice([-4.3, 4.3])
    for at in rng.integers(0, len(kg), 40 * years):
        kg[at : at + rng.integers(1, 12)] -= 8
    for at in rng.integers(0, len(kg), 3 * years):
        kg[at : at + 30] = 0.0
    temp = 10 - 10 * np.cos(year) + 5 * np.cos(2 * np.pi * (hour - 15) / 24)
    kg = np.clip(kg + 0.01 * temp + rng.normal(0, 0.03, len(kg)), -1, 450)
    index = pd.date_range("2015-01-01", periods=len(kg), freq="5min", tz="UTC")
    rain = np.where(rng.random(len(kg) // 12) < 0.05, 1.0, 0.0)
    air = pd.DataFrame(
        {"temp_c": temp[::12], "precip_mm": rain, "suitability": (light * (temp > 10))[::12]},
        index=index[::12],
    )
    return pd.DataFrame({"weight_kg": kg.round(2)}, index=index), air


def measure(years: int) -> dict[str, float]:
    """Seconds and megabytes for one length of log."""
    readings, air = invented_log(years)
    text = readings.rename_axis("time").to_csv()
    start = time.perf_counter()
    pd.read_csv(io.StringIO(text), parse_dates=["time"])
    read = time.perf_counter() - start
    del text
    start = time.perf_counter()
    clean_log(readings, NO_WORK, hive="H1", timezone="UTC", numbers=load_numbers(), air=air)
    cleaned = time.perf_counter() - start
    return {
        "years": years,
        "rows": len(readings),
        "read s": read,
        "clean s": cleaned,
        "ratio": cleaned / read,
        "s a million rows": 1e6 * cleaned / len(readings),
        "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def main() -> int:
    """Measure each length and print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--years", default="1,5,10", help="lengths in years (default 1,5,10)")
    years = [int(part) for part in parser.parse_args().years.split(",")]
    rows = []
    for length in years:
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            rows.append(pool.submit(measure, length).result())
    print(pd.DataFrame(rows).round(2).to_string(index=False))
    return 0


if __name__ == "__main__":
    sys.exit(main())
