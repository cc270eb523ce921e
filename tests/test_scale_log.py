"""From a scale's weights to daily net gain: published facts, a hand-worked week, single days.

All logs here are invented. Where no source is named beside a check, the numbers are worked by hand
in the comment above it.
"""

import itertools

import numpy as np
import pandas as pd
import pytest

from flowcast.errors import MissingColumnError, NotEnoughDataError, TimeIndexError
from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log
from flowcast.scale_log.log import Trace
from flowcast.scale_log.tidy import traits_of
from flowcast.scale_log.wave import usual_course
from flowcast.tables import GAIN, check_bounds

NUMBERS = load_numbers()
WORK_COLUMNS = ["time", "timed", "what", "kg", "note"]


def scale(kg, start="2024-05-01 00:00", freq="h", tz="UTC"):
    """Readings one after the other from a start on the clock of `tz`."""
    index = pd.date_range(start, periods=len(kg), freq=freq, tz=tz).tz_convert("UTC")
    return pd.DataFrame({"weight_kg": np.asarray(kg, float)}, index=index)


def work(*lines):
    """Lines (time UTC, what, kg); a time without an hour is a line that gives the date only."""
    rows = [
        {
            "time": pd.Timestamp(time if len(time) > 10 else f"{time} 12:00", tz="UTC"),
            "timed": len(time) > 10,
            "what": what,
            "kg": kg,
            "note": "",
        }
        for time, what, kg in lines
    ]
    return pd.DataFrame(rows, columns=WORK_COLUMNS)


def clean(readings, lines=None, timezone="UTC", numbers=NUMBERS):
    lines = work() if lines is None else lines
    return clean_log(readings, lines, hive="H1", timezone=timezone, numbers=numbers)


def day_by_day(nights):
    """Hourly weights from night weights: still until 7 h, foragers (0.5 kg) out at 8 h, still
    until 13 h, then home and laden in even steps until 18 h, still again."""
    hours = []
    for night, following in itertools.pairwise(nights):
        home = np.linspace(night - 0.5, following, 6)[1:]
        hours += [night] * 8 + [night - 0.5] * 6 + list(home) + [following] * 5
    return np.array([*hours, *[nights[-1]] * 4])  # and the last night's four hours


NIGHTS = [40.0, 40.6, 41.8, 41.6, 42.4, 44.0, 43.9, 44.9]
GAINS = [0.6, 1.2, -0.2, 0.8, 1.6, -0.1, 1.0]  # 40.6 - 40.0, 41.8 - 40.6, ...


def noisy_week(seed=1, sd=0.02):
    return 40.0 + np.random.default_rng(seed).normal(0, sd, 7 * 24)


# Published values


def test_daily_wave_is_removed_as_a_25_hour_mean_removes_it():
    # bee-science C60 (method of Meikle et al. 2005): of a 24-h sine of amplitude 1 no more than
    # 0.05 is left.
    hours = np.arange(24.0 * 20)
    trace = Trace(hours, hours, 40 + np.sin(2 * np.pi * hours / 24))
    rest = trace.kg - usual_course(trace, traits_of(trace, NUMBERS), NUMBERS)
    assert np.abs(rest - rest.mean())[48:-48].max() <= 0.05


def test_a_morning_of_departing_foragers_is_no_step():
    # Meikle et al. 2018, PLoS ONE 13:e0197589, READ: the dawn loss is foragers. 10,000 bees of
    # 0.1 g (0.1 g: MEMORY) are 1.0 kg, more than the least step, and they come home.
    kg = day_by_day(np.full(15, 40.0))
    out = (np.arange(len(kg)) % 24 >= 8) & (np.arange(len(kg)) % 24 < 14)
    log = clean(scale(kg - 0.5 * out))
    assert len(log.steps) == 0
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(np.zeros(14), abs=1e-9)


# A hand-worked week


def test_week_without_work():
    log = clean(scale(day_by_day(NIGHTS)))
    assert log.kind == "scale"
    assert list(log.gains.index) == list(pd.date_range("2024-05-01", periods=7))
    assert log.gains.index.name == "date" and log.gains.index.tz is None
    assert (log.gains["days"] == 1).all() and (log.gains["quality"] == "good").all()
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(GAINS, abs=1e-9)
    assert log.nights.to_numpy() == pytest.approx(NIGHTS, abs=1e-9)
    assert len(log.steps) == 0 and log.counts == {}
    check_bounds(log.gains, GAIN, where="gains")


