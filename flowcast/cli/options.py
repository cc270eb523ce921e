"""Arguments and options that several commands take; what one alone takes stands with it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Yard = Annotated[Path, typer.Argument(help="The yard's folder, with yard.toml in it.")]
SomeYard = Annotated[
    Path | None, typer.Argument(help="The yard's folder, with yard.toml in it.", show_default=False)
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="LAT LON",
        help='A place in place of a yard: LAT LON, or "Town, Country".',
    ),
]
AsOf = Annotated[
    str | None,
    typer.Option(
        "--as-of",
        metavar="DATE",
        help="Issue date, such as 2026-05-31; knows nothing from then on.",
    ),
]
Offline = Annotated[
    bool, typer.Option("--offline", help="Ask no weather service; use what was pulled before.")
]
Refresh = Annotated[
    bool, typer.Option("--refresh", help="Ask the weather services again for all that may change.")
]
Seed = Annotated[int, typer.Option(help="Equal seeds give equal answers.", min=0)]
Draws = Annotated[
    int, typer.Option("--scenarios", help="How many futures to draw.", min=100, max=20000)
]
Json = Annotated[
    bool, typer.Option("--json", help="Print JSON (schema in DEVELOPERS.md) instead of words.")
]
