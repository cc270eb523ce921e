"""`flowcast explain` from a yard's folder to words and JSON."""

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from typer.testing import CliRunner

from flowcast import pipeline
from flowcast.cli import app
from flowcast.errors import InputError, NotEnoughDataError
from flowcast.pipeline.explain import explain_record, kilograms_of
from flowcast.reasons import Against
from flowcast.reasons.season import Reason
from flowcast.report.data import season_data
from flowcast.report.explain import answer, sentences
from flowcast.report.page import render_page
from flowcast.report.screen import season_text

FORAGE = '[[forage]]\nname = "lime"\nfrom = "06-05"\nto = "07-05"\nstrength = "heavy"\n'
HIVE = '[[hive]]\nname = "{name}"\nscale = {{ file = "{name}.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }}\n'


def wet_june(weather):
    """Rain through the daylight of June 2023, light of a rainy day."""
    june = (weather.index >= "2023-06-05") & (weather.index < "2023-07-06")
    weather.loc[june, "precip_mm"] = 1.5
    weather.loc[june, "ghi_wm2"] *= 0.4
    return weather


def write_folder(folder, weather, *, hives=(), latitude=48.6, more=FORAGE):
    folder.mkdir(exist_ok=True)
    head = f'[yard]\nname = "Test (invented)"\nlatitude = {latitude}\nlongitude = 15.3\nelevation_m = 300\n'
    text = head + more + "".join(HIVE.format(name=n) for n in hives)
    (folder / "yard.toml").write_text(text, "utf-8")
    weather.to_csv(folder / "weather.csv")
    return folder


def scale(first, last, flows):
    """Gains in the June of each year as given (in the dry May of the wet year), a small loss else."""
    index = pd.date_range(first, last, freq="h", tz="UTC", inclusive="left")
    gain = np.full(len(index), -0.05 / 24)
    for year, kg in flows.items():
        month = 5 if year == 2023 else 6  # nothing comes in on days without flight
        flow = (index.year == year) & (index.month == month) & (index.hour >= 9) & (index.hour < 17)
        gain[flow] = kg / flow.sum()
    noise = np.random.default_rng(1).normal(0, 0.02, len(index))
    return pd.DataFrame({"time": index, "kg": (40 + np.cumsum(gain) + noise).round(3)})


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("y") / "yard"
    write_folder(folder, wet_june(plain_weather("2012-01-01")), hives=("A", "B", "C"))
    for name, kg in (("A", 30), ("B", 32), ("C", 12)):
        log = scale("2022-01-01", "2024-12-31", {2022: 40, 2023: kg, 2024: 38})
        log.to_csv(folder / f"{name}.csv", index=False)
    (folder / "work.csv").write_text(
        "date,hive,what,kg,note\n2023-05-20 12:00,C,swarmed,0.01,\n2023-08-01,A,honey off,12,\n",
        "utf-8",
    )
    return folder


@pytest.fixture(scope="module")
def found(yard):
    return pipeline.explain(yard, season="2023", against="2022")


def test_rain_in_bloom_is_named_first_with_the_loss(found):
    """A wet bloom season loses most by rain (Kenoyer 1917, abstract READ: excess rain, poor year)."""
    said = answer(found)
    assert said.startswith("Rain in hours of flight cost about ")
    assert "less than in the mean of 2 other seasons of the log" in said
    assert found.kilograms.parts["kg"].idxmin() == "rain"
    first, last = found.kilograms.flight[["first", "last"]]
    assert pd.Timestamp("2023-06-01") <= first <= last <= pd.Timestamp("2023-07-05")
    assert found.season.reasons[0].what == "rain"


def test_the_hive_that_swarmed_is_told_from_the_weather(found):
    text = " ".join(season_text(found).split())
    assert "C lost" in text
    assert "that points to the colony more than to the weather" in text
    assert 'work.csv has "swarmed" on 20 May' in text
    assert "weights alone never prove it" in text


def test_crop_and_gain_are_told_apart(found):
    text = " ".join(season_text(found).split())
    assert "Honey lifted off or extracted: A 12 kg" in text
    assert "Gain on the scale is not the crop" in text
    assert "does not prove a cause" in text


