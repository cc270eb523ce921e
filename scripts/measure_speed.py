"""Time and memory of the commands, beside the time that importing the libraries takes.

    python scripts/measure_speed.py [YARD] [--times 3] [--many 10]

Prints the best wall time of each command, as it is and as a multiple of
`python -c "import pandas, statsmodels.api, matplotlib.pyplot"` on the same machine, its peak
memory, and its processor time, which a busy machine changes less. Aims: outlook at most 6 times and under 700 MB, report at most 9 times, and at most 3 s
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


def run(command: list[str]) -> tuple[float, float, float]:
    """Wall time [s], peak memory [MB] and processor time [s] of one command, its output thrown away."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        sys.exit(f"{' '.join(command)} failed: {process.stderr.read().decode()}")
    worked = usage.ru_utime + usage.ru_stime
    return time.perf_counter() - start, usage.ru_maxrss / 1024, worked


def best(command: list[str], times: int) -> tuple[float, float, float]:
    """The least times and the most memory of several runs."""
    wall, memory, worked = zip(*(run(command) for _ in range(times)), strict=True)
    return min(wall), max(memory), min(worked)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yard", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--many", type=int, default=0)
    options = parser.parse_args()
    base, memory, worked = best(IMPORTS, options.times)
    print(f"{'imports':10} {base:6.2f} s           {memory:5.0f} MB  {worked:6.2f} s of processor")
    flowcast = [sys.executable, "-m", "flowcast"]
    with tempfile.TemporaryDirectory() as folder:
        page = ["--out", str(Path(folder) / "page.html")]
        took = {}
        for name, more in (("check", []), ("outlook", []), ("timing", []), ("report", page)):
            command = [*flowcast, name, str(options.yard), *more]
            seconds, memory, worked = best(command, options.times)
            took[name] = seconds, worked
            print(
                f"{name:10} {seconds:6.2f} s  {seconds / base:4.1f} ×  {memory:5.0f} MB"
                f"  {worked:6.2f} s of processor"
            )
        wall, worked = (a - b for a, b in zip(took["report"], took["outlook"], strict=True))
        print(f"report less outlook: {wall:.2f} s, {worked:.2f} s of processor")
        for count in (options.many // 2, options.many) if options.many else ():
            yards = [Path(folder) / f"{count}" / f"yard-{k}" for k in range(count)]
            for yard in yards:
                shutil.copytree(options.yard, yard)
            out = ["--out", str(Path(folder) / f"pages-{count}")]
            seconds, memory, worked = run([*flowcast, "report", *map(str, yards), *out])
            print(
                f"{count:3} yards  {seconds / count:6.2f} s a yard    {memory:5.0f} MB"
                f"  {worked / count:6.2f} s of processor a yard"
            )


if __name__ == "__main__":
    main()
