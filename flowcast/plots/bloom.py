"""Stated bloom as thin named bars, packed so that no two names meet."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from flowcast.plots.style import HEATH, INK, width_of
from flowcast.results import YardOutlook

LONGEST_NAME = 26
NAME_PT, APART_PT = 8.5, 6.0  # a name's letters, and least room between two names [point]
SEAM_PT = 25.0  # between the days behind and those ahead, where pictures are laid out [point]
ONE_DAY = pd.Timedelta(days=1)


def bloom_data(found: YardOutlook, dates: pd.DatetimeIndex) -> pd.DataFrame:
    """Bloom as the keeper stated it, in every year that these dates touch.

    Returns
    -------
    DataFrame
        plant, first, last (local dates, both in bloom, cut to `dates`), irregular; in the order
        in which bloom begins.
    """
    rows = [
        (forage.name, max(first, dates[0]), min(last, dates[-1]), forage.irregular)
        for forage in found.record.yard.forage
        for year in range(dates[0].year - 1, dates[-1].year + 1)
        for first, last in [_bloom_of(forage, year)]
        if last >= dates[0] and first <= dates[-1]
    ]
    table = pd.DataFrame(rows, columns=["plant", "first", "last", "irregular"])
    return table.sort_values(["first", "plant"], kind="stable", ignore_index=True)


def _bloom_of(forage, year: int) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First and last day of the bloom that begins in this year; it may span the new year."""
    first, last = _in_year(year, forage.from_), _in_year(year, forage.to)
    return first, last if last >= first else _in_year(year + 1, forage.to)


def _in_year(year: int, month_day: str) -> pd.Timestamp:
    # 29 February is 28 February in other years.
    return pd.Timestamp(f"{year}-{month_day if month_day != '02-29' else '02-28'}")


@dataclass(frozen=True)
class Lanes:
    """Bars of bloom with the lane each runs in, on a ribbon whose past takes `past_share`.

    bars: as `bloom_data`, with lane (0 on top) and at_end: whether the name ends with the bar.
    """

    bars: pd.DataFrame
    count: int
    issue_date: pd.Timestamp
    past_share: float


def pack_lanes(
    bloom: pd.DataFrame,
    dates: pd.DatetimeIndex,
    issue_date: pd.Timestamp,
    *,
    past_share: float,
    width: float,
) -> Lanes:
    """Give each bar the first lane in which neither it nor its name meets another.

    Parameters
    ----------
    bloom : DataFrame
        From `bloom_data`.
    dates : DatetimeIndex
        The ribbon's days.
    past_share : float
        Share of the days' width up to the issue date; the days ahead have the rest.
    width : float
        From the ribbon's first day to its last, the seam between its two parts included. [point]
    """
    ends: list[float] = []
    lanes, at_end = [], []
    for bar in bloom.itertuples():
        left, right = (
            _place(day, dates, issue_date, past_share, width)
            for day in (bar.first, bar.last + ONE_DAY)
        )
        length = width_of(_short(bar.plant), NAME_PT) + APART_PT
        over = left + length > width
        low, high = (
            (min(left, right - length), right) if over else (left, max(right, left + length))
        )
        lane = next((k for k, end in enumerate(ends) if end <= low), len(ends))
        ends[lane : lane + 1] = [high]
        lanes.append(lane)
        at_end.append(over)
    return Lanes(bloom.assign(lane=lanes, at_end=at_end), len(ends), issue_date, past_share)


def _place(date, dates: pd.DatetimeIndex, issue_date, past_share: float, width: float) -> float:
    """How far from the ribbon's left end a date lies. [point]"""
    both = width - SEAM_PT
    if date <= issue_date:
        return past_share * both * ((date - dates[0]) / (issue_date - dates[0]))
    ahead = (date - issue_date) / (dates[-1] + ONE_DAY - issue_date)
    return past_share * both + SEAM_PT + (1 - past_share) * both * ahead


def plot_bloom(lanes: Lanes, dates: pd.DatetimeIndex, *, ax):
    """The bars that lie in these dates; each name stands once, where its bar begins or ends."""
    for bar in lanes.bars.itertuples():
        first, last = max(bar.first, dates[0]), min(bar.last, dates[-1]) + ONE_DAY
        if first < last:
            line = {"lw": 2.6, "solid_capstyle": "butt", "dash_capstyle": "butt"}
            style = (0, (2, 0.8)) if bar.irregular else "-"
            ax.plot([first, last], [bar.lane] * 2, color=HEATH, ls=style, **line)
        if dates[0] <= (bar.last if bar.at_end else bar.first) <= dates[-1]:
            _name(ax, bar, last if bar.at_end else first)
    ax.set_ylim(lanes.count - 0.6, -0.95)
    ax.tick_params(axis="y", left=False, labelleft=False)
    ax.spines["left"].set_visible(False)
    return ax


def _name(ax, bar, x: pd.Timestamp) -> None:
    text = ax.text(x, bar.lane - 0.2, _short(bar.plant), fontsize=NAME_PT, color=INK, va="bottom")
    text.set_horizontalalignment("right" if bar.at_end else "left")
    text.set_in_layout(False)  # a name may reach into the next axes, which must not make room


def _short(name: str) -> str:
    """A name on one line, cut where it is very long."""
    name = " ".join(name.split())
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"
