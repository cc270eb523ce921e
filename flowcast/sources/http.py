"""The only door to the network: one polite session for every weather service.

A request goes out only when no kept answer is fresh. It carries an honest name, has a deadline, is
tried again a bounded number of times when the line fails, and falls back on a kept answer, however
old, saying its age. Keys and contacts never leave in a message, a kept answer or an output.
"""

from __future__ import annotations

import random
import re
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from email.utils import parsedate_to_datetime
from importlib.metadata import version
from pathlib import Path

import pandas as pd
import requests
import urllib3

from flowcast.errors import NothingThere, SourceError, SourceFormatError, SourceUnavailable
from flowcast.numbers import Numbers
from flowcast.sources.limits import Allowance
from flowcast.sources.service import Answer, Service
from flowcast.sources.store import Store, cache_folder

AGAIN = (requests.ConnectionError, requests.Timeout, urllib3.exceptions.HTTPError, OSError)
FOR_EVER = float("inf")
# What a service that has had enough says, and how long its window lasts.
ENOUGH_S = {"minutely": 60, "hourly": 3600, "daily": 86400, "concurrent": 30}


@dataclass(frozen=True)
class Caller:
    """Who asks, and how: from yard.toml, the environment and the command line."""

    contact: str | None = None
    commercial: bool = False
    key: str | None = None
    urls: dict[str, str] = field(default_factory=dict)
    offline: bool = False
    refresh: bool = False