def test_a_season_without_comb_is_told_as_the_least(yard, tmp_path):
    # C is weighed with its combs seen full at the end of its May: from then on it could have gained more.
    folder = shutil.copytree(yard, tmp_path / "full")
    text = (folder / "yard.toml").read_text("utf-8")
    box = '{ kind = "deep", frames = 10, drawn = 10, full = 10 }'
    for name in "ABC":
        head = f'name = "{name}"\n'
        text = text.replace(head, f"{head}boxes = [{box}]\nseen = 2023-06-01\n")
    (folder / "yard.toml").write_text(text, "utf-8")
    found = pipeline.explain(folder, season="2023", against="2022")
    told = " ".join(sentences(found))
    assert "the middle hive gained at least" in told.lower()
    (line,) = (line for line in sentences(found) if "no free comb" in line)
    days = {h.hive: int(h.full.sum()) for h in found.season.hives}
    assert line.startswith(f"A (on {days['A']} days), B (on {days['B']} days)")
    data = season_data(found)["season"]
    assert [h["full_days"] for h in data["hives"]] == list(days.values())
    assert data["full_days"] > 30


def test_two_seasons_side_by_side(found):
    text = season_text(found)
    assert found.other[0] == "2022"
    assert "hours lost to rain" in text
    data = season_data(found)
    assert data["against"]["name"] == "2022"
    json.dumps(data, allow_nan=False)


def test_a_good_season_is_explained_as_willingly(yard):
    better = pipeline.explain(yard, season="2022")
    assert "more than in the mean of 2 other seasons of the log" in answer(better)


def test_a_running_season_ends_the_day_before_the_issue_date(yard):
    running = pipeline.explain(yard, season="2024", as_of="2024-06-20")
    assert running.season.last == pd.Timestamp("2024-06-19")
    whole = pipeline.explain(yard, as_of="2024-06-20")
    assert whole.name == "2023"  # the last whole one


def test_a_yard_without_scales_gets_no_kilograms(tmp_path):
    folder = write_folder(tmp_path / "bare", wet_june(plain_weather("2012-01-01")))
    bare = pipeline.explain(folder, season="2023")
    text = " ".join(season_text(bare).split())
    assert "No scale tells of this time, so nothing is said of weights." in text
    assert " kg" not in text
    assert "rain in bloom" in answer(bare)


def test_a_log_of_a_part_of_the_season_says_which_part_and_how_to_ask_for_it(yard, tmp_path):
    """A scale that stands in March and April tells of 61 days without bloom, one from May to July of 92
    with nearly all of it: common practice, no source."""
    folder = write_folder(tmp_path / "part", plain_weather("2012-01-01"), hives=("A",))
    log = pd.read_csv(yard / "A.csv", parse_dates=["time"])

    def told(came, left, **asked):
        """What explain says where the scale stood between these days of every year."""
        day = log["time"].dt.strftime("%m-%d")
        log[(day >= came) & (day <= left)].to_csv(folder / "A.csv", index=False)
        return " ".join(season_text(pipeline.explain(folder, **asked)).split())

    text = told("03-01", "05-01", season="2024")
    assert re.search(r"The scales tell of 6[012] of 366 days, too few to speak of weights", text)
    assert "--from and --to" in text
    assert "that needs weights of more of this time" in text
    assert "Hive A lost" in told("03-01", "05-01", first="2024-03-01", last="2024-04-30")
    assert re.search("Hive A gained .* on the 25 % of days", told("05-01", "08-01", season="2024"))


def test_a_southern_season_spans_the_new_year(tmp_path):
    weather = plain_weather("2012-01-01", latitude=-33.0)
    folder = write_folder(tmp_path / "south", weather, latitude=-33.0, more="")
    text = (folder / "yard.toml").read_text("utf-8").replace("15.3", "20.5")
    (folder / "yard.toml").write_text(text, "utf-8")
    south = pipeline.explain(folder, season="2022/23")
    assert south.name == "2022/23"
    assert (south.season.first, south.season.last) == (
        pd.Timestamp("2022-07-01"),
        pd.Timestamp("2023-06-30"),
    )


def test_one_year_of_weather_says_so(tmp_path):
    folder = write_folder(tmp_path / "one", plain_weather("2024-01-01"))
    alone = pipeline.explain(folder, season="2024")
    assert "There is no other year of weather here" in answer(alone)
    assert "nan" not in season_text(alone).lower()
    json.dumps(season_data(alone), allow_nan=False)


