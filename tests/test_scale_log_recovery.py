"""Known gains and steps recovered from a simulated hive, on its scale and on its faults.

The hive is made here from a seed: a spring flow and a summer flow, days of rain, foragers out by
day, consumption by night. Nothing of it is a real hive.
"""

from dataclasses import dataclass

import measure_cleaning
import numpy as np
import pandas as pd
import pytest

from flowcast.numbers import load_numbers
from flowcast.scale_log import clean_log

NUMBERS = load_numbers()
FIRST = pd.Timestamp("2024-04-01", tz="UTC")
DAYS = 120
NO_WORK = pd.DataFrame(columns=["time", "timed", "what", "kg", "note"])
# Hour since the first of April, kg; boxes, a swarm, honey and feed as a season has them.
STEPS = [
    (10 * 24 + 11.4, 2.8),
    (24 * 24 + 10.6, 4.3),
    (38 * 24 + 12.7, -2.6),
    (52 * 24 + 14.3, 4.3),
    (70 * 24 + 9.5, -18.2),
    (71 * 24 + 16.4, 3.6),
    (95 * 24 + 10.2, -12.4),
    (110 * 24 + 17.6, 5.9),
]


@dataclass(frozen=True)
class Hive:
    """Hours since the first of April, true weight, what the scale shows, true daily gain."""

    hours: np.ndarray
    shown: np.ndarray
    gain: pd.Series

    @property
    def readings(self):
        index = FIRST + pd.to_timedelta(self.hours, unit="h")
        return pd.DataFrame({"weight_kg": self.shown}, index=index)


