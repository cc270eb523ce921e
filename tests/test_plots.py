"""Pictures: the frames they draw, against hand-worked cases; their look in grey and in letters."""

import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from flowcast import pipeline
from flowcast.messages import Say
from flowcast.messages.words import english
from flowcast.numbers import load_numbers
from flowcast.plots import season
from flowcast.plots.bloom import NAME_PT, bloom_data, pack_lanes, plot_bloom
from flowcast.plots.canvas import draw_alone, draw_svg
from flowcast.plots.log import check_data, check_words, draw_check, log_data, plot_log, step_data
from flowcast.plots.room import make_room
from flowcast.plots.style import KIND_COLOURS, paper, titled_legend, width_of
from flowcast.report import figures
from flowcast.scale_log import CleanLog, clean_log

TOML = """\
[yard]
name = "Yard (invented)"
latitude = 48.6
longitude = 15.3
elevation_m = 300
[[forage]]
name = "ivy & <mistletoe>"
from = "11-05"
to = "02-29"
strength = "light"
[[forage]]
name = "$lime$ \\\\frac{"
from = "06-05"
to = "07-05"
strength = "heavy"
irregular = true
[[hive]]
name = "H"
scale = { file = "s.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }
"""


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """A yard on one scale: a kilogram a day in June, a little loss at other times."""
    folder = tmp_path_factory.mktemp("yard")
    (folder / "yard.toml").write_text(TOML, "utf-8")
    plain_weather("2021-01-01", "2024-06-09").to_csv(folder / "weather.csv")
    index = pd.date_range("2023-05-01", "2024-06-09 23:00", freq="h", tz="UTC")
    day = (index.month == 6) & (index.hour > 9) & (index.hour < 18)
    kg = 40 + np.cumsum(np.where(day, 0.14, 0.0) - 0.004)
    pd.DataFrame({"time": index, "kg": kg.round(3)}).to_csv(folder / "s.csv", index=False)
    return pipeline.outlook(folder, scenarios=200)


def _spans(rows):
    table = pd.DataFrame(rows, columns=["date", "days", "gain_kg", "gain_sd_kg"])
    return table.assign(date=pd.to_datetime(table["date"])).set_index("date")


def _with_spans(found, rows):
    return replace(found, record=replace(found.record, spans=_spans(rows)))


def _axes():
    from matplotlib.figure import Figure

    return Figure().subplots()


def lightness(colour: str) -> float:
    """CIE 1976 L* of an sRGB colour (IEC 61966-2-1 and CIE 15; formulas from memory)."""
    rgb = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return 116 * (linear @ [0.2126, 0.7152, 0.0722]) ** (1 / 3) - 16


# Printed value: mid grey #777777 has L* = 50 (50.03 by the formula; from memory).
def test_lightness_of_mid_grey():
    assert lightness("#777777") == pytest.approx(50.0, abs=0.1)


# Our own rule: kinds of day on one side of the line differ by 10 of L*, so they differ in grey.
@pytest.mark.parametrize(
    "run",
    [("resting", "rained off", "loss"), ("trickle", "moderate", "strong", "exceptional")],
)
def test_kinds_of_day_are_told_apart_in_grey(run):
    steps = np.diff([lightness(KIND_COLOURS[kind]) for kind in run])
    assert (steps < -10).all()


# Bounds of the kinds of day: common practice, no source (half a kilogram, two and five).
# A longest day of the plain weather has more than the 4 hours of a foraging day.
@pytest.mark.parametrize(
    "gain, kind",
    [
        (-0.01, "loss"),
        (0.0, "trickle"),
        (0.49, "trickle"),
        (0.5, "moderate"),
        (1.99, "moderate"),
        (2.0, "strong"),
        (4.99, "strong"),
        (5.01, "exceptional"),
    ],
)
def test_ribbon_names_the_kind_of_day(found, gain, kind):
    hours = found.record.daily["foraging_h"]
    date = hours[hours.index >= "2024-05-01"].idxmax()
    frame = season.ribbon_data(_with_spans(found, [(date, 1.0, gain, 0.1)]))
    assert frame.loc[date, "kind"] == kind
    assert (frame["kind"].drop(date) == "").all()


