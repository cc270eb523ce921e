"""The bee year, warmth, how early a season runs, and normals. All weather here is invented."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowcast import weather
from flowcast.numbers import load_numbers
from flowcast.tables import Place
from flowcast.weather.season import _quantiles

NUMBERS = load_numbers()
NORTH = Place(47.0, 8.0, 400, "Europe/Zurich", (1, 1))
SOUTH = Place(-35.0, 149.0, 600, "Australia/Sydney", (7, 1))
JANUARY, JULY, OCTOBER = (1, 1), (7, 1), (10, 1)


def temperate_days(first, last, start=JANUARY, shift_d=0.0, seed=None):
    """Daily extremes of a temperate year counted from `start`; shift_d days ahead of normal."""
    dates = pd.date_range(first, last, freq="D", name="date")
    day = weather.season_day(dates, start)
    mean = 9 - 11 * np.cos(2 * np.pi * (day + shift_d - 20) / 365.25)
    if seed is not None:
        mean = mean + np.random.default_rng(seed).normal(0, 2, len(dates))
    return pd.DataFrame({"temp_min_c": mean - 5, "temp_max_c": mean + 5}, index=dates)


def warmth_of(days, start=JANUARY):
    return weather.warmth(days["temp_min_c"], days["temp_max_c"], start, NUMBERS)


def lead_of(days, normals, start=JANUARY):
    return weather.phenological_lead(days.index, warmth_of(days, start), normals, NUMBERS)


# Published values


def test_degree_days_of_the_ohio_column():
    # Ohio State University extension: 63/43 °F over base 50 °F make 3 degree days Fahrenheit.
    low, high = ((pd.Series([f], [pd.Timestamp("2024-01-01")]) - 32) / 1.8 for f in (43, 63))
    total = weather.warmth(low, high, JANUARY, NUMBERS)
    assert 1.8 * total.iloc[0] == pytest.approx(3.0, abs=1e-9)


# Worked by hand


@pytest.mark.parametrize(
    ("date", "start", "year", "day"),
    [
        ("2024-01-01", JANUARY, 2024, 0),
        ("2024-12-31", JANUARY, 2024, 365),  # leap year
        ("2023-12-31", JANUARY, 2023, 364),
        ("2024-06-30", JULY, 2023, 365),  # its February has 29 days
        ("2025-06-30", JULY, 2024, 364),
        ("2024-07-01", JULY, 2024, 0),
        ("2024-03-01", OCTOBER, 2023, 152),
        ("2023-02-28", (2, 29), 2022, 364),
        ("2023-03-01", (2, 29), 2023, 0),  # a year without that day starts on the next
        ("2024-02-29", (2, 29), 2024, 0),
    ],
)
def test_season_year_and_day(date, start, year, day):
    dates = pd.DatetimeIndex([date])
    assert weather.season_start_year(dates, start)[0] == year
    assert weather.season_day(dates, start)[0] == day


def test_season_names():
    assert weather.season_name(2024, JANUARY) == "2024"
    assert weather.season_name(2025, JULY) == "2025/26"
    assert weather.season_name(1999, OCTOBER) == "1999/00"


def test_midwinter_and_midsummer():
    assert weather.midwinter(NORTH) == (1, 1)
    assert weather.midwinter(SOUTH) == (7, 1)
    assert weather.midsummer(NORTH) == (6, 21)
    assert weather.midsummer(SOUTH) == (12, 21)


def days_of(means, first="2024-01-01"):
    index = pd.date_range(first, periods=len(means), freq="D", name="date")
    mean = pd.Series(means, index, dtype=float)
    return pd.DataFrame({"temp_min_c": mean - 4, "temp_max_c": mean + 4})


def test_warmth_adds_up_and_starts_anew():
    days = days_of([5, 12, 13, 14, 11], "2023-12-29")
    # 29 December lies far into its season: what came before is not known.
    assert warmth_of(days).tolist()[3:] == [4.0, 5.0]
    assert warmth_of(days).iloc[:3].isna().all()


def test_a_missing_day_counts_as_the_days_before_it():
    # Base 10: 2, 4, (mean 3), 6 make 2, 6, 9, 15; with none known before, nothing is added.
    assert warmth_of(days_of([12, 14, np.nan, 16])).tolist() == [2, 6, 9, 15]
    assert warmth_of(days_of([np.nan, 12])).tolist() == [0, 2]


def test_pull_of_warmth_fades_after_midsummer():
    # 1 up to 21 June, half 30 days later, 0 from 20 August to the year's end, 1 again in January.
    dates = pd.DatetimeIndex(
        ["2024-01-01", "2024-04-01", "2024-06-21", "2024-07-21", "2024-08-20", "2024-12-31"]
    )
    pull = [1, 1, 1, 0.5, 0, 0]
    assert weather.warmth_pull(dates, NORTH, NUMBERS) == pytest.approx(pull, abs=1e-9)
    south = pd.DatetimeIndex(["2024-07-01", "2024-12-21", "2025-01-20", "2025-02-19", "2025-06-30"])
    pull = [1, 1, 0.5, 0, 0]
    assert weather.warmth_pull(south, SOUTH, NUMBERS) == pytest.approx(pull, abs=1e-9)


def test_the_yards_own_season_does_not_move_warmth():
    # A season from October: May runs 8 days early whatever the label; day 212 of it is 1 May.
    dates = pd.DatetimeIndex(["2023-05-01", "2023-09-30", "2023-10-01"])
    day = weather.pheno_day(dates, [8.0, 8.0, np.nan], OCTOBER, NORTH, NUMBERS)
    assert day == pytest.approx([212 + 8, 364, 0], abs=1e-9)


def test_too_little_for_normals():
    normals = weather.fit_normals(temperate_days("2023-02-01", "2023-11-30"), JANUARY, NUMBERS)
    assert normals.seasons == 0
    lead = lead_of(temperate_days("2023-01-01", "2023-03-01"), normals)
    assert np.isnan(lead).all()


def test_normals_count_complete_seasons_only():
    days = temperate_days("2019-06-01", "2022-12-20")
    assert weather.fit_normals(days, JANUARY, NUMBERS).seasons == 2
    days.loc["2021-03-01":"2021-04-30"] = np.nan
    assert weather.fit_normals(days, JANUARY, NUMBERS).seasons == 1


def test_a_normal_season_runs_neither_early_nor_late():
    # One clean course repeated: the lead is 0 but for the leap year's extra day.
    days = temperate_days("2015-01-01", "2022-12-31")
    normals = weather.fit_normals(days, JANUARY, NUMBERS)
    assert normals.seasons == 8
    assert np.abs(lead_of(days, normals)).max() < 0.01


def test_lead_stays_small_in_frozen_months():
    # Two mild days of 2 degree days in January, 0.5 a day added to both courses: 8 days at most
    # where nothing is normal; in a place whose normal warms at 1 a day, 4 / 1.5 = 2.7 days.
    frozen = weather.Normals(JANUARY, np.zeros(366), 10)
    warming = weather.Normals(JANUARY, np.arange(366.0), 10)
    dates = pd.DatetimeIndex(["2024-01-20"])
    assert weather.phenological_lead(dates, [4.0], frozen, NUMBERS) == pytest.approx(
        [8.0], abs=1e-9
    )
    lead = weather.phenological_lead(dates, [19 + 4.0], warming, NUMBERS)
    assert lead == pytest.approx([4 / 1.5], abs=1e-9)


def test_lead_is_clipped():
    normals = weather.Normals(JANUARY, np.arange(366.0), 10)
    dates = pd.DatetimeIndex(["2024-06-01", "2024-06-01", "2024-12-31"])
    lead = weather.phenological_lead(dates, [0.0, 365.0, 3000.0], normals, NUMBERS)
    assert lead.tolist() == [-30.0, 30.0, 30.0]


def test_two_weeks_past_midwinter_no_season_runs_a_month_early():
    """A degree day a day is usual in a mild winter; 60 of them after 14 days are normal on day
    (60 + 7) / 1.5 = 44.7 with the added rate: 30.7 days early, of which 7, half of the days counted, are believed."""
    mild = weather.Normals(JANUARY, np.arange(366.0), 10)
    dates = pd.date_range("2023-01-15", periods=1)
    for warmth, believed in ((60.0, 7.0), (0.0, -7.0), (15.5, 1.0)):
        lead = weather.phenological_lead(dates, [warmth], mild, NUMBERS)
        assert lead == pytest.approx([believed], abs=1e-9)


def test_normal_course_of_a_constant():
    days = temperate_days("2019-01-01", "2021-12-31").assign(rain=3.0)
    course = weather.normal_course(days, "rain", JANUARY, NUMBERS)
    assert course.index.name == "season_day"
    assert course.index.tolist() == list(range(366))
    assert (course[["mean", "q10", "q90"]] == 3.0).all(axis=None)


def test_normal_course_joins_the_ends_of_the_season():
    # 31 days around day 0 hold 15 of December (2) and 16 of January (1), in each of two years;
    # the last slot of a year of 365 days is empty: 14 of December are left.
    days = temperate_days("2021-01-01", "2022-12-31")
    days["x"] = np.where(days.index.month == 12, 2.0, 1.0)
    course = weather.normal_course(days, "x", JANUARY, NUMBERS)
    assert course["mean"].iloc[0] == pytest.approx((16 + 2 * 14) / 30, abs=1e-9)
    assert course["mean"].iloc[200] == 1.0
    assert weather.normal_course(days, "x", JANUARY, NUMBERS, "median")["mean"].iloc[0] == 1.0


def test_quantiles_of_rows_pass_over_what_is_missing():
    """The reference is pandas, row by row: the same to the bit, and nothing of an empty row."""
    rng = np.random.default_rng(3)
    table = pd.DataFrame(rng.normal(0, 3, (40, 17)))
    table = table.mask(rng.random(table.shape) < 0.2)
    table.iloc[7] = np.nan
    for row, share in zip(_quantiles(table, [0.1, 0.9]), (0.1, 0.9), strict=True):
        np.testing.assert_array_equal(row, table.quantile(share, axis=1))


def test_normal_course_of_nothing_is_missing():
    course = weather.normal_course(
        temperate_days("2021-02-01", "2021-03-31"), "temp_min_c", JANUARY, NUMBERS
    )
    assert course.shape == (366, 3)
    assert course.isna().all(axis=None)


def test_normal_course_follows_the_year():
    # Tenth and ninetieth percentile of a normal spread of 2 °C lie 1.28 x 2 = 2.56 °C off the mean
    # (table of the normal distribution). 31 days x 30 years leave 2 / sqrt(930) = 0.07 °C of error,
    # and the window flattens the yearly sine of 11 °C by 1.2 %, 0.13 °C.
    days = temperate_days("1991-01-01", "2020-12-31", seed=4)
    course = weather.normal_course(days, "temp_min_c", JANUARY, NUMBERS)
    clean = temperate_days("2019-01-01", "2019-12-31")["temp_min_c"].to_numpy()
    assert np.abs(course["mean"].to_numpy()[:365] - clean).max() < 0.4
    assert (course["q90"] - course["mean"]).mean() == pytest.approx(2.56, abs=0.15)
    assert (course["mean"] - course["q10"]).mean() == pytest.approx(2.56, abs=0.15)


# Properties


@given(
    date=st.dates(pd.Timestamp("1950-01-01").date(), pd.Timestamp("2090-12-31").date()),
    month=st.integers(1, 12),
    day=st.integers(1, 28),
)
def test_season_day_leads_back_to_the_seasons_start(date, month, day):
    dates = pd.DatetimeIndex([date])
    year = weather.season_start_year(dates, (month, day))[0]
    offset = weather.season_day(dates, (month, day))[0]
    assert 0 <= offset <= 365
    assert pd.Timestamp(year, month, day) + pd.Timedelta(days=int(offset)) == dates[0]


@settings(max_examples=20, deadline=None)
@given(cut=st.integers(1, 729), holes=st.sets(st.integers(0, 729), max_size=40))
def test_warmth_and_lead_know_nothing_of_the_days_to_come(cut, holes):
    days = temperate_days("2022-01-01", "2023-12-31", seed=9)
    normals = weather.fit_normals(days, JANUARY, NUMBERS)
    days.iloc[sorted(holes)] = np.nan
    whole, part = warmth_of(days), warmth_of(days.iloc[:cut])
    pd.testing.assert_series_equal(part, whole.iloc[:cut], check_freq=False)
    assert (part.groupby(part.index.year).diff().dropna() >= 0).all()
    assert np.array_equal(
        lead_of(days.iloc[:cut], normals), lead_of(days, normals)[:cut], equal_nan=True
    )


def test_the_hemispheres_mirror_each_other():
    # The same weather, begun on 1 January and on 1 July: 181 days later, in years without a leap day.
    north = temperate_days("2021-01-01", "2023-12-31", seed=6)
    south = north.set_axis(pd.date_range("2020-07-01", "2023-06-30", freq="D"))
    assert (north.index - south.index).days.unique().tolist() == [184]
    for days, place in ((north, NORTH), (south, SOUTH)):
        assert place.season_start == weather.midwinter(place)
        normals = weather.fit_normals(days, place.season_start, NUMBERS)
        days["day"] = weather.season_day(days.index, place.season_start)
        days["warmth"] = warmth_of(days, place.season_start)
        days["lead"] = lead_of(days, normals, place.season_start)
    for column in ("day", "warmth", "lead"):
        assert np.array_equal(north[column], south[column])
    spring = north["day"] < 170
    pheno = [
        weather.pheno_day(days.index, days["lead"], place.season_start, place, NUMBERS)
        for days, place in ((north, NORTH), (south, SOUTH))
    ]
    assert pheno[0][spring] == pytest.approx(pheno[1][spring], abs=1e-9)


# Recovery


@pytest.mark.parametrize("shift_d", [-12, -5, 0, 5, 9, 15])
@pytest.mark.parametrize(("start", "first"), [(JANUARY, "2010-01-01"), (JULY, "2010-07-01")])
def test_a_spring_that_runs_ahead_is_found(shift_d, start, first):
    # Twelve seasons alike, then one whose temperature runs so many days ahead: by midsummer (season
    # days 150 to 170) the lead is that number within 2 days. The rate of 0.5 a day that is added to
    # both courses draws it towards 0, by about 0.5 / (0.5 + 6 degree days a day) = 8 %.
    first = pd.Timestamp(first)
    begin = first + pd.DateOffset(years=12)
    normal_years = temperate_days(first, begin - pd.Timedelta(days=1), start)
    season = temperate_days(begin, begin + pd.Timedelta(days=364), start, shift_d)
    normals = weather.fit_normals(normal_years, start, NUMBERS)
    assert normals.seasons == 12
    lead = lead_of(season, normals, start)[150:171]
    assert np.abs(lead - shift_d).max() < 2


@pytest.mark.parametrize("shift_d", [-8, 0, 8])
def test_early_springs_are_found_through_noise(shift_d):
    # Days scatter by 2 °C, so one season's lead scatters by 1.2 days; the mean of 20 by 0.3. With
    # the 8 % above, 1.5 days leave three standard errors.
    normals = weather.fit_normals(
        temperate_days("2010-01-01", "2021-12-31", seed=8), JANUARY, NUMBERS
    )
    seasons = [
        temperate_days("2022-01-01", "2022-12-31", JANUARY, shift_d, seed)
        for seed in range(100, 120)
    ]
    leads = [lead_of(season, normals)[150:171].mean() for season in seasons]
    assert np.mean(leads) == pytest.approx(shift_d, abs=1.5)
