"""Shared by all tests: no network, small yards written to a temporary folder."""

import socket
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from flowcast.numbers import load_numbers
from flowcast.sources.http import Caller, Web

YARD_TOML = """\
[yard]
name = "Test yard (invented)"
latitude = {latitude}
longitude = 15.3
elevation_m = 300
{more}
"""


@pytest.fixture(autouse=True)
def no_network(monkeypatch):
    """Any socket to anywhere but this machine is refused."""
    connect = socket.socket.connect

    def only_here(self, address):
        if isinstance(address, tuple) and address[0] not in ("127.0.0.1", "::1", "localhost"):
            raise OSError(f"tests reach no network: {address}")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", only_here)


@pytest.fixture(autouse=True)
def no_services(monkeypatch, tmp_path_factory):
    """No weather service is asked and no kept answer of this machine is used, unless a test says so."""
    monkeypatch.setenv("FLOWCAST_OFFLINE", "1")
    monkeypatch.setenv("FLOWCAST_CACHE", str(tmp_path_factory.mktemp("answers")))
    for name in ("FLOWCAST_CONTACT", "FLOWCAST_OPEN_METEO_KEY"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def web_to(tmp_path):
    """web_to(servers) is a door to the loopback services, its clock at noon of their today."""
    doors = []

    def door(servers) -> Web:
        noon = servers.today.tz_localize("UTC") + pd.Timedelta(hours=12)
        caller = Caller(contact="keeper@example.test", urls=servers.urls())
        folder = tmp_path / f"answers {len(doors)}"
        doors.append(Web(caller, load_numbers(), folder=folder, clock=lambda: noon))
        return doors[-1]

    yield door
    for web in doors:
        web.close()


@pytest.fixture
def write_yard(tmp_path):
    """write_yard(more="", latitude=48.6, **files) makes a yard folder; files by name."""

    def write(more: str = "", latitude: float = 48.6, files: dict | None = None) -> Path:
        (tmp_path / "yard.toml").write_text(YARD_TOML.format(latitude=latitude, more=more), "utf-8")
        for name, content in (files or {}).items():
            mode = content if isinstance(content, bytes) else content.encode("utf-8")
            (tmp_path / name).write_bytes(mode)
        return tmp_path

    return write


HIVE = """
[[hive]]
name = "H1"
scale = { file = "scale.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }
"""


def plain_weather(
    first="2019-01-01", last="2024-12-31", latitude=48.6, seed=3, noon=13
) -> pd.DataFrame:
    """A simple hourly weather table on UTC end-of-hour stamps, warm in the local summer; noon: the
    UTC hour of most light."""
    index = pd.date_range(f"{first} 01:00", f"{last} 23:00", freq="h", tz="UTC")
    rng = np.random.default_rng(seed)
    half = 0.0 if latitude >= 0 else np.pi
    year = 2 * np.pi * (index.dayofyear.to_numpy() - 200) / 365.25 + half
    hour = 2 * np.pi * (index.hour.to_numpy() - 1 - noon) / 24
    slow = np.repeat(rng.normal(0, 2.5, len(index) // 48 + 1), 48)[: len(index)]
    temp = 10 + 11 * np.cos(year) + 5 * np.cos(hour) + slow
    sun = np.maximum(0, np.cos(hour + np.pi / 12) * (600 + 300 * np.cos(year)))
    wet = np.repeat(rng.random(len(index) // 6 + 1) < 0.08, 6)[: len(index)]
    return pd.DataFrame(
        {
            "temp_c": temp.round(1),
            "rh_pct": np.clip(70 - 15 * np.cos(hour) + 15 * wet, 20, 100).round(),
            "precip_mm": np.where(wet, 1.2, 0.0),
            "wind_ms": np.full(len(index), 3.0),
            "ghi_wm2": np.where(wet, 0.3, 1.0) * sun.round(),
        },
        index=index.rename("time_utc"),
    )


@pytest.fixture(scope="session")
def hourly_weather():
    """Six years of plain weather in the north."""
    return plain_weather()