def test_ribbon_of_a_grounded_day(found):
    hours = found.record.daily["foraging_h"]
    winter = hours[(hours.index >= "2023-12-15") & (hours.index < "2024-01-15")].idxmin()
    summer = hours[(hours.index >= "2023-07-01") & (hours.index < "2023-08-15")].idxmin()
    dark = found.record.daily.assign(foraging_h=hours.where(hours.index != summer, 0.0))
    both = _spans([(winter, 1.0, -0.05, 0.1), (summer, 1.0, -0.3, 0.1)])
    frame = season.ribbon_data(replace(found, record=replace(found.record, daily=dark, spans=both)))
    assert frame.loc[[winter, summer], "kind"].tolist() == ["resting", "rained off"]


# By hand: 5 kg over 10 days is 0.5 a day; where 8 kg over 4 days of another hive overlap, the
# median of 0.5 and 2.0 is 1.25.
def test_weighings_are_shown_as_the_mean_of_their_span(found):
    told = _with_spans(found, [("2024-05-01", 10, 5.0, 0.3), ("2024-05-09", 4, 8.0, 0.3)])
    span = season.ribbon_data(told)["span_kg"].dropna()
    assert span.loc["2024-05-01":"2024-05-08"].tolist() == [0.5] * 8
    assert span.loc["2024-05-09":"2024-05-10"].tolist() == [1.25] * 2
    assert span.loc["2024-05-11":].tolist() == [2.0] * 2


def test_ribbon_joins_past_and_ahead(found):
    frame = season.ribbon_data(found)
    ahead = frame["p_flow_day"].notna()
    assert frame.index.equals(pd.date_range("2023-06-11", periods=395))
    assert frame.index[ahead][0] == found.outlook.issue_date == pd.Timestamp("2024-06-10")
    assert (~ahead).sum() == 365
    assert frame["p_flow_day"][ahead].tolist() == found.outlook.daily["p_flow_day"][:30].tolist()
    single = found.record.spans.query("days == 1")["gain_kg"]
    assert (
        frame["gain_kg"].dropna().equals(single[single.index >= "2023-06-11"].rename_axis("date"))
    )


def test_ribbon_begins_no_earlier_than_the_weather(found):
    short = replace(found.record, daily=found.record.daily.iloc[-50:])
    frame = season.ribbon_data(replace(found, record=short))
    assert frame["p_flow_day"].isna().sum() == 50


def test_unknown_days_are_not_drawn_with_their_neighbours(found):
    frame = season.ribbon_data(found).iloc[:3]
    frame = frame.assign(span_kg=[1.0, np.nan, 2.0], gain_kg=np.nan, kind="")
    ax = season.plot_gain(frame, ax=_axes(), say=Say(), columns=7)
    line = next(line for line in ax.lines if line.get_label().startswith("weighings"))
    assert line.get_ydata().tolist() == pytest.approx([1, 1, np.nan, np.nan, 2, 2], nan_ok=True)


def test_gain_is_drawn_in_the_unit_asked_for(found):
    frame = season.ribbon_data(found)
    most = frame["gain_kg"].max()
    for scale, unit in ((1.0, "kg"), (1 / 0.45359237, "lb")):  # exact by definition
        with paper():
            ax = season.plot_gain(frame, ax=_axes(), say=Say(units=unit), columns=7)
        tops = [patch.get_path().vertices[:, 1].max() for patch in ax.patches]
        assert max(tops) == pytest.approx(scale * most, rel=1e-12)
        assert f"[{unit}]" in ax.get_title("left")


