"""What all pictures share: inks that stay apart in grey, plain axes, figures without pyplot, saving."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from strumclock.errors import JOINERS, OutputError, printable
from strumclock.report.writing import check_outputs
from strumclock.saving import replacing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, PALE, ACCENT, WARM = "#1d2733", "#5b6673", "#d5dae0", "#1f5f99", "#a8480c"  # dark to light also in grey
DPI = 150
"""Dots an inch: a picture of 8 inches is 1200 wide, and its letters can still be read where it is shown 400 wide."""
WIDTH_IN = 8.0
TEXT_PT, LABEL_PT, SMALL_PT, TITLE_PT = 12, 11, 10, 18
"""Sizes of letters: sentences; what is written at axes and marks; the same where there are many; a picture's head."""
FORMATS = ("png", "svg", "pdf")
MISSING = "\N{WHITE SQUARE}"


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty figure that draws itself without a screen."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def axes_or_new(ax: Axes | None, width_in: float, height_in: float) -> Axes:
    """The axes that the caller gave, or those of a new figure."""
    if ax is not None:
        return ax
    return new_figure(width_in, height_in).add_axes((0.16, 0.2, 0.8, 0.74))


def plain_axes(ax: Axes) -> None:
    """Two thin spines, dark ticks."""
    for name in ("top", "right"):
        ax.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        ax.spines[name].set_color(SOFT)
    ax.tick_params(colors=INK, labelsize=LABEL_PT)


def drawable(text: str) -> str:
    """A text as the pictures' font can draw it: what it lacks is a box, control characters are escaped.

    Whoever draws it says ``parse_math=False`` too: a name with two dollar signs is no formula.
    """
    known = _characters()
    return "\n".join(
        "".join(c if ord(c) in known else MISSING for c in printable(line) if c not in JOINERS)
        for line in text.split("\n")
    )


@cache
def _characters() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())  # matplotlib brings this font along


def title_of(ax: Axes, text: str, *, pad: float = 8) -> None:
    """A small title above the left edge, `pad` points above the axes."""
    ax.set_title(drawable(text), loc="left", fontsize=LABEL_PT, color=SOFT, pad=pad, parse_math=False)


def say(ax: Axes, text: str) -> Axes:
    """Nothing to draw: say so in place of empty axes."""
    ax.set_axis_off()
    ax.text(0.5, 0.5, drawable(text), transform=ax.transAxes, ha="center", va="center", color=SOFT, fontsize=TEXT_PT)
    return ax


def save(figure: Figure, to: Path | BinaryIO, ending: str) -> None:
    """Save a figure so that the same take gives the same bytes; letters in SVG become shapes, alike everywhere."""
    import matplotlib as mpl

    undated: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(ending, {})
    with mpl.rc_context({"svg.hashsalt": "strumclock", "svg.fonttype": "path"}):
        figure.savefig(to, format=ending, dpi=DPI, metadata=undated)


def check_picture_name(path: str | os.PathLike[str]) -> str:
    """The format that a picture's name asks for by its ending.

    Raises
    ------
    OutputError
        For another ending than those of `FORMATS`.
    """
    ending = Path(path).suffix.lower().removeprefix(".")
    if ending not in FORMATS:
        raise OutputError(
            f"a picture's name must end in .{', .'.join(FORMATS)}; got {os.fspath(path)!r}; change its ending"
        )
    return ending


def write_picture(draw: Callable[[], Figure], path: str | os.PathLike[str], *, take: str | None = None) -> Path:
    """Draw a figure and write it to a file, in the format of the file's ending.

    Parameters
    ----------
    draw : callable
    path : path
    take : str, optional
        The recording that is shown, which must not be written over.

    Raises
    ------
    OutputError
        For another ending than those of `FORMATS`, before anything is drawn; where the file cannot be written, or must
        not be: see `strumclock.report.writing`.
    """
    ending = check_picture_name(path)
    check_outputs({"the picture": path}, reads=[take] if take else [])
    with replacing(path) as temporary:
        save(draw(), temporary, ending)
    return Path(path)
