"""The whole path: nothing after the issue date is used, equal seeds give equal bytes, both hemispheres."""

import json
import re
import shutil

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather

from flowcast import pipeline
from flowcast.errors import NotEnoughDataError, SourceUnavailable
from flowcast.report.basis import basis
from flowcast.report.data import outlook_data
from flowcast.report.words import log_so_far
from flowcast.weather import LAST_WEEKS

FORAGE = """
[[forage]]
name = "lime"
from = "06-05"
to = "07-05"
strength = "heavy"
"""
HIVE = """
[[hive]]
name = "{name}"
scale = {{ file = "{name}.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }}
"""
ISSUE = "2024-06-10"


def hive_weights(first, last, *, south=False, seed=1):
    """An hourly scale with one flow of a kilogram a day in each local June (December in the south)."""
    index = pd.date_range(first, last, freq="h", tz="UTC", inclusive="left")
    rng = np.random.default_rng(seed)
    month = 12 if south else 6
    flow = (index.month == month) & (index.hour >= 9) & (index.hour < 17)
    change = np.where(flow, 1.4 / 8, 0.0) - 0.1 / 24
    return pd.DataFrame(
        {"time": index, "kg": (40 + np.cumsum(change) + rng.normal(0, 0.02, len(index))).round(3)}
    )


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """A northern yard, two hives on scales since 2023, plain weather 2019-2024."""
    folder = tmp_path_factory.mktemp("yard")
    text = (
        '[yard]\nname = "Test (invented)"\nlatitude = 48.6\nlongitude = 15.3\nelevation_m = 300\n'
    )
    hives = [HIVE.format(name=n) for n in ("A", "B")]
    (folder / "yard.toml").write_text(text + FORAGE + "".join(hives), "utf-8")
    plain_weather().to_csv(folder / "weather.csv")
    for k, name in enumerate(("A", "B")):
        hive_weights("2023-03-01", "2024-12-31", seed=k).to_csv(folder / f"{name}.csv", index=False)
    (folder / "work.csv").write_text("date,hive,what,kg,note\n2024-08-01,A,inspected,,\n", "utf-8")
    return folder


def as_json(found):
    return json.dumps(outlook_data(found), allow_nan=False)


@pytest.fixture(scope="module")
def found(yard):
    return pipeline.outlook(yard, as_of=ISSUE, scenarios=400)


def test_equal_seeds_give_equal_bytes(yard, found):
    assert as_json(pipeline.outlook(yard, as_of=ISSUE, scenarios=400)) == as_json(found)
    assert as_json(pipeline.outlook(yard, as_of=ISSUE, scenarios=400, seed=2)) != as_json(found)


def test_nothing_from_the_issue_date_on_is_used(yard, found, tmp_path):
    # Scramble every row stamped after the issue date's first moment; the same outlook must come.
    rng = np.random.default_rng(0)
    cut = pd.Timestamp(ISSUE, tz="Europe/Vienna")
    (tmp_path / "yard.toml").write_text((yard / "yard.toml").read_text("utf-8"), "utf-8")
    (tmp_path / "work.csv").write_text(
        "date,hive,what,kg,note\n2024-06-10 09:00,A,super on,9,\n2024-07-01,B,honey off,20,\n",
        "utf-8",
    )
    (tmp_path / "bloom.csv").write_text("date,plant,stage\n2024-06-20,lime,full\n", "utf-8")
    weather = pd.read_csv(yard / "weather.csv", parse_dates=["time_utc"], index_col="time_utc")
    later = weather.index > cut
    weather.loc[later] = weather.loc[later].sample(frac=1, random_state=3).to_numpy()
    weather.to_csv(tmp_path / "weather.csv")
    for name in ("A", "B"):
        log = pd.read_csv(yard / f"{name}.csv", parse_dates=["time"])
        log.loc[log["time"] > cut, "kg"] = rng.uniform(5, 90, (log["time"] > cut).sum()).round(2)
        log.to_csv(tmp_path / f"{name}.csv", index=False)
    scrambled = json.loads(as_json(pipeline.outlook(tmp_path, as_of=ISSUE, scenarios=400)))
    assert scrambled == json.loads(as_json(found))


def test_a_note_of_bloom_moves_the_outlook_and_is_told_of(yard, found, tmp_path):
    shutil.copytree(yard, tmp_path / "noted")
    lines = "date,plant,stage\n2024-06-02,Lime,over\n2024-06-05,unheard-of,first\n"
    (tmp_path / "noted" / "bloom.csv").write_text(lines, "utf-8")
    noted = pipeline.outlook(tmp_path / "noted", as_of=ISSUE, scenarios=400)
    middle = [o.outlook.total["q50"].iloc[-1] for o in (noted, found)]
    assert middle[0] < middle[1]  # the lime is over by this note, which was to bloom until 5 July
    assert any("notes of bloom in 1 season are in it" in line for line in basis(noted))
    assert not any("notes of bloom" in line for line in basis(found))