# By hand: bloom of 5 November to 29 February lies over the new year, in a plain year it ends on
# 28 February; the ribbon from 11 June 2023 to 9 July 2024 cuts what runs over its edges.
def test_bloom_of_each_year_is_cut_to_the_ribbon(found):
    bloom = bloom_data(found, pd.date_range("2023-06-11", "2024-06-30"))
    rows = [(b.plant[:3], f"{b.first:%Y-%m-%d}", f"{b.last:%Y-%m-%d}") for b in bloom.itertuples()]
    assert rows == [
        ("$li", "2023-06-11", "2023-07-05"),
        ("ivy", "2023-11-05", "2024-02-28"),
        ("$li", "2024-06-05", "2024-06-30"),
    ]
    assert bloom["irregular"].tolist() == [True, False, True]


def test_no_bloom_stated_makes_no_lane(found):
    none = bloom_data(found, pd.date_range("2023-08-01", "2023-09-01"))
    lanes = pack_lanes(
        none,
        pd.date_range("2023-08-01", "2023-09-01"),
        pd.Timestamp("2023-08-20"),
        past_share=0.7,
        width=400,
    )
    assert lanes.count == 0


DATES = pd.date_range("2024-01-01", periods=200)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 199), st.integers(0, 80), st.text(max_size=40)),
        min_size=1,
        max_size=12,
    )
)
def test_no_two_bars_of_a_lane_meet(rows):
    bloom = pd.DataFrame(
        [(name, DATES[a], DATES[min(a + n, 199)], False) for a, n, name in sorted(rows)],
        columns=["plant", "first", "last", "irregular"],
    )
    lanes = pack_lanes(bloom, DATES, DATES[170], past_share=0.7, width=320)
    assert lanes.bars["lane"].max() + 1 == lanes.count <= len(rows)
    for _, lane in lanes.bars.groupby("lane"):
        assert (lane["first"].to_numpy()[1:] > lane["last"].to_numpy()[:-1]).all()


# Bars that follow one another by every few days, some across the seam, with wide letters.
@pytest.mark.parametrize("every_d", [5, 11, 23, 31])
@pytest.mark.parametrize("shape", figures.SHAPES, ids=lambda shape: shape.name)
def test_names_of_plants_stand_apart(found, monkeypatch, shape, every_d):
    names = ["white clover", "mimosa", "ivy", "macadamia", "Wimmera mallee"]
    frame = season.ribbon_data(found)
    first = frame.index[-150:-9:every_d]
    bloom = pd.DataFrame({"plant": [names[k % 5] for k in range(len(first))], "first": first})
    bloom = bloom.assign(last=first + pd.Timedelta(days=every_d - 1), irregular=False)
    monkeypatch.setattr(
        figures, "bloom_data", lambda found, dates: bloom[bloom["first"] >= dates[0]]
    )
    svg = figures._ribbon_svg(found, frame, shape)
    drawn = re.findall(
        r'text-anchor: (start|end)[^>]* x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]+)<', svg
    )
    placed = [
        (float(y), float(x) - (side == "end") * width_of(name, NAME_PT), width_of(name, NAME_PT))
        for side, x, y, name in drawn
        if name in names
    ]
    assert len(placed) >= 4
    for (y, left, wide), (below, right, _) in pairwise(sorted(placed)):
        assert y != below or right - (left + wide) > 3.0


# Two dollar signs would make a formula. Counted by hand: 25 letters and signs, then the mark that more follow.
def test_names_are_drawn_as_they_are_written(found):
    dates = season.ribbon_data(found).index
    bloom = bloom_data(found, dates).assign(plant="$a$ \\frac{ 🐝 & <b> " + "long" * 9)
    lanes = pack_lanes(bloom, dates, found.outlook.issue_date, past_share=0.7, width=400)
    svg = draw_svg(
        "b", lambda figure: plot_bloom(lanes, dates, ax=figure.subplots()), (5, 2), Say()
    )
    assert "$a$ \\frac{ 🐝 &amp; &lt;b&gt; longlo…" in svg
    assert "longlong" not in svg


