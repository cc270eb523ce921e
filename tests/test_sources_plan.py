"""Who answers for which span, who steps in, how much may be asked, and one pull at a time.

Who is first and who is second is the project's own plan (weather service sheet 5.1 to 5.4, 5.6);
all weather is the loopback's invented one.
"""

import copy
import json
import os
import signal
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from loopback import ARCHIVE, ENSEMBLE, FORECAST, MET, METEOSTAT, POWER, WeatherServers

import flowcast
from flowcast.errors import SourceError, SourceUnavailable
from flowcast.numbers import load_numbers
from flowcast.sources import met_norway, nasa_power, open_meteo, plan
from flowcast.sources.http import FOR_EVER, Caller, Web
from flowcast.sources.limits import Allowance, call_weight
from flowcast.sources.service import Service, Site

SITE = Site(45.1, 10.1, 210)
TODAY = date(2026, 5, 20)
CONTACT, KEY = "keeper@example.test", "key-4711-of-nobody"
FAST = {
    "service.connect_s": 1,
    "service.read_s": 2,
    "service.answer_s": 5,
    "service.retry_wait_s": 0,
}
TRIES = 3  # one and two more: weather service sheet 5.6
ROOT = Path(flowcast.__file__).parents[1]


@pytest.fixture
def servers():
    with WeatherServers(today="2026-05-20") as running:
        yield running


@pytest.fixture
def door(servers, tmp_path):
    """door(today=, **caller) opens the door on one folder; all are closed at the end."""
    opened = []

    def make(today=TODAY, numbers=None, **caller):
        caller = {"urls": servers.urls(), "contact": CONTACT} | caller
        now = pd.Timestamp(today, tz="UTC") + pd.Timedelta(hours=6)
        web = Web(
            Caller(**caller),
            load_numbers(FAST | (numbers or {})),
            folder=tmp_path / "answers",
            clock=lambda: now,
            sleep=lambda s: None,
        )
        opened.append(web)
        return web

    yield make
    for web in opened:
        web.close()


def pull(web, first=2024, today=TODAY, **more):
    """What plan.gather gives from the first of January of that year on."""
    wanted = plan.Wanted(SITE, date(first, 1, 1), today, today, **more)
    return plan.gather(web, wanted)


