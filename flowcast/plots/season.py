"""The season ribbon, the fan of the running total, and the season against its normal.

Each picture is `plot_x(frame, ..., ax)` and has a sibling `x_data(...)` that gives the frame it
draws, so that what is shown can be checked and read as a table.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.flow.kinds import KINDS, kinds_of_day
from flowcast.messages import Say
from flowcast.plots.bloom import Lanes, plot_bloom
from flowcast.plots.style import (
    BLUE,
    DEEP,
    INK,
    KIND_COLOURS,
    LINE,
    MIST,
    SOFT,
    day_axis,
    month_axis,
    titled_legend,
)
from flowcast.results import Record, YardOutlook
from flowcast.weather import normal_course, season_day

DAYS_BACK = 365
ONE_DAY = pd.Timedelta(days=1)
BANDS = (("q05", "q95", "#e6e9ea"), ("q10", "q90", "#c9d4dd"), ("q25", "q75", MIST))


def ribbon_data(found: YardOutlook) -> pd.DataFrame:
    """The year up to the issue date and the days ahead, one row a local date.

    Parameters
    ----------
    found : YardOutlook
        What the pipeline found; the weather may begin later than a year ago.

    Returns
    -------
    DataFrame
        Index date. gain_kg: daily net gain of the yard; span_kg: mean a day of hand weighings over
        their span; kind: kind of day, "" where no daily gain is known; foraging_h: as it was, ahead
        the middle of the scenarios; usual_h: normal of that date; p_flow_day: ahead only. A column
        is NaN where nothing is known. [kg/d, h/d, 1]
    """
    record = found.record
    first = max(record.issue_date - DAYS_BACK * ONE_DAY, record.daily.index[0])
    past = pd.date_range(first, record.issue_date - ONE_DAY)
    ahead = found.outlook.daily[["p_flow_day", "foraging_h"]].iloc[: found.outlook.window_days]
    single = record.spans[record.spans["days"] == 1]["gain_kg"]
    behind = pd.DataFrame(
        {
            "gain_kg": single.groupby(level=0).median().reindex(past),
            "span_kg": _span_means(record).reindex(past),
            "foraging_h": record.daily["foraging_h"].reindex(past),
        }
    )
    frame = pd.concat([behind, ahead]).rename_axis("date")
    frame["usual_h"] = _usual(record, record.daily["foraging_h"], frame.index)["mean"].to_numpy()
    frame["kind"] = kinds_of_day(
        *(frame[k].to_numpy(float) for k in ("gain_kg", "foraging_h", "usual_h")),
        record.yard.numbers,
    )
    return frame


def _span_means(record: Record) -> pd.Series:
    """Mean gain a day of totals over longer spans, the median over hives. [kg/d]"""
    longer = record.spans[record.spans["days"] > 1]
    days = [pd.date_range(start, periods=int(n)) for start, n in longer["days"].items()]
    if not days:
        return pd.Series(dtype=float)
    mean = np.repeat((longer["gain_kg"] / longer["days"]).to_numpy(), longer["days"].astype(int))
    return pd.Series(mean, index=np.concatenate(days)).groupby(level=0).median()


def _usual(record: Record, values: pd.Series, dates: pd.DatetimeIndex) -> pd.DataFrame:
    """Normal course of a daily quantity on these dates: mean, q10, q90."""
    start = record.yard.place.season_start
    course = normal_course(values.to_frame("value"), "value", start, record.yard.numbers)
    return course.loc[season_day(dates, start)].set_index(dates)


def plot_ribbon(frame: pd.DataFrame, lanes: Lanes, *, figure, say: Say, columns: int) -> None:
    """What was on the left, what may be on the right, on rows that share their time.

    Parameters
    ----------
    frame : DataFrame
        From `ribbon_data`.
    lanes : Lanes
        Stated bloom, from `bloom.pack_lanes`.
    figure : matplotlib Figure
        Empty; its rows are gain (where any is known), foraging hours, bloom (where any is stated).
    columns : int
        Kinds of day named side by side in the legend.
    """
    heights = ribbon_heights(frame, lanes)
    grid = figure.subplots(
        len(heights),
        2,
        squeeze=False,
        sharex="col",
        width_ratios=(lanes.past_share, 1 - lanes.past_share),
        height_ratios=heights,
    )
    ahead = frame["p_flow_day"].notna()
    behind, coming = frame[~ahead], frame[ahead]
    hours = say("ribbon.title_hours")
    if is_weighed(frame):
        plot_gain(behind, ax=grid[0, 0], say=say, columns=columns)
        plot_hours(behind, ax=grid[1, 0], title=hours)
        plot_hours(coming, ax=grid[1, 1], title=say("ribbon.title_expected"))
        grid[1, 0].set_ylim(0, max(ax.get_ylim()[1] for ax in grid[1]))
        grid[1, 1].set_ylim(grid[1, 0].get_ylim())
    else:
        plot_hours(behind, ax=grid[0, 0], title=hours)
    wide = columns > 5
    chance = say("ribbon.title_chance" if wide else "ribbon.title_chance_narrow")
    plot_chance(coming, ax=grid[0, 1], title=chance, say=say)
    if lanes.count:
        plot_bloom(lanes, behind.index, ax=grid[-1, 0])
        plot_bloom(lanes, coming.index, ax=grid[-1, 1])
    _time_axes(grid, behind.index, coming.index, say, every=14 if wide else 21)


def ribbon_heights(frame: pd.DataFrame, lanes: Lanes) -> list[float]:
    """Heights of the ribbon's rows. [inch]"""
    rows = [2.0, 0.75] if is_weighed(frame) else [1.35]
    return rows + ([0.1 + 0.2 * lanes.count] if lanes.count else [])


