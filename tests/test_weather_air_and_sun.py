"""Humidity, sun and evapotranspiration against FAO-56, psychrolib, astral and pvlib.

"FAO-56" is R. G. Allen et al., Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, 1998.
"""

from datetime import UTC, datetime

import astral
import astral.sun
import numpy as np
import pandas as pd
import psychrolib
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowcast import weather
from flowcast.numbers import load_numbers
from flowcast.tables import Place
from flowcast.weather.sun import W_PER_MJ_DAY, solar_noon_utc_h

NUMBERS = load_numbers()
PLACES = {
    "Berlin": Place(52.52, 13.41, 40, "Europe/Berlin", (1, 1)),
    "Brisbane": Place(-27.47, 153.03, 10, "Australia/Brisbane", (7, 1)),
    "Auckland": Place(-36.85, 174.76, 20, "Pacific/Auckland", (7, 1)),
    "Los Angeles": Place(34.05, -118.24, 90, "America/Los_Angeles", (1, 1)),
    "Singapore": Place(1.35, 103.82, 15, "Asia/Singapore", (1, 1)),
}


def on(day_of_year, year=2015):
    """One date by its day of the year (2015: no leap year)."""
    return pd.DatetimeIndex([pd.Timestamp(year, 1, 1) + pd.Timedelta(days=day_of_year - 1)])


# Published values


# FAO-56 table 2.3, printed to three decimals; 24.5 °C is from example 3.
@pytest.mark.parametrize(
    ("temp_c", "kpa"), [(15.0, 1.705), (20.0, 2.338), (30.0, 4.243), (24.5, 3.075)]
)
def test_saturation_vapour_pressure_is_that_of_the_fao_table(temp_c, kpa):
    assert weather.saturation_vapour_pressure(temp_c) == pytest.approx(kpa, abs=6e-4)


def test_mean_saturation_vapour_pressure_of_a_day():
    # FAO-56 example 3: highest 24.5, lowest 15 °C, mean 2.39 kPa.
    mean = weather.saturation_vapour_pressure(np.array([24.5, 15.0])).mean()
    assert mean == pytest.approx(2.39, abs=0.005)


def test_vapour_pressure_deficit_of_a_day():
    # FAO-56 example 5: 25 °C at 54 %, 18 °C at 82 %; ea 1.70 kPa, so 2.616 - 1.70 = 0.915 kPa.
    deficit = weather.vapour_pressure_deficit(np.array([25.0, 18.0]), np.array([54.0, 82.0]))
    assert deficit.mean() == pytest.approx(0.915, abs=0.005)


def test_declination_of_day_246():
    # FAO-56 example 8: 0.120 rad.
    assert weather.solar_declination(on(246))[0] == pytest.approx(0.120, abs=1e-3)


# FAO-56 examples 8, 18 and 17 (the last from its table for mid April).
@pytest.mark.parametrize(
    ("day", "latitude", "mj", "tolerance"),
    [(246, -20.0, 32.2, 0.1), (187, 50.80, 41.09, 0.05), (105, 13.73, 38.06, 0.05)],
)
def test_extraterrestrial_radiation_of_the_fao_examples(day, latitude, mj, tolerance):
    radiation = weather.extraterrestrial_radiation(on(day), latitude)
    assert radiation[0] == pytest.approx(mj, abs=tolerance)


def test_day_length_of_the_fao_example():
    # FAO-56 example 9: 20° S, day 246, 11.7 h.
    assert weather.day_length_h(on(246), -20.0)[0] == pytest.approx(11.7, abs=0.05)


def test_radiation_from_temperature_range():
    # FAO-56 example 15: Ra 40.6 MJ, 26.6 and 14.8 °C give 22.3 MJ.
    ghi = weather.ghi_from_range(26.6 - 14.8, 40.6, NUMBERS)
    assert ghi / W_PER_MJ_DAY == pytest.approx(22.3, abs=0.1)


def test_wind_at_two_metres():
    # FAO-56 example 14: 3.2 m/s at 10 m is 2.4 m/s at 2 m.
    assert weather.wind_at_2m(3.2) == pytest.approx(2.4, abs=0.05)


