"""Futures drawn from the fitted model: what is asked for, evenly over weathers, steady in the seed."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from flowcast.flow.days import Days, dates_of
from flowcast.flow.fit import fit_flow
from flowcast.flow.household import recurring
from flowcast.flow.outlook import read_outlook
from flowcast.flow.plants import Plant
from flowcast.flow.prior import draw_ensemble
from flowcast.flow.scenarios import Future, _nodes, _strayed, _straying, _widening, simulate
from flowcast.numbers import load_numbers
from flowcast.tables import QUANTILE_NAMES

NUMBERS = load_numbers()


@pytest.fixture(scope="module")
def prior():
    """The model without a log, and ten summers of weather ahead."""
    hours = np.random.default_rng(2).uniform(2, 9, (10, 45))
    days = np.tile(np.arange(150.0, 195.0), (10, 1))
    like = np.full((10, 45), 20.0)
    ahead = Days(
        time=5000.0 + days,
        season=np.full((10, 45), 2013),
        season_day=days,
        pheno_day=days,
        foraging_h=hours,
        temp_c=like,
        month_temp_c=like,
        soil_frac=like / 30,
    )
    labels = tuple(str(year) for year in range(2003, 2013))
    future = Future(ahead, like * 0, labels, np.zeros(10, int))
    plants, flight = [Plant("lime", 150, 180, "fair")], np.full(366, 6.0)
    ensemble = draw_ensemble(plants, flight, NUMBERS, np.random.default_rng(1))
    none = pd.DataFrame({"days": [], "gain_kg": [], "gain_sd_kg": []}, index=dates_of(np.zeros(0)))
    past = Days(*(getattr(ahead, name)[0, :0] for name in ahead.__dataclass_fields__))
    model = fit_flow(none, past, ensemble, NUMBERS)
    return model, future


@pytest.fixture(scope="module")
def drawn(prior):
    """Draws of 1000 futures under ten summers of weather, without a log, by seed."""
    return [simulate(*prior, NUMBERS, np.random.default_rng(s), 1000) for s in range(4)]


def test_as_many_futures_as_asked_for_each_weather_alike(drawn):
    kept = drawn[0].thinned()
    assert len(kept.gain_kg) == 1000
    assert len(drawn[0].gain_kg) == 1000 * NUMBERS["flow.copies"]
    assert np.bincount(kept.weather).tolist() == [100] * 10


def test_widened_by_what_rests_on_the_log(prior):
    # By hand, with 1.4 after many seasons and half of it after one: 1 + 0.4 x 0, 1/2, 3/4.
    numbers = load_numbers({"flow.widen": 1.4, "flow.widen_seasons": 1.0})
    told = [_widening(replace(prior[0], seasons=n), numbers) for n in (0.0, 1.0, 3.0)]
    assert np.allclose(told, [1.0, 1.2, 1.3])


def test_a_flow_strays_from_its_promise_by_as_much_as_stated():
    # By hand: from 0 on the issue date the logarithm's variance grows as 1 - exp(-2 days / stray_d), to
    # the spread squared; two days stand together as the nearer day's variance, fading by exp(-1 / stray_d).
    numbers = load_numbers({"flow.stray_d": 20.0, "flow.stray_held": 0.0})
    log = np.log(_strayed((200_000, 45), 0.5, numbers, np.random.default_rng(3)))
    days = np.arange(1, 46)
    assert np.allclose(log.std(0), 0.5 * np.sqrt(1 - np.exp(-2 * days / 20)), rtol=0.01)
    together = np.mean(log[:, 9] * log[:, 29])
    assert together == pytest.approx(0.25 * (1 - np.exp(-1.0)) * np.exp(-1.0), rel=0.03)
    # Lognormal of that variance v: mean exp(v / 2), or 1 where all of it is taken back.
    held = load_numbers({"flow.stray_sd": 0.5, "flow.stray_d": 20.0, "flow.stray_held": 1.0})
    kept = _strayed((200_000, 45), 0.5, held, np.random.default_rng(3))
    assert np.allclose(kept.mean(0), 1.0, atol=0.01)
    v = 0.25 * (1 - np.exp(-2 * days / 20))
    assert np.allclose(np.exp(log).mean(0), np.exp(v / 2), rtol=0.01)


def test_a_flow_strays_less_the_more_seasons_have_shown_it(prior):
    # By hand: variance falls as 1 / (1 + seasons / 10); other yards' seasons count as one's own.
    numbers = load_numbers({"flow.stray_sd": 0.5, "flow.stray_seasons": 10.0})
    models = [replace(prior[0], seasons=n) for n in (0.0, 5.0, 30.0)]
    models.append(replace(prior[0], seasons=2.0, learned=(3.0,)))
    by_hand = [0.5, 0.5 / 1.5**0.5, 0.25, 0.5 / 1.5**0.5]
    assert [_straying(model, numbers) for model in models] == pytest.approx(by_hand)


def test_a_straying_flow_is_wider_far_ahead_and_brings_as_much_when_held(prior):
    numbers = (load_numbers({"flow.stray_sd": sd, "flow.stray_held": 1.0}) for sd in (0.0, 0.5))
    firm, straying = (simulate(*prior, n, np.random.default_rng(4), 1000) for n in numbers)
    barren = firm.intake_kg == 0
    assert barren.any() and not straying.intake_kg[barren].any()  # nothing stays nothing
    means = [drawn.intake_kg.mean(0) for drawn in (firm, straying)]
    assert np.allclose(*means, rtol=0.05)
    # Without a log a flow is in doubt already; what strays tells in the tail, and more with the lead.
    high = [np.quantile(drawn.intake_kg, 0.95, axis=0) for drawn in (firm, straying)]
    wider = high[1] / high[0]
    assert wider[31:].mean() > wider[:3].mean() + 0.01


def test_quantiles_hold_from_seed_to_seed(drawn):
    # The aim: within 2 % of the 10-90 % interval's width, in the mean over days, levels and seeds.
    for table in ("daily", "total"):
        found = np.array(
            [
                getattr(read_outlook(d, np.full(14, np.nan), 0.5, NUMBERS), table)[
                    list(QUANTILE_NAMES)
                ]
                for d in drawn
            ]
        )
        width = (found[..., QUANTILE_NAMES.index("q90")] - found[..., 1]).mean(0)[:, None]
        assert (np.abs(np.diff(found, axis=0)) / width).mean() < 0.02


def test_intake_is_never_negative(drawn):
    assert (drawn[0].intake_kg >= 0).all()


# Futures of many months, the latent season reckoned week by week


def test_weekly_nodes_are_flying_days_of_their_week():
    """Ten days by the day and three weeks: 13 nodes; each week's is its day with the middle hours of
    those on which bees fly (worked by hand: of 0, 0, 1, 2, 3, 4, 5 hours it is that of 3)."""
    hours = np.r_[np.full(10, 6.0), [0, 0, 1, 2, 3, 4, 5], np.zeros(7), [8, 7, 6, 5, 4, 3, 2]]
    day = np.arange(31.0)
    days = Days(
        *(np.tile(day, (2, 1)) for _ in range(4)), np.tile(hours, (2, 1)), *([np.ones((2, 31))] * 3)
    )
    nodes, node_of = _nodes(days, 10, NUMBERS)
    assert len(nodes) == 13
    assert np.array_equal(np.bincount(node_of), [1] * 10 + [7] * 3)
    assert nodes.foraging_h[0, 10:].tolist() == [3, 0, 5]
    assert nodes.season_day[0, 10] == 14
    same, all_days = _nodes(days, 31, NUMBERS)
    assert same is days
    assert np.array_equal(all_days, day)


def test_runs_of_weather_asked_one_by_one_are_the_same_asked_at_once():
    """Asked one by one to save memory. With a log of a month, so that it takes part of the doubt away."""
    model, days = logged()
    runs = [days.take(slice(start, start + 20)) for start in (0, 20, 40)]
    mean, removed = model.predict(days)
    for start, run in zip((0, 20, 40), runs, strict=True):
        alone = model.predict(run)
        assert np.allclose(alone[0], mean[start : start + 20], rtol=0, atol=1e-12)
        assert np.allclose(alone[1], removed[:, start : start + 20], rtol=0, atol=1e-12)
    assert removed.any()


def logged():
    """A model with thirty daily gains, and sixty days after them."""
    rng, day = np.random.default_rng(4), np.arange(150.0, 240.0)
    like = np.full(90, 20.0)
    days = Days(
        5000.0 + day, np.full(90, 2013), day, day, rng.uniform(2, 9, 90), like, like, like / 30
    )
    plants, flight = [Plant("lime", 150, 180, "fair")], np.full(366, 6.0)
    ensemble = draw_ensemble(plants, flight, NUMBERS, np.random.default_rng(1))
    past = days.take(slice(0, 30))
    gains = {"days": 1, "gain_kg": rng.normal(0.5, 0.5, 30), "gain_sd_kg": 0.05}
    spans = pd.DataFrame(gains, index=dates_of(past.time))
    return fit_flow(spans, past, ensemble, NUMBERS), days.take(slice(30, None))


def test_what_futures_use_beyond_the_middle_averages_to_nothing(prior):
    drawn = simulate(*prior, NUMBERS, np.random.default_rng(5), 2000, copies=1)
    assert drawn.more_use_kg.shape == drawn.gain_kg.shape
    assert drawn.more_use_kg.std() > 0.02
    assert abs(drawn.more_use_kg.mean()) < 0.01


def test_a_known_course_of_the_use_is_taken_off_every_future(prior):
    # Nothing in doubt and the same draws: two households whose course differs by 0.1 and -0.05 kg in two
    # waves gain less by just these waves, on every day of every future.
    model, future = prior
    known = replace(model.household, cov=np.zeros_like(model.household.cov))
    waves = np.r_[0.1, -0.05, np.zeros(len(known.course) - 2)]
    gain = [
        simulate(
            replace(model, household=replace(known, course=course)),
            future, NUMBERS, np.random.default_rng(6), 20, copies=1,
        )
        for course in (0 * waves, waves)
    ]  # fmt: skip
    taken = np.tensordot(waves, recurring(future.days, NUMBERS), 1)[gain[0].weather]
    assert np.abs(taken).max() > 0.02
    assert gain[0].gain_kg - gain[1].gain_kg == pytest.approx(taken, abs=1e-9)
    assert gain[1].more_use_kg == pytest.approx(
        gain[0].more_use_kg, abs=1e-9
    )  # the middle moved too


def test_a_small_colony_strays_less_from_day_to_day(prior):
    # Half the use of a summer's dearth, half the level's drift and a day's scatter, draw by draw.
    model, future = prior
    known = replace(model.household, cov=np.zeros_like(model.household.cov), level=0.0)
    more = [
        simulate(
            replace(model, household=replace(known, mean=known.mean * [share, 1, share, 1, 1])),
            future, NUMBERS, np.random.default_rng(7), 20, copies=1,
        ).more_use_kg
        for share in (1.0, 0.5)
    ]  # fmt: skip
    assert more[0].std() > 0.01
    assert more[1] == pytest.approx(0.5 * more[0], abs=1e-9)


def test_weekly_nodes_keep_the_totals(prior):
    """Totals of the days beyond two weeks: mean and spread as when every day is reckoned, within what
    draws leave open (both have 4,000 rows of the same ten weathers)."""
    each, weekly = (
        simulate(*prior, NUMBERS, np.random.default_rng(5), 1000, daily_d=d, copies=4)
        for d in (None, 14)
    )
    totals = [s.gain_kg[:, 14:].sum(axis=1) for s in (each, weekly)]
    width = np.subtract(*np.quantile(totals[0], [0.9, 0.1]))
    assert abs(totals[1].mean() - totals[0].mean()) < 0.05 * width
    for q in (0.1, 0.5, 0.9):
        assert abs(np.quantile(totals[1], q) - np.quantile(totals[0], q)) < 0.08 * width