def is_weighed(frame: pd.DataFrame) -> bool:
    """Whether any gain is known in these days."""
    return bool(frame[["gain_kg", "span_kg"]].notna().any(axis=None))


def _time_axes(
    grid, behind: pd.DatetimeIndex, coming: pd.DatetimeIndex, say: Say, *, every: int
) -> None:
    for row in grid:
        row[0].set_xlim(behind[0], behind[-1] + ONE_DAY)
        row[1].set_xlim(coming[0], coming[-1] + ONE_DAY)
        row[1].spines["left"].set(color=INK, linestyle=(0, (2, 2)), linewidth=0.9)
        row[1].tick_params(axis="y", left=False, labelleft=False)
    month_axis(grid[0, 0], days=len(behind), say=say)
    day_axis(grid[0, 1], list(coming[::every]), say)
    for ax in grid[:-1].flat:
        ax.tick_params(axis="x", labelbottom=False)


def plot_gain(frame: pd.DataFrame, *, ax, say: Say, columns: int):
    """Daily gain as columns by kind of day; totals of weighings as steps of their daily mean."""
    for kind in KINDS:
        gain = frame["gain_kg"][frame["kind"] == kind]
        if len(gain):
            _columns(ax, gain * say.scale, KIND_COLOURS[kind], say(f"kinds.{kind}"))
    if frame["span_kg"].notna().any():
        _weighings(ax, _stepped(frame["span_kg"]) * say.scale, say("ribbon.weighings"))
    ax.axhline(0, color=SOFT, lw=0.6)
    ax.locator_params(axis="y", nbins=5)
    titled_legend(ax, say("ribbon.title_gain", unit=say.units), columns=columns)
    return ax


def _weighings(ax, mean: pd.Series, label: str) -> None:
    """A total over several days as what it was a day, for it tells no more than that."""
    for side, kind in ((mean.clip(upper=0), "resting"), (mean.clip(lower=0), "trickle")):
        ax.fill_between(side.index, 0, side, color=KIND_COLOURS[kind], lw=0)
    ax.plot(mean.index, mean, color=DEEP, lw=1.2, label=label)


def _stepped(values: pd.Series) -> pd.Series:
    """Each day's value at its beginning and at its end, so that a line through them is steps."""
    ends = np.column_stack([values.index, values.index + ONE_DAY]).ravel()
    return pd.Series(np.repeat(values.to_numpy(float), 2), index=pd.DatetimeIndex(ends))


def _columns(ax, heights: pd.Series, colour: str, label: str) -> None:
    """Columns of a day's width as one shape, which keeps the page small."""
    from matplotlib.dates import date2num
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    left, top = date2num(heights.index), heights.to_numpy(float)
    corners = np.stack(
        [np.column_stack([left + x, top * y]) for x, y in ((0, 0), (0, 1), (1, 1), (1, 0), (0, 0))],
        axis=1,
    )
    codes = [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY] * len(left)
    path = Path(corners.reshape(-1, 2), codes)
    ax.add_artist(PathPatch(path, fc=colour, lw=0, label=label))
    ax.update_datalim(path.vertices)  # as `add_patch` would, which looks for curves in it first
    ax.autoscale_view()


def plot_hours(frame: pd.DataFrame, *, ax, title: str):
    """Foraging hours as a soft area, their normal as a line."""
    hours, usual = _stepped(frame["foraging_h"]), _stepped(frame["usual_h"])
    ax.fill_between(hours.index, 0, hours, color=LINE, lw=0)
    ax.plot(usual.index, usual, color=SOFT, lw=1.0)
    ax.set_ylim(0, None)
    ax.locator_params(axis="y", nbins=4, integer=True)
    ax.set_title(title)
    return ax


