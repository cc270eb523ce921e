"""The loopback server: takes requests, notes them, answers, or fails as it was told to."""

import gzip
import os
import socket
import struct
import threading
import time
import traceback
from datetime import UTC, datetime
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qsl, urlencode, urlsplit

import pandas as pd

from loopback.faults import (
    BODY_FAULTS,
    LOGIN,
    REPLY_FAULTS,
    SHAPE_FAULTS,
    WIRE_FAULTS,
    damaged,
    misshapen,
)
from loopback.open_meteo import elevation, geocoding, open_meteo
from loopback.others import met_norway, meteostat, nasa_power
from loopback.replies import (
    ARCHIVE,
    COLUMNS,
    ELEVATION,
    ENSEMBLE,
    FORECAST,
    GEOCODING,
    MET,
    METEOSTAT,
    PATHS,
    POWER,
    SERVICES,
    Asked,
    Refused,
    Reply,
    invented_places,
    invented_stations,
    refusal,
)
from loopback.truth import MULTIPLIED, bounded, invented_weather, span_of

ANSWERS = {
    ARCHIVE: open_meteo,
    FORECAST: open_meteo,
    ENSEMBLE: open_meteo,
    GEOCODING: geocoding,
    ELEVATION: elevation,
    MET: met_norway,
    POWER: nasa_power,
}


