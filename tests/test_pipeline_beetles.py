"""Beetles from a yard's folder to words: nothing from the issue date on, equal bytes, both hemispheres."""

import json
import re

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from typer.testing import CliRunner

from flowcast import pipeline
from flowcast.beetle import Count, draw_traits, read_counts, read_outlook
from flowcast.beetle.ground import soil_ahead
from flowcast.cli import app
from flowcast.errors import InputError
from flowcast.numbers import load_numbers
from flowcast.pipeline.run import weather_ahead
from flowcast.report.beetles import tray_rows, verdict, week_rows
from flowcast.report.data import beetles_data
from flowcast.report.page import render_page
from flowcast.report.screen import beetles_text

NUMBERS = load_numbers()
ISSUE = "2024-08-20"
COUNTED = "date,hive,days,beetles,larvae,trap,frames_of_bees,queenright\n"
ROWS = (
    "2024-07-20,H1,14,12,no,oil tray,9,yes\n"
    "2024-08-10,H1,14,15,no,oil tray,9,yes\n"
    "2024-08-12,N1,14,4,no,oil tray,4,yes\n"
    "2024-08-14,H2,14,9,yes,oil tray,8,yes\n"
    "2024-08-18,H3,14,8,no,oil tray,8,yes\n"
)
MORE = """
[[hive]]
name = "H1"
[[hive]]
name = "H2"
[[hive]]
name = "H3"
[[hive]]
name = "N1"
kind = "nucleus"
[beetle]
present = true
{soil}
"""


def warm_weather(**how):
    weather = plain_weather(**how, noon=18)  # 86 degrees west, by 15 degrees an hour
    weather["temp_c"] += 8
    weather["rh_pct"] = np.minimum(weather["rh_pct"] + 10, 100)
    weather["precip_mm"] *= 3
    return weather


def write_folder(folder, weather, *, latitude=33.0, rows=ROWS, soil='soil = "loam"', work=""):
    folder.mkdir(exist_ok=True)
    head = f'[yard]\nname = "Warm (invented)"\nlatitude = {latitude}\nlongitude = -86.0\nelevation_m = 100\ntimezone = "Etc/GMT+6"\n'
    (folder / "yard.toml").write_text(head + MORE.format(soil=soil), "utf-8")
    weather.to_csv(folder / "weather.csv")
    (folder / "beetles.csv").write_text(COUNTED + rows, "utf-8")
    (folder / "work.csv").write_text("date,hive,what,kg,note\n" + work, "utf-8")
    return folder


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    work = "2024-07-20,H3,swarmed,,\n"
    return write_folder(tmp_path_factory.mktemp("y") / "yard", warm_weather(), work=work)


@pytest.fixture(scope="module")
def found(yard):
    return pipeline.beetles(yard, as_of=ISSUE, draws=200)


def as_json(found):
    return json.dumps(beetles_data(found), allow_nan=False)


def test_equal_seeds_give_equal_bytes(yard, found):
    assert as_json(pipeline.beetles(yard, as_of=ISSUE, draws=200)) == as_json(found)
    assert as_json(pipeline.beetles(yard, as_of=ISSUE, draws=200, seed=2)) != as_json(found)


def test_nothing_from_the_issue_date_on_is_used(yard, found, tmp_path):
    weather = warm_weather()
    later = weather.index > pd.Timestamp(ISSUE, tz="Etc/GMT+6")
    weather.loc[later] = weather.loc[later].sample(frac=1, random_state=3).to_numpy()
    rows = ROWS + f"{ISSUE},H1,14,400,yes,oil tray,9,yes\n2024-09-10,H2,14,90,no,oil tray,9,yes\n"
    work = f"2024-07-20,H3,swarmed,,\n{ISSUE} 09:00,H1,split,,\n"
    other = write_folder(tmp_path / "yard", weather, rows=rows, work=work)
    assert as_json(pipeline.beetles(other, as_of=ISSUE, draws=200)) == as_json(found)