def fao_day(day, **values):
    return pd.DataFrame(values, index=on(day))


def test_evapotranspiration_of_brussels():
    # FAO-56 example 18: 6 July, 50.80° N, 100 m; 21.5/12.3 °C, 84/63 %, 10 km/h at 10 m, Rs 22.07
    # MJ; 3.88 mm a day. Actual vapour pressure by FAO-56 eq. 17.
    es = weather.saturation_vapour_pressure
    day = fao_day(
        187,
        temp_max_c=21.5,
        temp_min_c=12.3,
        vapour_kpa=(es(12.3) * 0.84 + es(21.5) * 0.63) / 2,
        wind_ms=10 / 3.6,
        ghi_wm2=22.07 * W_PER_MJ_DAY,
    )
    et0 = weather.reference_et(day, Place(50.80, 4.35, 100, "Europe/Brussels", (1, 1)))
    assert et0.iloc[0] == pytest.approx(3.88, abs=0.05)


def test_evapotranspiration_of_bangkok():
    # FAO-56 example 17: April, 13.73° N, 2 m; 34.8/25.6 °C, ea 2.85 kPa, 2 m/s at 2 m, 8.5 h of
    # sun of 12.31 (Rs = (0.25 + 0.5 n/N) Ra), heat into the soil 0.14 MJ; 5.72 mm a day.
    day = fao_day(
        105,
        temp_max_c=34.8,
        temp_min_c=25.6,
        vapour_kpa=2.85,
        wind_ms=2 / weather.wind_at_2m(1.0),
        ghi_wm2=(0.25 + 0.5 * 8.5 / 12.31) * 38.06 * W_PER_MJ_DAY,
    )
    place = Place(13.73, 100.5, 2, "Asia/Bangkok", (1, 1))
    assert weather.reference_et(day, place, 0.14).iloc[0] == pytest.approx(5.72, abs=0.02)


def lyon():
    # FAO-56 example 20: Lyon, July, 45.717° N, 200 m, 26.6/14.8 °C.
    day = fao_day(196, temp_max_c=26.6, temp_min_c=14.8)
    return day, Place(45.717, 4.95, 200, "Europe/Paris", (1, 1))


def test_evapotranspiration_of_lyon_from_temperature_alone():
    # FAO-56 example 20 inputs (Rs from the range, ea at the lowest, 2 m/s at 2 m), recomputed by
    # hand from eq. 6: 4.56 mm a day.
    day, place = lyon()
    above = weather.extraterrestrial_radiation(day.index, place.latitude)
    day["ghi_wm2"] = weather.ghi_from_range(26.6 - 14.8, above, NUMBERS)
    day["vapour_kpa"] = weather.saturation_vapour_pressure(14.8)
    day["wind_ms"] = 2 / weather.wind_at_2m(1.0)
    assert weather.reference_et(day, place).iloc[0] == pytest.approx(4.56, abs=0.05)


def test_evapotranspiration_falls_back_on_hargreaves():
    # Hargreaves for the same day, 0.0023 (T + 17.8) sqrt(range) Ra / 2.45 = 5.03 mm (worked by hand).
    day, place = lyon()
    assert weather.reference_et(day, place).iloc[0] == pytest.approx(5.03, abs=0.05)


def test_overcast_leaves_a_quarter_of_the_light():
    # Kasten and Czeplak 1980 (from memory): 1 - 0.75 at full cover; nothing is lost without cloud.
    ghi = weather.ghi_from_cloud(800.0, np.array([0.0, 100.0, np.nan]), NUMBERS)
    assert ghi == pytest.approx([800.0, 200.0, np.nan], abs=1e-9, nan_ok=True)


# Against other programs


