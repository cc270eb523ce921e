"""The yard folder: what a keeper writes is read whole, and what is wrong is said with its line."""

import numpy as np
import pandas as pd
import pytest

from flowcast.errors import InputError
from flowcast.yard import read_yard
from flowcast.yard.start import plant_from_words, write_new_yard, yard_text

HIVE = '\n[[hive]]\nname = "H1"\n'


def test_place_is_looked_up_from_the_coordinates(write_yard):
    # 48.6 N, 15.3 E lies in Lower Austria (any atlas).
    place = read_yard(write_yard()).place
    assert place.timezone == "Europe/Vienna"
    assert place.season_start == (1, 1)


def test_southern_season_starts_in_july(tmp_path):
    # Design: from midwinter to midwinter. 28.6 S, 153.3 E is inland New South Wales.
    text = yard_text(folder="x", name="South", latitude=-28.6, longitude=153.3)
    write_new_yard(tmp_path / "y", text)
    place = read_yard(tmp_path / "y").place
    assert place.season_start == (7, 1)
    assert place.timezone == "Australia/Sydney"


@pytest.mark.parametrize(
    "more, line, says",
    [
        ("flow_day = 1", 6, "unknown key 'yard.flow_day'. Did you mean 'flow_day_kg'"),
        ('units = "stone"', 6, "units"),
        ('season_start = "13-45"', 6, "month and day"),
        ('timezone = "Europe/Atlantis"', 6, "no time zone"),
        (HIVE + HIVE, 11, "two hives are called 'H1'"),
        (HIVE + "frames = 3", 9, "unknown key 'hive.frames'"),
        (HIVE + 'scale = { file = "a.csv", unit = "stone" }', 9, "'kg', 'lb' or 'g'"),
        (HIVE + "from = 2024-05-01\nto = 2023-05-01", 9, "leaves before it comes"),
        ('[[forage]]\nname = "lime"\nfrom = "06-31"\nto = "07-02"', 8, "month and day"),
        ("[beetles]\npresent = true", 6, "Did you mean 'beetle'"),
        (HIVE + 'scale = { file = "a.csv", unit = "lb", clock = "BST" }', 9, "hive.scale.clock ="),
        (
            HIVE + 'scale = [{ file = "a.csv", units = "lb" }]',
            9,
            "'hive.scale.units'. Did you mean",
        ),
    ],
)
def test_what_is_wrong_is_said_with_line_and_cure(write_yard, more, line, says):
    with pytest.raises(InputError) as caught:
        read_yard(write_yard(more))
    message = str(caught.value)
    assert says in message
    assert f"yard.toml, line {line}" in message
    assert "\n" not in message


def test_a_misspelt_key_is_named_and_not_the_one_it_should_have_been(tmp_path):
    text = yard_text(folder="x", name="R", latitude=48.6, longitude=15.3)
    (tmp_path / "yard.toml").write_text(text.replace("latitude", "latitud", 1), encoding="utf-8")
    with pytest.raises(InputError, match=r"'yard\.latitud'\. Did you mean 'latitude'"):
        read_yard(tmp_path)


def test_broken_toml_names_the_line(write_yard):
    with pytest.raises(InputError, match="line 7"):
        read_yard(write_yard("\nunits = kg"))


def test_number_override_must_exist(write_yard):
    with pytest.raises(InputError, match=r"Did you mean 'foraging\.day_h'"):
        read_yard(write_yard('[numbers]\n"foraging.dayh" = 5'))


@pytest.mark.parametrize("form", ['"flow.flow_day_kg" = 0.7', "flow.flow_day_kg = 0.7"])
def test_number_override_written_flat_or_as_a_table(write_yard, form):
    assert read_yard(write_yard(f"[numbers]\n{form}")).numbers["flow.flow_day_kg"] == 0.7


def test_coordinates_in_the_sea(tmp_path):
    text = yard_text(folder="x", name="Sea", latitude=40.0, longitude=-40.0)
    write_new_yard(tmp_path, text)
    with pytest.raises(InputError, match="lie in the sea"):
        read_yard(tmp_path)


