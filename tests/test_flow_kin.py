"""Several yards in one flow model: what they share by hand, covariances, what one learns of another."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kstest
from test_flow_fit import LIME, NONE, PLAIN, SUMMER, _simulated, season_days, spans_of

from flowcast.flow.fit import fit_flow, fit_yards
from flowcast.flow.household import Stock, drivers, prior_household, use
from flowcast.flow.kernel import Scales
from flowcast.flow.kin import SHARED, Kin, nearness, spot_from, tells
from flowcast.flow.latent import Prior, from_scale, slope, to_scale
from flowcast.flow.plants import Plant
from flowcast.flow.prior import Akin, draw_ensemble
from flowcast.flow.seen import YardLog
from flowcast.numbers import load_numbers
from flowcast.tables import Place

NUMBERS = load_numbers()
HERE, SPOT = (0.0, 0.0, 0.0), (3.0, 4.0, 80.0)  # 5 km away and 80 m up
NOTHING = {f"flow.share_{name}": 0.0 for name in (*SHARED, "plant", "plant_year")}
ROBINIA = (Plant("robinia", 120, 150, "fair"),)


def drawn(plants=LIME, seed=1, akin=None, numbers=NUMBERS):
    return draw_ensemble(plants, SUMMER, numbers, np.random.default_rng(seed), akin=akin)


def neighbour(own, plants=LIME, share=0.8, seed=2):
    return drawn(plants, seed, Akin(own.drawn, share, share))


# Hand-worked


def test_where_a_yard_lies_by_hand():
    # A degree of latitude on a sphere of 6371 km is 111.19 km; of longitude at 60 degrees half of it.
    here = Place(60.0, 10.0, 300.0, "UTC", (1, 1))
    there = replace(here, latitude=60.1, longitude=10.2, elevation_m=250.0)
    assert spot_from(there, here) == pytest.approx((11.119, 11.119, -50.0), abs=0.01)


def test_shares_fall_with_distance_and_height_by_hand():
    # exp(-5/30) exp(-80/800) = 0.8465 x 0.9048 = 0.7659.
    numbers = load_numbers({"flow.share_span_km": 30, "flow.share_span_m": 800})
    assert nearness(HERE, SPOT, numbers) == pytest.approx(0.7659, abs=1e-4)
    numbers = numbers.with_overrides({"flow.share_bloom": 0.5})
    shares = Kin.of([HERE, SPOT], [True, False], numbers).shares
    assert shares["bloom"] == pytest.approx(np.array([[1, 0.38296], [0.38296, 1]]), abs=1e-4)
    assert shares["stated"].tolist() == [[1, 0], [0, 1]]


def test_one_day_there_tells_of_the_same_day_here_by_hand():
    # Two normal days with covariance c, one of them seen: mean = m + c / (v + r) (value - m'), and the
    # variance falls by c^2 / (v + r). On equal days of 9 h of flight, washed out wholly by rain of that day
    # and the day before, every part is 1, so that c is the sum of scale^2 x share, all times the nearness;
    # plants without a name in common share nothing.
    numbers = load_numbers(PLAIN)
    day = season_days(1).take([165])
    wet = {"washed": np.ones(1), "showered": np.ones(1)}
    day = replace(day, foraging_h=np.array([numbers["flow.full_day_h"]]), **wet)
    own, other = drawn(), drawn(ROBINIA, 2)
    gain, sd = 1.5, 0.05
    logs = [
        YardLog(NONE, day, own, numbers),
        YardLog(spans_of(np.array([gain]), day, sd), day, other, numbers, SPOT),
    ]
    mean, root = fit_yards(logs).predict(day)
    scales = Scales.general(numbers)
    c = sum(getattr(scales, n) ** 2 * numbers[f"flow.share_{n}"] for n in SHARED)
    c *= nearness(HERE, SPOT, numbers)
    chill, brooding = drivers(day, numbers)
    home = prior_household(numbers)
    seen = gain + use(Stock(0.0, 0.0), chill[0], brooding[0], home.mean, numbers)
    there = Prior(other, scales, numbers)
    z = there.members(day)
    v = float(there.between(day, z, day, z)[0, 0])
    r = (np.hypot(sd, numbers["flow.wood_sd_kg"]) * slope(seen)) ** 2 + scales.noise**2
    moved = c / (v + r) * (to_scale(seen) - z.mean[0])
    here = Prior(own, scales, numbers).members(day)
    assert mean[0] == pytest.approx(here.mean[0] + moved, abs=1e-9)
    assert (root**2).sum() == pytest.approx(c**2 / (v + r), abs=1e-9)


# Properties


@given(st.lists(st.tuples(st.floats(-9, 9), st.floats(-9, 9), st.floats(-400, 400)), max_size=6))
@settings(max_examples=50, deadline=None)
def test_shares_are_a_covariance_between_any_yards(spots):
    akin = [k % 2 == 0 for k in range(len(spots) + 1)]
    for share in Kin.of([HERE, *spots], akin, NUMBERS).shares.values():
        assert np.linalg.eigvalsh(share).min() > -1e-9


@given(st.integers(0, 30))
@settings(max_examples=10, deadline=None)
def test_the_prior_is_a_covariance_over_several_yards(seed):
    own = drawn(seed=seed)
    others = neighbour(own, seed=seed + 50), neighbour(own, ROBINIA, seed=seed + 90)
    kin = Kin.of([HERE, SPOT, (-2.0, 1.0, -200.0)], [True, True, False], NUMBERS)
    prior = Prior(own, Scales.general(NUMBERS), NUMBERS, others, kin)
    days = season_days(2).take(np.arange(60, 730, 11))
    days = replace(days, yard=np.arange(len(days)) % 3)
    z = prior.members(days)
    cov = prior.between(days, z, days, z)
    assert np.linalg.eigvalsh(cov).min() > -1e-8
    assert cov == pytest.approx(cov.T, abs=1e-12)


def test_a_plant_of_the_same_name_is_drawn_alike_and_others_apart():
    own = drawn(LIME + ROBINIA)
    other = neighbour(own, (Plant("Lime", 155, 185, "fair"), Plant("ivy", 250, 290, "fair")))
    key = ("lime", 0)
    for name in ("shift", "peak", "year_off", "amount"):
        pair = np.corrcoef(getattr(own.drawn[key], name), getattr(other.drawn[key], name))
        assert pair[0, 1] == pytest.approx(0.8, abs=0.06)  # 384 members: three standard errors
        ivy = getattr(other.drawn[("ivy", 0)], name)
        for mine in own.drawn.values():
            assert abs(np.corrcoef(getattr(mine, name), ivy)[0, 1]) < 3 / np.sqrt(384)
    assert kstest(other.drawn[key].luck, "uniform").pvalue > 0.01
    assert drawn(LIME + ROBINIA).by_warmth.tobytes() == own.by_warmth.tobytes()


def _logs(numbers, seasons=2, gain_of=1.0, own_since=None):
    """The yard itself, its log from a day on (None: none), and one beside it with the whole log."""
    days = season_days(seasons)
    own = drawn(numbers=numbers)
    gain, _ = _simulated(days, seed=8)
    mine, _ = _simulated(days, seed=9, boost=gain_of)
    spans = (
        NONE
        if own_since is None
        else spans_of(np.where(days.time >= own_since, mine, np.nan), days)
    )
    other = YardLog(spans_of(gain, days), days, neighbour(own), numbers, SPOT)
    return [YardLog(spans, days, own, numbers), other]


def test_yards_that_share_nothing_do_not_touch_each_other():
    numbers = load_numbers(PLAIN | NOTHING)
    days = season_days(2)
    own, other = _logs(numbers, own_since=days.time[500])
    apart = replace(other, ensemble=drawn(ROBINIA, 2))
    view = days.take(np.arange(640, 680))
    one, two = fit_flow(own.spans, own.days, own.ensemble, numbers), fit_yards([own, apart])
    assert two.predict(view)[0] == pytest.approx(one.predict(view)[0], abs=1e-9)
    removed = [(model.predict(view)[1] ** 2).sum(0) for model in (one, two)]
    assert removed[1] == pytest.approx(removed[0], abs=1e-9)
    assert not tells(SPOT, numbers) and tells(SPOT, NUMBERS)


def test_the_order_of_yards_makes_no_odds():
    own, other = _logs(NUMBERS)
    third = replace(other, ensemble=neighbour(own.ensemble, ROBINIA, seed=7), spot=(-6.0, 1.0, 0.0))
    view = own.days.take(np.arange(500, 520))
    means = [fit_yards([own, *pair]).predict(view)[0] for pair in ((other, third), (third, other))]
    # Scales are learned from the newest values in the order given, where the own log is short.
    plain = [replace(log, numbers=load_numbers(PLAIN)) for log in (own, other, third)]
    exact = [fit_yards([plain[0], *pair]).predict(view)[0] for pair in (plain[1:], plain[:0:-1])]
    assert exact[0] == pytest.approx(exact[1], abs=1e-9)
    assert means[0] == pytest.approx(means[1], abs=0.1)


@given(st.integers(20, 200))
@settings(max_examples=6, deadline=None)
def test_another_yard_never_loosens_a_day(start):
    numbers = load_numbers(PLAIN)
    logs = _logs(numbers, own_since=season_days(2).time[365 + start])
    view = logs[0].days.take([365 + 175])
    alone = fit_yards(logs[:1]).predict(view)[1]
    both = fit_yards(logs).predict(view)[1]
    assert (both**2).sum() >= (alone**2).sum() - 1e-9


def test_only_the_newest_values_of_other_yards_are_used():
    numbers = load_numbers(PLAIN | {"flow.others_most": 100})
    model = fit_yards(_logs(numbers))
    there = model.days.yard == 1
    assert there.sum() == 100 == model.observed
    whole = fit_yards(_logs(load_numbers(PLAIN | {"flow.others_most": 3000})))
    assert model.days.time.tolist() == whole.days.time[-100:].tolist()
    assert 0.3 < model.learned[0] < whole.learned[0]


@pytest.mark.parametrize("own_since", [None, 5400.0])
def test_the_mean_at_several_hours_is_that_of_days_with_these_hours(own_since):
    logs = _logs(NUMBERS, own_since=own_since)
    model, hours = fit_yards(logs), np.array([0.5, 3.0, 8.0])
    some = logs[0].days.take(np.arange(500, 560))
    one_by_one = [model.predict(replace(some, foraging_h=np.full(len(some), h)))[0] for h in hours]
    assert model.mean(some, hours) == pytest.approx(np.array(one_by_one), abs=1e-9)


def test_weekly_totals_there_are_taken_as_totals():
    own, other = _logs(NUMBERS)
    sums = other.spans["gain_kg"].resample("7D").sum()[:-1]
    weekly = NONE.reindex(sums.index).assign(days=7, gain_kg=sums, gain_sd_kg=0.15)
    view = own.days.take(np.arange(365 + 145, 365 + 176))
    by_day, by_week = (
        from_scale(fit_yards([own, replace(other, spans=spans)]).predict(view)[0]).sum()
        for spans in (other.spans, weekly)
    )
    assert by_week == pytest.approx(by_day, rel=0.25)


# Recovery from simulated seasons


def _errors(late_d: float, boost: float, own_since):
    """Mean error of the season to come with the other yard's log and without. [kg/d]

    The keepers state their lime too early by so many days at both; this yard gives `boost` of the other.
    """
    numbers = NUMBERS
    days = season_days(3)
    stated = (Plant("lime", 150 - late_d, 180 - late_d, "heavy"),)
    own = drawn(stated)
    there, _ = _simulated(days, seed=8)
    here, intake = _simulated(days, seed=9, boost=boost)
    past = slice(0, 730)
    known = np.arange(730) >= (730 if own_since is None else own_since)
    mine = YardLog(
        spans_of(np.where(known, here[past], np.nan), days.take(past)),
        days.take(past),
        own,
        numbers,
    )
    other = YardLog(
        spans_of(there[past], days.take(past)),
        days.take(past),
        neighbour(own, stated),
        numbers,
        SPOT,
    )
    ahead = days.take(np.arange(730 + 120, 730 + 200))
    true = intake[730 + 120 : 730 + 200]
    return [
        np.abs(from_scale(fit_yards(yards).predict(ahead)[0]) - true)[ahead.foraging_h > 1].mean()
        for yards in ([mine, other], [mine])
    ]


def test_a_yard_without_log_learns_the_dates_of_the_yard_beside_it():
    learned, alone = _errors(late_d=14, boost=1.0, own_since=None)
    assert learned < 0.75 * alone


def test_a_yard_much_poorer_is_misled_at_first_and_not_once_it_has_a_season():
    at_first, later = (
        np.subtract(*_errors(late_d=0, boost=0.2, own_since=since)) for since in (None, 365)
    )
    assert at_first > 0.02
    assert later < 0.25 * at_first
