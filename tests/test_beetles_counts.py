"""What a count in a beetle tray means.

MU14: Mustafa et al., susceptibility of small honey bee colonies (abstract READ): 46.9 +/- 26.7 beetles
in full-size colonies without damage; of 24 companion nuclei 5 collapsed.
"""

import numpy as np
import pandas as pd
import pytest
from climates import BATON_ROUGE, drivers
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from flowcast.beetle import Count, draw_traits, read_counts, run_course, typical_traits
from flowcast.beetle.counts import count_size, own_model, per_14_days, prior_model
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
ONE = typical_traits(NUMBERS)
DATES = pd.date_range("2024-01-01", periods=365)
LOW, MODERATE, HIGH = 0.05, 0.4, 0.9
MANY, FEW = (np.full((1, 365), level) for level in (HIGH, LOW))


def count(beetles=50, date="2024-08-15", **changed):
    row = {
        "hive": "H1",
        "days": 14,
        "larvae": False,
        "trap": "oil tray",
        "frames_of_bees": 9.0,
        "queenright": "yes",
    }
    return Count(date=pd.Timestamp(date), beetles=beetles, **(row | changed))


def read(*counts, showing=MANY, traits=ONE):
    return read_counts(list(counts), showing, DATES, traits, NUMBERS)


# Published values and facts of the trade


def test_spread_of_counts():
    # DERIVED from MU14 READ: k = 46.9² / (26.7² - 46.9) = 3.30.
    assert count_size(NUMBERS) == pytest.approx(3.30, abs=0.01)


def test_fifty_in_a_humid_season_is_ordinary():
    # About 50 in a tray in two weeks, strong colony, humid season: common practice, no source. The
    # percentile (62) is ours, ASSUMPTION.
    found = read(count(50))[0]
    assert found.verdict == "ordinary"
    assert found.share == pytest.approx(0.62, abs=0.01)


def test_fifty_where_few_stand_is_unusual():
    found = read(count(50), showing=FEW)[0]
    assert found.verdict == "unusual"
    assert found.share > 0.99


def test_the_same_count_through_a_real_year():
    """Gulf coast normals (MEMORY): 50 is ordinary in October and not in February."""
    dates, weather = drivers(BATON_ROUGE)
    traits = draw_traits(NUMBERS, np.random.default_rng(1), 300, soil="loam")
    showing = run_course(weather, traits, NUMBERS).showing
    autumn = read_counts([count(50, "2003-10-15")], showing, dates, traits, NUMBERS)[0]
    winter = read_counts([count(50, "2003-02-05")], showing, dates, traits, NUMBERS)[0]
    assert autumn.verdict == "ordinary"
    assert winter.verdict in ("high", "unusual")


@pytest.mark.parametrize("beetles", [0, 3, 50, 500])
def test_a_nucleus_is_never_called_ordinary(beetles):
    # MU14 READ: nuclei collapse at loads that large colonies bear.
    found = read(count(beetles, kind="nucleus"))[0]
    assert found.verdict == "colony"
    assert "nucleus" in found.why


@pytest.mark.parametrize("beetles", [0, 50, 500])
@pytest.mark.parametrize(
    "changed, why",
    [
        ({"frames_of_bees": 6.0}, "few frames"),
        ({"frames_of_bees": np.nan}, "frames not known"),
        ({"queenright": "no"}, "queenless"),
        ({"queenright": "unknown"}, "queen not known"),
        ({"unsettled": "swarmed"}, "swarmed"),
        ({"unsettled": "split"}, "split"),
    ],
)
def test_no_comfort_for_a_colony_that_is_not_known_to_be_strong(beetles, changed, why):
    found = read(count(beetles, **changed))[0]
    assert found.verdict == "colony"
    assert found.why == (why,)


@pytest.mark.parametrize("changed", [{}, {"kind": "nucleus"}, {"days": 3}, {"queenright": "no"}])
def test_larvae_come_first_whatever_the_count(changed):
    # Larvae, slime or a fermenting smell is the alarm, not the number (reference sheets READ).
    assert read(count(0, larvae=True, **changed))[0].verdict == "larvae"


# Worked by hand


def test_rescaled_to_14_days():
    assert per_14_days(count(30, days=21), NUMBERS) == pytest.approx(20.0)
    assert per_14_days(count(30, days=7), NUMBERS) == pytest.approx(60.0)
    assert np.isnan(per_14_days(count(30, days=6), NUMBERS))
    assert np.isnan(per_14_days(count(30, days=29), NUMBERS))
    assert read(count(30, days=6))[0].verdict == "period"


def test_own_record_by_hand():
    # (3 x 47 + 10 + 20) / (3 + 2) = 34.2 in the high band; the others keep their prior.
    own = own_model([(2, 10.0), (2, 20.0)], prior_model("oil tray", NUMBERS), NUMBERS)
    assert own.means == pytest.approx([5.0, 20.0, 34.2])
    # A year of weather unknown at the time of a count: nothing is said of the number.
    assert read(count(5, "2020-01-01"))[0].verdict == "no weather"


