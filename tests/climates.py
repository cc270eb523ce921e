"""Weather normals of places, as plain daily courses for the beetle tests; all from memory."""

import numpy as np
import pandas as pd

from flowcast.beetle import Drivers
from flowcast.numbers import load_numbers
from flowcast.weather import ground_warmth, soil_temperature

NUMBERS = load_numbers()

# Monthly mean air temperature, January to December, and radiation as (yearly mean, half of its swing,
# day of its highest). MEMORY: rounded normals of about 1981 to 2010; no source seen.
MONTREAL = ([-9.7, -7.7, -2, 6.4, 13.4, 18.6, 21.2, 20.1, 15.5, 8.5, 2.1, -5.4], (145, 95, 172))
LUXEMBOURG = ([0.8, 1.6, 5.2, 8.7, 13, 16.2, 18.3, 17.8, 13.9, 9.5, 4.7, 1.7], (120, 95, 172))
BATON_ROUGE = ([11, 13, 16.5, 20, 24, 27, 28, 28, 25.5, 20.5, 15.5, 12], (190, 60, 160))
WET_DRY_TROPICS = ([27, 28.5, 29, 28.5, 27.5, 26, 25, 25, 25.5, 26.5, 27.5, 27.5], (190, 0, 1))
EQUATOR = ([27, 28, 28, 28, 27.5, 27, 26, 26, 26.5, 27, 27, 27], (180, 0, 1))

MIDDLE = np.array([15, 45, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349])


def course(months, dates):
    """Monthly means as a course without corners."""
    day = (dates.dayofyear.to_numpy() - 1) % 365
    return np.interp(day, np.r_[MIDDLE - 365, MIDDLE, MIDDLE + 365], np.tile(months, 3))


def drivers(place, *, years=3, water=0.8, humidity=75.0, dry_months=(), numbers=NUMBERS):
    """(dates, Drivers) of a place whose soil is damp but in the dry months."""
    months, (mean, swing, highest) = place
    dates = pd.date_range("2001-01-01", periods=365 * years)
    air = course(months, dates)
    sun = mean + swing * np.cos(2 * np.pi * (dates.dayofyear.to_numpy() - highest) / 365)
    soil = soil_temperature(ground_warmth(air, sun, numbers), numbers)
    damp = np.where(np.isin(dates.month, dry_months), 0.0, water)
    return dates, Drivers(soil, damp, np.full(len(dates), humidity), air, air)


def steady(days, soil_c=25.0, water=0.8, humidity=75.0, dusk_c=22.0):
    """Drivers that never change."""
    full = np.ones(days)
    return Drivers(soil_c * full, water * full, humidity * full, dusk_c * full, dusk_c * full)
