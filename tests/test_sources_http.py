"""The one door to the network: polite, bounded, silent about secrets, and never worse than its store.

Counts of requests, waits and lifetimes are rules of the project (weather service sheet 5.6, 5.7,
5.8) or of the web's standards: RFC 9110 (conditional requests, Retry-After), RFC 9111 (Expires).
"""

import json
import logging
import random
import sqlite3
from datetime import date
from email.utils import format_datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from loopback import ARCHIVE, MET, POWER, Reply, WeatherServers

from flowcast.errors import NothingThere, SourceError, SourceUnavailable
from flowcast.numbers import load_numbers
from flowcast.sources import met_norway, nasa_power, open_meteo, store
from flowcast.sources.http import Caller, Web, _lifetime
from flowcast.sources.service import Service, Site

SITE = Site(45.1, 10.1, 210)
TODAY = date(2026, 5, 20)
CONTACT, KEY = "keeper@example.test", "key-4711-of-nobody"
FAST = {
    "service.connect_s": 1,
    "service.read_s": 1,
    "service.answer_s": 0.5,
    "service.retry_wait_s": 0,
}
TRIES = 3  # one and two more: weather service sheet 5.6


class Clock:
    """A clock that is set by hand."""

    def __init__(self):
        self.now = pd.Timestamp("2026-05-20 06:00", tz="UTC")

    def __call__(self):
        return self.now

    def pass_by(self, **span):
        self.now += pd.Timedelta(**span)


@pytest.fixture
def servers():
    with WeatherServers(today="2026-05-20") as running:
        yield running


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def door(servers, clock, tmp_path):
    """door(**caller) opens the door on one folder; all are closed at the end."""
    opened = []

    def make(numbers=None, folder=None, rng=None, sleep=lambda s: None, **caller):
        caller = {"urls": servers.urls(), "contact": CONTACT} | caller
        web = Web(
            Caller(**caller),
            load_numbers(FAST | (numbers or {})),
            folder=folder or tmp_path / "answers",
            clock=clock,
            sleep=sleep,
            rng=rng,
        )
        web.allowance.clock = lambda: clock.now.timestamp()
        opened.append(web)
        return web

    yield make
    for web in opened:
        web.close()


def history(web, year=2024):
    """Two settled days."""
    return open_meteo.get_archive(web, SITE, date(year, 1, 1), date(year, 1, 2), TODAY)


def power(web):
    return nasa_power.get_history(web, SITE, date(2024, 1, 1), date(2024, 1, 2), TODAY)


def ahead(web):
    return met_norway.get_forecast(web, SITE)


ASK = {ARCHIVE: history, POWER: power, MET: ahead}


def one_clear_line(error, service="Open-Meteo"):
    """The message names its service, and is no library's."""
    text = str(error)
    assert text.lower().startswith(service.lower()) and text.endswith(".")
    for alien in ("\n", "Traceback", "127.0.0.1", "192.0.2.", "http", "Errno", "object at", KEY):
        assert alien not in text
    return text


# Faults on the line.

LINE_FAULTS = ["refuse", "reset", ("drip", 0.02), "broken json", "stream error", "half gzip"]
LINE_FAULTS += ["html", ("status", 500), ("status", 502), ("status", 503)]


@pytest.mark.parametrize("fault", LINE_FAULTS, ids=str)
def test_a_fault_that_stays_is_one_clear_line_after_three_tries(servers, door, fault):
    # Weather service sheet 5.6: two further tries; 2.2: an error inside a 200 is a failed line.
    history(door(), 2023)
    servers.faults[ARCHIVE] = [fault] * TRIES
    web = door()
    with pytest.raises(SourceUnavailable) as error:
        history(web)
    text = one_clear_line(error.value)
    assert "3 times" in text and text.count("Try again") == 1
    assert servers.count(ARCHIVE) == 1 + TRIES
    with pytest.raises(SourceUnavailable):
        history(web, 2022)  # a dead service is not asked again by this run
    history(web, 2023)  # what was kept before is still there
    assert servers.count(ARCHIVE) == 1 + TRIES and web.notes == []
    history(door())  # nothing wrong was kept
    assert servers.count(ARCHIVE) == 2 + TRIES


