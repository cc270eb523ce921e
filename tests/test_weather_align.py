"""One source put on the climate of another, and blocks joined. All weather invented."""

from functools import lru_cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from flowcast.numbers import load_numbers
from flowcast.tables import WEATHER, check_bounds
from flowcast.weather import drifting, fit_correction, join_blocks, unsure

NUMBERS = load_numbers()
UNDRAWN = NUMBERS.with_overrides(
    {"align.trust_d": 0, "align.scale_trust_d": 0, "align.rain_trust_h": 0}
)


def hours(n, first="2024-05-01", **columns):
    """A table of n hours; each column's values are repeated to fill it."""
    index = pd.date_range(first, periods=n, freq="h", tz="UTC")
    return pd.DataFrame(
        {name: np.resize(np.asarray(v, float), n) for name, v in columns.items()}, index=index
    )


# ---------------------------------------------------------------- textbook


def test_mean_and_variance_become_those_of_the_target():
    """Linear scaling of mean and variance, and of the mean alone, as bias correction is taught
    (Teutschbein and Seibert 2012, J. Hydrology 456-457:12; from memory), with nothing drawn back."""
    rng = np.random.default_rng(5)
    source = hours(
        240,
        temp_c=rng.normal(9, 4, 240),
        rh_pct=rng.uniform(40, 60, 240),
        wind_ms=rng.uniform(1, 6, 240),
        precip_mm=rng.exponential(1, 240),
        ghi_wm2=rng.uniform(0, 600, 240),
    )
    target = source.assign(
        temp_c=rng.normal(11, 5, 240), rh_pct=source["rh_pct"] + 7, wind_ms=rng.uniform(1, 5, 240)
    )
    target["precip_mm"] = 2 * source["precip_mm"]
    done = fit_correction(source, target, UNDRAWN).apply(source)
    assert done["temp_c"].mean() == pytest.approx(target["temp_c"].mean())
    assert done["temp_c"].std() == pytest.approx(target["temp_c"].std())
    for name in ("rh_pct", "wind_ms", "precip_mm", "ghi_wm2"):
        assert done[name].mean() == pytest.approx(target[name].mean()), name
    assert done["rh_pct"].std() == pytest.approx(source["rh_pct"].std())  # the mean alone


# ---------------------------------------------------------------- by hand


def test_temperature_by_hand():
    """Source 8, 10, 12, target 9, 12, 15 over 3 days: means 10 and 12, swing 3/2.

    Factor 1.5^(3 / (3 + 10)) = 1.098086, mean moved by 2 x 3 / (3 + 1) = 1.5 to 11.5;
    12 °C becomes 11.5 + 1.098086 x 2 = 13.69617.
    """
    source, target = hours(72, temp_c=[8, 10, 12]), hours(72, temp_c=[9, 12, 15])
    correction = fit_correction(source, target, NUMBERS)
    assert correction.factor["temp_c"][4] == pytest.approx(1.098086, abs=5e-7)
    assert correction.offset["temp_c"][4] == pytest.approx(11.5 - 10.98086, abs=5e-6)
    assert correction.apply(source)["temp_c"].iloc[2] == pytest.approx(13.69617, abs=5e-6)
    unscaled = fit_correction(source, target, NUMBERS, scale=False)
    assert unscaled.apply(source)["temp_c"].tolist()[:3] == pytest.approx([9.5, 11.5, 13.5])


def test_wind_and_humidity_by_hand():
    """Wind 4 to 5 m/s: 1.25^(3/4) = 1.182178; humidity 60 to 68 %: + 8 x 3/4 = 6."""
    source = hours(72, wind_ms=[3, 4, 5], rh_pct=[50, 60, 70])
    target = hours(72, wind_ms=[4, 5, 6], rh_pct=[58, 68, 78])
    done = fit_correction(source, target, NUMBERS).apply(source)
    assert done["wind_ms"].iloc[1] == pytest.approx(4 * 1.182178, abs=5e-6)
    assert done["rh_pct"].tolist()[:3] == pytest.approx([56, 66, 76])


def test_rain_by_hand():
    """20 equally wet hours against align.rain_trust_h = 20: half way, in the logarithm, to 2."""
    source = hours(72, precip_mm=[1.0] * 20 + [0.0] * 52)
    correction = fit_correction(source, 2 * source, NUMBERS)
    assert correction.factor["precip_mm"][0] == pytest.approx(2**0.5)


