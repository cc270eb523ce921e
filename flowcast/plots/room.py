"""Room for words: titles, legends and names on axes of a language that needs more than English."""

from __future__ import annotations

import textwrap
from itertools import pairwise

from flowcast.plots.style import titled_legend

APART = 2.0  # least room between two names on an axis [point]
ROUNDS = 4  # tries at most: each breaks or thins out what still has no room


def make_room(figure, lay_out) -> None:
    """Lay the figure out; where words have no room, break or thin them out, and lay it out again."""
    lay_out()
    for _ in range(ROUNDS):
        changed = sum(_fit(ax, figure) for ax in figure.axes)
        if not changed:
            return
        lay_out()


def _fit(ax, figure) -> bool:
    """Whether anything of these axes had to be changed."""
    room = _right_of(ax, figure) - ax.bbox.x0
    return bool(_fit_legend(ax, room) + _fit_title(ax, room) + _fit_names(ax.xaxis))


def _right_of(ax, figure) -> float:
    """Where the next axes of the same row begin, or the picture ends."""
    beside = [
        other.bbox.x0
        for other in figure.axes
        if other.bbox.x0 > ax.bbox.x1 - 1
        and other.bbox.y0 < ax.bbox.y1
        and other.bbox.y1 > ax.bbox.y0
    ]
    return min([*beside, figure.bbox.x1])


def _fit_legend(ax, room: float) -> bool:
    """Fewer columns, or its own lines below the title, where it is too wide.

    Wider than its axes it would not be cut, but the axes would be made narrow for it.
    """
    legend = ax.get_legend()
    if legend is None:
        return False
    columns, title = legend._ncols, ax.get_title("left")
    wide = legend.get_window_extent().width
    if columns > 5 and _width(ax) + wide > ax.bbox.width:
        titled_legend(ax, title, columns=5)
    elif wide > min(room, 1.1 * ax.bbox.width) and columns > 1:
        titled_legend(ax, title, columns=columns - 1)
    else:
        return False
    return True


def _fit_title(ax, room: float) -> bool:
    """Lines as long as there is room for."""
    text, wide = ax.get_title("left"), _width(ax)
    if wide <= room:
        return False
    longest = max(map(len, text.split("\n")))
    lines = textwrap.fill(" ".join(text.split()), max(1, int(longest * room / wide)))
    if lines == text:
        return False
    ax._left_title.set_text(lines)
    return True


def _width(ax) -> float:
    """Of the title. [pixel]"""
    return ax._left_title.get_window_extent().width if ax.get_title("left") else 0.0


def _fit_names(axis) -> bool:
    """Every second name alone where neighbours touch."""
    names = [name for name in axis.get_ticklabels() if name.get_visible() and name.get_text()]
    boxes = [name.get_window_extent() for name in names]
    touch = any(b.x0 - a.x1 < APART for a, b in pairwise(boxes))
    if touch:
        kept = [(name.get_position()[0], name.get_text()) for name in names[::2]]
        axis.set_ticks(*map(list, zip(*kept, strict=True)))
    return touch
