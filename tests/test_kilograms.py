"""Kilograms by driver: closed forms, sums, what must not move, and recovery from made seasons."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast import weather
from flowcast.flow.days import Days, dates_of
from flowcast.flow.fit import fit_flow
from flowcast.flow.household import Stock, drivers, prior_household, step, use
from flowcast.flow.plants import Plant
from flowcast.flow.prior import draw_ensemble
from flowcast.numbers import load_numbers
from flowcast.reasons.kilograms import IN_ALL, in_kilograms, lost_share, together, when
from flowcast.reasons.plants import rain_against_normal
from flowcast.reasons.swaps import DRIVERS, FLIGHT, Swapped, swap

NUMBERS = load_numbers()
NO_DOUBT = dict.fromkeys(
    [
        "reasons.doubt_flight",
        "reasons.doubt_lost",
        "reasons.doubt_rain_plants",
        "reasons.doubt_share",
        "reasons.doubt_timing",
        "reasons.member_share",
    ],
    0.0,
)
NOTHING_LOST = np.zeros(len(DRIVERS))
SUMMER = np.clip(8 * np.sin(np.pi * (np.arange(366) - 60) / 240), 0, None)
PLANTS = [Plant("clover", 140, 200, "heavy")]


def swapped(parts, intake=50.0, rain_share=0.0, years=6, members=24):
    """What swapping would say, every year and every member alike."""
    table = np.tile(np.asarray(parts, float), (years, 1 + members, 1))
    return Swapped(table, 0.0, intake, rain_share, np.full(10, intake / 10))


# ---- published ------------------------------------------------------------------------------


def test_antecedent_rain_as_printed():
    # API with k = 0.9 of 10, 0, 0, 5, 0 mm: CALC of the index as bee science sheet 8 READ2 gives it.
    numbers = NUMBERS.with_overrides({"soil.rain_fading": 0.9})
    course = weather.antecedent_rain([10, 0, 0, 5, 0], numbers, start_mm=0.0)
    assert course == pytest.approx([10, 9, 8.1, 12.29, 11.061])


# ---- by hand --------------------------------------------------------------------------------


def test_only_the_soil_is_in_doubt():
    # The soil's error is 0.1 x 50 = 5 kg, luck 0.2 x 50 = 10 kg; 3 others, so the departure of -20 kg
    # is seen with variance (25 + 100) x 4/3 = 166.7: 25 / 166.7 = 0.15 of it is the soil's, -3 kg,
    # with variance 25 x 0.85 = 21.25, half an interval 1.2816 x 4.61 = 5.91. The rest is -17.
    numbers = NUMBERS.with_overrides(NO_DOUBT | {"reasons.doubt_soil": 0.1, "reasons.luck": 0.2})
    table, rest = in_kilograms(swapped(np.zeros(7)), NOTHING_LOST, 20.0, 3, 1.0, numbers)
    assert table.loc["soil"].tolist() == pytest.approx([3.0, 3.0 - 5.908, 3.0 + 5.908], abs=1e-3)
    assert table.drop(index="soil").abs().to_numpy().max() < 1e-9
    assert rest == pytest.approx(17.0)


def test_what_there_was_to_lose_counts_what_the_others_had():
    # This season 30 kg came in, 20 less than in others: the soil's doubt is a tenth of 50.
    numbers = NUMBERS.with_overrides(NO_DOUBT | {"reasons.doubt_soil": 0.1, "reasons.luck": 0.2})
    poor = in_kilograms(swapped(np.zeros(7), intake=30.0), NOTHING_LOST, -20.0, 3, 1.0, numbers)
    assert poor[0].loc["soil", "kg"] == pytest.approx(-3.0)


def test_rain_before_as_a_share_of_normal():
    # 1 mm on every day keeps up an index of 50 mm with k = 0.98; ten years of it and one of 2 mm
    # have a mean of (9 x 50 + 100) / 10 = 55 in its autumn, so 110 / 65 with 10 mm added to both.
    dates = pd.date_range("2012-01-01", "2021-12-31")
    rain = pd.Series(np.where(dates.year == 2021, 2.0, 1.0), dates)
    share = rain_against_normal(rain, (1, 1), NUMBERS)
    assert share[-60] == pytest.approx(110 / 65, rel=0.01)
    assert rain_against_normal(rain[:200], (1, 1), NUMBERS) == pytest.approx(1.0)


def test_the_shortest_days_that_hold_most():
    dates = pd.date_range("2024-05-01", periods=60)
    off = pd.DataFrame(dict.fromkeys(FLIGHT, 0.0), dates)
    off.loc["2024-05-11":"2024-05-20", "rain"] = 2.0
    off["wind"] = 1.0
    found = when(off, np.ones(60), NUMBERS)
    # 0.6 of 20 hours in a row of ten days: six of them.
    assert (found.loc["rain", "last"] - found.loc["rain", "first"]).days == 5
    assert found.loc["cold"].isna().all()


# ---- properties -----------------------------------------------------------------------------

kilos = st.floats(-30, 30)


@given(
    st.lists(kilos, min_size=7, max_size=7),
    st.floats(0, 1),
    st.floats(-60, 60),
    st.integers(1, 8),
    st.lists(st.floats(-0.3, 0.5), min_size=7, max_size=7),
)
@settings(max_examples=100, deadline=None)
def test_parts_and_rest_add_up(parts, rain_share, more, seasons, lost):
    told = swapped(parts, rain_share=rain_share)
    table, rest = in_kilograms(told, np.array(lost), more, seasons, 0.8, NUMBERS)
    assert table.loc[list(DRIVERS), "kg"].sum() + rest == pytest.approx(more, abs=1e-9)
    assert table.loc[list(FLIGHT), "kg"].sum() == pytest.approx(table.loc[IN_ALL, "kg"], abs=1e-9)
    assert (table["q10"] < table["kg"]).all() and (table["kg"] < table["q90"]).all()


@given(st.lists(kilos, min_size=7, max_size=7), st.floats(0.2, 0.9))
@settings(max_examples=50, deadline=None)
def test_less_known_is_wider(parts, known):
    told = swapped(parts)
    width = [
        np.subtract(
            *in_kilograms(told, NOTHING_LOST, np.nan, 0, k, NUMBERS)[0][["q90", "q10"]].T.to_numpy()
        )
        for k in (1.0, known)
    ]
    assert (width[1] > width[0]).all()


def test_a_second_season_of_log_never_widens():
    told = swapped([1, 0, -2, 0, 1, -8, 2])
    table = {n: in_kilograms(told, NOTHING_LOST, -10.0, n, 1.0, NUMBERS)[0] for n in (0, 1, 2, 5)}
    width = [table[n]["q90"] - table[n]["q10"] for n in (0, 1, 2, 5)]
    for wider, narrower in pairwise(width):
        assert (narrower <= wider + 1e-9).all()


def a_span(hours, soil=0.6, rained=1.0, shift=0.0, rain_lost=None, year=2020):
    """Days of a season with all that swapping needs; what is not given is as on any day."""
    days = len(hours)
    lost = np.zeros(days) if rain_lost is None else rain_lost
    columns = {f"lost_{f}_h": 0.0 for f in ("cold", "heat", "wind", "light", "humid")}
    return pd.DataFrame(
        columns
        | {"foraging_h": hours, "lost_rain_h": lost, "rained": rained, "soil_water_frac": soil}
        | {"shift_d": shift, "temp_mean_c": 18.0},
        pd.date_range(f"{year}-05-01", periods=days),
    )


def days_of_span(part, season=2020):
    n = len(part)
    day = part.index.dayofyear.to_numpy(float) - 1
    return Days(
        time=5000.0 + 365 * (season - 2020) + day,
        season=np.full(n, season),
        season_day=day,
        pheno_day=day + part["shift_d"].to_numpy(),
        foraging_h=part["foraging_h"].to_numpy(float),
        temp_c=part["temp_mean_c"].to_numpy(float),
        month_temp_c=np.full(n, 18.0),
        soil_frac=part["soil_water_frac"].to_numpy(float),
    )


def made_log(part, season, strength=1.0):
    """Gains in which intake goes with the hours, and the colony's use as known before."""
    days = days_of_span(part, season)
    bloom = np.exp(-0.5 * ((days.season_day - 170) / 20) ** 2)
    intake = strength * 0.35 * bloom * days.foraging_h
    house, stock, gain = prior_household(NUMBERS), Stock(0.0, 0.0), []
    chill, brooding = drivers(days, NUMBERS)
    for day, kg in enumerate(intake):
        gain.append(kg - use(stock, chill[day], brooding[day], house.mean, NUMBERS))
        stock = step(stock, kg, NUMBERS)
    return days, np.array(gain)