def test_hours_of_rain_are_counted_by_kish():
    """(3 + 1)^2 / (9 + 1) = 1.6 hours, the fewer of the two sources: 2^(1.6 / 21.6) = 1.05268.

    The effective sample size of Kish 1965, Survey Sampling; from memory.
    """
    source = hours(72, precip_mm=[1.5, 0.5] + [0.0] * 70)
    correction = fit_correction(source, 2 * source, NUMBERS)
    assert correction.factor["precip_mm"][0] == pytest.approx(1.05268, abs=1e-5)


def test_one_freak_storm_changes_little():
    """60 mm against 1 mm in one hour of five days: the most, 3, to the power 1/21 = 1.0537."""
    storm = np.zeros(120)
    storm[60] = 1.0
    source = hours(120, precip_mm=storm)
    correction = fit_correction(source, 60 * source, NUMBERS)
    assert correction.factor["precip_mm"][0] == pytest.approx(1.0537, abs=5e-5)


def test_a_dry_spell_tells_nothing_of_rain():
    source, target = hours(240, precip_mm=[0.0]), hours(240, precip_mm=[0.0, 2.0])
    assert fit_correction(source, target, NUMBERS).factor["precip_mm"][0] == 1.0
    assert fit_correction(target, source, NUMBERS).factor["precip_mm"][0] == 1.0


def test_fewer_than_three_days_are_none():
    """align.least_d = 3 d."""
    full = hours(72, temp_c=[8, 10, 12])
    assert fit_correction(full, full, NUMBERS) is not None
    assert fit_correction(full.iloc[:71], full, NUMBERS) is None
    assert fit_correction(full, full.iloc[:0], NUMBERS) is None
    assert fit_correction(full[[]], full, NUMBERS) is None  # days, but no quantity in common


def test_months_have_their_own_correction_from_300_days_on():
    """1 °C too warm in winter, 1 too cold in summer; windows of three months see their middle."""
    target = hours(24 * 365, temp_c=[5, 10, 15], first="2023-01-01")
    off = np.cos(2 * np.pi * (target.index.dayofyear.to_numpy() - 15) / 365)
    source = target.assign(temp_c=target["temp_c"] + off)
    correction = fit_correction(source, target, NUMBERS)
    moved = correction.offset["temp_c"] + (correction.factor["temp_c"] - 1) * 10
    # A window of 3 of 12 months shows sin(pi/4) / (pi/4) = 0.900 of a yearly wave.
    assert moved == pytest.approx(-0.9 * np.cos(2 * np.pi * np.arange(12) / 12), abs=0.05)
    assert correction.seasonal
    short = fit_correction(source.iloc[: 24 * 299], target, NUMBERS)
    assert not short.seasonal and len(set(short.offset["temp_c"])) == 1


def test_words_name_what_is_done_and_nothing_else():
    source = hours(240, temp_c=[8, 10, 12], wind_ms=[2, 4], rh_pct=[50])
    target = source.assign(temp_c=source["temp_c"] + 2, wind_ms=1.25 * source["wind_ms"])
    said = str(fit_correction(source, target, NUMBERS).note())
    # 2 x 10/11 = 1.8 °C; 1.25^(10/11) = 1.22
    assert said == (
        "Corrected to the yard's history by 10 days in common: temperature +1.8 °C, wind × 1.22."
    )
    assert str(fit_correction(source, source, NUMBERS).note()) == (
        "Agrees with the yard's history over 10 days in common."
    )


# ---------------------------------------------------------------- properties

spans = {
    name: st.floats(low, high).map(lambda value: round(value, 2))  # as services print them
    for name, low, high in (
        ("temp_c", -70, 60),
        ("rh_pct", 0, 100),
        ("precip_mm", 0, 300),
        ("wind_ms", 0, 80),
        ("ghi_wm2", 0, 1400),
        ("cloud_pct", 0, 100),
    )
}


@st.composite
def weathers(draw, n=96, first="2024-05-01"):
    """Any weather of n hours; each column repeats a few values, some missing."""
    columns = {
        name: draw(st.lists(value | st.just(np.nan), min_size=1, max_size=5))
        for name, value in spans.items()
    }
    return hours(n, first, **columns)


