"""Whether weather stands on the clock, and the side of the equator, it is said to: told by the sun itself."""

import numpy as np
import pandas as pd

from flowcast.weather.days import HALF_HOUR

TEMPERATURES = ("temp_c", "temp_max_c", "temp_min_c")  # of hours, or of days
SUMMER, WINTER = (6, 7, 8), (12, 1, 2)  # months north of the equator
DAYS_SEEN = 10  # fewer days of light or warmth tell a front from a clock


def hours_from_noon(hourly, place, numbers):
    """How late the middle of the day's light, or of its warmth, comes; None where neither tells.

    Parameters
    ----------
    hourly : pandas.DataFrame
        ghi_wm2 or else temp_c on UTC stamps at the END of each hour.
    place : flowcast.tables.Place
        The yard.
    numbers : flowcast.numbers.Numbers
        weather.clock_light_h, clock_warm_h, clock_swing_c and warmest_h.

    Returns
    -------
    float or None
        Hours from -12 to 12 by which the clock seems wrong; None where it is within what
        clouds, slopes and sea breezes do. [h]

    Notes
    -----
    Light is centred on solar noon and warmth some hours after it, in the mean of many days (the
    direction of the sum of all hours, each a hand of a 24-hour clock).
    """
    light, warmth = (hourly.get(name, pd.Series(dtype=float)) for name in ("ghi_wm2", "temp_c"))
    if light.gt(0).sum() >= DAYS_SEEN * 8:
        late, may_be = _middle(light, place)[0] - 12, numbers["weather.clock_light_h"]
    elif warmth.notna().sum() >= DAYS_SEEN * 24:
        middle, swing = _middle(warmth, place)
        if swing < numbers["weather.clock_swing_c"]:
            return None
        late, may_be = middle - numbers["weather.warmest_h"], numbers["weather.clock_warm_h"]
    else:
        return None
    late = (late + 12) % 24 - 12
    return late if abs(late) > may_be else None


def summer_in_winter(table, place, numbers):
    """Whether the weather has its summer on the other side of the equator than the yard lies.

    Parameters
    ----------
    table : pandas.DataFrame
        temp_c, or temp_max_c or temp_min_c, on hours or days. [°C]
    place : flowcast.tables.Place
        The yard.
    numbers : flowcast.numbers.Numbers
        weather.summer_told_deg and summer_told_c.

    Returns
    -------
    bool
        False also where nothing tells: near the equator, or without both summer and winter months.
    """
    if abs(place.latitude) < numbers["weather.summer_told_deg"]:
        return False
    values = next((table[name] for name in TEMPERATURES if name in table), None)
    if values is None:
        return False
    months = values.groupby(values.index.month).mean().reindex((*SUMMER, *WINTER))
    north = months.loc[list(SUMMER)].mean(skipna=False) - months.loc[list(WINTER)].mean(
        skipna=False
    )
    return bool(np.sign(place.latitude) * north < -numbers["weather.summer_told_c"])


def _middle(values, place):
    """The solar hour about which the day's values are gathered [h], and how far they swing about
    their mean in one wave a day."""
    mid = values.index - HALF_HOUR
    by_hour = values.groupby(mid.hour + mid.minute / 60).mean()
    hands = np.exp(2j * np.pi * (by_hour.index.to_numpy() + place.longitude / 15) / 24)
    total = ((by_hour - by_hour.mean()).to_numpy() * hands).sum()
    return np.angle(total) / (2 * np.pi) * 24 % 24, 2 * abs(total) / len(by_hour)