def test_week_with_a_box_a_swarm_and_honey_taken():
    # Work at hours when nothing else moves (between 8 and 13 h), so each step is its own size:
    # +4.3 on 2 May, -2.6 on 4 May, -9.5 on 6 May. The nights shown are then
    # 40.0, 40.6, 41.8+4.3 = 46.1, 41.6+4.3 = 45.9, 42.4+1.7 = 44.1, 44.0+1.7 = 45.7,
    # 43.9-7.8 = 36.1, 44.9-7.8 = 37.1; the gains stay those of the bees.
    kg = day_by_day(NIGHTS)
    kg[24 + 12 :] += 4.3
    kg[3 * 24 + 12 :] -= 2.6
    kg[5 * 24 + 11 :] -= 9.5
    lines = work(("2024-05-02 11:20", "super on", np.nan), ("2024-05-06", "honey off", 10.0))
    log = clean(scale(kg), lines)
    gram = 1e-3
    assert log.steps["kg"].to_numpy() == pytest.approx([4.3, -2.6, -9.5], abs=gram)
    assert list(log.steps["logged"]) == [True, False, True]
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(GAINS, abs=gram)
    shown = [40.0, 40.6, 46.1, 45.9, 44.1, 45.7, 36.1, 37.1]
    assert log.nights.to_numpy() == pytest.approx(shown, abs=1e-9)
    # Weight in minus weight out minus work: 37.1 - 40.0 - (4.3 - 2.6 - 9.5) = 4.9, which is
    # 0.6 + 1.2 - 0.2 + 0.8 + 1.6 - 0.1 + 1.0.
    assert log.gains["gain_kg"].sum() == pytest.approx(4.9, abs=3 * gram)


def test_net_weight_is_what_the_bees_did():
    kg = day_by_day(NIGHTS)
    bare = clean(scale(kg)).readings["net_kg"]
    kg[36:] += 4.3
    boxed = clean(scale(kg)).readings["net_kg"]
    assert boxed.to_numpy() == pytest.approx(bare.to_numpy(), abs=1e-3)  # a gram


# Hand-worked single days. The log is 40 kg with noise of 0.02 kg; the nights are medians of four
# readings, so a gain is 0 with an error of about 0.02 · √(π/2 · 2/4) = 0.018; three times that is
# allowed where nothing else is uncertain.


def test_hive_lifted_for_an_hour():
    kg = noisy_week()
    kg[58] = 31.0  # 3 May, 10 h
    log = clean(scale(kg))
    assert log.readings["mark"].iloc[58] == "lifted" and log.counts["lifted"] == 1
    assert np.isnan(log.readings["net_kg"].iloc[58])
    assert len(log.steps) == 0
    assert log.gains["gain_kg"].abs().max() < 0.054


def test_dip_by_night_or_jump_is_a_spike():
    kg = noisy_week()
    kg[30], kg[50], kg[85] = 65.0, 20.0, 65.0
    log = clean(scale(kg))
    assert list(log.readings["mark"].iloc[[30, 50, 85]]) == ["spike"] * 3
    assert log.gains["gain_kg"].abs().max() < 0.054  # 50 is 2 h on 3 May: three readings are left


def test_box_not_in_work_csv_is_found_and_asked_about():
    kg = noisy_week()
    kg[59:] += 4.3  # seen first at 11 h on 3 May
    log = clean(scale(kg))
    step = log.steps.iloc[0]
    assert len(log.steps) == 1 and not step["logged"]
    assert step["time"] == pd.Timestamp("2024-05-03 10:30", tz="UTC")
    assert step["kg"] == pytest.approx(4.3, abs=3 * step["sd_kg"])
    # A week without income: boxes or feed, about evenly.
    assert str(step["note"]).startswith("about +4.3 kg at 10:30, not in work.csv: feed (")
    assert str(step["note"]).endswith(", or boxes on?") and 0.4 < step["confidence"] < 0.9
    assert log.gains["gain_kg"].abs().max() < 0.11  # the step's own error comes to the night's
    # The day of the step is less certain than the others by the step's error.
    sd = log.gains["gain_sd_kg"]
    assert sd["2024-05-03"] ** 2 - sd["2024-05-02"] ** 2 == pytest.approx(step["sd_kg"] ** 2)


