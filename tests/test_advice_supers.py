"""When to add a super or take an empty one off: hand-worked courses, and what may never happen."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from futures import NUMBERS, plain_ahead
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.advice.ahead import HiveAhead, hive_ahead, unripe
from flowcast.advice.hive import Box, Estimate, HiveNow, free_of, stores_of
from flowcast.advice.supers import (
    against_mites,
    box_room,
    comb_taken,
    off_for_feed,
    super_advice,
    while_fed,
)
from flowcast.advice.when import When
from flowcast.flow.scenarios import Scenarios

HIVE = HiveNow("A", (Box("deep"),), frames_of_bees=9)
MEDIUM = Box("medium", 10, 10, 0.0)
FLOW_KG = 0.5  # a day of it is a flow day
SURE = 0.001  # kg; an estimate without doubt


def visits(first="2025-05-01", every=7, count=8):
    return pd.date_range(first, periods=count, freq=f"{every}D")


def advice(gain, free, hive=HIVE, box=MEDIUM, **more):
    return super_advice(
        hive,
        plain_ahead(gain),
        Estimate(free, SURE, "boxes"),
        box,
        visits(),
        FLOW_KG,
        NUMBERS,
        **more,
    )


# Worked by hand


def test_comb_that_wet_nectar_takes():
    """1 kg a day for ever, half of the wet nectar gone each day: the combs hold 2 kg of it in the end
    (1 + 1/2 + 1/4 ...), each kilogram taking 2 x (1 - 0.35) - 1 = 0.3 kg of comb beyond its weight."""
    ahead = plain_ahead(np.full(40, 0.65), intake_kg=np.ones(40))
    assert unripe(ahead.intake_kg, 0.0, NUMBERS)[0, -1] == pytest.approx(2.0, abs=1e-6)
    taken = comb_taken(ahead, 0.0, NUMBERS)[0]
    assert taken[-1] == pytest.approx(0.65 * 40 + 0.3 * 2.0, abs=1e-6)


def test_super_goes_on_at_the_last_visit_in_time():
    """A flow of 1 kg a day (all of it ripe) into 15 kg of free comb leaves less than the last kilogram at
    the end of 15 May: the visit on that morning is in time. With 14 kg it is the evening before, so
    the visit of 8 May is the last good one."""
    ahead = plain_ahead(np.ones(40), intake_kg=np.zeros(40))
    free = Estimate(15.0, SURE, "boxes")
    said = super_advice(HIVE, ahead, free, MEDIUM, visits(), FLOW_KG, NUMBERS)
    assert said.when.first == pd.Timestamp("2025-05-15")
    assert (said.verdict, said.count) == ("add", 1)
    assert said.when.date == pd.Timestamp("2025-05-15")
    earlier = super_advice(
        HIVE, ahead, Estimate(14.0, SURE, "boxes"), MEDIUM, visits(), FLOW_KG, NUMBERS
    )
    assert earlier.when.date == pd.Timestamp("2025-05-08")


def test_a_heavy_flow_wants_two_at_once():
    """4 kg a day from 5 kg of comb: 28 kg come in within the week; one medium of 16 kg is too little."""
    said = advice(np.full(40, 4.0), 5.0)
    assert said.when.date == pd.Timestamp("2025-05-01")
    assert said.count == 2
    assert said.when.chance == 1.0


def test_foundation_counts_little_and_more_in_a_strong_flow():
    """Ten frames of foundation at a fifth of 16 kg, or at half of it amid 2 kg a day (our choice)."""
    box = Box("medium", 10, 0, 0.0)
    assert box_room(box, plain_ahead(np.full(20, 0.5)), NUMBERS) == pytest.approx(3.2)
    assert box_room(box, plain_ahead(np.full(20, 2.5)), NUMBERS) == pytest.approx(8.0)
    assert "foundation counts little" in advice(np.full(40, 1.0), 5.0, box=box).reasons


def test_no_super_for_the_last_kilograms_of_a_flow():
    """A flow that ends a week on brings 3 kg beyond the free comb: less than a quarter of a box."""
    said = advice(np.r_[np.full(7, 0.5), np.full(60, -0.1)], 1.5)
    assert said.verdict == "no more this season"
    assert said.last_worth == pd.Timestamp("2025-05-01")


def test_few_bees_get_no_super_and_are_told_why():
    """Bees on 6 of 10 frames: not until 7 to 8 are covered (common practice, no source)."""
    said = advice(np.full(40, 1.0), 5.0, hive=HiveNow("A", (Box("deep"),), frames_of_bees=6))
    assert said.verdict == "too few bees"
    assert "chilled brood" in said.reasons
    unknown = advice(np.full(40, 1.0), 5.0, hive=HiveNow("A", (Box("deep"),)))
    assert unknown.verdict == "add"
    assert "frames of bees" in unknown.needs


def test_unknown_boxes_ask_for_them():
    hive = HiveNow("A", gross_kg=60)
    free = free_of(hive, stores_of(hive, NUMBERS), NUMBERS)
    said = super_advice(hive, plain_ahead(np.ones(40)), free, MEDIUM, visits(), FLOW_KG, NUMBERS)
    assert said.verdict == "unknown"
    assert said.needs == ("boxes",)


def test_free_comb_leaves_the_brood_nest_out():
    """Two deeps of ten drawn frames, four of them full, a full nest of seven: 9 frames of 3 kg."""
    boxes = (Box("deep", 10, 10, 1), Box("deep", 10, 10, 3))
    hive = HiveNow("A", boxes, brooding=1.0)
    assert free_of(hive, stores_of(hive, NUMBERS), NUMBERS).kg == pytest.approx(27.0)
    # The same from the stores, where nobody counted full frames: 60 - 21 - 12.
    uncounted = HiveNow("A", (Box("deep", 10, 10), Box("deep", 10, 10)), keeper_kg=12)
    assert free_of(uncounted, stores_of(uncounted, NUMBERS), NUMBERS).kg == pytest.approx(27.0)


def test_a_better_hive_brings_in_more():
    """Of two hives with 1.2 and 0.8 of the yard's intake the first gains more by (1 - 0.35) x 0.4."""
    shape = (30, 20)
    like = np.zeros(shape)
    dates = pd.date_range("2025-05-01", periods=20)
    drawn = Scenarios(
        dates, like + 0.5, like + 1.0, like, like, np.zeros(30, int), ("2020",), np.zeros(30, int)
    )
    good, poor = (
        hive_ahead(drawn, HiveNow("A", share=(s, 0.0)), like + 1, NUMBERS, np.random.default_rng(1))
        for s in (1.2, 0.8)
    )
    assert np.allclose(good.gain_kg - poor.gain_kg, 0.65 * 0.4)


