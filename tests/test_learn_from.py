"""A yard that learns from another: what yard.toml may say, what is said of it, nothing from later."""

import json

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from test_pipeline import FORAGE, HIVE, ISSUE, hive_weights

from flowcast import pipeline
from flowcast.errors import InputError
from flowcast.flow.kin import SHARED
from flowcast.report.basis import basis
from flowcast.report.data import outlook_data
from flowcast.yard import read_yard

# By the haversine formula 0.036 degrees of latitude are 4.0 km.
HEAD = '[yard]\nname = "{name} (invented)"\nlatitude = {latitude}\nlongitude = 15.3\nelevation_m = {height}\n'
SKY = plain_weather("2022-01-01")


def make_yard(folder, name, *, learn_from=(), log=True, latitude=48.6, height=300, more="", seed=3):
    """A yard with plain weather of its own; its hive gains a kilogram a day in each June."""
    folder.mkdir(parents=True)
    text = HEAD.format(name=name, latitude=latitude, height=height)
    text += f"learn_from = {json.dumps(list(learn_from))}\n" if learn_from else ""
    text += FORAGE + (HIVE.format(name="A") if log else "") + more
    (folder / "yard.toml").write_text(text, "utf-8")
    sky = SKY.assign(temp_c=(SKY["temp_c"] - (height - 300) * 0.0065 + 0.1 * seed).round(1))
    sky.to_csv(folder / "weather.csv")
    if log:
        hive_weights("2023-03-01", "2024-12-31", seed=seed).to_csv(folder / "A.csv", index=False)
    return folder


def make_hill(folder, learn_from=(), more=""):
    """The yard without a log, 4 km off and 100 m up."""
    others = [str(one) for one in learn_from]
    up_there = {"latitude": 48.636, "height": 400}
    return make_yard(folder, "Hill", learn_from=others, log=False, more=more, **up_there)


@pytest.fixture(scope="module")
def yards(tmp_path_factory):
    """creek has a log and learns from hill, which has none and learns from creek; far is far away."""
    root = tmp_path_factory.mktemp("yards")
    make_yard(root / "creek", "Creek", learn_from=["../mill"])
    make_yard(root / "mill", "Mill", latitude=48.62, learn_from=["../creek"], seed=6)
    make_yard(root / "far", "Far", latitude=44.0)
    made = {
        "hill": ["../creek"],
        "both": ["../creek", "../mill"],
        "turned": ["../mill", "../creek"],
    }
    for name, others in made.items():
        make_hill(root / name, others)
    make_hill(root / "alone")
    return root


def outlook(folder, as_of=ISSUE):
    return pipeline.outlook(folder, as_of=as_of, scenarios=200)


def figures(found) -> str:
    """All that is forecast; not what is said about it."""
    data = outlook_data(found)
    return json.dumps([data[key] for key in ("daily", "total", "weekly", "flow_window", "scales")])


@pytest.fixture(scope="module")
def hill(yards):
    return outlook(yards / "hill")


@pytest.fixture(scope="module")
def alone(yards):
    return outlook(yards / "alone")


def copied(yards, target, name, **changed):
    """The yard hill and its neighbour in another folder, files of the neighbour changed."""
    for part in ("hill", "creek", "mill"):
        (target / part).mkdir()
        for file in (yards / part).iterdir():
            (target / part / file.name).write_bytes(file.read_bytes())
    for file, content in changed.items():
        path = target / name / file.replace("_", ".")
        path.write_text(content, "utf-8")
    return target


# What yard.toml may say


@pytest.mark.parametrize(
    "value, says",
    [
        ('["../nowhere"]', "'../nowhere': no such folder"),
        ('["."]', "'.': this is the yard itself"),
        ('["empty"]', "'empty': no yard.toml in it"),
        ('["bare"]', "'bare': no hive of that yard has a scale log"),
        ('"../creek"', "must be a valid list"),
    ],
)
def test_what_cannot_be_meant_is_said_with_line_and_cure(write_yard, value, says):
    folder = write_yard(f"learn_from = {value}")
    (folder / "empty").mkdir()
    make_yard(folder / "bare", "Bare", log=False)
    with pytest.raises(InputError) as caught:
        read_yard(folder)
    message = str(caught.value)
    assert "yard.toml, line 6" in message and says in message and "\n" not in message


def test_a_folder_named_twice_counts_once_and_circles_do_no_harm(yards):
    assert len(read_yard(yards / "both").learn_from) == 2
    assert read_yard(yards / "creek").learn_from == (yards.resolve() / "mill",)
    assert read_yard(yards / "creek", alone=True).learn_from == ()
    found = outlook(yards / "creek")
    assert [other.yard for other in found.learned_from] == ["Mill (invented)"]


# What is said of it


def test_the_outlook_says_what_it_learned_from(hill, alone):
    # 0.036 degrees of latitude are 4.0 km; 100 m lower; gains since March 2023: 1.3 seasons.
    line = next(line for line in basis(hill) if "Creek" in line)
    assert "4 km away and 100 m lower: 1.3 seasons" in line
    told = outlook_data(hill)["learned_from"]
    assert [set(one) for one in told] == [{"yard", "seasons", "distance_km", "height_m"}]
    assert told[0]["distance_km"] == pytest.approx(4.0, abs=0.01)
    assert outlook_data(alone)["learned_from"] == []
    assert hill.model.seasons == 0


def _noted(found, words):
    return [str(note) for note in found.record.notes if words in str(note)]


