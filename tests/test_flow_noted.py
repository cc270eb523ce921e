"""Notes of bloom: the days they stand for, the seasons they belong to, and what they move."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast.flow.days import Days
from flowcast.flow.noted import Noted, noted_blooms
from flowcast.flow.plants import Plant
from flowcast.flow.prior import draw_ensemble
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
SUMMER = np.clip(8 * np.sin(np.pi * (np.arange(366) - 60) / 240), 0, None)
LIME = Plant("lime", 150, 180, "heavy")  # 31 days, its middle on day 165
NEW_YEAR = Plant("gum", 350, 20, "heavy", "rain")  # over the season's end, its middle on day 2


def noted(plant, *lines):
    """Notes (date, stage) of a season that begins on 1 January."""
    notes = pd.DataFrame(lines, columns=["date", "stage"]).assign(
        date=lambda t: pd.to_datetime(t["date"])
    )
    day = notes["date"].dt.dayofyear.to_numpy(float) - 1
    return noted_blooms(plant, notes, day, lambda date: date.year, NUMBERS)


def days_of(season, hours=9.0):
    n = 365
    return Days(
        time=5000.0 + 365 * (season - 2020) + np.arange(n),
        season=np.full(n, season),
        season_day=np.arange(n, dtype=float),
        pheno_day=np.arange(n, dtype=float),
        foraging_h=np.full(n, hours),
        temp_c=np.full(n, 18.0),
        month_temp_c=np.full(n, 18.0),
        soil_frac=np.full(n, 0.7),
    )


def ensemble(notes=None, plants=(LIME,)):
    return draw_ensemble(list(plants), SUMMER, NUMBERS, np.random.default_rng(1), noted=notes)


def middle_of(intake):
    """Day on which half of the season's intake is in, of the members' mean."""
    course = np.cumsum(intake.mean(0))
    return float(np.searchsorted(course, course[-1] / 2))


# ---- by hand --------------------------------------------------------------------------------


def test_a_note_of_full_bloom():
    (one,) = noted(LIME, ("2021-06-22", "full"))  # day 172, a week after the middle
    assert (one.season, one.late_d, one.buds) == (2021, pytest.approx(7.0), "")
    assert one.sd_d == pytest.approx(np.hypot(3.0, 0.12 * 31))


def test_first_and_over_stand_half_a_length_off():
    # Of a bloom of 31 days first flowers come 1.2 x 15.5 = 18.6 days before the middle on day 165, so on
    # day 149 they are 2.6 late; over on day 187, 3.4 late. Both err by hypot(3, 0.15 x 31) = 5.53, their
    # mean by 3.91.
    (one,) = noted(LIME, ("2021-05-30", "first"), ("2021-07-07", "over"))
    assert (one.late_d, one.sd_d) == (pytest.approx(3.0), pytest.approx(3.91, abs=0.01))


def test_a_bloom_over_the_new_year_is_one():
    (one,) = noted(NEW_YEAR, ("2020-12-20", "first"), ("2021-01-25", "over"))
    assert (one.season, one.opened) == (2021, True)


def test_buds_belong_to_the_next_bloom():
    (one,) = noted(LIME, ("2020-11-10", "buds none"))
    assert (one.season, one.opened, one.buds) == (2021, False, "none")
    (last,) = noted(LIME, ("2021-03-01", "buds none"), ("2021-05-01", "buds heavy"))
    assert last.buds == "heavy"


# ---- properties -----------------------------------------------------------------------------


def test_without_notes_all_stays_as_it_was():
    plain, none = ensemble(), ensemble({"lime": ()})
    assert np.array_equal(plain.by_warmth, none.by_warmth)
    assert none.seasons == ()


def test_notes_of_one_plant_leave_the_others():
    heather = Plant("heather", 220, 250, "fair", "day length")
    both = ensemble({"lime": noted(LIME, ("2021-06-22", "full"))}, (LIME, heather))
    assert np.array_equal(both.by_date[1], both.by_date[2])
    assert np.array_equal(both.by_date, ensemble(None, (LIME, heather)).by_date[[0, 1, 1]])


@given(st.floats(-15, 15), st.floats(0.5, 20))
@settings(max_examples=30, deadline=None)
def test_a_later_note_never_makes_an_earlier_bloom(late, more):
    one, two = (
        ensemble({"lime": (Noted(2021, x, 4.0, ""),)}).both(days_of(2021))[1]
        for x in (late, late + more)
    )
    assert middle_of(two) >= middle_of(one)


def test_a_sharper_note_leaves_less_open():
    spread = [
        ensemble({"lime": (Noted(2021, 10.0, sd, ""),)}).both(days_of(2021))[1].std(0).sum()
        for sd in (1.0, 30.0)
    ]
    assert spread[0] < spread[1]


def test_one_noted_season_moves_the_others_a_little():
    moved = ensemble({"lime": (Noted(2021, 12.0, 3.0, ""),)})
    plain = middle_of(ensemble().both(days_of(2022))[1])
    its_own, next_year = (middle_of(moved.both(days_of(s))[1]) for s in (2021, 2022))
    assert plain < next_year < its_own


def test_buds_tell_of_what_comes():
    gum = replace(LIME, name="gum", follows="rain", irregular=True)
    none, plain, heavy = (
        ensemble(notes, (gum,)).both(days_of(2021))[1].mean()
        for notes in (
            {"gum": (Noted(2021, np.nan, np.nan, "none"),)},
            None,
            {"gum": (Noted(2021, np.nan, np.nan, "heavy"),)},
        )
    )
    assert none < 0.6 * plain < plain < heavy


def test_what_was_seen_open_has_not_failed():
    gum = replace(LIME, name="gum", follows="rain", irregular=True)
    opened = ensemble({"gum": (Noted(2021, 0.0, 3.0, ""),)}, (gum,))
    assert (opened.both(days_of(2021))[1].max(axis=1) > 0.3).mean() > 0.97
    assert (opened.both(days_of(2022))[1].max(axis=1) > 0.3).mean() < 0.75  # another year may


# ---- recovery -------------------------------------------------------------------------------


@pytest.mark.parametrize("late", [-12, 0, 12])
def test_noted_years_come_out_as_late_as_they_were(late):
    """Four seasons that differ, each noted with errors of a keeper's: the bloom follows each."""
    rng = np.random.default_rng(late + 50)
    true = {2020: late, 2021: late + 3, 2022: late - 3, 2023: late}
    lines = []
    for season, off in true.items():
        for stage, at in (("first", 150), ("full", 165), ("over", 180)):
            day = at + off + rng.normal(0, 2)
            lines.append((pd.Timestamp(season, 1, 1) + pd.Timedelta(days=round(day)), stage))
    told = ensemble({"lime": noted(LIME, *lines)})
    plain = middle_of(ensemble().both(days_of(2020))[1])
    for season, off in true.items():
        found = middle_of(told.both(days_of(season))[1]) - plain
        assert found == pytest.approx(off, abs=4.0)
    # A year to come: the stated date, 7 days unsure, against four years that stray by 4 and whose notes
    # err by 3: 49 / (49 + 25 / 4) = 0.89 of it.
    assert middle_of(told.both(days_of(2024))[1]) - plain == pytest.approx(0.89 * late, abs=3.0)
