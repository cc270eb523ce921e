"""For a machine with internet: ask every weather service once and compare its shape with ours.

Politely: one request a service, serially, nothing kept, two days of data at most. Prints one line a
service, "as expected" or what differs, and ends with 1 when anything does.

    python scripts/live_check.py --contact you@example.org [--at 48.2 16.4]
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from flowcast.errors import SourceError
from flowcast.numbers import load_numbers
from flowcast.sources import met_norway, nasa_power, open_meteo, stations
from flowcast.sources.http import Caller, Web
from flowcast.sources.service import Site

NEEDED = {"temp_c", "precip_mm", "rh_pct", "wind_ms"}


def main() -> None:
    """Ask, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--contact", required=True, help="whom the services may reach")
    parser.add_argument("--at", nargs=2, type=float, default=(48.2, 16.4), metavar=("LAT", "LON"))
    asked = parser.parse_args()
    site = Site(*asked.at)
    with tempfile.TemporaryDirectory() as folder:
        numbers = load_numbers({"service.retries": 0})
        web = Web(Caller(contact=asked.contact), numbers, folder=Path(folder))
        with web:
            differ = [not _said(name, check) for name, check in checks(web, site)]
        print(f"{web.asked.total()} requests made: {dict(web.asked)}")
    sys.exit(any(differ))


def checks(web: Web, site: Site) -> list[tuple[str, Callable[[], str]]]:
    """Name and check of every service; a check gives what differs, or nothing."""
    today = date.today()
    settled = today - timedelta(days=40)
    return [
        (
            "Open-Meteo archive",
            lambda: _hours(
                open_meteo.get_archive(web, site, settled, settled, today).table,
                24,
                NEEDED | {"ghi_wm2", "soil_temp_c", "soil_moisture_m3m3"},
            ),
        ),
        (
            "Open-Meteo forecast",
            lambda: _hours(
                open_meteo.get_forecast(web, site, days=2).table,
                24 * open_meteo.PAST_DAYS,
                NEEDED | {"ghi_wm2"},
            ),
        ),
        ("Open-Meteo ensemble", lambda: _members(open_meteo.get_ensemble(web, site, days=2))),
        ("Open-Meteo geocoding", lambda: _places(open_meteo.get_places(web, "Vienna, Austria"))),
        (
            "NASA POWER",
            lambda: _hours(
                nasa_power.get_history(web, site, settled, settled, today).table,
                24,
                NEEDED | {"ghi_wm2"},
            ),
        ),
        (
            "MET Norway",
            lambda: _hours(
                met_norway.get_forecast(web, site).members[0], 24 * 7, NEEDED | {"cloud_pct"}
            ),
        ),
        (
            "Meteostat",
            lambda: _hours(
                stations.get_stations(web, site, settled, settled, count=1)[0].table,
                20,
                {"temp_c"},
            ),
        ),
    ]


def _said(name: str, check: Callable[[], str]) -> bool:
    try:
        differs = check()
    except SourceError as error:
        differs = str(error)
    print(f"{name}: {differs or 'as expected'}")
    return not differs


def _hours(table: pd.DataFrame, least: int, needed: set[str]) -> str:
    gone = sorted(needed - set(table.columns[table.notna().any()]))
    if gone:
        return f"no {', '.join(gone)}"
    if len(table) < least:
        return f"{len(table)} hours where {least} were expected"
    return ""


def _members(ahead) -> str:
    expected = open_meteo.MEMBERS[ahead.origin.model]
    if len(ahead.members) != expected:
        return (
            f"{len(ahead.members)} members of {ahead.origin.model} where {expected} were expected"
        )
    return _hours(ahead.members[-1], 24, NEEDED | {"ghi_wm2"})


def _places(places: list) -> str:
    return "" if any(abs(p.latitude - 48.2) < 0.2 for p in places) else "Vienna is not where it was"


if __name__ == "__main__":
    main()
