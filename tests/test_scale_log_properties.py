"""What must hold of any scale log, whatever its weights, faults and work."""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log
from flowcast.tables import GAIN, check_bounds

NUMBERS = load_numbers()
WORDS = ["super on", "honey off", "feed", "swarmed", "inspected", "frames out"]
ZONES = ["UTC", "Europe/Berlin", "America/Los_Angeles", "Australia/Brisbane", "Asia/Kathmandu"]
few = settings(max_examples=40, deadline=None, derandomize=True)


@st.composite
def scale_logs(draw):
    """Readings and work of some days: a flow, a daily wave, steps, spikes, gaps and zeros."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    days, every_h = draw(st.integers(3, 12)), draw(st.sampled_from([0.25, 1.0, 1.0, 3.0]))
    hours = np.arange(0, 24 * days, every_h)
    daily = rng.normal(0.3, draw(st.sampled_from([0.0, 0.5, 2.0])), days)
    kg = 200 + np.interp(hours, 24.0 * np.arange(days + 1), np.append(0, np.cumsum(daily)))
    kg += 0.5 * np.sin(2 * np.pi * hours / 24)
    kg += rng.normal(0, draw(st.sampled_from([0.0, 0.03, 0.15])), len(kg))
    for _ in range(draw(st.integers(0, 4))):
        kg[hours >= rng.uniform(0, hours[-1])] += rng.choice([-1, 1]) * rng.uniform(0.5, 20)
    kg[rng.choice(len(kg), draw(st.integers(0, 4)))] += rng.normal(0, 20)
    for _ in range(draw(st.integers(0, 2))):
        start = int(rng.integers(len(kg)))
        fault = draw(st.sampled_from([np.nan, 0.0]))
        kg[start : start + int(rng.exponential(12 / every_h))] = fault
    kg[0] = 200.0
    first = pd.Timestamp("2024-03-20", tz="UTC") + pd.Timedelta(days=draw(st.integers(0, 300)))
    index = first + pd.to_timedelta(hours, unit="h")
    return pd.DataFrame({"weight_kg": kg}, index=index), _work(draw, rng, first, days)


def _work(draw, rng, first, days):
    lines = []
    for _ in range(draw(st.integers(0, 3))):
        time = (first + timedelta(hours=float(rng.uniform(0, 24 * days)))).floor("min")
        kg = float(rng.uniform(0.3, 25)) if draw(st.booleans()) else np.nan
        word = draw(st.sampled_from(WORDS))
        lines.append(
            {"time": time, "timed": draw(st.booleans()), "what": word, "kg": kg, "note": ""}
        )
    return pd.DataFrame(lines, columns=["time", "timed", "what", "kg", "note"])


def clean(readings, work, timezone="UTC"):
    return clean_log(readings, work, hive="H1", timezone=timezone, numbers=NUMBERS)


def same_gains(one, other, abs_kg=1e-6):
    pd.testing.assert_index_equal(one.gains.index, other.gains.index)
    assert list(one.gains["quality"]) == list(other.gains["quality"])
    for column in ("days", "gain_kg", "gain_sd_kg"):
        assert one.gains[column].to_numpy() == pytest.approx(
            other.gains[column].to_numpy(), abs=abs_kg
        )


@few
@given(scale_logs(), st.sampled_from(ZONES))
def test_weight_in_minus_weight_out_minus_work_is_the_sum_of_gains(log, timezone):
    cleaned = clean(*log, timezone=timezone)
    date = cleaned.steps["time"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
    for start, span in cleaned.gains.iterrows():
        end = start + pd.Timedelta(days=span["days"])
        between = cleaned.steps["kg"][((date >= start) & (date < end)).to_numpy()].sum()
        raised = cleaned.nights[end] - cleaned.nights[start]
        assert span["gain_kg"] == pytest.approx(raised - between, abs=1e-9)


@few
@given(scale_logs(), st.sampled_from(ZONES))
def test_spans_tile_the_log_and_nothing_is_lost_uncounted(log, timezone):
    readings, work = log
    cleaned = clean(readings, work, timezone=timezone)
    ends = cleaned.gains.index + pd.to_timedelta(cleaned.gains["days"], unit="D")
    assert (ends[:-1] <= cleaned.gains.index[1:]).all()
    assert len(cleaned.gains) + cleaned.counts.get("spans left out", 0) == len(cleaned.nights) - 1
    check_bounds(cleaned.gains, GAIN, where="gains")
    assert cleaned.readings.index.is_monotonic_increasing and cleaned.readings.index.is_unique
    marked = cleaned.readings["mark"].value_counts()
    assert all(cleaned.counts[mark] == n for mark, n in marked.items() if mark != "good")
    assert len(cleaned.readings) + cleaned.counts.get("no value", 0) == len(readings)
    good = (cleaned.readings["mark"] == "good").to_numpy()
    assert np.isfinite(cleaned.readings["net_kg"]).to_numpy().tolist() == good.tolist()


@few
@given(scale_logs(), st.floats(-50, 200))
def test_a_constant_added_to_all_weights_changes_no_gain(log, constant):
    readings, work = log
    readings = readings[readings["weight_kg"] != 0]  # a zero stays a zero on any scale
    same_gains(clean(readings, work), clean(readings + constant, work))


@few
@given(scale_logs(), st.integers(0, 2**32 - 1))
def test_the_order_of_rows_does_not_matter(log, seed):
    readings, work = log
    order = np.random.default_rng(seed).permutation(len(readings))
    same_gains(clean(readings, work), clean(readings.iloc[order], work.iloc[::-1]))


@few
@given(scale_logs(), st.integers(0, 2**32 - 1))
def test_saying_readings_again_does_not_matter(log, seed):
    readings, work = log
    rows = np.random.default_rng(seed).choice(len(readings), len(readings))
    again = clean(pd.concat([readings, readings.iloc[rows]]), work)
    same_gains(clean(readings, work), again, abs_kg=0)


@few
@given(scale_logs(), st.integers(-12, 12))
def test_the_same_clock_elsewhere_gives_the_same_gains(log, hours):
    # "Etc/GMT-3" is three hours east of Greenwich: the same wall clock is three hours earlier in
    # UTC.
    readings, work = log
    east = f"Etc/GMT{-hours:+d}"
    shift = pd.Timedelta(hours=hours)
    there = readings.set_axis(readings.index - shift)
    work_there = work.assign(time=work["time"] - shift) if len(work) else work
    # Hours since 1970 differ in their last digits, which may move a weight by as little.
    same_gains(clean(readings, work), clean(there, work_there, timezone=east), abs_kg=1e-3)


@few
@given(scale_logs())
def test_work_of_other_years_changes_nothing(log):
    readings, work = log
    far = work.assign(time=work["time"] + pd.Timedelta(days=900)) if len(work) else work
    same_gains(clean(readings, work.iloc[:0]), clean(readings, far), abs_kg=0)


@few
@given(scale_logs(), st.integers(0, 2**32 - 1))
def test_a_log_in_two_parts_is_the_same_log(log, seed):
    readings, work = log
    cut = int(np.random.default_rng(seed).integers(1, len(readings)))
    again = pd.concat([readings.iloc[cut - min(cut, 5) :], readings.iloc[:cut]])
    same_gains(clean(readings, work), clean(again, work), abs_kg=0)


@few
@given(scale_logs())
def test_a_scale_in_grams_or_pounds_tells_the_same(log):
    readings, work = log
    for unit in (0.001, 0.45359237):
        there = (readings / unit) * unit  # what reading in that unit leaves of the digits
        same_gains(clean(readings, work), clean(there, work))


@few
@given(scale_logs())
def test_a_restart_never_changes_a_good_day(log):
    readings, work = log
    cleaned = clean(readings, work)
    zero = (cleaned.readings["mark"] == "restart").to_numpy()
    other = readings.copy()
    other.loc[cleaned.readings.index[zero], "weight_kg"] = -3.0
    same_gains(cleaned, clean(other, work), abs_kg=0)


@few
@given(scale_logs(), st.sampled_from(ZONES), st.integers(0, 2**32 - 1))
def test_the_identity_closes_over_any_span(log, timezone, seed):
    cleaned = clean(*log, timezone=timezone)
    gains = cleaned.gains
    if not len(gains) or cleaned.counts.get("spans left out"):
        return
    ends = gains.index + pd.to_timedelta(gains["days"].to_numpy(), unit="D")
    first, last = np.sort(np.random.default_rng(seed).integers(0, len(gains), 2))
    start, end = gains.index[first], ends[last]
    date = cleaned.steps["time"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
    taken = cleaned.steps["kg"][((date >= start) & (date < end)).to_numpy()].sum()
    raised = cleaned.nights[end] - cleaned.nights[start]
    total = gains["gain_kg"].iloc[first : last + 1].sum()
    assert total == pytest.approx(raised - taken, abs=1e-9)