class Web:
    """Cached, bounded, polite requests. Close it, or use it in a with statement."""

    def __init__(
        self,
        caller: Caller,
        numbers: Numbers,
        *,
        folder: Path | None = None,
        clock: Callable[[], pd.Timestamp] = lambda: pd.Timestamp.now("UTC"),
        sleep: Callable[[float], None] = time.sleep,
        rng: random.Random | None = None,
        tell: Callable[[str], None] = lambda words: None,
    ):
        self.caller, self.numbers, self.tell = caller, numbers, tell
        self.clock, self.sleep, self.rng = clock, sleep, rng or random.Random()
        self.down: dict[str, SourceUnavailable] = {}  # not asked again by this run
        self.asked: Counter[str] = Counter()
        self.weight: Counter[str] = Counter()
        folder = folder or cache_folder()
        self.store = Store(folder)
        self.allowance = Allowance(folder, numbers, sleep=sleep, tell=tell)
        self.session = requests.Session()
        self.session.headers["User-Agent"] = user_agent(caller.contact)

    def __enter__(self) -> Web:
        return self

    def __exit__(self, *error) -> None:
        self.close()

    def close(self) -> None:
        """Let go of connections and files."""
        self.session.close()
        self.store.close()

    @property
    def notes(self) -> list[str]:
        """What went wrong with keeping answers, in sentences."""
        return self.store.troubles

    def get(
        self,
        service: Service,
        path: str,
        params: dict[str, str] | None = None,
        *,
        lifetime_s: float | None,
        what: str,
        weight: float = 1.0,
        usable: Callable[[bytes], object] = lambda content: None,
    ) -> Answer:
        """One answer of a service, from the store or from the network.

        Parameters
        ----------
        lifetime_s : float or None
            How long it stays fresh; FOR_EVER, or None for what the service's own Expires says.
        what : str
            What is asked for, for messages: "weather of 2019".
        weight : float
            How many calls it counts as against the service's allowance.
        usable : callable
            Raises SourceError when the content is none; such an answer is not kept.

        Raises
        ------
        NothingThere
            When the service says it has nothing for this place and span.
        SourceUnavailable, SourceFormatError
            When there is no answer and none is kept, in one line that names the service.
        """
        _may_be_asked(service, self.caller)
        request = self._prepared(service, path, params)
        key = self.store.key(request)
        kept = self.store.get(key)
        fresh = kept is not None and not self._is_old(kept)
        if fresh and not self.caller.refresh:
            return self._kept(kept, stale=False)
        if self.caller.offline:
            return self._kept_or_raise(kept, _offline(service, what))
        if service.name in self.down:
            return self._kept_or_raise(kept, self.down[service.name])
        try:
            return self._ask(service, request, key, kept, lifetime_s, what, weight, usable)
        except NothingThere:
            raise
        except SourceError as error:
            return self._kept_or_raise(kept, error)

    def _ask(self, service, request, key, kept, lifetime_s, what, weight, usable) -> Answer:
        """The network's answer, kept; a kept one again when the service says it still stands."""
        if kept is not None:
            request.headers.update(_validators(kept.headers))
        response = self._tried(service, request, what, weight, usable)
        now = self.clock()
        lifetime_s = _lifetime(response.headers, now) if lifetime_s is None else lifetime_s
        keep_s = None if lifetime_s == FOR_EVER else lifetime_s
        if response.status_code == 304 and kept is not None:
            kept.headers.update(response.headers)
            kept.created_at = now.to_pydatetime()
            self.store.put(key, kept, now.to_pydatetime(), keep_s)
            return self._kept(kept, stale=False)
        self.store.put(key, response, now.to_pydatetime(), keep_s)
        return Answer(
            response.content, self._shown(request.url), now, 0.0, headers=dict(response.headers)
        )

    def _prepared(self, service: Service, path: str, params) -> requests.PreparedRequest:
        base = service.base(self.caller.urls, self.caller.key)
        request = self.session.prepare_request(requests.Request("GET", base + path, params=params))
        if self.caller.key and service.key_url:
            request.headers["X-Api-Key"] = self.caller.key
        return request

    def _tried(self, service: Service, request, what, weight, usable) -> requests.Response:
        """Send until it is answered whole, at most so many times."""
        tries = 1 + int(self.numbers["service.retries"])
        wait = self.numbers["service.retry_wait_s"]
        counted = service.limits and service.base(self.caller.urls, None) == service.url
        self.allowance.must_be_open(service.limits or service.name)
        for left in reversed(range(tries)):
            if counted and not self.caller.key:  # an own server keeps its own rules
                self.allowance.spend(service.limits, weight)
            self.asked[service.name] += 1
            self.weight[service.name] += weight
            try:
                response = self._sent(request)
                if response.status_code < 500:
                    response = self._good(service, response, what)
                    if response.status_code != 304:
                        usable(response.content)
                    return response
                trouble = f"{service.name}: it failed on {what} (HTTP {response.status_code})"
            except AGAIN as error:
                trouble = f"{service.name}: {what} could not be had ({_line_failed(error)})"
            except SourceFormatError as error:
                # Cut short on the way, or an error sent as an answer: a failed line, not a shape.
                trouble = str(error).rstrip(".")
            if left:
                self.sleep(wait * (0.5 + self.rng.random()))
                wait *= 2
        self.down[service.name] = SourceUnavailable(f"{trouble}, {tries} times. Try again later.")
        raise self.down[service.name]

    def _sent(self, request) -> requests.Response:
        """Send once; the body is read to its end, or to the deadline."""
        numbers = self.numbers
        keyed = "X-Api-Key" in request.headers
        deadline = time.monotonic() + numbers["service.answer_s"]
        response = self.session.send(
            request,
            stream=True,
            timeout=(numbers["service.connect_s"], numbers["service.read_s"]),
            allow_redirects=not keyed,  # a key must not travel to another host
        )
        with response:
            body = bytearray()
            while chunk := response.raw.read1(1 << 16, decode_content=True):
                body += chunk
                if time.monotonic() > deadline:
                    raise requests.Timeout("too slow")
            # requests keeps no public way to hand it a body that was read under a deadline.
            response._content = bytes(body)
            response._content_consumed = True
        return response

    def _good(self, service: Service, response, what: str) -> requests.Response:
        """The response when it is an answer; else what the service's refusal means."""
        status, reason = response.status_code, _reason(response.content)
        reason = f": {self._hidden(reason)}" if reason else ""
        who = f"{service.name}: {what}"
        if status in (200, 203, 304):
            return response
        if status in (404, 422):
            raise NothingThere(f"{who}: nothing there{reason}.")
        if status == 429:
            seconds = _enough_for(reason, response.headers)
            self.allowance.close(service.limits or service.name, seconds, "too many calls")
            self.down[service.name] = SourceUnavailable(
                f"{who}: too many calls{reason}. Free again in about {_duration(seconds)}."
            )
            raise self.down[service.name]
        if 300 <= status < 400:
            raise SourceUnavailable(
                f"{who}: the key is not for this host (HTTP {status}). Check [weather.urls]."
            )
        if status == 403:
            self.down[service.name] = SourceUnavailable(
                f"{who}: refused (HTTP 403{reason}). Check contact in yard.toml, and the key."
            )
            raise self.down[service.name]
        raise SourceUnavailable(f"{who}: not understood by the service (HTTP {status}{reason}).")

    def _hidden(self, text: str) -> str:
        """The text without the caller's key and contact."""
        for secret in (self.caller.key, self.caller.contact):
            text = text.replace(secret, "...") if secret else text
        return text

    def _kept(self, kept, *, stale: bool) -> Answer:
        at = pd.Timestamp(kept.created_at)
        at = at.tz_localize("UTC") if at.tz is None else at.tz_convert("UTC")
        age = max(0.0, (self.clock() - at).total_seconds())
        return Answer(kept.content, self._shown(kept.url), at, age, stale, dict(kept.headers))

    def _is_old(self, kept) -> bool:
        if kept.expires is None:
            return False
        until = pd.Timestamp(kept.expires)
        until = until.tz_localize("UTC") if until.tz is None else until
        return self.clock() >= until

    def _kept_or_raise(self, kept, error: SourceError) -> Answer:
        if kept is None:
            raise error
        return self._kept(kept, stale=self._is_old(kept))

    def _shown(self, url: str) -> str:
        """A URL as it may be printed."""
        return self._hidden(re.sub(r"([?&])(apikey|user)=[^&]*&?", r"\1", url).rstrip("?&"))


