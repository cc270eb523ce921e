"""Water in honey from a refractometer: the published table, and what temperature does to a reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowcast.errors import InputError
from flowcast.numbers import Numbers

# Water contents of which the table's refractive index stands in numbers.toml. [%]
ROWS = ("13", "15", "16", "19", "20", "21", "22", "25")
INDEX = (1.3, 1.6)  # whatever a refractometer may show as an index
PERCENT = (10.0, 30.0)  # and as per cent of water


@dataclass(frozen=True)
class WaterReading:
    """A reading understood.

    water_pct: water content. [%] verdict: "safe", "may ferment" (within the law), "ling only" (over
    the legal limit but for ling heather) or "too wet". corrected: a temperature was taken into account.
    """

    water_pct: float
    verdict: str
    corrected: bool


def read_water(reading: float, temp_c: float | None, numbers: Numbers) -> WaterReading:
    """Water content from a refractive index or from a scale in per cent of water.

    Parameters
    ----------
    reading : float
        1.3 to 1.6 is taken as a refractive index, 10 to 30 as per cent of water.
    temp_c : float, optional
        Temperature of the honey, for an instrument that does not correct for it by itself; without
        it the reading is taken as of 20 °C. [°C]
    numbers : Numbers
        The table's rows, its correction and the limits of water, in group timing.

    Raises
    ------
    InputError
        When the reading is neither, lies beyond the table, or the temperature beyond its correction.
    """
    if INDEX[0] <= reading <= INDEX[1]:
        index = reading
    elif PERCENT[0] <= reading <= PERCENT[1]:
        index = _index_of(reading, numbers)
    else:
        raise InputError(
            f"--refractometer {reading:g}: neither a refractive index (such as 1.4915) nor per cent "
            "of water (such as 18.2). Give one of the two."
        )
    water = water_content(at_20_degrees(index, temp_c, numbers), numbers)
    if not float(ROWS[0]) - 1 <= water <= float(ROWS[-1]):
        raise InputError(
            f"--refractometer {reading:g}: beyond the table for honey, which holds 13 to 25 % of "
            "water. Clean and set the instrument, and read again."
        )
    return WaterReading(water, _verdict(water, numbers), temp_c is not None)


def water_content(index: float, numbers: Numbers) -> float:
    """Water in honey by its refractive index at 20 °C, in lines between the table's rows. [%]"""
    water, table = _table(numbers)
    first = int(np.sum(table[1:-1] > index))  # the table falls as water rises
    slope = (water[first + 1] - water[first]) / (table[first + 1] - table[first])
    return float(water[first] + slope * (index - table[first]))


def at_20_degrees(index: float, temp_c: float | None, numbers: Numbers) -> float:
    """A refractive index read at another temperature, as it would be at 20 °C.

    Raises
    ------
    InputError
        Beyond 10 to 40 °C, where the correction is not known to hold.
    """
    if temp_c is None:
        return index
    if not 10 <= temp_c <= 40:
        raise InputError(
            f"--refractometer ...@{temp_c:g}: honey is read between 10 and 40 °C. Bring it near 20."
        )
    return index + numbers["timing.refractive_per_c"] * (temp_c - 20)


def _index_of(water: float, numbers: Numbers) -> float:
    """The table the other way round."""
    known, table = _table(numbers)
    return float(np.interp(water, known, table))


def _table(numbers: Numbers) -> tuple[np.ndarray, np.ndarray]:
    water = np.array(ROWS, float)
    return water, np.array([numbers[f"timing.refractive_{row}"] for row in ROWS])


def _verdict(water: float, numbers: Numbers) -> str:
    limits = ("timing.water_safe_pct", "timing.water_legal_pct", "timing.water_ling_pct")
    verdicts = ("safe", "may ferment", "ling only", "too wet")
    # The table is good to a tenth of a per cent, and so is the comparison.
    return verdicts[int(np.searchsorted([numbers[k] for k in limits], round(water, 1)))]
