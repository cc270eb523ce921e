"""The live check says "as expected" of the true shapes, and what differs of others."""

from datetime import date

import live_check
import pytest
from loopback import Station, WeatherServers

from flowcast.numbers import load_numbers
from flowcast.sources.http import Caller, Web
from flowcast.sources.service import Site

NAMES = {name for name, _ in live_check.checks(None, None)}


@pytest.fixture
def servers():
    with WeatherServers(today=date.today().isoformat()) as running:
        running.stations = [
            Station("S1", "Near", "AT", "", 48.25, 16.4, 200, range(2020, date.today().year + 1))
        ]
        running.places.append(
            {
                "id": 1,
                "name": "Vienna",
                "latitude": 48.21,
                "longitude": 16.37,
                "country": "Austria",
                "country_code": "AT",
                "admin1": "Vienna",
            }
        )
        yield running


def said(servers, folder):
    numbers = load_numbers({"service.retries": 0})
    caller = Caller(contact="keeper@example.org", urls=servers.urls())
    with Web(caller, numbers, folder=folder, sleep=lambda seconds: None) as web:
        return {name: check() for name, check in live_check.checks(web, Site(48.2, 16.4))}


def test_the_true_shapes_are_as_expected_at_one_request_a_service(servers, tmp_path):
    assert said(servers, tmp_path) == dict.fromkeys(NAMES, "")
    assert len(servers.requests) == len(NAMES) + 1  # the stations' list, and one file


def test_a_shape_that_differs_is_told(servers, tmp_path, capsys):
    servers.faults["open-meteo archive"] = ["missing columns"]
    servers.faults["met norway"] = ["wrong units"]
    numbers = load_numbers({"service.retries": 0})
    caller = Caller(contact="keeper@example.org", urls=servers.urls())
    with Web(caller, numbers, folder=tmp_path, sleep=lambda seconds: None) as web:
        for name, check in live_check.checks(web, Site(48.2, 16.4)):
            expected = name not in ("Open-Meteo archive", "MET Norway")
            assert live_check._said(name, check) is expected
    assert "a unit we do not know" in capsys.readouterr().out
