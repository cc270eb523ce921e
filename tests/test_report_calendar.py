"""The calendar file: RFC 5545 as another library reads it, entries that update and do not double."""

from dataclasses import replace

import pandas as pd
import pytest
import vobject
from conftest import plain_weather
from kept_yard import ISSUE, write_folder
from typer.testing import CliRunner

from flowcast import pipeline
from flowcast.cli import app
from flowcast.errors import InputError
from flowcast.messages import Say
from flowcast.report.calendar import PRODUCT, calendar_file, identifier, write_calendar
from flowcast.report.timing import _chance, calendar_rows, entries


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    return write_folder(tmp_path_factory.mktemp("y") / "yard", plain_weather())


@pytest.fixture(scope="module")
def found(yard):
    return pipeline.timing(yard, as_of=ISSUE, scenarios=100)


def read(data):
    """The file as an independent library reads it; it raises where the standard is broken."""
    calendar = vobject.readOne(data.decode("utf-8"))
    calendar.validate(raiseException=True)
    for event in calendar.vevent_list:
        event.validate(raiseException=True)
    return calendar


def test_another_library_reads_it_whole(found):
    """RFC 5545 3.6 and 3.6.1: product, version, and for each event an identifier and a stamp."""
    calendar = read(calendar_file(found))
    listed = entries(found)
    assert len(calendar.vevent_list) == len(listed) > 2
    for event, entry in zip(calendar.vevent_list, listed, strict=True):
        assert event.dtstart.value == entry.date.date()
        assert (event.dtend.value - event.dtstart.value).days == 1
        assert entry.task in event.summary.value
        assert "look into the hive first" in event.description.value
        assert event.transp.value == "TRANSPARENT"
    assert calendar.prodid.value == PRODUCT


def test_lines_are_folded_and_end_as_the_standard_asks(found):
    """RFC 5545 3.1: lines of at most 75 octets, each ended by CR LF."""
    data = calendar_file(found)
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert max(map(len, data.split(b"\r\n"))) <= 75


def test_equal_advice_gives_equal_bytes(yard, found):
    assert calendar_file(pipeline.timing(yard, as_of=ISSUE, scenarios=100)) == calendar_file(found)


def test_identifiers_are_unique_within_a_file(found):
    names = [identifier(entry, found) for entry in entries(found)]
    assert len(set(names)) == len(names)


def test_a_date_that_moves_updates_its_entry(found):
    """RFC 5545 3.8.4.7 and 3.8.7.4: the same identifier with a higher sequence replaces the older entry."""
    entry = entries(found)[0]
    moved = replace(entry, date=entry.date + pd.Timedelta(days=9))
    assert identifier(moved, found) == identifier(entry, found)
    other = replace(entry, hive="another")
    assert identifier(other, found) != identifier(entry, found)


def test_the_next_issue_has_the_same_entries_with_a_higher_sequence(yard, found):
    later = pipeline.timing(yard, as_of="2024-06-13", scenarios=100)
    old, new = (
        {e.uid.value: int(e.sequence.value) for e in read(calendar_file(t)).vevent_list}
        for t in (found, later)
    )
    both = old.keys() & new.keys()
    assert len(both) >= 2
    assert all(new[uid] == old[uid] + 3 for uid in both)


def test_the_next_season_has_entries_of_its_own(yard, found):
    entry = entries(found)[0]
    outlook = replace(found.outlook.outlook, issue_date=pd.Timestamp("2025-06-10"))
    next_year = replace(found, outlook=replace(found.outlook, outlook=outlook))
    assert identifier(entry, next_year) != identifier(entry, found)


def test_the_table_of_dates_holds_every_entry(found):
    rows = calendar_rows(found)[1:]
    whole = sum(entry.hive is None for entry in entries(found))  # said of every hive by name
    named = sum(len(row[1].split(", ")) for row in rows)
    assert whole and all(row[1] for row in rows)
    assert named == len(entries(found)) + whole * (len(found.hives) - 1)
    dates = [entry.date for entry in entries(found)]
    assert dates == sorted(dates)
    assert max(dates) <= found.issue_date + pd.Timedelta(days=90)


def test_a_row_for_hives_of_unlike_chance_gives_the_least_and_the_greatest():
    # By the meaning of a chance: of two hives at 3 and 5 in 10 "5 in 10" holds for one only.
    assert _chance([0.3, 0.52, 0.3], Say()) == "3 to 5 in 10"
    assert _chance([0.01, 0.3], Say()) == "less than 1 in 20 to 3 in 10"
    assert _chance([0.49, 0.52], Say()) == "5 in 10"
    assert _chance([1.0, 1.0], Say()) == ""


def test_the_command_writes_and_writes_again(yard, tmp_path):
    path = tmp_path / "dates.ics"
    for _ in range(2):
        done = CliRunner().invoke(app, ["timing", str(yard), "--as-of", ISSUE, "--ics", str(path)])
        assert done.exit_code == 0, done.output
        assert f"Wrote {path}." in done.stdout
    read(path.read_bytes())


@pytest.mark.parametrize(
    "content", [b"BEGIN:VCALENDAR\r\nPRODID:-//somebody//else//EN\r\n", b"my notes"]
)
def test_nobody_else_s_file_is_written_over(found, tmp_path, content):
    path = tmp_path / "mine.ics"
    path.write_bytes(content)
    with pytest.raises(InputError, match="left alone"):
        write_calendar(found, path)
    assert path.read_bytes() == content


@pytest.mark.parametrize("name", ["work.csv", "yard.toml", "dates"])
def test_a_calendar_has_its_own_ending(found, tmp_path, name):
    with pytest.raises(InputError, match=r"written as \.ics"):
        write_calendar(found, tmp_path / name)