@pytest.mark.parametrize("temp_c", [2.0, 10.0, 20.0, 30.0, 42.0])
@pytest.mark.parametrize("rh_pct", [30.0, 60.0, 90.0])
def test_humidity_agrees_with_psychrolib(temp_c, rh_pct):
    # psychrolib 2.5 (ASHRAE 2017); the FAO and Magnus forms are approximations: 0.3 % of the
    # pressure, 0.1 °C of the dew point above freezing (it takes ice below, we take water).
    psychrolib.SetUnitSystem(psychrolib.SI)
    pressure = psychrolib.GetSatVapPres(temp_c) / 1000
    assert weather.saturation_vapour_pressure(temp_c) == pytest.approx(pressure, rel=3e-3)
    dew = psychrolib.GetTDewPointFromRelHum(temp_c, rh_pct / 100)
    if dew > 0:
        assert weather.dewpoint(temp_c, rh_pct) == pytest.approx(dew, abs=0.1)


@pytest.mark.parametrize("name", PLACES)
def test_sun_stands_where_astral_and_pvlib_see_it(name):
    # Both compute the sun on their own; the middle of the hour is half an hour before its stamp.
    place = PLACES[name]
    stamps = pd.date_range("2024-02-28", "2024-12-31", freq="37h", tz="UTC")
    ours = weather.sun_elevation(stamps, place)
    observer = astral.Observer(place.latitude, place.longitude, 0)
    middles = stamps - pd.Timedelta(minutes=30)
    theirs = [astral.sun.elevation(observer, m.to_pydatetime(), False) for m in middles]
    assert np.abs(ours.to_numpy() - theirs).max() < 0.05
    spa = pvlib.solarposition.spa_python(middles, place.latitude, place.longitude)
    assert np.abs(ours.to_numpy() - spa["elevation"].to_numpy()).max() < 0.02


@pytest.mark.parametrize("name", PLACES)
def test_day_length_agrees_with_astral_and_pvlib(name):
    # FAO-56 eq. 24 is one sine: its declination is off by up to 1.48° (10 October, against
    # Spencer 1971 in pvlib), which is 2 x 1.48 / 15 = 0.197 h of day for each unit of tan(latitude).
    # astral counts from the upper rim of the sun seen through the air, 0.833° below the horizon:
    # longer by 0.11 h at the equator to 0.3 h at 52° in June.
    place = PLACES[name]
    dates = pd.DatetimeIndex(["2023-03-21", "2023-06-21", "2023-09-23", "2023-12-21"])
    ours = weather.day_length_h(dates, place.latitude)
    slack = 0.197 * np.tan(np.radians(abs(place.latitude)))
    observer = astral.Observer(place.latitude, place.longitude, 0)
    for date, hours in zip(dates, ours, strict=True):
        sunrise, sunset = astral.sun.daylight(observer, date.date(), tzinfo=place.timezone)
        longer = (sunset - sunrise).total_seconds() / 3600 - hours
        assert 0.1 - slack < longer < 0.3 + slack
    times = dates.tz_localize("UTC")
    declination = pvlib.solarposition.declination_spencer71(dates.dayofyear)
    minutes = pvlib.solarposition.equation_of_time_spencer71(dates.dayofyear)
    sunrise, sunset, _ = pvlib.solarposition.sun_rise_set_transit_geometric(
        times, place.latitude, place.longitude, declination, minutes
    )
    lengths = (pd.Series(sunset) - pd.Series(sunrise)).dt.total_seconds() / 3600 % 24
    assert np.abs(lengths.to_numpy() - ours).max() < 0.005 + slack


def test_solar_noon_agrees_with_astral():
    for place in PLACES.values():
        observer = astral.Observer(place.latitude, place.longitude, 0)
        noon = astral.sun.noon(observer, datetime(2024, 5, 5), tzinfo=UTC)
        hour = noon.hour + noon.minute / 60 + noon.second / 3600
        ours = solar_noon_utc_h(pd.DatetimeIndex(["2024-05-05"]), place.longitude)[0] % 24
        assert ours == pytest.approx(hour, abs=1 / 60)  # one minute


