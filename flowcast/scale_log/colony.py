"""Whether a colony lives in the hive, as far as its weight tells.

Nothing comes in on a day without flight, and a living colony eats. A hive that hardly loses on many
such days is empty, or its scale stands still or drifts. Wet days are left out: wood drinks them.
"""

import numpy as np
import pandas as pd

from flowcast.messages import Amount, Note
from flowcast.numbers import Numbers
from flowcast.scale_log.log import CleanLog


def not_eating(
    log: CleanLog, daily: pd.DataFrame, today: pd.Timestamp, numbers: Numbers
) -> list[Note]:
    """What is to be said of each time in which a hive on a scale used next to nothing.

    Parameters
    ----------
    daily : DataFrame
        foraging_h [h] and precip_mm [mm] of every local date.
    today : Timestamp
        Until when the log is told: of a hive that does not eat now every figure is in doubt.

    Notes
    -----
    Looked at are `empty_days` dry days without flight in a row that lie within `empty_within_d`; a mean loss
    below `empty_kg` a day says that nobody eats. A colony in winter uses some 15 to 50 g.
    """
    idle = _idle_gains(log, daily, numbers)
    count = int(numbers["scale_log.empty_days"])
    if len(idle) < count:
        return []
    within = pd.Timedelta(days=numbers["scale_log.empty_within_d"])
    dates = pd.Series(idle.index, idle.index)
    begun = dates.shift(count - 1)
    # Errors of neighbouring days cancel in their mean, as they do not in a median.
    still = idle.rolling(count).mean() > -numbers["scale_log.empty_kg"]
    ends = idle.index[still & (dates - begun <= within)]
    if not len(ends):
        return []
    runs = np.cumsum(ends.to_series().diff() > within)
    return [_told(log.hive, idle, begun, ends[runs == k], today - within) for k in np.unique(runs)]


def _idle_gains(log: CleanLog, daily: pd.DataFrame, numbers: Numbers) -> pd.Series:
    """Good daily gains of dry days on which nobody flew. [kg]"""
    gains = log.gains[(log.gains["days"] == 1) & (log.gains["quality"] == "good")]
    day = daily.reindex(gains.index)
    still = day["foraging_h"] < numbers["scale_log.still_day_h"]
    dry = day["precip_mm"] < numbers["reasons.wet_day_mm"]
    return gains.loc[(still & dry).to_numpy(), "gain_kg"]


def _told(
    hive: str, idle: pd.Series, begun: pd.Series, ends: pd.DatetimeIndex, fresh: pd.Timestamp
) -> Note:
    first, last = begun[ends[0]], ends[-1]
    days = idle[first:last]
    return Note.of(
        "colony.not_eating_now" if last >= fresh else "colony.not_eating_then",
        hive=hive,
        n=len(days),
        first=first,
        last=last,
        to=f"{first:%Y-%m-%d}",
        kg=Amount(float(max(-days.sum(), 0.0)), "kg", 1),
    )
