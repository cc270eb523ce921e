"""The look of every picture: paper, ink, honey and a deep blue; told apart in grey as well."""

from __future__ import annotations

from contextlib import contextmanager

INK, SOFT, LINE = "#2b2a27", "#6f6a60", "#d8d0c0"
HONEY, DEEP, BLUE, MIST = "#b8791b", "#6b3f06", "#2f5d8a", "#a9bccd"

# The darker, the more came in; cool greys for days on which nothing could.
KIND_COLOURS = {
    "resting": "#dedacf",
    "rained off": "#a9bccd",
    "loss": "#8a8f93",
    "trickle": "#e8cd98",
    "moderate": "#d29c3f",
    "strong": "#9a6213",
    "exceptional": "#4f3005",
}

PARAMETERS = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9,
    "text.color": INK,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": SOFT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 9.5,
    "axes.titlelocation": "left",
    "axes.titlecolor": INK,
    "axes.linewidth": 0.6,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "savefig.facecolor": "none",
    "legend.frameon": False,
    "legend.fontsize": 8,
    "svg.fonttype": "path",
    "svg.hashsalt": "flowcast",
    "path.simplify_threshold": 0.6,
}


@contextmanager
def paper():
    """Pictures drawn inside look like this; nothing outside is touched."""
    import matplotlib as mpl

    with mpl.rc_context(PARAMETERS):
        yield


def month_axis(ax, *, days: int) -> None:
    """Months named on the time axis, sparser for longer spans."""
    from matplotlib.dates import AutoDateLocator, DateFormatter, DayLocator, MonthLocator

    if days <= 60:
        ax.xaxis.set_major_locator(DayLocator(bymonthday=(1, 8, 15, 22)))
        ax.xaxis.set_major_formatter(DateFormatter("%-d %b"))
    elif days <= 800:
        ax.xaxis.set_major_locator(MonthLocator(interval=1 if days <= 200 else 2))
        ax.xaxis.set_major_formatter(DateFormatter("%b"))
    else:
        ax.xaxis.set_major_locator(AutoDateLocator())
        ax.xaxis.set_major_formatter(DateFormatter("%Y"))
