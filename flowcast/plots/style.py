"""The look of every picture: paper, ink, honey and a deep blue; told apart in grey as well."""

from __future__ import annotations

import warnings
from contextlib import contextmanager

import pandas as pd

from flowcast.messages import Say

PAPER = "#fbf8f1"
INK, SOFT, LINE = "#2b2a27", "#6a655b", "#ddd5c5"
HONEY, DEEP, BLUE, MIST, HEATH = "#b8791b", "#6b3f06", "#2f5d8a", "#a9bccd", "#86668c"

# Two runs of falling lightness, for days that cost (below the line) and days that brought: a
# reader who sees no colour tells them apart by shade and by the side of the line they stand on.
KIND_COLOURS = {
    "resting": "#d9d5ca",
    "rained off": "#a3b8cb",
    "loss": "#83888c",
    "trickle": "#ecd3a1",
    "moderate": "#d29c3f",
    "strong": "#9a6213",
    "exceptional": "#4f3005",
}

PARAMETERS = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],  # matplotlib brings it: the same lengths everywhere
    "font.size": 9,
    "text.color": INK,
    "text.parse_math": False,  # a name with two dollar signs is a name
    "axes.edgecolor": SOFT,
    "axes.labelcolor": SOFT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.titlecolor": INK,
    "axes.titlepad": 5,
    "axes.titley": 1.0,  # no ticks stand above an axes, so nothing need be measured for its place
    "axes.linewidth": 0.6,
    "axes.unicode_minus": True,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 3,
    "ytick.major.size": 3,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "savefig.facecolor": "none",
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "legend.borderpad": 0.1,
    "legend.borderaxespad": 0.1,
    "legend.handlelength": 1.1,
    "legend.handletextpad": 0.4,
    "legend.columnspacing": 0.9,
    "svg.fonttype": "none",
    "svg.hashsalt": "flowcast",
    "path.simplify_threshold": 0.6,
}


@contextmanager
def paper():
    """Pictures drawn inside look like this; nothing outside is touched."""
    import matplotlib as mpl

    with mpl.rc_context(PARAMETERS), _letters_lacking():
        # Words that leave no room are broken (`room`), and the picture is laid out again.
        warnings.filterwarnings("ignore", message="constrained_layout not applied")
        yield


@contextmanager
def _letters_lacking():
    """The browser draws the letters, so what the measuring font lacks is no loss."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"(?s)Glyph .* missing from")
        yield


def width_of(text: str, size: float) -> float:
    """How wide a text in letters of this size [point] is, as pictures are laid out. [point]"""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    letters = FontProperties(family=PARAMETERS["font.sans-serif"], size=size)
    with _letters_lacking():
        return text_to_path.get_text_width_height_descent(text, letters, ismath=False)[0]


def titled_legend(ax, title: str, *, columns: int = 3) -> None:
    """A title, and the legend between it and the axes; on a wide one at the title's other end."""
    names = ax.get_legend_handles_labels()[1]
    wide = columns > 5
    side, x = ("right", 1.0) if wide else ("left", 0.0)
    ax.legend(ncols=columns, loc=f"lower {side}", bbox_to_anchor=(x, 1.0))
    rows = 0 if wide else -(-len(names) // columns)
    ax.set_title(title, pad=5 + 12.5 * rows)


def month_axis(ax, *, days: int, say: Say) -> None:
    """Months named on the time axis, with the year where it begins; sparser for longer spans."""
    from matplotlib.dates import MonthLocator, YearLocator

    if days > 800:
        ax.xaxis.set_major_locator(YearLocator())
        ax.xaxis.set_major_formatter(lambda x, _: f"{_date(x):%Y}")
        return
    ax.xaxis.set_major_locator(MonthLocator(interval=1 if days <= 200 else 2))
    ax.xaxis.set_major_formatter(lambda x, _: _month_name(_date(x), say))


def day_axis(ax, days: list[pd.Timestamp], say: Say, *, shift: int = 0) -> None:
    """These days named on the time axis, each mark `shift` days after its day begins."""
    from matplotlib.dates import date2num
    from matplotlib.ticker import FixedFormatter, FixedLocator

    ax.xaxis.set_major_locator(FixedLocator([date2num(d) + shift for d in days]))
    ax.xaxis.set_major_formatter(FixedFormatter([say.tick(d) for d in days]))


def _month_name(date: pd.Timestamp, say: Say) -> str:
    # Every second month may be skipped, so February carries the year where January is.
    name = say.month_tick(date)
    return f"{name}\n{date:%Y}" if date.month <= 2 else name


def _date(x: float) -> pd.Timestamp:
    from matplotlib.dates import num2date

    return pd.Timestamp(num2date(x).date())
