"""Every table that passes between the parts: columns, units, bounds, meaning.

Missing is NaN, never zero. Weather and scale tables have a time-zone-aware UTC index whose
stamps mark the END of their hour; daily tables have the yard's local date as a naive index.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flowcast.errors import MissingColumnError, UnitBoundsError

if TYPE_CHECKING:  # kept out of the import path: the command line must answer before pandas loads
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its unit, the bounds outside which a value is an error, and what it means."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str


def _columns(*columns: Column) -> dict[str, Column]:
    return {column.name: column for column in columns}


# Bounds are wider than the world's records, so what fails them is a unit or a fault, not weather.
WEATHER = _columns(
    Column("temp_c", "°C", -70, 60, "air temperature at 2 m, at the end of the hour"),
    Column("rh_pct", "%", 0, 105, "relative humidity at 2 m"),
    Column("dewpoint_c", "°C", -80, 40, "dew point at 2 m"),
    Column("precip_mm", "mm", 0, 310, "rain and melted snow in the hour"),
    Column("wind_ms", "m/s", 0, 90, "mean wind at 10 m in the open"),
    Column("ghi_wm2", "W/m²", 0, 1500, "global horizontal radiation, mean of the hour"),
    Column("soil_temp_c", "°C", -40, 60, "soil temperature at 0 to 10 cm"),
    Column("soil_moisture_m3m3", "m³/m³", 0, 1, "water in the top soil, volume of volume"),
    Column("cloud_pct", "%", 0, 105, "cloud cover"),
    Column("pressure_hpa", "hPa", 850, 1100, "air pressure reduced to sea level"),
)

DAILY_WEATHER = _columns(
    Column("temp_max_c", "°C", -70, 60, "highest air temperature of the local day"),
    Column("temp_min_c", "°C", -80, 50, "lowest air temperature of the local day"),
    Column("temp_mean_c", "°C", -75, 55, "mean air temperature of the local day"),
    Column("precip_mm", "mm", 0, 2000, "rain and melted snow of the local day"),
    Column("wind_ms", "m/s", 0, 60, "mean wind at 10 m in the open"),
    Column("rh_pct", "%", 0, 105, "mean relative humidity"),
    Column("ghi_wm2", "W/m²", 0, 500, "global radiation, mean over 24 hours"),
    Column("cloud_pct", "%", 0, 105, "mean cloud cover"),
)

SCALE = _columns(
    Column("weight_kg", "kg", -500, 2000, "weight shown by the scale"),
)

# What the parts make from weather, one row a local day (flowcast.weather, flowcast.foraging).
SEASON_DAY = _columns(
    Column("temp_mean_c", "°C", -75, 55, "mean air temperature"),
    Column("temp_max_c", "°C", -70, 60, "highest air temperature"),
    Column("temp_min_c", "°C", -80, 50, "lowest air temperature"),
    Column("precip_mm", "mm", 0, 2000, "rain"),
    Column("et0_mm", "mm", 0, 25, "reference evapotranspiration, FAO-56"),
    Column(
        "soil_water_frac", "1", 0, 1, "water left in the root zone, share of what plants can take"
    ),
    Column("soil_temp_c", "°C", -40, 60, "soil temperature at 5 to 10 cm"),
    Column("soil_moisture_m3m3", "m³/m³", 0, 1, "water in the top soil; where a service gives it"),
    Column("dusk_temp_c", "°C", -70, 60, "air temperature at sunset"),
    Column("rh_pct", "%", 0, 105, "mean relative humidity"),
    Column("ghi_wm2", "W/m²", 0, 500, "global radiation, mean over 24 hours"),
    Column("degree_days_cd", "°C d", 0, 60, "degree days that the day adds"),
    Column("warmth_cd", "°C d", 0, 20000, "degree days since the season's start"),
    Column("pheno_lead_d", "d", -60, 60, "days by which the season runs early (late: negative)"),
    Column("foraging_h", "h", 0, 24, "foraging hours, each hour counted 0 to 1"),
    Column("open_h", "h", 0, 24, "working hours fit to open a hive: dry, light wind, 14 to 38 °C"),
)

# One row a span of the cleaned log: a day of a scale, or the time between two hand weighings.
GAIN = _columns(
    Column("days", "d", 1, 400, "length of the span; 1 for a daily net gain"),
    Column("gain_kg", "kg", -50, 150, "net gain over the span with work taken out"),
    Column("gain_sd_kg", "kg", 0, 20, "standard error of that gain"),
    Column(
        "lower_bound", "1", 0, 1, "1 where comb ran out: with room the gain had been this or more"
    ),
)

# The words of work.csv, with the way each moves the weight: +1 onto the hive, -1 off it, 0 not at all.
WORK_SIGN = {
    "super on": +1,
    "super off": -1,
    "honey off": -1,
    "extracted": 0,
    "feed": +1,
    "frames in": +1,
    "frames out": -1,
    "split": -1,
    "swarmed": -1,
    "swarm hived": +1,
    "united": +1,
    "requeened": 0,
    "moved in": 0,
    "moved out": 0,
    "treated": 0,
    "inspected": 0,
    "other": 0,
}

# One row a lead day of an outlook or of a backtest.
QUANTILES = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
Z_90 = 1.2816  # standard deviations from the middle of a normal to its 90 % quantile
QUANTILE_NAMES = tuple(f"q{round(100 * q):02d}" for q in QUANTILES)


def require_columns(frame: pd.DataFrame, names: list[str], *, where: str) -> None:
    """Raise MissingColumnError naming the first column that is not there, and those that are."""
    for name in names:
        if name not in frame.columns:
            there = ", ".join(map(str, frame.columns))
            raise MissingColumnError(
                f"{where}: no column {name!r}. The file has: {there}. Name the right one in yard.toml."
            )


def check_bounds(frame: pd.DataFrame, table: dict[str, Column], *, where: str) -> None:
    """Raise UnitBoundsError at the first value that its quantity cannot have; NaN passes."""
    for name, column in table.items():
        if name not in frame.columns:
            continue
        bad = frame.index[(frame[name] < column.low) | (frame[name] > column.high)]
        if len(bad):
            value = frame.loc[bad[0], name]
            value = value if isinstance(value, float) else frame[name][bad[0]].iloc[0]
            raise UnitBoundsError(
                f"{where}: {name} is {value:g} at {bad[0]} ({len(bad)} such rows); {column.meaning} "
                f"in {column.unit} lies between {column.low:g} and {column.high:g}. Check the unit."
            )


@dataclass(frozen=True, slots=True)
class Place:
    """Where the yard stands: what the sun, the clock and the season need to know.

    `season_start` is (month, day) of the first day of the bee year; midwinter unless the yard
    sets another (1 January in the north, 1 July in the south).
    """

    latitude: float
    longitude: float
    elevation_m: float
    timezone: str
    season_start: tuple[int, int]
