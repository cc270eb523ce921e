"""The page in a real browser: read on a phone, at a desk, by night, on paper, by keyboard, aloud."""

import re
import shutil
from functools import cache
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest
from browser import ASTRAY, BEYOND, CONTRASTS, OVERLAPS, chromium, open_all, opened
from numbers_on_page import missing
from pseudo import in_greek, in_hebrew, in_long_greek, write_pseudo
from test_report import HOSTILE, _folder

from flowcast import pipeline
from flowcast.report.data import report_data
from flowcast.report.page import render_sections, text_of, write_page
from flowcast.report.sections import sections
from flowcast.report.several import write_pages

SAMPLES = Path(__file__).parent.parent / "sample_yards"
WIDTHS = (360, 768, 1280)  # a small phone, a tablet, a desk
YARDS = ("scales and beetles", "hostile", "no log")
TONGUES = {
    "another tongue": (in_greek, "ltr"),
    "a long tongue": (in_long_greek, "ltr"),
    "from right to left": (in_hebrew, "rtl"),
}
LEAST_CONTRAST = 4.5  # for text, WCAG 2.1 level AA, 1.4.3 (from memory)
OURS = Path(__file__).parent.parent / "flowcast" / "report" / "page.js"
MOST_BYTES = 1_500_000
LONG_NOTE = '<script>alert(1)</script> "q" \u05e9\u05dc\u05d5\u05dd 🐝 ' + "note" * 40


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("pages")


@pytest.fixture(scope="module")
def written(folder):
    """written(yard) is its page's file and the JSON of the same run; each is made once."""

    @cache
    def of(which: str):
        found = _report(which, folder)
        shown = sections(found)
        path = write_page(render_sections(shown), folder / f"{which.replace(' ', '-')}.html")
        return path, report_data(found, shown)

    return of


def _report(which: str, folder: Path):
    if which in TONGUES:
        yard = shutil.copytree(SAMPLES / "subtropical-coast", folder / which)
        toml = (
            (yard / "yard.toml").read_text("utf-8").replace("[yard]", '[yard]\nlanguage = "xx"', 1)
        )
        (yard / "yard.toml").write_text(toml, "utf-8")
        turn, direction = TONGUES[which]
        write_pseudo(yard, turn=turn, direction=direction)
        return pipeline.report(yard, as_of="2026-01-20", scenarios=300)
    if which == "scales and beetles":
        return pipeline.report(SAMPLES / "subtropical-coast", as_of="2026-01-20", scenarios=300)
    if which == "no log":
        return pipeline.report(SAMPLES / "new-garden", scenarios=300)
    yard = folder / "hostile"
    yard.mkdir()
    _folder(yard, name=HOSTILE, hive="<b>H1</b>" + "x" * 60, units="lb")
    with (yard / "work.csv").open("a", encoding="utf-8") as file:
        note = LONG_NOTE.replace('"', '""')
        file.write(f'2024-06-06 11:00,<b>H1</b>{"x" * 60},inspected,,"{note}"\n')
    return pipeline.report(yard, scenarios=300)


@pytest.fixture(scope="module")
def browser():
    with chromium() as running:
        yield running


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("which", (*YARDS, *TONGUES))
def test_nothing_reaches_beyond_the_window_or_lies_on_another(browser, written, which, width):
    with opened(browser, written(which)[0], width=width) as page:
        for everything in (False, True):
            if everything:
                open_all(page)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            assert page.evaluate(BEYOND) == []
            assert page.evaluate(OVERLAPS) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("which", YARDS)
def test_text_stands_out_by_day_and_by_night(browser, written, which, scheme):
    with opened(browser, written(which)[0], width=360, scheme=scheme) as page:
        open_all(page)
        found = page.evaluate(CONTRASTS)
    assert len(found) > 200
    assert [one for one in found if one[0] < LEAST_CONTRAST] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("which", YARDS)