@settings(deadline=None)
@given(weathers())
def test_nothing_changes_where_both_are_alike(table):
    done = fit_correction(table, table, NUMBERS).apply(table)
    pd.testing.assert_frame_equal(done, table, rtol=1e-9, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(weathers(), weathers(), weathers(n=24, first="2024-11-01"))
def test_corrected_values_are_possible_and_missing_ones_stay_missing(source, target, other):
    other["dewpoint_c"], other["soil_temp_c"] = 3.0, 12.0
    correction = fit_correction(source, target, NUMBERS)
    done = correction.apply(other)
    check_bounds(done, WEATHER, where="corrected")
    assert done["rh_pct"].dropna().le(100).all()
    assert done.isna().equals(other.drop(columns="dewpoint_c").isna())
    assert "dewpoint_c" not in done  # it follows from temperature and humidity
    assert done["soil_temp_c"].eq(12.0).all()
    least, most = 1 / NUMBERS["align.rain_most"], NUMBERS["align.rain_most"]
    assert least - 1e-12 <= correction.factor["precip_mm"].min()
    assert correction.factor["precip_mm"].max() <= most + 1e-12


@settings(max_examples=40, deadline=None)
@given(weathers(), weathers(), st.randoms(use_true_random=False))
def test_the_order_of_hours_changes_nothing(source, target, random):
    order = list(range(len(source)))
    random.shuffle(order)
    plain = fit_correction(source, target, NUMBERS)
    mixed = fit_correction(source.iloc[order], target.iloc[order[::-1]], NUMBERS)
    for name in plain.factor:
        assert mixed.factor[name] == pytest.approx(plain.factor[name], rel=1e-6)
        assert mixed.offset[name] == pytest.approx(plain.offset[name], rel=1e-6, abs=1e-6)


@settings(deadline=None)
@given(weathers(), st.integers(0, 99))
def test_unsure_members_are_possible_and_each_its_own(table, seed):
    table["dewpoint_c"] = 3.0
    members = unsure([table] * 3, np.random.default_rng(seed), NUMBERS)
    for member in members:
        check_bounds(member, WEATHER, where="unsure")
        assert member["rh_pct"].equals(table["rh_pct"])
        assert "dewpoint_c" not in member


def test_unsure_members_spread_as_the_numbers_say():
    """align.unsure_c = 1 °C and unsure_log = 0.2: 400 draws tell a spread within 3 / sqrt(800)."""
    table = hours(2, temp_c=[10], wind_ms=[4], precip_mm=[1], ghi_wm2=[300])
    members = unsure([table] * 400, np.random.default_rng(1), NUMBERS)
    temp = np.array([m["temp_c"].iloc[0] - 10 for m in members])
    assert temp.std() == pytest.approx(1.0, rel=3 / np.sqrt(800))
    for name, value in (("wind_ms", 4), ("precip_mm", 1), ("ghi_wm2", 300)):
        log = np.log([m[name].iloc[0] / value for m in members])
        assert log.std() == pytest.approx(0.2, rel=3 / np.sqrt(800)), name
        assert log.mean() == pytest.approx(0.0, abs=3 * 0.2 / 20), name


# ---------------------------------------------------------------- blocks joined


def block(first, n, temp=10.0, rain=0.0):
    return hours(n, first, temp_c=[temp], precip_mm=[rain], wind_ms=[3.0])


def test_one_block_is_left_as_it_is():
    only = block("2024-05-01", 48)
    joined = join_blocks([only], ["a"], NUMBERS)
    assert joined.table is only and joined.corrections == {}


def test_the_training_climate_is_never_touched():
    ours, other = block("2024-05-01", 240), block("2024-05-01", 360, temp=14.0)
    joined = join_blocks([ours, other], ["a", "b"], NUMBERS)
    pd.testing.assert_frame_equal(joined.table.iloc[:240], ours, check_freq=False)
    assert joined.block.tolist() == [0] * 240 + [1] * 120
    # 10 days in common: 14 °C moved by -4 x 10/11
    assert joined.table["temp_c"].iloc[300] == pytest.approx(14 - 40 / 11)


def test_blocks_of_one_climate_are_joined_as_they_are():
    years = [block("2023-12-30", 48, 5.0), block("2024-01-01", 48, 6.0)]
    joined = join_blocks(years, ["a", "a"], NUMBERS)
    assert joined.corrections == {}
    assert joined.table["temp_c"].tolist() == [5.0] * 48 + [6.0] * 48


def test_too_little_in_common_is_not_corrected_and_told():
    blocks = [block("2024-05-01", 48), block("2024-05-02", 96, temp=14.0)]
    joined = join_blocks(blocks, ["a", "b"], NUMBERS)
    assert joined.corrections == {"b": None}
    assert joined.table["temp_c"].iloc[-1] == 14.0


@pytest.mark.parametrize(("gap", "filled"), [(1, False), (6, False), (7, True)])
def test_short_holes_are_left_to_be_bridged(gap, filled):
    """weather.max_gap_h = 6 h: what can be bridged is no place for another source's hours."""
    ours = block("2024-05-01", 240).drop(
        pd.date_range("2024-05-05", periods=gap, freq="h", tz="UTC")
    )
    joined = join_blocks([ours, block("2024-05-01", 240, 12.0)], ["a", "b"], NUMBERS)
    assert len(joined.table) == (240 if filled else 240 - gap)
    assert (joined.block == 1).sum() == (gap if filled else 0)


def test_a_block_fills_whole_hours_and_never_single_columns():
    ours = block("2024-05-01", 240)
    ours.loc["2024-05-03", "precip_mm"] = np.nan
    ours["wind_ms"] = np.nan
    joined = join_blocks([ours, block("2024-05-01", 240, 12.0)], ["a", "b"], NUMBERS)
    day = joined.table.loc["2024-05-03"]
    assert day["precip_mm"].eq(0).all() and day["wind_ms"].eq(3.0).all()
    assert joined.table["wind_ms"].notna().sum() == 24  # not where ours is whole without wind
    assert (joined.block == 1).sum() == 24


def test_hours_that_no_block_tells_whole_are_kept():
    """A week without a rain gauge still has its temperatures, as it has when nothing is joined."""
    ours = block("2024-05-01", 480)
    ours.loc["2024-05-03":"2024-05-09", "precip_mm"] = np.nan
    ours.loc["2024-05-15 03:00", "temp_c"] = np.nan  # a short hole in the other's span
    joined = join_blocks([ours, block("2024-05-12", 480, 12.0)], ["a", "b"], NUMBERS)
    assert joined.table.loc["2024-05-05", "temp_c"].eq(10.0).all()
    assert joined.table.loc["2024-05-05", "precip_mm"].isna().all()
    assert np.isnan(joined.table.loc[pd.Timestamp("2024-05-15 03:00", tz="UTC"), "temp_c"])
    assert len(joined.table) == 24 * (11 + 20)
    assert joined.table.index.is_monotonic_increasing and joined.table.index.is_unique


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 96), st.integers(0, 120)), min_size=2, max_size=4))
def test_each_hour_comes_once_and_from_the_first_block_that_has_it(spans):
    blocks = [
        block(pd.Timestamp("2024-05-01") + pd.Timedelta(hours=start), n, float(k))
        for k, (start, n) in enumerate(spans)
    ]
    joined = join_blocks(blocks, list("abcd")[: len(blocks)], NUMBERS)
    index = joined.table.index
    assert index.is_unique and index.is_monotonic_increasing and len(joined.block) == len(index)
    for stamp, k in zip(index, joined.block, strict=True):
        assert k == next(j for j, b in enumerate(blocks) if stamp in b.index)