def test_hour_of_a_found_step_is_told_on_the_yards_clock():
    kg = noisy_week()
    kg[59:] -= 2.8
    log = clean(scale(kg), timezone="Australia/Brisbane")  # UTC+10: 10:30 is 20:30 there
    assert "at 20:30" in str(log.steps["note"].iloc[0])
    assert "swarm" not in log.steps["cause"].iloc[0]  # 10 to 16 h: common practice, no source


def test_swarm_in_the_log_is_measured():
    kg = noisy_week()
    kg[61:] -= 2.8
    log = clean(scale(kg), work(("2024-05-03 12:30", "swarmed", np.nan)))
    step = log.steps.iloc[0]
    assert step["logged"] and step["cause"] == "swarmed"
    assert step["time"] == pd.Timestamp("2024-05-03 12:30", tz="UTC")
    assert step["kg"] == pytest.approx(-2.8, abs=3 * step["sd_kg"])
    assert str(step["note"]) == "from work.csv, measured"


def test_small_feed_is_measured_because_work_csv_names_it():
    kg = noisy_week()
    kg[60:] += 0.6
    assert len(clean(scale(kg)).steps) == 0  # less than the least step that is found unasked
    log = clean(scale(kg), work(("2024-05-03 12:00", "feed", 0.6)))
    step = log.steps.iloc[0]
    assert step["kg"] == pytest.approx(0.6, abs=3 * step["sd_kg"])
    assert "from work.csv, measured. The water of the syrup dries off later" in str(step["note"])
    # The reading of 12 h shows the feed already; net of it the hive is what it was.
    assert log.readings["net_kg"].iloc[60] == pytest.approx(40.0, abs=0.1)
    unsized = clean(scale(kg), work(("2024-05-03 12:00", "feed", np.nan)))
    assert unsized.steps["kg"].iloc[0] == step["kg"]


def test_frames_taken_while_the_hive_stood_open_are_found_though_small():
    # 0.6 kg less after an hour in which the hive was lifted; without the lift it stays in the gain.
    kg = noisy_week()
    kg[60:] -= 0.6
    assert len(clean(scale(kg)).steps) == 0
    kg[59] = 22.0
    log = clean(scale(kg))
    assert log.steps["kg"].to_numpy() == pytest.approx([-0.6], abs=0.1)
    assert log.gains["gain_kg"].abs().max() < 0.11


def test_bees_flying_out_and_home_at_odd_hours_are_no_steps():
    # 1.2 kg of foragers leave at 11 h and come home at 15 h, on one day between days of no flight.
    kg = noisy_week()
    kg[59:63] -= 1.2
    log = clean(scale(kg))
    assert len(log.steps) == 0
    assert log.gains["gain_kg"].abs().max() < 0.054


def test_stated_weight_that_the_scale_contradicts_is_noted():
    kg = noisy_week()
    kg[60:] += 4.3
    log = clean(scale(kg), work(("2024-05-03", "super on", 6.0)))
    assert log.steps["kg"].iloc[0] == pytest.approx(4.3, abs=0.1)
    assert "stated +6.0 kg, the scale shows +4.3 kg" in str(log.steps["note"].iloc[0])


def test_work_of_another_day_takes_nothing_out():
    log = clean(scale(noisy_week()), work(("2024-05-03 12:00", "super on", 4.3)))
    assert log.steps["kg"].to_numpy() == pytest.approx([0.0])
    assert "the scale shows none: right day and hive?" in str(log.steps["note"].iloc[0])
    assert log.counts["work not seen in the weight"] == 1
    assert log.gains["gain_kg"].abs().max() < 0.054


def test_looking_in_makes_no_step_unless_weight_changed():
    lines = work(("2024-05-03 12:00", "inspected", np.nan), ("2024-05-04 12:00", "treated", np.nan))
    assert len(clean(scale(noisy_week()), lines).steps) == 0
    kg = noisy_week()
    kg[61:] -= 2.0
    log = clean(scale(kg), lines)
    assert list(log.steps["cause"]) == ["inspected"] and log.steps["logged"].all()


