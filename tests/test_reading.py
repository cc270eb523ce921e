"""Text files as keepers have them: separators, decimals, clocks, encodings, half-written files."""

import gzip
import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flowcast.errors import FlowcastError, InputError, MissingColumnError, TimeIndexError
from flowcast.reading import numbers_in, read_table, stamps_in, to_utc

PLAIN = "time,weight\n2024-05-01 00:00,31.5\n2024-05-01 01:00,31.25\n"


def _write(tmp_path, content, name="a.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path


@pytest.mark.parametrize(
    "content, decimal",
    [
        (PLAIN, "."),
        (PLAIN.replace(",", ";"), "."),
        (PLAIN.replace(",", "\t"), "."),
        (PLAIN.replace(",", ";").replace(".", ","), ","),
        (PLAIN.replace(",", ";").replace(".", ","), None),
        (b"\xef\xbb\xbf" + PLAIN.encode(), "."),
        (PLAIN.encode("utf-16"), "."),
        (gzip.compress(PLAIN.encode(), mtime=0), "."),
        (PLAIN.replace("\n", "\r\n"), "."),
        (PLAIN + "\n\n", "."),
    ],
)
def test_same_numbers_whatever_the_form(tmp_path, content, decimal):
    table = read_table(_write(tmp_path, content))
    assert numbers_in(table, "weight", decimal).tolist() == [31.5, 31.25]
    index = stamps_in(table, "time", "utc", "UTC")
    assert index[1] == pd.Timestamp("2024-05-01 01:00", tz="UTC")


def test_wrong_decimal_mark_names_line_and_cure(tmp_path):
    table = read_table(_write(tmp_path, "time;w\n2024-05-01;31,500\n"))
    with pytest.raises(InputError, match=r'line 2: .*decimal = ","'):
        numbers_in(table, "w")


def test_points_and_commas_in_one_column_are_refused(tmp_path):
    table = read_table(_write(tmp_path, "time;w\n2024-05-01;31.5\n2024-05-02;31,25\n"))
    with pytest.raises(InputError, match="line 3"):
        numbers_in(table, "w")


def test_missing_column_lists_what_is_there(tmp_path):
    table = read_table(_write(tmp_path, PLAIN))
    with pytest.raises(MissingColumnError, match="The file has: time, weight"):
        table.column("kg")


def test_unreadable_stamp_names_its_line(tmp_path):
    table = read_table(_write(tmp_path, PLAIN + "yesterday,3\n"))
    with pytest.raises(TimeIndexError, match="line 4"):
        stamps_in(table, "time", "utc", "UTC")


@pytest.mark.parametrize("text", ["", "\n\n", "   "])
def test_empty_file(tmp_path, text):
    with pytest.raises(InputError, match="empty"):
        read_table(_write(tmp_path, text))


def test_last_row_cut_short_is_passed_over_and_said(tmp_path):
    table = read_table(_write(tmp_path, PLAIN + "2024-05-01 02:0"))
    assert len(table.cells) == 2
    assert "line 4 is cut short" in str(table.notes[0])


def test_half_a_packed_file_gives_its_whole_rows(tmp_path):
    rows = "".join(f"2024-05-01 {h:02d}:00,{30 + h}.5\n" for h in range(24)) * 40
    packed = gzip.compress(("time,weight\n" + rows).encode())
    table = read_table(_write(tmp_path, packed[: len(packed) * 2 // 3], "a.csv.gz"))
    assert 0 < len(table.cells) < 960
    assert "ends early" in str(table.notes[0])
    assert np.isfinite(numbers_in(table, "weight")).all()


def test_fixed_offset_and_local_clocks():
    naive = pd.DatetimeIndex(["2024-07-01 12:00"])
    assert to_utc(naive, "+10:00", "UTC")[0] == pd.Timestamp("2024-07-01 02:00", tz="UTC")
    # Prague keeps UTC+2 in July (EU summer time).
    assert to_utc(naive, "local", "Europe/Prague")[0] == pd.Timestamp("2024-07-01 10:00", tz="UTC")


def test_both_change_days_of_summer_time():
    # EU: on 31 March 2024 02:00 becomes 03:00; on 27 October 03:00 becomes 02:00.
    spring = pd.DatetimeIndex(["2024-03-31 01:00", "2024-03-31 03:00"])
    assert np.diff(to_utc(spring, "local", "Europe/Prague"))[0] == np.timedelta64(1, "h")
    autumn = pd.DatetimeIndex(
        ["2024-10-27 01:00", "2024-10-27 02:00", "2024-10-27 02:00", "2024-10-27 03:00"]
    )
    steps = np.diff(to_utc(autumn, "local", "Europe/Prague"))
    assert (steps == np.timedelta64(1, "h")).all()


@pytest.mark.parametrize("order", [1, -1])
def test_each_autumn_is_told_by_itself(order):
    # EU: 30 October 2022 03:00 becomes 02:00; the same on 29 October 2023. A gap hides the first.
    stamps = ["2022-10-30 00:00", "2022-10-30 02:00", "2022-10-30 05:00"]
    stamps += ["2023-10-29 02:00", "2023-10-29 02:30", "2023-10-29 02:00", "2023-10-29 02:30"]
    utc = to_utc(pd.DatetimeIndex(stamps[::order]), "local", "Europe/Prague")[::order]
    assert utc[1] == pd.Timestamp("2022-10-30 00:00", tz="UTC")
    assert list(utc[3:].strftime("%H:%M")) == ["00:00", "00:30", "01:00", "01:30"]


def test_an_hour_that_summer_time_skips_tells_of_a_clock_without_it(tmp_path):
    # New Zealand: 27 September 2020 02:00 becomes 03:00; standard time is UTC+12 (zone data).
    text = "time,w\n2020-09-27 01:00,3\n2020-09-27 02:00,3\n2020-09-27 03:00,3\n"
    table = read_table(_write(tmp_path, text))
    stamps_in(table, "time", "local", "Pacific/Auckland")
    assert len(table.notes) == 1
    assert "2020-09-27 02:00" in str(table.notes[0]) and 'clock = "+12:00"' in str(table.notes[0])
    table = read_table(_write(tmp_path, text))
    assert np.diff(stamps_in(table, "time", "+12:00", "UTC")).max() == np.timedelta64(1, "h")
    assert not table.notes


def test_a_mere_date_at_a_midnight_that_never_was_is_no_wrong_clock(tmp_path):
    # Chile: clocks went forward at midnight of 8 September 2024 (zone data).
    table = read_table(_write(tmp_path, "date,w\n2024-09-08,3\n"))
    stamps_in(table, "date", "local", "America/Santiago")
    assert not table.notes


def test_stamps_with_their_own_offset_keep_it(tmp_path):
    table = read_table(_write(tmp_path, "time,w\n2024-05-01T10:00:00+02:00,3\n"))
    assert stamps_in(table, "time", "local", "America/Phoenix")[0].hour == 8


@given(cut=st.integers(0, len(PLAIN)), junk=st.binary(max_size=12))
@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_bytes_end_in_a_traceback(tmp_path, cut, junk):
    path = _write(tmp_path, PLAIN.encode()[:cut] + junk + PLAIN.encode()[cut:])
    try:
        table = read_table(path)
        numbers_in(table, "weight")
        stamps_in(table, "time", "utc", "UTC")
    except FlowcastError as error:
        assert "\n" not in str(error)


@given(values=st.lists(st.floats(0, 200).map(lambda v: round(v, 3)), min_size=1, max_size=30))
@settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_what_is_written_is_read_back(tmp_path, values):
    frame = pd.DataFrame(
        {"t": pd.date_range("2024-01-01", periods=len(values), freq="h"), "w": values}
    )
    text = io.StringIO()
    frame.to_csv(text, index=False)
    table = read_table(_write(tmp_path, text.getvalue()))
    assert numbers_in(table, "w") == pytest.approx(values, abs=1e-9)


# Dates: which of day and month comes first is a matter of country, told from the file or asked.


def _stamps(tmp_path, cells, dates=None, clock="utc"):
    text = "time,w\n" + "".join(f'"{cell}",1\n' for cell in cells)
    table = read_table(_write(tmp_path, text))
    return list(stamps_in(table, "time", clock, "Europe/Prague", dates).strftime("%Y-%m-%d %H:%M"))


@pytest.mark.parametrize(
    "cells, first",
    [
        (["13/04/2024 10:00", "14/04/2024 10:00"], "2024-04-13 10:00"),
        (["04/13/2024 10:00", "04/14/2024 10:00"], "2024-04-13 10:00"),
        (["03/04/2024 10:00", "13/04/2024 10:00"], "2024-04-03 10:00"),
        (["4/13/2024 1:05 PM", "4/13/2024 2:05 PM"], "2024-04-13 13:05"),
        (["13.4.2024 10:00", "14.4.2024 10:00"], "2024-04-13 10:00"),
        (["13.04.24 10:00", "14.04.24 10:00"], "2024-04-13 10:00"),
        (["2024-04-13 10:00", "13.04.2024 11:00"], "2024-04-13 10:00"),
        (["2024-04-12 24:00", "2024-04-13 01:00"], "2024-04-13 00:00"),
        # 1712966400 s after 1970 is 13 April 2024, 00:00 UTC (19,826 days of 86,400 s).
        (["1712966400", "1712970000"], "2024-04-13 00:00"),
        (["1712966400000", "1712970000000"], "2024-04-13 00:00"),
        # Read day first these go forward, month first they jump back: 5 Dec after 4 Jan of one year.
        (["28/02/2024", "01/03/2024"], "2024-02-28 00:00"),
        (["01/02/2024", "12/02/2024", "02/03/2024"], "2024-02-01 00:00"),
    ],
)
def test_dates_of_many_forms(tmp_path, cells, first):
    assert _stamps(tmp_path, cells)[0] == first


def test_date_that_may_be_read_two_ways_is_asked_about(tmp_path):
    cells = ["03/04/2024 10:00", "04/04/2024 10:00"]
    with pytest.raises(TimeIndexError, match='dates = "day first"'):
        _stamps(tmp_path, cells)
    assert _stamps(tmp_path, cells, "day first")[0] == "2024-04-03 10:00"
    assert _stamps(tmp_path, cells, "month first")[0] == "2024-03-04 10:00"


@given(st.integers(0, 600), st.integers(14, 40), st.sampled_from(["%d/%m/%Y", "%m/%d/%Y"]))
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_two_weeks_of_days_tell_their_order(tmp_path, start, days, form):
    # Any 14 days running hold a day of the month past the twelfth.
    index = pd.date_range("2023-01-01", periods=days) + pd.Timedelta(days=start)
    assert _stamps(tmp_path, index.strftime(form)) == list(index.strftime("%Y-%m-%d 00:00"))
