"""One hive's weights: as the scale showed them, and with all work taken out."""

from __future__ import annotations

import pandas as pd

from flowcast.plots.style import BLUE, HONEY, SOFT, month_axis
from flowcast.scale_log import CleanLog

DAYS_SHOWN = 120
STEPS_A_DAY = 4  # points a day are enough for a line of months


def log_data(log: CleanLog, timezone: str, days: int = DAYS_SHOWN) -> pd.DataFrame:
    """weight_kg as shown (good readings) and net_kg with work taken out, on local time."""
    readings = log.readings
    start = readings.index[-1] - pd.Timedelta(days=days)
    if log.kind == "scale":
        readings = readings[readings.index >= start]
    frame = readings[["weight_kg", "net_kg"]].where(readings["mark"] == "good")
    frame.index = frame.index.tz_convert(timezone).tz_localize(None)
    if log.kind == "scale":
        frame = frame.resample(f"{24 // STEPS_A_DAY}h").median()
    return frame.rename_axis("time")


def recent_steps(log: CleanLog, timezone: str, first: pd.Timestamp) -> pd.DataFrame:
    """Steps taken out since `first` (local), newest first, with local times."""
    steps = log.steps.copy()
    steps["time"] = pd.DatetimeIndex(steps["time"]).tz_convert(timezone).tz_localize(None)
    return steps[steps["time"] >= first].sort_values("time", ascending=False)


def plot_log(frame: pd.DataFrame, steps: pd.DataFrame, *, ax, scale: float, unit: str):
    """The raw line, the clean line (moved to end where the raw one ends) and marks at the steps."""
    net = frame["net_kg"] + (frame["weight_kg"] - frame["net_kg"]).dropna().iloc[-1:].sum()
    marker = "" if len(frame) > 200 else "."
    ax.plot(
        frame.index,
        frame["weight_kg"] * scale,
        color=SOFT,
        lw=0.9,
        marker=marker,
        ms=3,
        label="as weighed",
    )
    ax.plot(frame.index, net * scale, color=HONEY, lw=1.6, label="work taken out")
    low = float((frame["weight_kg"].min()) * scale)
    for time in steps["time"]:
        ax.axvline(time, color=BLUE, lw=0.6, ls=(0, (1, 2)))
    if len(steps):
        ax.plot(steps["time"], [low] * len(steps), "^", color=BLUE, ms=4, label="work")
    ax.set_ylabel(unit)
    ax.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1.0), handlelength=1.2)
    ax.margins(x=0.01)
    month_axis(ax, days=int((frame.index[-1] - frame.index[0]).days) + 1)
    return ax