def test_two_things_done_at_one_visit_are_one_step():
    kg = noisy_week()
    kg[60:] -= 21.8  # 26.1 kg of honey off, an empty super of 4.3 kg on
    both = work(("2024-05-03 12:00", "honey off", 26.1), ("2024-05-03 12:00", "super on", 4.3))
    log = clean(scale(kg + 30), both)
    assert log.steps["kg"].to_numpy() == pytest.approx([-21.8], abs=0.1)
    assert log.steps["cause"].iloc[0] == "honey off and super on"
    assert (
        str(log.steps["note"].iloc[0]) == "from work.csv, measured"
    )  # -26.1 + 4.3 is what it shows
    half = clean(scale(kg + 30), work(("2024-05-03 12:00", "super on", 4.3)))
    assert half.steps["cause"].iloc[0] == "super on and more taken off?"


def test_two_things_done_an_hour_apart_are_two_steps_where_the_scale_read_between():
    # 20.0 kg of honey off at 11:20, the empty box of 4.0 kg off at 12:20; the reading of 12 h lies
    # between. Not in work.csv they are one step of 24.0 kg, as a visit is.
    kg = noisy_week() + 30
    kg[60:] -= 20.0
    kg[61:] -= 4.0
    both = work(("2024-05-03 11:20", "honey off", 20.0), ("2024-05-03 12:20", "super off", 4.0))
    log = clean(scale(kg), both)
    assert log.steps["kg"].to_numpy() == pytest.approx([-20.0, -4.0], abs=0.15)
    assert list(log.steps["cause"]) == ["honey off", "super off"]
    assert clean(scale(kg)).steps["kg"].to_numpy() == pytest.approx([-24.0], abs=0.1)


def test_boxes_on_two_days_are_told_apart_by_their_dates():
    kg = noisy_week()
    kg[60:] += 4.0
    kg[84:] += 6.0
    log = clean(scale(kg), work(("2024-05-03", "super on", 4.0), ("2024-05-04", "super on", 6.0)))
    assert log.steps["kg"].to_numpy() == pytest.approx([4.0, 6.0], abs=0.1)
    assert log.steps["logged"].all()


def test_restart_at_zero_is_bridged_and_a_new_zero_is_a_step():
    kg = noisy_week()
    kg[58:63] = 0.0
    log = clean(scale(kg))
    assert log.counts["restart"] == 5 and len(log.steps) == 0
    assert log.gains["gain_kg"].abs().max() < 0.054
    kg[63:] += 3.0
    log = clean(scale(kg))
    assert log.steps["kg"].to_numpy() == pytest.approx([3.0], abs=0.15)
    assert "within 6 hours without readings" in str(log.steps["note"].iloc[0])
    assert log.gains["gain_kg"].abs().max() < 0.15


def test_saturated_scale_is_marked():
    kg = noisy_week()
    kg[60:66] = 999.9
    log = clean(scale(kg))
    assert log.counts["impossible"] == 6 and len(log.steps) == 0
    assert log.gains["gain_kg"].abs().max() < 0.054


def test_stuck_stretch_becomes_one_longer_span():
    # Stuck from 16 h on 2 May to 7 h on 4 May: the nights of 3 and 4 May are lost. The span from
    # the night of 2 May to that of 5 May is 3 days; its total is known: 41.6 + 0.8 - 40.6 = 1.8.
    kg = day_by_day(NIGHTS) + np.random.default_rng(3).normal(0, 0.02, 172)
    kg[40:80] = kg[40]
    log = clean(scale(kg))
    assert log.counts["stuck"] == 40 and log.counts["nights without readings"] == 2
    assert list(log.gains["days"]) == [1, 3, 1, 1, 1]
    assert log.gains["gain_kg"]["2024-05-02"] == pytest.approx(1.2 - 0.2 + 0.8, abs=0.06)


def test_coarse_scale_that_repeats_itself_is_not_stuck():
    # A winter cluster eats 0.039 ± 0.013 kg a day (Norrström et al. 2021, READ): a scale of 0.5 kg
    # shows one value for 13 days (0.5 / 0.039) and is in order; one of 10 g for 60 hours is not.
    days = np.arange(60 * 24) / 24
    coarse = np.round((40 - 0.039 * days) / 0.5) * 0.5
    log = clean(scale(coarse, start="2024-01-01"))
    assert "stuck" not in log.counts
    # From 40.0 to 37.66 at the start of day 60; shown 40.0 and 37.5, at most a step of 0.5 off.
    assert log.gains["gain_kg"].sum() == pytest.approx(-0.039 * 59, abs=0.5)
    fine = np.round(40 - 0.039 * days + np.random.default_rng(0).normal(0, 0.03, len(days)), 2)
    fine[400:460] = fine[400]
    assert clean(scale(fine, start="2024-01-01")).counts["stuck"] == 60