def test_swapped_coordinates_are_called_so(tmp_path):
    # 36.8 N, 3.0 E is Algiers; changed round (3.0 N, 36.8 E) is Kenya, land too, so take Perth:
    # -31.9, 115.9 changed round has no such latitude.
    with pytest.raises(InputError, match="swapped"):
        write_new_yard(tmp_path, yard_text(folder="x", name="S", latitude=115.9, longitude=-31.9))
    assert list(tmp_path.iterdir()) == []


def test_swapped_into_the_sea_is_guessed(tmp_path):
    # Lima, 12.0 S 77.0 W; changed round would be beyond 66.6 S. Dakar, 14.7 N 17.4 W; changed
    # round, 17.4 S 14.7 E is land. Written the wrong way for Reykjavik 64.1 N 21.9 W: 21.9 S 64.1 E is sea.
    write_new_yard(tmp_path, yard_text(folder="x", name="R", latitude=-21.9, longitude=64.1))
    with pytest.raises(InputError, match="changed round they lie on land"):
        read_yard(tmp_path)


def test_no_folder_and_no_file(tmp_path):
    with pytest.raises(InputError, match="no such folder"):
        read_yard(tmp_path / "nowhere")
    with pytest.raises(InputError, match=r"no yard\.toml .*flowcast new .+"):
        read_yard(tmp_path)
    (tmp_path / "notes.txt").write_text("")
    with pytest.raises(InputError, match="Name the folder that holds it"):
        read_yard(tmp_path / "notes.txt")


WORK = """date;hive;what;kg;note
2024-05-03 10:30;H1;super on;4,2;second
2024-05-01;H1;feed;3;syrup 2:1
10.06.2024;H1;honey off;;
"""


def test_work_is_read_in_local_time_and_order(write_yard):
    work = read_yard(write_yard(HIVE, files={"work.csv": WORK})).work
    assert list(work["what"]) == ["feed", "super on", "honey off"]
    # Vienna is UTC+2 in May (EU summer time): 10:30 local is 08:30 UTC.
    assert work["time"][1] == pd.Timestamp("2024-05-03 08:30", tz="UTC")
    assert list(work["timed"]) == [False, True, False]
    assert work["kg"][1] == pytest.approx(4.2, abs=1e-12)
    assert np.isnan(work["kg"][2])


def test_a_missing_key_says_what_may_be_written(write_yard):
    """An error names file, line and cure: the rule of this project."""
    scale = '[[hive]]\nname = "H"\nscale = { file = "h.csv" }\n'
    cure = r"yard\.toml, line \d+: 'hive\.scale\.unit' is missing\. Add it: one of \"kg\", \"lb\", \"g\"\."
    with pytest.raises(InputError, match=cure):
        read_yard(write_yard(scale))
    with pytest.raises(InputError, match=r"'hive\.name' is missing\. Add it\."):
        read_yard(write_yard("[[hive]]\nclipped_queen = true\n"))


@pytest.mark.parametrize(
    "row, says",
    [
        ("2024-05-03,H9,feed,3,", "hive is 'H9', which is not known. Known: H1"),
        ("2024-05-03,all,treated,,", "Known: H1. Write a line for each hive."),
        ("2024-05-03,,treated,,", "hive is empty. Write one of: H1."),
        ("2024-05-03,H1,fed,3,", "what is 'fed'"),
        ("2024-13-03,H1,feed,3,", "is no date"),
        ("2024-05-03,H1,feed,three,", "no number"),
        ("2024-05-03,H1,honey off,-9,", "cannot be negative"),
        ("2024-05-03,H1,honey off,12,5,second", "more cells than the header"),
        ("1924-05-03 10:00,H1,feed,3,", "is no date"),
    ],
)
def test_bad_work_line_is_named(write_yard, row, says):
    yard = write_yard(HIVE, files={"work.csv": f"date,hive,what,kg,note\n{row}\n"})
    with pytest.raises(InputError, match="line 2") as caught:
        read_yard(yard)
    assert says in str(caught.value)


def test_every_bad_line_is_named_at_once(write_yard):
    text = "date,hive,what,kg\n2024-05-03,H1,fed,3\n2024-05-04,H1,feed,3\n2024-05-05,H1,gone,\n"
    with pytest.raises(InputError) as caught:
        read_yard(write_yard(HIVE, files={"work.csv": text}))
    assert [line[:16] for line in str(caught.value).splitlines()] == [
        "work.csv, line 2",
        "work.csv, line 4",
    ]


