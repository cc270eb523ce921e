"""A day from inside: published findings, hand-worked days, properties, recovery."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log, within_days

NUMBERS = load_numbers()
NO_WORK = pd.DataFrame(columns=["time", "timed", "what", "kg", "note"])
FIRST = pd.Timestamp("2024-05-01", tz="UTC")


def look(kg, freq="h", timezone="UTC", first=FIRST):
    index = pd.date_range(first, periods=len(kg), freq=freq)
    readings = pd.DataFrame({"weight_kg": np.asarray(kg, float)}, index=index)
    log = clean_log(readings, NO_WORK, hive="H1", timezone=timezone, numbers=NUMBERS)
    return within_days(log, timezone, NUMBERS)


def days(out=0.5, brought=1.0, night=0.03, many=6, per_h=1):
    """Loses `night` an hour from 18 to 8 h; `out` leave at 8 h; from 13 to 18 h they come home with
    what the day brings; hourly or finer, stamps at the start of the local day."""
    hours = np.arange(0, 24 * many, 1 / per_h)
    hour, day = hours % 24, np.floor(hours / 24)
    lost_a_day = 14 * night
    base = 40.0 + day * (brought - lost_a_day)
    lost = night * np.minimum(hour, 8) + night * np.maximum(hour - 18, 0)
    away = out * ((hour >= 8) & (hour < 13))
    home = out * np.clip((18 - hour) / 5, 0, 1) * (hour >= 13)
    came = brought * np.clip((hour - 13) / 5, 0, 1)
    return base - lost - away - home + came


# Published values


def test_dawn_dip_is_foragers_and_their_number_is_told():
    # Meikle et al. 2018 (READ): the dawn loss is departing foragers. 5,000 bees of 0.1 g (MEMORY) are
    # 0.5 kg.
    table = look(days(out=0.5))
    assert table["departure_kg"].iloc[:4].to_numpy() == pytest.approx([0.5] * 4, abs=1e-6)


def test_a_payload_of_twenty_milligrams_a_trip_adds_up():
    # The same paper: an arriving bee brings 0.02 g. 5,000 foragers of ten trips bring 1.0 kg, and
    # while nothing else moves by day that is the day's intake.
    table = look(days(brought=5000 * 10 * 0.02e-3, night=0.0))
    assert table["intake_kg"].iloc[:4].to_numpy() == pytest.approx([1.0] * 4, abs=1e-6)


# Hand-worked


def test_a_day_from_its_night_to_the_next():
    # From 4 to 8 h the night goes on: 0.03 · 4 = 0.12 lost; from 13 to 18 h 1.0 comes in; from 18 to
    # 21 h 0.09 are lost: intake 0.79. From 21 to 4 h: 7 · 0.03 = 0.21. Together 0.58 = 1.0 - 14 · 0.03.
    table = look(days())
    middle = table.iloc[:4]
    assert middle["intake_kg"].to_numpy() == pytest.approx([0.79] * 4, abs=1e-6)
    assert middle["night_loss_kg"].to_numpy() == pytest.approx([0.21] * 4, abs=1e-6)
    # From 8 h on the colony loses nothing here, while the night's line goes on: at the first hour of
    # the five that all weigh alike the dip is 0.5.
    assert list(middle["lowest_h"]) == [8.0] * 4


def test_intake_less_night_loss_is_the_gain():
    kg = days() + np.random.default_rng(1).normal(0, 0.02, 24 * 6)
    table = look(kg).dropna()
    gain = table["intake_kg"] - table["night_loss_kg"]
    assert gain.to_numpy() == pytest.approx(np.full(len(gain), 0.58), abs=0.1)


def test_too_few_readings_tell_nothing():
    assert look(days()[::6], freq="6h").empty
    kg = days()
    kg[50:56] = np.nan  # the night from 2 to 3 May
    table = look(kg)
    assert np.isnan(table["night_loss_kg"].get(pd.Timestamp("2024-05-02"), np.nan))


def test_hand_weighings_have_no_inside():
    index = pd.date_range("2024-05-01 10:00", periods=5, freq="7D", tz="UTC")
    readings = pd.DataFrame({"weight_kg": [40.0, 41, 42, 43, 44]}, index=index)
    log = clean_log(readings, NO_WORK, hive="H1", timezone="UTC", numbers=NUMBERS)
    assert within_days(log, "UTC", NUMBERS).empty


# Properties


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.floats(0, 1), st.floats(-0.5, 3), st.integers(-11, 12))
def test_neither_a_constant_nor_the_zone_matters(seed, out, brought, zone):
    kg = days(out, brought) + np.random.default_rng(seed).normal(0, 0.02, 24 * 6)
    one = look(kg)
    east = f"Etc/GMT{-zone:+d}"
    other = look(kg + 10, timezone=east, first=FIRST - pd.Timedelta(hours=zone))
    assert list(one.index) == list(other.index)
    for name in ("intake_kg", "night_loss_kg", "departure_kg"):
        assert other[name].to_numpy() == pytest.approx(one[name].to_numpy(), abs=2e-3, nan_ok=True)


# Recovery from simulated days


@pytest.mark.parametrize("per_h", [1, 12])
@pytest.mark.parametrize("seed", [1, 2])
def test_true_values_lie_within_their_errors(seed, per_h):
    rng = np.random.default_rng(seed)
    many, noise = 60, 0.04
    kg = days(0.4, 1.2, 0.04, many, per_h) + rng.normal(0, noise, 24 * many * per_h)
    freq = f"{60 // per_h}min"
    table = look(kg, freq).dropna().iloc[1:-1]
    # Intake 1.2 - 0.04 · (4 + 3) = 0.92, night loss 0.28, departure 0.4.
    for name, true in (("intake", 0.92), ("night_loss", 0.28), ("departure", 0.4)):
        error = (table[f"{name}_kg"] - true) / table[f"{name}_sd_kg"]
        # Half-hour means see at most 0.39 of the departure, whose peak is at one moment.
        assert abs(error.mean()) < (0.5 if name != "departure" else 0.75)  # of one standard error
        assert (error.abs() < 2).mean() > 0.85
    assert len(table) > 50
    # Twelve times the readings: errors about √12 smaller, at least halved.
    bound = 0.06 if per_h == 1 else 0.03
    assert table["night_loss_sd_kg"].median() < bound


def test_loss_of_the_night_follows_the_day_it_ends():
    # Five days losing 0.03 kg an hour by night, then five losing 0.06: 0.21 and 0.42 kg in seven hours.
    first = days(night=0.03, many=5)
    second = days(night=0.06, many=5)
    kg = np.concatenate([first, second - second[0] + first[-1] - 0.03])
    table = look(kg + np.random.default_rng(3).normal(0, 0.01, len(kg))).dropna()
    assert table["night_loss_kg"]["2024-05-03"] == pytest.approx(0.21, abs=0.04)
    assert table["night_loss_kg"]["2024-05-08"] == pytest.approx(0.42, abs=0.04)