@pytest.mark.parametrize(
    "asked, error, says",
    [
        ({"season": "last"}, InputError, "no season. Write it as 2025"),
        ({"season": "1995"}, NotEnoughDataError, "does not hold all of 1995-01-01"),
        ({"season": "2023/99"}, InputError, "--season 2023/99: no season"),
        ({"season": "2023", "against": "x"}, InputError, "--against x: no season"),
        ({"last": "2023-06-01"}, InputError, "--to needs --from"),
        ({"first": "2020-01-01", "last": "2022-06-01"}, InputError, "longer than a year"),
        ({"first": "2023-06-01", "last": "2023-06-05"}, NotEnoughDataError, "fewer than 14"),
        (
            {"first": "2011-06-01", "last": "2011-07-05"},
            NotEnoughDataError,
            "2011-06-01 to 2011-07-05",
        ),
    ],
)
def test_what_cannot_be_explained_is_one_sentence(yard, asked, error, says):
    with pytest.raises(error, match=says):
        pipeline.explain(yard, **asked)


def test_the_command(yard):
    runner = CliRunner()
    said = runner.invoke(app, ["explain", str(yard), "--season", "2023"])
    assert said.exit_code == 0, said.output
    assert "What this cannot say" in said.output
    data = json.loads(
        runner.invoke(app, ["explain", str(yard), "--season", "2023", "--json"]).output
    )
    assert data["schema"] == "flowcast-explain"
    assert data["season"]["reasons"][0]["what"] == "rain"
    both = runner.invoke(app, ["explain", str(yard), "--season", "2023", "--from", "2023-01-01"])
    assert both.exit_code == 2


def test_the_page_tells_of_the_last_season(yard):
    outlook = pipeline.outlook(yard, as_of="2024-06-20", scenarios=100)
    past = pipeline.last_season(outlook.record)
    page = render_page(outlook, season=past)
    section = page[page.index("<h2>The season 2023, and why</h2>") :]
    section = section[: section.index("</section>")]
    assert "rain in bloom" in section
    assert "<svg" in section
    assert "fewer hours of flight than 8 years in 10" in section
    assert not re.search(r"\b(nan|None)\b", section)
    assert "and why</h2>" not in render_page(outlook)


def test_what_is_laid_beside_is_as_long(yard):
    both = pipeline.explain(yard, first="2023-05-01", last="2023-06-30", against="2022")
    other = both.other[1]
    assert (other.first, other.last) == (pd.Timestamp("2022-05-01"), pd.Timestamp("2022-06-30"))


def test_nothing_from_the_issue_date_on_is_used(yard, tmp_path):
    """The running season is the same when everything after the issue date is gone."""
    cut = tmp_path / "cut"
    weather = pd.read_csv(yard / "weather.csv", index_col=0, parse_dates=True)
    write_folder(cut, weather[weather.index < "2024-06-20"], hives=("A", "B", "C"))
    for name in "ABC":
        log = pd.read_csv(yard / f"{name}.csv", parse_dates=["time"])
        log[log["time"] < "2024-06-20"].to_csv(cut / f"{name}.csv", index=False)
    (cut / "work.csv").write_bytes((yard / "work.csv").read_bytes())
    one, two = (
        json.dumps(season_data(pipeline.explain(f, season="2024", as_of="2024-06-19")))
        for f in (yard, cut)
    )
    assert one == two


@pytest.mark.parametrize("what", ["cold", "rain", "humid", "dry", "wet", "frost"])
@pytest.mark.parametrize("way", [-1, 0, 1])
@pytest.mark.parametrize("in_bloom", [True, False])
def test_every_reason_has_words(found, what, way, in_bloom):
    figure = Against(0.9, 0.3, 0.2, 0.5, 1, 12)
    season = replace(found.season, reasons=(Reason(what, figure, way, in_bloom),))
    told = replace(found, season=season)
    assert answer(told).endswith(".")
    assert sentences(told)


def test_equal_input_gives_equal_bytes(yard, found):
    again = pipeline.explain(yard, season="2023", against="2022")
    assert json.dumps(season_data(again)) == json.dumps(season_data(found))


# ---- kilograms on whole yards ----------------------------------------------------------------


def copied(yard, folder, weather):
    """The yard with other weather."""
    write_folder(folder, weather, hives=("A", "B", "C"))
    for name in ("A.csv", "B.csv", "C.csv", "work.csv"):
        (folder / name).write_bytes((yard / name).read_bytes())
    return folder


def weather_of(yard):
    return pd.read_csv(yard / "weather.csv", index_col=0, parse_dates=True)


def width(kilograms):
    return (kilograms.parts["q90"] - kilograms.parts["q10"]).drop("rain")


