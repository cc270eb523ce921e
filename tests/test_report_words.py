"""What a beekeeper reads of one hive, of winter, of a log of summers only, and of years with holes."""

import math
from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from flowcast.flow.standing import Measure, Standing
from flowcast.messages import Say
from flowcast.numbers import load_numbers
from flowcast.pipeline.record import _holes
from flowcast.reasons import Against
from flowcast.report import timing, words
from flowcast.report.basis import _log_basis
from flowcast.report.explain import _timing, _water
from flowcast.tables import Place
from flowcast.verification.simple import BASELINES

SAY = Say()
WINTER = Standing(
    lead_d=math.nan, warmth_moves=False, soil_frac=Measure(1.0, 1.0, 1.0, 1.0),
    foraging_h=Measure(0.1, 0.0, 0.0, 0.0), gain_kg=-2.0, gain_days=30, last_window=None,
)  # fmt: skip


def test_the_only_hive_of_a_yard_is_no_middle_one():
    """Common practice, no source."""
    assert words.log_so_far(WINTER, SAY, alone=True) == [
        "Over the last 30 days the hive lost 2.0 kg."
    ]
    assert "the middle hive lost" in words.log_so_far(WINTER, SAY)[0]
    total = pd.Series({"q10": -1.0, "q50": -0.5, "q90": 0.0})
    outlook = SimpleNamespace(window_days=30, total_after=lambda days: total)
    for hives, begins in ((["A"], "The hive may"), (["A", "B"], "The middle hive of the yard may")):
        yard = SimpleNamespace(say=SAY, hives=hives)
        found = SimpleNamespace(
            outlook=outlook, record=SimpleNamespace(yard=yard), model=SimpleNamespace(has_log=True)
        )
        assert words.gains(found).startswith(begins)


def test_six_minutes_of_flight_a_day_are_no_better_than_usual():
    """A month of 3 hours in the far north says nothing of nectar: common practice, no source."""
    assert (
        words.foraging(WINTER, 0.25, SAY)
        == "The last 30 days had hardly any foraging hours, as is usual."
    )


@pytest.mark.parametrize(
    ("latitude", "today", "again"),
    [(0.4, "2026-11-23", "1 January 2027"), (-38.0, "2026-03-01", "1 July 2026"), (-38.0, "2026-07-01", "1 July 2027")],
)  # fmt: skip
def test_early_or_late_is_told_again_from_a_date_since_not_every_yard_has_a_winter(
    latitude, today, again
):
    """Warmth counts from 1 January in the north and 1 July in the south (weather.midwinter)."""
    place = Place(latitude, 34.7, 1200.0, "Etc/UTC", (1, 1))
    found = SimpleNamespace(
        record=SimpleNamespace(yard=SimpleNamespace(place=place)),
        outlook=SimpleNamespace(issue_date=pd.Timestamp(today)),
    )
    said = words.lead(WINTER, words._next_midwinter(found), 30.0, SAY)
    assert said.endswith(f"early or late is not reckoned before {again}.")


@pytest.mark.parametrize(
    ("lead_d", "says"),
    [(30.0, "30 days early or more"), (-30.0, "30 days late or more"), (29.0, "runs 29 days early.")],
)  # fmt: skip
def test_a_lead_that_was_cut_off_is_said_to_be_that_or_more(lead_d, says):
    """season.lead_max_d: what lies beyond is not believed, and its figure is no measurement."""
    spring = replace(WINTER, lead_d=lead_d, warmth_moves=True)
    assert says in words.lead(spring, pd.Timestamp("2027-01-01"), 30.0, SAY)


def test_between_the_tropics_there_is_no_midsummer():
    """The tropic lies at the obliquity of the axis, 23.44°."""
    for latitude, when in ((0.4, "by 21 June"), (-20.0, "by 21 December"), (48.0, "at midsummer")):
        place = Place(latitude, 34.7, 1200.0, "Etc/UTC", (1, 1))
        yard = SimpleNamespace(say=SAY, numbers=load_numbers(), place=place)
        plants = SimpleNamespace(lead_d=SimpleNamespace(now=4.2))
        season = SimpleNamespace(plants=plants, years=10, first=pd.Timestamp("2025-01-01"))
        found = SimpleNamespace(season=season, record=SimpleNamespace(yard=yard))
        assert _timing(found) == [f"By its warmth the season ran 4 days early {when}."]