def years(gathered):
    """Year and service of each block of history."""
    middles = [b.table.index[len(b.table) // 2].year for b in gathered.history]
    return list(zip(middles, [b.origin.service for b in gathered.history], strict=True))


def spans_asked(servers, service):
    """First and last day of each request, in order."""
    names = ("start_date", "end_date") if service == ARCHIVE else ("start", "end")
    asked = [a.params for a in servers.requests if a.service == service]
    return [tuple(params[n].replace("-", "") for n in names) for params in asked]


def one_line_each(notes):
    for note in notes:
        note = str(note)
        assert note.endswith(".") and "\n" not in note and "127.0.0.1" not in note
    assert len(set(notes)) == len(notes)


HOUSE, COARSE = "Open-Meteo archive", "NASA POWER"


# Published values and hand-worked cases: the weight of a call.


@pytest.mark.parametrize(
    "variables, days, weight",
    [(8 * 31, 16, 28.3), (8 * 51, 15, 43.7), (10, 365, 26.07), (1, 1, 1.0), (20, 7, 2.0)],
)
def test_a_call_weighs_as_open_meteo_counts_it(variables, days, weight):
    # Weather service sheet 2.3: max(1, V/10, V/10 x days/14). By hand: 24.8 x 16/14 = 28.34,
    # 40.8 x 15/14 = 43.71, 365/14 = 26.07; less than a call is one; less than 14 days count whole.
    assert call_weight(variables, days, load_numbers()) == pytest.approx(weight, abs=0.05)


# The plan.


def test_all_well_is_one_request_a_year_and_two(servers, door):
    told = []
    wanted = plan.Wanted(SITE, date(2024, 1, 1), TODAY, TODAY)
    got = plan.gather(door(), wanted, lambda words, share: told.append(share))
    assert years(got) == [(2024, HOUSE), (2025, HOUSE), (2026, HOUSE)]
    assert got.recent.origin.service == "Open-Meteo forecast"
    assert len(got.ahead.members) == 51 and got.notes == () and got.nearby == ()
    assert servers.count() == 3 + 2
    assert told == sorted(told) and all(0 <= share <= 1 for share in told)
    # ERA5 lags five days (weather service sheet 2.1), and the day it ends on may be half there.
    assert spans_asked(servers, ARCHIVE)[-1] == ("20260101", "20260514")
    table = pd.concat([block.table for block in got.history])
    assert (np.diff(table.index) == np.timedelta64(1, "h")).all()  # no hour is lost or twice
    assert got.recent.table.index[0] <= table.index[-1] - pd.Timedelta(
        days=80
    )  # to compare them by
    pull(door())
    assert servers.count() == 3 + 2  # nothing is asked twice


def test_the_check_by_a_station_costs_its_list_and_one_year(servers, door):
    got = pull(door(), check_station=True)
    assert [s.id for s in got.nearby] == ["AAAA1"] and set(got.nearby[0].table.index.year) == {2025}
    paths = [a.path for a in servers.requests if a.service == METEOSTAT]
    assert paths == ["/stations.db", "/hourly/2025/AAAA1.csv.gz"]
    far = pull(door(numbers={"stations.radius_km": 5}), check_station=True)
    assert far.nearby == () and "within 5 km" in str(far.notes[-1])  # the yard's own numbers hold


def test_a_guest_network_s_page_is_not_kept_as_the_list_of_stations(servers, door):
    servers.faults[METEOSTAT] = ["html"] * TRIES
    got = pull(door(), first=2026, check_station=True)
    assert got.nearby == () and "web page" in got.notes[0]
    one_line_each(got.notes)
    assert pull(door(), first=2026, check_station=True).nearby


def test_a_dead_archive_is_asked_three_times_in_all(servers, door):
    servers.faults[ARCHIVE] = [("status", 503)] * 99
    got = pull(door())
    assert years(got) == [(2024, COARSE), (2025, COARSE), (2026, COARSE)]
    assert servers.count(ARCHIVE) == TRIES and servers.count(POWER) == 3
    assert len(got.notes) == 1 and "Open-Meteo archive" in got.notes[0]
    assert got.recent is not None and len(got.ahead.members) == 51
    one_line_each(got.notes)


def test_one_year_from_the_second_service_brings_one_whole_year_to_compare(servers, door):
    servers.faults[ARCHIVE] = ["none", ("status", 404)]
    got = pull(door())
    assert years(got) == [(2024, HOUSE), (2025, COARSE), (2026, HOUSE), (2024, COARSE)]
    assert spans_asked(servers, POWER) == [("20250101", "20251231"), ("20240101", "20241231")]
    assert len(got.notes) == 1 and "2025" in got.notes[0]


def test_the_running_year_is_compared_up_to_where_it_goes(servers, door):
    servers.faults[ARCHIVE] = [("status", 404)]
    got = pull(door(), first=2025)
    assert years(got) == [(2025, COARSE), (2026, HOUSE), (2026, COARSE)]
    assert spans_asked(servers, POWER)[1] == ("20260101", "20260514")  # no day of the future


@pytest.mark.parametrize("fault", [("status", 400), "wrong units", "nulls"], ids=str)
def test_when_the_first_ensemble_model_fails_the_second_is_taken(servers, door, fault):
    # Weather service sheet 2.1: 51 members, then 31.
    servers.faults[ENSEMBLE] = [fault]
    got = pull(door(), first=2026)
    assert got.ahead.origin.model == "ncep_gefs_seamless" and len(got.ahead.members) == 31
    assert servers.count(ENSEMBLE) == 2 and servers.count(MET) == 0


def test_without_any_ensemble_met_norway_gives_the_days_ahead(servers, door):
    servers.faults[ENSEMBLE] = [("status", 400)] * 2
    got = pull(door(), first=2026)
    assert got.ahead.is_point and got.ahead.origin.service == "MET Norway"
    assert len(got.notes) == 1 and "Open-Meteo ensemble" in got.notes[0]
    one_line_each(got.notes)


def test_without_a_contact_that_is_said_and_met_norway_not_asked(servers, door):
    servers.faults[ENSEMBLE] = ["refuse"] * TRIES
    got = pull(door(contact=None), first=2026)
    assert got.ahead is None and servers.count(MET) == 0
    assert any("contact =" in note for note in got.notes)
    one_line_each(got.notes)


def test_stations_bridge_the_last_days_when_the_forecast_host_is_dead(servers, door):
    servers.faults[FORECAST] = ["reset"] * 99
    got = pull(door())
    assert got.recent.origin.service == "Meteostat"
    assert got.recent.table.index[-1].date() == TODAY - timedelta(days=1)  # measured, no model
    assert len(got.ahead.members) == 51 and servers.count(FORECAST) == TRIES
    assert "Open-Meteo forecast" in got.notes[0]
    one_line_each(got.notes)


@pytest.mark.parametrize(
    "fault", ["refuse", "html", ("status", 429), ("status", 403), "broken json"]
)
def test_when_all_are_dead_nothing_is_raised(servers, door, fault):
    for service in servers.faults:
        servers.faults[service] = [fault] * 99
    got = pull(door(), check_station=True)
    assert got.history == () and got.recent is None and got.ahead is None and got.nearby == ()
    assert got.notes
    one_line_each(got.notes)
    most = 1 if isinstance(fault, tuple) else TRIES
    for service in (ARCHIVE, POWER, FORECAST, ENSEMBLE, MET):
        assert servers.count(service) <= most
    assert servers.count(METEOSTAT) <= most


def test_a_service_that_had_enough_is_said_once(servers, door):
    servers.faults[ARCHIVE] = [("status", 429, "Daily limit")]
    got = pull(door())
    assert years(got) == [(2024, COARSE), (2025, COARSE), (2026, COARSE)]
    assert servers.count(ARCHIVE) == 1 and servers.count(FORECAST) == 0
    assert got.ahead.origin.service == "MET Norway" and got.recent.origin.service == "Meteostat"
    one_line_each(got.notes)


def test_settled_years_are_never_asked_again(servers, door):
    pull(door(), check_station=True)
    before = len(servers.requests)
    servers.today = pd.Timestamp("2027-05-20")
    later = date(2027, 5, 20)
    got = pull(door(later), today=later)
    assert years(got) == [(y, HOUSE) for y in (2024, 2025, 2026, 2027)]
    asked = [a for a in servers.requests[before:] if a.service == ARCHIVE]
    assert [a.params["start_date"] for a in asked] == ["2026-01-01", "2027-01-01"]
    offline = pull(door(later + timedelta(days=9), offline=True), today=later)
    assert years(offline) == years(got) and len(servers.requests) == before + 4


def test_only_the_services_a_yard_names_are_asked(servers, door):
    got = pull(door(), services=plan.check_names(["nasa power"]), first=2025, check_station=True)
    assert years(got) == [(2025, COARSE), (2026, COARSE)]
    assert {a.service for a in servers.requests} == {POWER}
    assert got.recent is None and got.ahead is None and got.notes == ()


# One pull at a time.

PULL = """
import sys
from datetime import date
from pathlib import Path
import pandas as pd
from flowcast.numbers import load_numbers
from flowcast.sources import open_meteo, plan
from flowcast.sources.http import Caller, Web
from flowcast.sources.service import Site
url, folder = sys.argv[1:]
now = pd.Timestamp("2026-05-20 06:00", tz="UTC")
caller = Caller(urls={s.name: url for s in plan.ALL}, contact="keeper@example.test")
with Web(caller, load_numbers(), folder=Path(folder), clock=lambda: now) as web:
    wanted = plan.Wanted(Site(45.1, 10.1, 210), date(2024, 1, 1), now.date(), now.date())
    got = plan.gather(web, wanted)
    print(web.asked.total(), len(got.history), len(got.ahead.members), len(got.notes))
"""
HOLD = """
import sys, time
from pathlib import Path
from flowcast.numbers import load_numbers
from flowcast.sources.limits import Allowance
with Allowance(Path(sys.argv[1]), load_numbers()).turn():
    print("held", flush=True)
    time.sleep(60)
"""


def run(code, *arguments):
    surroundings = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        env=surroundings,
    )


def test_of_two_pulls_at_once_one_waits_and_asks_nothing(servers, tmp_path):
    both = [run(PULL, servers.url, tmp_path) for _ in range(2)]
    said = sorted(process.communicate(timeout=60)[0].split() for process in both)
    assert said == [["0", "3", "51", "0"], ["5", "3", "51", "0"]]
    assert servers.count() == 5


def test_a_pull_that_is_killed_gives_its_turn_back(tmp_path):
    holder = run(HOLD, tmp_path)
    with holder:
        assert holder.stdout.readline().strip() == "held"
        waits = []
        numbers = load_numbers({"service.turn_wait_s": 0.2})
        with Allowance(tmp_path, numbers, sleep=waits.append, tell=waits.append).turn():
            assert waits  # not its turn, and it goes on all the same after so long
        holder.send_signal(signal.SIGKILL)
    waits.clear()
    start = time.monotonic()
    with Allowance(tmp_path, load_numbers(), tell=waits.append).turn():
        assert not waits and time.monotonic() - start < 5


# The allowance.


class Hands:
    """A clock in seconds that sleeping moves."""

    def __init__(self):
        self.now = 1.8e9

    def __call__(self):
        return self.now

    def sleep(self, seconds):
        self.now += seconds


def test_pace_and_refusal_at_four_fifths(tmp_path):
    # Weather service sheet 2.3: 600 a minute, 5,000 an hour, 10,000 a day; 5.8: stop at 80 %.
    hands, said = Hands(), []
    numbers = load_numbers()
    allowance = Allowance(tmp_path, numbers, sleep=hands.sleep, clock=hands, tell=said.append)
    start = hands.now
    for _ in range(80):
        allowance.spend("X", 50)
    # 480 calls a minute: nine times 50, so the 80th call of 50 waits for eight minutes to pass.
    assert hands.now - start == pytest.approx(8 * 60, abs=10) and said
    with pytest.raises(SourceUnavailable, match="hour"):
        allowance.spend("X", 1)
    allowance.spend("Y", 1)  # of another house
    next_run = Allowance(tmp_path, numbers, sleep=hands.sleep, clock=hands)
    with pytest.raises(SourceUnavailable, match="hour"):
        next_run.spend("X", 1)
    hands.now += 3601
    for _ in range(80):
        next_run.spend("X", 50)
    hands.now += 3601
    with pytest.raises(SourceUnavailable, match="day"):
        next_run.spend("X", 1)
    hands.now += 86400
    next_run.spend("X", 1)


def test_a_clock_that_ran_ahead_does_not_lock_a_service_up(tmp_path):
    hands, numbers = Hands(), load_numbers()
    hands.now += 9e8
    allowance = Allowance(tmp_path, numbers, sleep=hands.sleep, clock=hands)
    allowance.spend("X", 4000)
    allowance.close("X", 3600, "too many calls")
    hands.now -= 9e8
    allowance.must_be_open("X")
    allowance.spend("X", 100)


def test_a_count_that_cannot_be_kept_stops_nobody(tmp_path):
    (tmp_path / "calls.sqlite").write_bytes(b"garbage " * 100)
    (tmp_path / "turn.sqlite").write_bytes(b"garbage " * 100)
    hands = Hands()
    allowance = Allowance(tmp_path, load_numbers(), sleep=hands.sleep, clock=hands)
    allowance.spend("X", 10)
    assert allowance.used("X", 60) == 10
    with allowance.turn():
        pass


@pytest.mark.parametrize("own, key, counted", [(True, None, 0), (False, None, 1), (False, KEY, 0)])
def test_only_the_free_host_s_calls_are_counted(servers, door, monkeypatch, own, key, counted):
    urls = servers.urls() if own else {}
    free = Service("Open-Meteo archive", servers.url, "", "", key_url=servers.url, limits="X")
    web = door(urls=urls if own else {}, key=key)
    if own:
        free = Service("Open-Meteo archive", "http://192.0.2.1", "", "", limits="X")
    path, asked = "/v1/archive", {"latitude": "45", "longitude": "10", "start_date": "2024-01-01"}
    asked |= {"end_date": "2024-01-01", "hourly": "temperature_2m"}
    web.get(free, path, asked, lifetime_s=FOR_EVER, what="a day", weight=7)
    assert web.allowance.used("X", 60) == 7 * counted


# Property: a good answer with one part of it replaced is a table or a clear refusal.

QUESTIONS = (
    ("/v1/archive", "latitude=45&longitude=10&start_date=2024-01-01&end_date=2024-01-01"
     "&hourly=temperature_2m,precipitation", open_meteo.parse_hours),
    ("/api/temporal/hourly/point", "latitude=45&longitude=10&start=20240101&end=20240101"
     "&community=RE&time-standard=UTC&parameters=T2M,PRECTOTCORR", nasa_power.parse_hours),
    ("/weatherapi/locationforecast/2.0/compact", "lat=45&lon=10", met_norway.parse_forecast),
)  # fmt: skip
JUNK = [None, True, 0, -1, 1e400, "", "x", "2024-01-01T00:00", [], {}, [1], {"a": {}}, 10**30]


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """A small good answer of each kind, with what reads it."""
    got = []
    with WeatherServers(today="2026-05-20") as servers:
        web = Web(Caller(contact=CONTACT), load_numbers(), folder=tmp_path_factory.mktemp("good"))
        with web:
            for path, query, parse in QUESTIONS:
                url = Service("Any", servers.url, "", "")
                answer = web.get(url, f"{path}?{query}", lifetime_s=0, what="a day")
                got.append((json.loads(answer.content), parse))
    got[2][0]["properties"]["timeseries"][3:-3] = []
    return got


def places(tree, above=()):
    """The way to every part of a JSON tree."""
    yield above
    if isinstance(tree, dict | list):
        for key, part in tree.items() if isinstance(tree, dict) else enumerate(tree):
            yield from places(part, (*above, key))


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_an_answer_with_one_part_replaced_is_read_or_refused_in_one_line(good, data):
    tree, parse = good[data.draw(st.integers(0, 2))]
    ways = [way for way in places(tree) if way]
    *way, last = ways[data.draw(st.integers(0, len(ways) - 1))]
    tree = part = copy.deepcopy(tree)
    for key in way:
        part = part[key]
    part[last] = data.draw(st.sampled_from(JUNK))
    try:
        table, _ = parse(json.dumps(tree).encode())
    except SourceError as error:
        assert "\n" not in str(error) and str(error).endswith(".")
    else:
        assert isinstance(table, pd.DataFrame) and table.index.is_monotonic_increasing