def test_extraterrestrial_radiation_agrees_with_pyet():
    import pyet

    dates = pd.date_range("2023-01-01", "2023-12-31")
    for latitude in (-45.0, 0.0, 60.0):
        theirs = pyet.extraterrestrial_r(dates, np.radians(latitude))
        ours = weather.extraterrestrial_radiation(dates, latitude)
        assert np.abs(ours - np.asarray(theirs)).max() < 0.02


# Worked by hand


def test_saturated_air_is_at_its_dew_point():
    assert weather.dewpoint(17.3, 100.0) == pytest.approx(17.3, abs=1e-9)
    assert weather.relative_humidity(17.3, 17.3) == pytest.approx(100.0, abs=1e-9)


def test_high_sun_on_the_longest_day():
    # At noon the sun stands at 90° - latitude + 23.44° (obliquity of the ecliptic).
    place = Place(50.0, 0.0, 0, "UTC", (1, 1))
    day = pd.date_range("2024-06-20 00:30", periods=48, freq="30min", tz="UTC")
    assert weather.sun_elevation(day, place).max() == pytest.approx(63.44, abs=0.1)


def test_clear_sky_is_dark_at_night_and_bright_at_noon():
    # Haurwitz 1945 with the sun in the zenith: 1098 exp(-0.059) = 1035 W/m².
    place = Place(0.0, 0.0, 0, "UTC", (1, 1))
    day = pd.date_range("2024-03-20 00:30", periods=48, freq="30min", tz="UTC")
    ghi = weather.clear_sky_ghi(day, place)
    assert ghi.max() == pytest.approx(1035, abs=3)
    assert (ghi[weather.sun_elevation(day, place) < 0] == 0).all()


def test_polar_day_and_night():
    dates = pd.DatetimeIndex(["2024-06-21", "2024-12-21"])
    assert weather.day_length_h(dates, 70.0) == pytest.approx([24, 0], abs=1e-9)
    assert weather.extraterrestrial_radiation(dates, 70.0)[1] == 0
    day = pd.DataFrame(
        {
            "temp_max_c": -8.0,
            "temp_min_c": -15.0,
            "vapour_kpa": 0.15,
            "wind_ms": 3.0,
            "ghi_wm2": 0.0,
        },
        index=dates,
    )
    place = Place(70.0, 20.0, 10, "Europe/Oslo", (1, 1))
    for table in (day, day[["temp_max_c", "temp_min_c"]]):
        assert weather.reference_et(table, place).between(0, 2).all()


# Properties

TEMPS = st.floats(-30, 50)


@given(temp_c=TEMPS, rh_pct=st.floats(1, 100))
def test_humidity_and_dew_point_undo_each_other(temp_c, rh_pct):
    dew = weather.dewpoint(temp_c, rh_pct)
    assert dew <= temp_c + 1e-9
    assert weather.relative_humidity(temp_c, dew) == pytest.approx(rh_pct, rel=1e-9)


@given(temp_c=TEMPS, rh_pct=st.floats(0, 105))
def test_deficit_lies_between_nothing_and_saturation(temp_c, rh_pct):
    deficit = weather.vapour_pressure_deficit(temp_c, rh_pct)
    assert 0 <= deficit <= weather.saturation_vapour_pressure(temp_c)


@given(latitude=st.floats(-66, 66), day=st.integers(1, 182))
def test_the_hemispheres_mirror_each_other(latitude, day):
    # Day length half a year later in the other hemisphere, up to the 0.4 h by which FAO's circle
    # of 365 days and halves of 182 and 183 fail to meet near 66°.
    here = weather.day_length_h(on(day), latitude)[0]
    there = weather.day_length_h(on(day + 182), -latitude)[0]
    assert here == pytest.approx(there, abs=0.4)
    assert here + weather.day_length_h(on(day), -latitude)[0] == pytest.approx(24, abs=1e-9)


@given(cloud=st.floats(0, 100), more=st.floats(0, 50))
def test_more_cloud_is_never_brighter(cloud, more):
    assert weather.ghi_from_cloud(500.0, cloud + more, NUMBERS) <= weather.ghi_from_cloud(
        500.0, cloud, NUMBERS
    )
