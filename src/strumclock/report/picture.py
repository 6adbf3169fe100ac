"""The picture that is sent to a student: headline, every strum, the means, what they are made of, and the words."""

from __future__ import annotations

import os
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.report.drawing import (
    ACCENT,
    INK,
    PALE,
    SOFT,
    drawable,
    new_figure,
    plain_axes,
    say,
    title_of,
    write_picture,
)
from strumclock.report.panels import panels
from strumclock.report.plots import plot_beats, plot_offsets, shown_places
from strumclock.report.sentences import headline, lines, title

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from strumclock.pipeline import Measurement

WIDTH_IN = 12.0
_PLOTS_IN = 3.4  # height of the two main plots
_PANELS_IN = 1.5  # height of the panels below them
_LINE_IN = 0.22  # from one line of words to the next
_MOST_LINES = 14  # of words below the picture
_WRAP, _HEADLINE_WRAP = 130, 76  # characters that fit the width
_GUTTER = 0.09  # of the width, between panels: room for the labels on their left
_NOT_BELOW = ("Stroke", "Correcting", "Pitch", "Found out", "Note", "Left aside")  # they are in the summary


def plot_take(measurement: Measurement, *, with_words: bool = True, everything: bool = False) -> Figure:
    """Compose the picture that is sent to a student: headline, every strum, the beats, and the words.

    Parameters
    ----------
    measurement : Measurement
    with_words : bool
        Headline and sentences too; without them it is for a place that has them already, such as the page.
    everything : bool
        Also the panels of loudness and of errors corrected.

    Returns
    -------
    Figure
        12 inches wide; save it with ``figure.savefig``.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.plot_take(example_take()).texts[0].get_text())
    Not yet at 96 bpm: late at chord changes
    """
    m = measurement
    extra, said = panels(m, everything=everything), _below(m) if with_words else []
    head = _wrapped(headline(m), _HEADLINE_WRAP, 2) if with_words else []
    subtitle = _wrapped(title(m), _WRAP, 2) if with_words else []
    heads_in = (0.56 if head else 0.4) + 0.36 * len(head) + 0.26 * len(subtitle)
    panels_in = _PANELS_IN + 1.15 if extra else 0.0
    height_in = heads_in + _PLOTS_IN + 1.05 + panels_in + _LINE_IN * len(said) + (0.2 if said else 0.0)
    figure = new_figure(WIDTH_IN, height_in)

    def axes(left: float, width: float, top_in: float, tall_in: float) -> Axes:
        return figure.add_axes((left, 1 - (top_in + tall_in) / height_in, width, tall_in / height_in))

    def write(lines_: list[str], top_in: float, step_in: float, **font: Any) -> None:
        for i, line in enumerate(lines_):
            at = 1 - (top_in + i * step_in) / height_in
            figure.text(0.03, at, drawable(line), va="top", parse_math=False, **font)

    write(head, 0.22, 0.36, fontsize=19, fontweight="bold", color=INK)
    write(subtitle, 0.28 + 0.36 * len(head), 0.24, fontsize=11.5, color=SOFT)
    if m.timing is None:
        _plot_gaps(m, axes(0.075, 0.895, heads_in, _PLOTS_IN))
    else:
        means = bool(shown_places(m))
        title_of(plot_offsets(m, axes(0.075, 0.60 if means else 0.895, heads_in, _PLOTS_IN)), "Every strum")
        if means:
            title_of(plot_beats(m, axes(0.775, 0.195, heads_in, _PLOTS_IN)), "Means and 95 % intervals")
    panels_top_in = heads_in + _PLOTS_IN + 1.5
    left, room = 0.075, 0.895 - _GUTTER * (len(extra) - 1)
    unit = room / max(sum(panel.width for panel in extra), 2.0)
    for panel in extra:
        panel.draw(axes(left, unit * panel.width, panels_top_in, _PANELS_IN))
        left += unit * panel.width + _GUTTER
    write(said, height_in - _LINE_IN * len(said) - 0.15, _LINE_IN, fontsize=11.5, color=INK)
    return figure


def write_plot(measurement: Measurement, path: str | os.PathLike[str], *, everything: bool = False) -> Path:
    """Write `plot_take`'s picture to a file, by its ending: png, svg or pdf.

    Raises
    ------
    OutputError
        For another ending, or where the file cannot be written.
    """
    return write_picture(lambda: plot_take(measurement, everything=everything), path, take=measurement.take.path)


def _plot_gaps(m: Measurement, ax: Axes) -> None:
    """Strums in time, with the gap to the one before: what can be seen without a grid."""
    plain_axes(ax)
    times = np.array([s.time_s for s in m.strums])
    ax.set_xlabel("seconds in the recording", color=INK)
    ax.set_ylabel("ms since the strum before", color=INK)
    if times.size < 2:
        say(ax, "fewer than two strums")
        return
    ax.plot(times[1:], 1e3 * np.diff(times), ls="", marker="o", ms=4.5, mfc="white", mec=ACCENT, mew=1.2)
    ax.set_ylim(0, 1.1e3 * float(np.diff(times).max()))
    ax.grid(color=PALE, lw=0.6)


def _below(m: Measurement) -> list[str]:
    """The sentences below the picture, wrapped to its width."""
    below = [line.text for line in lines(m) if line.topic not in _NOT_BELOW]
    return [piece for text in below for piece in _wrapped(text, _WRAP, _MOST_LINES, indent="    ")][:_MOST_LINES]


def _wrapped(text: str, characters: int, at_most: int, indent: str = "") -> list[str]:
    return textwrap.wrap(text, characters, max_lines=at_most, placeholder=" …", subsequent_indent=indent)
