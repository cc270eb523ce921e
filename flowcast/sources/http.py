"""The only door to the network: one polite session for every weather service.

A request goes out only when no kept answer is fresh. It carries an honest name, has a deadline, is
tried again a bounded number of times when the line fails, and falls back on a kept answer, however
old, saying its age. Keys and contacts never leave in a message, a kept answer or an output.
"""

from __future__ import annotations

import io
import json
import random
import re
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from importlib.metadata import version
from pathlib import Path
from urllib.parse import urljoin

import pandas as pd
import requests
import urllib3

from flowcast.errors import NothingThere, SourceError, SourceFormatError, SourceUnavailable
from flowcast.numbers import Numbers
from flowcast.sources.limits import Allowance, in_words
from flowcast.sources.service import STUMBLES, Answer, Service
from flowcast.sources.store import Store, cache_folder

AGAIN = (requests.ConnectionError, requests.Timeout, urllib3.exceptions.HTTPError, OSError)
# An address that leads in a circle, or is none (all of requests' errors on that are ValueErrors,
# and some of Python's come through), is not mended by asking again.
NEVER_AGAIN = (requests.TooManyRedirects, ValueError)
FOR_EVER = float("inf")
NO_NETWORK = "no network"
# What asks whether a kept answer still stands, and the header of the answer that it repeats.
CONDITIONS = {"If-Modified-Since": "Last-Modified", "If-None-Match": "ETag"}
# What a service that has had enough says, and how long its window lasts.
ENOUGH_S = {"minutely": 60, "hourly": 3600, "daily": 86400, "concurrent": 30}
LONGEST_S = 86400.0  # no service is left alone for longer, whatever its Retry-After says
HOPS = 2  # redirects followed; more are a circle


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
        self.allowance.let_go()

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
        if response.status_code == 304:
            response._content = kept.content  # it still stands; only its time is new
            response.headers.update({**kept.headers, **response.headers})
        now, url = self.clock(), self._shown(request.url)
        lifetime_s = _lifetime(response.headers, now) if lifetime_s is None else lifetime_s
        keep_s = None if lifetime_s == FOR_EVER else lifetime_s
        self.store.put(key, response, url, now.to_pydatetime(), keep_s)
        return Answer(response.content, url, now, 0.0, headers=dict(response.headers))

    def _prepared(self, service: Service, path: str, params) -> requests.PreparedRequest:
        url = service.base(self.caller.urls, self.caller.key) + path
        try:
            request = self.session.prepare_request(requests.Request("GET", url, params=params))
        except (requests.RequestException, ValueError):
            raise _no_address(service) from None
        if self.caller.key and service.key_url:
            request.headers["X-Api-Key"] = _header(self.caller.key)
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
                        self._must_be_usable(service, response.content, usable)
                    return response
                trouble = f"{service.name}: it failed on {what} (HTTP {response.status_code})"
            except NEVER_AGAIN:
                self.down[service.name] = _no_address(service)
                raise self.down[service.name] from None
            except AGAIN as error:
                why = _line_failed(error)
                trouble = f"{service.name}: {what} could not be had ({why})"
                if why.startswith(NO_NETWORK):  # asking again brings none
                    break
            except SourceFormatError as error:
                # Cut short on the way, or an error sent as an answer: a failed line, not a shape.
                trouble = str(error).removesuffix(" Try again later.").rstrip(".")
            if left:
                self.sleep(wait * (0.5 + self.rng.random()))
                wait *= 2
        times = f", {tries - left} times" if tries - left > 1 else ""
        self.down[service.name] = SourceUnavailable(f"{trouble}{times}. Try again later.")
        raise self.down[service.name]

    def _sent(self, request) -> requests.Response:
        """Send once; the body is read to its end, or to the deadline."""
        numbers = self.numbers
        keyed = "X-Api-Key" in request.headers
        deadline = time.monotonic() + numbers["service.answer_s"]
        response, hops = self._opened(request), 0
        while response.is_redirect and not keyed:  # a key must not travel to another host
            response.close()
            hops += 1
            if hops > HOPS:
                raise requests.TooManyRedirects
            request = _sent_on(request, response)
            response = self._opened(request)
        with response:
            if response.is_redirect:  # one that is not followed; its page is of no use
                return response
            body = bytearray()
            # As it was sent: unpacking on the way would wait for more without looking at the clock.
            while chunk := response.raw.read1(1 << 16, decode_content=False):
                body += chunk
                if time.monotonic() > deadline:
                    raise requests.Timeout("too slow")
            # requests keeps no public way to hand it a body that was read under a deadline.
            response._content = _unpacked(bytes(body), response.headers.get("Content-Encoding", ""))
            response._content_consumed = True
        return response

    def _opened(self, request) -> requests.Response:
        """The response with its body still to be read.

        The adapter is asked, not the session: that follows redirects by itself, and leaves a
        connection open where one leads nowhere.
        """
        numbers = self.numbers
        here = self.session.merge_environment_settings(request.url, {}, True, None, None)
        wait = (numbers["service.connect_s"], numbers["service.read_s"])
        return self.session.get_adapter(request.url).send(request, timeout=wait, **here)

    def _must_be_usable(self, service: Service, content: bytes, usable) -> None:
        """Raise SourceError, in one line without secrets, for what is no answer to be kept."""
        if content.lstrip()[:1] == b"<":  # no service answers so, but a guest network does
            raise SourceFormatError(
                f"{service.name} answered with a web page, perhaps this network's own. Look at it "
                "in a browser."
            )
        try:
            usable(content)
        except SourceError as error:
            raise type(error)(self._hidden(_one_line(str(error)))) from None
        except STUMBLES:
            raise SourceFormatError(f"{service.name}: its answer has an unknown shape.") from None

    def _good(self, service: Service, response, what: str) -> requests.Response:
        """The response when it is an answer; else what the service's refusal means."""
        status = response.status_code
        reason = self._hidden(_reason(response.content))[:200].strip().rstrip(".")
        reason = f": {reason}" if reason else ""
        who = f"{service.name}: {what}"
        asked = response.request.headers
        if status in (200, 203) or (status == 304 and CONDITIONS.keys() & set(asked)):
            return response
        if status in (404, 422):
            raise NothingThere(f"{who}: nothing there{reason}.")
        if status == 429:
            seconds = _enough_for(reason, response.headers, self.clock())
            self.allowance.close(service.limits or service.name, seconds, "too many calls")
            self.down[service.name] = SourceUnavailable(
                f"{who}: too many calls{reason}. Free again in about {in_words(seconds)}."
            )
            raise self.down[service.name]
        if 300 <= status < 400 and "X-Api-Key" in asked:
            self.down[service.name] = SourceUnavailable(
                f"{who}: the key is not for this host (HTTP {status}). Check [weather.urls]."
            )
            raise self.down[service.name]
        if status in (401, 403):
            self.down[service.name] = SourceUnavailable(
                f"{who}: refused (HTTP {status}{reason}). Check contact in yard.toml, and the key."
            )
            raise self.down[service.name]
        raise SourceUnavailable(f"{who}: not understood by the service (HTTP {status}{reason}).")

    def _hidden(self, text: str) -> str:
        """The text without the caller's key and contact."""
        for secret in filter(None, (self.caller.key, self.caller.contact)):
            text = text.replace(_one_line(secret), "...")
        return text

    def _kept(self, kept, *, stale: bool) -> Answer:
        at = _utc(kept.created_at)
        age = max(0.0, (self.clock() - at).total_seconds())
        return Answer(kept.content, self._shown(kept.url), at, age, stale, dict(kept.headers))

    def _is_old(self, kept) -> bool:
        """Past its time, or made after now: then this machine's clock was wrong once."""
        if kept.expires is None:
            return False
        return not _utc(kept.created_at) <= self.clock() < _utc(kept.expires)

    def _kept_or_raise(self, kept, error: SourceError) -> Answer:
        if kept is None:
            raise error
        return self._kept(kept, stale=self._is_old(kept))

    def _shown(self, url: str) -> str:
        """A URL as it may be printed and kept: no key, no contact, no password before the host."""
        url = re.sub(r"(?<=://)[^/?#]*@", "", url)
        return self._hidden(re.sub(r"([?&])(apikey|user)=[^&]*&?", r"\1", url).rstrip("?&"))


