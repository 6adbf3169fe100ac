"""The picture that is sent to a student: headline, every strum, the means, what they are made of, and the words.

It is tall and narrow, with large letters: most people look at it on a phone.
"""

from __future__ import annotations

import os
import textwrap
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.report.drawing import (
    ACCENT,
    INK,
    LABEL_PT,
    PALE,
    SOFT,
    TEXT_PT,
    TITLE_PT,
    WIDTH_IN,
    drawable,
    new_figure,
    plain_axes,
    say,
    title_of,
    write_picture,
)
from strumclock.report.offsets_plot import plot_offsets
from strumclock.report.panels import Panel, panels
from strumclock.report.part_words import several_parts
from strumclock.report.recording_plot import ABOVE_PT, LINE_PT, only_parts, plot_recording, recording_key
from strumclock.report.sentences import headline, lines, title
from strumclock.report.strum_marks import legend_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from strumclock.pipeline import Measurement

_PLOT_IN = 3.0  # height of the main plot
_PANELS_IN = 1.5  # height of the panels below it
_RECORDING_IN = 1.3  # height of the recording with its parts
_AXIS_IN = 0.62  # below a plot: its figures and what they are
_TITLE_IN = 0.42  # above a plot
_LINE_IN = 0.25  # from one line of words to the next
_MOST_LINES = 18  # of words below the picture
_WRAP, _HEADLINE_WRAP = 80, 48  # characters that fit the width
_LEFT, _RIGHT = 0.095, 0.97  # edges of a plot that has the width to itself
_LABELS = 0.15  # of the width, left of each panel
_NOT_BELOW = ("Stroke", "Correcting", "Pitch", "Not told", "Note", "Left aside")  # they are in the summary


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
        8 inches wide; save it with ``figure.savefig``.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.plot_take(example_take()).texts[0].get_text())
    Not yet at 96 bpm: late at chord changes
    """
    m = measurement
    extra = panels(m, everything=everything)
    rows = _in_rows(extra)
    said = _below(m) if with_words else []
    head = _wrapped(headline(m), _HEADLINE_WRAP, 3) if with_words else []
    subtitle = _wrapped(title(m), _WRAP, 2) if with_words else []
    parted = several_parts(m) and m.timing is not None and not only_parts(m)
    key_in = LINE_PT / 72 * len(recording_key(m)) if several_parts(m) else 0.0
    heads_in = (0.3 if head else 0.1) + 0.34 * len(head) + 0.24 * len(subtitle)
    main_in = _TITLE_IN + _PLOT_IN + _AXIS_IN + _under_main_in(m, key_in)
    recording_in = (_TITLE_IN + _RECORDING_IN + _AXIS_IN + key_in) if parted else 0.0
    rows_in = (_TITLE_IN + _PANELS_IN + _AXIS_IN + 0.2) * len(rows)
    height_in = heads_in + main_in + recording_in + rows_in + _LINE_IN * len(said) + (0.2 if said else 0.1)
    figure = new_figure(WIDTH_IN, height_in)

    def axes(left: float, right: float, top_in: float, tall_in: float) -> Axes:
        return figure.add_axes((left, 1 - (top_in + tall_in) / height_in, right - left, tall_in / height_in))

    def write(lines_: list[str], top_in: float, step_in: float, **font: Any) -> None:
        for i, line in enumerate(lines_):
            at = 1 - (top_in + i * step_in) / height_in
            figure.text(0.03, at, drawable(line), va="top", parse_math=False, **font)

    write(head, 0.2, 0.34, fontsize=TITLE_PT, fontweight="bold", color=INK)
    write(subtitle, 0.26 + 0.34 * len(head), 0.24, fontsize=LABEL_PT, color=SOFT)
    main = axes(_LEFT, _RIGHT, heads_in + _TITLE_IN, _PLOT_IN)
    if m.timing is None:
        _plot_gaps(m, main)
    else:
        crowned = len(m.steps) > 1 or only_parts(m)  # tempi or numbers stand above the axes
        title_of(plot_offsets(m, main), "Every strum", pad=ABOVE_PT if crowned else 8)
    top_in = heads_in + main_in
    if parted:
        ax = plot_recording(m, axes(_LEFT, _RIGHT, top_in + _TITLE_IN, _RECORDING_IN))
        title_of(ax, "The whole recording", pad=ABOVE_PT)
        top_in += recording_in
    for row in rows:
        for panel, (left, right) in zip(row, _across(row), strict=True):
            panel.draw(axes(left, right, top_in + _TITLE_IN, _PANELS_IN))
        top_in += rows_in / len(rows)
    write(said, height_in - _LINE_IN * len(said) - 0.12, _LINE_IN, fontsize=TEXT_PT, color=INK)
    return figure


def _under_main_in(m: Measurement, key_in: float) -> float:
    """What is written below the main plot: the marks' meanings, or those of the parts where it shows these."""
    if m.timing is None:
        return 0.1
    if only_parts(m):
        return key_in
    return 0.24 * legend_rows(m) + 0.05


def _in_rows(drawn: Sequence[Panel]) -> list[list[Panel]]:
    """Two panels beside each other, one that needs the width alone."""
    rows: list[list[Panel]] = []
    for panel in drawn:
        if rows and len(rows[-1]) == 1 and not panel.wide and not rows[-1][0].wide:
            rows[-1].append(panel)
        else:
            rows.append([panel])
    return rows


def _across(row: Sequence[Panel]) -> list[tuple[float, float]]:
    """Left and right edges of a row's panels, each with room for its labels."""
    edges = np.linspace(0.0, _RIGHT, len(row) + 1)
    return [(float(left) + _LABELS, float(right)) for left, right in pairwise(edges)]


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
    ax.set_xlabel("seconds in the recording", color=INK, fontsize=LABEL_PT)
    ax.set_ylabel("ms since the strum before", color=INK, fontsize=LABEL_PT)
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