def test_fan_is_the_running_total(found):
    frame, daily = season.fan_data(found), found.outlook.daily
    assert frame.loc[frame.index[0], "q10":"q90"].tolist() == pytest.approx(
        daily.iloc[0]["q10":"q90"].tolist(), abs=1e-12
    )
    assert frame["q50"].tolist() == found.outlook.total["q50"][:30].tolist()
    assert season.year_columns(frame) == ["2021", "2022", "2023"]


def test_fan_s_thin_lines_are_the_middle_of_each_year_s_scenarios(found):
    frame, drawn = season.fan_data(found), found.outlook.scenarios
    rows = [k for k, w in enumerate(drawn.weather) if drawn.labels[w] == "2022"]
    fifth = sorted(sum(drawn.gain_kg[k, :5]) for k in rows)
    middle = len(fifth) // 2
    by_hand = fifth[middle] if len(fifth) % 2 else (fifth[middle - 1] + fifth[middle]) / 2
    assert frame["2022"].iloc[4] == pytest.approx(by_hand, abs=1e-9)


def test_fan_of_one_weather_has_no_thin_lines(found):
    drawn = replace(found.outlook.scenarios, labels=("the last weeks",) * 9)
    alone = replace(found, outlook=replace(found.outlook, scenarios=drawn))
    assert season.year_columns(season.fan_data(alone)) == []


def test_fan_starts_from_nothing_on_the_issue_date(found):
    ax = season.plot_fan(season.fan_data(found), ax=_axes(), say=Say())
    middle = next(line for line in ax.lines if line.get_label() == "middle")
    assert middle.get_ydata()[0] == 0
    assert pd.Timestamp(middle.get_xdata()[0]) == found.outlook.issue_date


def test_standing_shows_the_record_and_a_band(found):
    frame = season.standing_data(found.record, "soil_water_frac")
    assert frame["now"].tolist() == found.record.daily["soil_water_frac"][-365:].tolist()
    assert (frame["q10"] <= frame["q90"]).all()
    month = season.standing_data(found.record, "foraging_h", mean_days=30)
    last = found.record.daily["foraging_h"].iloc[-30:]
    assert month["now"].iloc[-1] == pytest.approx(last.mean(), abs=1e-9)


def _log(times, kg, net, kind="scale"):
    index = pd.DatetimeIndex(times, tz="UTC")
    readings = pd.DataFrame({"weight_kg": kg, "mark": "good", "net_kg": net}, index=index)
    steps = pd.DataFrame(
        {
            "time": [index[1], index[2]],
            "kg": [4.0, -2.0],
            "sd_kg": 0.1,
            "cause": ["super on", "boxes off?"],
            "logged": [True, False],
            "note": "",
        }
    )
    return CleanLog("H", kind, readings, steps, pd.DataFrame(), pd.Series(dtype=float))


# By hand: 30, 35, 36 kg with 5 kg of boxes set on: 30, 30, 31 without; moved so that both end at
# 36, the clean line is 35, 35, 36. Summer time of Vienna is two hours ahead of UTC.
def test_clean_line_begins_where_the_scale_begins():
    times = ["2024-06-01 08:00", "2024-06-10 08:00", "2024-06-20 08:00"]
    frame = log_data(_log(times, [30, 35, 36], [30, 30, 31], "hand weighings"), "Europe/Vienna")
    # What the hive would weigh had nothing been put on since: moved so as to end alike, the line of
    # a hive that gains and is harvested would begin below zero.
    assert frame["net_kg"].tolist() == [30, 30, 31]
    assert frame.index[0] == pd.Timestamp("2024-06-01 10:00")


def test_readings_that_are_not_good_are_left_out():
    log = _log(["2024-06-01", "2024-06-02", "2024-06-03"], [30, 900, 31], [30, 900, 31])
    log.readings.iloc[1, 1] = "spike"
    assert log_data(log, "UTC")["weight_kg"].dropna().tolist() == [30, 31]