@pytest.mark.parametrize("fault", [f for f in LINE_FAULTS if f[0] != "drip"], ids=str)
def test_a_fault_that_passes_costs_one_more_request(servers, door, fault):
    servers.faults[ARCHIVE] = [fault]
    table = history(door()).table
    truth = servers.shown(ARCHIVE, 45.1, 10.1, table.index[0], table.index[-1])
    # The loopback prints a tenth of a degree.
    assert table["temp_c"].to_numpy() == pytest.approx(truth["temp_c"].to_numpy(), abs=0.051)
    assert servers.count() == 2


@pytest.mark.parametrize(
    ("url", "tries"),
    [("http://192.0.2.1:81", TRIES), ("http://127.0.0.1:9", TRIES), ("http://no.invalid", 1)],
)
def test_no_way_to_the_host_is_one_clear_line(door, url, tries):
    # 192.0.2.0/24 and .invalid lead nowhere by RFC 5737 and RFC 6761; nothing listens on port 9. A
    # name that is not known is not asked for again: there is no network.
    web = door(urls={ARCHIVE: url})
    with pytest.raises(SourceUnavailable) as error:
        history(web)
    one_clear_line(error.value)
    assert web.asked["Open-Meteo archive"] == tries


@pytest.mark.parametrize("url", ["here", "ftp://x", "http://", "http://[bad", "http://a b", "//x"])
def test_an_address_that_is_none_names_the_setting(door, url):
    web = door(urls={ARCHIVE: url})
    with pytest.raises(SourceUnavailable, match=r"\[weather.urls\]") as error:
        history(web)
    one_clear_line(error.value)
    assert web.asked["Open-Meteo archive"] <= 1


@pytest.mark.parametrize("service", [ARCHIVE, POWER, MET])
@pytest.mark.parametrize("status", [400, 401, 403, 404, 422, 429, 418])
def test_a_refusal_is_asked_once_and_told_in_the_service_s_words(servers, door, service, status):
    # Weather service sheet 5.6: no retry on 400, 403, 404, 422; 429 closes the service.
    servers.faults[service] = [("status", status)] * 9
    kind = NothingThere if status in (404, 422) else SourceUnavailable
    with pytest.raises(kind) as error:
        ASK[service](door())
    text = one_clear_line(error.value, service)
    assert servers.count() == 1
    if service == ARCHIVE and status == 400:
        assert "Parameter 'latitude' is invalid" in text  # the loopback's own reason


def test_a_not_modified_that_nobody_asked_for_is_no_answer(servers, door):
    # RFC 9110 15.4.5: 304 answers a conditional request only.
    servers.faults[MET] = [("status", 304)]
    with pytest.raises(SourceUnavailable) as error:
        ahead(door())
    one_clear_line(error.value, "MET Norway")
    assert len(ahead(door()).members[0]) > 100


def test_waits_are_doubled_bounded_and_uneven(servers, door):
    # Weather service sheet 5.6: jittered back-off. Our rule: 1.5 s, then 3 s, each times 0.5 to 1.5.
    waits = []
    for seed in range(4):
        servers.faults[ARCHIVE] = ["refuse"] * TRIES
        numbers = {"service.retry_wait_s": 1.5}
        web = door(numbers, rng=random.Random(seed), sleep=waits.append)
        with pytest.raises(SourceUnavailable):
            history(web)
    first, second = np.array(waits[::2]), np.array(waits[1::2])
    assert len(waits) == 4 * (TRIES - 1)
    assert (first >= 0.75).all() and (first <= 2.25).all()
    assert (second >= 1.5).all() and (second <= 4.5).all()
    assert len(set(waits)) == len(waits)


def test_an_answer_counts_by_what_is_in_it_not_by_what_it_is_called(servers, door, monkeypatch):
    answer = servers.reply

    def reply(asked, fault):
        made = answer(asked, fault)
        made.kind = "text/html"
        return made

    monkeypatch.setattr(servers, "reply", reply)
    assert len(history(door()).table) == 48 and servers.count() == 1