def test_mirrored_yards_give_mirrored_answers(tmp_path):
    shift = pd.Timedelta(days=181)
    results = []
    for name, latitude, moved in (("n", 33.0, 0 * shift), ("s", -33.0, shift)):
        weather = warm_weather()
        weather.index = weather.index + moved
        folder = write_folder(tmp_path / name, weather, latitude=latitude, rows="")
        as_of = pd.Timestamp(ISSUE) + moved
        results.append(pipeline.beetles(folder, as_of=as_of, draws=200).outlook)
    north, south = results
    # Dusk is reckoned by the sun of each hemisphere, whose years differ a little.
    assert south.weekly["q50"].to_numpy() == pytest.approx(north.weekly["q50"].to_numpy(), abs=0.03)
    assert south.generations.season[1] == pytest.approx(north.generations.season[1], abs=1)
    assert south.high_now == pytest.approx(north.high_now, abs=0.08)


def test_each_count_is_read_for_what_it_is(found):
    verdicts = {(r.count.hive, f"{r.count.date:%m-%d}"): r.verdict for r in found.readings}
    assert verdicts == {
        ("H1", "07-20"): "ordinary",
        ("H1", "08-10"): "ordinary",
        ("N1", "08-12"): "colony",
        ("H2", "08-14"): "larvae",
        ("H3", "08-18"): "colony",
    }
    said = {r.count.hive: verdict(r, found) for r in found.readings if r.count.date.month == 8}
    assert said["H1"] == "Ordinary for a strong colony this month, look again in 14 days."
    assert said["N1"].startswith("No comfort from the number: it is a nucleus")
    assert "it swarmed not long before" in said["H3"]
    assert said["H2"] == "Larvae: act now, whatever the count."


def test_larvae_lead_the_answer_and_rules_come_first(found):
    text = " ".join(beetles_text(found).split())
    assert text.count("wax moth larvae web the comb") == 1  # nothing is said twice: common practice
    assert text.index("Local biosecurity rules come first") < text.index(
        "act now, whatever the counts"
    )
    assert "Splits and nuclei are the most exposed" in text


def test_ordinary_never_stands_alone(found):
    data = {k: v for k, v in beetles_data(found).items() if k != "numbers"}
    for text in (beetles_text(found), json.dumps(data)):
        whole = " ".join(text.split()).lower()
        said = [whole[m.start() : m.end() + 20] for m in re.finditer(r"\bordinary\b", whole)]
        assert said
        assert all(s.startswith(("ordinary for a strong colo", 'ordinary", "')) for s in said), said


def test_weeks_and_windows_hold_together(found):
    weekly, spell = found.outlook.weekly, found.outlook.spell
    assert len(weekly) == len(week_rows(found)) - 1 == 8
    assert (weekly["q10"] <= weekly["q50"]).all()
    assert (weekly["q50"] <= weekly["q90"]).all()
    assert weekly["p_high"].between(0, 1).all()
    # A week cannot be high more often than any spell touches the weeks ahead.
    assert spell.chance >= weekly["p_high"].max() - 0.1
    assert spell.open_chance <= spell.chance
    assert found.outlook.course.index.is_unique


def test_the_weather_ahead_alone_spreads_the_weeks(yard):
    """With a beetle that is known to the last number, doubt begins at nothing and grows with the lead."""
    record = pipeline.record_of(yard, None, ISSUE, None)
    numbers = record.yard.numbers
    traits = draw_traits(numbers, np.random.default_rng(1), 60, soil="loam", narrow=0.0)
    ahead = weather_ahead(record, 60)
    weekly = read_outlook(record.daily, ahead, traits, record.yard.place, numbers).weekly
    width = weekly["q90"] - weekly["q10"]
    assert 0 < width.iloc[0] < 0.1
    assert width.iloc[3] > 2 * width.iloc[0]


def test_watered_ground_breeds_more(yard, tmp_path):
    dry = warm_weather()
    dry["precip_mm"] = 0.0
    means = []
    for name, soil in (("dry", ""), ("wet", "irrigated = true")):
        folder = write_folder(tmp_path / name, dry, soil=f'soil = "sand"\n{soil}', rows="")
        means.append(pipeline.beetles(folder, as_of=ISSUE, draws=100).outlook.weekly["q50"].mean())
    assert means[0] < 0.05
    assert means[1] > 0.3
    text = " ".join(beetles_text(pipeline.beetles(tmp_path / "dry", as_of=ISSUE, draws=50)).split())
    # Said at once, and the keeper asked, who may say that it is not watered and is then not asked.
    assert text.index("A dry yard is not a safe one") < text.index("Breeding weather stands")
    assert "irrigated = true or false" in text
    said = write_folder(tmp_path / "said", dry, soil='soil = "sand"\nirrigated = false', rows="")
    assert "true or false" not in beetles_text(pipeline.beetles(said, as_of=ISSUE, draws=50))


