"""Weather as the bees and the plants meet it; pure: no files, no network, no clock.

hours and days that are complete (`complete_weather`, `hourly_from_daily`, `daily_weather`), several
sources on one climate (`align`, `join`), the air (`humidity`), the sun (`sun`), the ground (`soil`)
and the season (`season`).
"""

from flowcast.weather.ahead import (
    LAST_WEEKS,
    WeatherAhead,
    forecast_ahead,
    known_ahead,
    past_years_ahead,
)
from flowcast.weather.align import Correction, drifting, fit_correction, unsure
from flowcast.weather.clock import hours_from_noon, summer_in_winter
from flowcast.weather.complete import Weather, complete_weather
from flowcast.weather.daily import daily_weather, dusk_temperature, reference_et, wind_at_2m
from flowcast.weather.days import day_starts, hours_of_days, local_dates
from flowcast.weather.hours import (
    dewpoint_from_minimum,
    hourly_from_daily,
    hourly_from_daily_notes,
)
from flowcast.weather.humidity import (
    dewpoint,
    relative_humidity,
    saturation_vapour_pressure,
    vapour_pressure_deficit,
)
from flowcast.weather.join import Joined, join_blocks
from flowcast.weather.season import (
    Normals,
    degree_days,
    fit_normals,
    midsummer,
    midwinter,
    normal_course,
    pheno_day,
    phenological_lead,
    season_day,
    season_name,
    season_start_year,
    warmth,
    warmth_pull,
)
from flowcast.weather.soil import (
    antecedent_rain,
    ground_warmth,
    soil_temperature,
    soil_water,
    water_stress,
)
from flowcast.weather.sun import (
    clear_sky_ghi,
    day_length_h,
    extraterrestrial_radiation,
    ghi_from_cloud,
    ghi_from_range,
    solar_declination,
    sun_elevation,
)
from flowcast.weather.topsoil import SOILS, evaporable_water, top_soil_water

__all__ = [
    "LAST_WEEKS",
    "SOILS",
    "Correction",
    "Joined",
    "Normals",
    "Weather",
    "WeatherAhead",
    "antecedent_rain",
    "clear_sky_ghi",
    "complete_weather",
    "daily_weather",
    "day_length_h",
    "day_starts",
    "degree_days",
    "dewpoint",
    "dewpoint_from_minimum",
    "drifting",
    "dusk_temperature",
    "evaporable_water",
    "extraterrestrial_radiation",
    "fit_correction",
    "fit_normals",
    "forecast_ahead",
    "ghi_from_cloud",
    "ghi_from_range",
    "ground_warmth",
    "hourly_from_daily",
    "hourly_from_daily_notes",
    "hours_from_noon",
    "hours_of_days",
    "join_blocks",
    "known_ahead",
    "local_dates",
    "midsummer",
    "midwinter",
    "normal_course",
    "past_years_ahead",
    "pheno_day",
    "phenological_lead",
    "reference_et",
    "relative_humidity",
    "saturation_vapour_pressure",
    "season_day",
    "season_name",
    "season_start_year",
    "soil_temperature",
    "soil_water",
    "solar_declination",
    "summer_in_winter",
    "sun_elevation",
    "top_soil_water",
    "unsure",
    "vapour_pressure_deficit",
    "warmth",
    "warmth_pull",
    "water_stress",
    "wind_at_2m",
]