def test_certificates_are_those_that_the_environment_names(servers, door, monkeypatch):
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", "/of/this/network.pem")
    web, seen = door(), []
    adapter = web.session.get_adapter("http://127.0.0.1")
    send = adapter.send
    monkeypatch.setattr(adapter, "send", lambda r, **k: seen.append(k["verify"]) or send(r, **k))
    history(web)
    assert seen == ["/of/this/network.pem"]


# Redirects and secrets.


def test_a_redirect_is_followed_without_a_key_and_never_with_one(servers, door):
    with WeatherServers(today="2026-05-20") as other:
        for key in (None, KEY):
            query = (
                "latitude=45&longitude=10&models=era5_seamless&start_date=2024-01-01"
                "&end_date=2024-01-02&hourly=temperature_2m,precipitation&wind_speed_unit=ms"
            )
            servers.faults[ARCHIVE] = [("redirect", f"{other.url}/v1/archive?{query}")]
            if key is None:
                assert len(history(door()).table) == 48
                assert other.count() == 1
            else:
                with pytest.raises(SourceUnavailable, match="not for this host") as error:
                    history(door(key=key), 2023)
                one_clear_line(error.value)
                assert other.count() == 1
    assert servers.count() == 2


def test_redirects_in_a_circle_end(servers, door):
    servers.faults[ARCHIVE] = [("redirect", f"{servers.url}/v1/archive")] * 50
    web = door()
    for year in (2023, 2024):
        with pytest.raises(SourceUnavailable) as error:
            history(web, year)
        one_clear_line(error.value)
    assert servers.count() <= TRIES


NOWHERE = ["http://[::bad", "http://127.0.0.1\xff/", "ftp://x/", "http://127.0.0.1:99999/"]


@pytest.mark.parametrize("key", [None, KEY])
@pytest.mark.parametrize("to", [*NOWHERE, f"http://{80 * 'a'}.x/"])
def test_a_redirect_to_no_address_is_one_clear_line(servers, door, to, key):
    # RFC 1035 2.3.4: a label has at most 63 letters; ports end at 65535.
    servers.faults[ARCHIVE] = [("redirect", to)] * TRIES
    with pytest.raises(SourceUnavailable) as error:
        history(door(key=key))
    one_clear_line(error.value)
    assert servers.count() <= TRIES


TELLTALES = [
    ("status", 400, f"No plan for {KEY}\nwritten to {CONTACT}, \x1b[31mred"),
    ("status", 400, "x" * 190 + KEY),
    ("status", 403, f"Key {KEY} is unknown"),
    ("status", 429, f"Hourly limit of {KEY} reached"),
    ("status", 500, KEY),
]


@pytest.mark.parametrize("fault", [("none",), *TELLTALES], ids=lambda f: f"{f[1:2]}")
def test_key_and_contact_stay_in_the_headers_they_are_for(servers, door, fault, tmp_path, caplog):
    caplog.set_level(logging.DEBUG)
    web = door(key=KEY + "\n")  # as a file or a shell may hand it over
    told = [repr(history(web, 2023).origin), repr(power(web).origin), repr(ahead(web).origin)]
    servers.faults[ARCHIVE] = [fault] * TRIES
    try:
        told.append(repr(history(web).origin))
    except SourceError as error:
        told += [one_clear_line(error)]
        assert "\x1b" not in str(error)
    web.close()
    on_disk = [file.read_bytes() for file in tmp_path.rglob("*") if file.is_file()]
    assert on_disk
    for secret in (KEY, KEY[:10], CONTACT):
        assert not any(secret.encode() in content for content in on_disk)
        assert secret not in "".join(told) + caplog.text + "".join(web.notes)
    for asked in servers.requests:
        assert CONTACT in asked.headers["user-agent"] and KEY not in str(asked.params)
        assert (asked.headers.get("x-api-key") == KEY) == asked.service.startswith("open-meteo")


