"""What all pictures share: inks that stay apart in grey, plain axes, figures without pyplot, saving."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from strumclock.errors import OutputError
from strumclock.report.writing import write_file

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, PALE, ACCENT, WARM = "#1d2733", "#5b6673", "#d5dae0", "#1f5f99", "#a8480c"  # dark to light also in grey
DPI = 100
FORMATS = ("png", "svg", "pdf")


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
    ax.tick_params(colors=INK, labelsize=10)


def title_of(ax: Axes, text: str) -> None:
    """A small title above the left edge."""
    ax.set_title(text, loc="left", fontsize=11, color=SOFT, pad=8)


def say(ax: Axes, text: str) -> Axes:
    """Nothing to draw: say so in place of empty axes."""
    ax.set_axis_off()
    ax.text(0.5, 0.5, text, transform=ax.transAxes, ha="center", va="center", color=SOFT, fontsize=11)
    return ax


def save(figure: Figure, to: Path | BinaryIO, ending: str) -> None:
    """Save a figure so that the same take gives the same bytes; letters in SVG become shapes, alike everywhere."""
    import matplotlib as mpl

    undated: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(ending, {})
    with mpl.rc_context({"svg.hashsalt": "strumclock", "svg.fonttype": "path"}):
        figure.savefig(to, format=ending, dpi=DPI, metadata=undated)


def write_picture(draw: Callable[[], Figure], path: str | os.PathLike[str]) -> Path:
    """Draw a figure and write it to a file, in the format of the file's ending.

    Raises
    ------
    OutputError
        For another ending than those of `FORMATS`, before anything is drawn, or where the file cannot be written.
    """
    ending = Path(path).suffix.lower().removeprefix(".")
    if ending not in FORMATS:
        raise OutputError(
            f"a picture's name must end in .{', .'.join(FORMATS)}; got {os.fspath(path)!r}; change its ending"
        )
    return write_file(path, lambda temporary: save(draw(), temporary, ending))
