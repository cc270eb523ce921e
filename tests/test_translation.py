"""A yard spoken to in another language and another form of dates: page, screen and calendar.

The language is made by machine (`pseudo.py`): Greek letters in every text. Latin letters that are
left are the keeper's own words, names, licences and units, or a text that nobody could translate.
"""

import html as entities
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest
from pseudo import WORD, write_pseudo

from flowcast import pipeline
from flowcast.errors import InputError
from flowcast.messages import english
from flowcast.report import screen
from flowcast.report.calendar import calendar_file
from flowcast.report.page import render_sections
from flowcast.report.sections import sections
from flowcast.sources.files import weather_path
from flowcast.yard import read_yard

SAMPLES = Path(__file__).parent.parent / "sample_yards"
YARDS = {"subtropical-coast": "2026-01-20", "inland-winter": None, "new-garden": "2026-04-10"}
# Units, a clock's name and what stands for a file stay as they are.
PLAIN = {"kg", "mm", "cm", "UTC", "csv"}


def _folder(name: str, tmp_path: Path, *lines: str) -> Path:
    """A copy of a sample yard with these lines under [yard]."""
    folder = shutil.copytree(SAMPLES / name, tmp_path / name)
    toml = folder / "yard.toml"
    toml.write_text(
        toml.read_text("utf-8").replace("[yard]\n", "\n".join(["[yard]", *lines, ""])), "utf-8"
    )
    return folder


@pytest.fixture(scope="module", params=YARDS)
def told(request, tmp_path_factory):
    """(report in the other language, its page)."""
    folder = _folder(request.param, tmp_path_factory.mktemp("xx"), 'language = "xx"')
    write_pseudo(folder)
    found = pipeline.report(folder, as_of=YARDS[request.param], scenarios=300)
    return found, render_sections(sections(found))


def _own_words(found) -> list[str]:
    """What stands on a page as the keeper or a source wrote it, the longest first."""
    record = found.outlook.record
    yard = record.yard
    names = [yard.name, *(hive.name for hive in yard.hives), *(plant.name for plant in yard.forage)]
    names += [name for hive in yard.hives for scale in hive.scales for name in scale.files]
    names += [
        weather_path(yard).name,
        yard.folder.name,
        yard.place.timezone,
        "yard.toml",
        *yard.work["note"],
        *record.columns["from"],
    ]
    if found.beetles:
        names.append(re.sub(r"[;,]? ?\b(READ|MEMORY)\b", "", found.beetles.presence.source).strip())
    names += [part for origin in record.parts for part in (origin.origin.attribution or "",)]
    return sorted({" ".join(name.split()) for name in names if name}, key=len, reverse=True)


def _latin(text: str, found) -> set[str]:
    """Words in Latin letters that nobody but flowcast can have written."""
    text = " ".join(entities.unescape(text).split())
    for name in _own_words(found):
        text = re.sub(re.escape(name), " ", text, flags=re.IGNORECASE)
    return set(WORD.findall(text)) - PLAIN


def _shown(page: str) -> str:
    """All that is seen or read aloud of a page, pictures with it; the list of numbers apart."""
    page = re.sub(
        r'<table class="numbers">.*?</table>|<(style|script)\b.*?</\1>', " ", page, flags=re.DOTALL
    )
    heard = re.findall(r'(?:aria-label|data-head|data-hint)="([^"]*)"', page)
    return " | ".join([re.sub(r"<[^>]*>", " | ", page), *heard])


@pytest.mark.slow
def test_no_english_is_left_on_the_page(told):
    found, page = told
    assert '<html lang="xx" dir="ltr">' in page
    assert len(_shown(page)) > 8000  # else nothing was looked at
    assert _latin(_shown(page), found) == set()


@pytest.mark.slow
def test_no_english_is_left_on_the_screen(told):
    found, _ = told
    texts = [screen.outlook_text(found.outlook), screen.timing_text(found.dates)]
    texts += [screen.season_text(found.season)] if found.season else []
    texts += [screen.beetles_text(found.beetles)] if found.beetles else []
    texts.append(screen.check_text(pipeline.check(found.outlook.record.yard.folder)))
    assert _latin("\n".join(texts), found) == set()