def test_a_log_of_summers_only_says_in_how_many_seasons_it_lies():
    """Five seasons of 92 days are 1.3 seasons of gains, which a keeper knows as five. Hand-worked."""
    days = [pd.date_range(f"{year}-05-01", f"{year}-07-31") for year in range(2022, 2027)]
    index = pd.DatetimeIndex([day for season in days for day in season])
    log = SimpleNamespace(kind="hourly", gains=pd.DataFrame({"quality": "good"}, index=index))
    place = Place(44.0, -79.5, 200.0, "Etc/GMT+5", (1, 1))
    yard = SimpleNamespace(say=SAY, numbers=load_numbers(), place=place)
    record = SimpleNamespace(logs=[log], yard=yard)
    said = _log_basis(record, len(index) / 365.25)
    assert "1.3 seasons of gains that could be trusted. They come from parts of 5 seasons." in said
    log.gains = log.gains[log.gains.index.year >= 2025]
    assert "parts of" not in _log_basis(record, 1.9)


def test_soil_that_is_never_parched_is_not_counted_in_noughts():
    """0 days, usually 0 (0 to 0): common practice, no source."""
    never, wet = Against(0.0, 0.0, 0.0, 0.0, 1, 10), Against(900.0, 900.0, 800.0, 1000.0, 1, 10)
    plants = SimpleNamespace(
        rain_mm=wet, parched_days=never, longest_dry_d=Against(10.0, 11.0, 8.0, 15.0, 1, 10),
        frost_days=never, spi=math.nan,
    )  # fmt: skip
    once = Against(1.0, 7.0, 0.0, 22.0, 1, 10)
    said = _water(SimpleNamespace(plants=plants), SAY)[1]
    assert said == (
        "Soil was parched on no day, as is usual; the longest spell without a wet day was 10 days, usually 11."
    )
    plants.parched_days = once
    assert "parched on 1 day, usually 7" in _water(SimpleNamespace(plants=plants), SAY)[1]


def test_simple_forecasters_are_called_by_what_they_do():
    """No beekeeper says persistence or damped blend: common practice, no source."""
    names = [SAY(f"forecasters.{name}") for name in BASELINES]
    assert names == ["past years' gains", "last week's gains", "past years moved by last week"]


def test_one_jump_is_no_plural():
    days = {"hive": "A", "kg": "3 kg", "first": "1 May 2026", "last": "9 May 2026"}
    jump = {"date": "5 May 2026", "by": "+25 kg", "cause": "feed"}
    said = SAY("log.gained_with_jumps", **days, n=1, **jump)
    assert "the weight jumped once, on 5 May 2026 by +25 kg" in said


def test_years_with_holes_are_told_in_runs():
    daily = pd.DataFrame({"temp_mean_c": 10.0}, index=pd.date_range("2015-01-01", "2026-12-31"))
    for year in (2016, 2017, 2018, 2019, 2022, 2024, 2025):
        daily.loc[f"{year}-03-15", "temp_mean_c"] = float("nan")
    (note,) = _holes(daily)
    assert "what is left of 2016 to 2019, 2022, 2024 to 2025 stands" in SAY.note(note)


def test_a_fit_day_beyond_the_new_year_bears_its_year():
    """On 1 November a Thursday in June may be read as one of this year."""
    for today, said in (("2026-11-01", "the next is 10 June 2027."), ("2027-05-01", "the next is Thursday 10 June.")):  # fmt: skip
        found = SimpleNamespace(
            record=SimpleNamespace(yard=SimpleNamespace(say=SAY)),
            visits=SimpleNamespace(next_fit=lambda day: pd.Timestamp("2027-06-10")),
            issue_date=pd.Timestamp(today),
        )
        assert timing._none_near(found).endswith(said)
