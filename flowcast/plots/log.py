"""One hive's weights: as the scale showed them, and with all work taken out."""

from __future__ import annotations

import pandas as pd

from flowcast.plots.style import BLUE, HONEY, SOFT, month_axis, titled_legend
from flowcast.scale_log import CleanLog

# Four months of a scale show its work well; weighings weeks apart want the whole year.
DAYS_SHOWN = {"scale": 120, "hand weighings": 365}
STEPS_A_DAY = 4  # points a day are enough for a line of months


def log_data(log: CleanLog, timezone: str) -> pd.DataFrame:
    """The last months of a log on the yard's own clock.

    Parameters
    ----------
    log : CleanLog
        A hive's cleaned log.
    timezone : str
        The yard's.

    Returns
    -------
    DataFrame
        Index time (local, naive): weight_kg as the scale showed it; net_kg with all work taken
        out, moved so that both end alike, which is what the hive as it stands now would have
        weighed. Good readings only; of a scale the median of every six hours. [kg]
    """
    readings = log.readings
    since = readings.index[-1] - pd.Timedelta(days=DAYS_SHOWN[log.kind])
    readings = readings[(readings.index >= since) & (readings["mark"] == "good")]
    frame = readings[["weight_kg", "net_kg"]].dropna()
    frame.index = frame.index.tz_convert(timezone).tz_localize(None)
    if log.kind == "scale":
        frame = frame.resample(f"{24 // STEPS_A_DAY}h").median()
    moved = (frame["weight_kg"] - frame["net_kg"]).dropna().iloc[-1:].sum()
    return frame.assign(net_kg=frame["net_kg"] + moved).rename_axis("time")


def step_data(log: CleanLog, timezone: str) -> pd.DataFrame:
    """All steps taken out of a log, newest first: time (local, naive) and the log's own columns."""
    local = pd.DatetimeIndex(log.steps["time"]).tz_convert(timezone).tz_localize(None)
    steps = log.steps.assign(time=local)
    return steps.sort_values("time", ascending=False, kind="stable", ignore_index=True)


def plot_log(frame: pd.DataFrame, steps: pd.DataFrame, *, ax, scale: float, unit: str):
    """Both lines, and a mark under each step: filled where work.csv tells of it, else hollow.

    Parameters
    ----------
    frame, steps : DataFrame
        From `log_data` and `step_data`; steps before the frame are passed over.
    scale, unit
        How many of the yard's unit make a kilogram, and its name.
    """
    thin = len(frame) > 200
    ax.plot(frame.index, frame["weight_kg"] * scale, color=SOFT, lw=0.9, label="as weighed",
            marker="" if thin else ".", ms=4)  # fmt: skip
    ax.plot(frame.index, frame["net_kg"] * scale, color=HONEY, lw=1.8, label="work taken out")
    low = float(frame[["weight_kg", "net_kg"]].min(axis=None)) * scale
    shown = steps[steps["time"] >= frame.index[0]]
    for time in shown["time"]:
        ax.axvline(time, color=BLUE, lw=0.6, ls=(0, (1, 2)))
    for known, fill, label in ((True, BLUE, "work"), (False, "white", "jump, not in work.csv")):
        times = shown["time"][shown["logged"].astype(bool) == known]
        if len(times):
            ax.plot(times, [low] * len(times), "^", color=BLUE, mfc=fill, ms=5.5, label=label)
    titled_legend(ax, f"Weight [{unit}]")
    ax.locator_params(axis="y", nbins=6)
    ax.margins(x=0.01)
    month_axis(ax, days=int((frame.index[-1] - frame.index[0]).days) + 1)
    return ax
