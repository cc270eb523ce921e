"""Whether honey is ripe, and which cannot wait: hand-worked cases and properties."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast.advice.ripe import (
    extract_within_d,
    nearest_end,
    night_humidity,
    read_ripeness,
    ripe_dates,
    sets_fast,
)
from flowcast.advice.visits import Visits
from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log, within_days

NUMBERS = load_numbers()
ISSUE = pd.Timestamp("2026-07-20")


def visits(issue=ISSUE, fit=1.0):
    dates = pd.date_range(issue, periods=90)
    return Visits(pd.Series(fit, index=dates), np.full((1, 90), bool(fit)), None, 7, 0.5)


def days(intake, loss, humidity=70.0):
    """The last days before the issue date, each with its intake and the night after it."""
    dates = pd.date_range(end=ISSUE - pd.Timedelta(days=1), periods=len(intake))
    within = pd.DataFrame({"intake_kg": intake, "night_loss_kg": loss}, index=dates).astype(float)
    return within, pd.Series(np.resize(humidity, len(intake)), index=dates)


def state(intake, loss, humidity=70.0, **more):
    return read_ripeness("H1", *days(intake, loss, humidity), visits(), NUMBERS, **more)


def stamps(*month_days):
    return tuple(pd.Timestamp(f"2026-{md}") for md in month_days)


FLOW, OVER = [3.0] * 10, [0.1] * 5

# Hand-worked: flow of ten days with nights of 0.8 kg, then five days without nectar


def test_dry_nights_that_lose_little_after_the_flow_say_ripe():
    found = state(FLOW + OVER, [0.8] * 10 + [0.5, 0.3, 0.1, 0.1, 0.1])
    assert found.verdict == "likely ripe"
    assert found.ended == pd.Timestamp("2026-07-14")
    assert found.flow_loss_kg == pytest.approx(0.8)
    assert found.loss_kg == pytest.approx(0.1)
    assert found.when.date == ISSUE


@pytest.mark.parametrize(("wait", "shut"), [(0, False), (14, False), (15, True), (80, True)])
def test_a_hive_stays_shut_where_no_fit_day_comes_within_two_weeks(wait, shut):
    dates = pd.date_range(ISSUE, periods=90)
    fit = pd.Series((np.arange(90) >= wait).astype(float), index=dates)
    opens = Visits(fit, (np.arange(90) >= wait)[None, :], None, 7, 0.5)
    log = days(FLOW + OVER, [0.8] * 10 + [0.5, 0.3, 0.1, 0.1, 0.1])
    found = read_ripeness("H1", *log, opens, NUMBERS)
    assert found.when.date == ISSUE + pd.Timedelta(days=wait)
    assert found.shut == shut


def test_small_losses_in_damp_nights_prove_nothing():
    """Expert judgement: a small night loss also means damp air; require dry nights."""
    assert state(FLOW + OVER, [0.8] * 10 + [0.1] * 5, humidity=97).verdict == "damp nights"


def test_nights_that_still_lose_much_are_drying():
    found = state(FLOW + OVER, [0.8] * 10 + [0.6] * 5)
    assert found.verdict == "drying"
    # 3, 7 and 14 days after the last nectar (common practice), never before the issue date.
    assert (found.when.first, found.when.date, found.when.last) == stamps("07-20", "07-21", "07-28")


def test_nectar_still_coming_in():
    assert state(FLOW + [0.1] * 2, [0.8] * 12).verdict == "coming in"
    assert state(FLOW + OVER + [0.9], [0.8] * 16).verdict == "coming in"


def test_a_flow_still_on_is_dated_by_its_end():
    found = state(FLOW, [0.8] * 10, flow_end=stamps("07-24", "07-28", "08-02"))
    assert (found.when.first, found.when.date, found.when.last) == stamps("07-27", "08-04", "08-16")
    assert state(FLOW, [0.8] * 10).when is None


def test_only_where_beetles_live_extraction_has_a_date():
    """Expert judgement: within 1 to 3 days."""
    assert state(FLOW + OVER, [0.1] * 15).extract_d is None
    assert state(FLOW + OVER, [0.1] * 15, beetles_high=0.8).extract_d == 1


def test_a_log_without_flow_or_without_nights_says_so():
    assert state([0.3] * 20, [0.1] * 20).verdict == "no flow"
    assert state([3.0] * 5, [0.5] * 5).verdict == "no reading"
    assert state([np.nan] * 30, [np.nan] * 30).verdict == "no reading"


def test_nothing_from_the_issue_date_on_is_read():
    within, humidity = days(FLOW + OVER, [0.8] * 10 + [0.1] * 5)
    later = pd.DataFrame({"intake_kg": 5.0, "night_loss_kg": 1.0}, index=[ISSUE])
    same = read_ripeness("H1", pd.concat([within, later]), humidity, visits(), NUMBERS)
    assert same == read_ripeness("H1", within, humidity, visits(), NUMBERS)


def test_a_night_belongs_to_the_evening_it_begins_on():
    """Six hours either side of midnight; the hours of the next evening are the next night's."""
    index = pd.date_range("2026-07-01 01:00", "2026-07-03 00:00", freq="h", tz="UTC")
    rh = pd.DataFrame({"rh_pct": 50.0}, index=index)
    rh.loc["2026-07-01 19:00":"2026-07-02 06:00", "rh_pct"] = 90.0
    found = night_humidity(rh, "UTC")
    assert found["2026-07-01"] == 90.0
    assert found["2026-06-30"] == 50.0
    assert found["2026-07-02"] == 50.0


