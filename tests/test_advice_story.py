"""The whole of the advice at one yard: a worked story, and yards of other climates.

The story's ranges are an expert's, with no source: inland 48 N, 10 September after a wet year, a
double deep of 52 kg gross with 26 kg of wood and comb.
"""

import numpy as np
import pandas as pd
import pytest
from futures import NUMBERS, plant, prior_futures

from flowcast.advice.ahead import flows, hive_ahead, next_flow
from flowcast.advice.hive import Box, HiveNow, stores_of
from flowcast.advice.splits import Air, split_advice
from flowcast.advice.stores import stores_advice
from flowcast.advice.winter import leave_advice

# Monthly means of invented places; the courses are like those of such climates, from memory.
INLAND = (-5, -3, 2, 8, 13, 16, 18, 18, 13, 8, 2, -3)
LONG_WINTER = (-12, -10, -4, 3, 10, 15, 17, 15, 10, 3, -4, -10)
EVEN = (24, 24, 23, 21, 18, 16, 15, 16, 18, 20, 22, 23)  # a southern coast
THRESHOLD = 0.5
DOUBLE_DEEP = (Box("deep"), Box("deep"))


class Story:
    """The hive of the story, its futures and all advice for it."""

    def __init__(self):
        plants = [
            plant("fruit trees", "04-25", "05-15", "fair"),
            plant("clover", "06-01", "07-15", "fair"),
            plant("lime", "06-20", "07-10", "heavy"),
        ]
        drawn, temp, brooding, hours = prior_futures("2025-09-10", 260, INLAND, plants, 48.0)
        self.hive = HiveNow(
            "A",
            DOUBLE_DEEP,
            gross_kg=52,
            wood_kg=26,
            brooding=float(brooding[0, 0]),
            supers_on=False,
        )
        self.stores = stores_of(self.hive, NUMBERS)
        self.ahead = hive_ahead(drawn, self.hive, brooding, NUMBERS, np.random.default_rng(3))
        self.dates, visits = drawn.dates, pd.date_range("2025-09-11", periods=5, freq="7D")
        self.feed = stores_advice(
            self.hive, self.ahead, self.stores, temp, visits, THRESHOLD, NUMBERS
        )
        self.leave = leave_advice(self.hive, self.ahead, self.stores, THRESHOLD, NUMBERS)
        air = Air(temp, temp + 5, temp - 5, hours)
        self.split = split_advice(
            self.hive, self.ahead, air, "walk-away", THRESHOLD, NUMBERS, np.random.default_rng(4)
        )


@pytest.fixture(scope="module")
def story():
    return Story()


def test_story_stores(story):
    assert 18 <= story.stores.kg <= 22
    low, _, high = story.feed.stores_kg
    assert 1 < high - low < 6


def test_story_need_and_shortage(story):
    assert 36 <= story.leave.leave_kg[2] <= 45
    assert story.leave.verdict == "short"
    assert 14 <= story.leave.short_kg[2] <= 27
    assert story.leave.spare_kg[0] == 0
    assert story.leave.frames == pytest.approx(story.leave.leave_kg[2] / 3.0)


def test_story_feed_within_days_and_done_before_the_cold(story):
    assert story.feed.verdict == "feed now"
    assert story.feed.food == "syrup 2:1"
    assert story.feed.when.date <= pd.Timestamp("2025-09-18")
    assert pd.Timestamp("2025-09-25") <= story.feed.finish_by <= pd.Timestamp("2025-10-05")


def test_story_starvation_peaks_in_late_winter_and_spring(story):
    first, last = story.feed.peak
    middle = first + (last - first) / 2
    assert pd.Timestamp("2026-02-25") <= middle <= pd.Timestamp("2026-04-30")


def test_story_no_flow_and_no_split(story):
    begins = next_flow(flows(story.ahead.gain_kg, THRESHOLD, NUMBERS), 260)
    assert (begins < 45).mean() <= 0.1
    assert story.split.verdict != "split"
    assert (story.split.weeks["word"].iloc[:8] != "meets the flow").all()


def test_a_six_month_winter_asks_for_more_than_a_shorter_one():
    plants = [plant("willow-herb", "06-20", "08-05", "heavy")]
    hive = HiveNow("A", DOUBLE_DEEP, keeper_kg=25)
    leave = {}
    for name, monthly in (("long", LONG_WINTER), ("short", INLAND)):
        drawn, _, brooding, _ = prior_futures("2025-09-10", 290, monthly, plants, 48.0)
        ahead = hive_ahead(drawn, hive, brooding, NUMBERS, np.random.default_rng(3))
        advice = leave_advice(hive, ahead, stores_of(hive, NUMBERS), THRESHOLD, NUMBERS)
        leave[name] = advice.leave_kg
        assert advice.leave_kg[0] <= advice.leave_kg[1] <= advice.leave_kg[2]
        assert advice.to > pd.Timestamp("2026-04-15")
    assert leave["long"][2] > 30


def _coast(first, latitude, monthly, blooms):
    plants = [plant(f"gum {k}", a, b, "fair", latitude) for k, (a, b) in enumerate(blooms)]
    drawn, temp, brooding, _ = prior_futures(first, 260, monthly, plants, latitude)
    hive = HiveNow("A", DOUBLE_DEEP, keeper_kg=14, supers_on=False)
    ahead = hive_ahead(drawn, hive, brooding, NUMBERS, np.random.default_rng(3))
    visits = pd.date_range(first, periods=36, freq="7D")
    stores = stores_of(hive, NUMBERS)
    feed = stores_advice(hive, ahead, stores, temp, visits, THRESHOLD, NUMBERS)
    return feed, leave_advice(hive, ahead, stores, THRESHOLD, NUMBERS)


def test_all_year_flow_but_for_a_dearth_of_two_months():
    """Nothing like a winter's stores is asked for, and never less than the floor (common practice, no source)."""
    blooms = [("08-01", "11-15"), ("11-01", "03-01"), ("05-01", "07-31")]
    feed, leave = _coast("2025-08-01", -28.0, EVEN, blooms)
    floor = NUMBERS["timing.floor_kg"]
    assert all(kg >= floor for kg in leave.leave_kg)
    assert leave.leave_kg[0] < 30  # not what six months of winter ask for
    assert feed.finish_by is None  # it never grows too cold for syrup


def test_the_south_half_a_year_later_is_the_north():
    """Moved by half a year, the same climate and blooms ask for the same stores within draws."""
    north_months, south_months = INLAND, INLAND[6:] + INLAND[:6]
    blooms = [("04-25", "05-15", "fair"), ("06-01", "07-10", "heavy")]
    half = [("10-25", "11-14", "fair"), ("12-01", "01-09", "heavy")]
    leave = []
    for first, latitude, monthly, dates in (
        ("2025-09-10", 48.0, north_months, blooms),
        ("2026-03-11", -48.0, south_months, half),
    ):
        plants = [plant(f"p{k}", a, b, s, latitude) for k, (a, b, s) in enumerate(dates)]
        drawn, _, brooding, _ = prior_futures(first, 260, monthly, plants, latitude)
        hive = HiveNow("A", DOUBLE_DEEP, keeper_kg=20)
        ahead = hive_ahead(drawn, hive, brooding, NUMBERS, np.random.default_rng(3))
        advice = leave_advice(hive, ahead, stores_of(hive, NUMBERS), THRESHOLD, NUMBERS)
        leave.append(advice.leave_kg)
    assert np.allclose(leave[0], leave[1], rtol=0.12)
