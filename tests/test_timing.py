"""Dated advice from a yard's folder to words: nothing from the issue date on, equal bytes, both hemispheres."""

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from kept_yard import BOXES, ISSUE, write_folder
from typer.testing import CliRunner

import flowcast
from flowcast import pipeline
from flowcast.advice.splits import SplitAdvice, SwarmWatch
from flowcast.advice.stores import StoresAdvice
from flowcast.advice.supers import SuperAdvice
from flowcast.advice.when import When
from flowcast.cli import app
from flowcast.errors import InputError
from flowcast.messages import Say
from flowcast.pipeline.hives import hives_now, new_colonies
from flowcast.pipeline.timing import _near
from flowcast.report import timing as words
from flowcast.report.data import timing_data
from flowcast.report.page import render_page
from flowcast.report.screen import timing_text


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    return write_folder(tmp_path_factory.mktemp("y") / "yard", plain_weather())


@pytest.fixture(scope="module")
def found(yard):
    return pipeline.timing(yard, as_of=ISSUE, scenarios=200)


def as_json(found):
    return json.dumps(timing_data(found), allow_nan=False)


def test_the_public_name_is_the_function(yard):
    """Whatever parts have been loaded: a package of that name would stand in its place."""
    assert callable(flowcast.timing)
    assert flowcast.timing.__name__ == "timing"


def test_equal_seeds_give_equal_bytes(yard, found):
    assert as_json(pipeline.timing(yard, as_of=ISSUE, scenarios=200)) == as_json(found)
    assert as_json(pipeline.timing(yard, as_of=ISSUE, scenarios=200, seed=2)) != as_json(found)


def test_nothing_from_the_issue_date_on_is_used(yard, found, tmp_path):
    """Weather scrambled, weights, work, bloom and the keeper's look of later days changed: the same."""
    weather = plain_weather()
    later = weather.index > pd.Timestamp(ISSUE, tz="Etc/GMT-1")
    weather.loc[later] = weather.loc[later].sample(frac=1, random_state=3).to_numpy()
    work = f"{ISSUE} 09:00,A,super on,9,\n2024-07-01,B,inspected,,queen cells\n2024-06-20,B,swarm hived,,\n"
    other = write_folder(
        tmp_path / "yard", weather, work=work, bloom=f"{ISSUE},lime,over\n2024-06-20,lime,full\n"
    )
    for name in ("A", "B"):
        log = pd.read_csv(other / f"{name}.csv")
        log.loc[pd.to_datetime(log["time"]) > pd.Timestamp(ISSUE, tz="Etc/GMT-1"), "kg"] += 30.0
        log.to_csv(other / f"{name}.csv", index=False)
    assert as_json(pipeline.timing(other, as_of=ISSUE, scenarios=200)) == as_json(found)


def test_what_was_seen_after_the_issue_date_is_not_used(yard, tmp_path):
    later = write_folder(
        tmp_path / "yard", plain_weather(), more=BOXES.replace("2024-06-08", "2024-06-11")
    )
    record = pipeline.record_of(later, None, ISSUE, None)
    hive = hives_now(record, current=True)[0]
    assert (hive.boxes, hive.frames_of_bees, hive.wood_kg) == ((), None, None)


def test_words_without_a_day_are_of_today_and_of_no_past_issue_date(yard, tmp_path):
    undated = write_folder(tmp_path / "yard", plain_weather(), more=BOXES.split("\n", 1)[1])
    record = pipeline.record_of(undated, None, ISSUE, None)
    assert hives_now(record, current=False)[0].boxes == ()
    assert len(hives_now(record, current=True)[0].boxes) == 2


def test_every_dated_visit_falls_on_a_fit_day(found):
    chance = found.visits.chance
    dated = [e for e in words.entries(found) if getattr(e.advice, "food", None) != "fondant"]
    assert dated
    for entry in dated:
        assert entry.date >= pd.Timestamp(ISSUE)
        assert chance[entry.date] >= 0.5, entry


def test_the_keeper_s_days_are_kept(tmp_path):
    own = write_folder(tmp_path / "yard", plain_weather(), yard='visit_days = ["sat"]')
    found = pipeline.timing(own, as_of=ISSUE, scenarios=100)
    dated = [e for e in words.entries(found) if getattr(e.advice, "food", None) != "fondant"]
    assert dated
    assert {entry.date.day_name() for entry in dated} == {"Saturday"}


