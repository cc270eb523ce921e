"""Answers of the weather services kept on disk, so that nothing is asked twice.

One SQLite file under the user's cache directory, written by requests-cache. A store that cannot be
read or written must never cost the user an answer: it says so once and goes on without.
"""

from __future__ import annotations

import os
import pickle
import sqlite3
from datetime import datetime, timedelta
from pathlib import Path

import requests

HIDDEN = ("apikey", "user", "X-Api-Key", "User-Agent", "Authorization", "From")


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
        self._cache = self._open()

    def key(self, request: requests.PreparedRequest) -> str:
        """The same for equal requests, whoever asks: keys and contacts are no part of it."""
        from requests_cache.cache_keys import create_key

        return create_key(request, ignored_parameters=list(HIDDEN))

    def get(self, key: str):
        """The kept answer (a requests_cache.CachedResponse), or None."""
        if self._cache is None:
            return None
        try:
            return self._cache.get_response(key)
        except sqlite3.DatabaseError as error:
            return self._get_anew(key, error)
        except (pickle.UnpicklingError, EOFError, ValueError, TypeError, ImportError):
            return None  # one entry is damaged: the answer is asked for again and replaces it

    def put(self, key: str, response, at: datetime, lifetime_s: float | None) -> None:
        """Keep an answer of this moment; for ever where lifetime_s is None."""
        from requests_cache import CachedResponse

        if self._cache is None:
            return
        expires = None if lifetime_s is None else at + timedelta(seconds=lifetime_s)
        kept = CachedResponse.from_response(response, expires=expires)
        kept.created_at = at
        kept.request.headers.clear()  # who asked is nobody's business
        try:
            self._cache.save_response(kept, key, expires)
        except sqlite3.Error as error:
            self._say(f"could not be written ({error}); this answer is not kept")

    def close(self) -> None:
        """Let go of the file."""
        if self._cache is not None:
            self._cache.close()

    def _open(self):
        try:
            return self._connect()
        except sqlite3.DatabaseError as error:
            return self._start_anew(error)
        except OSError as error:
            self._say(f"cannot be used ({error.strerror or error}); nothing is kept")
            return None

    def _connect(self):
        from requests_cache import SQLiteCache

        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        cache = SQLiteCache(self.path, busy_timeout=5000, wal=False, ignored_parameters=HIDDEN)
        cache.responses.get("")  # a file that is no database says so here
        return cache

    def _get_anew(self, key: str, error: sqlite3.DatabaseError):
        self._cache = self._start_anew(error)
        return None if self._cache is None else self.get(key)

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


def _free_name(path: Path) -> Path:
    taken = 1
    while (aside := path.with_suffix(f".damaged-{taken}")).exists():
        taken += 1
    return aside
