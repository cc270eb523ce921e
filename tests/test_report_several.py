"""Several yards: found in folders, ranked by what needs doing first, one bad yard stops no other."""

from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from test_report import HOSTILE, _folder

from flowcast import cli, pipeline
from flowcast.errors import InputError
from flowcast.plots.yards import plot_yards, yards_data
from flowcast.report import several

DAY = pd.Timestamp("2026-06-01")
LINE = several.Line("A", "a.html", 48.0, 15.0, "kg", DAY, DAY, "first", "answer", 0.5)


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    folder = tmp_path_factory.mktemp("yards")
    for name in ("b one", "a two"):
        (folder / name).mkdir()
        _folder(folder / name, name=f"{name} {HOSTILE}", log=False)
    (folder / "no yard").mkdir()
    return folder


def test_a_folder_of_yards_is_all_yards_in_it(two):
    assert [f.name for f in several.yards_in([two])] == ["a two", "b one"]
    assert several.yards_in([two / "b one", two]) == [two / "b one", two / "a two"]


def test_a_folder_without_yards_says_so(two):
    with pytest.raises(InputError, match=r"no yard\.toml in it"):
        several.yards_in([two / "no yard"])


def test_alarms_come_first_then_what_is_due_then_the_likeliest_flow():
    lines = [
        replace(LINE, name="nothing due, flow likely", due=None, chance=0.9),
        replace(LINE, name="nothing due", due=None, chance=0.1),
        replace(LINE, name="due later", due=DAY + pd.Timedelta(days=9)),
        replace(LINE, name="due now"),
        replace(LINE, name="larvae", due=None, alarm="Beetle larvae were seen."),
    ]
    lines.sort(key=lambda line: line.order)
    assert [line.name for line in lines] == [
        "larvae", "due now", "due later", "nothing due, flow likely", "nothing due",
    ]  # fmt: skip


def test_a_yard_whose_weather_ended_before_that_of_others_says_so():
    """Its dates lie a year back, and would else look like the most pressing ones."""
    year_ago = DAY - pd.Timedelta(days=365)
    old = replace(LINE, name="old", issued=year_ago, due=year_ago)
    text = several.render_front(several.Told([old, LINE]))
    assert text.count("All this is of") == 1 and "All this is of 1 June 2025" in text
    assert text.index("All this is of") < text.index("first</p>")
    assert "All this is of" not in several.render_front(several.Told([LINE, LINE]))


def test_pages_of_alike_folders_and_of_one_named_index_have_names_of_their_own(tmp_path):
    folders = [tmp_path / "x" / "Yard 1", tmp_path / "y" / "yard-1", tmp_path / "index"]
    assert several._file_names(folders) == ["Yard-1.html", "yard-1-2.html", "index-2.html"]


@pytest.mark.parametrize("south_west", [0.0, 0.02])
def test_the_bar_of_length_lies_below_every_yard(south_west):
    corner = {"yard": "ab", "latitude": [50.0, 50.1], "longitude": [10.0 + south_west, 10.1]}
    ax = Figure().subplots()
    plot_yards(pd.DataFrame(corner), ax=ax)
    bar, words = ax.lines[-1], ax.texts[-1]
    dots = yards_data(pd.DataFrame(corner))
    assert words.get_position()[1] < dots["north"].min() - 0.2 * np.ptp(dots["north"])
    assert bar.get_ydata()[0] > ax.get_ylim()[0]


def test_yards_either_side_of_the_date_line_lie_near_each_other():
    frame = pd.DataFrame({"yard": "ab", "latitude": 0.0, "longitude": [179.9, -179.9]})
    frame["yard"] = ["a", "b"]
    # A degree of longitude on the equator is as long as one of latitude, about 111 km (geometry).
    assert np.ptp(yards_data(frame)["east"]) == pytest.approx(0.2 * 111.2)


def test_a_yard_that_cannot_be_read_is_named_and_stops_no_other(two, tmp_path):
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "yard.toml").write_text("[yard]\nname = 3\n")
    told = []
    found, front = several.write_pages(
        [two / "a two", broken],
        lambda folder: pipeline.report(folder, scenarios=100),
        tmp_path / "out",
        lambda words, share: told.append((words, share)),
    )
    html = front.read_text("utf-8")
    assert [f["yard"] for f in found["failed"]] == ["broken"]
    assert "Yards that could not be read" in html and "broken" in html
    assert "<script" not in html and "&lt;script&gt;" in html
    assert told == [("a two, 1 of 2", 0.0), ("broken, 2 of 2", 0.5)]
    assert (tmp_path / "out" / "a-two.html").read_text("utf-8").count("All yards") == 1


def test_two_processes_write_what_one_writes(two, tmp_path):
    look = partial(pipeline.report, scenarios=100)
    pages = []
    for processes in (1, 2):
        out = tmp_path / str(processes)
        folders = [two / "a two", two / "b one", tmp_path / "no yard"]
        data, _ = several.write_pages(
            folders, look, out, lambda words, share: None, with_data=False, processes=processes
        )
        assert [f["yard"] for f in data["failed"]] == ["no yard"]
        pages.append({path.name: path.read_bytes() for path in sorted(out.iterdir())})
    assert pages[0] == pages[1]
    assert list(pages[0]) == ["a-two.html", "b-one.html", "index.html"]


def test_the_command_writes_all_and_opens_the_front_page(two, tmp_path, monkeypatch):
    import webbrowser

    from typer.testing import CliRunner

    opened = []
    monkeypatch.setattr(webbrowser, "open", opened.append)
    out = tmp_path / "out"
    arguments = ["report", str(two), "--out", str(out), "--open", "--scenarios", "100"]
    done = CliRunner().invoke(cli.app, arguments)
    assert done.exit_code == 0, done.output
    assert sorted(p.name for p in out.iterdir()) == ["a-two.html", "b-one.html", "index.html"]
    assert opened == [(out / "index.html").as_uri()]


def test_several_yards_are_not_written_into_one_file(two):
    with pytest.raises(InputError, match="into a folder"):
        several.write_pages([two / "a two"], None, two / "page.html", lambda words, share: None)