def _sent_on(request, response) -> requests.PreparedRequest:
    """The same request at the address that a redirect names."""
    onward = request.copy()
    onward.prepare_url(urljoin(response.url, response.headers["Location"]), None)
    return onward


def _utc(time: datetime) -> pd.Timestamp:
    at = pd.Timestamp(time)
    return at.tz_localize("UTC") if at.tz is None else at.tz_convert("UTC")


def user_agent(contact: str | None) -> str:
    """The honest name we go by: program, version and how to reach who runs it."""
    try:
        number = version("flowcast")
    except ModuleNotFoundError:
        number = "0"
    return f"flowcast/{number}" + (f" ({_header(contact)})" if contact else "")


def _header(text: str) -> str:
    """Text as a header can carry it: one line, other letters than Latin ones in UTF-8."""
    return _one_line(text).encode("utf-8").decode("latin-1")


def _one_line(text: str) -> str:
    """The same without line breaks and without what a terminal would obey."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


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


def _no_address(service: Service) -> SourceUnavailable:
    return SourceUnavailable(
        f"{service.name}: nothing can be asked at its address. Check [weather.urls] in yard.toml and "
        f"{service.variable}."
    )


def _offline(service: Service, what: str) -> SourceUnavailable:
    return SourceUnavailable(
        f"{service.name}: {what} was never pulled, and this run is offline. Run flowcast pull with "
        "a network."
    )


def _validators(headers) -> dict[str, str]:
    """What asks "has it changed?", word for word as the service sent it."""
    return {ask: headers[name] for ask, name in CONDITIONS.items() if headers.get(name)}


def _lifetime(headers, now: pd.Timestamp) -> float:
    """Seconds until the answer's own Expires; none when it says nothing that can be read."""
    return _seconds_until(headers.get("Expires", ""), now)


