"""The page: the same bytes every time, whole and closed, safe with any name, no empty boxes."""

import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather

from flowcast import pipeline
from flowcast.errors import InputError
from flowcast.plots import season as season_plots
from flowcast.report import words
from flowcast.report.data import outlook_data
from flowcast.report.figures import ribbon
from flowcast.report.page import render_page, write_page

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
    assert "<script" not in page
    assert len(page.encode()) < 1_500_000


def test_ids_are_unique_and_every_reference_is_there(page):
    tags = Tags(page)
    assert len(tags.ids) == len(set(tags.ids))
    wanted = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', page))
    assert {a or b for a, b in wanted} <= set(tags.ids)


@pytest.mark.parametrize("which", ["found", "bare"])
def test_every_picture_states_its_finding(which, request):
    tags = Tags(render_page(request.getfixturevalue(which)))
    assert len(tags.pictures) >= 3
    for text in tags.pictures:
        assert re.search(r"\d", text)
        assert text.endswith(".")


@pytest.mark.parametrize("which", ["found", "bare"])
def test_no_nan_none_or_empty_section(which, request):
    html = render_page(request.getfixturevalue(which))
    text = " ".join(Tags(html).text)
    assert not re.search(r"\b(nan|None|NaT|inf)\b", text)
    assert not re.search(r"<(ul|tbody|section)[^>]*>\s*</", html)


def test_hostile_names_show_as_text(bare):
    html = render_page(bare)
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "🐝" in html


def test_hive_names_and_notes_are_escaped(page):
    assert "H&lt;1&gt;" in page
    assert "<i>box" not in page


def test_a_yard_without_log_is_marked_and_shorter(bare, page):
    html = render_page(bare)
    assert "rests on weather and stated bloom only" in html
    assert "What the scales said" not in html
    assert "What the scales said" in page


def test_page_and_json_say_the_same(found, page):
    data = outlook_data(found)
    assert data["answer"] in " ".join(Tags(page).text)
    week = data["weekly"][0]
    assert words.weight(week["q50"]) in page
    assert words.weight_range(week["q10"], week["q90"]) in page


def test_work_taken_out_is_listed(page):
    assert "2024-06-05" in page
    assert "4.0 kg" in page


def test_ribbon_frame_joins_past_and_ahead(found):
    frame = season_plots.ribbon_data(found)
    past, ahead = frame[frame["p_flow_day"].isna()], frame[frame["p_flow_day"].notna()]
    assert len(past) == 365
    assert len(ahead) == 30
    assert past.index[-1] + pd.Timedelta(days=1) == ahead.index[0] == found.outlook.issue_date
    known = past["gain_kg"].notna()
    assert (past["kind"][known] != "").all()
    assert (past["kind"][~known] == "").all()


def test_fan_frame_is_the_outlook_s_total(found):
    frame = season_plots.fan_data(found)
    assert frame["q50"].iloc[-1] == found.outlook.total["q50"].iloc[29]
    years = [c for c in frame if not c.startswith("q")]
    assert len(years) == len(set(found.outlook.scenarios.labels))


def test_pounds_are_shown_where_asked(tmp_path):
    pounds = pipeline.outlook(_folder(tmp_path, units="lb"), scenarios=200)
    html = render_page(pounds)
    kg = pounds.outlook.weekly["q50"].iloc[0]
    # One pound is 0.45359237 kg exactly (from memory).
    assert words.weight(kg, "lb") in html
    assert f"{kg / 0.45359237:.1f} lb".replace("-", "−") in html or abs(kg / 0.45359237) > 9.9
    assert not re.search(r"\d kg\b", ribbon(pounds).alt)


def test_page_is_never_written_over_a_data_file(tmp_path):
    for name in ("yard.toml", "scale.csv", "weather.csv.gz"):
        with pytest.raises(InputError, match="never over a data file"):
            write_page("x", tmp_path / name)
    assert write_page("one", tmp_path / "a" / "p.html").read_text() == "one"
    assert write_page("two", tmp_path / "a" / "p.html").read_text() == "two"
    assert [p.name for p in (tmp_path / "a").iterdir()] == ["p.html"]


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
    assert words.chance(p) == text


@pytest.mark.parametrize(
    "kg, text",
    [(0.04, "0 kg"), (-0.04, "0 kg"), (-1.26, "−1.3 kg"), (9.96, "10 kg"), (-31.4, "−31 kg")],
)
def test_weights_in_words(kg, text):
    assert words.weight(kg) == text