def test_no_super_while_the_hive_is_fed():
    """The Codex: nothing is added to honey (bee science sheet 5, READ). Feed that is due three weeks after the
    super leaves it time."""
    said = advice(np.full(40, 1.0), 14.0)
    day = said.when.date
    feed = [When(day + pd.Timedelta(days=d), None, None, 1.0) for d in (-3, 10, 21)]
    fed = while_fed(said, feed[0], NUMBERS)
    assert (fed.verdict, fed.when, fed.count) == ("while fed", None, 0)
    assert while_fed(said, feed[1], NUMBERS).verdict == "while fed"
    assert while_fed(said, feed[2], NUMBERS) == said
    # Feed that is less likely to be wanted than the super keeps none off.
    assert while_fed(said, replace(feed[0], chance=0.3), NUMBERS) == said
    assert while_fed(said, None, NUMBERS) == said


def test_a_super_in_the_time_for_mites_says_so():
    said = advice(np.full(40, 1.0), 14.0)
    day = said.when.date
    assert "late super" in against_mites(said, day - pd.Timedelta(days=3)).cautions
    assert against_mites(said, day + pd.Timedelta(days=3)) == said
    assert against_mites(said, None) == said


# Taking empty ones off


def with_supers(*full):
    return replace(HIVE, boxes=(*HIVE.boxes, *(replace(MEDIUM, full=frames) for frames in full)))