def model_of(log):
    """The flow model taught by (days, gain) of seasons, laid end to end."""
    days = Days(
        *(np.concatenate([getattr(d, f) for d, _ in log]) for f in Days.__dataclass_fields__)
    )
    gain = np.concatenate([g for _, g in log])
    index = dates_of(days.time)
    whole = pd.date_range(index[0], index[-1])
    at = whole.get_indexer(index)
    filled = {f: np.full(len(whole), np.nan) for f in Days.__dataclass_fields__}
    for name in filled:
        filled[name][at] = getattr(days, name)
    filled["time"] = days.time[0] + np.arange(len(whole))
    filled["foraging_h"] = np.nan_to_num(filled["foraging_h"])
    spans = pd.DataFrame({"days": 1, "gain_kg": gain, "gain_sd_kg": 0.05}, index=index)
    ensemble = draw_ensemble(PLANTS, SUMMER, NUMBERS, np.random.default_rng(0))
    return fit_flow(spans, Days(**filled), ensemble, NUMBERS)


def hours_with(rng, rainy, days=100):
    """Foraging hours of May to August, and hours lost to rain on a share of the days."""
    clear = rng.uniform(7.0, 9.0, days)
    lost = np.where(rng.random(days) < rainy, clear * rng.uniform(0.5, 1.0, days), 0.0)
    return clear - lost, lost


