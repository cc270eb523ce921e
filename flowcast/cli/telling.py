"""Telling: how far the work is while it lasts, and what came of it, in words or as JSON."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import typer

from flowcast.errors import InputError


@contextmanager
def progress(doing: str) -> Iterator[Callable[[str, float], None]]:
    """What is being done and how far it is, while work lasts; nothing where there is no screen."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn

    if not gc.isenabled():
        gc.freeze()  # the libraries are loaded and stay: no sweep need look at them
        gc.enable()
    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(bar_width=24))
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(f"{doing} ...", total=None)

        def tell(words: str, share: float) -> None:
            """What is being done now, and the share that is behind."""
            bar.update(task, description=f"{doing}: {words}")
            if share:
                bar.update(task, total=1.0, completed=share)

        yield tell


def show(found, as_data: Callable[..., dict], as_text: Callable[..., str], as_json: bool) -> None:
    """What was found, as data or in words."""
    if as_json:
        show_json(as_data(found))
    else:
        show_words(as_text(found))


def show_with(
    written: Sequence[str],
    found,
    as_data: Callable[..., dict],
    as_text: Callable[..., str],
    as_json: bool,
) -> None:
    """What was found, as data or in words, and the files written beside it."""
    if as_json:
        show_json(as_data(found) | {"written": written})
    else:
        show_words("\n".join([as_text(found), *(f"Wrote {path}." for path in written)]))


def show_json(data: dict) -> None:
    """Data as JSON, in which no number is NaN."""
    import json

    show_words(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))


def show_words(text: str) -> None:
    """Text on the screen, or wherever it was led to."""
    try:
        typer.echo(text)
    except BrokenPipeError:  # whoever reads has read enough
        raise
    except OSError as error:
        raise InputError(
            f"what was found cannot be written ({error.strerror}). Make room, or write elsewhere."
        ) from None