def plot_chance(frame: pd.DataFrame, *, ax, title: str, say: Say):
    """The chance of a flow day on each day ahead, read on the right."""
    _columns(ax, frame["p_flow_day"], BLUE, "")
    ax.set_ylim(0, 1)
    right = ax.secondary_yaxis("right")
    right.set_yticks([0, 0.5, 1], [say("chance.in_ten", times=times) for times in (0, 5, 10)])
    for name, side in zip(right.get_yticklabels(), ("bottom", "center", "top"), strict=True):
        name.set_verticalalignment(side)  # no name reaches into the title or the row below
    ax.spines["right"].set_visible(False)
    ax.set_title(title)
    return ax


def fan_data(found: YardOutlook) -> pd.DataFrame:
    """Quantiles of the running total ahead, and each past year's own middle. [kg]

    Returns
    -------
    DataFrame
        Index date: a total holds at the end of its day. Columns q05 to q95, and one for each
        past year whose weather is used, named by its year: the median of its scenarios.
    """
    drawn, days = found.outlook.scenarios, found.outlook.window_days
    total = np.cumsum(drawn.gain_kg[:, :days], axis=1)
    labels = np.array(drawn.labels)[drawn.weather]
    years = {str(label): np.median(total[labels == label], axis=0) for label in sorted(set(labels))}
    middles = pd.DataFrame(years if len(years) > 1 else {}, index=drawn.dates[:days])
    return pd.concat([found.outlook.total.iloc[:days], middles], axis=1).rename_axis("date")


def year_columns(frame: pd.DataFrame) -> list[str]:
    """The columns of `fan_data` that stand for a past year's weather."""
    return [name for name in frame if not name.startswith("q")]


def plot_fan(frame: pd.DataFrame, *, ax, say: Say):
    """Bands of 9, 8 and 5 times in 10, the middle, and past years' weather as thin lines."""
    start = frame.index[0]
    q = frame.set_axis(frame.index + ONE_DAY) * say.scale  # a total stands at the end of its day
    q = pd.concat([pd.DataFrame(0.0, index=[start], columns=q.columns), q])
    ax.plot(q.index, q["q50"], color=BLUE, lw=2.2, label=say("fan.middle"), zorder=4)
    for (low, high, colour), times in zip(BANDS, (9, 8, 5), strict=True):
        label = say("chance.in_ten", times=times)
        ax.fill_between(q.index, q[low], q[high], color=colour, lw=0, label=label)
    for k, name in enumerate(year_columns(frame)):
        label = "" if k else say("fan.years")
        ax.plot(q.index, q[name], color=INK, lw=0.5, alpha=0.55, label=label, zorder=3)
    ax.axhline(0, color=SOFT, lw=0.6)
    titled_legend(ax, say("fan.title", date=say.day(start), unit=say.units))
    ax.set_xlim(q.index[0], q.index[-1])
    day_axis(ax, list(frame.index[6::7]), say, shift=1)
    return ax


def standing_data(record: Record, column: str, *, mean_days: int = 1) -> pd.DataFrame:
    """A daily quantity over the last year with its normal and the range of 8 years in 10.

    Parameters
    ----------
    record : Record
        What is known.
    column : str
        Of `record.daily`.
    mean_days : int
        The quantity is the mean of this many days, two thirds of them known. [d]

    Returns
    -------
    DataFrame
        Index date; now, mean, q10, q90 in the column's own unit.
    """
    least = max(1, mean_days * 2 // 3)
    values = record.daily[column].rolling(mean_days, min_periods=least).mean()
    last = values.iloc[-DAYS_BACK:]
    return _usual(record, values, last.index).assign(now=last).rename_axis("date")


def plot_standing(frame: pd.DataFrame, *, ax, title: str, say: Say):
    """The last year's line over the normal's band, with its last day marked."""
    known, usual = say("picture.in_8_years"), say("picture.usual")
    ax.fill_between(frame.index, frame["q10"], frame["q90"], color=LINE, lw=0, label=known)
    ax.plot(frame.index, frame["mean"], color=SOFT, lw=1.0, label=usual)
    ax.plot(frame.index, frame["now"], color=DEEP, lw=1.4, label=say("standing.last_year"))
    last = frame["now"].dropna().iloc[-1:]
    ax.plot(last.index, last, "o", color=DEEP, ms=5, clip_on=False)
    titled_legend(ax, title)
    ax.set_ylim(0, None)
    ax.margins(x=0)
    month_axis(ax, days=len(frame), say=say)
    return ax