def test_both_hemispheres_give_mirrored_dates(tmp_path):
    """The same weather half a year on: swarm season, supers off and winter bees move with it."""
    shift, after = pd.Timedelta(days=181), []
    for name, south in (("n", False), ("s", True)):
        weather = plain_weather()
        moved = shift if south else 0 * shift
        weather.index = weather.index + moved
        folder = write_folder(tmp_path / name, weather, south=south, more="")
        as_of = pd.Timestamp(ISSUE) + moved
        after.append((as_of, pipeline.timing(folder, as_of=as_of, scenarios=100)))
    (north_day, north), (south_day, south) = after
    assert north.after.verdict == south.after.verdict
    apart = (south.after.bees.start[1] - south_day) - (north.after.bees.start[1] - north_day)
    assert abs(apart.days) <= 4  # midsummer is 21 June and 21 December: 183 days apart
    looks = [found.hives[0].swarm.verdict for found in (north, south)]
    assert looks == ["look", "look"]


TAKEN_OFF = SuperAdvice(
    verdict="take off", hive="A", count=1, box_kind="medium", free_kg=(20.0, 24.0, 28.0),
    back_chance=0.05, back_until=pd.Timestamp(ISSUE) + pd.Timedelta(days=30),
    reasons=("no flow near",), changes=("another flow",), cautions=("moth in stored comb",),
)  # fmt: skip


def test_an_empty_super_taken_off_stands_in_words_calendar_and_json(found):
    day = found.visits.next_fit(pd.Timestamp(ISSUE))
    off = replace(TAKEN_OFF, when=When(day, day, day, 1.0))
    other = replace(found, hives=(replace(found.hives[0], supers=off), *found.hives[1:]))
    entry = next(e for e in words.entries(other) if e.advice is off)
    assert (entry.date, entry.task) == (day, "Take 1 empty medium super off")
    assert "wax moth eats stored comb" in " ".join(words.cautions(other))
    assert '"verdict": "take off"' in as_json(other)
    assert "Take 1 medium super off by" in " ".join(timing_text(other).split())


@pytest.mark.parametrize("later_d, verdict", [(7, "take off"), (30, "room enough")])
def test_a_super_comes_off_soon_or_is_left_for_a_later_look(found, later_d, verdict):
    """Beyond two weeks (our choice) the next visit is too far for what is known today."""
    day = found.visits.chance.index[0] + pd.Timedelta(days=later_d)
    said = _near(replace(TAKEN_OFF, when=When(day, day, day, 1.0)), found.visits)
    assert said.verdict == verdict
    assert (said.back_chance is None) == (verdict == "room enough")


def test_unknown_boxes_and_stores_ask_for_what_they_need(found):
    nothing = next(hive for hive in found.hives if hive.hive == "B")
    assert nothing.supers.verdict == "unknown"
    assert "boxes" in nothing.supers.needs
    assert (nothing.stores.verdict, nothing.stores.when) == ("unknown", None)
    low, middle, high = nothing.stores.stores_kg
    assert low < middle < high
    assert "weight or full frames" in nothing.stores.needs
    text = " ".join(timing_text(found).split())
    assert "boxes in yard.toml (frames, drawn, full)" in text
    assert "Stores are not known, perhaps" in text


def test_a_place_on_the_map_and_a_yard_without_hives(tmp_path):
    folder = tmp_path / "bare"
    write_folder(folder, plain_weather())
    text = (folder / "yard.toml").read_text("utf-8").split("[[hive]]")[0]
    (folder / "yard.toml").write_text(text, "utf-8")
    found = pipeline.timing(folder, as_of=ISSUE, scenarios=100)
    assert (found.hives, len(found.usual)) == ((), 3)
    assert "No hive stands here" in " ".join(timing_text(found).split())
    json.dumps(timing_data(found), allow_nan=False)


def test_without_a_past_year_nothing_is_said_of_the_months_beyond(tmp_path):
    folder = write_folder(tmp_path / "yard", plain_weather(first="2024-03-01"))
    found = pipeline.timing(folder, as_of=ISSUE, scenarios=100)
    assert (found.until - found.issue_date).days == 44
    assert found.after.verdict == "unknown"
    assert "nothing is said of the months beyond" in " ".join(timing_text(found).split())
    json.dumps(timing_data(found), allow_nan=False)


def test_before_the_cautions_of_the_page_stand_all_rooms(found):
    html = render_page(found.outlook, dates=found)
    heads = ["What to do, and by when", "Days fit to open a hive", "Swarms and splits", "Supers",
             "Ripe honey", "After the flow", "How the season stands", "To mind with this work"]  # fmt: skip
    body = html[html.index("</nav>") :]
    places = [body.index(f">{head}<") for head in heads]
    assert places == sorted(places)
    assert "timing" in re.findall(r"<caption>(\w+)</caption>", html)
    assert render_page(found.outlook, dates=found) == html