@given(st.lists(st.floats(0, 4), min_size=8, max_size=40), st.floats(0.0, 0.6))
def test_more_night_loss_never_makes_it_ripe(intake, more):
    loss = [0.2] * len(intake)
    plain = state(intake, loss)
    since = [0.2 + more if k >= len(intake) - 3 else 0.2 for k in range(len(intake))]
    assert not (state(intake, since).verdict == "likely ripe" and plain.verdict == "drying")


@given(st.integers(-30, 30), st.integers(0, 30), st.integers(0, 30))
def test_ripe_dates_keep_their_order(first, more, still):
    ended = tuple(ISSUE + pd.Timedelta(days=first + k) for k in (0, more, more + still))
    dates = ripe_dates(ended, ISSUE, NUMBERS)
    assert dates[0] <= dates[1] <= dates[2]
    assert dates[0] >= ISSUE


# Honey that sets in the comb

NO_NOTES = pd.DataFrame({"date": pd.DatetimeIndex([]), "plant": [], "stage": []})


def test_rape_is_taken_days_after_bloom_and_lime_is_not_named():
    over = pd.Timestamp("2026-06-05")
    found = sets_fast([("rape", over), ("lime trees", over)], NO_NOTES, visits(over), NUMBERS)
    assert [f.plant for f in found] == ["rape"]
    # Five days after the end of bloom (common practice), give or take nine for a stated date.
    when = found[0].when
    assert (when.first, when.date, when.last) == stamps("06-05", "06-10", "06-19")


def test_a_note_that_bloom_is_over_moves_the_date_and_narrows_it():
    note = pd.DataFrame(
        {
            "date": [pd.Timestamp("2025-06-01"), pd.Timestamp("2026-05-28")],
            "plant": ["Rape", "Rape"],
            "stage": ["over", "over"],
        }
    )
    stated = pd.Timestamp("2026-06-05")
    (found,) = sets_fast([("rape", stated)], note, visits("2026-06-01"), NUMBERS)
    assert found.noted
    when = found.when
    assert (when.first, when.date, when.last) == stamps("06-01", "06-02", "06-05")
    (before,) = sets_fast([("rape", stated)], note, visits("2026-05-28"), NUMBERS)
    assert not before.noted  # the note is of the issue date itself and not known that morning


def test_bloom_far_off_is_not_spoken_of():
    over = pd.Timestamp("2026-06-05")
    assert sets_fast([("ivy", over)], NO_NOTES, visits("2026-01-10"), NUMBERS) == []
    assert sets_fast([("ivy", over)], NO_NOTES, visits("2026-08-10"), NUMBERS) == []


@pytest.mark.parametrize(
    "issue, month_day, nearest",
    [
        ("2026-01-05", "12-20", "2025-12-20"),
        ("2026-12-20", "01-05", "2027-01-05"),
        ("2026-06-01", "06-05", "2026-06-05"),
        ("2026-03-01", "02-29", "2026-03-01"),  # a day that the year lacks is the next
    ],
)
def test_the_bloom_s_end_nearest_to_the_issue_date(issue, month_day, nearest):
    assert nearest_end(month_day, pd.Timestamp(issue)) == pd.Timestamp(nearest)


def test_in_beetle_weather_boxes_are_extracted_the_sooner():
    """Expert judgement: extract within 1 to 3 days."""
    assert extract_within_d(0.9, NUMBERS) == 1
    assert extract_within_d(0.1, NUMBERS) == 3


# Recovery from a simulated scale


def simulated_log():
    """Hourly weights: 4 kg of nectar a day from 10 to 24 June, of which 40 % is water that dries off by
    half a day, mostly at night; breath of 0.1 kg a night; noise of 20 g."""
    index = pd.date_range("2026-05-20", "2026-07-10", freq="h", tz="UTC", inclusive="left")
    rng = np.random.default_rng(5)
    weight, wet, course = 40.0, 0.0, []
    for time in index:
        flying = 9 <= time.hour < 17
        flowing = "2026-06-10" <= f"{time:%Y-%m-%d}" <= "2026-06-24"
        nectar = 4.0 / 8 if flying and flowing else 0.0
        dried = 0.0 if flying else wet * (1 - 0.5 ** (1 / 16))
        wet += 0.4 * nectar - dried
        weight += nectar - dried - 0.2 / 24
        course.append(weight)
    noise = rng.normal(0, 0.02, len(index))
    return pd.DataFrame({"weight_kg": np.array(course) + noise}, index=index.rename("time"))


@pytest.mark.parametrize(
    "day, verdict",
    [
        ("2026-06-05", "no flow"),
        ("2026-06-20", "coming in"),
        ("2026-06-28", "coming in"),  # the third quiet day has its night only the morning after
        ("2026-06-29", "drying"),
        ("2026-07-05", "likely ripe"),
    ],
)
def test_a_simulated_flow_is_followed_from_its_start_to_ripeness(day, verdict):
    work = pd.DataFrame({"time": [], "timed": [], "what": [], "kg": [], "note": []})
    work["time"] = pd.DatetimeIndex([], tz="UTC")
    readings = simulated_log()
    known = readings[readings.index <= pd.Timestamp(day, tz="UTC")]
    log = clean_log(known, work, hive="H1", timezone="UTC", numbers=NUMBERS)
    within = within_days(log, "UTC", NUMBERS)
    humidity = pd.Series(75.0, index=within.index)
    found = read_ripeness("H1", within, humidity, visits(day), NUMBERS)
    assert found.verdict == verdict
    if verdict in ("drying", "likely ripe"):
        assert found.ended == pd.Timestamp("2026-06-24")