def test_gap_over_a_night_is_one_span_of_two_days():
    kg = day_by_day(NIGHTS)
    kg[40:60] = np.nan  # from 16 h on 2 May to 11 h on 3 May
    log = clean(scale(kg))
    assert list(log.gains["days"]) == [1, 2, 1, 1, 1, 1]
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(
        [0.6, 1.2 - 0.2, 0.8, 1.6, -0.1, 1.0], abs=1e-9
    )
    sd = log.gains["gain_sd_kg"]
    assert sd["2024-05-02"] > sd["2024-05-01"]


def test_evening_stands_in_for_a_night_with_a_larger_error():
    kg = day_by_day(NIGHTS)
    kg[48:56] = np.nan  # 0 to 7 h on 3 May; 21 to 23 h the evening before are there
    log = clean(scale(kg))
    assert (log.gains["days"] == 1).all() and log.counts["nights from the evening"] == 1
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(GAINS, abs=1e-9)
    sd = log.gains["gain_sd_kg"]
    larger = NUMBERS["scale_log.evening_sd_kg"] ** 2
    # Three readings in place of four leave a little more noise besides.
    assert sd["2024-05-02"] ** 2 - sd["2024-05-01"] ** 2 == pytest.approx(larger, abs=1e-4)


def test_work_in_a_gap_takes_the_stated_weight():
    kg = noisy_week()
    kg[46:55] = np.nan  # 22 h on 2 May to 6 h on 3 May
    kg[55:] += 4.1
    log = clean(scale(kg), work(("2024-05-03 01:00", "super on", 4.3)))
    assert log.steps["kg"].iloc[0] == 4.3
    assert log.steps["sd_kg"].iloc[0] == NUMBERS["scale_log.stated_sd_kg"]
    assert str(log.steps["note"].iloc[0]) == "from work.csv, weight as stated"


def test_work_of_unknown_size_in_a_long_gap_makes_its_span_doubtful():
    kg = noisy_week()
    kg[30:80] = np.nan
    kg[80:] += 4.1
    log = clean(scale(kg), work(("2024-05-03 01:00", "super on", np.nan)))
    span = log.gains.loc["2024-05-02"]
    assert span["days"] == 3 and span["quality"] == "doubtful"
    assert span["gain_sd_kg"] >= NUMBERS["scale_log.unknown_work_sd_kg"]
    assert span["gain_kg"] == pytest.approx(4.1, abs=0.06)  # nothing taken out
    # The same rise with nobody's word for it is as odd among days of no change.
    alone = clean(scale(kg)).gains.loc["2024-05-02"]
    assert alone["quality"] == "doubtful" and alone["gain_sd_kg"] > 2.0


def test_step_inside_the_night_window_belongs_to_its_date():
    kg = noisy_week()
    kg[50:] += 4.0  # first seen at 2 h on 3 May: two night readings before, two after
    log = clean(scale(kg))
    step = log.steps["kg"].iloc[0]
    # The night of 3 May is as shown when the date began: without the 4 kg.
    assert log.nights["2024-05-03"] == pytest.approx(40.0, abs=0.06)
    assert log.nights["2024-05-04"] == pytest.approx(40.0 + step, abs=0.06)
    assert log.gains["gain_kg"].abs().max() < 0.11
    assert log.gains["quality"]["2024-05-03"] == "doubtful"  # nobody works at 2 h: is it real?


def test_flow_is_never_a_step():
    # 4.8 kg on each of five days, 0.8 kg in each of six hours, after quiet ones: strong flow days
    # of 5.3 kg are on record (scale diary, READ2).
    nights = [40.0, 40.0, 40.0, 44.8, 49.6, 54.4, 59.2, 64.0, 64.0, 64.0]
    days = [
        [n] * 10 + list(np.linspace(n, m, 7)[1:]) + [m] * 8 for n, m in itertools.pairwise(nights)
    ]
    log = clean(scale(np.concatenate([*days, [64.0] * 4])))
    assert len(log.steps) == 0
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(np.diff(nights), abs=1e-9)