def test_a_yard_too_far_away_is_left_out_and_told_of(yards, tmp_path, alone):
    found = outlook(make_hill(tmp_path / "x", [yards / "far"]))
    assert figures(found) == figures(alone)
    assert "515 km away" in _noted(found, "Far (invented)")[0]  # 4.636 degrees of 111.19 km


@pytest.mark.parametrize(
    "changed, why",
    [
        ({"yard_toml": "[yard]\nname = 3\n"}, "yard.toml, line 2"),
        ({"A_csv": "time,kg\nnever,40\n"}, "A.csv"),
        ({"weather_csv": "time_utc,temp_c\n"}, "weather.csv"),
    ],
)
def test_another_yard_that_cannot_be_read_is_told_of_and_stops_nothing(
    yards, tmp_path, alone, changed, why
):
    copied(yards, tmp_path, "creek", **changed)
    found = outlook(tmp_path / "hill")
    assert figures(found) == figures(alone)
    told = _noted(found, "named in learn_from")
    assert len(told) == 1 and why in told[0] and "goes on without it" in told[0]


def test_another_yard_without_weather_offline_is_told_of_and_stops_nothing(yards, tmp_path, alone):
    copied(yards, tmp_path, "creek")
    (tmp_path / "creek" / "weather.csv").unlink()
    found = outlook(tmp_path / "hill")
    assert figures(found) == figures(alone)
    assert "offline" in _noted(found, "named in learn_from")[0]


def test_another_yard_with_nothing_weighed_yet_is_told_of(yards):
    found = outlook(yards / "hill", as_of="2023-02-20")
    assert "no gains before this date" in _noted(found, "named in learn_from")[0]
    assert found.learned_from == ()


# Properties


def test_yards_that_share_nothing_give_the_bytes_of_a_yard_alone(yards, tmp_path, alone):
    zero = "\n[numbers.flow]\n" + "".join(
        f"share_{name} = 0\n" for name in (*SHARED, "plant", "plant_year")
    )
    found = outlook(make_hill(tmp_path / "x", [yards / "creek"], more=zero))
    assert figures(found) == figures(alone)


def test_the_order_of_names_makes_no_odds(yards):
    one, other = (outlook(yards / name) for name in ("both", "turned"))
    assert figures(one) == figures(other)
    assert [o.yard for o in one.learned_from] == ["Mill (invented)", "Creek (invented)"]


def _scrambled(folder, cut):
    """The files of a yard with everything after the cut made nonsense of."""
    cut = pd.Timestamp(cut, tz="Europe/Vienna")
    weather = pd.read_csv(folder / "weather.csv", parse_dates=["time_utc"], index_col="time_utc")
    later = weather.index > cut
    weather.loc[later] = weather.loc[later].sample(frac=1, random_state=3).to_numpy()
    log = pd.read_csv(folder / "A.csv", parse_dates=["time"])
    after = log["time"] > cut
    log.loc[after, "kg"] = np.random.default_rng(0).uniform(5, 90, after.sum()).round(2)
    work = "date,hive,what,kg,note\n2024-09-10 09:00,A,super on,9,\n"
    bloom = "date,plant,stage\n2024-09-20,lime,full\n"
    return {
        "weather_csv": weather.to_csv(),
        "A_csv": log.to_csv(index=False),
        "work_csv": work,
        "bloom_csv": bloom,
    }


def test_nothing_from_the_issue_date_on_is_used_of_the_other_yard(yards, tmp_path, hill):
    copied(yards, tmp_path, "creek", **_scrambled(yards / "creek", ISSUE))
    assert figures(outlook(tmp_path / "hill")) == figures(hill)
    earlier = copied(
        yards, _made(tmp_path / "e"), "creek", **_scrambled(yards / "creek", "2024-06-05")
    )
    assert figures(outlook(earlier / "hill")) != figures(hill)  # so the change is one that matters


def _made(folder):
    folder.mkdir()
    return folder


def _back(folder):
    return pipeline.backtest(
        folder, every=40, scenarios=150, processes=1, first="2024-05-01", last="2024-06-10"
    )


def test_nothing_from_an_issue_date_on_is_used_of_the_other_yard_in_a_backtest(yards, tmp_path):
    found = _back(yards / "creek").forecasts
    ours = found["forecaster"] == "flowcast"
    assert set(found.loc[ours, "issue_date"]) == {pd.Timestamp("2024-05-01"), pd.Timestamp(ISSUE)}
    copied(yards, tmp_path, "mill", **_scrambled(yards / "mill", ISSUE))
    pd.testing.assert_frame_equal(_back(tmp_path / "creek").forecasts, found)
    earlier = copied(
        yards, _made(tmp_path / "e"), "mill", **_scrambled(yards / "mill", "2024-05-20")
    )
    changed = _back(earlier / "creek").forecasts
    same = (changed == found)["q50"] | found["q50"].isna()
    first = found["issue_date"] == pd.Timestamp("2024-05-01")
    assert same[first].all() and not same[~first & ours].all()


# Recovery


def test_a_yard_without_log_expects_the_flow_of_the_yard_beside_it(yards, hill, alone):
    # Creek gains a kilogram a day in June and nothing in July, while lime is stated up to 5 July.
    june, july = slice("2024-06-10", "2024-06-29"), slice("2024-07-03", "2024-07-20")
    learned, plain = (found.outlook.daily["q50"] for found in (hill, alone))
    truth = 1.3
    assert abs(learned[june].mean() - truth) < abs(plain[june].mean() - truth)
    assert learned[june].mean() - learned[july].mean() > plain[june].mean() - plain[july].mean()
    width = [f.outlook.daily["q90"] - f.outlook.daily["q10"] for f in (hill, alone)]
    assert width[0][june].mean() < width[1][june].mean()
