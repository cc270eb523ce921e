"""Published facts of the season as sanity of the prior, in invented climates like those published."""

import numpy as np
import pandas as pd
import pytest
from simulator.climates import CLIMATES
from simulator.weather import Site, make_weather

from flowcast import weather
from flowcast.flow.days import days_of
from flowcast.flow.plants import Plant
from flowcast.flow.prior import draw_ensemble
from flowcast.foraging import foraging_days
from flowcast.numbers import load_numbers
from flowcast.tables import Place

NUMBERS = load_numbers()


def season(climate, latitude, plants):
    """Six invented years: daily weather and foraging hours with the prior's mean intake. [kg/d]"""
    hourly = make_weather(
        CLIMATES[climate], Site(latitude, 0.0), "2012-01-01", "2017-12-31", np.random.default_rng(3)
    )
    place = Place(latitude, 0.0, 100.0, "UTC", (1, 1))
    whole = weather.complete_weather(hourly, place, NUMBERS)
    daily = whole.daily.join(foraging_days(whole.hourly, "UTC", NUMBERS))
    daily["warmth_cd"] = weather.warmth(daily["temp_min_c"], daily["temp_max_c"], (1, 1), NUMBERS)
    normals = weather.fit_normals(daily, (1, 1), NUMBERS)
    flight = weather.normal_course(daily, "foraging_h", (1, 1), NUMBERS)["mean"].to_numpy()
    prior = draw_ensemble(plants, flight, NUMBERS, np.random.default_rng(0))
    light = whole.hourly[whole.hourly["clear_ghi_wm2"] > 50]
    cloud = light["cloud_pct"].groupby(light.index.normalize().tz_localize(None)).mean()
    return daily.assign(
        intake_kg=prior.intake(days_of(daily, normals, place, NUMBERS)).mean(0),
        cloud_pct=cloud.reindex(daily.index),
    )


@pytest.fixture(scope="module")
def clover():
    """A continental clover country, as the Iowa record's."""
    return season("steppe", 41.0, [Plant("clover", 150, 215, "heavy")])


@pytest.fixture(scope="module")
def mediterranean():
    """A dry-summer coast with whatever blooms, as the eastern Mediterranean record's."""
    return season("mediterranean", 35.0, [])


def test_clear_days_give_most_and_rainy_days_little_in_clover_country(clover):
    # Kenoyer in Lovell 1926 p. 105 (READ): clear 61 %, partly cloudy 13, cloudy 13, rainy 13 % of the
    # year's gain at Clarinda, Iowa. How many days of each there were is not told, so the order only.
    dry = clover["precip_mm"] < 1
    sky = np.select(
        [~dry, clover["cloud_pct"] < 30, clover["cloud_pct"] < 65],
        ["rainy", "clear", "partly"],
        "cloudy",
    )
    bloom = clover[(clover.index.dayofyear > 150) & (clover.index.dayofyear < 216)]
    total = clover.groupby(sky)["intake_kg"].sum()
    a_day = bloom.groupby(pd.Series(sky, clover.index).reindex(bloom.index))["intake_kg"].mean()
    assert total.idxmax() == "clear"
    # The record's abstract (READ): near zero on some rainy days. A day's own gain by sky is not told
    # beyond that; dull and rainy days must lie below clear ones.
    assert a_day["cloudy"] < a_day["clear"]
    assert a_day["rainy"] < 0.9 * a_day["clear"]


def test_june_and_july_hold_most_of_a_clover_year(clover):
    # The same record: June alone 56 % of the season's gain; the bloom stated here is June and July.
    by_month = clover["intake_kg"].groupby(clover.index.month).sum()
    assert by_month[[6, 7]].sum() > 0.56 * by_month.sum()


def test_best_mean_temperature_of_a_mediterranean_year(mediterranean):
    # Gounari, Proutsos & Goras 2022 (READ): best daily mean 17 °C in spring and 26 °C in summer, gains
    # only between 14 and 28 °C, on an eastern Mediterranean island.
    means = mediterranean.groupby((mediterranean["temp_mean_c"] // 3) * 3)["intake_kg"].agg(
        ["mean", "size"]
    )
    means = means["mean"][means["size"] >= 30]
    assert 14 <= means.idxmax() + 1.5 <= 28
    assert means[means.index + 3 <= 9].max() < 0.2 * means.max()


def test_practically_no_intake_without_foraging_hours(clover, mediterranean):
    # Design and trade fact: only a day of practically no foraging hours has no intake.
    for year in (clover, mediterranean):
        grounded = year[year["foraging_h"] < 0.25]["intake_kg"]
        assert grounded.max() < 0.1 * year["intake_kg"].quantile(0.95)
