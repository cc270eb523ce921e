"""When to split: the brood calendar, hand-worked weeks, both hemispheres' weather, queen cells."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from futures import NUMBERS, plain_ahead
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.advice.hive import Box, HiveNow
from flowcast.advice.splits import (
    KINDS,
    WORDS,
    Air,
    SwarmWatch,
    _flow_until,
    _on,
    after_feed,
    heed_drones,
    mating_days,
    split_advice,
    swarm_watch,
)

HIVE = HiveNow("A", (Box("deep"), Box("deep")), frames_of_bees=14, supers_on=False)
THRESHOLD = 0.5
QUEEN_D, WORKER_D, DRONE_D = 16, 21, 24  # egg to adult, several general pages READ2


def air(warmest, rows=40, days=240, hours=6.0, night=10.0):
    like = np.broadcast_to(np.asarray(warmest, float), (rows, days))
    return Air(like - 6, like, np.full((rows, days), night), np.full((rows, days), hours))


def course(flow_from, flow_days, days=240, kg=2.0):
    gain = np.full(days, -0.1)
    gain[flow_from : flow_from + flow_days] = kg
    return gain


def split(gain, kind="laying queen", weather=None, hive=HIVE, first="2025-04-01", **more):
    ahead = plain_ahead(gain, first)
    weather = weather or air(22.0)
    rng = np.random.default_rng(1)
    return split_advice(hive, ahead, weather, kind, THRESHOLD, NUMBERS, rng, **more)


# Published values


def test_times_to_foragers_follow_from_the_brood_calendar():
    """Worker 21 days (READ2) and some 21 more to the field (Abou-Shaara 2014 READ): 42. With a ripe
    cell she emerges, mates after 5 to 8 and lays after 2 to 4 days more; with a walk-away split from
    a young larva 12 to 13 days more (sheet 5, MEMORY): 62 to 70 days lie within the 9 to 11 weeks."""
    forager = WORKER_D + 21
    assert NUMBERS["timing.egg_to_forager_d"] == forager
    low, high = NUMBERS["timing.foragers_walk_low_d"], NUMBERS["timing.foragers_walk_high_d"]
    assert low <= (QUEEN_D - 4) + 5 + 2 + forager + 2 <= high  # the shortest, within days
    assert low <= 13 + 8 + 4 + forager <= high
    assert NUMBERS["timing.mating_walk_d"] == pytest.approx((12.5 + 6.5), abs=1.5)
    assert DRONE_D > WORKER_D > QUEEN_D


def test_times_are_those_of_practice():
    """6 to 8, 8 to 9.5 and 9 to 11 weeks; expert judgement, no source."""
    weeks = {"laying": (6, 8), "cell": (8, 9.5), "walk": (9, 11)}
    for name, (low, high) in weeks.items():
        assert NUMBERS[f"timing.foragers_{name}_low_d"] == pytest.approx(7 * low, abs=1)
        assert NUMBERS[f"timing.foragers_{name}_high_d"] == pytest.approx(7 * high, abs=1)


# Worked by hand


def test_last_week_that_meets_the_flow():
    """A flow from day 100 on: 100 less 56 days is day 44 for the slowest split with a laying queen, so
    every week up to day 42 surely meets it, and none from day 59 (100 less 42, and a day)."""
    weeks = split(course(100, 40)).weeks
    day = (weeks.index - weeks.index[0]).days
    assert (weeks["meets"][day <= 42] == 1).all()
    assert (weeks["meets"][(day >= 59) & (day < 100)] == 0).all()
    walk = split(course(100, 40), "walk-away").weeks
    assert (walk["meets"][day <= 21] == 1).all()  # 100 less 77 days
    assert (walk["meets"][(day >= 38) & (day < 100)] == 0).all()  # 100 less 63


def test_a_split_in_the_flow_costs_what_its_foragers_would_have_brought():
    """Split on the first day of a flow of 40 days at 2 kg: nothing new flies in it, and three tenths
    of 80 kg are lost (our choice of share)."""
    weeks = split(course(98, 40)).weeks
    row = weeks.iloc[14]  # day 98
    assert row["crop_q50"] == pytest.approx(-0.3 * 80)
    assert row["word"] in ("costs the crop", "too late")
    early = weeks.iloc[0]
    assert early["crop_q50"] > 0
    assert early["word"] == "meets the flow"


def test_too_late_before_winter():
    """New foragers after 6 to 8 weeks and another round of brood of 6 weeks: 14 weeks before the cold
    at the latest, which comes here on day 150."""
    warmth = np.r_[np.full(150, 22.0), np.full(90, 2.0)]
    weeks = split(course(60, 80), weather=air(warmth)).weeks
    day = (weeks.index - weeks.index[0]).days
    assert (weeks["in_time"][day <= 42] == 1).all()
    assert (weeks["word"][(day > 105) & (day < 140)] == "too late").all()


def test_no_queen_mates_in_the_cold_and_a_laying_one_need_not():
    """14 °C at the warmest: no mating flights (good from 20, possible from 16 °C, expert judgement)."""
    cool = air(15.0)
    assert (split(course(100, 40), "walk-away", cool).weeks["word"] == "no mating weather").any()
    assert "no mating weather" not in set(split(course(100, 40), weather=cool).weeks["word"])


def test_mating_days_need_warmth_or_sun():
    """18 °C counts with six foraging hours and not with two; 21 °C counts with two."""
    assert mating_days(air(18.0, 1, 1, hours=6), NUMBERS).all()
    assert not mating_days(air(18.0, 1, 1, hours=2), NUMBERS).any()
    assert mating_days(air(21.0, 1, 1, hours=2), NUMBERS).all()
    assert not mating_days(air(21.0, 1, 1, hours=0), NUMBERS).any()


def test_dates_of_the_young_queen():
    said = split(course(100, 60), "walk-away")
    assert said.mating_from - said.when.date == pd.Timedelta(days=18)
    assert said.unmated_after > said.mating_to
    assert "drone layer" in said.cautions
    assert split(course(100, 60)).mating_from is None


def test_queen_cells_override_the_calendar():
    hive = HiveNow("A", HIVE.boxes, frames_of_bees=14, cells=True)
    said = split(np.full(240, -0.2), hive=hive)
    assert said.verdict == "cells: act now"
    assert said.when.date == pd.Timestamp("2025-04-01")
    watch = swarm_watch(hive, plain_ahead(np.ones(60)), air(5.0, 40, 60), False, None, NUMBERS)
    assert watch.verdict == "cells: act now"


def test_small_colonies_and_beetles():
    assert split(course(100, 40), hive=HiveNow("N", nucleus=True)).verdict == "not this colony"
    few = HiveNow("A", HIVE.boxes, frames_of_bees=5)
    assert split(course(100, 40), hive=few).verdict == "not this colony"
    assert "beetles on small units" in split(course(100, 40), beetle_season=True).cautions


def test_no_flow_ahead_is_no_time_to_split():
    said = split(np.full(240, -0.1))
    assert (said.verdict, said.when) == ("must be fed", None)


def test_a_split_in_june_inland_is_not_too_late():
    """1 June at 48 N, cold from mid October (day 135), main flow to 25 July: common practice (no source)
    splits with a laying queen until mid July, walk-away until mid June, and feeds them."""
    warmth = np.r_[np.full(135, 22.0), np.full(105, 2.0)]
    flow = course(10, 45)
    laying, walk = (
        split(flow, kind, air(warmth), first="2025-06-01").weeks for kind in ("laying queen", "walk-away")
    )  # fmt: skip
    assert (laying["word"].iloc[:5] == "costs the crop").all()
    assert (walk["word"].iloc[:2] == "costs the crop").all()
    assert (laying["word"].loc["2025-07-21":"2025-08-30"] == "too late").all()


def test_where_no_winter_comes_no_week_is_too_late():
    """A dearth or the end of the days looked at asks for feed, and is no winter."""
    weeks = split(course(0, 30)).weeks
    assert "too late" not in set(weeks["word"])


def test_no_best_day_is_named_for_a_split_that_hardly_meets_a_flow():
    """A flow of 20 kg in one future of ten, in 100 days, adds less than 2 kg in the mean (split_costs_kg):
    every week is for increase, undated. One of 200 kg pays, and its chance is said."""
    said = {}
    for kg in (0.5, 5.0):
        rows = np.full((40, 240), -0.1)
        rows[:4, 100:140] = kg
        ahead = replace(plain_ahead(np.full(240, -0.1), "2025-04-01"), gain_kg=rows)
        rng = np.random.default_rng(1)
        said[kg] = split_advice(HIVE, ahead, air(22.0), "laying queen", THRESHOLD, NUMBERS, rng)
    assert (said[0.5].verdict, said[0.5].when) == ("increase", None)
    assert said[0.5].weeks["meets"].max() <= 0.1
    assert said[5.0].verdict == "split"
    assert said[5.0].reasons == ("pays on the whole",)
    assert said[5.0].when.chance <= 0.1


def test_cold_weeks_are_not_for_opening_hives():
    """Spring from day 30 on: before it 8 °C at the warmest, under the 14 °C of common practice."""
    weeks = split(course(120, 40), weather=air(np.r_[np.full(30, 8.0), np.full(210, 22.0)])).weeks
    assert weeks["word"].iloc[0] == "too cold"
    assert weeks["word"].iloc[5] == "meets the flow"


def test_swarm_watch_every_week_or_every_twelve_days():
    """7 days (sheet 5, READ2), 10 to 14 with a clipped queen (expert judgement)."""
    ahead, warm = plain_ahead(np.ones(60)), air(20.0, 40, 60)
    watch = swarm_watch(HIVE, ahead, warm, True, 4.0, NUMBERS)
    assert (watch.verdict, watch.every_d) == ("look", 7)
    assert "space running out" in watch.reasons
    clipped = HiveNow("A", HIVE.boxes, clipped=True)
    assert 10 <= swarm_watch(clipped, ahead, warm, True, 30.0, NUMBERS).every_d <= 14
    assert swarm_watch(HIVE, ahead, warm, False, 4.0, NUMBERS).verdict == "not the season"
    assert swarm_watch(HIVE, ahead, air(8.0, 40, 60), True, 4.0, NUMBERS).every_d is None


def test_a_queenless_hive_is_not_split():
    lost = HiveNow("A", HIVE.boxes, frames_of_bees=14, queenright=False)
    assert split(course(100, 60), hive=lost).verdict == "not this colony"


def test_a_hive_short_of_stores_is_fed_before_it_is_split():
    """A keeper feeds a hungry hive and splits it only once it is strong: common practice, no source."""
    offered = split(course(100, 60), "walk-away")
    day = offered.when.date
    hungry = after_feed(offered, day)
    assert (hungry.verdict, hungry.when, hungry.mating_from) == ("feed first", None, None)
    assert after_feed(offered, day - pd.Timedelta(days=1)) == offered  # fed and strong by then
    assert after_feed(offered, None) == offered
    for undated in ("increase", "costs the crop", "must be fed"):
        told = replace(offered, verdict=undated, when=None)
        assert after_feed(told, told.weeks.index[0]).verdict == "feed first"


@pytest.mark.parametrize("verdict", ["too late", "too cold", "no mating weather", "unknown"])
def test_what_forbids_a_split_for_longer_is_said_before_its_stores(verdict):
    told = replace(split(course(100, 60)), verdict=verdict, when=None)
    assert after_feed(told, pd.Timestamp("2100-01-01")) == told


def test_in_the_cold_a_hungry_hive_is_not_told_to_be_split_once_fed():
    """In the cold no hive is divided, fed or not: common practice, no source."""
    offered = split(course(100, 60))
    cold = offered.weeks.assign(word=["too cold", *offered.weeks["word"].iloc[1:]])
    told = after_feed(replace(offered, weeks=cold), offered.when.date)
    assert (told.verdict, told.reasons, told.when) == ("too cold", ("too cold",), None)
    assert after_feed(offered, offered.when.date).verdict == "feed first"


@pytest.mark.parametrize("kind", ["laying queen", "ripe cell", "walk-away"])
def test_outside_the_swarm_season_a_split_that_must_mate_is_told_of_drones(kind):
    """Colonies rear few drones outside the season of swarms: common practice, no source."""
    now = replace(split(course(100, 60), kind), verdict="split")
    out, look = SwarmWatch(verdict="not the season"), SwarmWatch(verdict="look")
    assert ("drones first" in heed_drones(now, out).cautions) == (kind != "laying queen")
    assert heed_drones(now, look) == now
    later = replace(now, verdict="wait")  # the season may have come by then
    assert heed_drones(later, out) == later


def test_queen_cells_do_not_wait_for_feed():
    cells = HiveNow("A", HIVE.boxes, frames_of_bees=14, cells=True)
    told = split(course(100, 60), hive=cells)
    assert after_feed(told, pd.Timestamp("2100-01-01")).verdict == "cells: act now"


def test_a_nucleus_is_looked_at_for_cells_once_it_is_full():
    """Common practice, no source: a nucleus swarms in spring when its box is full."""
    ahead, warm = plain_ahead(np.ones(60)), air(20.0, 40, 60)
    small = HiveNow("N", (Box("deep", 5),), nucleus=True)
    assert swarm_watch(small, ahead, warm, True, 1.0, NUMBERS).verdict == "look"
    assert swarm_watch(small, ahead, warm, True, 9.0, NUMBERS).verdict == "has room"
    assert swarm_watch(small, ahead, warm, False, 1.0, NUMBERS).verdict == "not the season"


def test_hot_nights_are_named():
    """Bees clustering outside on them may only be cooling the hive."""
    hot = air(36.0, 40, 60, night=26.0)
    watch = swarm_watch(HIVE, plain_ahead(np.ones(60)), hot, True, 20.0, NUMBERS)
    assert len(watch.hot_nights) == NUMBERS["timing.hot_nights_d"]  # of 60 such nights
    assert "cooling, not swarming" in watch.cautions
    cool = swarm_watch(HIVE, plain_ahead(np.ones(60)), air(30.0, 40, 60), True, 20.0, NUMBERS)
    assert not cool.hot_nights


def test_flow_lasts_until_a_long_time_without_any():
    """Worked by hand: flows on days 2-4, 9-11 and 80-82 with a dearth of timing.dearth_d between the
    second and the third; from each day on the flow lasts to the end of the last one before that."""
    dearth = int(NUMBERS["timing.dearth_d"])
    later = 11 + dearth
    until = _flow_until([[(2, 4), (9, 11), (later, later + 2)], []], later + 10, NUMBERS)
    assert set(until[0, :12]) == {11}
    assert set(until[0, 12 : later + 3]) == {later + 2}
    assert set(until[0, later + 3 :]) == {-1} == set(until[1])


def test_a_table_is_read_on_one_day_of_each_future():
    table = np.array([[1, 2, 3], [4, 5, 6]])
    day = np.array([[0, 2], [1, 3]])
    assert _on(table, day, 99).tolist() == [[1, 6], [2, 99]]


# Properties


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 200), st.integers(5, 60), st.sampled_from(list(KINDS)))
def test_every_week_has_its_word_and_chances(start, length, kind):
    weeks = split(course(start, min(length, 240 - start)), kind).weeks
    assert set(weeks["word"]) <= set(WORDS)
    assert weeks[["meets", "in_time", "warm"]].stack().between(0, 1).all()
    assert (weeks["crop_q10"] <= weeks["crop_q90"] + 1e-9).all()


@settings(max_examples=25, deadline=None)
@given(st.integers(60, 160), st.integers(10, 60))
def test_a_quicker_split_meets_the_flow_at_least_as_often(start, length):
    meets = [split(course(start, length), kind).weeks["meets"] for kind in KINDS]
    day = (meets[0].index - meets[0].index[0]).days
    before = day < start  # after it there is nothing left to meet
    assert (meets[0][before] >= meets[1][before]).all()
    assert (meets[1][before] >= meets[2][before]).all()