def test_a_checker_of_accessibility_finds_nothing(browser, written, which, scheme):
    from axe_playwright_python.sync_playwright import Axe

    with opened(browser, written(which)[0], width=360, scheme=scheme) as page:
        open_all(page)
        found = Axe().run(page).response["violations"]
    assert [(v["id"], v["impact"], v["nodes"][0]["html"][:100]) for v in found] == []


@pytest.mark.parametrize("which", YARDS)
def test_page_works_from_its_file_and_asks_for_nothing(browser, written, which):
    path = written(which)[0]
    with opened(browser, path) as page:
        open_all(page)
        page.mouse.wheel(0, 20_000)
        assert page.asked == [path.resolve().as_uri()]
        assert page.faults == []
        assert page.locator("h1").inner_text() == "Flow ahead"
    assert path.stat().st_size < MOST_BYTES


def _days(data: dict, name: str) -> dict[str, str]:
    return next(p["days"] for p in data["pictures"] if p["name"] == name)


# The share of an axes' width at which a day's middle lies is geometry: (day + 1/2) / days.
@pytest.mark.parametrize("name, width", [("ribbon", 1280), ("ribbon", 360), ("fan", 360)])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_day_pointed_at_or_touched_is_told_as_in_the_json(
    browser, written, name, width, scheme
):
    path, data = written("scales and beetles")
    days = _days(data, name)
    with opened(browser, path, width=width, scheme=scheme) as page:
        figure = page.locator("figure:has(> .days)").nth(["ribbon", "fan"].index(name))
        line, svg = figure.locator(".day"), figure.locator("svg:visible")
        assert (
            line.inner_text()
            == "Point at a day in the picture, or touch it: its figures stand here."
        )
        svg.scroll_into_view_if_needed()
        box = svg.bounding_box()
        points = box["width"] / float(svg.get_attribute("viewBox").split()[2])
        for span in svg.get_attribute("data-days").split(";"):
            left, right, top, bottom, first, count = map(float, span.split(" "))
            for k in (0, 7, int(count) - 1):
                at = left + (k + 0.5) / count * (right - left)
                date = (pd.Timestamp(0) + pd.Timedelta(days=first + k)).strftime("%Y-%m-%d")
                page.mouse.move(box["x"] + points * at, box["y"] + points * (top + bottom) / 2)
                assert line.inner_text() == days[date]
                wide = svg.locator(".pointed").bounding_box()["width"]
                assert wide == pytest.approx(points * (right - left) / count, abs=0.1)
        told = line.inner_text()
        page.mouse.move(box["x"] + points * (left - 5), box["y"] + 5)  # between the axes: no day
        assert line.inner_text() == told
        assert page.asked == [path.resolve().as_uri()]
        assert page.faults == []


def test_a_finger_touches_a_day_and_the_page_still_scrolls(browser, written):
    path, data = written("scales and beetles")
    phone = {"viewport": {"width": 360, "height": 700}, "has_touch": True, "is_mobile": True}
    context = browser.new_context(**phone, offline=True)
    page = context.new_page()
    page.goto(path.resolve().as_uri())
    figure = page.locator("figure:has(> .days)").first
    svg = figure.locator("svg:visible")
    svg.scroll_into_view_if_needed()
    box = svg.bounding_box()
    page.touchscreen.tap(box["x"] + 0.3 * box["width"], box["y"] + 0.5 * box["height"])
    assert figure.locator(".day").inner_text() in _days(data, "ribbon").values()
    assert svg.evaluate("s => getComputedStyle(s).touchAction") == "pan-y"
    context.close()


def test_without_its_script_the_page_lacks_nothing_else(browser, written):
    path = written("scales and beetles")[0]
    context = browser.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(path.resolve().as_uri())
    assert page.locator(".day:visible, .days:visible").count() == 0
    assert page.locator("figure:visible").count() >= 10
    context.close()


