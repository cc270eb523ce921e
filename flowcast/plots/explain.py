"""A season against the yard's other years: kilograms by driver, hours of flight by week and day."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flowcast.messages import Say
from flowcast.plots.style import BLUE, HONEY, INK, LINE, SOFT, month_axis, titled_legend
from flowcast.results import YardSeason


def weeks_data(found: YardSeason) -> pd.DataFrame:
    """Foraging hours of each week of the season: now, usual, low, high, by first date. [h]"""
    return found.season.weekly.rename_axis("date")


def plot_weeks(frame: pd.DataFrame, *, ax, say: Say) -> None:
    """Each week as a bar from the usual down or up to what it had, over the range of 8 years in 10.

    Parameters
    ----------
    frame : DataFrame
        From `weeks_data`.
    """
    middle = frame.index + pd.Timedelta(days=3.5)
    known, usual = say("picture.in_8_years"), say("picture.usual")
    ax.fill_between(middle, frame["low"], frame["high"], color=LINE, lw=0, step="mid", label=known)
    ax.plot(middle, frame["usual"], color=SOFT, lw=1.0, drawstyle="steps-mid", label=usual)
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
            label=say(f"weeks_figure.{name}"),
        )
    titled_legend(ax, say("weeks_figure.title"), columns=4)
    ax.set_ylim(0, None)
    ax.margins(x=0.01)
    month_axis(ax, days=7 * len(frame), say=say)


def parts_data(found: YardSeason) -> pd.DataFrame:
    """What each driver cost or brought, with its 80 % interval: kg, q10, q90. [kg]

    The last row, "rest", is what nothing here explains, without an interval.
    """
    k = found.kilograms
    frame = k.parts[["kg", "q10", "q90"]].copy()
    if k.seasons:
        frame.loc["rest"] = [k.rest_kg, np.nan, np.nan]
    return frame


def plot_parts(frame: pd.DataFrame, *, ax, say: Say) -> None:
    """A bar a driver from 0 to its part, with a line over its interval.

    Parameters
    ----------
    frame : DataFrame
        From `parts_data`, in the yard's unit.
    """
    place = np.arange(len(frame))[::-1]
    colours = [HONEY if kg >= 0 else BLUE for kg in frame["kg"]]
    ax.barh(place, frame["kg"], height=0.55, color=colours)
    ax.hlines(place, frame["q10"], frame["q90"], color=INK, lw=1.4)
    ax.axvline(0.0, color=SOFT, lw=1.0)
    ax.set_yticks(place, [say(f"parts_figure.{driver}") for driver in frame.index])
    ax.tick_params(axis="y", length=0)
    ax.set_title(say("parts_figure.title", unit=say.units))


def calendar_data(found: YardSeason) -> pd.DataFrame:
    """Foraging hours of each day of the season, now and usual, by date. [h]"""
    return found.season.daily.rename_axis("date")


def plot_calendar(frame: pd.DataFrame, *, ax, say: Say) -> None:
    """A row a month, a square a day: filled for more hours of flight than usual, open for fewer.

    Parameters
    ----------
    frame : DataFrame
        From `calendar_data`.
    """
    more = (frame["now"] - frame["usual"]).fillna(0.0)
    row = (frame.index.year - frame.index[0].year) * 12 + frame.index.month - frame.index[0].month
    size = 42.0 * (more.abs() / 6.0).clip(upper=1.0)
    for these, face, edge in ((more > 0, HONEY, HONEY), (more < 0, "none", BLUE)):
        ax.scatter(
            frame.index.day[these],
            -row[these],
            s=size[these],
            marker="s",
            facecolor=face,
            edgecolor=edge,
            linewidths=1.0,
        )
    names = {-int(r): say.month_tick(date) for r, date in zip(row, frame.index, strict=True)}
    ax.set_yticks(list(names), list(names.values()))
    ax.set_xlim(0.3, 31.7)
    ax.set_ylim(min(names) - 0.6, 0.6)
    ax.tick_params(axis="y", length=0)
    ax.set_title(say("hours_figure.title"))
