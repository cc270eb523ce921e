"""Rain that washes flowers out that day or the day before: by the sheet, by hand, as a property, recovered."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_flow_fit import NUMBERS, _simulated, ensemble, season_days, spans_of

from flowcast import pipeline
from flowcast.flow.days import Days, washed_by
from flowcast.flow.fit import fit_flow
from flowcast.flow.latent import from_scale
from flowcast.flow.scenarios import future_of
from flowcast.numbers import load_numbers
from flowcast.weather import past_years_ahead

NEVER = load_numbers({"flow.sd_wash": 0, "flow.sd_shower": 0})
YARD = Path(__file__).parents[1] / "sample_yards" / "inland-winter"


def test_ten_millimetres_wash_out_half():
    # More than 10 mm wash flowers out for one to three days (bee science sheet, from memory); that rain
    # washes open flowers out: Lovell 1926 p. 17.
    washed = washed_by(np.array([0.0, 2.5, 10.0, 30.0, np.nan]), NUMBERS)
    assert washed.tolist() == [0.0, 0.2, 0.5, 0.75, 0.0]


def test_each_day_knows_its_own_rain_and_that_of_the_day_before():
    sources = pipeline.read_sources(YARD)
    record = pipeline.known_before(sources, pipeline.default_issue_date(sources))
    rain = record.daily["precip_mm"].to_numpy()
    assert record.days.washed[0] == 0.0
    assert record.days.washed[1:] == pytest.approx(washed_by(rain[:-1], NUMBERS))
    assert record.days.showered == pytest.approx(washed_by(rain, NUMBERS))
    ahead = past_years_ahead(record.daily, 10, NUMBERS)
    future = future_of(ahead, record.daily, record.normals, record.yard.place, NUMBERS)
    # The first day ahead comes after the last of the record, the next after that one's own rain.
    assert future.days.washed[:, 0] == pytest.approx(washed_by(rain[-1], NUMBERS))
    assert future.days.washed[:, 1:] == pytest.approx(
        washed_by(ahead["precip_mm"][:, :-1], NUMBERS)
    )
    assert future.days.showered == pytest.approx(washed_by(ahead["precip_mm"], NUMBERS))


def test_a_log_of_dry_days_tells_nothing_of_it():
    days = season_days(2)
    gain, _ = _simulated(days, seed=4)
    some = days.take(np.arange(130, 190))
    with_it, without = (
        fit_flow(spans_of(gain, days), days, ensemble(), numbers).predict(some)[0]
        for numbers in (NUMBERS, NEVER)
    )
    assert with_it == pytest.approx(without, abs=1e-9)


def rained_on(days: Days, when: str, seed: int) -> Days:
    """The days with 20 mm of rain on, or the day before, every fifth of them."""
    rain = 20.0 * (np.random.default_rng(seed).random(len(days)) < 0.2)
    return replace(days, **{when: washed_by(rain, NUMBERS)})


@pytest.mark.parametrize("when", ["washed", "showered"])
@pytest.mark.parametrize("left", [1.0, 0.4])
def test_what_rain_takes_from_the_day_and_the_next_is_learned(left, when):
    days = rained_on(season_days(3), when, seed=6)
    gain, _ = _simulated(days, seed=6, boost=np.where(getattr(days, when) > 0, left, 1.0))
    first = 2 * 365
    past = days.take(slice(first))
    model = fit_flow(spans_of(gain[:first], past), past, ensemble(), NUMBERS)
    bloom = days.take(np.arange(first + 150, first + 172))
    bloom = replace(bloom, foraging_h=np.full(len(bloom), 8.0))
    dry = from_scale(model.predict(replace(bloom, **{when: np.zeros(len(bloom))}))[0]).sum()
    wet = replace(bloom, **{when: np.full(len(bloom), washed_by(20.0, NUMBERS))})
    assert from_scale(model.predict(wet)[0]).sum() / dry == pytest.approx(left, abs=0.15)