@pytest.mark.slow
def test_no_english_is_left_in_the_calendar(told):
    found, _ = told
    lines = calendar_file(found.dates).decode().replace("\r\n ", "").split("\r\n")
    said = [line for line in lines if line.startswith(("SUMMARY", "DESCRIPTION"))]
    words = re.sub(r"\\n|\\", " ", " ".join(line.partition(":")[2] for line in said))
    assert said or not found.dates.hives
    assert _latin(words, found) == set()


@pytest.mark.slow
def test_english_that_is_left_would_be_noticed(told):
    found, page = told
    assert _latin(_shown(page).replace("</h2>", "") + "A plain sentence.", found) == {
        "plain",
        "sentence",
    }


@pytest.mark.slow
def test_the_words_at_the_end_are_found_in_any_language(told):
    _, page = told
    terms = re.findall(r"<dt>(.*?)</dt>", page)
    assert len(terms) > 10
    assert len(set(terms)) == len(terms)


# ---- settings -------------------------------------------------------------------------------------


def test_what_a_translation_lacks_is_counted_by_check(tmp_path):
    folder = _folder("new-garden", tmp_path, 'language = "xx"')
    write_pseudo(folder, leave_out=("basis.no_log", "outlook.on"))
    said = screen.check_text(pipeline.check(folder))
    count = f"{len(english().entries):,}"
    assert f"words-xx.toml λαψκσ 2 οφ {count} τεχτσ" in " ".join(said.split())


@pytest.mark.parametrize(
    "setting, says",
    [
        ('dates = "9.11.2026"', 'write one of "9 November 2026", "November 9, 2026", "2026-11-09"'),
        ('language = "english"', 'write the code of a language, such as "en"'),
        ('language = "xx"', "there is no words-xx.toml beside it. Copy"),
    ],
)
def test_a_setting_that_is_not_understood_is_refused_with_line_and_cure(tmp_path, setting, says):
    folder = _folder("new-garden", tmp_path, setting)
    line = (folder / "yard.toml").read_text("utf-8").splitlines().index(setting) + 1
    with pytest.raises(InputError) as refused:
        read_yard(folder)
    assert says in str(refused.value) and f"yard.toml, line {line}:" in str(refused.value)
    assert "\n" not in str(refused.value)


MONTH = "(?:January|February|March|April|May|June|July|August|September|October|November|December)"
WRONG = {  # dates of which none may be left where this form is asked for
    # "0.4 of 7" ends a row of the screen's table, and the next begins with a month.
    "November 9, 2026": rf"(?<!of )\b\d{{1,2}} {MONTH}\b",
    "2026-11-09": rf"\b\d{{1,2}} {MONTH}\b|\b{MONTH} \d{{1,2}}\b",
}


@pytest.mark.slow
@pytest.mark.parametrize("form", WRONG)
@pytest.mark.parametrize("name", ["subtropical-coast", "inland-winter"])  # south and north
def test_every_date_is_in_the_form_of_the_yard(tmp_path, name, form):
    folder = _folder(name, tmp_path, f'dates = "{form}"')
    found = pipeline.report(folder, as_of=YARDS[name], scenarios=300)
    page = _shown(render_sections(sections(found)))
    texts = [screen.outlook_text(found.outlook), screen.timing_text(found.dates), page]
    texts.append(screen.check_text(pipeline.check(folder)))
    for text in texts:
        assert re.findall(WRONG[form], " ".join(entities.unescape(text).split())) == []
    day = found.outlook.record.yard.say.full_day(found.outlook.outlook.issue_date)
    assert day in page
    ics = calendar_file(found.dates).decode().replace("\r\n ", "")
    assert day in ics.replace("\\,", ",")


def test_a_season_may_begin_in_any_month_of_either_hemisphere():
    from flowcast.messages import Say

    new_year = (pd.Timestamp("2026-12-28"), pd.Timestamp("2027-01-03"))
    assert Say().span(*new_year) == "28 December to 3 January"
    assert Say(dates="November 9, 2026").span(*new_year) == "December 28 to January 3"
    assert Say(dates="2026-11-09").span(*new_year) == "2026-12-28 to 2027-01-03"