def test_a_page_that_repeats_the_key_does_not_pass_it_on(door):
    web = door(key=KEY)
    service = Service("Test", "http://127.0.0.1:9", "", "")
    with pytest.raises(SourceError) as error:
        web._must_be_usable(service, f'"{KEY}'.encode(), open_meteo.parse_hours)
    assert KEY not in str(error.value)


def test_a_password_before_the_host_is_neither_shown_nor_kept(servers, door, tmp_path):
    url = servers.url.replace("//", "//me:secret-word@")
    block = history(door(urls={ARCHIVE: url}))
    assert "secret-word" not in block.origin.url
    assert b"secret-word" not in (tmp_path / "answers" / "answers.sqlite").read_bytes()


@pytest.mark.parametrize("contact", ["bee@bücher.example", "зал@x.example", "a@b.example\nX: y"])
def test_any_contact_and_any_key_can_be_sent(servers, door, contact):
    history(door(contact=contact, key=KEY + "\n"))
    agent = servers.requests[0].headers["user-agent"].encode("latin-1").decode("utf-8")
    assert " ".join(contact.split()) in agent
    assert servers.requests[0].headers["x-api-key"] == KEY


def test_who_may_be_asked_at_all(servers, door):
    # Weather service sheet 3 (contact) and 5.8 (commercial use).
    with pytest.raises(SourceUnavailable, match="contact ="):
        ahead(door(contact=None))
    with pytest.raises(SourceUnavailable, match="non-commercial"):
        history(door(urls={}, commercial=True))
    assert servers.count() == 0
    history(door(commercial=True))  # an own server has no such rule


# Too many calls.

WINDOWS = [
    ("Minutely API request limit exceeded. Please try again in one minute.", None, 60),
    ("Hourly API request limit exceeded.", None, 3600),
    ("Daily API request limit exceeded. Please try again tomorrow.", None, 86400),
    ("Too many concurrent requests", None, 30),
    ("Enough.", None, 3600),
    ("Enough.", "120", 120),
    ("Enough.", "Wed, 20 May 2026 06:05:00 GMT", 300),
    ("Minutely limit", "600", 600),
    ("Enough.", "9" * 400, 86400),
    ("Enough.", "²", 3600),
]


@pytest.mark.parametrize("reason, retry_after, seconds", WINDOWS)
def test_after_too_many_calls_the_service_rests(
    servers, door, clock, monkeypatch, reason, retry_after, seconds
):
    # Weather service sheet 2.2 and 5.6; Retry-After in seconds or as a date: RFC 9110 10.2.3.
    answer = servers.reply

    def reply(asked, fault):
        made = answer(asked, fault)
        if fault[0] == "status" and retry_after:
            made.headers["Retry-After"] = retry_after
        return made

    monkeypatch.setattr(servers, "reply", reply)
    servers.faults[ARCHIVE] = [("status", 429, reason)]
    with pytest.raises(SourceUnavailable, match="too many calls") as error:
        history(door())
    one_clear_line(error.value)
    clock.pass_by(seconds=seconds - 1)
    web = door()
    with pytest.raises(SourceUnavailable, match="left alone") as error:
        history(web)
    one_clear_line(error.value)
    assert servers.count() == 1
    assert len(power(web).table) == 48  # the others go on
    clock.pass_by(seconds=2)
    assert len(history(door()).table) == 48


# How long an answer stays fresh.


def test_what_is_fresh_costs_no_request(servers, door, clock):
    # Weather service sheet 5.7: settled years for ever, a forecast three hours.
    for _ in range(3):
        history(door())
        open_meteo.get_forecast(door(), SITE)
    assert servers.count() == 2
    clock.pass_by(hours=2, minutes=59)
    assert not open_meteo.get_forecast(door(), SITE).origin.stale
    assert servers.count() == 2
    clock.pass_by(minutes=1)
    open_meteo.get_forecast(door(), SITE)
    assert servers.count() == 3
    clock.pass_by(days=20 * 365)
    assert not history(door()).origin.stale
    assert servers.count() == 3
    history(door(refresh=True))
    assert servers.count() == 4