def test_steps_come_newest_first_on_the_yard_s_clock():
    log = _log(["2024-06-01 08:00", "2024-06-10 08:00", "2024-06-20 08:00"], [30, 35, 36], 30)
    steps = step_data(log, "Australia/Brisbane")
    assert steps["time"].tolist() == [
        pd.Timestamp("2024-06-20 18:00"),
        pd.Timestamp("2024-06-10 18:00"),
    ]
    assert steps["cause"].tolist() == ["boxes off?", "super on"]


def test_steps_from_work_and_found_ones_have_marks_of_their_own():
    log = _log(["2024-06-01 08:00", "2024-06-10 08:00", "2024-06-20 08:00"], [30, 35, 36], 30)
    frame, steps = log_data(log, "UTC"), step_data(log, "UTC")
    ax = plot_log(frame, steps, ax=_axes(), say=Say())
    marks = {line.get_label(): line.get_markerfacecolor() for line in ax.lines}
    assert marks["work"] != marks["jump, not in work.csv"]


def _whole_log():
    """Ten days at 40 kg, a box of 4 kg on after five, one reading lifted, all of it in UTC."""
    hours = np.arange(240)
    kg = 40 + 4.0 * (hours >= 131) + np.random.default_rng(1).normal(0, 0.01, 240)
    kg[60] = 20.0
    index = pd.date_range("2024-06-01", periods=240, freq="h", tz="UTC")
    work = pd.DataFrame(columns=["time", "timed", "what", "kg", "note"])
    readings = pd.DataFrame({"weight_kg": kg}, index=index)
    return clean_log(readings, work, hive="H<1>", timezone="UTC", numbers=load_numbers())


def test_picture_of_a_log_accounts_for_every_kilogram():
    frame = check_data(_whole_log(), "Europe/Vienna")
    assert frame.index[0] == pd.Timestamp("2024-06-01 02:00")  # UTC+2 in June
    assert list(frame.index[frame["mark"] == "lifted"]) == [pd.Timestamp("2024-06-03 14:00")]
    good = frame[frame["mark"] == "good"]
    whole = good[["work_kg", "weather_kg", "clean_kg"]].sum(axis=1)
    assert whole.to_numpy() == pytest.approx(good["shown_kg"] - good["shown_kg"].iloc[0], abs=1e-9)
    assert good["work_kg"].iloc[-1] == pytest.approx(4.0, abs=0.03)
    assert good["clean_kg"].iloc[[0, -1]].to_numpy() == pytest.approx([0, 0], abs=0.05)


def test_picture_of_a_log_is_told_in_words_too():
    words = check_words(_whole_log(), "UTC", Say())
    assert words.startswith(
        "H<1>, 1 June 2024 to 10 June 2024: marked 1 lifted; 1 step taken out, 4.0 kg"
    )
    svg = draw_alone(
        "c", lambda figure: draw_check(figure, _whole_log(), "UTC", Say()), (9, 5), Say(), words
    )
    assert 'role="img"' in svg and "<title>H&lt;1&gt;, 1 June 2024" in svg
    assert "aria-hidden" not in svg.split(">")[0]


def test_marks_and_steps_are_drawn_where_they_are():
    figure = Figure()
    draw_check(figure, _whole_log(), "UTC", Say())
    shown, taken, clean = figure.axes
    labels = {line.get_label(): line for line in shown.lines + taken.lines}
    assert list(labels["lifted"].get_ydata()) == [20.0]
    assert len(labels["found"].get_ydata()) == 1 and "work.csv" not in labels
    assert labels["steps"].get_ydata()[-1] == pytest.approx(4.0, abs=0.03)
    assert "bees" in clean.get_title()


@pytest.mark.parametrize("many", [3, 9000])
def test_a_long_log_is_thinned_and_its_marks_are_kept(many):
    log = _whole_log()
    copies = pd.concat([log.readings] * many)
    copies.index = pd.date_range("2000-01-01", periods=len(copies), freq="min", tz="UTC")
    frame = check_data(replace(log, readings=copies), "UTC")
    assert (frame["mark"] == "lifted").sum() == many
    assert (frame["mark"] == "good").sum() <= 4000