def told_at(folder, now, **more):
    """The notes of an outlook, of check and of timing at a time, in words."""
    reach = pipeline.Reach(now=pd.Timestamp(now, tz="UTC"))
    found = [
        pipeline.outlook(folder, reach=reach, scenarios=50, **more).record.notes,
        pipeline.timing(folder, reach=reach, scenarios=50, **more).record.notes,
    ]
    found += [] if more else [pipeline.check(folder, reach=reach).notes]
    return [" ".join(map(str, notes)) for notes in found]


@pytest.mark.parametrize("now", ["2025-01-03 12:00", "2025-01-22 12:00", "2025-12-31 12:00"])
def test_a_weather_file_that_ends_before_today_is_told_with_its_cure(yard, now):
    """Days, weeks and a year after it: the weather's last hour here is of 31 December 2024, 23:00 UTC."""
    for notes in told_at(yard, now):
        assert "weather.csv ends on 31 December 2024, so all this is of 1 January 2025" in notes
        assert 'services = ["open-meteo"]' in notes
        assert "log's readings" not in notes  # it ends with the weather


def test_weather_to_yesterday_and_a_date_asked_for_need_no_such_word(yard):
    for notes in told_at(yard, "2025-01-01 12:00") + told_at(yard, "2025-12-31", as_of=ISSUE):
        assert "ends on" not in notes


def test_readings_that_wait_for_the_weather_are_told(yard, tmp_path):
    """Weather to the end of June, a log to the end of the year, of which half a year lies ahead."""
    folder = shutil.copytree(yard, tmp_path / "yard")
    weather = pd.read_csv(yard / "weather.csv", index_col="time_utc")
    weather.loc[:"2024-06-30 22:00:00+00:00"].to_csv(folder / "weather.csv")
    for notes in told_at(folder, "2024-07-10 12:00"):
        assert "of 1 July 2024, not of today, and the log's readings from then on, to" in notes
        assert "to 10 July 2024, are not in it" in notes


def test_the_flow_that_came_every_june_is_expected(found):
    # The log had its flow from the first to the last day of June 2023 and is nine days into it.
    assert found.outlook.window.open_chance > 0.8
    assert found.outlook.daily["p_flow_day"].iloc[:10].mean() > 0.7
    assert found.outlook.daily["p_flow_day"].iloc[-5:].mean() < 0.4


def test_quantiles_are_in_order_and_totals_start_with_day_one(found):
    names = [n for n in found.outlook.daily if n.startswith("q")]
    assert (np.diff(found.outlook.daily[names].to_numpy(), axis=1) >= 0).all()
    assert found.outlook.total.iloc[0][names].tolist() == pytest.approx(
        found.outlook.daily.iloc[0][names].tolist(), abs=1e-12
    )


def test_a_yard_without_log_gets_an_outlook(yard, tmp_path):
    text = (yard / "yard.toml").read_text("utf-8").split("[[hive]]")[0]
    (tmp_path / "yard.toml").write_text(text, "utf-8")
    plain_weather().to_csv(tmp_path / "weather.csv")
    plain = pipeline.outlook(tmp_path, as_of=ISSUE, scenarios=400)
    assert plain.model.seasons == 0
    assert plain.outlook.daily["q50"].iloc[:10].mean() > 0.2  # lime is stated for these days
    winter = pipeline.outlook(tmp_path, as_of="2024-12-20", scenarios=400)
    assert winter.outlook.window.chance < 0.05
    assert winter.outlook.total_after(30)["q50"] < 0


def test_seeds_agree_within_a_few_hundredths(yard):
    a, b = (pipeline.outlook(yard, as_of=ISSUE, seed=s) for s in (1, 2))
    for n in (7, 30):
        spread = a.outlook.total_after(n)["q90"] - a.outlook.total_after(n)["q10"]
        gap = (a.outlook.total_after(n) - b.outlook.total_after(n)).abs().max()
        # 1,000 draws: the standard error of an outer quantile is about 0.06 of the 80 % width.
        assert gap < 0.2 * spread