@pytest.fixture(scope="module")
def seasons():
    """Five seasons with a fifth of rainy days, and one with three fifths."""
    rng, parts, log = np.random.default_rng(7), {}, []
    for year in range(2020, 2026):
        hours, lost = hours_with(rng, 0.6 if year == 2025 else 0.2)
        parts[year] = a_span(hours, rain_lost=lost)
        log.append(made_log(parts[year], year))
    return parts, log, model_of(log)


def swap_of(seasons, year, parts=None):
    own, log, model = seasons
    days, gain = log[year - 2020]
    rng = np.random.default_rng(1)
    return swap(model, days, gain, parts or own, year, NUMBERS, rng)


def test_a_season_equal_to_the_others_has_no_parts(seasons):
    parts, _, _ = seasons
    alike = dict.fromkeys(range(2020, 2026), parts[2021])
    told = swap_of(seasons, 2021, alike)
    assert np.abs(told.parts).max() < 1e-9


def test_only_what_differs_has_a_part(seasons):
    told = swap_of(seasons, 2025)
    moved = np.abs(told.parts).max(axis=(0, 1)) > 1e-9
    assert [d for d, m in zip(DRIVERS, moved, strict=True) if m] == ["rain"]


def test_water_in_the_ground_before_brings_more(seasons):
    """A dummy but for earlier rain: more of it than in other years can only have brought nectar."""
    parts, _, _ = seasons
    wet = {year: parts[2021].assign(rained=1.0) for year in range(2020, 2026)}
    wet[2021] = parts[2021].assign(rained=2.0)
    told = swap_of(seasons, 2021, wet)
    assert (told.parts[:, 0, DRIVERS.index("soil")] > 0).all()
    dry = wet | {2021: parts[2021].assign(rained=0.5)}
    assert (swap_of(seasons, 2021, dry).parts[:, 0, DRIVERS.index("soil")] < 0).all()


# ---- recovery -------------------------------------------------------------------------------


def test_a_rainy_season_lost_by_rain_what_its_hours_would_have_brought(seasons):
    """Intake in step with the hours: what the rain cost is the hours' worth, by construction."""
    parts, log, _ = seasons
    told = swap_of(seasons, 2025)
    rain = DRIVERS.index("rain")
    true = [log[5][1].sum() - made_log(parts[year], 2025)[1].sum() for year in range(2020, 2025)]
    assert told.parts[:, 0, rain].mean() == pytest.approx(np.mean(true), rel=0.35)
    # Against the other seasons of its log, as the pipeline does it.
    more = log[5][1].sum() - np.mean([gain.sum() for _, gain in log[:5]])
    share = lost_share(parts, 2025, told.usual_kg)
    table, _ = in_kilograms(told, share, more, 5, 1.0, NUMBERS)
    assert table["kg"].idxmin() in ("rain", IN_ALL)
    assert table.loc["rain", "q10"] < np.mean(true) < table.loc["rain", "q90"]


def test_a_poor_year_in_usual_weather_is_not_laid_to_weather(seasons):
    """The colony at half its strength under the weather of the others: the rest holds the most."""
    parts, log, _ = seasons
    weak = made_log(parts[2021], 2025, strength=0.5)
    model = model_of([*log[:5], weak])
    own = {year: parts[year] for year in range(2020, 2025)} | {2025: parts[2021]}
    days, gain = weak
    told = swap(model, days, gain, own, 2025, NUMBERS, np.random.default_rng(1))
    more = gain.sum() - np.mean([g.sum() for _, g in log[:5]])
    _, rest = in_kilograms(told, lost_share(own, 2025, told.usual_kg), more, 5, 1.0, NUMBERS)
    assert more < -10
    assert rest < 0.6 * more


def test_drivers_that_go_together(seasons):
    parts, _, _ = seasons
    both = {y: p.assign(lost_light_h=0.5 * p["lost_rain_h"]) for y, p in parts.items()}
    found = together(both, 2025)
    assert found.loc["rain", "light"] == pytest.approx(1.0)
    assert "heat" not in found  # no heat in any year: nothing to go together with
