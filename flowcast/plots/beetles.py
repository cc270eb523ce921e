"""Beetle breeding weather and standing beetles, behind and ahead, against the yard's usual year."""

from __future__ import annotations

import pandas as pd

from flowcast.messages import Say
from flowcast.plots.style import BLUE, HEATH, LINE, SOFT, month_axis, titled_legend
from flowcast.results import YardBeetles

BANDS = (("pressure", BLUE), ("stock", HEATH))
DAYS_BACK = 240


def beetle_data(found: YardBeetles) -> pd.DataFrame:
    """The months up to the issue date and the weeks ahead.

    Returns
    -------
    DataFrame
        Index date; pressure_q10, _q50, _q90, stock_q10, _q50, _q90 and usual, usual_q10, usual_q90 of
        the pressure. [1]
    """
    course = found.outlook.course
    first = found.record.issue_date - pd.Timedelta(days=DAYS_BACK)
    return course.loc[first:].rename_axis("date")


def plot_beetles(frame: pd.DataFrame, *, figure, issue_date: pd.Timestamp, edges, say: Say) -> None:
    """Two rows on one time: breeding weather over the usual range, and the beetles that lag it.

    Parameters
    ----------
    frame : DataFrame
        From `beetle_data`.
    edges : (moderate, high)
        Where moderate and high begin. [1]
    """
    for ax, (name, colour) in zip(
        figure.subplots(2, 1, sharex=True, height_ratios=(3, 2)), BANDS, strict=True
    ):
        low, middle, high = (frame[f"{name}_q{q}"] for q in (10, 50, 90))
        if name == "pressure" and frame["usual"].notna().any():
            usual = [frame[k] for k in ("usual_q10", "usual_q90")]
            ax.fill_between(frame.index, *usual, color=LINE, lw=0, label=say("picture.in_8_years"))
            ax.plot(frame.index, frame["usual"], color=SOFT, lw=1.0, label=say("picture.usual"))
        ax.fill_between(
            frame.index, low, high, color=colour, alpha=0.3, lw=0, label=say.chance(0.8)
        )
        ax.plot(frame.index, middle, color=colour, lw=1.6, label=say("picture.middle"))
        ax.axvline(issue_date, color=SOFT, lw=0.8, ls=(0, (4, 3)))
        _bands(ax, edges, say, top=max(1.0, float(high.max()) * 1.05))
        titled_legend(ax, say(f"beetle_figure.{name}"), columns=4)
    month_axis(ax, days=len(frame), say=say)
    ax.margins(x=0)


def _bands(ax, edges, say: Say, top: float) -> None:
    """Low, moderate and high named on the axis, the edges as thin lines."""
    ax.set_ylim(0, top)
    for edge in edges:
        ax.axhline(edge, color=SOFT, lw=0.5, ls=(0, (1, 2)))
    moderate, high = edges
    ax.set_yticks([moderate / 2, (moderate + high) / 2, (high + 1) / 2])
    ax.set_yticklabels([say(f"beetle_figure.{name}") for name in ("low", "moderate", "high")])
    ax.tick_params(axis="y", length=0)