def test_swarm_made_good_by_a_flow_is_a_step_and_no_lift():
    # 0.5 kg come in an hour; 3.5 kg leave within one at 10 h and are made good by the evening.
    # Five-minute readings: what is below the hours before and after must not be called lifted.
    hours = np.arange(0, 24 * 10, 1 / 12)
    flying = (hours % 24 >= 8) & (hours % 24 < 18)
    kg = 40 + np.cumsum(flying * 0.5 / 12) + np.random.default_rng(5).normal(0, 0.01, len(hours))
    kg[hours >= 5 * 24 + 10] -= 3.5
    log = clean(scale(kg, freq="5min"))
    assert log.steps["kg"].to_numpy() == pytest.approx([-3.5], abs=0.1)
    assert log.counts.get("lifted", 0) <= 3  # a quarter of an hour
    daily = 10 * 12 * 0.5 / 12  # ten flying hours
    assert log.gains["gain_kg"].iloc[:9].to_numpy() == pytest.approx(np.full(9, daily), abs=0.12)


def test_hive_lifted_in_a_flow_is_seen_beside_its_own_hour():
    # 1 kg an hour comes in from 8 to 14 h of one day; at 11 h the hive is lifted by 2 kg for 20
    # minutes. Two hours before, the weight was as low as the dip.
    hours = np.arange(0, 24 * 10, 1 / 12)
    coming = (hours >= 5 * 24 + 8) & (hours < 5 * 24 + 14)
    kg = 40 + np.cumsum(coming / 12) + np.random.default_rng(4).normal(0, 0.01, len(hours))
    lifted = (hours >= 5 * 24 + 11) & (hours < 5 * 24 + 11.33)
    kg[lifted] -= 2.0
    log = clean(scale(kg, freq="5min"))
    assert len(log.steps) == 0
    assert list(np.flatnonzero((log.readings["mark"] == "lifted").to_numpy())) == list(
        np.flatnonzero(lifted)
    )


@pytest.mark.parametrize("begins", [745, 755, 765, 772])
def test_step_that_takes_twenty_minutes_is_measured_whole(begins):
    # A swarm of 2.4 kg leaving evenly within 20 minutes, read every minute: at either end of it
    # lies a quiet level, so that the error is that of the noise, wherever the half hours turn.
    minutes = np.arange(8 * 1440)
    gone = np.clip((minutes - (4 * 1440 + begins)) / 20, 0, 1)
    kg = 40 - 2.4 * gone + np.random.default_rng(6).normal(0, 0.01, len(minutes))
    log = clean(scale(kg, freq="1min"))
    assert log.steps["kg"].to_numpy() == pytest.approx([-2.4], abs=0.05)
    assert log.gains["gain_kg"].abs().max() < 0.06
    # Readings taken while it went on are at neither level.
    assert 10 <= log.counts["lifted"] <= 30


def test_scale_that_averages_over_its_hour_shows_one_step_not_two():
    kg = noisy_week()
    kg[60] += 1.7
    kg[61:] += 4.3
    log = clean(scale(kg), work(("2024-05-03 12:20", "super on", np.nan)))
    assert log.steps["kg"].to_numpy() == pytest.approx([4.3], abs=0.1)


# Clocks and spacings


@pytest.mark.parametrize(
    "first_day, timezone, hours",
    [
        ("2024-03-30", "Europe/Berlin", 23),  # clocks go forward on 31 March 2024
        ("2024-10-26", "Europe/Berlin", 25),  # and back on 27 October
        ("2024-10-05", "Australia/Sydney", 23),  # forward on 6 October 2024
        ("2024-04-06", "Australia/Sydney", 25),  # back on 7 April
    ],
)
def test_days_of_23_and_25_hours_are_one_day(first_day, timezone, hours):
    # The weight of each local date rises by 0.5 kg at noon, whatever the date's length.
    index = pd.date_range(first_day, periods=4 * 24, freq="h", tz=timezone)
    noon = (index.hour >= 12).astype(float)
    date = (index.tz_localize(None).normalize() - pd.Timestamp(first_day)).days
    readings = pd.DataFrame({"weight_kg": 40 + 0.5 * (date + noon)}, index=index.tz_convert("UTC"))
    second = index[
        index.tz_localize(None).normalize() == pd.Timestamp(first_day) + pd.Timedelta("1D")
    ]
    assert len(second) == hours
    gains = clean(readings, timezone=timezone).gains
    assert list(gains["days"])[:3] == [1, 1, 1]
    assert gains["gain_kg"].to_numpy()[:3] == pytest.approx([0.5, 0.5, 0.5], abs=1e-9)