@pytest.mark.parametrize("units, shown", [("kg", " kg"), ("lb", " lb")])
def test_weights_are_in_the_yard_s_unit(tmp_path, units, shown):
    folder = write_folder(tmp_path / "yard", plain_weather(), yard=f'units = "{units}"')
    text = timing_text(pipeline.timing(folder, as_of=ISSUE, scenarios=100))
    rooms = text.split("Days fit to open")[0]
    assert shown in rooms
    assert ({" kg": " lb", " lb": " kg"}[shown]) not in rooms


# What is known of a hive, hand-worked


@pytest.fixture(scope="module")
def record(yard):
    return pipeline.record_of(yard, None, ISSUE, None)


def with_work(yard, tmp_path, work, more=BOXES):
    shutil.copytree(yard, tmp_path / "copy")
    folder = write_folder(tmp_path / "copy", plain_weather(), work=work, more=more)
    return pipeline.record_of(folder, None, ISSUE, None)


def test_boxes_gain_what_the_scale_gained_since_they_were_seen(record):
    """Seen on 8 June; two days of 1.3 kg each (`hive_weights`) fill the deep box: 2.6 kg are 0.87 of a
    deep frame of 3 kg (BBKA, READ)."""
    deep, medium = hives_now(record, current=False)[0].boxes
    assert deep.full == pytest.approx(4 + 2.6 / 3.0, abs=0.05)
    assert medium.full == pytest.approx(3)


def test_a_super_put_on_since_is_counted_and_its_wood_is_no_longer_known(yard, tmp_path):
    record = with_work(yard, tmp_path, "2024-06-09 10:00,A,super on,4,\n")
    hive = hives_now(record, current=False)[0]
    assert [box.kind for box in hive.boxes] == ["deep", "medium", "medium"]
    assert hive.wood_kg is None
    assert hive.supers_on


@pytest.mark.parametrize(
    "order", [("honey off,4.8", "super off,4"), ("super off,4", "honey off,4.8")]
)
def test_a_super_takes_its_honey_along_once(yard, tmp_path, order):
    """Three medium frames of 1.6 kg (numbers.toml, MEMORY) are the 4.8 kg that were taken: the deep box
    keeps its four, and fills by the 2.6 kg of two days, as above."""
    work = "".join(f"2024-06-09 1{k}:00,A,{line},\n" for k, line in enumerate(order))
    hive = hives_now(with_work(yard, tmp_path, work), current=False)[0]
    assert [box.kind for box in hive.boxes] == ["deep"]
    assert hive.boxes[0].full == pytest.approx(4 + 2.6 / 3.0, abs=0.05)


def test_honey_lifted_out_without_its_box_leaves_empty_combs(yard, tmp_path):
    record = with_work(yard, tmp_path, "2024-06-09 10:00,A,honey off,4,\n")
    deep, medium = hives_now(record, current=False)[0].boxes
    assert medium.full == pytest.approx(3 - 4 / 1.6, abs=0.05)  # of the top box, as above
    assert deep.full == pytest.approx(4 + 2.6 / 3.0, abs=0.05)


@pytest.mark.parametrize(
    "work, cells",
    [
        ("2024-06-05,A,inspected,,Queen cells with larvae\n", True),
        ("2024-06-05,A,inspected,,no queen cells\n", False),
        ("2024-06-05,A,inspected,,queen cells\n2024-06-06,A,split,,\n", False),
        ("2024-05-10,A,inspected,,queen cells\n", False),  # long ago
        ("", False),
    ],
)
def test_queen_cells_are_read_from_the_notes(yard, tmp_path, work, cells):
    record = with_work(yard, tmp_path, work)
    assert hives_now(record, current=False)[0].cells is cells


@pytest.mark.parametrize(
    "work, more, kind",
    [
        ("2024-05-20,A,swarm hived,2,\n", "", "swarm"),
        ("", 'from = 2024-05-20\ncame_as = "package"\n', "package"),
        ("", 'from = 2024-05-20\nkind = "nucleus"\n', "nucleus"),
        ("2024-05-20,A,moved in,,\n", 'kind = "nucleus"\n', "nucleus"),
        ("", "from = 2024-05-20\n", None),  # a full colony, for all that is known
        ("", 'from = 2023-05-20\ncame_as = "package"\n', None),  # last year's
        ("", 'from = 2024-06-20\ncame_as = "package"\n', None),  # still to come
    ],
)
def test_new_colonies_are_told_by_work_or_yard(yard, tmp_path, work, more, kind):
    record = with_work(yard, tmp_path, work, more=more)
    found = new_colonies(record, current=False)
    assert [(b.hive, b.kind) for b in found] == ([("A", kind)] if kind else [])
    if kind:
        assert found[0].installed == pd.Timestamp("2024-05-20")