def _mirrored(folder, south):
    """The same yard, weather and log half a year on, south of the equator."""
    latitude = -48.6 if south else 48.6
    # 1 January and 1 July lie 181 days apart; 73.9 E has land at neither, so the zone is given.
    (folder / "yard.toml").write_text(
        f'[yard]\nname = "M"\nlatitude = {latitude}\nlongitude = 0.5\nelevation_m = 0\ntimezone = "UTC"\n'
        + FORAGE.replace("06-05", "12-03" if south else "06-05").replace(
            "07-05", "01-02" if south else "07-05"
        )
        + HIVE.format(name="A"),
        "utf-8",
    )
    weather, log = plain_weather(), hive_weights("2023-03-01", "2024-05-01")
    shift = pd.Timedelta(days=181 if south else 0)
    weather.set_axis((weather.index + shift).rename("time_utc")).to_csv(folder / "weather.csv")
    log.assign(time=log["time"] + shift).to_csv(folder / "A.csv", index=False)
    return pipeline.outlook(folder, as_of=pd.Timestamp("2024-05-01") + shift, scenarios=1000)


def test_mirrored_yards_give_mirrored_answers(tmp_path):
    north, south = (tmp_path / "n"), (tmp_path / "s")
    north.mkdir(), south.mkdir()
    a, b = _mirrored(north, False), _mirrored(south, True)
    assert b.outlook.issue_date - a.outlook.issue_date == pd.Timedelta(days=181)
    # Leap days fall elsewhere in the two seasons and the earth's path is no circle, so a little is let.
    for n in (7, 30):
        one, other = a.outlook.total_after(n), b.outlook.total_after(n)
        assert (one - other).abs().max() < 0.1 * (one["q90"] - one["q10"])
    assert a.outlook.window.chance == pytest.approx(b.outlook.window.chance, abs=0.05)


def test_weather_that_ends_early_leaves_unknown_days(yard):
    late = pipeline.outlook(yard, as_of="2025-01-20", scenarios=200)
    assert late.outlook.issue_date == pd.Timestamp("2025-01-20")
    with pytest.raises(NotEnoughDataError, match="too long before"):
        pipeline.outlook(yard, as_of="2025-06-20")
    with pytest.raises(NotEnoughDataError, match="no weather before"):
        pipeline.outlook(yard, as_of="2015-06-20")


def _no_hives(yard, folder, first, last):
    (folder / "yard.toml").write_text(
        (yard / "yard.toml").read_text("utf-8").split("[[hive]]")[0], "utf-8"
    )
    plain_weather(first, last).to_csv(folder / "weather.csv")


@pytest.mark.parametrize("first", ["2024-01-01", "2024-02-01"])  # in the second no warmth is known
def test_without_a_past_year_the_last_weeks_stand_in_and_it_is_said(yard, tmp_path, first):
    _no_hives(yard, tmp_path, first, "2024-09-30")
    short = pipeline.outlook(tmp_path, scenarios=200)
    assert set(short.outlook.scenarios.labels) == {LAST_WEEKS}
    assert any("for want of a whole past year" in line for line in basis(short))
    assert outlook_data(short)["standing"]["lead_d"] is None


def test_a_week_of_weather_is_too_little_and_said(yard, tmp_path):
    _no_hives(yard, tmp_path, "2024-09-22", "2024-09-30")
    with pytest.raises(NotEnoughDataError, match="at least two years"):
        pipeline.outlook(tmp_path)


def test_check_works_without_weather(write_yard):
    checked = pipeline.check(write_yard(FORAGE))
    assert checked.record is None
    assert any("no weather" in str(note) for note in checked.notes)
    with pytest.raises(SourceUnavailable):
        pipeline.outlook(checked.yard.folder)


def test_a_hole_of_two_months_in_the_weather_is_counted_not_filled(yard, tmp_path):
    (tmp_path / "yard.toml").write_text(
        (yard / "yard.toml").read_text("utf-8").split("[[hive]]")[0], "utf-8"
    )
    weather = plain_weather()
    hole = (weather.index >= "2022-05-01") & (weather.index < "2022-07-01")
    weather[~hole].to_csv(tmp_path / "weather.csv")
    holed = pipeline.outlook(tmp_path, as_of=ISSUE, scenarios=200)
    missing = holed.record.daily["temp_mean_c"].isna()
    assert missing.sum() >= 61
    assert any("2022" in str(note) for note in holed.record.notes)
    assert "2022" not in holed.outlook.scenarios.labels


