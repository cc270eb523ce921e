"""The page: the same bytes every time, whole and closed, safe with any name, no empty boxes."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather

from flowcast import pipeline
from flowcast.errors import InputError
from flowcast.flow.standing import Measure
from flowcast.messages import Say
from flowcast.plots import season as season_plots
from flowcast.report import screen, words
from flowcast.report.data import outlook_data
from flowcast.report.figures import ribbon
from flowcast.report.page import _kept_together, render_page, render_sections, text_of, write_page
from flowcast.report.sections import sections

VOID = {"meta", "br", "hr", "img", "link", "input"}
HOSTILE = '<script>alert("x")</script> \u202eabc\u202c 🐝 & "quotes" ' + "long" * 30


def _folder(folder, *, name="Yard (invented)", hive="H<1>", log=True, units="kg"):
    quoted = name.replace("\\", "\\\\").replace('"', '\\"')
    text = f'[yard]\nname = "{quoted}"\nlatitude = 48.6\nlongitude = 15.3\nelevation_m = 300\nunits = "{units}"\n'
    text += '[[forage]]\nname = "lime <b>"\nfrom = "06-05"\nto = "07-05"\nstrength = "heavy"\n'
    if log:
        text += f'[[hive]]\nname = "{hive}"\nscale = {{ file = "s.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }}\n'
        index = pd.date_range("2023-06-01", "2024-06-09 23:00", freq="h", tz="UTC")
        gain = np.where((index.month == 6) & (index.hour > 9) & (index.hour < 18), 0.2, 0.0) - 0.004
        kg = 40 + np.cumsum(gain) + np.random.default_rng(1).normal(0, 0.02, len(index))
        kg[index >= pd.Timestamp("2024-06-05 09:00", tz="UTC")] += 4.0
        pd.DataFrame({"time": index, "kg": kg.round(3)}).to_csv(folder / "s.csv", index=False)
        (folder / "work.csv").write_text(
            f'date,hive,what,kg,note\n2024-06-05 11:00,{hive},super on,,"<i>box</i>"\n', "utf-8"
        )
    (folder / "yard.toml").write_text(text, "utf-8")
    plain_weather("2020-01-01", "2024-06-09").to_csv(folder / "weather.csv")
    return folder


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    return pipeline.outlook(_folder(tmp_path_factory.mktemp("log")), scenarios=300)


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    return pipeline.outlook(
        _folder(tmp_path_factory.mktemp("bare"), name=HOSTILE, log=False), scenarios=300
    )


@pytest.fixture(scope="module")
def page(found):
    return render_page(found)


@pytest.fixture(scope="module")
def bare_page(bare):
    return render_page(bare)


class Tags(HTMLParser):
    """Checks that every tag is closed in turn, and keeps what is asked about."""

    def __init__(self, html):
        super().__init__()
        self.open, self.links, self.ids, self.pictures, self.text = [], [], [], [], []
        self.feed(html)
        assert not self.open

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.links += [attrs[k] for k in ("src", "href", "xlink:href") if k in attrs]
        self.ids += [attrs["id"]] if "id" in attrs else []
        if attrs.get("role") == "img":
            self.pictures.append(attrs["aria-label"])
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)


def test_same_bytes_for_the_same_outlook(found, page):
    assert render_page(found) == page


def test_page_is_whole_closed_and_fetches_nothing(page):
    tags = Tags(page)
    assert page.startswith("<!doctype html>") or page.lstrip().startswith("<!doctype html>")
    assert all(link.startswith("#") for link in tags.links)
    assert "url(http" not in page
    assert page.count("<script") == 1  # our own, see the browser's tests
    assert len(page.encode()) < 1_500_000


def test_ids_are_unique_and_every_reference_is_there(page):
    tags = Tags(page)
    assert len(tags.ids) == len(set(tags.ids))
    wanted = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', page))
    assert {a or b for a, b in wanted} <= set(tags.ids)


@pytest.mark.parametrize("which", ["page", "bare_page"])
def test_every_picture_states_its_finding(which, request):
    tags = Tags(request.getfixturevalue(which))
    assert len(tags.pictures) >= 3
    for text in tags.pictures:
        assert re.search(r"\d", text)
        assert text.endswith(".")


@pytest.mark.parametrize("which", ["page", "bare_page"])
def test_no_nan_none_or_empty_section(which, request):
    html = request.getfixturevalue(which)
    text = " ".join(Tags(html).text)
    assert not re.search(r"\b(nan|None|NaT|inf)\b", text)
    assert not re.search(r"<(ul|tbody|section)[^>]*>\s*</", html)


def test_hostile_names_show_as_text(bare_page):
    html = bare_page
    assert html.count("<script") == 1  # our own
    assert "&lt;script&gt;" in html
    assert "🐝" in html


def test_hive_names_and_notes_are_escaped(page):
    assert "H&lt;1&gt;" in page
    assert "<i>box" not in page


def test_a_yard_without_log_is_marked_and_shorter(bare_page, page):
    html = bare_page
    assert "rests on weather and stated bloom only" in html
    assert "What happened" not in html
    assert "What happened" in page


def test_page_and_json_say_the_same(found, page):
    data = outlook_data(found)
    assert data["answer"] in " ".join(Tags(page).text)
    week = data["weekly"][0]
    assert Say().weight(week["q50"]) in text_of(page)
    assert Say().weights(week["q10"], week["q90"]) in text_of(page)


def test_work_taken_out_is_listed(page):
    # Written at 09:00 UTC, which is 11:00 on the yard's clock in summer.
    assert "5 June 2024, 11:00" in page
    assert "+4.0\N{NO-BREAK SPACE}kg" in page


def test_a_figure_stays_on_a_line_with_its_unit(page):
    # Of 14 to 38 °C and 0.5 kg the spaces before the units; 1 in 10 is no inches.
    said = _kept_together("14 to 38 °C, 20 % and 0.5 kg, 1 in 10")
    assert (
        said
        == "14 to 38\N{NO-BREAK SPACE}°C, 20\N{NO-BREAK SPACE}% and 0.5\N{NO-BREAK SPACE}kg, 1 in 10"
    )
    sentences = re.findall(r"<li>([^<]*)</li>", re.sub(r'<ol class="days".*?</ol>', "", page))
    told = [sentence for sentence in sentences if re.search(r"\d\s(kg|%|°C)", sentence)]
    assert len(told) >= 3 and not any(re.search(r"\d (kg|%|°C)", sentence) for sentence in told)


def test_pounds_are_shown_where_asked(tmp_path):
    pounds = pipeline.outlook(_folder(tmp_path, units="lb"), scenarios=200)
    html = text_of(render_page(pounds))
    kg = pounds.outlook.weekly["q50"].iloc[0]
    # One pound is 0.45359237 kg exactly (from memory).
    assert Say(units="lb").weight(kg) in html
    assert f"{kg / 0.45359237:.1f} lb".replace("-", "−") in html or abs(kg / 0.45359237) > 9.9
    assert not re.search(r"\d kg\b", ribbon(pounds).alt)


def test_screens_speak_pounds_and_fahrenheit_where_asked(tmp_path):
    folder = _folder(tmp_path, units="lb")
    said = [
        screen.outlook_text(pipeline.outlook(folder, scenarios=100)),
        screen.check_text(pipeline.check(folder)),
        screen.season_text(pipeline.explain(folder)),
        screen.timing_text(pipeline.timing(folder, scenarios=100, reading=(18.2, 24.0))),
        screen.beetles_text(pipeline.beetles(folder)),
    ]
    text = " ".join(" ".join(said).split())
    assert re.search(r"\d lb\b", text) and re.search(r"\d °F", text) and re.search(r"\d in\b", text)
    assert not re.findall(r".{30}\d (?:kg|°C|mm|km|m)\b", text)


@pytest.mark.parametrize("name", ["yard.toml", "YARD.TOML", "scale.csv", "weather.csv.gz"])
def test_page_is_never_written_under_the_name_of_a_data_file(tmp_path, name):
    with pytest.raises(InputError, match="never over a data file"):
        write_page("<!doctype html>", tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_page_is_never_written_over_what_is_no_page(tmp_path):
    log = tmp_path / "scale.txt"
    log.write_text("time,kg\n")
    for path in (log, tmp_path):
        with pytest.raises(InputError, match="no page and is left alone"):
            write_page("<!doctype html>", path)
    assert log.read_text() == "time,kg\n"


def test_page_replaces_an_earlier_page_and_leaves_nothing_beside(tmp_path, page):
    path = tmp_path / "a" / "p.html"
    assert write_page(page, path).read_text("utf-8") == page
    assert write_page("<!doctype html>two", path).read_text("utf-8") == "<!doctype html>two"
    assert [p.name for p in path.parent.iterdir()] == ["p.html"]


def test_a_page_that_cannot_be_written_is_one_line_and_leaves_the_old_one(tmp_path, monkeypatch):
    path = write_page("<!doctype html>old", tmp_path / "p.html")

    def full(self, *args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(path), "write_bytes", full)
    with pytest.raises(InputError, match=r"^[^\n]*No space left[^\n]*$"):
        write_page("<!doctype html>new", path)
    assert path.read_text() == "<!doctype html>old"
    assert [p.name for p in tmp_path.iterdir()] == ["p.html"]


def test_ribbon_is_drawn_for_a_wide_page_and_for_a_phone(page):
    for name in ("broad", "slim"):
        assert page.count(f'<svg class="{name}"') == 1
        assert f".{name} {{ display: none !important; }}" in page


def test_ribbon_s_sentence_counts_what_it_draws(found):
    frame = season_plots.ribbon_data(found)
    gain = frame["gain_kg"].dropna()
    alt = ribbon(found).alt
    assert f"{len(gain)} have a known gain" in alt
    assert f"{(gain >= found.outlook.threshold_kg).sum()} flow days among them" in alt
    assert Say().weight(gain.max()) in alt


def test_every_picture_has_its_data_as_a_table(bare_page):
    html = bare_page
    pictures = len(Tags(html).pictures)
    assert html.count("<summary>As a table</summary>") == pictures == 4


def test_a_yard_s_own_number_is_marked(tmp_path):
    folder = _folder(tmp_path, log=False)
    with (folder / "yard.toml").open("a", encoding="utf-8") as file:
        file.write("[numbers]\nforaging.wind_stops_ms = 9.0\n")
    html = render_page(pipeline.outlook(folder, scenarios=200))
    row = re.search(r"<tr><th[^>]*>wind stops ms.*?</tr>", html, re.S)[0]
    assert "set by this yard" in row
    assert "9 m/s" in row
    assert html.count("set by this yard") == 1


def test_numbers_of_the_scale_stand_only_where_there_is_one(page, bare_page):
    assert "<caption>scale log</caption>" in page
    assert "<caption>scale log</caption>" not in bare_page


def test_lines_of_work_after_the_issue_date_change_nothing(tmp_path):
    folder = _folder(tmp_path)
    before = render_page(pipeline.outlook(folder, as_of="2024-06-05", scenarios=200))
    with (folder / "work.csv").open("a", encoding="utf-8") as file:
        file.write("2024-06-07,H<1>,super on,5,\n")
    assert render_page(pipeline.outlook(folder, as_of="2024-06-05", scenarios=200)) == before


# A rule of the trade (design): "ordinary" says nothing without what it is ordinary for.
def test_the_word_ordinary_never_stands_on_the_page(page):
    assert "ordinary" not in page.lower()


@pytest.mark.parametrize(
    "p, text",
    [
        (0.0, "less than 1 in 20"),
        (0.05, "1 in 10"),
        (0.7, "7 in 10"),
        (0.949, "9 in 10"),
        (0.96, "more than 19 in 20"),
    ],
)
def test_chances_in_words(p, text):
    assert Say().chance(p) == text


@pytest.mark.parametrize(
    "kg, text",
    [(0.04, "0 kg"), (-0.04, "0 kg"), (-1.26, "−1.3 kg"), (9.96, "10 kg"), (-31.4, "−31 kg")],
)
def test_weights_in_words(kg, text):
    assert Say().weight(kg) == text


def test_the_past_record_stands_on_the_page_where_it_is_asked_for(tmp_path):
    found = pipeline.report(_folder(tmp_path), scenarios=100, trust=True)
    html = render_sections(sections(found))
    part = html[html.index('<section id="trust">') :]
    part = part[: part.index("</section>")]
    assert "each from what was known that morning" in part
    assert "Chances as they were said" in part
    # Nothing from the issue date on may be known, to the judge either.
    last = found.trust.origins[-1] + pd.Timedelta(days=found.trust.horizon)
    assert last <= found.outlook.outlook.issue_date


def test_the_page_names_the_command_for_the_past_record_or_why_there_is_none(tmp_path):
    folder = _folder(tmp_path)
    asked = render_sections(sections(pipeline.report(folder, scenarios=100)))
    assert f"flowcast report {folder.name} --trust" in asked
    early = pipeline.report(folder, as_of="2023-07-01", scenarios=100, trust=True)
    assert early.trust is None
    assert "too short" in render_sections(sections(early))


def test_only_words_that_the_page_uses_are_explained(page, bare_page):
    def explained(html):
        return set(re.findall(r"<dt>(.*?)</dt>", html))

    assert "work taken out" in explained(page) - explained(bare_page)
    assert "usual" in explained(bare_page)
    assert "beetle tray" not in explained(page)


def test_not_more_hives_are_drawn_than_a_page_can_carry(found):
    log = found.record.logs[0]
    logs = [replace(log, hive=f"H{k}") for k in range(30)]
    many = replace(found, record=replace(found.record, logs=logs))
    html = render_page(many)
    assert html.count('<div class="hive">') == 24
    assert "More hives are weighed than are shown" in html
    assert "More hives are weighed" not in render_page(found)
    assert len(html.encode()) < 1_500_000


def test_a_month_without_flight_where_none_is_usual_is_said_in_words():
    # Hand-worked: 0.0 of 0.0 to 0.0 hours is neither more nor fewer than usual.
    winter = SimpleNamespace(foraging_h=Measure(0.01, 0.0, 0.0, 0.004))
    assert (
        words.foraging(winter, 0.25, Say())
        == "The last 30 days had no foraging hours, as is usual."
    )
    mild = SimpleNamespace(foraging_h=Measure(0.4, 0.0, 0.0, 0.0))
    assert "0.4 foraging hours a day, more than usual" in words.foraging(mild, 0.25, Say())


def test_foraging_hours_that_days_without_weather_hide_are_said_to_be_unknown():
    # A mean over days that are not known is not known, neither usual nor unusual (by its meaning).
    hole = SimpleNamespace(foraging_h=Measure(float("nan"), 3.0, 1.9, 4.9))
    assert words.foraging(hole, 0.25, Say()) == (
        "The foraging hours of the last 30 days cannot be told: days of their weather are missing."
    )


def test_a_small_loss_is_told_to_the_hundredth_and_never_as_nothing(found):
    # The yard's colonies use 0.004 kg an hour, 0.1 kg a day, where nothing comes in.
    lines = [line for line in ribbon(found).days.values() if ", loss;" in line]
    assert lines
    assert all(re.search(r"gain −\d\.\d\d kg", line) for line in lines)
