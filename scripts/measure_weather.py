"""Weather services: requests of a first and a second pull, time and memory from kept answers to a table.

Asks the loopback server of the tests for twenty years, so it needs no network. Compares the time
from kept answers to one table with what json.loads and pandas.DataFrame take for the same bytes.

    python scripts/measure_weather.py [--years 20]
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import tempfile
import time
from collections import Counter
from datetime import date
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from loopback import Station, WeatherServers

from flowcast import weather
from flowcast.numbers import load_numbers
from flowcast.sources import plan
from flowcast.sources.http import Caller, Web
from flowcast.sources.service import Site

TODAY = date(2026, 5, 20)
NOW = pd.Timestamp(f"{TODAY} 07:30", tz="UTC")


def pull(servers: WeatherServers, folder: Path, years: int) -> tuple[plan.Gathered, Counter]:
    """One pull of so many calendar years, and the requests it made."""
    numbers = load_numbers()
    caller = Caller(contact="keeper@example.org", urls=servers.urls())
    wanted = plan.Wanted(
        Site(48.6, 15.3, 210.0),
        date(TODAY.year - years + 1, 1, 1),
        TODAY,
        TODAY,
        check_station=True,
    )
    with Web(caller, numbers, folder=folder, clock=lambda: NOW) as web:
        return plan.gather(web, wanted), web.asked


def table_of(gathered: plan.Gathered) -> pd.DataFrame:
    """All hours in one table on one climate."""
    blocks = [*gathered.history, gathered.recent]
    return weather.join_blocks(
        [b.table for b in blocks], [b.climate for b in blocks], load_numbers()
    ).table


def plain(bodies: list[bytes]) -> float:
    """Seconds that json.loads and pandas.DataFrame take for the same bytes."""
    begun = time.perf_counter()
    for body in bodies:
        pd.DataFrame(json.loads(body)["hourly"])
    return time.perf_counter() - begun


def history_bodies(servers: WeatherServers, folder: Path, years: int) -> list[bytes]:
    """The kept bytes of every answer that a warm pull reads."""
    bodies: list[bytes] = []

    class Listening(Web):
        def get(self, *args, **more):
            answer = super().get(*args, **more)
            bodies.append(answer.content)
            return answer

    caller = Caller(contact="keeper@example.org", urls=servers.urls())
    wanted = plan.Wanted(Site(48.6, 15.3, 210.0), date(TODAY.year - years + 1, 1, 1), TODAY, TODAY)
    with Listening(caller, load_numbers(), folder=folder, clock=lambda: NOW) as web:
        plan.gather(web, wanted)
    return [body for body in bodies if b'"hourly"' in body[:2000]]


def main() -> None:
    """Print requests, times and memory."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--years", type=int, default=20)
    years = parser.parse_args().years
    with WeatherServers(today=str(TODAY)) as servers, tempfile.TemporaryDirectory() as name:
        servers.stations = [
            Station("INV01", "Invented", "AT", "", 48.7, 15.2, 250.0, range(2000, 2027))
        ]
        folder = Path(name)
        _, asked = pull(servers, folder, years)
        print(f"first pull of {years} years: {asked.total()} requests ({dict(asked)})")
        _, again = pull(servers, folder, years)
        print(f"second pull: {again.total()} requests")
        bodies = history_bodies(servers, folder, years)
        seconds, base = [], []
        for _ in range(5):
            begun = time.perf_counter()
            table = table_of(pull(servers, folder, years)[0])
            seconds.append(time.perf_counter() - begun)
            base.append(plain(bodies))
        size = sum(map(len, bodies)) / 1e6
        print(
            f"{len(table):,} hours from kept answers to one table: {min(seconds):.2f} s; json.loads "
            f"and DataFrame of the same {size:.1f} MB: {min(base):.2f} s; "
            f"{min(seconds) / min(base):.1f} times (aim 3)"
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB, the loopback server's own included (aim 500)")


if __name__ == "__main__":
    main()