def test_generations_begin_anew_with_the_season(yard, tmp_path):
    """On the season's first day none has left the soil yet, whatever the record before it."""
    record = pipeline.beetles(yard, as_of="2024-01-01", draws=60).outlook.generations
    assert record.season_from == pd.Timestamp("2024-01-01")
    assert record.so_far == (0.0, 0.0, 0.0)
    assert 1 <= record.season[1] <= 8
    # Weather that ends in December tells nothing of the season that began on 1 January.
    late = pipeline.beetles(yard, as_of="2025-01-04", draws=60).outlook.generations
    assert late.so_far == (0.0, 0.0, 0.0)
    # A record that begins in May counts from there.
    folder = write_folder(tmp_path / "late", warm_weather(first="2024-05-01"), rows="")
    short = pipeline.beetles(folder, as_of=ISSUE, draws=60).outlook.generations
    assert short.season_from.month in (4, 5)  # 30 April by this yard's clock
    assert short.so_far[1] <= 3


@pytest.mark.parametrize(
    "line",
    [
        "2024-08-10,H1,swarmed,,",  # on the day of the count
        "2024-08-14,H1,swarmed,,",  # after it, before the issue date
        "2024-08-01,H1,swarm hived,,",
        "2024-07-10,H1,split,,",
    ],
)
def test_an_unsettled_colony_gets_no_comfort(tmp_path, line):
    row = "2024-08-10,H1,14,5,no,oil tray,9,yes\n"
    folder = write_folder(tmp_path / "yard", warm_weather(first="2023-06-01"), rows=row, work=line)
    found = pipeline.beetles(folder, as_of=ISSUE, draws=60)
    assert [r.verdict for r in found.readings] == ["colony"]
    text = " ".join(beetles_text(found).split())
    assert "No comfort from the number" in text
    assert "Strong colonies here" not in text
    data = beetles_data(found)["counts"][0]
    assert data["expected"] is None
    assert data["share_at_or_below"] is None


def test_a_swarm_that_only_the_scale_saw_gets_no_comfort(tmp_path):
    """2.5 kg gone at noon between two readings, bees flying: the scale log calls it a prime swarm."""
    hours = pd.date_range("2024-05-01", "2024-08-19", freq="h", tz="UTC")
    kg = 40 + 0.002 * np.arange(len(hours)) + np.random.default_rng(1).normal(0, 0.02, len(hours))
    kg[hours >= "2024-08-01 19:00"] -= 2.5  # 13:00 by the yard's clock
    row = "2024-08-10,H1,14,5,no,oil tray,9,yes\n"
    folder = write_folder(tmp_path / "yard", warm_weather(first="2023-06-01"), rows=row)
    text = (folder / "yard.toml").read_text("utf-8")
    scale = 'name = "H1"\nscale = { file = "h1.csv", time = "t", weight = "kg", unit = "kg", clock = "utc" }'
    (folder / "yard.toml").write_text(text.replace('name = "H1"', scale), "utf-8")
    pd.DataFrame({"t": hours, "kg": kg.round(2)}).to_csv(folder / "h1.csv", index=False)
    found = pipeline.beetles(folder, as_of=ISSUE, draws=60)
    causes = found.record.logs[0].steps["cause"].to_list()
    assert "a prime swarm?" in causes, causes
    assert found.readings[0].verdict == "colony"
    assert found.readings[0].why == ("swarmed",)


def test_a_later_clean_count_ends_the_alarm(tmp_path):
    rows = "2024-07-20,H1,14,5,{},oil tray,9,yes\n2024-08-10,H1,14,5,{},oil tray,9,yes\n"
    said = []
    for k, larvae in enumerate((("yes", "no"), ("no", "slime"))):
        folder = write_folder(
            tmp_path / f"y{k}", warm_weather(first="2023-06-01"), rows=rows.format(*larvae)
        )
        said.append(" ".join(beetles_text(pipeline.beetles(folder, as_of=ISSUE, draws=60)).split()))
    assert "act now" not in said[0]
    assert "act now, whatever the counts" in said[1]
    assert "take the slimed combs out and freeze or melt them" in said[1]