def simulated(seed, every_h=1.0, noise=0.04, faults=True):
    rng = np.random.default_rng(seed)
    fine = np.arange(0, DAYS * 24, 1 / 12)
    bees = bees_alone(rng, fine)
    hours = np.arange(0, DAYS * 24, every_h)
    weight = np.interp(hours, fine, bees)
    for hour, kg in STEPS:
        weight[hours >= hour] += kg
    shown = weight + rng.normal(0, noise, len(hours))
    if faults:
        shown = with_faults(rng, hours, shown)
    night = fine % 24 < 4
    nights = pd.Series(bees[night]).groupby((fine[night] // 24).astype(int)).median()
    dates = pd.date_range(FIRST.tz_localize(None), periods=DAYS - 1)
    gain = pd.Series(np.diff(nights), index=dates)
    return Hive(hours, np.round(shown, 2), gain)


def bees_alone(rng, hours):
    """Weight of a hive nobody touches: nectar in by day, foragers out, food and water off."""
    day, hour = (hours // 24).astype(int), hours % 24
    season = 2.5 * np.exp(-(((day - 30) / 9) ** 2)) + 3.5 * np.exp(-(((day - 85) / 12) ** 2))
    fair = rng.random(DAYS) > 0.2
    brings = (season * fair[day] * rng.gamma(6, 1 / 6, DAYS)[day]) * (1 / 12)
    light = np.clip(np.sin(np.pi * (hour - 8) / 10), 0, None) * ((hour > 8) & (hour < 18))
    carried = brings * light * (np.pi / 20)  # the sine's integral over its ten hours is 20 / π
    used = (0.25 + 0.15 * season) / 24 / 12
    out = 0.6 * fair[day] * rng.uniform(0.6, 1, DAYS)[day] * np.clip(2 * light, 0, 1)
    return 45 + np.cumsum(carried - used) - out


def with_faults(rng, hours, shown):
    shown = shown.copy()
    for day in (5, 17, 33, 47, 64, 88, 101):  # lifted for half an hour to an hour and a half
        start = day * 24 + rng.uniform(9, 17)
        shown[(hours >= start) & (hours < start + rng.uniform(0.5, 1.5))] -= rng.uniform(3, 20)
    shown[rng.choice(len(hours), 10, replace=False)] += rng.choice([-25, 25], 10)
    shown[(hours >= 43 * 24 + 5) & (hours < 44 * 24 + 15)] = np.nan
    shown[(hours >= 60 * 24 + 13) & (hours < 62 * 24 + 9)] = shown[
        int(np.searchsorted(hours, 1453))
    ]
    shown[(hours >= 78 * 24 + 12) & (hours < 78 * 24 + 16)] = 0.0
    return shown


def clean(hive):
    return clean_log(hive.readings, NO_WORK, hive="H1", timezone="UTC", numbers=NUMBERS)


def errors_of_good_days(hive, log):
    daily = log.gains[(log.gains["days"] == 1) & (log.gains["quality"] == "good")]
    return (daily["gain_kg"] - hive.gain.reindex(daily.index)).dropna()


@pytest.mark.parametrize("every_h", [1.0, 0.25, 1 / 12])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_gains_and_steps_come_back(seed, every_h):
    hive = simulated(seed, every_h)
    log = clean(hive)
    # Steps: each within two readings of its hour (half an hour of look at least), no other, and
    # of a size right to three of its own standard errors and a tenth of a kilogram.
    hours = (log.steps["time"] - FIRST) / pd.Timedelta(hours=1)
    assert len(log.steps) == len(STEPS)
    for (hour, kg), found, size, sd in zip(
        STEPS, hours, log.steps["kg"], log.steps["sd_kg"], strict=True
    ):
        assert abs(found - hour) <= max(2 * every_h, 0.5)
        assert abs(size - kg) <= 3 * sd + 0.1
    # Gains: the aim is a mean error of 0.06 kg at a noise of 0.04 kg a reading; our choice.
    error = errors_of_good_days(hive, log)
    assert error.abs().mean() <= 0.06
    # No bad day leaks: the least fault put in is 2.6 kg.
    assert error.abs().max() < 0.6
    # 95 % of the days with readings are good ones. Lost: the nights of the gap and the stuck days.
    assert len(error) >= 0.95 * (DAYS - 4)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_stated_error_is_an_honest_one(seed):
    # 95 of 100 errors of a normal law lie within two standard errors; of 115 days, 90 % leave room
    # for chance (binomial, 0.95: less than one case in a hundred lies below) and for days with bees
    # still moving in the night window.
    hive = simulated(seed)
    log = clean(hive)
    error = errors_of_good_days(hive, log)
    within = (error.abs() <= 2 * log.gains["gain_sd_kg"].reindex(error.index)).mean()
    assert within >= 0.9


def test_span_over_a_gap_keeps_its_total():
    hive = simulated(4)
    log = clean(hive)
    longer = log.gains[log.gains["days"] > 1]
    assert len(longer) >= 2  # the gap of 34 hours, the stuck days
    for start, span in longer.iterrows():
        days = pd.date_range(start, periods=int(span["days"]))
        assert span["gain_kg"] == pytest.approx(hive.gain[days].sum(), abs=2 * span["gain_sd_kg"])


def test_fine_and_coarse_readings_agree():
    fine = simulated(5, 1 / 12)
    hourly = Hive(fine.hours[::12], fine.shown[::12], fine.gain)
    one, other = clean(fine).gains, clean(hourly).gains
    joined = one.join(other, lsuffix="_fine", how="inner")
    single = joined[(joined["days_fine"] == 1) & (joined["days"] == 1)]
    apart = (single["gain_kg_fine"] - single["gain_kg"]).abs()
    assert len(single) > 105
    # Four readings of 0.04 kg leave 0.035 kg in a gain; the mean of the absolute is 0.8 of that.
    assert apart.mean() < 0.06


def test_log_without_faults_has_none():
    log = clean(simulated(6, faults=False))
    assert set(log.counts) <= {"steps not in work.csv", "nights from the evening", "lifted"}
    assert log.counts.get("lifted", 0) <= 2 * len(STEPS)  # readings amid a step
    assert (log.gains["days"] == 1).all() and len(log.gains) == DAYS


@pytest.mark.parametrize("resolution", [0.1, 0.5])
def test_coarse_scale_gives_coarser_gains_and_says_so(resolution):
    hive = simulated(7, faults=False)
    coarse = Hive(hive.hours, np.round(hive.shown / resolution) * resolution, hive.gain)
    log = clean(coarse)
    error = errors_of_good_days(coarse, log)
    # Two roundings, each even between -resolution/2 and +resolution/2: root mean square
    # resolution / √6 = 0.41 of it; half as much again for the noise of the hive itself.
    assert np.sqrt((error**2).mean()) < 0.6 * resolution + 0.06
    assert log.gains["gain_sd_kg"].median() > 0.4 * resolution
    assert "stuck" not in log.counts


def test_hive_in_the_south_is_cleaned_on_its_own_clock():
    # The same hive ten hours further east: the same local course, the same gains.
    hive = simulated(8)
    north = clean(hive)
    moved = hive.readings.set_axis(hive.readings.index - pd.Timedelta(hours=10))
    south = clean_log(moved, NO_WORK, hive="H1", timezone="Australia/Brisbane", numbers=NUMBERS)
    assert south.gains["gain_kg"].to_numpy() == pytest.approx(
        north.gains["gain_kg"].to_numpy(), abs=1e-3
    )


def test_measuring_script_counts_what_is_there(tmp_path):
    # One hive, its eight steps in the truth, two of them in work.csv with their hour.
    hive = simulated(9, faults=False)
    (tmp_path / "truth").mkdir()
    yard = '[yard]\nname = "T"\nlatitude = 48.0\nlongitude = 0.3\ntimezone = "UTC"\n[[hive]]\nname = "H1"\n'
    scale = 'scale = { file = "scale-H1.csv.gz", time = "time_utc", weight = "weight_kg", unit = "kg" }\n'
    (tmp_path / "yard.toml").write_text(yard + scale, "utf-8")
    hive.readings.rename_axis("time_utc").to_csv(tmp_path / "scale-H1.csv.gz")
    times = [(FIRST + pd.Timedelta(hours=hour)).round("min") for hour, _ in STEPS]
    events = pd.DataFrame({"time": times, "kind": "box", "kg": [kg for _, kg in STEPS]})
    events.to_csv(tmp_path / "truth" / "events-H1.csv", index=False)
    gain = hive.gain.rename("gain_kg").rename_axis("date")
    gain.to_csv(tmp_path / "truth" / "gain-H1.csv")
    lines = [
        "date,hive,what,kg,note",
        "2024-04-25 10:36,H1,super on,4.3,",
        "2024-05-09,H1,swarmed,,",
    ]
    (tmp_path / "work.csv").write_text("\n".join(lines) + "\n", "utf-8")
    (case,) = measure_cleaning.read_cases(tmp_path)
    found = measure_cleaning.measure(case)
    assert (found["steps"], found["found"], found["false"]) == (8, 8, 0)
    assert (found["lines"], found["logged"]) == (2, 2)
    assert np.median(found["size"]) < 0.15 and found["error"].mean() < 0.06
    # A step that the truth does not know, and work.csv does not name, is a false one.
    events.drop(index=0).to_csv(tmp_path / "truth" / "events-H1.csv", index=False)
    (case,) = measure_cleaning.read_cases(tmp_path)
    assert measure_cleaning.measure(case)["false"] == 1