def test_met_norway_is_asked_exactly_by_its_expires(servers, door, clock):
    # Weather service sheet 3; RFC 9110 13.1.3 and 15.4.5, RFC 9111 5.3.
    servers.clock = lambda: clock.now.to_pydatetime()
    first = ahead(door())
    clock.pass_by(seconds=servers.expires_s - 1)
    ahead(door())
    assert servers.count() == 1
    clock.pass_by(seconds=1)
    again = ahead(door())
    assert servers.count() == 2 and servers.requests[1].status == 304
    # The loopback's forecast is of 04:41:10 on its day.
    assert servers.requests[1].headers["if-modified-since"] == "Wed, 20 May 2026 04:41:10 GMT"
    pd.testing.assert_frame_equal(first.members[0], again.members[0])
    assert again.origin.retrieved_at == clock.now and again.origin.age_s == 0
    clock.pass_by(seconds=servers.expires_s - 1)
    ahead(door())
    assert servers.count() == 2
    clock.pass_by(seconds=1)
    ahead(door())
    assert [asked.status for asked in servers.requests] == [200, 304, 304]


def test_an_answer_from_a_clock_that_ran_ahead_is_asked_for_again(servers, door, clock):
    clock.pass_by(days=400)
    open_meteo.get_forecast(door(), SITE)
    clock.pass_by(days=-400)
    assert not open_meteo.get_forecast(door(), SITE).origin.stale
    open_meteo.get_forecast(door(), SITE)
    assert servers.count() == 2


@pytest.mark.parametrize("expires", ["", "0", "-1", "soon", "Mon, 99 Foo 2026 25:61:00 GMT"])
def test_an_expires_that_cannot_be_read_means_expired(expires):
    # RFC 9111 5.3: an invalid date, "0" above all, means a time in the past.
    now = pd.Timestamp("2026-05-20 06:00", tz="UTC")
    assert _lifetime({"Expires": expires}, now) == 0
    late = format_datetime(pd.Timestamp("9999-12-31 23:00", tz="UTC").to_pydatetime())
    assert _lifetime({"Expires": late}, now) > 7000 * 365 * 86400


def test_offline_takes_any_kept_answer_and_says_how_old_it_is(servers, door, clock):
    open_meteo.get_forecast(door(), SITE)
    clock.pass_by(days=40)
    old = open_meteo.get_forecast(door(offline=True), SITE).origin
    assert old.stale and old.age_s == 40 * 86400
    with pytest.raises(SourceUnavailable, match="offline") as error:
        history(door(offline=True))
    one_clear_line(error.value)
    assert servers.count() == 1


@pytest.mark.parametrize("fault", ["refuse", ("status", 400), ("status", 429), "html"], ids=str)
def test_a_dead_service_falls_back_on_its_old_answer(servers, door, clock, fault):
    open_meteo.get_forecast(door(), SITE)
    clock.pass_by(hours=5)
    servers.faults["open-meteo forecast"] = [fault] * TRIES
    old = open_meteo.get_forecast(door(), SITE).origin
    assert old.stale and old.age_s == 5 * 3600


# A store that is damaged, busy, full or not there.


