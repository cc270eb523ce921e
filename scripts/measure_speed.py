"""Time and memory of the commands, beside the time that importing the libraries takes.

    python scripts/measure_speed.py [YARD] [--times 3] [--many 10]

Prints the best wall time of each command as a multiple of
`python -c "import pandas, statsmodels.api, matplotlib.pyplot"` on the same machine, and its peak
memory. Aims: outlook at most 6 times and under 700 MB, report at most 9 times, and at most 3 s
beyond the outlook. With --many, also the time and memory of one report on so many copies of the
yard, a yard: it should not grow with their number.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

IMPORTS = [sys.executable, "-c", "import pandas, statsmodels.api, matplotlib.pyplot"]
SAMPLE = Path(__file__).parent.parent / "sample_yards" / "subtropical-coast"


def run(command: list[str]) -> tuple[float, float]:
    """Wall time [s] and peak memory [MB] of one command, its output thrown away."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        sys.exit(f"{' '.join(command)} failed: {process.stderr.read().decode()}")
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def best(command: list[str], times: int) -> tuple[float, float]:
    """The least time and the most memory of several runs."""
    found = [run(command) for _ in range(times)]
    return min(t for t, _ in found), max(m for _, m in found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yard", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--many", type=int, default=0)
    options = parser.parse_args()
    base, memory = best(IMPORTS, options.times)
    print(f"{'imports':10} {base:6.2f} s           {memory:5.0f} MB")
    flowcast = [sys.executable, "-m", "flowcast"]
    with tempfile.TemporaryDirectory() as folder:
        page = ["--out", str(Path(folder) / "page.html")]
        took = {}
        for name, more in (("check", []), ("outlook", []), ("timing", []), ("report", page)):
            seconds, memory = best([*flowcast, name, str(options.yard), *more], options.times)
            took[name] = seconds
            print(f"{name:10} {seconds:6.2f} s  {seconds / base:4.1f} ×  {memory:5.0f} MB")
        print(f"{'beyond':10} {took['report'] - took['outlook']:6.2f} s  report less outlook")
        for count in (options.many // 2, options.many) if options.many else ():
            yards = [Path(folder) / f"{count}" / f"yard-{k}" for k in range(count)]
            for yard in yards:
                shutil.copytree(options.yard, yard)
            out = ["--out", str(Path(folder) / f"pages-{count}")]
            seconds, memory = run([*flowcast, "report", *map(str, yards), *out])
            print(f"{count:3} yards  {seconds / count:6.2f} s a yard    {memory:5.0f} MB")


if __name__ == "__main__":
    main()