def test_a_stale_look_keeps_its_boxes_and_drops_its_bees(yard, tmp_path):
    record = with_work(yard, tmp_path, "", more=BOXES.replace("2024-06-08", "2024-05-10"))
    hive = hives_now(record, current=False)[0]
    assert hive.frames_of_bees is None
    assert hive.boxes


# The command


def run(*arguments):
    return CliRunner().invoke(app, ["timing", *map(str, arguments)], catch_exceptions=True)


def test_the_command_prints_words_and_the_same_json_twice(yard):
    first, second = (run(yard, "--as-of", ISSUE, "--json") for _ in range(2))
    assert first.exit_code == 0, first.output
    assert first.stdout == second.stdout
    data = json.loads(first.stdout)
    assert (data["schema"], data["schema_version"]) == ("flowcast-timing", 1)
    assert {h["hive"] for h in data["hives"]} == {"A", "B"}
    assert all(n["source"] for n in data["numbers"])
    done = run(yard, "--as-of", ISSUE, "--refractometer", "1.4915@24")
    assert done.exit_code == 0, done.output
    # 1.4915 at 24 °C is 1.49242 at 20 °C (0.00023 a degree, AOAC, MEMORY): 17.65 % between the rows of
    # 16 and 19 % (READ).
    assert "The honey holds 17.6 % of water (corrected to 20 °C)" in done.stdout
    assert "look into the hive first" in done.stdout


@pytest.mark.parametrize("reading", ["wet", "1.49@", "1.49@hot", "@20", "0.5", "18.2@70"])
def test_a_reading_that_cannot_be_understood_is_one_sentence(yard, reading):
    if reading == "1.49@":
        assert run(yard, "--as-of", ISSUE, "--refractometer", reading).exit_code == 0
        return
    done = run(yard, "--as-of", ISSUE, "--refractometer", reading)
    assert isinstance(done.exception, InputError)
    assert "--refractometer" in str(done.exception)
    assert "\n" not in str(done.exception)


HOSTILE = "</td><script>x</script>\\n\\r\\u0007\\u2028;,\\\\BEGIN:VEVENT"


