"""Chances said against what came."""

from __future__ import annotations

import pandas as pd

from flowcast.plots.style import BLUE, HONEY, LINE, SOFT
from flowcast.results import Backtest

MARKS = {"past-years": ("o", BLUE), "observed": ("s", HONEY)}


def reliability_data(found: Backtest) -> pd.DataFrame:
    """said, came and cases by weather mode: what `draw_reliability` shows."""
    return found.verdict.reliability


def draw_reliability(figure, found: Backtest) -> None:
    """Chance of a flow day as said, and the share of those days that were one; dots grow with days."""
    axes, say = figure.add_subplot(), found.record.yard.say
    axes.plot([0, 1], [0, 1], color=LINE, lw=1.2, zorder=0)
    table = reliability_data(found)
    for mode in table.index.unique("weather"):
        (shape, colour), label = MARKS[mode], say(f"trust_figure.{mode}")
        part = table.loc[mode]
        size = 12 + 160 * part["cases"] / part["cases"].max()
        axes.plot(part["said"], part["came"], color=colour, lw=0.9, alpha=0.6)
        axes.scatter(part["said"], part["came"], s=size, marker=shape, color=colour, label=label)
    ticks = [0, 0.2, 0.4, 0.6, 0.8, 1]
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_ticks(ticks, [f"{10 * t:.0f}" for t in ticks])
    axes.set(xlim=(-0.03, 1.03), ylim=(-0.03, 1.03), xlabel=say("trust_figure.axis"))
    axes.set_title(say("trust_figure.title"))
    if len(table):
        axes.legend(loc="lower right", labelcolor=SOFT)
    else:
        axes.text(0.5, 0.4, say("trust_figure.no_days"), ha="center", color=SOFT)