@pytest.mark.parametrize(
    "freq, hours", [("15min", 0.25), ("h", 1), ("3h", 3), ("6h", 6), ("8h", 8)]
)
def test_any_spacing_of_a_scale_gives_daily_gains(freq, hours):
    t = np.arange(0, 8 * 24, hours)
    log = clean(scale(40 + 0.01 * t, freq=freq))
    assert log.kind == "scale"
    assert log.gains["gain_kg"].to_numpy()[:6] == pytest.approx(np.full(6, 0.24), abs=1e-9)


def test_night_window_is_taken_from_the_numbers():
    # Weight falls by 0.01 kg an hour by night. With a window of 2 to 4 h (readings at 2 and 3 h)
    # the night weight lies 0.01 kg below that of 0 to 4 h (median of 0, 1, 2, 3 h: 1.5 h).
    t = np.arange(0.0, 5 * 24)
    readings = scale(40 - 0.01 * (t % 24))
    later = NUMBERS.with_overrides({"scale_log.night_start_h": 2.0})
    shift = clean(readings).nights.iloc[0] - clean(readings, numbers=later).nights.iloc[0]
    assert shift == pytest.approx(0.01, abs=1e-9)


# Bad logs


@pytest.mark.parametrize(
    "kg, says",
    [
        ([], "no weight in it"),
        ([np.nan] * 50, "no weight in it"),
        ([0.0] * 50, "none of the 50 weights is between 1 and 500 kg"),
        ([99999.0] * 50, "Check the unit"),
        ([40.0] * 24 * 60, "stuck"),
    ],
)
def test_log_without_a_single_weight_says_so(kg, says):
    with pytest.raises(NotEnoughDataError, match=says) as caught:
        clean(scale(kg))
    assert "\n" not in str(caught.value)  # one sentence, for the caller to put the file in front


def test_log_too_short_for_a_gain_has_an_empty_table():
    for kg in ([40.0], [40.0, 40.1], [40.0] * 6):
        gains = clean(scale(kg)).gains
        assert len(gains) == 0
        assert list(gains.columns) == ["days", "gain_kg", "gain_sd_kg", "quality", "lower_bound"]


def test_times_without_a_zone_and_a_missing_column_are_named():
    readings = scale([40.0] * 30)
    with pytest.raises(TimeIndexError, match="without a time zone"):
        clean(readings.tz_localize(None))
    with pytest.raises(MissingColumnError, match="weight_kg"):
        clean(readings.rename(columns={"weight_kg": "kg"}))


def test_everything_dropped_is_counted():
    kg = noisy_week()
    readings = scale(kg)
    twice = readings.iloc[[10, 11]]  # said again
    other = readings.iloc[[20]] + 0.4  # said differently
    early = readings.iloc[[40]].shift(freq="-3min")  # a stamp out of order, at its end
    zero = readings.iloc[[70]] * 0  # a restart at a time that has a good reading as well
    blank = readings.iloc[[80]].shift(freq="7min") * np.nan
    log = clean(pd.concat([readings, twice, other, zero, blank, early]))
    assert log.counts["no value"] == 1
    assert log.counts["duplicate"] == 2
    assert log.counts["at odds with another of the same time"] == 2
    assert log.counts["out of order"] == 5
    assert log.readings["weight_kg"].iloc[20] == pytest.approx(kg[20] + 0.2)  # their median
    assert "restart" not in log.counts  # the good reading wins over the zero


def test_work_outside_the_log_is_counted_and_left():
    lines = work(("2023-05-03 12:00", "super on", 4.3), ("2025-05-03", "honey off", 20.0))
    log = clean(scale(noisy_week()), lines)
    assert len(log.steps) == 0 and log.counts["work outside the log"] == 2


def test_span_that_no_table_can_hold_is_left_out():
    kg = np.append(noisy_week(), noisy_week())
    readings = scale(kg)
    late = readings.index[7 * 24 :] + pd.Timedelta(days=600)
    readings.index = readings.index[: 7 * 24].append(late)
    log = clean(readings)
    assert log.gains["days"].max() == 1 and log.counts["spans left out"] == 1