def user_agent(contact: str | None) -> str:
    """The honest name we go by: program, version and how to reach who runs it."""
    try:
        number = version("flowcast")
    except ModuleNotFoundError:
        number = "0"
    return f"flowcast/{number}" + (f" ({contact})" if contact else "")


def _may_be_asked(service: Service, caller: Caller) -> None:
    if service.needs_contact and not caller.contact:
        raise SourceUnavailable(
            f"{service.name}: not asked, since it wants to know whom to reach. Put contact = "
            '"you@example.org" under [weather] in yard.toml.'
        )
    own = service.base(caller.urls, None) != service.url
    if caller.commercial and not service.commercial and not caller.key and not own:
        raise SourceUnavailable(
            f"{service.name}: its free host is for non-commercial use only, and yard.toml says "
            "commercial = true. Set FLOWCAST_OPEN_METEO_KEY to a paid key."
        )


def _offline(service: Service, what: str) -> SourceUnavailable:
    return SourceUnavailable(
        f"{service.name}: {what} was never pulled, and this run is offline. Run flowcast pull with "
        "a network."
    )


def _validators(headers) -> dict[str, str]:
    """What asks "has it changed?", word for word as the service sent it."""
    pairs = {"If-Modified-Since": "Last-Modified", "If-None-Match": "ETag"}
    return {ask: headers[name] for ask, name in pairs.items() if headers.get(name)}


def _lifetime(headers, now: pd.Timestamp) -> float:
    """Seconds until the answer's own Expires; none when it says nothing that can be read."""
    try:
        until = pd.Timestamp(parsedate_to_datetime(headers.get("Expires", "")))
    except (TypeError, ValueError):
        return 0.0
    until = until.tz_localize("UTC") if until.tz is None else until
    return max(0.0, (until - now).total_seconds())


def _reason(content: bytes) -> str:
    """What the service itself says, when it says it in JSON."""
    import json

    try:
        said = json.loads(content)
        words = said.get("reason") or "; ".join(map(str, said.get("messages", [])))
    except (ValueError, AttributeError, TypeError):
        return ""
    return str(words)[:200].strip().rstrip(".")


def _enough_for(reason: str, headers) -> float:
    """Seconds to leave a service alone that said it has had enough; an hour when it is not clear."""
    named = [s for word, s in ENOUGH_S.items() if word in reason.lower()]
    told = headers.get("Retry-After", "")
    return max([*named, float(told) if told.isdigit() else 0.0]) or 3600.0


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} seconds" if seconds < 90 else f"{seconds / 60:.0f} minutes"


def _line_failed(error: Exception) -> str:
    """A failed line in plain words; the library's own would show the whole address."""
    text = repr(error).lower()
    for word, plain in (
        ("refused", "connection refused"),
        ("resolve", "no network, or the host is not known"),
        ("unreachable", "no network"),
        ("too slow", "too slow"),
        ("timed out", "no answer in time"),
        ("timeout", "no answer in time"),
        ("reset", "the connection broke off"),
        ("incompleteread", "the connection broke off"),
        ("aborted", "the connection broke off"),
        ("closed", "the connection broke off"),
        ("decod", "the answer was cut short"),
    ):
        if word in text:
            return plain
    return "the line failed"
