"""One hive's weights: as the scale showed them, and with all work taken out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.messages import Say
from flowcast.plots.style import BLUE, HEATH, HONEY, MIST, SOFT, month_axis, titled_legend
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
        out, moved so that both begin alike, which is what the hive would weigh had nothing been
        put on or taken off since. Good readings only; of a scale the median of every six hours.
        [kg]
    """
    readings = log.readings
    since = readings.index[-1] - pd.Timedelta(days=DAYS_SHOWN[log.kind])
    readings = readings[(readings.index >= since) & (readings["mark"] == "good")]
    frame = readings[["weight_kg", "net_kg"]].dropna()
    frame.index = frame.index.tz_convert(timezone).tz_localize(None)
    if log.kind == "scale":
        frame = frame.resample(f"{24 // STEPS_A_DAY}h").median()
    moved = (frame["weight_kg"] - frame["net_kg"]).dropna().iloc[:1].sum()
    return frame.assign(net_kg=frame["net_kg"] + moved).rename_axis("time")


def step_data(log: CleanLog, timezone: str) -> pd.DataFrame:
    """All steps taken out of a log, newest first: time (local, naive) and the log's own columns."""
    local = pd.DatetimeIndex(log.steps["time"]).tz_convert(timezone).tz_localize(None)
    steps = log.steps.assign(time=local)
    return steps.sort_values("time", ascending=False, kind="stable", ignore_index=True)


def plot_log(frame: pd.DataFrame, steps: pd.DataFrame, *, ax, say: Say):
    """Both lines, and a mark under each step: filled where work.csv tells of it, else hollow.

    Parameters
    ----------
    frame, steps : DataFrame
        From `log_data` and `step_data`; steps before the frame are passed over.
    """
    thin, scale = len(frame) > 200, say.scale
    weighed, work_out = say("log.as_weighed"), say("log.work_out")
    ax.plot(frame.index, frame["weight_kg"] * scale, color=SOFT, lw=0.9, label=weighed,
            marker="" if thin else ".", ms=4)  # fmt: skip
    ax.plot(frame.index, frame["net_kg"] * scale, color=HONEY, lw=1.8, label=work_out)
    low = float(frame[["weight_kg", "net_kg"]].min(axis=None)) * scale
    shown = steps[steps["time"] >= frame.index[0]]
    for time in shown["time"]:
        ax.axvline(time, color=BLUE, lw=0.6, ls=(0, (1, 2)))
    for known, fill, key in ((True, BLUE, "work"), (False, "white", "jump")):
        times = shown["time"][shown["logged"].astype(bool) == known]
        if len(times):
            label = say(f"log.{key}")
            ax.plot(times, [low] * len(times), "^", color=BLUE, mfc=fill, ms=5.5, label=label)
    titled_legend(ax, say("log.title", unit=say.units))
    ax.locator_params(axis="y", nbins=6)
    ax.margins(x=0.01)
    month_axis(ax, days=int((frame.index[-1] - frame.index[0]).days) + 1, say=say)
    return ax


MARKED = ("spike", "lifted", "stuck", "restart", "impossible")
POINTS = 4000  # more than this no picture shows


def check_data(log: CleanLog, timezone: str) -> pd.DataFrame:
    """A whole log as `draw_check` shows it.

    Returns
    -------
    DataFrame
        Index time (local, naive). shown_kg, as read; mark, as CleanLog has it; work_kg and
        weather_kg, all that was taken out up to then, from nothing at the first good reading;
        clean_kg, what the bees themselves changed since then. A long log is thinned to some
        thousand good readings; all marked ones are kept. [kg]
    """
    frame = log.readings.rename(columns={"weight_kg": "shown_kg", "net_kg": "clean_kg"})
    frame = frame.assign(work_kg=frame["shown_kg"] - frame["weather_kg"] - frame["clean_kg"])
    good = frame["mark"] == "good"
    for name in ("work_kg", "weather_kg", "clean_kg"):
        frame[name] = frame[name].where(good) - frame[name][good].iloc[0]
    every = -(-int(good.sum()) // POINTS)
    frame = frame[~good | (good.cumsum() % every == 1 % every)]
    frame.index = frame.index.tz_convert(timezone).tz_localize(None)
    columns = ["shown_kg", "mark", "work_kg", "weather_kg", "clean_kg"]
    return frame[columns].rename_axis("time")


def check_words(log: CleanLog, timezone: str, say: Say) -> str:
    """The same in words, for who cannot see the picture."""
    frame = check_data(log, timezone)
    clean = frame["clean_kg"].dropna()
    steps = log.steps[log.steps["kg"] != 0]
    off, on = steps["kg"].clip(upper=0).sum(), steps["kg"].clip(lower=0).sum()
    counts = frame["mark"].value_counts()
    marked = say.listed(
        say("check_figure.marked", n=int(counts[m]), mark=say(f"faults.{m}"))
        for m in MARKED
        if m in counts
    )
    return say(
        "check_figure.finding",
        hive=log.hive,
        days=say.full_span(frame.index[0], frame.index[-1]),
        marked=marked or say("check_figure.none_marked"),
        n=len(steps),
        on=say.weight(on, 1),
        off=say.weight(-off, 1),
        unlogged=int((~steps["logged"]).sum()),
        change=say.weight(clean.iloc[-1], 1),
    )


def draw_check(figure, log: CleanLog, timezone: str, say: Say) -> None:
    """Weight as shown with its marks, what was taken out, and what is left: the bees' own."""
    frame = check_data(log, timezone)
    weights = [name for name in frame if name.endswith("_kg")]
    frame[weights] = frame[weights] * say.scale
    shown, taken, clean = figure.subplots(3, sharex=True, height_ratios=[3, 2, 3])
    good = frame[frame["mark"] == "good"]
    marker = "." if log.kind != "scale" else ""
    named = {
        key: say(f"check_figure.{key}") for key in ("shown", "logged", "found", "steps", "weather")
    }
    shown.plot(
        good.index, good["shown_kg"], color=SOFT, lw=0.8, marker=marker, label=named["shown"]
    )
    for mark, shape in zip(MARKED, "x+_v^", strict=True):
        part = frame[frame["mark"] == mark]
        if len(part):
            label = say(f"faults.{mark}")
            shown.plot(part.index, part["shown_kg"], shape, color=HEATH, ms=4, label=label)
    steps = step_data(log, timezone)
    steps = steps[steps["kg"] != 0]
    for logged, fill, key in ((True, BLUE, "logged"), (False, "white", "found")):
        part = steps[steps["logged"].astype(bool) == logged]
        level = np.interp(part["time"], frame.index, frame["work_kg"].ffill().fillna(0.0))
        if len(part):
            taken.plot(part["time"], level, "o", color=BLUE, mfc=fill, ms=4, label=named[key])
    taken.step(good.index, good["work_kg"], color=BLUE, lw=1.0, where="post", label=named["steps"])
    taken.plot(good.index, good["weather_kg"], color=MIST, lw=0.8, label=named["weather"])
    clean.plot(good.index, good["clean_kg"], color=HONEY, lw=1.4, marker=marker)
    titled_legend(shown, say("check_figure.title", hive=log.hive, unit=say.units))
    titled_legend(taken, say("check_figure.taken", unit=say.units))
    clean.set_title(say("check_figure.clean", unit=say.units))
    month_axis(clean, days=int((frame.index[-1] - frame.index[0]).days) + 1, say=say)
