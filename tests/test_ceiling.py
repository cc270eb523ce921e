"""Worlds whose days to come are drawn anew: with no luck left they come as they came.

Every expected value follows from the laws of the invented world itself; no outside source.
"""

import make_trial_yards as trial
import measure_ceiling as ceiling
import numpy as np
import pandas as pd
import pytest
from simulator import flora, keeper, weather
from simulator.climates import CLIMATES
from simulator.makers import MAKERS
from simulator.weather import Site

SPAN = ("2021-01-01", "2024-12-31")


def world(monkeypatch, mechanism, climate, maker="first"):
    monkeypatch.setattr(trial, "SPAN", SPAN)
    return ceiling.Luck(19, 1, climate, mechanism, MAKERS[maker])


def days_of(climate, latitude):
    site = Site(latitude, 0.0)
    hourly = weather.make_weather(climate, site, *SPAN, np.random.default_rng(5))
    return weather.local_days(hourly, site).assign(flight_h=6.0)


@pytest.fixture(scope="module")
def days():
    return days_of(CLIMATES["oceanic"], 50.0)


def loss(runs, obs):
    return pd.DataFrame(ceiling.scored(runs, obs)).set_index("group")["loss"]


def test_without_luck_the_days_come_as_they_came(monkeypatch):
    monkeypatch.setattr(flora, "SHOCK_SD", 0.0)
    monkeypatch.setattr(keeper, "DRIFT_SD", 0.0)
    luck = world(monkeypatch, "thermal", "oceanic")
    luck.advance(luck.here + 150)
    came = luck.as_it_was(ceiling.HORIZON)
    runs = luck.drawn(2, ceiling.HORIZON, np.random.default_rng(1), plants=False)
    assert came.max() > 0.3  # days on which luck would have been seen
    assert loss(runs, came).max() < 1e-9


def test_the_more_is_known_the_smaller_the_loss(monkeypatch):
    luck, rng = world(monkeypatch, "daylength", "oceanic"), np.random.default_rng(1)
    year = luck.drawn(12, 366, rng, plants=True)
    losses = []
    for since in range(120, 270, 30):
        luck.advance(luck.here + since)
        came = luck.as_it_was(ceiling.HORIZON)
        known = luck.drawn(12, ceiling.HORIZON, rng, plants=False)
        ahead = year[:, since : since + ceiling.HORIZON]
        # Beside a single guess of what the year might be, an ensemble of it.
        losses.append([loss(r, came)["days 1-7"] for r in (known, ahead, ahead[:1])])
    known, ahead, one = np.mean(losses, axis=0)
    assert 0 < known < ahead < one


def test_days_before_the_first_stay_and_later_ones_change(monkeypatch):
    for maker, mechanism, climate, plants in (
        ("first", "mixture", "oceanic", True),
        ("second", "orchard", "windy-coast", False),
    ):
        luck = world(monkeypatch, mechanism, climate, maker)
        was = luck.world.flora.nectar_kg.to_numpy()
        anew = luck.world.flora.anew(luck.here, np.random.default_rng(2), plants)
        assert (anew[: luck.here] == was[: luck.here]).all()
        assert np.mean(anew[luck.here :] != was[luck.here :]) > 0.9


@pytest.mark.parametrize("grow", [flora.thermal_crop, flora.daylength_crop])
@pytest.mark.parametrize(("first", "changed"), [("2024-01-01", 1), ("2024-12-01", 0)])
def test_only_blooms_to_come_get_other_luck_and_one_for_all_their_days(days, grow, first, changed):
    crop = grow("x", 170.0, CLIMATES["oceanic"], days, np.random.default_rng(3))
    anew = crop.anew(days.index.get_loc(first), np.random.default_rng(4))
    in_bloom = crop.nectar > 1e-6
    ratio = pd.Series(anew[in_bloom] / crop.nectar[in_bloom], days.index[in_bloom])
    summer = ratio[ratio.index.month.isin([5, 6, 7])].groupby(lambda day: day.year)
    assert (summer.std() < 1e-9).all()
    assert (np.abs(summer.mean() - 1) > 1e-9).sum() == changed


def test_a_bloom_that_rain_woke_keeps_its_luck_once_begun():
    climate = CLIMATES["subtropical-coast"]
    days = days_of(climate, -30.0)
    crop = flora.pulse_crop("x", 200.0, climate, days, np.random.default_rng(1))
    begins = np.flatnonzero((crop.bloom[1:] > 0) & (crop.bloom[:-1] == 0))
    assert len(begins) >= 2
    last, rng = int(begins[-1]), np.random.default_rng(2)
    assert (crop.anew(last + 5, rng) == crop.nectar).all()
    anew = crop.anew(last - 40, rng)  # long before it was due
    assert (anew[: last - 40] == crop.nectar[: last - 40]).all()
    assert (anew[last:] != crop.nectar[last:]).any()


def test_noise_goes_on_from_where_it_stands_and_forgets_it():
    rng = np.random.default_rng(6)
    runs = np.array([weather.ar_after(2.0, rng, 60, 5.0, 0.5) for _ in range(4000)])
    keep = np.exp(-1 / 5)
    assert runs[:, 0].mean() == pytest.approx(2 * keep, abs=4 * 0.5 / np.sqrt(4000))
    assert runs[:, 0].std() == pytest.approx(0.5 * np.sqrt(1 - keep**2), rel=0.05)
    assert runs[:, -1].mean() == pytest.approx(0, abs=4 * 0.5 / np.sqrt(4000))
    assert runs[:, -1].std() == pytest.approx(0.5, rel=0.05)