def test_an_empty_super_comes_off_where_the_rest_holds_what_may_come():
    """0.2 kg a day (no flow) is 5.6 kg in the four weeks to the visit of 29 May. Of 26 kg of free comb 16 are
    in the super (bee science sheet 4, MEMORY): the other 10 keep 4.4. Of 22 kg they keep 0.4, which is
    less than the last kilogram: it stays."""
    slow = np.full(60, 0.2)
    said = advice(slow, 26.0, hive=with_supers(0.0))
    assert (said.verdict, said.count, said.box_kind) == ("take off", 1, "medium")
    assert said.when.date == pd.Timestamp("2025-05-01")
    assert (said.back_chance, said.back_until) == (0.0, pd.Timestamp("2025-05-29"))
    assert advice(slow, 22.0, hive=with_supers(0.0)).verdict != "take off"


def test_of_two_empty_supers_as_many_come_off_as_are_spared():
    slow = np.full(60, 0.2)
    both = with_supers(0.0, 0.0)
    assert advice(slow, 42.0, hive=both).count == 2
    assert advice(slow, 38.0, hive=both).count == 1
    assert advice(slow, 42.0, hive=with_supers(4.0, 0.0)).count == 1


def test_a_super_stays_that_may_not_be_empty_or_whose_flow_is_near():
    idle = np.full(60, -0.1)
    for hive in (HIVE, with_supers(0.5), with_supers(None), with_supers(0.0, 0.5)):
        assert advice(idle, 60.0, hive=hive).verdict == "room enough"
    # Seven days of 1 kg from 12 May on: the visit after next, on 15 May, would find them.
    opens = np.r_[np.full(11, -0.1), np.full(7, 1.0), np.full(42, -0.1)]
    assert advice(opens, 60.0, hive=with_supers(0.0)).verdict == "room enough"
    assert advice(np.r_[np.zeros(20), opens], 60.0, hive=with_supers(0.0)).verdict == "take off"


def test_none_comes_off_by_itself_where_all_come_off_for_the_feed():
    """No syrup under supers meant for people: common practice, no source."""
    said = advice(np.full(60, 0.2), 26.0, hive=with_supers(0.0))
    fed = off_for_feed(said, True)
    assert (fed.verdict, fed.when, fed.count, fed.back_chance) == ("while fed", None, 0, None)
    assert off_for_feed(said, False) == said
    added = advice(np.full(40, 1.0), 14.0)
    assert off_for_feed(added, True) == added


def test_without_visits_for_so_long_none_is_taken_off():
    """Four visits reach three weeks on: nothing is said of the fourth week."""
    said = super_advice(
        with_supers(0.0), plain_ahead(np.full(60, -0.1)), Estimate(60.0, SURE, "boxes"), MEDIUM,
        visits(count=4), FLOW_KG, NUMBERS,
    )  # fmt: skip
    assert said.verdict == "room enough"


# Properties


HIVES = st.sampled_from([HIVE, with_supers(0.0), with_supers(0.0, 0.0), with_supers(5.0, 0.0)])
COURSES = st.lists(st.floats(-0.3, 1.5), min_size=9, max_size=9)  # a value a week
EVERY = st.sampled_from([5, 7, 9, 11])