def test_a_column_of_pounds_is_read_as_kilograms(write_yard):
    # One pound is 0.45359237 kg exactly (international yard and pound agreement, 1959; from memory).
    text = "date,hive,what,lb\n2024-05-03,H1,feed,10\n2024-05-04,H1,super on,\n"
    work = read_yard(write_yard(HIVE, files={"work.csv": text})).work
    assert work["kg"][0] == pytest.approx(4.5359237, abs=1e-9)
    assert np.isnan(work["kg"][1])
    both = "date,hive,what,kg,lb\n2024-05-03,H1,feed,4,10\n"
    with pytest.raises(InputError, match="line 2: a weight in kg and one in lb"):
        read_yard(write_yard(HIVE, files={"work.csv": both}))


SLASHED = "date,hive,what\n05/13/2024,H1,inspected\n06/03/2024 14:30,H1,feed\n"


def test_dates_with_slashes_are_told_from_the_file(write_yard):
    # 13 is no month, so the month comes first; Vienna is UTC+2 in June.
    work = read_yard(write_yard(HIVE, files={"work.csv": SLASHED})).work
    assert work["time"][0].date() == pd.Timestamp("2024-05-13").date()
    assert work["time"][1] == pd.Timestamp("2024-06-03 12:30", tz="UTC")
    assert list(work["timed"]) == [False, True]


def test_dates_that_may_be_either_follow_the_keepers_other_tables_or_are_refused(write_yard):
    bloom = "date,plant,stage\n06/03/2024,lime,first\n"
    with pytest.raises(InputError, match=r"bloom\.csv: '06/03/2024' may be read .* Write dates as"):
        read_yard(write_yard(HIVE, files={"bloom.csv": bloom}))
    yard = read_yard(write_yard(HIVE, files={"bloom.csv": bloom, "work.csv": SLASHED}))
    assert yard.bloom["date"][0] == pd.Timestamp("2024-06-03")


def test_beetles_and_bloom(write_yard):
    yard = read_yard(
        write_yard(
            HIVE,
            files={
                "bloom.csv": "date,plant,stage\n2024-05-01,lime,first\n",
                "beetles.csv": "date,hive,days,beetles,larvae,trap,frames_of_bees,queenright\n2024-05-01,H1,14,33,no,oil tray,8,yes\n",
            },
        )
    )
    assert yard.bloom["stage"][0] == "first"
    assert yard.beetles["beetles"][0] == 33
    assert not yard.beetles["larvae"][0]


def test_new_yard_is_read_back_and_never_written_over(tmp_path):
    text = yard_text(
        folder="y",
        name='He said "hi"\\ <b>',
        latitude=48.6,
        longitude=15.3,
        elevation_m=301,
        hives=["green", "blue"],
        plants=[plant_from_words("lime tree 06-10 07-01 heavy")],
    )
    path = write_new_yard(tmp_path / "y", text)
    yard = read_yard(tmp_path / "y")
    assert yard.name == 'He said "hi"\\ <b>'
    assert [h.name for h in yard.hives] == ["green", "blue"]
    assert yard.forage[0].strength == "heavy"
    with pytest.raises(InputError, match="left as it is"):
        write_new_yard(tmp_path / "y", text + "# more\n")
    assert path.read_text("utf-8") == text


@pytest.mark.parametrize("words", ["lime", "lime 06-10", "lime 06-40 07-01", "06-10 07-01"])
def test_plant_in_words_needs_name_and_dates(words):
    with pytest.raises(InputError, match="first and last day"):
        plant_from_words(words)


def test_a_decimal_comma_in_yard_toml_is_named_with_its_line(tmp_path):
    text = '[yard]\nname = "A"\nlatitude = 48,6\nlongitude = 15.3\n'
    (tmp_path / "yard.toml").write_text(text, "utf-8")
    with pytest.raises(InputError, match=r"Line 3: numbers take a point here, 48\.6\."):
        read_yard(tmp_path)
