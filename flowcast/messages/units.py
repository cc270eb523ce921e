"""The yard's own units: everything is reckoned, and kept in JSON, in metric ones.

A yard whose yard.toml says `units = "lb"` reads pounds, degrees Fahrenheit, inches, feet and miles.
"""

from __future__ import annotations

# Name, factor and start of the customary unit; each is exact by definition (international pound, inch,
# foot and mile; from memory). K stands for a difference of temperatures.
CUSTOMARY = {
    "kg": ("lb", 1 / 0.45359237, 0.0),
    "mm": ("in", 1 / 25.4, 0.0),
    "m": ("ft", 1 / 0.3048, 0.0),
    "km": ("mi", 1 / 1.609344, 0.0),
    "°C": ("°F", 1.8, 32.0),
    "K": ("°F", 1.8, 0.0),
}
METRIC_NAMES = {"K": "°C"}


def shown_in(unit: str, units: str) -> tuple[str, float, float]:
    """The name of what a metric unit is shown in, and the factor and start that lead to it.

    Parameters
    ----------
    unit : str
        A key of `CUSTOMARY`, or any other, which stays as it is.
    units : str
        "kg" for metric units, "lb" for customary ones.
    """
    if units == "lb" and unit in CUSTOMARY:
        return CUSTOMARY[unit]
    return METRIC_NAMES.get(unit, unit), 1.0, 0.0
