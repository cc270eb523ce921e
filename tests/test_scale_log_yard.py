"""Hand weighings, and several hives together. All hives here are invented."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.numbers import load_numbers
from flowcast.scale_log import (
    CleanLog,
    apart,
    clean_log,
    free_comb,
    hive_strengths,
    mark_full,
    robbing,
    yard_gains,
)
from flowcast.scale_log.log import steps_table
from flowcast.scale_log.room import free_since

NUMBERS = load_numbers()
WORK_COLUMNS = ["time", "timed", "what", "kg", "note"]


def weighed(**by_date):
    """Weighings at 10 h UTC: weighed(d0401=30.0)."""
    times = [pd.Timestamp(f"2024-{d[1:3]}-{d[3:5]} 10:00", tz="UTC") for d in by_date]
    kg = np.array(list(by_date.values()), float)
    return pd.DataFrame({"weight_kg": kg}, index=pd.DatetimeIndex(times))


def work(*lines):
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


def clean(readings, lines=None):
    lines = work() if lines is None else lines
    return clean_log(readings, lines, hive="H1", timezone="UTC", numbers=NUMBERS)


# Hand weighings


def test_spans_from_weighing_to_weighing_with_stated_work_taken_out():
    # 30.0 to 33.5 in 14 days: +3.5. Then a super of 4.0 kg: 33.5 to 45.0 in 16 days is 7.5 of the
    # bees. Then 12.0 kg of honey off: 45.0 to 34.5 in 20 days is 1.5.
    lines = work(("2024-04-20", "super on", 4.0), ("2024-05-10 15:00", "honey off", 12.0))
    log = clean(weighed(d0401=30.0, d0415=33.5, d0501=45.0, d0521=34.5), lines)
    assert log.kind == "hand weighings"
    assert list(log.gains.index) == list(pd.to_datetime(["2024-04-01", "2024-04-15", "2024-05-01"]))
    assert list(log.gains["days"]) == [14, 16, 20]
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([3.5, 7.5, 1.5], abs=1e-9)
    assert (log.gains["quality"] == "good").all()
    # Weighings err by 0.15 kg. At 10 h, 4 of the 14 hours from dawn to dusk are past: that share of the
    # day's gain, here of the larger of the two spans beside it (3.5/14 = 0.25, 7.5/16 = 0.469,
    # 1.5/20 = 0.075), is in or not: 0.0714, 0.1339, 0.1339, 0.0214 kg. A stated weight errs by 0.3.
    # √(2·0.0225 + 0.0714² + 0.1339²) = 0.261; √(0.045 + 2·0.1339² + 0.09) = 0.413;
    # √(0.045 + 0.1339² + 0.0214² + 0.09) = 0.392.
    assert log.gains["gain_sd_kg"].to_numpy() == pytest.approx([0.261, 0.413, 0.392], abs=5e-4)
    assert list(log.steps["kg"]) == [4.0, -12.0] and log.steps["logged"].all()


def test_evening_weighing_stands_for_the_night_after():
    # Weighed on 1 April at 20 h and on 15 April at 7 h: 13 nights, from that of 2 to that of 15 April.
    index = pd.DatetimeIndex(["2024-04-01 20:00", "2024-04-15 07:00"], tz="UTC")
    log = clean(pd.DataFrame({"weight_kg": [30.0, 32.6]}, index=index))
    assert list(log.gains.index) == [pd.Timestamp("2024-04-02")]
    assert list(log.gains["days"]) == [13]


def test_several_weighings_on_a_date_count_once():
    readings = weighed(d0401=30.0, d0420=34.0)
    more = readings.iloc[[0]].shift(freq="20min") + 0.3
    third = readings.iloc[[0]].shift(freq="40min") + 0.2
    log = clean(pd.concat([readings, more, third]))
    # The median of 30.0, 30.3 and 30.2 is 30.2.
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([3.8], abs=1e-9)


def test_work_of_unknown_size_makes_a_span_doubtful():
    lines = work(("2024-04-20", "super on", np.nan), ("2024-05-10", "inspected", np.nan))
    log = clean(weighed(d0401=30.0, d0415=33.5, d0501=45.0, d0521=46.5), lines)
    assert list(log.gains["quality"]) == ["good", "doubtful", "good"]
    # The spans around it gained 3.5/14 = 0.25 and 1.5/20 = 0.075 kg a day, their median is 0.1625:
    # 2.6 kg in 16 days. The other 8.9 kg of the 11.5 are taken for the super.
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([3.5, 2.6, 1.5], abs=1e-9)
    assert log.steps["kg"].to_numpy() == pytest.approx([8.9], abs=1e-9)
    assert "size not known: taken as what" in str(log.steps["note"].iloc[0])
    assert log.gains["gain_sd_kg"].iloc[1] >= NUMBERS["scale_log.unknown_work_sd_kg"]


@pytest.mark.parametrize(
    "around, gain, kg",
    # Ten kilograms taken in a fortnight. In a summer dearth the spans around lose 4 kg each; 0.45 kg a
    # day is more than colonies seldom use over weeks (expert judgement, no source): 6.3 kg, and 0.64
    # for three times the error of a difference of two weighings (3 · √2 · 0.15). Amid losses of 4 kg
    # the hive loses 14 and would have to eat 10 more than around it; amid gains of 2 it loses 8.
    [(-4.0, -14.0, -10.0), (2.0, -8.0, -10.0), (0.0, -10.0, -10.0)],
)
def test_ten_kilograms_taken_that_show_as_a_loss_are_found(around, gain, kg):
    log = clean(fortnights(around, gain))
    assert log.steps["kg"].to_numpy() == pytest.approx([kg], abs=1e-9)
    assert not log.steps["logged"].any()
    assert list(log.gains["quality"]) == ["good"] * 3 + ["doubtful"] + ["good"] * 3


@pytest.mark.parametrize(
    "around, gain",
    # A hungry colony may use 0.9 kg a day (expert judgement, no source), so that a loss of 10 kg beside
    # losses of 4 may be brood; 6 kg of 16 that came in look like any poorer fortnight.
    [(-4.0, -10.0), (10.0, 6.0), (4.0, -6.0)],
)
def test_what_a_colony_may_have_done_itself_is_not_called_work(around, gain):
    log = clean(fortnights(around, gain))
    assert log.steps.empty and (log.gains["quality"] == "good").all()


def fortnights(around, gain):
    """One hive weighed each fortnight of a summer: the fourth span gains `gain`, the others `around`."""
    gains = [around] * 3 + [gain] + [around] * 3
    index = pd.date_range("2024-05-01 10:00", periods=8, freq="14D", tz="UTC")
    return pd.DataFrame({"weight_kg": 50 + np.cumsum([0.0, *gains])}, index=index)


def test_harvest_that_nobody_wrote_down_is_listed_and_asked_about():
    # 0.3 kg a day come in, and between 15 April and 1 May 14.2 kg less are there: over 16 days that is
    # 0.89 kg a day, as much as a strong colony eats in a dearth, but not amid a flow. Usual would be
    # 4.8 kg (0.3 · 16); so 19.0 kg are gone.
    weights = weighed(d0401=40.0, d0408=42.1, d0415=44.2, d0501=30.0, d0508=32.1, d0515=34.2)
    log = clean(weights)
    step = log.steps.iloc[0]
    assert len(log.steps) == 1 and not step["logged"]
    assert step["kg"] == pytest.approx(-19.0, abs=1e-9)
    assert step["cause"] == "honey off?" and "within 16 days without readings" in str(step["note"])
    assert log.counts["steps not in work.csv"] == 1
    assert log.gains["quality"].tolist() == ["good", "good", "doubtful", "good", "good"]
    # A line with the weight settles it.
    told = clean(weights, work(("2024-04-25", "honey off", 19.4)))
    assert told.gains["gain_kg"].iloc[2] == pytest.approx(5.2, abs=1e-9)
    assert (told.gains["quality"] == "good").all() and told.steps["logged"].all()


def test_long_dearth_is_no_harvest():
    log = clean(weighed(d0701=40.0, d0715=34.5, d0801=28.0, d0815=22.6))
    assert len(log.steps) == 0 and (log.gains["quality"] == "good").all()


def test_net_weight_stays_that_of_a_hive_when_harvests_have_no_weight():
    # Five years of 20 kg brought and 20 kg taken, supers weighed and honey not: were nothing taken out
    # for the honey, the hive net of work would sink by 20 kg a year.
    lines, weights, kg = [], {}, 40.0
    for year in range(2019, 2024):
        for month, change in (("04", 0.0), ("06", 20.0), ("07", -20.0), ("09", 0.0)):
            kg += change
            weights[pd.Timestamp(f"{year}-{month}-15 10:00", tz="UTC")] = kg
        lines.append((f"{year}-07-01", "honey off", np.nan))
    readings = pd.DataFrame({"weight_kg": weights.values()}, index=pd.DatetimeIndex(weights))
    log = clean(readings, work(*lines))
    assert log.readings["net_kg"].min() > 30.0
    assert (log.steps["kg"] < -10).all()


def test_work_on_a_day_of_weighing_is_put_where_it_fits():
    # 0.1 kg a day throughout; 20 kg of honey off on 15 May, a day of weighing. Weighed 44.4 before it
    # came off, then 25.8 two weeks on: put before the weighing, the spans would read +21.4 and -18.6.
    before = weighed(d0401=40.0, d0415=41.4, d0501=43.0, d0515=44.4, d0529=25.8, d0612=27.2)
    log = clean(before, work(("2024-05-15", "honey off", 20.0)))
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([1.4, 1.6, 1.4, 1.4, 1.4], abs=1e-9)
    assert (log.gains["quality"] == "good").all()
    # The same, weighed after it came off: 24.4.
    after = weighed(d0401=40.0, d0415=41.4, d0501=43.0, d0515=24.4, d0529=25.8, d0612=27.2)
    log = clean(after, work(("2024-05-15", "honey off", 20.0)))
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([1.4, 1.6, 1.4, 1.4, 1.4], abs=1e-9)
    assert (log.gains["quality"] == "good").all()


def test_hour_of_work_does_not_help_where_weighings_have_none():
    # Weighings by date alone stand at midnight; work at 15 h of the same date may be on either side.
    weights = weighed(d0401=40.0, d0415=41.4, d0501=43.0, d0515=24.4, d0529=25.8, d0612=27.2)
    weights.index = weights.index.normalize()
    log = clean(weights, work(("2024-05-15 15:00", "honey off", 20.0)))
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([1.4, 1.6, 1.4, 1.4, 1.4], abs=1e-9)


def test_work_on_a_day_of_weighing_leaves_both_spans_open():
    # The keeper gave the date only: weighed before the super of 4 kg went on, or after?
    log = clean(weighed(d0401=30.0, d0415=33.5, d0501=45.0), work(("2024-04-15", "super on", 4.0)))
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([3.5, 7.5], abs=1e-9)
    assert (log.gains["gain_sd_kg"] >= 4.0).all() and (log.gains["quality"] == "doubtful").all()
    # With the hour there is no doubt: super on at 8 h, weighed at 10 h.
    told = clean(
        weighed(d0401=30.0, d0415=33.5, d0501=45.0), work(("2024-04-15 08:00", "super on", 3.0))
    )
    assert told.nights.to_numpy() == pytest.approx(
        [30.0, 30.5, 45.0], abs=1e-9
    )  # before it went on
    assert told.gains["gain_kg"].to_numpy() == pytest.approx([0.5, 11.5], abs=1e-9)


def test_loss_that_no_hive_can_have_is_doubtful():
    # 20 kg gone in ten days: more than a swarm (4.5 kg) and 1 kg a day.
    log = clean(weighed(d0401=40.0, d0415=42.0, d0425=22.0, d0505=23.0))
    assert list(log.gains["quality"]) == ["good", "doubtful", "good"]
    assert log.gains["gain_sd_kg"].iloc[1] == pytest.approx(20.0, abs=0.01)


@pytest.mark.parametrize("factor, mark", [(2.20462, "impossible"), (1 / 2.20462, "impossible")])
def test_pounds_among_kilograms_are_marked(factor, mark):
    log = clean(weighed(d0401=40.0, d0415=42.0, d0501=44.0 * factor, d0515=46.0))
    assert list(log.readings["mark"]) == ["good", "good", mark, "good"]
    assert log.gains["gain_kg"].to_numpy() == pytest.approx([2.0, 4.0], abs=1e-9)
    assert log.counts == {"impossible": 1}


def test_lone_weighing_far_from_both_neighbours_is_marked_unless_work_explains_it():
    readings = weighed(d0401=40.0, d0415=42.0, d0501=70.0, d0515=44.0)
    assert clean(readings).counts == {"spike": 1}
    # 24 kg came and were taken: stated work is taken out before neighbours are compared.
    honey = clean(readings, work(("2024-05-10", "honey off", 27.0)))
    assert "spike" not in honey.counts
    assert honey.gains["gain_kg"].to_numpy() == pytest.approx([2.0, 28.0, 1.0], abs=1e-9)
    # Honey taken without a weight: nobody can say.
    assert "spike" not in clean(readings, work(("2024-05-10", "honey off", np.nan))).counts


def test_one_weighing_a_day_gives_daily_spans():
    index = pd.date_range("2024-05-01 20:00", periods=8, freq="D", tz="UTC")
    log = clean(pd.DataFrame({"weight_kg": 40 + 0.3 * np.arange(8)}, index=index))
    assert log.kind == "hand weighings" and (log.gains["days"] == 1).all()
    assert log.gains["gain_kg"].to_numpy() == pytest.approx(np.full(7, 0.3), abs=1e-9)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1), st.integers(2, 12), st.integers(0, 6))
def test_hand_weighings_less_work_are_the_sum_of_gains(seed, weighings, lines):
    rng = np.random.default_rng(seed)
    hours = np.sort(rng.uniform(0, 24 * 120, weighings))
    first = pd.Timestamp("2024-04-01", tz="UTC")
    readings = pd.DataFrame(
        {"weight_kg": rng.uniform(20, 90, weighings)},
        index=first + pd.to_timedelta(hours, unit="h"),
    )
    words = rng.choice(["super on", "honey off", "feed", "inspected"], lines)
    done = work()
    for what in words:
        time = first + pd.Timedelta(hours=float(rng.uniform(0, 24 * 120)))
        timed = bool(rng.random() < 0.5)
        time = time if timed else time.normalize() + pd.Timedelta(hours=12)
        kg = rng.choice([np.nan, 4.0])
        done.loc[len(done)] = [time, timed, what, kg, ""]
    log = clean(readings, done)
    date = log.steps["time"].dt.tz_localize(None).dt.normalize()
    for start, span in log.gains.iterrows():
        end = start + pd.Timedelta(days=span["days"])
        between = log.steps["kg"][((date >= start) & (date < end)).to_numpy()].sum()
        raised = log.nights[end] - log.nights[start]
        assert span["gain_kg"] == pytest.approx(raised - between, abs=1e-9)


# Several hives


def hive(name, gains, sd=0.05, first="2023-05-01", quality="good", days=1, steps=(), full=False):
    """A cleaned log with these gains; NaN is a day without one."""
    index = pd.date_range(first, periods=len(gains), name="date")
    table = pd.DataFrame(
        {"days": days, "gain_kg": np.asarray(gains, float), "gain_sd_kg": sd, "quality": quality},
        index=index,
    ).dropna()
    table["lower_bound"] = full
    readings = pd.DataFrame(columns=["weight_kg", "mark", "net_kg"])
    return CleanLog(
        hive=name,
        kind="scale",
        readings=readings,
        steps=steps_table(list(steps)),
        gains=table,
        nights=pd.Series(dtype=float),
    )


def test_yard_gain_is_the_median_with_its_spread():
    # Day 1: 1.0, 2.0, 4.0: median 2.0; deviations 1, 0, 2 have the median 1, so the spread is
    # 1.4826 and the error √(1.4826² · π/2 / 3) = 1.0728.
    # Day 2: 1.0 and 2.0: median 1.5, spread 1 / √2 = 0.7071, error 0.7071 / √2 = 0.5.
    # Day 3: one hive: its own.
    logs = [
        hive("H1", [1.0, 1.0, 0.7]),
        hive("H2", [2.0, 2.0, np.nan]),
        hive("H3", [4.0, np.nan, np.nan]),
    ]
    yard = yard_gains(logs, NUMBERS)
    assert yard["gain_kg"].to_numpy() == pytest.approx([2.0, 1.5, 0.7], abs=1e-9)
    assert list(yard["hives"]) == [3, 2, 1]
    assert yard["spread_kg"].to_numpy()[:2] == pytest.approx([1.4826, 0.7071], abs=5e-5)
    assert np.isnan(yard["spread_kg"].iloc[2])
    assert yard["gain_sd_kg"].to_numpy() == pytest.approx([1.0728, 0.5, 0.05], abs=5e-5)


def test_yard_error_is_never_below_that_of_measurement():
    # Three hives that agree to the gram are still only known to 0.3 kg each:
    # 0.3 √(π/2 / 3) = 0.217.
    yard = yard_gains([hive(n, [1.0], sd=0.3) for n in ("H1", "H2", "H3")], NUMBERS)
    assert yard["gain_sd_kg"].iloc[0] == pytest.approx(0.217, abs=5e-4)


def test_only_good_single_days_make_the_yard():
    logs = [
        hive("H1", [1.0, 1.0]),
        hive("H2", [9.0, 9.0], quality="doubtful"),
        hive("H3", [9.0, 9.0], days=2),
    ]
    yard = yard_gains(logs, NUMBERS)
    assert list(yard["gain_kg"]) == [1.0, 1.0] and (yard["hives"] == 1).all()


def test_a_full_hive_does_not_drag_the_yard_down():
    # H3 is full. Day 1: 1.0, 2.0 of the others: median 1.5; 0.1 of H3 tells nothing. Day 2: 1.8 of H3 is
    # above their level, and the middle of 1.0, 1.8, 2.0 would rise with it, so 1.8 is a lower bound.
    # Day 3: 3.0 of H3 is above both, the middle is 2.0 whatever H3 could have gained.
    logs = [
        hive("H1", [1.0, 1.0, 1.0]),
        hive("H2", [2.0, 2.0, 2.0]),
        hive("H3", [0.1, 1.8, 3.0], full=True),
    ]
    yard = yard_gains(logs, NUMBERS)
    assert list(yard["gain_kg"]) == [1.5, 1.8, 2.0]
    assert list(yard["hives"]) == [2, 3, 3]
    assert list(yard["lower_bound"]) == [False, True, False]


def test_a_yard_whose_hives_are_all_full_is_full():
    # By hand: the middle of three lower bounds is a lower bound of the middle.
    yard = yard_gains(
        [hive(f"H{k}", [g], full=True) for k, g in enumerate((0.1, 0.3, 0.7))], NUMBERS
    )
    assert list(yard["gain_kg"]) == [0.3] and list(yard["lower_bound"]) == [True]
    one = yard_gains([hive("H1", [0.3], full=True)], NUMBERS)
    assert list(one["gain_kg"]) == [0.3] and list(one["lower_bound"]) == [True]


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(-1, 5), st.booleans(), st.floats(0, 4)), min_size=1, max_size=6)
)
def test_what_the_yard_tells_holds_for_the_gain_with_room(each):
    # With room the full hives gain more by any amount. A lower bound is never above the true middle of
    # the hives it rests on; without a full hive among them the middle is exact.
    logs = [hive(f"H{k}", [g], full=f) for k, (g, f, _) in enumerate(each)]
    yard = yard_gains(logs, NUMBERS).iloc[0]
    roomy = [g for g, f, _ in each if not f]
    level = np.median(roomy) if roomy else -np.inf
    rests = [g + more if f else g for g, f, more in each if not f or g >= level]
    assert yard["hives"] == len(rests)
    assert yard["gain_kg"] <= np.median(rests) + 1e-9
    if not any(f for g, f, _ in each if g >= level):
        assert not yard["lower_bound"]
    if not yard["lower_bound"]:
        assert yard["gain_kg"] == pytest.approx(np.median(rests), abs=1e-9)


def test_days_without_comb_say_nothing_of_a_hives_strength():
    logs = [hive("H1", [2.0] * 60), hive("H2", [2.0] * 60), hive("H3", [2.0] * 60)]
    cut = logs[2].gains["gain_kg"].where(np.arange(60) < 20, 0.1)
    full = logs[2].gains.assign(gain_kg=cut, lower_bound=np.arange(60) >= 20)
    logs[2] = replace(logs[2], gains=full)
    assert hive_strengths(logs, NUMBERS)["H3"] == pytest.approx(1.0)


def test_strength_is_the_ratio_on_flow_days_drawn_to_one():
    # Thirty flow days of 2.0, 1.0 and 3.0 kg: ratios 1, 0.5 and 1.5 to the median. Drawn to 1 as by
    # ten days of ratio 1: 0.5 ** (30/40) = 0.595, 1.5 ** (30/40) = 1.355. Days of loss say nothing.
    days = [1.0] * 30 + [-0.1] * 30
    logs = [hive(n, np.array(days) * k) for n, k in (("H1", 2.0), ("H2", 1.0), ("H3", 3.0))]
    strength = hive_strengths(logs, NUMBERS)
    assert list(strength.index) == ["H1", "H2", "H3"]
    assert strength.to_numpy() == pytest.approx([1.0, 0.595, 1.355], abs=5e-4)


def test_strength_of_a_single_hive_or_of_no_flow_is_one():
    assert hive_strengths([hive("H1", [2.0] * 30)], NUMBERS)["H1"] == 1.0
    dearth = [hive("H1", [-0.2] * 30), hive("H2", [-0.4] * 30)]
    assert list(hive_strengths(dearth, NUMBERS)) == [1.0, 1.0]


def three_hives(leaves_on=57, by=1.4, steps=()):
    rng = np.random.default_rng(8)
    flow = rng.uniform(0.5, 2.5, 80)
    gains = [flow * k + rng.normal(0, 0.1, 80) for k in (1.0, 0.6, 1.2)]
    gains[1][leaves_on : leaves_on + 20] -= by
    return [
        hive("H1", gains[0]),
        hive("H2", gains[1], steps=steps),
        hive("H3", gains[2]),
    ]


def test_hive_that_leaves_the_others_is_named_with_its_date_and_size():
    # The 57th day after 1 May is 27 June; from then on H2 brings 1.4 kg less for 20 days.
    swarm = {
        "time": pd.Timestamp("2023-06-25 12:00", tz="UTC"),
        "kg": -2.8,
        "sd_kg": 0.1,
        "cause": "swarmed",
        "logged": True,
        "note": "",
    }
    sentences = apart(three_hives(steps=[swarm]), NUMBERS)
    assert len(sentences) == 1
    assert str(sentences[0]).startswith("H2 fell behind from 27 June 2023: 1.4 kg a day less")
    assert "(after −2.8 kg on 25 June 2023: swarmed)" in str(sentences[0])


def test_weak_hive_is_not_apart_for_being_weak():
    assert apart(three_hives(by=0.0), NUMBERS) == []


def test_of_two_hives_nobody_can_say_which_one_left():
    assert apart(three_hives()[:2], NUMBERS) == []
    assert apart([], NUMBERS) == []
    assert len(yard_gains([], NUMBERS)) == 0
    assert len(hive_strengths([], NUMBERS)) == 0


def test_reason_is_told_by_what_the_log_knows():
    assert str(apart(three_hives(), NUMBERS)[0]).endswith("or out of room? Look into it.")
    swarm = {"time": pd.Timestamp("2023-06-25 12:00", tz="UTC"), "kg": -2.8, "sd_kg": 0.1,
             "cause": "a prime swarm?", "logged": False, "note": ""}  # fmt: skip
    assert str(apart(three_hives(steps=[swarm]), NUMBERS)[0]).endswith("It had swarmed.")
    full = three_hives()
    full[1] = replace(full[1], gains=full[1].gains.assign(lower_bound=True))
    assert "no free comb left" in str(apart(full, NUMBERS)[0])
    ahead = three_hives(by=-1.4)
    assert str(apart(ahead, NUMBERS)[0]).endswith("joined by a swarm?")


# Robbing


def yard_of_days(**changes):
    """Three hives of 20 days that lose 0.01 kg an hour; changes by name: (day, kg from 9 to 17 h)."""
    logs = []
    for seed, name in enumerate(("H1", "H2", "H3")):
        hours = np.arange(20 * 24)
        kg = 40 - 0.01 * hours + np.random.default_rng(seed).normal(0, 0.02, len(hours))
        for day, change in changes.get(name, []):
            kg += change * np.clip((hours - day * 24 - 9) / 8, 0, 1)
        index = pd.date_range("2024-08-01", periods=len(hours), freq="h", tz="UTC")
        readings = pd.DataFrame({"weight_kg": kg}, index=index)
        logs.append(clean_log(readings, work(), hive=name, timezone="UTC", numbers=NUMBERS))
    return logs


def test_one_loses_by_day_what_its_neighbour_gains():
    # H2 is robbed of 1.2 and 1.0 kg on 11 and 12 August, H1 brings home 1.0 and 0.9 of them.
    logs = yard_of_days(H1=[(10, 1.0), (11, 0.9)], H2=[(10, -1.2), (11, -1.0)])
    sentences = robbing(logs, "UTC", NUMBERS)
    assert len(sentences) == 1
    assert str(sentences[0]).startswith(
        "From 11 August 2024 to 12 August 2024 H2 lost 2.2 kg by day"
    )
    assert "H1 gained 1.9 kg more" in str(sentences[0])


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"H2": [(10, -1.2)]},  # nobody has it
        {"H1": [(10, 1.5)], "H2": [(10, 1.4)], "H3": [(10, 1.6)]},  # a flow
        {"H1": [(10, 1.0)], "H2": [(10, -1.2)], "H3": [(10, 1.0)]},  # of two, neither is the robber
        {"H1": [(10, 3.0)], "H2": [(10, -0.8)]},  # more than was lost
    ],
)
def test_what_is_no_robbing(changes):
    assert robbing(yard_of_days(**changes), "UTC", NUMBERS) == []


# Free comb


def test_free_comb_is_what_is_drawn_and_not_full():
    # A deep of 10 drawn and 6 full, 4 · 3.0 kg (BBKA News 216, READ); a British super of 8 drawn and
    # 10 full is full.
    assert free_comb([("deep", 10, 6), ("national super", 8, 10)], NUMBERS) == pytest.approx(12.0)


def test_days_before_a_full_hive_got_its_box_are_lower_bounds():
    # Ten days of 1.0 kg, then a box on 11 May, then ten days of 1.0 kg; 6.5 kg of comb are free at the
    # end. Before the last day 7.5 were free, ..., at the start of 11 May 16.5 without the box of
    # 16 kg: 0.5; the day before that 1.5, 2.5, and 3.5 at the start of 8 May, which ended with less than
    # the 3.0 kg from which a hive is full.
    box = {"time": pd.Timestamp("2023-05-11 11:00", tz="UTC"), "kg": 4.3, "sd_kg": 0.1,
           "cause": "super on", "logged": True, "note": ""}  # fmt: skip
    log = hive("H1", [1.0] * 20, steps=[box])
    marked = mark_full(log, 6.5, "UTC", NUMBERS)
    free = 6.5 + free_since(log, log.gains.index, "UTC", NUMBERS)
    assert free[[19, 10, 7]] == pytest.approx([7.5, 0.5, 3.5])
    full = marked.gains.index[marked.gains["lower_bound"]]
    assert list(full) == list(pd.date_range("2023-05-08", "2023-05-11"))
    assert marked.counts["days without free comb"] == 4
    assert mark_full(log, None, "UTC", NUMBERS) is log


def test_boxes_seen_on_a_day_tell_of_the_days_before_and_after():
    # Forty days of 1.0 kg. On 21 May, the work of the day done, 10 kg are free: at the start of that
    # day, 30 on 1 May, 3 at the start of 28 May, from whose end on the hive is full (27 May ends so
    # too, at 3.0, not below it).
    log = hive("H1", [1.0] * 40)
    day = pd.Timestamp("2023-05-21")
    free = 10 + free_since(log, log.gains.index, "UTC", NUMBERS, day)
    assert free[[0, 20, 27]] == pytest.approx([30.0, 10.0, 3.0])
    full = mark_full(log, 10.0, "UTC", NUMBERS, day).gains["lower_bound"]
    assert list(full.index[full]) == list(pd.date_range("2023-05-28", "2023-06-09"))


@pytest.mark.parametrize(
    ("cause", "kg", "before"),
    [
        # Seen two days later with 14.0 kg free; 1.0 kg a day gained since: 16.0 after the work.
        ("inspected", 0.0, 16.0),
        ("honey off", -13.0, 3.0),  # the combs came back
        ("honey off?", -13.0, 3.0),  # as guessed
        ("super on", 4.5, 0.0),  # a box of 16 kg
        ("super off", -4.5, 32.0),  # it was empty
        ("honey off and super off", -17.5, 19.0),  # 13 kg of honey went with combs for 16
        ("feed", 6.0, 22.0),
        ("swarmed", -3.0, 16.0),
    ],
)
def test_what_work_does_to_free_comb(cause, kg, before):
    step = {"time": pd.Timestamp("2023-05-11 11:00", tz="UTC"), "kg": kg, "sd_kg": 0.1,
            "cause": cause, "logged": True, "note": ""}  # fmt: skip
    log, seen = hive("H1", [0.0] * 10 + [1.0] * 10, steps=[step]), pd.Timestamp("2023-05-13")
    free = 14.0 + free_since(log, log.gains.index, "UTC", NUMBERS, seen)
    assert free[10] == pytest.approx(before)
    # Work of the day itself was done when the boxes were seen, so it tells of the days before alone.
    same = 14.0 + free_since(log, log.gains.index, "UTC", NUMBERS, pd.Timestamp("2023-05-11"))
    assert same[10] - same[11] == pytest.approx(before - 15.0)
    assert same[11] == pytest.approx(13.0)


def test_a_week_in_which_comb_ran_out_is_a_lower_bound():
    # Weeks of 7 kg up to 15 May with 10, 3 and -4 kg free at their starts: the second began at 3.0, not
    # below, and ended full.
    index = pd.DatetimeIndex(["2023-05-01", "2023-05-08", "2023-05-15"], name="date")
    log = hive("H1", [7.0] * 3, days=7)
    log = replace(log, gains=log.gains.set_axis(index))
    marked = mark_full(log, 10.0, "UTC", NUMBERS, pd.Timestamp("2023-05-01"))
    assert list(marked.gains["lower_bound"]) == [False, True, True]
    assert marked.counts["days without free comb"] == 14


def test_far_from_the_day_they_were_seen_boxes_say_nothing():
    # room_back_d from numbers.toml, before and after.
    log, reach = hive("H1", [0.0] * 200), int(NUMBERS["scale_log.room_back_d"])
    full = mark_full(log, 0.0, "UTC", NUMBERS, log.gains.index[100]).gains["lower_bound"]
    assert list(full.index[full]) == list(log.gains.index[99 - reach : 101 + reach])


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.floats(0, 30), st.floats(0, 10))
def test_more_free_comb_marks_no_further_day(free, more):
    log = hive("H1", np.random.default_rng(1).normal(0.3, 1.0, 40))
    few = mark_full(log, free + more, "UTC", NUMBERS).gains["lower_bound"]
    many = mark_full(log, free, "UTC", NUMBERS).gains["lower_bound"]
    assert (many | ~few).all()
