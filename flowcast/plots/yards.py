"""Where several yards lie to each other: drawn from coordinates alone, without tiles."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.plots.style import INK, KIND_COLOURS, LINE, SOFT

LEAST_KM, KM_PER_DEGREE = 2.0, 111.2  # the smallest map; a degree of latitude on a sphere
FOOT = 0.4  # a strip below the yards for the bar of length, in half heights
STEPS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


def yards_data(yards: pd.DataFrame) -> pd.DataFrame:
    """East and north of the middle of all yards.

    Parameters
    ----------
    yards : DataFrame
        Columns yard, latitude, longitude. [degree]

    Returns
    -------
    DataFrame
        The same rows: yard, east, north [km]. Longitudes are taken the short way round the globe.
    """
    middle = yards["latitude"].mean()
    first = yards["longitude"].iloc[0]
    turned = (yards["longitude"] - first + 180) % 360 - 180
    east = turned * KM_PER_DEGREE * np.cos(np.radians(middle))
    north = (yards["latitude"] - middle) * KM_PER_DEGREE
    return pd.DataFrame({"yard": yards["yard"], "east": east - east.mean(), "north": north})


def _half_widths(frame: pd.DataFrame) -> tuple[float, float]:
    """Half of the map's width and height with room around the yards. [km]"""
    wide, high = (max(np.ptp(frame[k]), LEAST_KM) / 2 for k in ("east", "north"))
    margin = 0.16 * max(wide, high)
    return max(wide + margin, 0.8 * high), max(high + margin, 0.3 * wide)


def map_height_in(yards: pd.DataFrame, width_in: float) -> float:
    """The height at which a kilometre is as long north as east. [inch]"""
    wide, high = _half_widths(yards_data(yards))
    return float(np.clip(width_in * (1 + FOOT / 2) * high / wide, 1.6, 6.5))


def plot_yards(yards: pd.DataFrame, *, ax, per_km: float = 1.0, unit: str = "km") -> None:
    """A numbered dot a yard and a bar of length; numbers follow the order of the rows.

    Parameters
    ----------
    yards : DataFrame
        Columns yard, latitude, longitude. [degree]
    per_km, unit
        How many of the unit of length make a kilometre, and its name.
    """
    frame = yards_data(yards)
    wide, high = _half_widths(frame)
    east, north = ((frame[k].max() + frame[k].min()) / 2 for k in ("east", "north"))
    ax.set_xlim(east - wide, east + wide)
    foot = north - (1 + FOOT) * high
    ax.set_ylim(foot, north + high)
    ax.set_aspect("equal")
    ax.plot(
        frame["east"], frame["north"], "o", ms=15, color=KIND_COLOURS["trickle"], mec=INK, mew=1.0
    )
    for n, row in enumerate(frame.itertuples(), start=1):
        ax.text(row.east, row.north, str(n), color=INK, ha="center", va="center_baseline")
    _bar_of_length(ax, (east - wide, foot), (wide, high), per_km, unit)
    ax.set_xticks([])
    ax.set_yticks([])
    for side in ax.spines.values():
        side.set(visible=True, color=LINE)


def _bar_of_length(ax, corner, half, per_km: float, unit: str) -> None:
    (left, low), (wide, high) = corner, half
    length = max((step for step in STEPS if step <= 0.6 * wide * per_km), default=STEPS[0])
    x, y = left + 0.05 * wide, low + 0.08 * high
    ax.plot([x, x + length / per_km], [y, y], color=SOFT, lw=2.0, solid_capstyle="butt")
    ax.text(x, y + 0.04 * high, f"{length:g} {unit}", color=INK, va="bottom")
