"""Weeks of a season against the yard's other years: hours of flight, and what was lost to what."""

from __future__ import annotations

import pandas as pd

from flowcast.plots.style import BLUE, HONEY, LINE, SOFT, month_axis, titled_legend
from flowcast.results import YardSeason


def weeks_data(found: YardSeason) -> pd.DataFrame:
    """Foraging hours of each week of the season: now, usual, low, high, by first date. [h]"""
    return found.season.weekly.rename_axis("date")


def plot_weeks(frame: pd.DataFrame, *, ax) -> None:
    """Each week as a bar from the usual down or up to what it had, over the range of 8 years in 10.

    Parameters
    ----------
    frame : DataFrame
        From `weeks_data`.
    """
    middle = frame.index + pd.Timedelta(days=3.5)
    ax.fill_between(
        middle, frame["low"], frame["high"], color=LINE, lw=0, step="mid", label="8 years in 10"
    )
    ax.plot(middle, frame["usual"], color=SOFT, lw=1.0, drawstyle="steps-mid", label="usual")
    for name, colour, these in (
        ("fewer", BLUE, frame["now"] < frame["usual"]),
        ("more", HONEY, frame["now"] >= frame["usual"]),
    ):
        part = frame[these]
        ax.bar(
            part.index + pd.Timedelta(days=3.5),
            part["now"] - part["usual"],
            bottom=part["usual"],
            width=5.0,
            color=colour,
            label=name,
        )
    titled_legend(ax, "Hours of flight, week by week", columns=4)
    ax.set_ylim(0, None)
    ax.margins(x=0.01)
    month_axis(ax, days=7 * len(frame))
