"""Pictures of the logs as `flowcast check --plot` writes them."""

from __future__ import annotations

import re
from pathlib import Path

from flowcast.errors import InputError
from flowcast.messages import Say
from flowcast.plots.canvas import draw_alone
from flowcast.plots.log import check_words, draw_check
from flowcast.report.page import write_page
from flowcast.results import Checked
from flowcast.scale_log import CleanLog

SIZE = (9.0, 5.5)  # of one hive's picture [inch]


def write_logs(found: Checked, path: Path) -> list[str]:
    """Draw every log with a reading that can be trusted, and name the files written.

    Parameters
    ----------
    found : Checked
        From `pipeline.check`.
    path : Path
        A file in .svg for all hives below one another, or a folder for a picture a hive.

    Raises
    ------
    InputError
        When the path is another kind of file, or what stands there is not a picture of ours.
    """
    if path.suffix not in ("", ".svg") or (path.suffix == "" and path.is_file()):
        raise InputError(f"--plot {path}: name a file that ends in .svg, or a folder.")
    zone, say = found.yard.place.timezone, found.yard.say
    logs = [log for log in found.logs if (log.readings["mark"] == "good").sum() > 1]
    if path.suffix == ".svg":
        return [str(write_page(_picture(logs, zone, say), path))] if logs else []
    names = _file_names(logs)
    return [
        str(write_page(_picture([log], zone, say), path / name))
        for log, name in zip(logs, names, strict=True)
    ]


def _picture(logs: list[CleanLog], zone: str, say: Say) -> str:
    def draw(figure):
        """The logs below one another."""
        parts = figure.subfigures(len(logs), squeeze=False)[:, 0]
        for part, log in zip(parts, logs, strict=True):
            draw_check(part, log, zone, say)

    words = " ".join(check_words(log, zone, say) for log in logs)
    return draw_alone("check", draw, (SIZE[0], SIZE[1] * len(logs)), say, words)


def _file_names(logs: list[CleanLog]) -> list[str]:
    """A file name for each hive, letters and digits kept; alike ones told apart by a number."""
    names: list[str] = []
    for log in logs:
        stem = re.sub(r"[^\w.-]+", "-", log.hive).strip("-.") or "hive"
        alike = sum(name.lower() == f"{stem}.svg".lower() for name in names)
        names.append(f"{stem}-{alike + 1}.svg" if alike else f"{stem}.svg")
    return names
