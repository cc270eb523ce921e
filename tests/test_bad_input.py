"""What keepers' files do wrong, through the whole path: one line with the cure, or a counted warning."""

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather

from flowcast import pipeline
from flowcast.errors import FlowcastError

HIVE = """
[[hive]]
name = "A"
scale = { file = "a.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }
"""
ISSUE = "2023-07-01"


@pytest.fixture(scope="module")
def weather_csv():
    return plain_weather("2020-01-01", "2023-06-30").to_csv().encode()


def log(n=24 * 60, start="2023-05-01"):
    """Two months of a quiet hourly scale."""
    index = pd.date_range(start, periods=n, freq="h", tz="UTC")
    rng = np.random.default_rng(0)
    kg = 40 - 0.005 * np.arange(n) + rng.normal(0, 0.02, n)
    return pd.DataFrame({"time": index.strftime("%Y-%m-%d %H:%M"), "kg": kg.round(2)})


def run(write_yard, weather_csv, table, more=HIVE):
    text = table if isinstance(table, str | bytes) else table.to_csv(index=False)
    folder = write_yard(more, files={"weather.csv": weather_csv, "a.csv": text})
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    try:
        return pipeline.outlook(folder, as_of=ISSUE, scenarios=100)
    finally:
        assert {
            p.name: p.read_bytes() for p in folder.iterdir()
        } == before  # nothing written or lost


@pytest.mark.parametrize(
    "table, says",
    [
        ("", "a.csv: the file is empty"),
        ("time,kg\n", "a.csv: a header and no rows"),
        ("time,weight\n2023-05-01 00:00,40\n", "a.csv: no column 'kg'"),
        (log().assign(kg=0.0), "a.csv, hive A:"),
        (log().assign(kg="40,500"), "decimal"),
        (log().assign(time="soon"), "a.csv, line 2: 'soon'"),
        (b"\x00\x01\x02" * 50, "a.csv: this is no text file"),
    ],
    ids=["empty", "header only", "wrong column", "zeros", "decimal comma", "no stamps", "not text"],
)
def test_one_line_with_file_and_cure(write_yard, weather_csv, table, says):
    with pytest.raises(FlowcastError) as caught:
        run(write_yard, weather_csv, table)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_pounds_given_as_kilograms_are_spoken_of(write_yard, weather_csv):
    found = run(write_yard, weather_csv, log().assign(kg=lambda t: t["kg"] * 4))
    assert any('unit = "lb"' in str(note) for note in found.record.notes)


def test_duplicate_hours_are_counted(write_yard, weather_csv):
    found = run(write_yard, weather_csv, pd.concat([log(), log().iloc[100:110]]))
    assert sum(n for word, n in found.record.logs[0].counts.items() if "duplicate" in word) == 10


def test_a_clock_that_jumps_back_an_hour_costs_hours_not_days(write_yard, weather_csv):
    table = log()
    stamps = pd.to_datetime(table["time"])
    late = stamps.where(stamps < "2023-05-20", stamps - pd.Timedelta(hours=1))
    found = run(write_yard, weather_csv, table.assign(time=late.dt.strftime("%Y-%m-%d %H:%M")))
    assert (found.record.spans["days"] == 1).sum() >= 55


def test_half_a_file_is_used_as_far_as_it_goes(write_yard, weather_csv):
    whole = log().to_csv(index=False)
    found = run(write_yard, weather_csv, whole[: len(whole) // 2 - 5])
    assert any("cut short" in str(note) for note in found.record.notes)
    assert 20 <= (found.record.spans["days"] == 1).sum() <= 31


def test_a_hole_in_the_log_is_a_longer_total_never_zero_days(write_yard, weather_csv):
    table = log()
    found = run(write_yard, weather_csv, table.drop(index=range(300, 500)))
    spans = found.record.spans
    assert (spans["days"] > 1).sum() == 1
    assert spans["days"].max() >= 8


def test_weather_in_fahrenheit_named_celsius_is_refused(write_yard):
    hot = plain_weather("2022-01-01", "2023-06-30")
    hot["temp_c"] = hot["temp_c"] * 9 / 5 + 32
    with pytest.raises(FlowcastError, match="Check the unit"):
        run(write_yard, hot.to_csv().encode(), log())


def test_future_issue_date_and_early_one(write_yard, weather_csv):
    folder = write_yard("", files={"weather.csv": weather_csv})
    for date in ("2030-01-01", "2019-01-01"):
        with pytest.raises(FlowcastError, match="--as-of"):
            pipeline.outlook(folder, as_of=date)


def test_weather_on_a_wrong_clock_is_told_with_the_cure(write_yard, weather_csv):
    # Its sun is highest at 13:00 UTC, 14:00 by the sun at 15 degrees east: two hours late, less ten.
    more = HIVE + '\n[weather]\nfile = "weather.csv"\nclock = "+10:00"\n'
    found = run(write_yard, weather_csv.replace(b"+00:00", b""), log(), more)
    said = " ".join(str(note) for note in found.record.notes)
    assert "weather.csv: its days are brightest or warmest 8 hours too early" in said
    assert 'clock = "utc"' in said