def test_hostile_names_are_safe_everywhere(tmp_path):
    folder = write_folder(tmp_path / "yard", plain_weather(), name=HOSTILE)
    found = pipeline.timing(folder, as_of=ISSUE, scenarios=100)
    assert "<script>x" not in render_page(found.outlook, dates=found)
    from flowcast.report.calendar import calendar_file

    lines = calendar_file(found).split(b"\r\n")
    assert lines.count(b"BEGIN:VEVENT") == len(words.entries(found))
    assert not any(re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", line) for line in lines)


def test_a_wish_that_holds_for_every_hive_names_none():
    """The line above names them already. Hand-worked."""
    asks = SplitAdvice(verdict="unknown", kind="any", needs=("days ahead",))
    told = [("A", SwarmWatch(verdict="not the season")), ("A", asks)]
    wish = "Would tell more: a whole past year of weather."
    assert words._needs(told, Say(), 1) == [wish]
    assert words._needs([*told, ("B", told[0][1])], Say(), 2) == [f"A: {wish}"]


def test_a_hand_weighed_yard_is_advised_too(tmp_path):
    folder = write_folder(tmp_path / "yard", plain_weather())
    for name in ("A", "B"):
        log = pd.read_csv(folder / f"{name}.csv")
        log.iloc[12 :: 24 * 9].to_csv(folder / f"{name}.csv", index=False)
    found = pipeline.timing(folder, as_of=ISSUE, scenarios=100)
    assert found.hives[0].ripe.verdict == "no reading"
    room = timing_text(found).split("Ripe honey")[1].split("Honey to take")[0]
    assert room.count("through the night") == 1  # nothing is said twice: common practice, no source
    assert np.isfinite(found.hives[0].stores.stores_kg).all()


def test_a_hive_with_beetle_larvae_gets_no_super_and_is_not_split(tmp_path):
    """Uncovered comb is where beetles lay, and small colonies fail first: beetle sheet; a later count
    without larvae lifts it."""
    rows = "date,hive,days,beetles,larvae\n2024-06-04,A,14,30,yes\n"
    full = BOXES.replace("full = 4", "full = 9").replace("full = 3", "full = 9")
    folder = write_folder(tmp_path / "yard", plain_weather(), more=full)
    plain = pipeline.timing(folder, as_of=ISSUE, scenarios=100).hives[0]
    assert plain.supers.verdict == "add"
    (folder / "beetles.csv").write_text(rows, "utf-8")
    seen = pipeline.timing(folder, as_of=ISSUE, scenarios=100)
    assert seen.hives[0].supers.verdict == "larvae first"
    assert "split" not in {split.verdict for split in seen.hives[0].splits}
    assert "No super while beetle larvae are in the hive" in " ".join(timing_text(seen).split())
    (folder / "beetles.csv").write_text(rows + "2024-06-08,A,4,3,no\n", "utf-8")
    assert not hives_now(pipeline.record_of(folder, None, ISSUE, None), current=True)[0].larvae


def test_a_scale_that_fell_silent_is_named_and_says_nothing_of_honey_now(tmp_path):
    """A battery that is empty for three weeks in June: no word on what came in since. Hand-worked."""
    folder = write_folder(tmp_path / "yard", plain_weather())
    log = pd.read_csv(folder / "B.csv")
    log[pd.to_datetime(log["time"]) < pd.Timestamp("2024-05-20", tz="UTC")].to_csv(
        folder / "B.csv", index=False
    )
    found = pipeline.timing(folder, as_of=ISSUE, scenarios=100)
    text = " ".join(timing_text(found).split())
    assert "B: its scale has told nothing since 20 May 2024." in text
    assert "A: its scale has told nothing" not in text
    assert [hive.ripe.verdict for hive in found.hives][1] == "no reading"


def test_unknown_stores_hold_what_the_scale_saw_come_in_and_not_what_was_taken(tmp_path):
    """Hand-worked: no hive that has just gained 24 kg is guessed at 12 kg; 9 kg lifted off are gone."""
    folder = write_folder(
        tmp_path / "yard", plain_weather(), work="2024-06-08 08:00,B,honey off,9,\n"
    )
    log = pd.read_csv(folder / "B.csv")
    time = pd.to_datetime(log["time"])
    days = ((time - pd.Timestamp("2024-05-29", tz="UTC")) / pd.Timedelta(days=1)).clip(0, 12)
    log["kg"] = 40.0 + 2.0 * days - 9.0 * (time >= pd.Timestamp("2024-06-08 07:00", tz="UTC"))
    log.to_csv(folder / "B.csv", index=False)
    record = pipeline.record_of(folder, None, ISSUE, None)
    hive = hives_now(record, current=True)[1]
    assert hive.risen_kg == pytest.approx(24.0 - 9.0, abs=0.5)
    low, middle, _ = pipeline.timing(folder, as_of=ISSUE, scenarios=100).hives[1].stores.stores_kg
    assert low > 15.0
    assert middle == pytest.approx(12.0 + 15.0, abs=0.5)


def test_hives_that_are_told_the_same_share_lines_and_rules():
    """Three hives, two of which are told the same; a fourth line for what holds for the nucleus alone."""
    stores = StoresAdvice(
        verdict="enough", stores_kg=(1.0, 2.0, 3.0), floor_kg=1.0, low=pd.Series([0.1])
    )
    fed = replace(stores, feed_kg=(1.0, 2.0, 3.0), sugar_kg=3.0, portion_kg=3.0, food="fondant")
    fed = replace(fed, when=When(pd.Timestamp("2024-06-10"), None, None, 1.0))
    told = [("A", fed), ("B", fed), ("N", replace(fed, portion_kg=1.0))]
    said = words._said(told, ("Why: so.",), Say(), 3)
    assert len(said.what) == 3
    assert said.what[0].startswith("All hives: Feed fondant")
    assert said.what[1].startswith("A, B: Give 3.0 kg")
    assert said.what[2].startswith("N: Give 1.0 kg")
    alike = words._said(told[:2], ("Why: so.",), Say(), 3)
    assert alike.what[0].startswith("A, B: Feed")
    assert alike.lines[0].startswith("Give 3.0 kg")


def test_many_hives_are_counted_in_a_line_of_the_calendar():
    names = [f"H{k}" for k in range(9)]
    assert words._named(names, 20, Say(), 6) == "H0, H1, H2, H3, H4 and 4 more"
    assert words._named(names, 9, Say(), 6) == "all hives"
    assert words._named(names[:2], 2, Say()) == "H0, H1"
