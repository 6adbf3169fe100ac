"""Two takes beside each other as a picture: each figure of both with its interval, and what their difference says."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.comparing import figure_words, told
from strumclock.report.drawing import (
    ACCENT,
    INK,
    LABEL_PT,
    PALE,
    SMALL_PT,
    TEXT_PT,
    WARM,
    WIDTH_IN,
    drawable,
    new_figure,
    plain_axes,
    say,
    write_picture,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from strumclock.pipeline.comparison import Comparison, Difference

ROW_IN, FRAME_IN = 1.2, 0.9
"""Height of a figure's row, and what title and margins take, inches."""


def plot_comparison(result: Comparison) -> Figure:
    """A row for each compared figure: A above B, dot and 95 % interval, and in words whether they differ.

    A is a filled dot, B an open square, so that they stay apart without colour.

    Parameters
    ----------
    result : Comparison

    Returns
    -------
    Figure
        Save it with ``figure.savefig``.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> figure = sc.plot_comparison(sc.compare(example_take(), example_take()))
    >>> [axes.get_xlabel() for axes in figure.axes]
    ['ms', 'ms', 'ms', 'ms/min', 'ms']
    """
    rows = result.differences
    height_in = FRAME_IN + ROW_IN * max(len(rows), 1)
    figure = new_figure(WIDTH_IN, height_in)
    takes = (("●  A", result.path_a, result.bpm_a), ("□  B", result.path_b, result.bpm_b))
    names = []
    for letter, path, bpm in takes:
        at = f", {words.bpm(bpm)} bpm" if bpm else ""
        names.append(f"{letter}: {Path(path).name if path else 'array'}{at}")
    figure.text(
        0.03, 1 - 0.28 / height_in, drawable("      ".join(names)), fontsize=LABEL_PT, color=INK, parse_math=False
    )
    if not rows:
        reasons = list(dict.fromkeys(why.reason for why in result.absent.values()))
        say(figure.add_axes((0.05, 0.1, 0.9, 0.6)), words.sentence(reasons[0]) if reasons else "")
    for i, row in enumerate(rows):
        bottom = (height_in - FRAME_IN - ROW_IN * (i + 1) + 0.55) / height_in
        _row(figure, row, bottom, (ROW_IN - 0.62) / height_in)
    return figure


def _row(figure: Figure, row: Difference, bottom: float, height: float) -> None:
    """One figure: its name and verdict on the left, the two intervals on the right."""
    label, unit, signed = figure_words(row.figure)
    said, colour = told(row), WARM if row.shown and row.beyond_usual is not False else INK
    figure.text(0.03, bottom + 0.62 * height, label, fontsize=TEXT_PT, color=INK)
    figure.text(0.03, bottom + 0.02 * height, said, fontsize=LABEL_PT, color=colour)
    axes = figure.add_axes((0.42, bottom, 0.54, height))
    plain_axes(axes)
    axes.spines["left"].set_visible(False)
    axes.set_yticks([])
    if signed:
        axes.axvline(0, color=PALE, lw=1.2, zorder=0)
    for y, estimate, marker, face in ((1.0, row.a, "o", ACCENT), (0.0, row.b, "s", "white")):
        axes.plot([estimate.low, estimate.high], [y, y], color=ACCENT, lw=2, solid_capstyle="butt")
        axes.plot([estimate.value], [y], marker=marker, mfc=face, mec=ACCENT, mew=1.6, ms=7)
    axes.set_ylim(-0.6, 1.6)
    axes.set_xlabel(unit, fontsize=SMALL_PT, color=INK, labelpad=1)
    axes.tick_params(labelsize=SMALL_PT)


def write_comparison_plot(result: Comparison, path: str | os.PathLike[str]) -> Path:
    """Write the picture (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_comparison(result), path)
