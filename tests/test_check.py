"""What check tells of slips in a keeper's files, so that they can be mended. All invented."""

import pandas as pd
import pytest
from conftest import plain_weather

from flowcast import pipeline
from flowcast.report import screen

YARD = """
[[hive]]
name = "A"
scale = { file = "a.csv", time = "date", weight = "lb", unit = "lb" }

[[forage]]
name = "Lime"
from = "06-10"
to = "07-05"
strength = "heavy"
follows = "warmth"
"""


@pytest.fixture
def checked(write_yard):
    """check of a yard weighed by hand each fortnight, with three slips of the pen."""
    days = [f"2023-{month:02d}-{day:02d}" for month in range(3, 9) for day in (1, 15)]
    weights = [80 + k for k in range(len(days))]
    weights[6] *= 10  # a decimal point left out: 2023-06-01
    log = "".join(f"{day},{lb}.0\n" for day, lb in zip(days, weights, strict=True))
    files = {
        "a.csv": f"date,lb\n{log}2199-09-01,92.0\n",
        "bloom.csv": "date,plant,stage\n2023-06-12,LIME,first\n2023-05-01,hawthorn,full\n",
        "weather.csv": plain_weather("2021-01-01", "2023-12-31").to_csv().encode(),
    }
    found = pipeline.check(write_yard(YARD, files=files))
    return " ".join(screen.check_text(found).split())


def test_a_weighing_that_cannot_be_is_named_with_its_date(checked):
    # 860 lb at 0.45359237 kg each (international pound, 1959; from memory) are 390 kg.
    assert "A, 1 June 2023: 390 kg is far from the weighings on either side" in checked


def test_work_that_the_weight_does_not_show_is_named_with_its_date(write_yard):
    """A harvest under the wrong date or hive is mended only by who knows which: common practice."""
    hours = pd.date_range("2023-05-01", "2023-06-30", freq="h", tz="UTC")
    log = pd.DataFrame({"date": hours.strftime("%Y-%m-%d %H:%M"), "lb": 100.0})
    log.loc[hours >= "2023-06-10 09:00", "lb"] = 80.0
    files = {
        "a.csv": log.to_csv(index=False),
        "work.csv": "date,hive,what,kg\n2023-06-10,A,honey off,9\n2023-05-20,A,honey off,12\n",
        "weather.csv": plain_weather("2021-01-01", "2023-12-31").to_csv().encode(),
    }
    said = " ".join(screen.check_text(pipeline.check(write_yard(YARD, files=files))).split())
    assert "A, 20 May 2023: honey off, by work.csv, but the weight does not jump then." in said
    assert "A, 10 June 2023" not in said


def test_a_day_still_to_come_is_named(checked):
    assert "a.csv: 1 line is of a day still to come (1 September 2199)" in checked


def test_plants_that_yard_toml_does_not_name_are_named(checked):
    assert "the notes on hawthorn:" in checked
    assert "LIME" not in checked


@pytest.mark.parametrize("latitude, told", [(-25.5, True), (48.6, False)])
def test_a_latitude_without_its_minus_is_named(write_yard, latitude, told):
    # The weather has its summer in the north, the first place lies in the south; common knowledge.
    files = {"weather.csv": plain_weather("2021-01-01", "2023-12-31").to_csv().encode()}
    found = pipeline.check(write_yard(latitude=latitude, files=files))
    said = " ".join(screen.check_text(found).split())
    assert ("weather.csv: its warm months are the winter of this place" in said) == told
    if told:  # what takes all figures their worth comes before any of them, and once
        assert said.index("no figure here can be trusted") < said.index("Place")
        assert said.count("no figure here can be trusted") == 1


def test_a_log_of_less_than_a_season_is_told_as_missing(checked):
    """Weighed from 1 March to 15 August, 167 days, less than the year of 366: hand-worked."""
    assert "Less than a season of gains in all" in checked