def asked(hive, gain, lift, free, seed, every=7, first="2025-05-01"):
    ahead = spread_ahead(np.repeat(gain, 7), lift, seed, first)
    told = Estimate(free, 1.0, "boxes")
    days = visits(first, every, 63 // every)
    return super_advice(hive, ahead, told, MEDIUM, days, FLOW_KG, NUMBERS), ahead


@settings(max_examples=80, deadline=None)
@given(HIVES, COURSES, st.floats(10, 80), st.integers(0, 9), EVERY)
def test_what_is_taken_off_is_not_put_on_again_soon(hive, gain, free, seed, every):
    """In the same futures, for as long as `timing.super_off_d`; whatever the rhythm of visits."""
    said, _ = asked(hive, gain, 0.0, free, seed, every)
    if said.verdict != "take off":
        return
    left = replace(hive, boxes=hive.boxes[: -said.count])
    again, _ = asked(left, gain, 0.0, free - 16.0 * said.count, seed, every)
    soon = said.when.date + pd.Timedelta(days=int(NUMBERS["timing.super_off_d"]))
    assert again.when is None or again.when.date >= soon
    assert said.back_chance < NUMBERS["timing.out_chance"]


@settings(max_examples=80, deadline=None)
@given(HIVES, COURSES, st.floats(10, 80))
def test_none_is_taken_off_in_a_flow(hive, gain, free):
    """Two weeks in which every future gains a flow day's gain from the first day on."""
    flowing = [FLOW_KG + 0.3, FLOW_KG + 0.3, *gain[2:]]
    ahead = plain_ahead(np.repeat(flowing, 7))
    said = super_advice(
        hive, ahead, Estimate(free, 1.0, "boxes"), MEDIUM, visits(), FLOW_KG, NUMBERS
    )
    assert said.verdict != "take off"


@settings(max_examples=80, deadline=None)
@given(HIVES, COURSES, st.floats(0.01, 1), st.floats(10, 80), st.integers(0, 9))
def test_a_stronger_flow_takes_no_super_off(hive, gain, lift, free, seed):
    (weak, _), (strong, _) = (asked(hive, gain, up, free, seed) for up in (0.0, lift))
    if strong.verdict == "take off":
        assert weak.verdict == "take off"
        assert weak.count >= strong.count


@settings(max_examples=20, deadline=None)
@given(HIVES, COURSES, st.floats(10, 80), st.integers(0, 9))
def test_half_a_year_on_the_same_futures_say_the_same(hive, gain, free, seed):
    """No month is named: the other hemisphere's spring is like this one's."""
    north, south = (
        asked(hive, gain, 0.0, free, seed, first=day)[0] for day in ("2025-05-01", "2025-11-01")
    )
    assert (north.verdict, north.count) == (south.verdict, south.count)
    if north.verdict == "take off":
        assert north.back_until - north.when.date == south.back_until - south.when.date


def spread_ahead(gain, lift, seed, first="2025-05-01"):
    rng = np.random.default_rng(seed)
    rows = np.maximum(np.asarray(gain) + lift, 0) * np.exp(rng.normal(0, 0.4, (60, 1)))
    dates = pd.date_range(first, periods=rows.shape[1])
    return HiveAhead(dates, rows - 0.2, rows, rng.permutation(np.linspace(-2, 2, 60)))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0, 4), min_size=45, max_size=45),
    st.floats(0.01, 2),
    st.floats(2, 40),
    st.integers(0, 9),
    HIVES,
)
def test_a_stronger_flow_never_delays_a_super(gain, lift, free, seed, hive):
    told = Estimate(free, 2.0, "boxes")
    weak, strong = (
        super_advice(hive, spread_ahead(gain, up, seed), told, MEDIUM, visits(), FLOW_KG, NUMBERS)
        for up in (0.0, lift)
    )
    if weak.verdict == "add":
        assert strong.verdict == "add"
        assert strong.when.date <= weak.when.date


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 3), min_size=45, max_size=45), st.floats(2, 30), st.floats(0, 20))
def test_more_free_comb_never_asks_for_a_super_sooner(gain, free, more):
    ahead = spread_ahead(gain, 0.0, 1)
    less, much = (
        super_advice(HIVE, ahead, Estimate(kg, 2.0, "boxes"), MEDIUM, visits(), FLOW_KG, NUMBERS)
        for kg in (free, free + more)
    )
    if much.verdict == "add":
        assert less.when.date <= much.when.date