def test_the_day_line_is_silent_unprinted_and_the_only_script_allowed(browser, written):
    with opened(browser, written("hostile")[0]) as page:
        assert page.locator(".day:not([aria-hidden=true])").count() == 0
        page.emulate_media(media="print")
        assert page.locator(".day:visible").count() == 0
        # A script that a note had smuggled in would not run.
        page.evaluate(
            "document.body.append(Object.assign(document.createElement('script'), "
            "{textContent: 'window.ran = 1'}))"
        )
        assert page.evaluate("window.ran") is None


def test_a_page_read_from_right_to_left_keeps_time_from_left_to_right(browser, written):
    with opened(browser, written("from right to left")[0], width=360) as page:
        answer = page.locator(".answer").evaluate("e => getComputedStyle(e).direction")
        drawn = page.locator(".drawing").first.evaluate("e => getComputedStyle(e).direction")
        page.keyboard.press("End")
        assert page.evaluate("[window.scrollTo(-999, 0), window.scrollX]")[1] == 0
    assert (answer, drawn) == ("rtl", "ltr")


# A sign stands at the left of its figure in every script (UAX #9's own reason for isolates; from memory).
@pytest.mark.parametrize("which", ["scales and beetles", "from right to left"])
def test_a_sign_stands_at_the_left_of_its_figure(browser, written, which):
    with opened(browser, written(which)[0]) as page:
        open_all(page)
        count, astray = page.evaluate(ASTRAY)
    assert count > 50
    assert astray == []


@pytest.mark.parametrize("which", YARDS)
def test_every_disclosure_is_reached_and_opened_by_keyboard(browser, written, which):
    with opened(browser, written(which)[0]) as page:
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = false)")
        count = page.locator("summary").count()
        reached = set()
        for _ in range(6 * count + 40):
            page.keyboard.press("Tab")
            k = page.evaluate(
                "[...document.querySelectorAll('summary')].indexOf(document.activeElement)"
            )
            if k >= 0 and k not in reached:
                reached.add(k)
                page.keyboard.press("Enter")
        assert count > 5
        assert reached == set(range(count))
        assert page.locator("details:not([open])").count() == 0


@pytest.mark.parametrize("which", YARDS)
def test_page_prints_on_a4_with_no_picture_cut(browser, written, which):
    with opened(browser, written(which)[0]) as page:
        pdf = page.pdf(prefer_css_page_size=True, print_background=True)
        # A4 less its margins is 178 x 265 mm, at 96 px an inch; every picture must fit on one sheet.
        page.set_viewport_size({"width": 673, "height": 1000})
        page.emulate_media(media="print")
        tall = page.evaluate("[...document.querySelectorAll('figure')].map(f => f.offsetHeight)")
        inside = page.evaluate(
            "[...document.querySelectorAll('figure')].map(f => getComputedStyle(f).breakInside)"
        )
        rooms = page.evaluate("[...document.querySelectorAll('.room ul')].map(u => u.offsetHeight)")
        assert page.evaluate(BEYOND) == []
    assert max(tall) < 1000
    assert set(inside) == {"avoid"}
    assert all(height > 0 for height in rooms)
    sheets = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    # A4 is 210 x 297 mm (ISO 216; from memory), 595 x 842 points.
    assert {(round(float(w)), round(float(h))) for w, h in sheets} == {(595, 842)}
    assert 3 <= len(re.findall(rb"/Type /Page\b(?!s)", pdf)) <= 12


@pytest.mark.parametrize("which", YARDS)
def test_html_is_valid_to_a_strict_parser(written, which):
    import html5lib

    html5lib.HTMLParser(strict=True).parse(written(which)[0].read_text("utf-8"))