def test_larvae_stand_on_top_of_the_page_before_any_date(yard):
    """What cannot wait comes first: common practice, no source."""
    told = pipeline.report(yard, as_of=ISSUE, scenarios=100)
    html = render_page(told.outlook, told.beetles, told.season, told.dates)
    alarm = html.index("act now, whatever the counts")
    assert alarm < html.index('<p class="first">')
    calm = render_page(told.outlook, None, told.season, told.dates)
    assert "act now, whatever the counts" not in calm


def test_a_look_that_was_due_is_not_asked_for_again(found):
    # Read on 20 July, looked at from 20 August: the next look was due on 3 August.
    july = next(r for r in found.readings if r.count.date.month == 7)
    assert verdict(july, found) == (
        "Was ordinary for a strong colony in July; the next look was due 3 August."
    )


def test_fifty_is_ordinary_on_a_coast_in_its_humid_months_and_not_in_its_cool_dry_ones():
    """Common practice, no source; the sample yard's weather is invented, a subtropical coast."""
    record = pipeline.record_of("sample_yards/subtropical-coast", None, "2026-09-01", None)
    found = pipeline.beetle_outlook(record, draws=300)
    numbers = record.yard.numbers

    def read(date):
        count = Count(pd.Timestamp(date), "x", 50, 14, False, "oil tray", 9.0, "yes")
        stood = found.showing, found.dates, found.traits, numbers
        return read_counts([count], *stood)[0].verdict

    assert {read(f"2026-{month}-15") for month in ("02", "03", "04")} == {"ordinary"}
    assert "ordinary" not in {read(f"2025-{month}-15") for month in ("07", "08")}


def test_a_short_record_says_what_it_lacks(tmp_path):
    folder = write_folder(tmp_path / "short", warm_weather(first="2024-03-01"), rows="")
    found = pipeline.beetles(folder, as_of=ISSUE, draws=60)
    text = " ".join(beetles_text(found).split())
    assert "what is usual needs a whole past year of weather" in text
    assert "nan" not in text.lower()
    assert "the last weeks stand for the days ahead" in text
    data = beetles_data(found)
    assert data["ahead"]["generations_season"]["q50"] is None
    assert data["ahead"]["weekly"][0]["usual_high"] is None


def test_soil_that_is_given_is_taken_and_goes_on_as_it_was(tmp_path):
    """A soil three degrees cooler than one reckoned from the air stays cooler in the days ahead."""
    weather = warm_weather()
    folder = write_folder(tmp_path / "air", weather, rows="")
    plain = pipeline.record_of(folder, None, ISSUE, None)
    local = weather.index.tz_convert("Etc/GMT+6").tz_localize(None) - pd.Timedelta(minutes=30)
    soil = plain.daily["soil_temp_c"].reindex(local.normalize()).to_numpy() - 3.0
    given = weather.assign(soil_temp_c=soil, soil_moisture_m3m3=0.3)
    folder = write_folder(tmp_path / "given", given, rows="")
    record = pipeline.record_of(folder, None, ISSUE, None)
    one, two = (soil_ahead(r.daily, weather_ahead(r, 60), NUMBERS) for r in (plain, record))
    assert (one - two).mean(axis=0) == pytest.approx(np.full(60, 3.0), abs=0.25)
    found = pipeline.beetles_from(record, draws=60)
    assert "temperature and water of the soil as given" in " ".join(beetles_text(found).split())
    assert found.outlook.traits.seam_shift_c.std() > 1.0  # reckoned again ahead, so in more doubt
    assert not pipeline.beetles_from(plain, draws=60).outlook.traits.seam_shift_c.any()


def test_weather_that_ended_before_the_issue_date(yard, found):
    late = pipeline.beetles(yard, as_of="2025-01-04", draws=60)
    assert late.outlook.issue_date == pd.Timestamp("2025-01-04")
    assert late.outlook.weekly.index[0] == pd.Timestamp("2025-01-04")