# ---------------------------------------------------------------- recovery from simulated data


def wandering(n, memory_h, sd, rng):
    """A first-order autoregression of this memory and spread."""
    phi = np.exp(-1 / memory_h)
    pushes = rng.normal(0, sd * np.sqrt(1 - phi**2), n)
    pushes[0] = rng.normal(0, sd)
    return lfilter([1], [1, -phi], pushes)


def true_weather(days, rng, first):
    index = pd.date_range(first, periods=24 * days, freq="h", tz="UTC")
    n = len(index)
    year = 2 * np.pi * (index.dayofyear.to_numpy() - 200) / 365.25
    hour = 2 * np.pi * (index.hour.to_numpy() - 14) / 24
    wet = wandering(n, 10, 1, rng) > 1.3
    storm = rng.exponential(1.2, n) * np.exp(0.5 * wandering(n, 30, 1, rng))
    return pd.DataFrame(
        {
            "temp_c": 12 + 9 * np.cos(year) + 4 * np.cos(hour) + wandering(n, 60, 4, rng),
            "precip_mm": np.where(wet, storm, 0.0),
            "wind_ms": 3.5 * np.exp(0.5 * wandering(n, 24, 1, rng)),
        },
        index=index,
    )


def as_seen(truth, rng, shift=0.0, swing=1.0, rain=1.0, wind=1.0, seasonal=0.0):
    """Another source's view: 0.8 °C off for about a day, single storms by a factor of exp(±0.8)."""
    n, mean = len(truth), truth["temp_c"].mean()
    year = 2 * np.pi * (truth.index.dayofyear.to_numpy() - 200) / 365.25
    off = shift + seasonal * np.cos(year) + wandering(n, 24, 0.8, rng)
    return pd.DataFrame(
        {
            "temp_c": mean + swing * (truth["temp_c"] - mean) + off,
            "precip_mm": truth["precip_mm"] * rain * np.exp(wandering(n, 12, 0.8, rng) - 0.32),
            "wind_ms": truth["wind_ms"] * wind * np.exp(wandering(n, 12, 0.25, rng) - 0.03125),
        }
    )


