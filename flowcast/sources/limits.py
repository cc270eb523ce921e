"""Asking politely: one pull at a time on this machine, and within what a free service allows.

What was asked is written down beside the kept answers, so that the allowance holds over several
runs, and a service that said "enough" is left alone by the next run too.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from flowcast.errors import SourceUnavailable
from flowcast.numbers import Numbers

WINDOWS_S = {"minute": 60, "hour": 3600, "day": 86400}
MADE = (
    "create table if not exists calls (limits text, at real, weight real)",
    "create table if not exists closed (limits text primary key, until real, why text)",
)


def call_weight(variables: int, days: float, numbers: Numbers) -> float:
    """How many calls one request counts as, by Open-Meteo's own rule.

    max(1, V/10, V/10 x days/14) for V variables times members.
    """
    share = variables / numbers["service.call_variables"]
    return max(1.0, share, share * days / numbers["service.call_days"])


class Allowance:
    """What is left of a service's free calls.

    Parameters
    ----------
    folder : Path
        Where the count is kept; it lives in memory where that cannot be written.
    sleep, clock : callables
        Seconds to wait, and seconds since 1970.
    tell : callable
        Told in words when it waits.
    """

    def __init__(
        self,
        folder: Path,
        numbers: Numbers,
        sleep: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.time,
        tell: Callable[[str], None] = lambda words: None,
    ):
        self.folder, self.numbers = folder, numbers
        self.sleep, self.clock, self.tell = sleep, clock, tell
        self._book = _open_book(folder / "calls.sqlite")

    def spend(self, limits: str, weight: float) -> None:
        """Wait until so many calls are allowed, and write them down.

        Raises
        ------
        SourceUnavailable
            When the allowance of the hour or the day is used up.
        """
        most = self.numbers["service.share_used_most"]
        for window in ("day", "hour"):
            allowed = most * self.numbers[f"service.per_{window}"]
            if self.used(limits, WINDOWS_S[window]) + weight > allowed:
                raise SourceUnavailable(
                    f"{limits}: its free calls of this {window} are nearly used up ({allowed:.0f}). "
                    f"Try again in the next {window}, or set FLOWCAST_OPEN_METEO_KEY."
                )
        self._wait_a_minute(limits, weight, most * self.numbers["service.per_minute"])
        self._write("insert into calls values (?, ?, ?)", (limits, self.clock(), weight))

    def used(self, limits: str, seconds: float) -> float:
        """Calls counted over the last so many seconds."""
        rows = self._read(
            "select total(weight) from calls where limits = ? and at > ? and at <= ?",
            (limits, self.clock() - seconds, self.clock()),
        )
        return float(rows[0][0]) if rows else 0.0

    def close(self, limits: str, seconds: float, why: str) -> None:
        """Leave a service alone for so long, since it asked for it."""
        until = self.clock() + seconds
        self._write("insert or replace into closed values (?, ?, ?)", (limits, until, why))

    def let_go(self) -> None:
        """Let go of the file."""
        self._book.close()

    def must_be_open(self, limits: str) -> None:
        """Raise SourceUnavailable while a service wants to be left alone."""
        for until, why in self._read("select until, why from closed where limits = ?", (limits,)):
            left = until - self.clock()
            if 0 < left <= WINDOWS_S["day"]:  # more: this machine's clock was wrong then
                raise SourceUnavailable(
                    f"{limits}: it asked to be left alone ({why}); "
                    f"free again in about {in_words(left)}."
                )

    @contextmanager
    def turn(self) -> Iterator[None]:
        """While inside, no other pull on this machine asks; waits for its turn, but not for ever."""
        lock = _open_book(self.folder / "turn.sqlite", made=())
        deadline = self.clock() + self.numbers["service.turn_wait_s"]
        while not _locked(lock) and self.clock() < deadline:
            self.tell("Waiting for another pull on this machine")
            self.sleep(0.5)
        try:
            yield
        finally:
            lock.close()  # ends the transaction, as the end of a killed process does

    def _wait_a_minute(self, limits: str, weight: float, allowed: float) -> None:
        """Pace: an allowance of the minute comes back by waiting."""
        waited = 0
        while self.used(limits, 60) and self.used(limits, 60) + weight > allowed and waited < 90:
            self.tell(f"Keeping to {limits}'s free calls a minute")
            self.sleep(1)
            waited += 1

    def _read(self, sql: str, values: tuple) -> list:
        with suppress(sqlite3.Error):
            return self._book.execute(sql, values).fetchall()
        return []

    def _write(self, sql: str, values: tuple) -> None:
        with suppress(sqlite3.Error), self._book:
            self._book.execute("delete from calls where at < ?", (self.clock() - 2 * 86400,))
            self._book.execute(sql, values)


def in_words(seconds: float) -> str:
    """A wait as one says it."""
    return f"{seconds:.0f} seconds" if seconds < 90 else f"{seconds / 60:.0f} minutes"


def _open_book(path: Path, made: tuple[str, ...] = MADE) -> sqlite3.Connection:
    """The count on disk; in memory when the folder cannot be written or the file is no database."""
    for where in (str(path), ":memory:"):
        with suppress(sqlite3.Error, OSError):
            if where != ":memory:":
                path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            return _made(sqlite3.connect(where, timeout=5), made)
    raise SourceUnavailable("SQLite does not work on this machine.")


def _made(book: sqlite3.Connection, tables: tuple[str, ...]) -> sqlite3.Connection:
    try:
        with book:
            for sql in tables:
                book.execute(sql)
    except sqlite3.Error:
        book.close()
        raise
    return book


def _locked(lock: sqlite3.Connection) -> bool:
    lock.execute("pragma busy_timeout = 0")
    try:
        lock.execute("begin exclusive")
    except sqlite3.DatabaseError as error:
        return "locked" not in str(error)  # a lock file that cannot be used must not stop a pull
    return True
