"""A season against the yard's other seasons: hours, plants, hives, and what stands out."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from flowcast.foraging import FACTORS
from flowcast.numbers import load_numbers
from flowcast.reasons import explain_span, standardized_precipitation
from flowcast.reasons.hives import (
    HiveSeason,
    daily_shares,
    full_days,
    gain_against,
    low_hives,
    told_share,
)
from flowcast.reasons.plants import longest_run
from flowcast.reasons.shapley import coalitions, shapley
from flowcast.reasons.spans import against, known_sum, same_dates

NUMBERS = load_numbers()
FIRST, LAST = pd.Timestamp("2022-01-01"), pd.Timestamp("2022-12-31")
NO_SPANS = pd.DataFrame({"days": [], "gain_kg": [], "lower_bound": []}, index=pd.DatetimeIndex([]))


def plain_days(first="2010-01-01", last="2022-12-31", seed=1) -> pd.DataFrame:
    """Every year much alike: a summer of flight, some of it lost, rain now and then."""
    dates = pd.date_range(first, last)
    rng = np.random.default_rng(seed)
    summer = np.clip(np.sin(2 * np.pi * (dates.dayofyear - 80) / 365), 0, None).to_numpy()
    table = pd.DataFrame({"foraging_h": 8 * summer}, index=dates)
    for factor in FACTORS:
        table[f"lost_{factor}_h"] = 0.4 * summer * rng.uniform(0.5, 1.5, len(dates))
    return table.assign(
        precip_mm=np.where(rng.random(len(dates)) < 0.3, rng.gamma(1.0, 5.0, len(dates)), 0.0),
        soil_water_frac=0.6,
        temp_min_c=12 * summer,
        lead_d=0.0,
    )


def explained(days, bloom=None, spans=NO_SPANS, hives=(), first=FIRST, last=LAST):
    none = pd.Series(False, days.index)
    return explain_span(
        days, spans, none if bloom is None else bloom, list(hives), first, last, NUMBERS
    )


def blooming(days, first="06-01", last="06-30"):
    month_day = days.index.strftime("%m-%d")
    return pd.Series((month_day >= first) & (month_day <= last), days.index)


def test_a_sum_stands_for_the_days_that_are_not_known():
    """By hand: 27 of 30 days known are enough where a tenth may be missing, and none of none is."""
    days = np.full(30, 2.0)
    days[:3] = np.nan
    spared = NUMBERS["reasons.missing_share"]
    assert spared == pytest.approx(0.1)
    assert known_sum(days, NUMBERS) == pytest.approx(60.0)
    days[3] = np.nan
    assert np.isnan(known_sum(days, NUMBERS))
    assert np.isnan(known_sum(days[:0], NUMBERS))


# Published values


def test_precipitation_index_against_another_implementation():
    """SPI of McKee et al. 1993 (MEMORY): gamma distribution by Thom's approximation, as deviates.

    Reference: scipy's own maximum-likelihood gamma fit, which Thom's formula approximates.
    """
    rng = np.random.default_rng(4)
    rain = rng.gamma(3.0, 40.0, 60)
    shape, _, scale = stats.gamma.fit(rain, floc=0)
    for now in (40.0, 90.0, 120.0, 200.0, 320.0):
        reference = stats.norm.ppf(stats.gamma.cdf(now, shape, scale=scale))
        assert standardized_precipitation(now, rain) == pytest.approx(reference, abs=0.03)


def test_precipitation_index_is_a_standard_normal_of_its_own_years():
    rng = np.random.default_rng(5)
    rain = rng.gamma(2.0, 50.0, 2000)
    index = [standardized_precipitation(r, rain) for r in rain[:500]]
    assert np.mean(index) == pytest.approx(0.0, abs=0.1)
    assert np.std(index) == pytest.approx(1.0, abs=0.1)


def test_dry_spans_are_a_mass_at_zero():
    # Half of all years without rain: no rain at all stands in the middle of those, at a quarter.
    rain = np.r_[np.zeros(10), np.full(10, 20.0) + np.arange(10)]
    assert standardized_precipitation(0.0, rain) == pytest.approx(stats.norm.ppf(0.25), abs=1e-6)
    assert np.isnan(standardized_precipitation(0.0, np.zeros(12)))


# Worked by hand


def test_a_figure_against_ten_others():
    found = against({y: float(y - 2000) for y in range(2000, 2011)}, 2010)
    assert (found.now, found.usual, found.rank, found.years) == (10.0, 4.5, 1, 11)
    assert (found.low, found.high) == pytest.approx((0.9, 8.1))
    assert found.side == 1
    assert found.strangeness == pytest.approx(5.5 / 3.6)  # against the upper end, 8.1 less 4.5
    alone = against({2010: 3.0}, 2010)
    assert np.isnan(alone.usual)
    assert (alone.side, alone.strangeness) == (0, 0.0)


def test_spells_without_a_wet_day():
    rain = pd.Series([0, 0.9, 2, 0, 0, 0, 1.0, 0], dtype=float)
    assert longest_run(rain, NUMBERS) == 3


def test_same_dates_over_leap_years_and_the_new_year():
    days = plain_days("2019-01-01", "2022-12-31")
    spans = same_dates(days, pd.Timestamp("2020-11-01"), pd.Timestamp("2021-03-15"), NUMBERS)
    assert list(spans) == [2019, 2020, 2021]  # of 2022 only the first weeks are there
    assert {len(part) for part in spans.values()} == {135}
    assert all(part.index[0].strftime("%m-%d") == "11-01" for part in spans.values())


def test_gain_of_days_and_of_totals():
    spans = pd.DataFrame(
        {"days": [1, 1, 4, 4], "gain_kg": [1.0, 2.0, 4.0, 8.0]},
        index=pd.DatetimeIndex(["2022-06-01", "2022-06-02", "2022-06-02", "2022-06-02"]),
    )
    share = daily_shares(spans, pd.Timestamp("2022-06-01"), pd.Timestamp("2022-06-06"))
    # The second day has a gain of its own; the next three the mean of two hives' totals, 1 and 2 a day.
    assert share.to_list()[:5] == pytest.approx([1.0, 2.0, 1.5, 1.5, 1.5])
    assert np.isnan(share.iloc[5])


def test_seasons_are_compared_on_days_known_in_both():
    own = pd.Series([1.0, 1.0, 1.0, np.nan])
    other = pd.Series([3.0, np.nan, 3.0, 3.0])
    found = gain_against({2021: other, 2022: own}, 2022, np.zeros(4, bool), NUMBERS)
    # On the first and third day 2 kg here, 6 there: four less; shown beside this season's 3 kg.
    assert (found.now, found.usual) == (3.0, 7.0)


def test_a_scale_that_stands_in_summer_only_tells_of_the_season():
    """92 of 365 days are a quarter, less than the 0.4 asked; of the 60 days of bloom all are known.
    Hand-worked: 0.1 kg a day less on 92 days are 9.2 kg."""
    days = np.arange(365)
    summer, blooms = (days >= 120) & (days < 212), (days >= 140) & (days < 200)
    own, other = (pd.Series(np.where(summer, kg, np.nan)) for kg in (0.3, 0.4))
    assert told_share(summer, blooms, NUMBERS) == 1.0
    found = gain_against({2021: other, 2022: own}, 2022, blooms, NUMBERS)
    assert (found.now, found.more) == pytest.approx((27.6, -9.2))
    unstated = gain_against({2021: other, 2022: own}, 2022, np.zeros(365, bool), NUMBERS)
    assert np.isnan(unstated.now)


def test_a_week_of_bloom_does_not_stand_for_a_season():
    known = np.arange(365) < 20
    assert told_share(known, known, NUMBERS) == pytest.approx(20 / 365)


def hive(name, kg, first=0, days=100):
    """A hive that gains evenly over 100 days, known from day `first` on."""
    daily = pd.Series(kg / days, pd.date_range("2022-05-01", periods=days))
    daily.iloc[:first] = np.nan
    return HiveSeason(name, daily, np.nan, (), daily.isna() & False)


def test_one_hive_far_behind():
    hives = [hive("A", 30), hive("B", 34), hive("C", 9)]
    assert [low.season.hive for low in low_hives(hives, NUMBERS)] == ["C"]
    assert low_hives(hives[:2], NUMBERS) == []  # of two nobody can say which one is low
    weak = [hive(h.hive, h.gain_kg / 20) for h in hives]
    assert low_hives(weak, NUMBERS) == []  # of next to nothing there is no share


def test_hives_are_compared_on_days_known_of_all():
    # C gains as the others do and is weighed from the 60th day on only: 12.8 of its 32 kg are seen.
    hives = [hive("A", 30), hive("B", 34), hive("C", 32, first=60)]
    assert low_hives(hives, NUMBERS) == []
    late = [hive("A", 30), hive("B", 34), hive("C", 9, first=60)]
    (low,) = low_hives(late, NUMBERS)
    assert (low.gain_kg, low.others_kg) == pytest.approx((3.6, 12.8))
    assert low_hives([*late[:2], hive("C", 9, first=80)], NUMBERS) == []  # too few days in common


def test_a_hive_that_is_behind_for_want_of_comb_is_not_low():
    # C gains 0.3 kg a day as A does, and nothing on the 15 days on which it was full: 25.5 against 30 and
    # 34 kg is no matter; without a word of its comb 9 kg behind would be.
    full = hive("C", 30)
    bound = pd.Series(False, full.daily_kg.index)
    bound.iloc[40:55] = True
    kg = full.daily_kg.mask(bound, -0.6)
    others = [hive("A", 30), hive("B", 34)]
    unread = HiveSeason("C", kg, np.nan, (), bound & False)
    assert [low.season.hive for low in low_hives([*others, unread], NUMBERS)] == ["C"]
    assert low_hives([*others, replace(unread, full=bound)], NUMBERS) == []


def test_full_days_of_days_and_of_totals():
    spans = pd.DataFrame(
        {"days": [1, 1, 4], "gain_kg": [1.0, 2.0, 4.0], "lower_bound": [0.0, 1.0, 1.0]},
        index=pd.DatetimeIndex(["2022-06-01", "2022-06-02", "2022-06-03"]),
    )
    full = full_days(spans, pd.Timestamp("2022-06-01"), pd.Timestamp("2022-06-08"))
    assert full.to_list() == [False, True, True, True, True, True, False, False]


def test_shapley_of_a_known_game():
    """The glove game (Shapley 1953; textbook example, MEMORY): one left glove, two right ones.

    Worth 1 when a left and a right meet: the left one's share is 2/3, the right ones' 1/6 each.
    """
    sets = coalitions(3)
    worth = (sets[:, 0] & (sets[:, 1] | sets[:, 2])).astype(float)
    assert shapley(worth) == pytest.approx([2 / 3, 1 / 6, 1 / 6])


# Properties


@settings(max_examples=40)
@given(st.lists(st.floats(-100, 100), min_size=16, max_size=16))
def test_shapley_axioms(values):
    """Efficiency, dummy, symmetry, additivity, and the mean over all orders of joining."""
    worth = np.array(values)
    share = shapley(worth)
    assert share.sum() == pytest.approx(worth[-1] - worth[0], abs=1e-9)
    sets = coalitions(4)
    orders = []
    for order in permutations(range(4)):
        reached, gained = 0, np.zeros(4)
        for player in order:
            gained[player] = worth[reached | 1 << player] - worth[reached]
            reached |= 1 << player
        orders.append(gained)
    assert share == pytest.approx(np.mean(orders, axis=0), abs=1e-9)
    # A player who never changes anything gets nothing; two who are alike get the same.
    idle = worth[(np.arange(16) & ~1)]
    assert shapley(idle)[0] == pytest.approx(0.0, abs=1e-9)
    alike = np.array([values[2 * int(s[2]) + 4 * int(s[3]) + int(s[0]) + int(s[1])] for s in sets])
    assert shapley(alike)[0] == pytest.approx(shapley(alike)[1], abs=1e-9)
    assert shapley(worth + 2 * idle) == pytest.approx(share + 2 * shapley(idle), abs=1e-8)


def test_a_season_like_all_others_has_no_reasons():
    days = pd.concat([plain_days("2010-01-01", "2010-12-31")] * 13, ignore_index=True)
    days.index = pd.date_range("2010-01-01", periods=len(days))
    found = explained(days, blooming(days))
    assert found.reasons == ()
    assert found.hours["foraging_h"].more == pytest.approx(0.0, abs=15)


def test_another_year_more_or_less_leaves_the_span_s_own_figures():
    days = plain_days()
    one, less = explained(days), explained(days.drop(days.loc["2010"].index))
    assert less.hours["foraging_h"].years == one.hours["foraging_h"].years - 1
    for name, figure in one.hours.items():
        assert less.hours[name].now == figure.now


def test_a_year_with_holes_is_left_out_and_the_span_s_own_are_counted():
    days = plain_days()
    days.loc["2015-05-01":"2015-08-01"] = np.nan
    days.loc["2022-06-01":"2022-06-10"] = np.nan
    found = explained(days)
    assert found.years == 12
    assert found.missing_days == 10


def test_weather_missing_in_bloom_is_unknown_and_never_none():
    """Fifty days without weather: no rank, no reason, no sum made of the days that are left."""
    days = plain_days()
    days.loc["2022-05-25":"2022-07-13"] = np.nan
    found = explained(days, blooming(days))
    figures = (found.bloom_hours["foraging_h"], found.hours["foraging_h"], found.plants.rain_mm)
    for figure in figures:
        assert np.isnan(figure.now)
        assert (figure.rank, figure.side, figure.strangeness) == (0, 0, 0.0)
    assert found.reasons == ()
    assert np.isnan(found.plants.spi)
    assert np.isnan(found.months.loc["2022-06-01", "now"])
    assert found.months.loc["2022-08-01", "now"] > 0


# Recovery from simulated data


@pytest.mark.parametrize("factor", FACTORS)
def test_hours_taken_from_bloom_are_found(factor):
    """Forty hours more lost in the month of bloom: that factor comes first, in bloom, as a cost."""
    days = plain_days()
    june = (days.index >= "2022-06-01") & (days.index <= "2022-06-30")
    days.loc[june, f"lost_{factor}_h"] += 40 / 30
    days.loc[june, "foraging_h"] -= 40 / 30
    reason = explained(days, blooming(days)).reasons[0]
    assert (reason.what, reason.way, reason.in_bloom) == (factor, -1, True)
    assert reason.figure.more == pytest.approx(40, abs=6)


def test_hours_that_go_from_one_factor_to_another_are_no_cost():
    """A dry year: rain takes less, light a little more, and in all there is more flight."""
    days = plain_days()
    june = (days.index >= "2022-06-01") & (days.index <= "2022-06-30")
    days.loc[june, "lost_light_h"] += 1.0
    days.loc[june, "foraging_h"] += 1.5
    assert all(r.what != "light" for r in explained(days, blooming(days)).reasons)


def test_few_other_years_make_no_reasons():
    days = plain_days("2018-01-01", "2022-12-31")
    june = (days.index >= "2022-06-01") & (days.index <= "2022-06-30")
    days.loc[june, "lost_rain_h"] += 3
    days.loc[june, "foraging_h"] -= 3
    assert explained(days, blooming(days)).reasons == ()


def test_hours_lost_when_nothing_blooms_are_no_reason():
    days = plain_days()
    august = (days.index >= "2022-08-01") & (days.index <= "2022-08-31")
    days.loc[august, "lost_rain_h"] += 2
    days.loc[august, "foraging_h"] -= 2
    assert all(r.what != "rain" for r in explained(days, blooming(days)).reasons)
    assert any(r.what == "rain" for r in explained(days).reasons)  # without stated bloom it counts


def test_a_drought_and_frost_on_bloom_are_found():
    days = plain_days()
    rng = np.random.default_rng(2)
    days["soil_water_frac"] = np.clip(0.6 + rng.normal(0, 0.1, len(days)), 0, 1)
    # Summers here are parched every year, so that days below an edge would tell nothing.
    summer = (days.index.month >= 5) & (days.index.month <= 8)
    days.loc[summer, "soil_water_frac"] -= 0.35
    days.loc["2022-05-01":"2022-08-01", "soil_water_frac"] = 0.05
    days.loc["2022-06-03":"2022-06-05", "temp_min_c"] = -3.0
    found = explained(days, blooming(days))
    assert {"dry", "frost"} <= {r.what for r in found.reasons}
    assert found.plants.frost_days.now == 3