def test_over_the_ceiling_is_never_ordinary():
    # Expert judgement: over 80 to 100 in 14 days is never ordinary. 81 is the 87th percentile of many.
    found = read(count(81))[0]
    assert found.share < NUMBERS["beetle.usual_share"]
    assert found.verdict == "high"
    assert read(count(80))[0].verdict == "ordinary"


def test_shares_are_those_of_the_negative_binomial():
    model = prior_model("oil tray", NUMBERS)
    one_band = np.array([0.0, 0.0, 1.0])
    size = count_size(NUMBERS)
    reference = stats.nbinom(size, size / (size + 47))  # scipy is the reference
    for number in (0, 13, 42, 83, 130):
        assert model.share_below(number, one_band) == pytest.approx(reference.cdf(number), abs=1e-9)
    for share in (0.1, 0.5, 0.9):
        assert model.quantile(share, one_band) == reference.ppf(share)


# Properties


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 400), max_size=30), st.integers(0, 200))
def test_a_record_of_its_own_may_tighten_and_never_loosen(history, number):
    """Whatever was counted before, a count is never judged more kindly than without a record."""
    earlier = [count(n, DATES[190] + pd.Timedelta(days=5 * k)) for k, n in enumerate(history)]
    alone = read(count(number, DATES[-1]))[0]
    among = read(*earlier, count(number, DATES[-1]))[-1]
    assert among.share >= alone.share - 1e-12
    order = ["ordinary", "high", "unusual"]
    assert order.index(among.verdict) >= order.index(alone.verdict)


def test_a_yard_with_few_beetles_tightens():
    earlier = [count(4, DATES[190] + pd.Timedelta(days=10 * k)) for k in range(14)]
    assert read(*earlier, count(50, DATES[-1]))[-1].verdict == "unusual"


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 300), st.integers(0, 300), st.sampled_from(["oil tray", "dry tray"]))
def test_more_beetles_are_never_more_ordinary(one, two, trap):
    low, high = sorted((one, two))
    order = ["ordinary", "high", "unusual"]
    verdicts = [order.index(read(count(n, trap=trap))[0].verdict) for n in (low, high)]
    assert verdicts[0] <= verdicts[1]


@pytest.mark.parametrize("history", [[0] * 14, [0] * 13 + [1], [1] * 12, [4] * 20])
def test_few_beetles_are_never_called_many(history):
    """A yard that has had next to none: a handful is no alarm, and the intervals stay sane."""
    earlier = [count(n, DATES[190] + pd.Timedelta(days=8 * k)) for k, n in enumerate(history)]
    for number in (0, 1, 5):
        found = read(*earlier, count(number, DATES[-1]))[-1]
        assert found.verdict == "ordinary"
        low, middle, high = found.expected
        assert low <= middle <= high <= 60


def test_half_a_year_must_stand_behind_a_count():
    assert read(count(5, DATES[170]))[0].verdict == "no weather"
    assert read(count(5, DATES[185]))[0].verdict == "ordinary"


def test_later_counts_do_not_touch_earlier_readings():
    first, later = count(30, DATES[200]), count(400, DATES[250])
    assert read(first)[0] == read(first, later)[0]


# Recovery from simulated data


@pytest.mark.parametrize("truth, size", [(6.0, 2.0), (20.0, 3.0), (35.0, 5.0)])
def test_the_yards_own_mean_is_found(truth, size):
    rng = np.random.default_rng(int(truth))
    seen = rng.negative_binomial(size, size / (size + truth), 60)
    own = own_model([(2, float(n)) for n in seen], prior_model("oil tray", NUMBERS), NUMBERS)
    assert own.means[2] == pytest.approx(truth, rel=0.25)
    assert own.size[2] == pytest.approx(size, rel=0.6)


@pytest.mark.parametrize("level", [-0.4, 0.0, 0.4])
def test_an_80_percent_interval_of_counts_covers_80_percent(level):
    """Yards whose mean lies off the prior by this much (in logarithms, sd 0.3 between them): what is
    shown after ten counts of their own. Counts are whole and the interval's ends belong to it."""
    rng = np.random.default_rng(8)
    size, inside = count_size(NUMBERS), []
    for _ in range(150):
        mean = 47 * np.exp(rng.normal(level, 0.3))
        seen = rng.negative_binomial(size, size / (size + mean), 11)
        days = [DATES[190] + pd.Timedelta(days=12 * k) for k in range(11)]
        low, _, high = read(*map(count, seen.tolist(), days))[-1].expected
        inside.append(low <= seen[10] <= high)
    assert 0.73 <= np.mean(inside) <= 0.89  # 150 yards: a standard error of 0.033