@pytest.mark.parametrize("which", YARDS)
def test_headings_do_not_skip_a_level_and_tables_are_told(browser, written, which):
    with opened(browser, written(which)[0]) as page:
        levels = page.evaluate(
            "[...document.querySelectorAll('h1,h2,h3')].map(h => Number(h.tagName[1]))"
        )
        bare = page.evaluate(
            "[...document.querySelectorAll('table')].filter(t => !t.caption || "
            "[...t.querySelectorAll('th')].some(h => !h.scope)).length"
        )
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert bare == 0


def test_hostile_names_and_notes_show_as_text(browser, written):
    with opened(browser, written("hostile")[0], width=360) as page:
        assert page.locator(".where").inner_text() == " ".join(HOSTILE.split())
        assert page.locator("main script, main b, main i").count() == 0
        assert page.locator("script").all_inner_texts() == [OURS.read_text("utf-8")]
        assert "<b>H1</b>" in page.locator("#happened h3").first.inner_text()
        work = page.locator("#happened tbody").last.text_content()
        assert LONG_NOTE in work and "<i>box</i>" in work
        assert page.faults == []


def _without_days(html: str, data: dict) -> tuple[str, dict]:
    """Without the lines of single days, which are the same on both sides and would hide a wrong number."""
    folded = re.findall(r'<ol class="days".*?</ol>', html, re.DOTALL)
    lines = [re.findall("<li>(.*?)</li>", one) for one in folded]
    assert lines == [list(p["days"].values()) for p in data["pictures"] if p["days"]]
    for one in folded:
        html = html.replace(one, "")
    return html, data | {"pictures": [p | {"days": {}} for p in data["pictures"]]}


@pytest.mark.parametrize("which", YARDS)
def test_every_number_on_the_page_is_in_the_json_of_the_same_run(written, which):
    path, data = written(which)
    html = path.read_text("utf-8")
    html = re.sub(r'<section id="glossary">.*?</section>', "", html, flags=re.DOTALL)
    html, data = _without_days(html, data)
    text = text_of(html)
    assert len(re.findall(r"\d", text)) > 300
    assert missing(text, data) == []


@pytest.mark.parametrize("false", ["gained 7.773 kg", "on 31 February", "it rained 987654 mm"])
def test_a_number_that_json_does_not_give_is_noticed(written, false):
    path, data = written("no log")
    assert len(missing(f"{text_of(path.read_text('utf-8'))} {false}", data)) > 0


def test_pounds_and_fahrenheit_alone_are_shown_where_asked(written):
    html = written("hostile")[0].read_text("utf-8")
    read = re.sub(r'<table class="numbers".*?</table>', "", html, flags=re.DOTALL)
    assert not re.search(r"\d (kg|°C|mm|km|m)\b", text_of(read))
    assert re.search(r"\d lb\b", text_of(read)) and re.search(r"\d °F", text_of(read))
    assert "[kg]" not in html and "[lb]" in html  # pictures too


def test_several_yards_get_a_front_page_that_ranks_them(browser, folder):
    from axe_playwright_python.sync_playwright import Axe

    out = folder / "several"
    reports = {
        "coast": lambda: _report("scales and beetles", folder),
        "garden": lambda: _report("no log", folder),
    }
    folders = [folder / "in" / name for name in reports]
    done = []
    data, front = write_pages(
        folders, lambda one: reports[one.name](), out, lambda words, share: done.append(words)
    )
    assert data["order"][0]["name"] == "Saltmarsh Lane (invented)"
    assert len(done) == 2
    for width in WIDTHS:
        with opened(browser, front, width=width, scheme="dark") as page:
            assert page.evaluate(BEYOND) == []
            assert page.asked == [front.resolve().as_uri()]
            assert min(page.evaluate(CONTRASTS))[0] >= LEAST_CONTRAST
            assert Axe().run(page).response["violations"] == []
            page.locator("ol a").first.click()
            assert "Saltmarsh Lane" in page.locator(".where").inner_text()
            page.locator(".up a").click()
            assert "2 yards" in page.locator(".where").inner_text()
