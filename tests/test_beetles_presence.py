"""Where the beetle lives, as a dated hint from the map, and what follows for a yard."""

import json
import re

import pytest
from conftest import plain_weather

from flowcast import pipeline
from flowcast.beetle import presence_at
from flowcast.report.data import beetles_data
from flowcast.report.screen import beetles_text

COUNTED = "date,hive,days,beetles,larvae,trap,frames_of_bees,queenright\n"

# Published statements, with their dates in where.toml.


@pytest.mark.parametrize(
    "latitude, longitude, hint",
    [
        (51.5, -1.2, "not known"),  # UK: government statement, April 2021, READ
        (-37.5, 175.5, "not known"),  # New Zealand: official surveillance, READ
        (-42.5, 147.0, "not known"),  # Tasmania: Australian bee biosecurity page, READ
        (-12.7, 131.1, "not known"),  # Northern Territory: the same
        (-32.0, 116.2, "not known"),  # southern Western Australia: the same
        (-27.5, 152.8, "established"),  # Queensland: the same
        (48.6, 15.3, "not known"),  # Austria: Europe beyond southern Italy, the UK statement
        (45.2, 11.0, "not known"),  # northern Italy: the same
        (38.6, 16.2, "in places"),  # Calabria, since 2014, READ
        (37.4, 14.9, "in places"),  # Sicily, 2014 and 2019, READ
        (30.6, -91.1, "established"),  # Louisiana, READ
        (45.1, -73.3, "in places"),  # southern Quebec border, READ
        (14.2, 121.2, "established"),  # Philippines 2014, READ
        (-26.0, 28.3, "established"),  # native south of the Sahara, READ
        (35.7, 139.5, "unsure"),  # Japan: no statement seen
    ],
)
def test_the_hint_of_the_map(latitude, longitude, hint):
    found = presence_at(latitude, longitude, "unknown")
    assert found.hint == hint
    assert bool(found.source) == (hint != "unsure")


def test_every_area_names_its_source_and_mark():
    from flowcast.beetle.presence import _areas

    for area in _areas():
        assert area["status"] in ("established", "in places", "not known", "unsure")
        assert re.search(r"READ|MEMORY|no statement", area["source"]), area["name"]


# The keeper's word goes before the map


def test_who_is_kept_out():
    uk, gulf = (51.5, -1.2), (30.6, -91.1)
    assert presence_at(*uk, "unknown").kept_out
    assert not presence_at(*uk, True).kept_out
    assert presence_at(*gulf, False).kept_out
    assert not presence_at(*gulf, "unknown").kept_out
    assert not presence_at(*gulf, "unknown").lives_here
    assert presence_at(*gulf, True).lives_here


def yard_with(write_yard, present, latitude=48.6, longitude=None, rows=""):
    word = {True: "true", False: "false"}.get(present, '"unknown"')
    folder = write_yard(
        f'[[hive]]\nname = "H1"\nframes_of_bees = 9\n[beetle]\npresent = {word}\n',
        latitude=latitude,
    )
    if longitude is not None:
        text = (folder / "yard.toml").read_text("utf-8").replace("15.3", str(longitude))
        (folder / "yard.toml").write_text(text, "utf-8")
    noon = 13 if longitude is None else round(12 - longitude / 15)
    weather = plain_weather("2021-01-01", latitude=latitude, noon=noon)
    weather["temp_c"] += 8
    weather.to_csv(folder / "weather.csv")
    (folder / "beetles.csv").write_text(COUNTED + rows, "utf-8")
    return folder


ROW = "2024-08-01,H1,14,33,no,oil tray,9,yes\n"


@pytest.mark.parametrize("present", ["unknown", False])
def test_where_it_is_not_known_no_season_is_shown(write_yard, present):
    """No bands, only what to look for and whom to tell; the counts are spoken of and not judged."""
    found = pipeline.beetles(yard_with(write_yard, present, rows=ROW), as_of="2024-08-15")
    assert found.outlook is None
    assert not found.readings
    text = " ".join(beetles_text(found).split())
    assert "Report any suspected beetle at once; do not move hives." in text
    assert "report them at once" in text
    assert not re.search(r"\bin 10\b|ordinary|breeding weather", text)
    data = beetles_data(found)
    assert data["ahead"] is None
    assert data["suitability"] is None
    json.dumps(data, allow_nan=False)


def test_where_nobody_says_the_climate_is_shown_and_the_keeper_asked(write_yard):
    folder = yard_with(write_yard, "unknown", latitude=33.0, longitude=-86.0, rows=ROW)
    found = pipeline.beetles(folder, as_of="2024-08-15")
    text = " ".join(beetles_text(found).split())
    assert "Do small hive beetles live here?" in text
    assert "established in the United States" in text
    assert "says nothing of whether they do" in text
    assert "Not judged" in text
    assert "rdinary for" not in text
    data = beetles_data(found)
    assert data["ahead"] is None
    assert data["suitability"]["generations_usual"]["q50"] >= 1
    assert data["counts"][0]["verdict"] == "not judged"
    assert data["counts"][0]["expected"] is None


def test_larvae_are_an_alarm_even_where_nobody_says(write_yard):
    rows = ROW.replace("33,no", "0,yes")
    folder = yard_with(write_yard, "unknown", latitude=33.0, longitude=-86.0, rows=rows)
    found = pipeline.beetles(folder, as_of="2024-08-15")
    assert "act now, whatever the counts" in beetles_text(found)


def test_larvae_where_none_are_known_lead_to_a_report(write_yard):
    rows = ROW.replace("33,no", "0,yes")
    found = pipeline.beetles(yard_with(write_yard, False, rows=rows), as_of="2024-08-15")
    text = " ".join(beetles_text(found).split())
    assert "Beetle larvae were seen in H1" in text
    assert text.index("report them at once") < text.index("wax moth larvae web")
    assert "act now" not in text  # what is done is for the authority to say


def test_a_word_against_the_list_is_asked_again(write_yard):
    folder = yard_with(write_yard, False, latitude=33.0, longitude=-86.0)
    text = " ".join(beetles_text(pipeline.beetles(folder, as_of="2024-08-15")).split())
    assert "You say no beetles live here; by our list they are established" in text


def test_where_nobody_says_no_comfort_is_given(write_yard):
    folder = yard_with(write_yard, "unknown", latitude=33.0, longitude=-86.0)
    text = " ".join(beetles_text(pipeline.beetles(folder, as_of="2024-08-15")).split())
    assert "nothing need be done" not in text
    assert "report any suspected one at once and do not move hives" in text
    assert "READ" not in text


def test_a_keeper_who_has_them_where_none_are_known_is_told_to_report(write_yard):
    found = pipeline.beetles(yard_with(write_yard, True, rows=ROW), as_of="2024-08-15")
    assert found.outlook is not None
    assert "Report any suspected beetle at once" in " ".join(beetles_text(found).split())
