"""Answers of the weather services kept on disk, so that nothing is asked twice.

One SQLite file under the user's cache directory, in the table that requests-cache makes and reads.
A store that cannot be read or written must never cost the user an answer: it says so once and goes
on without.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import datetime, timedelta
from pathlib import Path

import requests
from requests_cache import CachedResponse
from requests_cache.backends.sqlite import SQLiteDict
from requests_cache.cache_keys import create_key

BUSY_MS = 5000  # how long to wait for another process that is writing
NO_PART_OF_THE_KEY = ("apikey", "user")
# Of an answer's headers these alone are kept: when it changed and until when it holds.
KEPT_HEADERS = ("Content-Type", "Date", "ETag", "Expires", "Last-Modified")


def cache_folder() -> Path:
    """Where answers are kept: FLOWCAST_CACHE, or the user's own cache directory."""
    from platformdirs import user_cache_path

    told = os.environ.get("FLOWCAST_CACHE")
    return Path(told) if told else user_cache_path("flowcast", appauthor=False)


class Store:
    """Kept answers by request. `troubles` are sentences on what could not be kept."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.path = folder / "answers.sqlite"
        self.troubles: list[str] = []
        self._table = self._open()

    def key(self, request: requests.PreparedRequest) -> str:
        """The same for equal requests, whoever asks: keys and contacts are no part of it."""
        return create_key(request, ignored_parameters=NO_PART_OF_THE_KEY)

    def get(self, key: str) -> CachedResponse | None:
        """The kept answer, or None."""
        if self._table is None:
            return None
        try:
            return self._table[key]
        except KeyError:
            return None
        except sqlite3.DatabaseError as error:
            return self._get_anew(key, error)
        except Exception:  # a damaged pickle can raise anything
            self._say("has a damaged entry, which was passed over")
            return None

    def put(self, key: str, response, url: str, at: datetime, lifetime_s: float | None) -> None:
        """Keep an answer of this moment; for ever where lifetime_s is None.

        Of the question nothing is kept but `url`, so that no key and no contact lies on the disk.
        """
        if self._table is None:
            return
        expires = None if lifetime_s is None else at + timedelta(seconds=lifetime_s)
        headers = {
            name: response.headers[name] for name in KEPT_HEADERS if name in response.headers
        }
        kept = CachedResponse(
            status_code=200,
            url=url,
            headers=requests.structures.CaseInsensitiveDict(headers),
            content=response.content,
            created_at=at,
            expires=expires,
        )
        try:
            self._table[key] = kept
        except sqlite3.Error as error:
            self._say(f"could not be written ({error}); not every answer is kept")

    def close(self) -> None:
        """Let go of the file."""
        if self._table is not None:
            self._table.close()

    def _open(self):
        try:
            return self._connect()
        except sqlite3.DatabaseError as error:
            return self._start_anew(error)
        except OSError as error:
            self._say(f"cannot be used ({error.strerror or 'no folder'}); nothing is kept")
            return None

    def _connect(self) -> _Table:
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        return _Table(self.path, table_name="responses", busy_timeout=BUSY_MS)

    def _get_anew(self, key: str, error: sqlite3.DatabaseError) -> CachedResponse | None:
        self.close()
        self._table = self._start_anew(error)
        return None if self._table is None else self.get(key)

    def _start_anew(self, error: sqlite3.DatabaseError):
        """A damaged file is put aside, not thrown away; a busy or full one is left alone."""
        if isinstance(error, sqlite3.OperationalError):
            self._say(f"cannot be used now ({error}); nothing is kept")
            return None
        aside = _free_name(self.path)
        try:
            self.path.rename(aside)
            self._say(f"is damaged ({error}); it was put aside as {aside.name} and begun anew")
            return self._connect()
        except (OSError, sqlite3.Error):
            self._say(f"is damaged ({error}) and cannot be replaced; nothing is kept")
            return None

    def _say(self, what: str) -> None:
        sentence = f"The store of weather answers {self.path} {what}."
        if sentence not in self.troubles:
            self.troubles.append(sentence)


class _Table(SQLiteDict):
    """The library's table, but what cannot be read or written says so.

    The library itself waits for ever for a locked file, passes over a full disk in silence, and
    prints its own words on a damaged entry.
    """

    @contextmanager
    def connection(self, commit: bool = False) -> Iterator[sqlite3.Connection]:
        """The one connection; with `commit`, inside a transaction that fails when it must."""
        with super().connection() as line, line if commit else nullcontext():
            if commit:
                line.execute("begin immediate")
            yield line

    def deserialize(self, key: str, value: bytes) -> CachedResponse:
        """What was kept; raises whatever the damage to it brings about."""
        kept = self.serializer.loads(value)
        if not isinstance(kept, CachedResponse):
            raise TypeError("another thing was kept here")
        return kept


def _free_name(path: Path) -> Path:
    taken = 1
    while (aside := path.with_suffix(f".damaged-{taken}")).exists():
        taken += 1
    return aside
