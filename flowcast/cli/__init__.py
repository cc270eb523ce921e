"""The command line: `flowcast COMMAND`. Heavy imports wait until a command runs.

`commands/` holds the commands, by what they answer; each parses, calls one function of the pipeline and
shows what it found. `options` are what several of them take, `typed` reads what was typed, `telling`
shows how far the work is and what came of it. Below is the list of `flowcast --help`, in its order.
"""

from __future__ import annotations

import gc
import sys

import typer

from flowcast.cli.commands import ahead, pages, past, yard
from flowcast.cli.typed import PlaceCommand
from flowcast.errors import FlowcastError

app = typer.Typer(
    name="flowcast",
    help="Nectar-flow outlooks from weather data and hive scale logs, with stated uncertainty.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _offer(command, short_help: str, cls: type[typer.core.TyperCommand] | None = None) -> None:
    app.command(short_help=short_help, cls=cls)(command)


_offer(yard.new, "Make a yard: write a commented yard.toml.")
_offer(yard.pull, "Bring the weather of a yard.")
_offer(yard.check, "Say what was understood of a yard.")
_offer(ahead.outlook, "Say whether a nectar flow is likely, and how sure.", PlaceCommand)
_offer(ahead.beetles, "Say when beetles breed, and what a count means.", PlaceCommand)
_offer(past.explain, "Say why a season was what it was.", PlaceCommand)
_offer(ahead.timing, "Say when to super, split, feed, take and leave honey.", PlaceCommand)
_offer(pages.report, "Write a page a yard, and a front page for several.", PlaceCommand)
_offer(past.backtest, "Try the outlook on the yard's own past.")


def main() -> None:
    """Run the command line: exit 0 done, 1 an error of the user's data in one line, 2 usage."""
    gc.set_threshold(20_000, 20, 20)  # pictures are heaps of small objects: sweep them seldom
    gc.disable()  # until there is work: nothing that loads is waste
    try:
        app()
    except FlowcastError as error:
        typer.echo(f"flowcast: {error}", err=True)
        sys.exit(1)
