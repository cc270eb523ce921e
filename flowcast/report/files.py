"""Writing a file whole: the old one stays until the new one is there, and nobody else's is touched."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from flowcast.errors import InputError


def write_whole(content: bytes, path: Path, *, ours: Callable[[bytes], bool], what: str) -> Path:
    """Write a file; folders on the way are made.

    Parameters
    ----------
    ours : callable
        Whether bytes that stand there are an earlier file of this kind, which may be written over.
    what : str
        The kind, for the message: "page".

    Raises
    ------
    InputError
        When the place cannot be written, or what stands there is not ours.
    """
    if not _free_or_ours(path, ours):
        raise InputError(
            f"{path}: what is there is no {what} and is left alone. Choose another name."
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _replace(content, path)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror}). Choose another name."
        ) from None
    return path


def _free_or_ours(path: Path, ours: Callable[[bytes], bool]) -> bool:
    """Whether nothing stands there, or an empty file, or an earlier one of ours."""
    try:
        if not path.exists():
            return True
        there = path.read_bytes() if path.is_file() else None
    except OSError:
        return True  # writing will say what is wrong
    return there is not None and (not there.strip() or ours(there))


def _replace(content: bytes, path: Path) -> None:
    with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
        beside = Path(file.name)
    try:
        beside.write_bytes(content)
        beside.chmod(0o644)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
