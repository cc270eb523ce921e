"""The season ribbon, the fan of the running total, and the season against its normal.

Each picture is `plot_x(frame, ..., ax)` and has a sibling `x_data(...)` that gives the frame it
draws, so that what is shown can be checked and read as a table.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.flow.kinds import KINDS, kinds_of_day
from flowcast.plots.style import BLUE, DEEP, HONEY, INK, KIND_COLOURS, LINE, MIST, SOFT, month_axis
from flowcast.results import Record, YardOutlook
from flowcast.weather import normal_course, season_day

DAYS_BACK = 365


def ribbon_data(found: YardOutlook, days_back: int = DAYS_BACK) -> pd.DataFrame:
    """The year up to the issue date and the days ahead, one row a local date.

    Returns
    -------
    DataFrame
        gain_kg, hives_total_kg (mean a day of hand weighings over the span), kind, foraging_h,
        usual_h; ahead: q10, q50, q90, p_flow_day and the median foraging_h.
    """
    record, ahead = found.record, found.outlook.daily
    past = pd.date_range(end=record.issue_date - pd.Timedelta(days=1), periods=days_back)
    single = record.spans[record.spans["days"] == 1]["gain_kg"].reindex(past)
    frame = pd.DataFrame(
        {
            "gain_kg": single,
            "span_kg": _span_means(record).reindex(past),
            "foraging_h": record.daily["foraging_h"].reindex(past),
        }
    )
    ahead = ahead.iloc[: found.outlook.window_days]
    frame = pd.concat([frame, ahead[["q10", "q50", "q90", "p_flow_day", "foraging_h"]]])
    frame["usual_h"] = _usual(record, "foraging_h", frame.index)["mean"].to_numpy()
    frame["kind"] = kinds_of_day(
        frame["gain_kg"].to_numpy(float),
        frame["foraging_h"].to_numpy(float),
        frame["usual_h"].to_numpy(float),
        record.yard.numbers,
    )
    return frame.rename_axis("date")


def _span_means(record: Record) -> pd.Series:
    """Mean gain a day of totals over longer spans, the median over hives. [kg/d]"""
    longer = record.spans[record.spans["days"] > 1]
    days = [pd.date_range(start, periods=int(n)) for start, n in longer["days"].items()]
    if not days:
        return pd.Series(dtype=float)
    mean = np.repeat((longer["gain_kg"] / longer["days"]).to_numpy(), longer["days"].astype(int))
    return pd.Series(mean, index=np.concatenate(days)).groupby(level=0).median()


def _usual(record: Record, column: str, dates: pd.DatetimeIndex) -> pd.DataFrame:
    start = record.yard.place.season_start
    course = normal_course(record.daily, column, start, record.yard.numbers)
    return course.loc[season_day(dates, start)].set_index(dates)


def plot_ribbon(frame: pd.DataFrame, issue_date, blooms, *, axes, scale: float, unit: str) -> None:
    """Rows on one time axis: gain by kind of day, foraging hours, bloom and chance of flow.

    Parameters
    ----------
    axes : three Axes, top to bottom, or the lower two of them where no gain is known
    blooms : list of (name, [(first, last), ...]), dates of stated bloom
    scale, unit : the yard's unit of weight and how many of it make a kilogram
    """
    for ax in axes[:-2]:
        _gain_row(ax, frame, scale, unit)
    _hours_row(axes[-2], frame)
    _chance_row(axes[-1], frame, issue_date, blooms)
    for ax in axes:
        ax.axvline(issue_date, color=INK, lw=0.8, ls=(0, (2, 2)))
        ax.set_xlim(frame.index[0], frame.index[-1] + pd.Timedelta(days=1))
        month_axis(ax, days=len(frame))
    for ax in axes[:-1]:
        ax.tick_params(labelbottom=False)


def _gain_row(ax, frame: pd.DataFrame, scale: float, unit: str) -> None:
    for kind in KINDS:
        rows = frame[frame["kind"] == kind]
        if len(rows):
            ax.bar(
                rows.index,
                rows["gain_kg"] * scale,
                width=1.0,
                color=KIND_COLOURS[kind],
                label=kind,
                align="edge",
            )
    if frame["span_kg"].notna().any():
        ax.step(
            frame.index,
            frame["span_kg"] * scale,
            where="post",
            color=HONEY,
            lw=1.4,
            label="weighings, mean a day",
        )
    if frame["q50"].notna().any():
        ax.fill_between(
            frame.index,
            frame["q10"] * scale,
            frame["q90"] * scale,
            color=MIST,
            lw=0,
            alpha=0.7,
            label="ahead, 8 in 10",
        )
        ax.plot(frame.index, frame["q50"] * scale, color=BLUE, lw=1.3, label="ahead, middle")
    ax.axhline(0, color=SOFT, lw=0.6)
    ax.set_ylabel(f"gain [{unit}/day]")
    _legend_above(ax)


def _hours_row(ax, frame: pd.DataFrame) -> None:
    ax.fill_between(frame.index, 0, frame["foraging_h"], step="post", color=LINE, lw=0)
    ax.plot(frame.index, frame["usual_h"], color=SOFT, lw=1.0)
    ax.set_ylabel("foraging\n[hours/day]")
    ax.set_ylim(0, None)


def _chance_row(ax, frame: pd.DataFrame, issue_date, blooms) -> None:
    ahead = frame[frame["p_flow_day"].notna()]
    ax.fill_between(ahead.index, 0, ahead["p_flow_day"], step="post", color=BLUE, lw=0, alpha=0.85)
    ax.set_ylim(0, 1)
    ax.set_yticks([0, 0.5, 1], ["none", "5 in 10", "sure"])
    ax.set_ylabel("chance of\na flow day")
    for k, (name, spans) in enumerate(blooms):
        y = 0.82 - 0.8 * k / max(len(blooms), 1)  # a line each, its name above it
        for first, last in spans:
            first, last = max(first, frame.index[0]), min(last, issue_date)
            if last > first:
                ax.plot([first, last], [y, y], color=HONEY, lw=2.4, solid_capstyle="butt")
                ax.text(first, y + 0.03, name, va="bottom", ha="left", fontsize=7, color=INK)


def fan_data(found: YardOutlook) -> pd.DataFrame:
    """Quantiles of the running total ahead, and each past year's own middle. [kg]"""
    drawn = found.outlook.scenarios
    days = found.outlook.window_days
    total = np.cumsum(drawn.gain_kg[:, :days], axis=1)
    labels = np.array(drawn.labels)[drawn.weather]
    years = {str(label): np.median(total[labels == label], axis=0) for label in sorted(set(labels))}
    return pd.concat(
        [found.outlook.total.iloc[:days], pd.DataFrame(years, index=drawn.dates[:days])], axis=1
    ).rename_axis("date")