def test_a_hole_of_months_is_said_and_widens(yard, found, tmp_path):
    """What the hole hid of the rain's own doubt is not known; every other part is wider."""
    weather = weather_of(yard)
    weather.loc["2023-05-10":"2023-06-20"] = np.nan
    holed = pipeline.explain(copied(yard, tmp_path / "holed", weather), season="2023")
    text = " ".join(season_text(holed).split())
    assert "days of weather are missing" in text
    assert "days like those of other years, with wider intervals" in text
    assert "too much of its weather is missing to say what set it apart" in answer(holed)
    assert "wet soil" not in text  # of a soil on which no rain was seen for weeks nothing is known
    assert np.isfinite(holed.kilograms.parts[["kg", "q10", "q90"]]).all(axis=None)
    assert (width(holed.kilograms) > width(found.kilograms)).all()


def test_comb_that_ran_out_is_not_laid_to_the_weather(found):
    """Two thirds of the flow of 2024 without room: told as such, the parts stay near those with room."""
    record = found.record
    season = explain_record(record, *pd.to_datetime(["2024-01-01", "2024-12-31"]))
    full = (record.spans.index >= "2024-06-11") & (record.spans.index <= "2024-06-30")
    low = record.spans["gain_kg"].mask(full, record.spans["gain_kg"].clip(upper=0.0))
    lost, sums = float((record.spans["gain_kg"] - low).sum()), {}
    for name, gain, bound in (
        ("room", record.spans["gain_kg"], False),
        ("told", low, full),
        ("not told", low, False),
    ):
        spans = record.spans.assign(gain_kg=gain, lower_bound=bound)
        logged = replace(record, spans=spans)
        seen = explain_record(logged, season.first, season.last)
        sums[name] = kilograms_of(logged, seen).parts["kg"].sum()
    assert lost > 15
    assert abs(sums["told"] - sums["room"]) < 0.5 * abs(sums["not told"] - sums["room"])


def test_most_of_the_weather_gone_gives_no_kilograms(yard, tmp_path):
    weather = weather_of(yard)
    weather.loc["2023-02-01":"2023-12-31"] = np.nan
    gone = pipeline.explain(copied(yard, tmp_path / "gone", weather), season="2023")
    assert gone.kilograms is None
    assert "not reckoned: too much of its weather is missing" in " ".join(season_text(gone).split())


def test_holes_of_other_years_take_no_days_away(yard, found, tmp_path):
    """A month missing in each of nine years, another every time: the rain of June stays."""
    weather = weather_of(yard)
    for year, month in zip(range(2013, 2022), range(3, 12), strict=True):
        weather.loc[f"{year}-{month:02d}"] = np.nan
    holed = pipeline.explain(copied(yard, tmp_path / "holes", weather), season="2023")
    kg = (holed.kilograms.parts["kg"]["rain"], found.kilograms.parts["kg"]["rain"])
    assert kg[0] == pytest.approx(kg[1], rel=0.15)


@pytest.mark.parametrize(
    "asked",
    [
        {"first": "2023-12-01", "last": "2023-12-31"},
        {"season": "2024", "as_of": "2024-01-20"},
    ],
    ids=["winter", "running"],
)
def test_a_time_without_flight_has_no_kilograms(yard, asked):
    winter = pipeline.explain(yard, **asked)
    assert winter.kilograms is None
    assert "bees do not fly at this time of the year" in " ".join(season_text(winter).split())


def test_swapping_hemispheres_swaps_nothing_else(yard, tmp_path):
    """The same yard half a year later at the other end of the meridian; leap days shift it a little."""
    later, clock = pd.Timedelta(days=182), 'timezone = "Etc/GMT-1"\n'  # no summer time
    weather = weather_of(yard)
    weather.index = weather.index + later
    south = write_folder(
        tmp_path / "south",
        weather,
        hives=("A",),
        latitude=-48.6,
        more=clock + FORAGE.replace("06-05", "12-04").replace("07-05", "01-03"),
    )
    log = pd.read_csv(yard / "A.csv", parse_dates=["time"])
    north = write_folder(tmp_path / "north", weather_of(yard), hives=("A",), more=clock + FORAGE)
    log.to_csv(north / "A.csv", index=False)
    log.assign(time=log["time"] + later).to_csv(south / "A.csv", index=False)
    span = [pd.Timestamp("2023-04-01"), pd.Timestamp("2023-09-30")]
    one = pipeline.explain(north, first=span[0], last=span[1]).kilograms
    two = pipeline.explain(south, first=span[0] + later, last=span[1] + later).kilograms
    assert one.parts["kg"].idxmin() == two.parts["kg"].idxmin() == "rain"
    for column, share in {"kg": 0.0, "q10": 0.03, "q90": 0.03}.items():  # bounds of some 20 kg
        near = pytest.approx(one.parts[column].to_numpy(), abs=0.3, rel=share)
        assert two.parts[column].to_numpy() == near
    assert two.more_kg == pytest.approx(one.more_kg, abs=0.1)


