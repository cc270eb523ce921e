"""From axes to SVG that can stand in a page beside others."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from xml.sax.saxutils import escape

from flowcast.messages import Say
from flowcast.plots.room import make_room
from flowcast.plots.style import PAPER, paper


def draw_svg(
    name: str, draw: Callable, size: tuple[float, float], say: Say, *, day_axes: int = 0
) -> str:
    """Inline SVG of a picture, the same bytes every time.

    Parameters
    ----------
    name : str
        Letters and digits, unlike that of any other picture on the page: it leads every id.
    draw : function
        Takes the empty figure and fills it.
    size : (width, height)
        [inch]; the picture then scales to the place it is put in.
    say : Say
        How figures on the axes are written.
    day_axes : int
        Along how many of its axes, the first ones, days are to be found.

    Returns
    -------
    str
        One <svg> element, hidden from screen readers: whoever shows it states the finding. Where
        days are to be found, data-days says of each axes "left right top bottom first count;": its
        place, down to the picture's lowest axes, its first day since 1970 and how many it holds.
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with paper():
        figure = Figure(figsize=size, layout="constrained")
        draw(figure)
        _speak(figure, say)
        _lay_out(figure)
        days = ";".join(_days_of(ax, figure, size) for ax in figure.axes[:day_axes])
        out = io.StringIO()
        # Not by savefig, which draws every picture once more, unseen, before it draws it.
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    svg = _inline(out.getvalue(), name, size)
    return svg.replace("<svg", f'<svg data-days="{days}"', 1) if days else svg


def _speak(figure, say: Say) -> None:
    """Let every axis of plain figures write them as the yard's language does."""
    from matplotlib.ticker import ScalarFormatter

    class Spoken(ScalarFormatter):
        def __call__(self, x, pos=None):
            """The figure at a tick."""
            return say.tick_figure(super().__call__(x, pos))

    for axis in _axes_of(figure):
        if type(axis.get_major_formatter()) is ScalarFormatter:
            axis.set_major_formatter(Spoken())


def _axes_of(figure) -> list:
    """Both axes of every part of the picture."""
    every = (part for ax in figure.axes for part in (ax, *ax.child_axes))
    return [axis for ax in every for axis in (ax.xaxis, ax.yaxis)]


def _days_of(ax, figure, size: tuple[float, float]) -> str:
    """Where an axes and those below it stand [point], its first day since 1970, and how many it holds."""
    place, (first, last) = ax.get_position(), ax.get_xlim()
    wide, high = (72 * side for side in size)
    lowest = min(part.get_position().y0 for part in figure.axes)
    edges = (place.x0 * wide, place.x1 * wide, (1 - place.y1) * high, (1 - lowest) * high)
    return " ".join([*(f"{edge:.2f}" for edge in edges), f"{first:.0f}", f"{last - first:.0f}"])


def _lay_out(figure) -> None:
    """Make room for titles and names once; left to itself, drawing would do it again."""
    for axis in _axes_of(figure):
        if not axis.get_label_text():
            axis.set_label_coords(0, 0)  # or all tick names are measured for the place of none
    make_room(figure, lambda: figure.get_layout_engine().execute(figure))
    figure.set_layout_engine("none")


def draw_alone(
    name: str, draw: Callable, size: tuple[float, float], say: Say, alt: str = ""
) -> str:
    """As `draw_svg`, as a file of its own: with its name spaces, paper under it, and its words."""
    spaces = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    svg = draw_svg(name, draw, size, say)
    svg = svg.replace("<svg", f'<svg {spaces} style="background:{PAPER}"', 1)
    if not alt:
        return svg
    svg = svg.replace('aria-hidden="true" focusable="false"', 'role="img"', 1)
    return svg.replace(">", f"><title>{escape(alt)}</title>", 1)


def _inline(text: str, name: str, size: tuple[float, float]) -> str:
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<!--.*?-->", "", text, flags=re.DOTALL)
    for part in ("metadata", "style"):  # a style in a picture would reach the whole page
        text = re.sub(rf"\s*<{part}\b.*?</{part}>", "", text, count=1, flags=re.DOTALL)
    text = re.sub(r'(\sid="|href="#|url\(#)', rf"\g<1>{name}-", text)
    text = re.sub(r'\sd="[^"]*"', _two_digits, text)
    head = (
        f'<svg viewBox="0 0 {size[0] * 72:g} {size[1] * 72:g}" aria-hidden="true" focusable="false"'
    )
    return re.sub(r"<svg[^>]*", head, text, count=1)


def _two_digits(path: re.Match) -> str:
    """A hundredth of a point is finer than any screen or printer."""
    return re.sub(r"(\.\d\d)\d+", r"\1", path[0]).replace(" \n", "\n")
