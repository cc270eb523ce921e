"""A loopback server that answers as the public weather services do, from one invented weather.

All services show the SAME invented truth, each in its own units, names, interval labels, rounding
and missing markers, so that a client's reading of any of them can be held against the truth. The
shapes follow the services' documentation; every value is invented. Nothing reaches a network.

    with WeatherServers() as servers:
        base = servers.urls()["open-meteo archive"]          # ask base + "/v1/archive"
        servers.faults["open-meteo archive"].append(("status", 429))
        servers.bias["nasa power"] = {"temp_c": 1.5, "precip_mm": 1.2}

The truth is a table on UTC stamps that mark the END of their hour: instants at the stamp, rain and
radiation over the hour before it. It holds at the height `height_m`, wherever one asks.

Faults, one taken by each request of its service: "refuse", "reset", ("drip", seconds_per_byte),
"broken json", "stream error", "html", "half gzip", ("status", code[, reason]), ("redirect", url),
"missing columns", "wrong units", "list", "nulls".
"""

from loopback.others import ABSURD, MODEL_SOURCES
from loopback.replies import (
    ARCHIVE,
    ELEVATION,
    ENSEMBLE,
    FORECAST,
    GEOCODING,
    MET,
    METEOSTAT,
    POWER,
    SERVICES,
    Asked,
    Reply,
    Station,
    invented_places,
    invented_stations,
)
from loopback.server import WeatherServers
from loopback.truth import invented_weather

__all__ = [
    "ABSURD",
    "ARCHIVE",
    "ELEVATION",
    "ENSEMBLE",
    "FORECAST",
    "GEOCODING",
    "MET",
    "METEOSTAT",
    "MODEL_SOURCES",
    "POWER",
    "SERVICES",
    "Asked",
    "Reply",
    "Station",
    "WeatherServers",
    "invented_places",
    "invented_stations",
    "invented_weather",
]
