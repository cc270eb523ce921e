"""Whether hourly weather stands on the clock it is said to, told by the sun itself."""

import numpy as np
import pandas as pd

from flowcast.weather.days import HALF_HOUR

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


def _middle(values, place):
    """The solar hour about which the day's values are gathered [h], and how far they swing about
    their mean in one wave a day."""
    mid = values.index - HALF_HOUR
    by_hour = values.groupby(mid.hour + mid.minute / 60).mean()
    hands = np.exp(2j * np.pi * (by_hour.index.to_numpy() + place.longitude / 15) / 24)
    total = ((by_hour - by_hour.mean()).to_numpy() * hands).sum()
    return np.angle(total) / (2 * np.pi) * 24 % 24, 2 * abs(total) / len(by_hour)