def _seconds_until(date: str, now: pd.Timestamp) -> float:
    """Seconds until the date of a header; none when it is past or none can be read."""
    try:
        until = parsedate_to_datetime(date)
    except (TypeError, ValueError, OverflowError):
        return 0.0
    until = until if until.tzinfo else until.replace(tzinfo=UTC)
    return max(0.0, (until - now.to_pydatetime()).total_seconds())


def _unpacked(body: bytes, encoding: str) -> bytes:
    whole = urllib3.HTTPResponse(io.BytesIO(body), headers={"Content-Encoding": encoding})
    return whole.data


def _reason(content: bytes) -> str:
    """What the service itself says, when it says it in JSON."""
    try:
        said = json.loads(content)
        words = said.get("reason") or "; ".join(map(str, said.get("messages", [])))
    except (ValueError, AttributeError, TypeError, RecursionError):
        return ""
    return _one_line(str(words))


def _enough_for(reason: str, headers, now: pd.Timestamp) -> float:
    """Seconds to leave a service alone that said it has had enough; an hour when it is not clear."""
    named = [s for word, s in ENOUGH_S.items() if word in reason.lower()]
    told = headers.get("Retry-After", "")
    digits = told.isascii() and told.isdecimal()
    wished = float(told) if digits else _seconds_until(told, now)
    return min(max([*named, wished]) or 3600.0, LONGEST_S)


def _line_failed(error: Exception) -> str:
    """A failed line in plain words; the library's own would show the whole address."""
    text = repr(error).lower()
    for word, plain in (
        ("refused", "connection refused"),
        ("resolve", f"{NO_NETWORK}, or the host is not known"),
        ("unreachable", NO_NETWORK),
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