def test_daily_weather_in_fahrenheit_and_inches_is_enough_and_its_gaps_are_told(write_yard):
    days = pd.date_range("2021-01-01", "2024-06-09")
    turn = np.cos(2 * np.pi * (days.dayofyear.to_numpy() - 200) / 365.25)
    table = pd.DataFrame(
        {
            "date": days.strftime("%d/%m/%Y"),
            "temp_max_f": (60 + 20 * turn).round(),
            "temp_min_f": (42 + 18 * turn).round(),
            "precip_in": np.where(np.arange(len(days)) % 4 == 0, 0.2, 0.0),
        }
    )
    folder = write_yard(FORAGE, files={"weather.csv": table.to_csv(index=False)})
    plain = pipeline.outlook(folder, scenarios=200)
    assert plain.outlook.issue_date == pd.Timestamp("2024-06-10")
    for word in ("Radiation", "Humidity", "Wind"):
        assert any(str(note).startswith(word) for note in plain.record.notes), word


@pytest.fixture
def gaining_yard(write_yard, hourly_weather):
    """gaining_yard(full, seen) is a yard of one hive that gains 0.5 kg a day from 1 to 31 May 2024."""
    hours = pd.date_range("2024-05-01", "2024-05-31", freq="h", tz="UTC")
    kg = 40 + 0.5 * np.arange(len(hours)) / 24
    text = "".join(f"{t:%Y-%m-%d %H:%M},{w:.2f}\n" for t, w in zip(hours, kg, strict=True))
    scale = 'scale = { file = "s.csv", time = "t", weight = "w", unit = "kg", clock = "utc" }\n'

    def write(full, seen=""):
        box = f'boxes = [{{ kind = "deep", frames = 10, drawn = 10, full = {full} }}]\n{seen}'
        files = {"s.csv": "t,w\n" + text, "weather.csv": hourly_weather[:"2024-05-31"].to_csv()}
        return write_yard(f'[[hive]]\nname = "H1"\n{box}{scale}', files=files)

    return write


def bounds(record):
    """Dates of the yard's days that are lower bounds."""
    return record.spans.index[record.spans["lower_bound"] > 0]


def test_free_comb_of_today_is_read_today_and_by_no_outlook_of_the_past(gaining_yard):
    # Boxes without a day are of today, the day after the weather ends (31 May). With 12 kg of comb free
    # no day ended with less than 3 kg free; with none free the days from which on 0.5 · n < 3 did: the
    # last six, less or more by one for noise.
    for full, most in ((6, 0), (10, 7)):
        folder = gaining_yard(full)
        now = pipeline.outlook(folder, scenarios=100).record
        assert now.logs[0].gains["lower_bound"].sum() == len(bounds(now)) <= most
        assert len(bounds(now)) >= most - 2
        checked = pipeline.check(folder)
        assert checked.record.spans.equals(now.spans)
        past = pipeline.outlook(folder, as_of="2024-05-25", scenarios=100).record
        assert not len(bounds(past))
        assert not len(
            bounds(pipeline.known_before(pipeline.read_sources(folder), past.issue_date))
        )


def test_boxes_are_known_from_the_day_they_were_seen(gaining_yard):
    # Seen full on 20 May: full from 3 kg / 0.5 = 6 days before. An outlook of that day or later knows
    # it, one of the day before does not, and does not differ from that of a yard without boxes.
    folder = gaining_yard(10, "seen = 2024-05-20\n")
    sources = pipeline.read_sources(folder)
    told = {
        day: bounds(pipeline.known_before(sources, pd.Timestamp(f"2024-05-{day}")))
        for day in (19, 20, 28)
    }
    assert not len(told[19])
    assert len(told[20]) in (5, 6, 7) and told[20][-1] == pd.Timestamp("2024-05-19")
    assert told[28][-1] == pd.Timestamp("2024-05-27")
    assert abs(told[28][0] - told[20][0]) <= pd.Timedelta(days=1)  # the night weights' noise
    before = pipeline.outlook(folder, as_of="2024-05-19", scenarios=100)
    after = pipeline.outlook(folder, as_of="2024-05-28", scenarios=100)
    other = gaining_yard(2, "seen = 2024-05-20\n")
    roomy = pipeline.outlook(other, as_of="2024-05-19", scenarios=100)
    assert before.outlook.daily.equals(roomy.outlook.daily)
    roomy = pipeline.outlook(other, as_of="2024-05-28", scenarios=100)
    assert not after.outlook.daily.equals(roomy.outlook.daily)


def test_what_the_middle_hive_gained_is_the_least_where_comb_ran_out(gaining_yard):
    text = {}
    for full in (2, 10):
        folder = gaining_yard(full, "seen = 2024-05-20\n")
        found = pipeline.outlook(folder, as_of="2024-05-28", scenarios=100)
        (text[full], *_) = log_so_far(found.standing, found.record.yard.say)
    assert text[2] == "Over the last 30 days the middle hive gained 13 kg."
    assert re.fullmatch(
        r"Over the last 30 days the middle hive gained at least 13 kg: on 1[345] days comb ran out\.",
        text[10],
    )