def said_of(found, rows, *, water=0, side=-1, rest=0.0):
    """The answer for parts as given, (kg, q10, q90) a driver; all others nothing."""
    k = found.kilograms
    parts = k.parts.assign(kg=0.0, q10=-0.5, q90=0.5, first=pd.NaT, last=pd.NaT)
    for driver, values in rows.items():
        parts.loc[driver, ["kg", "q10", "q90"]] = values
    flight = k.flight.copy()
    flight[["kg", "q10", "q90"]] = rows.get("flight", (0.0, -0.5, 0.5))
    flight[["first", "last"]] = pd.NaT
    told = replace(
        k,
        parts=parts.drop(index="flight", errors="ignore"),
        flight=flight,
        water=water,
        rest_kg=rest,
    )
    return replace(found, kilograms=told, season=replace(found.season, gain_side=side))


@pytest.mark.parametrize(
    "kg, water, words",
    [
        (-8.0, -1, "Too little water for the flowers cost about 8.0 kg a hive (4.0 to 12)"),
        (-8.0, 1, "Too much water for the flowers cost about"),
        (-8.0, 0, "The way water came to the flowers cost about"),
        (8.0, 1, "ood water for the flowers brought about"),
        (8.0, -1, "dry time, good for the flowers, brought about"),
        (8.0, 0, "he way water came to the flowers brought about"),
    ],
)
def test_water_is_called_by_what_there_was_of_it(found, kg, water, words):
    row = (kg, min(0.5 * kg, 1.5 * kg), max(0.5 * kg, 1.5 * kg))
    assert words in answer(said_of(found, {"soil": row}, water=water))


def test_no_part_is_claimed_that_touches_nothing(found):
    # As printed, to one decimal: 0.04 kg is 0.
    for q90 in (-0.04, 0.0, 0.3):
        said = answer(said_of(found, {"rain": (-6.0, -12.0, q90)}))
        assert "cost" not in said
    assert "Rain in hours of flight cost" in answer(said_of(found, {"rain": (-6.0, -11.9, -0.1)}))


def test_a_gift_in_a_poor_season_is_no_reason_for_it(found):
    said = answer(said_of(found, {"soil": (8.0, 4.0, 12.0)}, water=1))
    assert said.startswith("The middle hive gained 9.0 kg less than")
    assert ", though good water for the flowers brought about 8.0 kg" in said


def test_what_may_have_cost_as_much_is_not_ruled_out(found):
    quiet = replace(found.season, reasons=())
    told = said_of(replace(found, season=quiet), {"soil": (-4.0, -12.0, 4.0)})
    assert "water for the flowers may be behind it" in answer(told)
    assert "look for a reason elsewhere" in answer(
        said_of(replace(found, season=quiet), {"soil": (-0.4, -1.0, 0.2)})
    )


def test_what_may_have_cost_most_heeds_the_doubt(found):
    """The rain's part is the lower one, but the water may well have cost more: 6.6 kg in the mean, not 5.2."""
    season = replace(found.season, reasons=())
    parts = {"rain": (-5.0, -11.0, 1.0), "soil": (-2.0, -20.0, 16.0)}
    said = answer(said_of(replace(found, season=season), parts))
    assert "water for the flowers may be behind it" in said


def test_the_rest_is_said(found):
    text = " ".join(sentences(said_of(found, {}, rest=-7.0)))
    assert "Not explained: 7.0 kg less than these parts come to" in text


def test_only_the_days_that_were_judged_are_called_usual(found):
    """Where bloom is stated only it is judged: what was parched after it is not called usual."""
    quiet = replace(found, season=replace(found.season, reasons=()), kilograms=None)
    assert "in bloom the hours of flight lost, the water in the soil" in answer(quiet)
    anywhere = replace(quiet, season=replace(quiet.season, bloom_hours=None))
    assert "nothing in its hours of flight, the water in the soil" in answer(anywhere)