def test_svg_is_the_same_twice_and_its_ids_are_its_own():
    def draw(figure):
        figure.subplots().fill_between([0, 1], [0, 1])

    first = draw_svg("one", draw, (2, 1), Say())
    assert first == draw_svg("one", draw, (2, 1), Say())
    assert first.count(' id="') == first.count(' id="one-') > 0
    assert "http" not in first
    assert "<metadata" not in first


# Ticks as matplotlib's own formatter writes them, then a decimal comma by hand.
def test_axes_write_figures_as_the_language_does():
    def draw(figure):
        ax = figure.subplots()
        ax.plot([0, 1], [-0.5, 0.5])
        ax.set_yticks([-0.5, 0.0, 0.5])

    words = english()
    comma = replace(words, entries=words.entries | {"numbers.decimal": (",",)})
    assert {"−0.5", "0.0", "0.5"} <= set(re.findall(">([^<]+)</text>", draw_svg("a", draw, (3, 2), Say())))  # fmt: skip
    told = set(re.findall(">([^<]+)</text>", draw_svg("a", draw, (3, 2), Say(words=comma))))
    assert {"−0,5", "0,0", "0,5"} <= told
    assert not any("." in one for one in told)


# Geometry: ten days from 2 January 1970, the first day after the epoch's, over the axes' whole width.
def test_a_picture_says_where_its_days_are():
    dates = pd.date_range("1970-01-02", periods=11)

    def draw(figure):
        ax = figure.subplots()
        ax.plot(dates, range(11))
        ax.set_xlim(dates[0], dates[-1])

    svg = draw_svg("a", draw, (4, 3), Say(), day_axes=1)
    left, right, top, bottom, first, count = re.search('data-days="([^"]*)"', svg)[1].split(" ")
    assert (first, count) == ("1", "10")
    assert 0 < float(left) < float(right) <= 4 * 72 and 0 <= float(top) < float(bottom) < 3 * 72
    assert "data-days" not in draw_svg("a", draw, (4, 3), Say())


def test_words_that_have_no_room_are_broken_and_thinned_out():
    long = "a title of very many words " * 4

    def draw(figure):
        ax = figure.subplots()
        for k in range(6):
            ax.plot([0, 1], [k, k], label=f"a name of many letters {k}")
        titled_legend(ax, long, columns=3)
        ax.set_xticks(range(40), [f"name {k}" for k in range(40)])

    figure = Figure(figsize=(3.9, 4), layout="constrained")
    with paper():
        draw(figure)
        make_room(figure, lambda: figure.get_layout_engine().execute(figure))
        ax = figure.axes[0]
        names = [n.get_window_extent() for n in ax.get_xticklabels() if n.get_text()]
        assert all(a.x1 < b.x0 for a, b in pairwise(names)) and len(names) >= 2
        for part in (ax._left_title, ax.get_legend()):
            assert part.get_window_extent().x1 <= figure.bbox.x1
        assert " ".join(ax.get_title("left").split()) == long.strip()


def test_a_picture_is_drawn_once(monkeypatch):
    drawn, draw = [], Figure.draw
    monkeypatch.setattr(Figure, "draw", lambda self, renderer: drawn.append(draw(self, renderer)))
    draw_svg("one", lambda figure: figure.subplots(), (2, 1), Say())
    assert len(drawn) == 1


def test_drawing_changes_no_setting_outside():
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    with paper():
        assert mpl.rcParams["svg.hashsalt"] == "flowcast"
    assert dict(mpl.rcParams) == before


def test_matplotlib_waits_until_something_is_drawn():
    code = (
        "import sys, flowcast.report.page, flowcast.plots.log, flowcast.plots.season\n"
        "assert 'matplotlib' not in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
