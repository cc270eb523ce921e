"""The page: one self-contained HTML file that needs no network and no clock, and reads whole without
its one small script (page.js)."""

from __future__ import annotations

import html as entities
import re
from base64 import b64encode
from functools import cache
from hashlib import sha256
from pathlib import Path

from flowcast.errors import InputError
from flowcast.report import glossary
from flowcast.report.files import write_whole
from flowcast.report.sections import sections, titles
from flowcast.results import YardBeetles, YardOutlook, YardReport, YardSeason, YardTiming

USERS_OWN = (".toml", ".csv", ".gz")
DOCTYPE = b"<!doctype html>"
# Between a figure and its unit; inches are left out, whose "in" is more often a word.
UNIT = re.compile(r"(?<=\d) (?=%|°[CF]|(?:kg|lb|mm|km|mi|ft|m|h)\b)")


def render_page(
    found: YardOutlook,
    beetles: YardBeetles | None = None,
    season: YardSeason | None = None,
    dates: YardTiming | None = None,
) -> str:
    """The whole page as HTML text; the same bytes for the same outlook.

    Parameters
    ----------
    found : YardOutlook
        The outlook.
    beetles, season, dates : optional
        Sections of their own, left out when not given.
    """
    return render_sections(sections(YardReport(found, beetles, season, dates)))


def render_sections(shown: dict, *, up: str = "") -> str:
    """The page of these sections.

    Parameters
    ----------
    shown : dict
        From `sections.sections`.
    up : str
        Where the front page of several yards is, where there is one.
    """
    body = fill("body.html", titles=titles(shown), **shown)
    say, head = shown["say"], shown["head"]
    title = say("page.title", yard=head["yard"], date=head["issued"])
    read = re.sub(r'<table class="numbers">.*?</table>', " ", body, flags=re.DOTALL)
    words = glossary.used_in(text_of(read), say)  # what only sources say needs no explaining
    js = _part("page.js")
    return fill(
        "page.html",
        body=body,
        title=title,
        up=up,
        glossary=words,
        script=js,
        script_hash=_hash(js),
        **shown,
    )


def fill(template: str, **values) -> str:
    """A template of this folder filled in; names and notes are always shown as text."""
    return _environment().get_template(template).render(css=_part("page.css"), **values)


@cache
def _environment():
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("flowcast", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["together"] = _kept_together
    return environment


def _kept_together(text: str) -> str:
    """A sentence with every figure kept on one line with its unit."""
    return UNIT.sub("\N{NO-BREAK SPACE}", text)


def _part(name: str) -> str:
    """A file of this folder as it stands."""
    environment = _environment()
    return environment.loader.get_source(environment, name)[0]


def _hash(script: str) -> str:
    """By which the page allows this script and no other: whatever a note may hold, it cannot run."""
    return f"sha256-{b64encode(sha256(script.encode()).digest()).decode()}"


def text_of(html: str) -> str:
    """What a reader sees of HTML of ours, pictures apart."""
    words = re.sub(r"<(svg|style|script)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return " ".join(entities.unescape(re.sub(r"<[^>]*>", " ", words)).split())


def write_page(html: str, path: Path) -> Path:
    """Write the page; the old one stays until the new one is whole.

    Parameters
    ----------
    html : str
        From `render_page`.
    path : Path
        Where to; folders on the way are made.

    Raises
    ------
    InputError
        When the place cannot be written, or what stands there is not a page: the user's own files
        are never written over.
    """
    if path.suffix.lower() in USERS_OWN:
        raise InputError(
            f"{path}: a page is written as .html, never over a data file. Choose another name."
        )
    return write_whole(html.encode(), path, ours=_is_page, what="page")


def _is_page(there: bytes) -> bool:
    return there.lstrip()[: len(DOCTYPE)].lower() == DOCTYPE