OTHER = {"shift": 2.0, "swing": 1.2, "rain": 0.7, "wind": 1.3}


@lru_cache(maxsize=2)
def trials(days, after, **how):
    """Corrections fitted on `days`, and raw, corrected and true weather of the days after."""
    made = []
    for seed in range(16 if days < 400 else 4):
        rng = np.random.default_rng(seed)
        truth = true_weather(days + after, rng, "2019-03-01")
        seen = as_seen(truth, rng, **how)
        cut = 24 * days
        correction = fit_correction(seen.iloc[:cut], truth.iloc[:cut], NUMBERS)
        later = seen.iloc[cut:]
        made.append((correction, later, correction.apply(later), truth.iloc[cut:], truth, seen))
    return made


def daily_error(made, which, name):
    """Root mean square error of daily means (1: as seen, 2: corrected)."""
    off = [(t[which][name] - t[3][name]).resample("D").mean().to_numpy() for t in made]
    return float(np.sqrt(np.mean(np.concatenate(off) ** 2)))


def factors(made, name):
    return np.array([t[0].factor[name].mean() for t in made])


def left_over(made):
    """Mean error of temperature after the correction, by trial. [°C]"""
    return np.array([(t[2]["temp_c"] - t[3]["temp_c"]).mean() for t in made])


def test_87_days_find_the_difference():
    """The last weeks' overlap with the archive: 92 days less its lag, tried on the 16 days after.

    Expected are the true inverses drawn back as the rule says: (1/1.2)^(87/97) = 0.849 and
    (1/1.3)^(87/88) = 0.771; rain between none and 1/0.7 = 1.43. Standard errors of one trial, as
    16 trials scatter: 0.009, 0.018 and 0.14; 0.27 °C for the mean of the 16 days after.
    """
    made = trials(87, 16, **OTHER)
    assert factors(made, "temp_c") == pytest.approx(0.849, abs=3 * 0.009)
    assert factors(made, "wind_ms").mean() == pytest.approx(0.771, abs=3 * 0.018 / 4)
    assert 1.1 < factors(made, "precip_mm").mean() < 1.43
    assert left_over(made).mean() == pytest.approx(0.0, abs=3 * 0.27 / 4)


def test_five_years_find_the_difference():
    """Expected are the true inverses; standard errors of one trial: 0.002, 0.006, 0.046 and, for the
    year after, 0.036 °C. The source's own noise, 0.8 °C beside 8 °C of weather, makes its swing half
    a hundredth larger."""
    made = trials(1826, 365, **OTHER)
    assert factors(made, "temp_c") == pytest.approx(1 / 1.2, abs=0.005 + 3 * 0.002)
    assert factors(made, "wind_ms") == pytest.approx(1 / 1.3, abs=3 * 0.006)
    assert factors(made, "precip_mm") == pytest.approx(1 / 0.7, abs=3 * 0.046)
    assert left_over(made).mean() == pytest.approx(0.0, abs=3 * 0.036 / 2)