def plot_fan(frame: pd.DataFrame, *, ax, scale: float, unit: str):
    """Bands of 9, 8 and 5 times in 10, the middle, and past years' weather as thin lines."""
    day = frame.index + pd.Timedelta(days=1)  # a total stands at the end of its day
    q = frame * scale
    for low, high, alpha, label in (
        ("q05", "q95", 0.25, "9 in 10"),
        ("q10", "q90", 0.4, "8 in 10"),
        ("q25", "q75", 0.75, "5 in 10"),
    ):
        ax.fill_between(day, q[low], q[high], color=MIST, lw=0, alpha=alpha, label=label)
    for name in frame.columns:
        if not name.startswith("q"):
            ax.plot(day, q[name], color=SOFT, lw=0.5, alpha=0.6)
    ax.plot(day, q["q50"], color=BLUE, lw=2.0, label="middle")
    ax.axhline(0, color=SOFT, lw=0.6)
    ax.set_ylabel(f"gain from today on [{unit}]")
    _legend_above(ax)
    month_axis(ax, days=len(frame))
    ax.margins(x=0)
    return ax


def _legend_above(ax) -> None:
    ax.legend(
        ncols=9, loc="lower left", bbox_to_anchor=(0, 1.0), handlelength=1.2, columnspacing=1.0
    )


def standing_data(record: Record, column: str, *, mean_days: int = 1) -> pd.DataFrame:
    """A daily quantity over the last year with its normal and the range of 8 years in 10."""
    daily = record.daily.assign(
        shown=record.daily[column].rolling(mean_days, min_periods=max(1, mean_days * 2 // 3)).mean()
    )
    last = daily["shown"].iloc[-DAYS_BACK:]
    held = Record(**{**record.__dict__, "daily": daily})
    usual = _usual(held, "shown", last.index)
    return usual.assign(now=last).rename_axis("date")


def plot_standing(frame: pd.DataFrame, *, ax, unit: str, scale: float = 1.0):
    """This year's line over the normal's band."""
    ax.fill_between(
        frame.index,
        frame["q10"] * scale,
        frame["q90"] * scale,
        color=LINE,
        lw=0,
        label="8 years in 10",
    )
    ax.plot(frame.index, frame["mean"] * scale, color=SOFT, lw=1.0, label="usual")
    ax.plot(frame.index, frame["now"] * scale, color=DEEP, lw=1.4, label="this year")
    ax.set_ylabel(unit)
    ax.set_ylim(0, None)
    ax.margins(x=0)
    _legend_above(ax)
    month_axis(ax, days=len(frame))
    return ax