class WeatherServers:
    """All weather services on one loopback address; a context manager.

    Parameters
    ----------
    weather : callable, optional
        (latitude, longitude, index_utc) -> table like `invented_weather`, the default. Columns
        it lacks are missing everywhere.
    today : str
        The services' date: archives end before it, forecasts start from it.
    lag_days : int
        The last day in the archive is this many days before today.

    Attributes
    ----------
    url : str
        "http://127.0.0.1:PORT", from `with` on.
    requests : list of Asked
        Every request received, in order.
    faults : dict of str to list
        Service -> faults to come, one taken by each request of that service.
    bias : dict of str to dict
        Service -> column -> what it adds to the truth; precip_mm, wind_ms, ghi_wm2 are multiplied.
    stations, places : list
        What meteostat and the place search know.
    height_m, power_height_m : float
        Height at which the truth holds, and mean height of NASA POWER's cell [m]. Stations and
        NASA POWER are 6.5 °C colder a kilometre above height_m.
    expires_s : float
        How long a reply of MET Norway stays fresh [s].
    clock : callable
        The time of day in headers; the real one unless set.
    """

    def __init__(self, weather=None, today="2026-05-20", lag_days=5):
        self.weather = weather or invented_weather
        self.today = pd.Timestamp(today)
        self.lag_days = lag_days
        self.requests = []
        self.faults = {service: [] for service in SERVICES}
        self.bias = {}
        self.stations, self.places = invented_stations(), invented_places()
        self.height_m, self.power_height_m = 210.0, 188.4
        self.expires_s = 1800
        self.clock = lambda: datetime.now(UTC)
        self.mistakes = []
        self.closing = threading.Event()
        self._lock = threading.Lock()

    def __enter__(self):
        self._http = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
        self._http.servers = self
        self.url = f"http://127.0.0.1:{self._http.server_port}"
        self._thread = threading.Thread(target=self._http.serve_forever, args=(0.01,), daemon=True)
        self._thread.start()
        return self

    def __exit__(self, kind, error, trace):
        self.closing.set()
        self._http.shutdown()
        self._http.server_close()
        self._thread.join()
        if self.mistakes and kind is None:
            raise RuntimeError("the loopback server itself failed:\n" + "\n".join(self.mistakes))

    def urls(self):
        """Service -> base address, the part in front of the paths."""
        return dict.fromkeys(SERVICES, self.url)

    def count(self, service=None):
        """How many requests came in, of one service or of all."""
        return sum(service in (None, asked.service) for asked in self.requests)

    def shown(self, service, latitude, longitude, first, last):
        """The truth on UTC end-of-hour stamps, with the service's bias; the caller's own copy."""
        table = span_of(self.weather, latitude, longitude, first, last).copy()
        for column, value in self.bias.get(service, {}).items():
            table[column] = table[column] * value if column in MULTIPLIED else table[column] + value
        return bounded(table.reindex(columns=COLUMNS))

    def note(self, asked):
        """Write the request down and take the fault that waits for its service."""
        with self._lock:
            self.requests.append(asked)
            waiting = self.faults.get(asked.service)
            fault = waiting.pop(0) if waiting else ("none",)
        return fault if isinstance(fault, tuple) else (fault,)

    def reply(self, asked, fault):
        """What this service answers to this request, with faults of status and shape."""
        name, *more = fault
        if name not in ("none", *SHAPE_FAULTS, *BODY_FAULTS, *WIRE_FAULTS, *REPLY_FAULTS):
            raise ValueError(f"no such fault: {fault}")
        if name == "html":
            return Reply(kind="text/html; charset=UTF-8", body=LOGIN)
        if name == "status":
            return refusal(asked.service, *more)
        if name == "redirect":
            return Reply(status=302, headers={"Location": more[0]}, body=b"")
        try:
            reply = self._answer(asked)
        except Refused as no:
            return refusal(asked.service, *no.args)
        if name in SHAPE_FAULTS and reply.data is not None:
            reply.data = misshapen(name, reply.data)
        return reply

    def _answer(self, asked):
        service, params = asked.service, asked.params
        if asked.method != "GET" or not service:
            raise Refused(405 if service else 404, "Method Not Allowed" if service else "Not Found")
        if service == METEOSTAT:
            return meteostat(self, service, asked.path)
        if service.startswith("open-meteo") and "apikey" in params:  # a paid key on a free host
            to = f"{self.url}/customer{asked.path}?{urlencode(params)}"
            return Reply(status=302, headers={"Location": to}, body=b"")
        return ANSWERS[service](self, service, params, asked.headers)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self):
        """Note, answer, send; what breaks here is told when the servers close."""
        try:
            self._serve()
        except OSError:
            pass  # the client went away
        except Exception:
            self.server.servers.mistakes.append(traceback.format_exc())
        self.close_connection = True

    do_HEAD = do_POST = do_PUT = do_DELETE = do_GET

    def _serve(self):
        servers, where = self.server.servers, urlsplit(self.path)
        service = METEOSTAT if where.path.startswith("/hourly/") else PATHS.get(where.path, "")
        headers = {k.lower(): v for k, v in self.headers.items() if k.lower() != "cookie"}
        params = dict(parse_qsl(where.query, keep_blank_values=True))
        asked = Asked(service, self.command, where.path, params, headers)
        fault = servers.note(asked)
        if fault[0] == "refuse":
            return
        reply = servers.reply(asked, fault)
        asked.status = reply.status
        self._send(reply, fault)

    def _send(self, reply, fault):
        body, packed = reply.encoded(), reply.kind == "application/gzip"
        zipped = "json" in reply.kind and "gzip" in self.headers.get("Accept-Encoding", "")
        if fault[0] in BODY_FAULTS:
            body, zipped = damaged(fault[0], body, packed)
        elif zipped:
            body = gzip.compress(body, 1, mtime=0)
        self.send_response(reply.status)
        for name, value in reply.headers.items():
            self.send_header(name, value)
        if zipped:
            self.send_header("Content-Encoding", "gzip")
        if reply.status != 304:
            self.send_header("Content-Type", reply.kind)
            self.send_header("Content-Length", str(len(body)))
        self.send_header("Connection", "close")
        self.end_headers()
        if self.command != "HEAD":
            self._send_body(body, *fault)

    def _send_body(self, body, fault, *more):
        if fault == "reset":
            self.wfile.write(body[: len(body) // 2])
            self._hang_up()
        elif fault == "drip":
            for k in range(len(body)):
                self.wfile.write(body[k : k + 1])
                if self.server.servers.closing.wait(more[0]):
                    return
        else:
            self.wfile.write(body)

    def _hang_up(self):
        """Close so that the other side is told at once and rudely (a TCP reset)."""
        time.sleep(0.02)  # let the half that was sent arrive
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        os.close(self.connection.detach())

    def date_time_string(self, timestamp=None):
        """The Date header, by the servers' clock."""
        return format_datetime(self.server.servers.clock(), usegmt=True)

    def log_message(self, *_):
        """Nothing on the screen: `requests` has it all."""