@pytest.mark.parametrize(("days", "after"), [(87, 16), (1826, 365)])
def test_days_outside_the_overlap_come_closer_to_the_truth(days, after):
    """Daily means off by 3.3 °C come to 0.61 after 87 days (2.6 to 0.57 after five years), wind from
    1.5 to 0.79 m/s (1.8 to 0.93); what remains is the source's own noise, 0.7 °C.

    Rain comes right in its sum (0.66 of the truth to 0.87, and 0.93), not day by day: a factor
    cannot tell which storm was seen too small.
    """
    made = trials(days, after, **OTHER)
    assert daily_error(made, 2, "temp_c") < 0.3 * daily_error(made, 1, "temp_c")
    assert daily_error(made, 2, "temp_c") < 0.75
    assert daily_error(made, 2, "wind_ms") < 0.6 * daily_error(made, 1, "wind_ms")
    sums = [sum(t[k]["precip_mm"].sum() for t in made) for k in (1, 2, 3)]
    assert abs(np.log(sums[1] / sums[2])) < 0.5 * abs(np.log(sums[0] / sums[2]))


@pytest.mark.parametrize(("days", "after"), [(87, 16), (1826, 365)])
def test_where_nothing_differs_little_harm_is_done(days, after):
    """Daily errors grow by 0 % (temperature), 2 % (wind) and 8 % (rain) after 87 days, by 4 % at the
    most after five years."""
    made = trials(days, after)
    for name, most in (("temp_c", 1.02), ("wind_ms", 1.04), ("precip_mm", 1.10)):
        assert daily_error(made, 2, name) <= most * daily_error(made, 1, name), name


def test_a_bias_of_the_months_is_found_from_five_years():
    """1.5 °C too warm in July and too cold in January: the months' errors fall to what the noise of
    single months leaves, 0.3 °C; daily errors from 1.30 to 0.69, as without any difference."""
    made = trials(1826, 365, seasonal=1.5)
    months = [
        np.mean(
            [(t[k]["temp_c"] - t[3]["temp_c"]).groupby(t[3].index.month).mean() for t in made],
            axis=0,
        )
        for k in (1, 2)
    ]
    assert np.abs(months[0]).max() > 1.3
    assert np.abs(months[1]).max() < 0.4
    assert daily_error(made, 2, "temp_c") < 0.75


def test_dry_years_do_no_more_harm_than_no_correction():
    """A month of few storms told of a true ratio (spread 0.3 in the logarithm): corrected, the ratio
    is no further off than uncorrected. With trust by the days alone it was: 0.40 against 0.28."""
    rng = np.random.default_rng(4)
    off = []
    for _ in range(300):
        ratio = rng.normal(0, 0.3)
        wet = wandering(720, 10, 1, rng) > 2.5
        truth = np.where(
            wet, rng.exponential(1.2, 720) * np.exp(0.8 * wandering(720, 30, 1, rng)), 0
        )
        seen = truth * np.exp(ratio + wandering(720, 12, 0.8, rng) - 0.32)
        pair = hours(720, precip_mm=seen), hours(720, precip_mm=truth)
        factor = fit_correction(*pair, NUMBERS).factor["precip_mm"][0]
        off.append((ratio, ratio + np.log(factor)))
    before, after = np.sqrt(np.mean(np.square(off), axis=0))
    assert after <= before


def test_a_single_run_errs_more_with_every_day_and_remembers_its_error():
    """align.drift_c = 0.4 °C a day: a spread of 0.8 °C after 2 days and 3.2 °C after 8.

    400 draws tell a spread within 3 / sqrt(800) of itself. An error of memory 2 days is worth
    exp(-1/2) of itself a day later.
    """
    index = pd.date_range("2026-05-20 01:00", periods=9 * 24, freq="h", tz="UTC")
    run = pd.DataFrame({"temp_c": 15.0, "precip_mm": 1.0, "wind_ms": 3.0}, index=index)
    made = drifting(run, 400, np.random.default_rng(2), NUMBERS)
    temp = np.array([m["temp_c"].to_numpy() for m in made]) - 15.0
    assert temp[:, 0] == pytest.approx(0)
    for day in (2, 8):
        assert temp[:, 24 * day].std() == pytest.approx(0.4 * day, rel=0.11)
    assert np.corrcoef(temp[:, 96], temp[:, 120])[0, 1] == pytest.approx(np.exp(-0.5), abs=0.12)
    rain = np.log([m["precip_mm"].iloc[96] for m in made])
    assert rain.std() == pytest.approx(0.1 * 2, rel=0.11)