@pytest.mark.parametrize(
    "row, says",
    [
        ("2024-08-10,H9,14,5,,,,", "line 2: hive is 'H9'"),
        ("2024-08-10,H1,,5,,,,", "line 2: days is ''. Write for how many days the trap lay"),
        ("2024-08-10,H1,0,5,,,,", "line 2: days is '0'"),
        ("2024-08-10,H1,14,,,,,", "line 2: beetles is ''. Write the number of adult beetles"),
        ("2024-08-10,H1,14,many,,,,", "line 2: beetles is 'many', no number"),
        ("2024-08-10,H1,14,-3,,,,", "line 2: beetles is -3"),
        ("yesterday,H1,14,3,,,,", "line 2: 'yesterday' is no date"),
        ("2024-08-10,H1,14,3,maybe,,,", "line 2: larvae is 'maybe'"),
        ("2024-08-10,H1,14,3,no,sticky,,", "line 2: trap is 'sticky'"),
        ("2024-08-10,H1,14,3,no,,9,perhaps", "line 2: queenright is 'perhaps'"),
        ("2024-08-10,H1,14,3,no,,900,yes", "line 2: frames_of_bees is '900'. Write how many"),
        ("2024-08-10,H1,14,nan,no,,9,yes", "line 2: beetles is nan. Write a number"),
    ],
)
def test_a_bad_row_is_one_line(tmp_path, row, says):
    folder = write_folder(tmp_path / "bad", warm_weather(first="2024-01-01"), rows=row + "\n")
    with pytest.raises(InputError) as error:
        pipeline.beetles(folder, as_of=ISSUE)
    assert str(error.value).startswith("beetles.csv, line 2:")
    assert says in str(error.value)
    assert "\n" not in str(error.value)


def test_the_same_trap_twice_is_named(tmp_path):
    rows = "2024-08-10,H1,14,5,no,,9,yes\n2024-08-10,H1,14,70,no,,9,yes\n"
    folder = write_folder(tmp_path / "twice", warm_weather(first="2024-01-01"), rows=rows)
    with pytest.raises(InputError, match=r"line 3: .* stands in line 2 already\. Leave one"):
        pipeline.beetles(folder, as_of=ISSUE)


def test_several_bad_rows_are_a_line_each(tmp_path):
    rows = "2024-08-10,H9,14,5,,,,\n2024-08-10,H1,14,5,no,,,\nsoon,H1,14,3,,,,\n"
    folder = write_folder(tmp_path / "bad", warm_weather(first="2024-01-01"), rows=rows)
    with pytest.raises(InputError) as error:
        pipeline.beetles(folder, as_of=ISSUE)
    lines = str(error.value).splitlines()
    assert [re.match(r"beetles.csv, line (\d)", line)[1] for line in lines] == ["2", "4"]


def test_the_command_in_words_and_json(yard):
    runner = CliRunner()
    said = runner.invoke(app, ["beetles", str(yard), "--as-of", ISSUE])
    assert said.exit_code == 0, said.output
    assert "Beetle trays, newest first" in said.output
    data = json.loads(runner.invoke(app, ["beetles", str(yard), "--as-of", ISSUE, "--json"]).output)
    assert data["schema"] == "flowcast-beetles"
    assert len(data["counts"]) == 5
    assert data["ahead"]["weekly"][0].keys() >= {"date", "p_high", "usual_high", "q10", "q90"}


def test_the_page_has_a_section_with_picture_and_tables(yard):
    outlook = pipeline.outlook(yard, as_of=ISSUE, scenarios=100)
    page = render_page(outlook, pipeline.beetles_from(outlook.record, draws=60))
    section = page[page.index("<h2>Beetles</h2>") :]
    section = section[: section.index("</section>")]
    assert section.index("Local biosecurity rules") < section.index("act now")
    assert "<svg" in section
    assert "As a table" in section
    assert section.count("<table ") == 3
    for row in tray_rows(pipeline.beetles_from(outlook.record, draws=60))[1:]:
        assert row[0] in section
    assert not re.search(r"\b(nan|None)\b", section)


def test_check_shows_the_span_of_counts(yard):
    """A count whose year was mistyped shows here."""
    text = CliRunner().invoke(app, ["check", str(yard)]).output
    assert "5 counts, 20 July 2024 to 18 August 2024, larvae in 1." in " ".join(text.split())
