"""How long `foraging_hours` takes on 30 years of hours, against a plain copy of its columns.

Run from the project's root: python scripts/measure_foraging_speed.py
The weather is invented: seasons, days and showers drawn from a fixed seed.
"""

import time

import numpy as np
import pandas as pd

from flowcast.foraging import NEEDS, foraging_hours
from flowcast.numbers import load_numbers

ROWS = 263_000
LIMIT = 30


def invented_weather(rows=ROWS, seed=1):
    """Hourly weather of a temperate place with every factor at work; invented, not observed."""
    rng = np.random.default_rng(seed)
    hour = np.arange(rows)
    year, day = 2 * np.pi * hour / 8766, 2 * np.pi * (hour % 24) / 24
    warm = -np.cos(year)
    clear = np.maximum(0, 900 * (0.55 + 0.35 * warm) * -np.cos(day) - 100)
    temp = 12 + 12 * warm - 6 * np.cos(day) + rng.normal(0, 4, rows)
    raining = rng.random(rows) < 0.1
    return pd.DataFrame(
        {
            "temp_c": temp,
            "ghi_wm2": clear * rng.beta(3, 1.2, rows),
            "wind_ms": rng.gamma(2.5, 1.6, rows),
            "precip_mm": np.where(raining, rng.gamma(0.7, 1.2, rows), 0.0),
            "rh_pct": np.clip(rng.normal(75, 15, rows), 15, 100),
            "clear_ghi_wm2": clear,
        },
        index=pd.date_range("1995-01-01", periods=rows, freq="h", tz="UTC", name="time"),
    )


def seconds(work, repeats):
    """The shortest of several runs: the one least disturbed by others."""
    runs = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        runs.append(time.perf_counter() - begin)
    return min(runs)


def measure():
    """Seconds for the copy and for the foraging hours."""
    hourly, numbers = invented_weather(), load_numbers()
    columns = hourly[list(NEEDS)].to_numpy()
    return seconds(columns.copy, 20), seconds(lambda: foraging_hours(hourly, numbers), 7)


def main():
    """Print both times and their ratio."""
    copy_s, forage_s = measure()
    print(f"{ROWS} hours, {len(NEEDS)} columns")
    print(f"NumPy copy of the columns  {1e3 * copy_s:7.2f} ms")
    print(f"foraging_hours             {1e3 * forage_s:7.2f} ms")
    print(f"ratio                      {forage_s / copy_s:7.1f}  (wanted: at most {LIMIT})")


if __name__ == "__main__":
    main()
