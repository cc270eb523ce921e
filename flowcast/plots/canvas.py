"""From axes to SVG that can stand in a page beside others."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from xml.sax.saxutils import escape

from flowcast.plots.style import PAPER, paper


def draw_svg(name: str, draw: Callable, size: tuple[float, float]) -> str:
    """Inline SVG of a picture, the same bytes every time.

    Parameters
    ----------
    name : str
        Letters and digits, unlike that of any other picture on the page: it leads every id.
    draw : function
        Takes the empty figure and fills it.
    size : (width, height)
        [inch]; the picture then scales to the place it is put in.

    Returns
    -------
    str
        One <svg> element, hidden from screen readers: whoever shows it states the finding.
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with paper():
        figure = Figure(figsize=size, layout="constrained")
        draw(figure)
        _lay_out(figure)
        out = io.StringIO()
        # Not by savefig, which draws every picture once more, unseen, before it draws it.
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    return _inline(out.getvalue(), name, size)


def _lay_out(figure) -> None:
    """Make room for titles and names once; left to itself, drawing would do it again."""
    every = (part for ax in figure.axes for part in (ax, *ax.child_axes))
    for axis in (axis for ax in every for axis in (ax.xaxis, ax.yaxis)):
        if not axis.get_label_text():
            axis.set_label_coords(0, 0)  # or all tick names are measured for the place of none
    figure.get_layout_engine().execute(figure)
    figure.set_layout_engine("none")


def draw_alone(name: str, draw: Callable, size: tuple[float, float], alt: str = "") -> str:
    """As `draw_svg`, as a file of its own: with its name spaces, paper under it, and its words."""
    spaces = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    svg = draw_svg(name, draw, size)
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
