"""Time, memory and size of pages: of one large yard, and of many yards in one run.

    python scripts/measure_page.py [--many 3,10,50] [--processes 2] [--times 3] [--seed 7]

One yard of 4 hives and 5 seasons of hourly scales: `outlook`, `timing`, `explain` and `report`, each
as its processor time and what it takes beyond the outlook (aims: page 3 s, timing 2 s), its peak memory
and the page's size. Then one `report` over so many yards of 2 hives and 2 seasons: time a yard, which
should not grow with their number, and the memory of the largest process (aim: 400 MB). Invented
yards throughout; of the many, each stands in several folders, since only the work is measured.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from make_trial_yards import LAST_YEAR, make_trial_yard, order
from measure_speed import best

FLOWCAST = [sys.executable, "-m", "flowcast"]
DIFFERENT = 6  # yards made; the rest of the many are copies of these
LARGE_HIVES, LARGE_SEASONS = ["H1", "H2", "H3", "H4"], 5
SMALL_HIVES, SMALL_SEASONS = ["H1", "H2"], 2


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--many", type=lambda text: [int(n) for n in text.split(",")], default=[3, 10, 50])  # fmt: skip
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--seed", type=int, default=7)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _one(_yard(folder / "large", 1, LARGE_HIVES, LARGE_SEASONS, asked.seed), asked.times)
        made = [
            _yard(folder / "made" / f"yard-{k}", k, SMALL_HIVES, SMALL_SEASONS, asked.seed)
            for k in range(1, DIFFERENT + 1)
        ]
        for count in asked.many:
            _many(folder / f"{count}", made, count, asked.processes)


def _yard(folder: Path, number: int, hives: list[str], seasons: int, seed: int) -> Path:
    """A trial yard whose scales have stood for so many whole seasons, the last year's among them."""
    climate, mechanism = order(number, seed)[-1]
    make_trial_yard(folder, number, climate, mechanism, seasons - 1, seed, hives=hives)
    return folder


def _one(yard: Path, times: int) -> None:
    """Each command on one yard, and what it takes beyond the outlook."""
    print(f"{len(LARGE_HIVES)} hives, {LARGE_SEASONS} seasons up to {LAST_YEAR}")
    page, base = yard / "page.html", 0.0
    commands = {"outlook": [], "timing": [], "explain": [], "report": ["--out", str(page)]}
    for name, more in commands.items():
        _, memory, worked = best([*FLOWCAST, name, str(yard), *more], times)
        base = base or worked
        print(
            f"{name:8} {worked:6.2f} s of processor, {worked - base:5.2f} s beyond the outlook"
            f"  {memory:4.0f} MB"
        )
    print(f"page     {page.stat().st_size / 1e6:.2f} MB", flush=True)


def _many(folder: Path, made: list[Path], count: int, processes: int) -> None:
    """One report over so many yards."""
    for k, yard in zip(range(count), itertools.cycle(made)):
        shutil.copytree(yard, folder / f"yard-{k + 1:02d}")
    pages = folder / "pages"
    more = ["--processes", str(processes), "--out", str(pages)]
    wall, memory, worked = _watched([*FLOWCAST, "report", str(folder), *more])
    sizes = [page.stat().st_size for page in pages.glob("yard-*.html")]
    print(
        f"{count:3} yards, {processes} processes: {wall / count:5.2f} s a yard, "
        f"{worked / count:5.2f} s of processor  {memory:4.0f} MB  page {sum(sizes) / len(sizes) / 1e6:.2f} MB",
        flush=True,
    )


def _watched(command: list[str]) -> tuple[float, float, float]:
    """Wall time [s], peak memory of the largest process [MB] and processor time of all [s].

    Processes that the command's own did not wait for are told by /proc alone, looked at ten times a
    second: what one does in its last tenth is missed.
    """
    start, memory, worked = time.perf_counter(), {}, {}
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True) as process:
        while process.poll() is None:
            for stat in Path("/proc").glob("[0-9]*/stat"):
                with contextlib.suppress(OSError, IndexError):  # it has just ended
                    told = stat.read_text().rsplit(")", 1)[1].split()
                    if int(told[3]) == process.pid:  # its session
                        status = (stat.parent / "status").read_text()
                        memory[stat] = int(status.split("VmHWM:")[1].split()[0]) / 1024
                        worked[stat] = (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")
            time.sleep(0.1)
    if process.returncode:
        sys.exit(f"{' '.join(command)} failed")
    return time.perf_counter() - start, max(memory.values()), sum(worked.values())


if __name__ == "__main__":
    main()