def spoil(path, how):
    content = path.read_bytes()
    path.write_bytes({"half": content[: len(content) // 2], "none": b""}.get(how, b"\x07rot" * 999))


@pytest.mark.parametrize("how", ["half", "garbage", "none"])
def test_a_damaged_file_is_put_aside_and_the_answer_still_comes(door, tmp_path, how):
    first = door()
    for year in (2021, 2022, 2023):
        open_meteo.get_archive(first, SITE, date(year, 1, 1), date(year, 3, 1), TODAY)
    first.close()
    path = tmp_path / "answers" / "answers.sqlite"
    spoil(path, how)
    spoilt = path.read_bytes()
    web = door()
    for year in (2021, 2022, 2023):
        open_meteo.get_archive(web, SITE, date(year, 1, 1), date(year, 3, 1), TODAY)
    aside = list(path.parent.glob("answers.damaged-*"))
    if how != "none":  # an empty file is an empty store
        assert len(web.notes) == len(aside) == 1 and aside[0].name in web.notes[0]
        assert aside[0].read_bytes() == spoilt
    asked = web.asked.total()
    web.close()
    again = door()
    open_meteo.get_archive(again, SITE, date(2023, 1, 1), date(2023, 3, 1), TODAY)
    assert asked == 3 and again.asked.total() == 0 and again.notes == []


@pytest.mark.parametrize("rot", [b"", b"rot", b"\x80\x04N.", b"\x80\x04c\nno such thing\n."])
def test_one_damaged_entry_leaves_the_others_alone(servers, door, tmp_path, caplog, rot):
    history(door(), 2023)
    with sqlite3.connect(tmp_path / "answers" / "answers.sqlite") as file:
        file.execute("update responses set value = ?", (rot,))
    file.close()
    history(door(), 2022)
    web = door()
    assert len(history(web, 2023).table) == 48
    history(web, 2022)
    assert web.asked.total() == 1 and len(web.notes) == 1 and "damaged" in web.notes[0]
    assert not caplog.records  # nothing of the library's on the screen
    again = door()
    history(again, 2023)  # it was replaced
    assert again.asked.total() == 0 and again.notes == []


@pytest.mark.parametrize("when", ["before", "between"])
def test_a_file_that_another_process_holds_is_left_alone(door, tmp_path, monkeypatch, when):
    monkeypatch.setattr(store, "BUSY_MS", 50)
    history(door(), 2023)
    web = door() if when == "between" else None
    other = sqlite3.connect(tmp_path / "answers" / "answers.sqlite", isolation_level=None)
    other.execute("begin exclusive")
    web = web or door()
    assert len(history(web).table) == 48
    assert len(web.notes) == 1 and "locked" in web.notes[0]
    other.close()
    again = door()
    history(again, 2023)
    assert again.asked.total() == 0 and again.notes == []


def test_a_full_disk_costs_one_sentence(door, tmp_path):
    web = door()
    history(web, 2023)
    with web.store._table.connection() as line:
        pages = line.execute("pragma page_count").fetchone()[0]
        line.execute(f"pragma max_page_count = {pages}")
    for year in (2021, 2022):
        block = open_meteo.get_archive(web, SITE, date(year, 1, 1), date(year, 3, 1), TODAY)
        assert len(block.table) == 24 * 60
    assert len(web.notes) == 1 and "full" in web.notes[0]
    history(web, 2023)
    assert web.asked.total() == 3


def test_a_folder_that_cannot_be_used_costs_one_sentence(door, tmp_path):
    (tmp_path / "file").write_text("in the way")
    web = door(folder=tmp_path / "file")
    assert len(history(web).table) == 48
    assert len(web.notes) == 1 and "nothing is kept" in web.notes[0]


def test_an_equal_question_is_one_whoever_asks(door):
    history(door())
    web = door(key=KEY, contact="other@example.test")
    history(web)
    assert web.asked.total() == 0


# Properties.


@pytest.fixture(scope="module")
def blurting(tmp_path_factory):
    """A door behind which every service says the bytes one gives it."""
    with WeatherServers(today="2026-05-20") as servers:
        said = {}
        servers.reply = lambda asked, fault: Reply(body=said["body"], status=said["status"])
        numbers = load_numbers(FAST | {"service.retries": 0})
        folder = tmp_path_factory.mktemp("blurting")
        caller = Caller(urls=servers.urls(), contact=CONTACT)
        with Web(caller, numbers, folder=folder, sleep=lambda s: None) as web:
            yield web, said


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=8,
)
BYTES = st.binary(max_size=60) | ANYTHING.map(lambda x: json.dumps(x).encode())


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(body=BYTES, status=st.sampled_from([200, 200, 200, 203, 400, 404, 500]))
def test_whatever_is_answered_is_a_table_or_one_line(blurting, body, status):
    web, said = blurting
    said |= {"body": body, "status": status}
    for service, ask in ASK.items():
        web.down.clear()
        try:
            got = ask(web)
        except SourceError as error:
            one_clear_line(error, service.split()[0])
        else:
            assert isinstance(getattr(got, "table", None), pd.DataFrame) or got.members
