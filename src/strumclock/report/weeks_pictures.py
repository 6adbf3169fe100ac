"""Pictures of weeks: one student with all exercises and their words; a class, one row a student in order of need."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.class_text import need_in_words
from strumclock.report.drawing import (
    INK,
    LABEL_PT,
    PALE,
    SMALL_PT,
    SOFT,
    TEXT_PT,
    TITLE_PT,
    WIDTH_IN,
    drawable,
    new_figure,
    say,
    title_of,
    write_picture,
)
from strumclock.report.progress_text import facts, in_short
from strumclock.report.weeks_plots import plot_cause, plot_jitter, plot_placement, plot_tempo

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from strumclock.weeks import ExerciseProgress, Progress

MOST_EXERCISES = 4
"""Exercises in one student's picture, the one played last first."""
MOST_STUDENTS = 30
"""Students on one sheet, a row each: more is no picture any more."""
LINE_IN, SMALL_LINE_IN = 0.25, 0.22
"""Height of a line of text, inches: of a student's picture and of a class's row."""
TEXT_CHARACTERS, ROW_CHARACTERS, NEED_CHARACTERS = 80, 88, 28
TEMPO_IN, CHART_IN, PANEL_IN = 2.6, 1.05, 1.1
"""Heights of a student's tempo, of a tempo in a class's row, and of the panels below a student's tempo, inches."""
KEY = (
    "●  held by enough takes, line to the lowest that was not    ■  from paper",
    "○  not held by enough takes    grey line and band: in reach, with 95 % interval",
)


def plot_progress(progress: Progress) -> Figure:
    """Compose one student's picture: for each exercise tempo, what stands in the way, scatter, placement, words.

    Parameters
    ----------
    progress : Progress

    Returns
    -------
    Figure
        Save it with ``figure.savefig``.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_students
    >>> print(sc.plot_progress(example_students()[0]).texts[0].get_text())
    Ines
    """
    shown = progress.exercises[:MOST_EXERCISES]
    said = [_wrapped(facts(exercise, today=progress.today), TEXT_CHARACTERS) for exercise in shown]
    drawn = [_panels(exercise) for exercise in shown]
    plots_in = [1.75 + TEMPO_IN + (PANEL_IN + 0.85) * math.ceil(len(panels) / 2) for panels in drawn]
    heights_in = [plot_in + LINE_IN * len(lines) + 0.2 for plot_in, lines in zip(plots_in, said, strict=True)]
    height_in = 0.75 + max(sum(heights_in), 3.0)
    figure = new_figure(WIDTH_IN, height_in)
    name = drawable(progress.student or "Practice")
    top = 1 - 0.2 / height_in
    figure.text(0.03, top, name, va="top", fontsize=TITLE_PT, fontweight="bold", color=INK, parse_math=False)
    if not shown:
        say(figure.add_axes((0.1, 0.2, 0.8, 0.6)), "no take counts yet")
        return figure
    for i, exercise in enumerate(shown):
        top_in = 0.95 + sum(heights_in[:i])
        _draw_exercise(figure, exercise, drawn[i], top_in, height_in)
        for k, line in enumerate(said[i]):
            at = 1 - (top_in + plots_in[i] - 0.3 + LINE_IN * k) / height_in
            figure.text(0.03, at, drawable(line), va="top", fontsize=TEXT_PT, color=INK, parse_math=False)
    return figure


def _panels(exercise: ExerciseProgress) -> list[Callable[[Axes], Axes]]:
    """What is known beside the tempo: of the first cause, of scatter and placement."""
    cause = next((c for c in exercise.causes if c.kind != "scatter" and (c.stands or c.state != "early")), None)
    drawn: list[Callable[[Axes], Axes]] = [partial(plot_cause, exercise, cause)] if cause is not None else []
    if any(week.jitter_ms is not None for week in exercise.weeks):  # of pages kept on paper nothing is known
        drawn += [partial(plot_jitter, exercise), partial(plot_placement, exercise)]
    return drawn


def _draw_exercise(
    figure: Figure,
    exercise: ExerciseProgress,
    panels: Sequence[Callable[[Axes], Axes]],
    top_in: float,
    height_in: float,
) -> None:
    """The tempo; below it the panels, two beside each other."""

    def axes(left: float, down_in: float, width: float, tall_in: float) -> Axes:
        return figure.add_axes((left, 1 - (top_in + down_in + tall_in) / height_in, width, tall_in / height_in))

    right = 0.1 if exercise.beats_per_change else 0.0  # a second axis stands there
    title_of(plot_tempo(exercise, axes(0.095, 0, 0.875 - right, TEMPO_IN)), f"{exercise.label}: tempo")
    for k, draw in enumerate(panels):
        ax = draw(axes(0.095 + 0.485 * (k % 2), TEMPO_IN + 1.65 + (PANEL_IN + 0.85) * (k // 2), 0.39, PANEL_IN))
        title_of(ax, words.sentence(ax.get_ylabel()).rstrip("."))
        ax.set_ylabel("")
        ax.tick_params(labelsize=SMALL_PT)


def plot_class(students: Sequence[Progress]) -> Figure:
    """Compose a class's sheet: a row for each student in order of need, with the exercise played last.

    All share one time axis; each has a tempo axis of its own.

    Parameters
    ----------
    students : sequence of Progress

    Returns
    -------
    Figure
        Save it with ``figure.savefig``.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_students
    >>> figure = sc.plot_class(example_students())
    >>> [text.get_text() for text in figure.texts if text.get_text() in ("Ines", "Joris")]
    ['Ines', 'Joris']
    """
    drawn, more = students[:MOST_STUDENTS], len(students) - MOST_STUDENTS
    said = [_wrapped(in_short(p), ROW_CHARACTERS) for p in drawn]
    heights_in = [CHART_IN + 0.65 + SMALL_LINE_IN * len(lines) for lines in said]
    height_in = 1.75 + max(sum(heights_in), 1.5)
    figure = new_figure(WIDTH_IN, height_in)
    title = "Tempo in bpm, week by week" + (f" (the first {MOST_STUDENTS} in need; {more} more)" if more > 0 else "")
    figure.text(0.03, 1 - 0.2 / height_in, title, va="top", fontsize=15, fontweight="bold", color=INK)
    for k, line in enumerate(reversed(KEY)):
        figure.text(0.03, (0.15 + SMALL_LINE_IN * k) / height_in, line, fontsize=LABEL_PT, color=SOFT)
    if not drawn:
        say(figure.add_axes((0.1, 0.2, 0.8, 0.6)), "nobody has a take that counts yet")
        return figure
    mondays = [w.monday for p in drawn for e in p.exercises[:1] for w in e.weeks]
    ends = (min(mondays), max(mondays)) if mondays else None
    for i, progress in enumerate(drawn):
        _draw_row(figure, progress, said[i], 0.75 + sum(heights_in[:i]), height_in, ends)
    return figure


def _draw_row(
    figure: Figure,
    progress: Progress,
    said: Sequence[str],
    top_in: float,
    height_in: float,
    weeks: tuple[date, date] | None,
) -> None:
    """One student: name and need, the tempo over weeks, below them what can be sent."""

    def text(down_in: float, what: str, size: float, colour: str, weight: str = "normal") -> None:
        at = 1 - (top_in + down_in) / height_in
        figure.text(
            0.03, at, drawable(what), va="top", fontsize=size, color=colour, fontweight=weight, parse_math=False
        )

    rule = figure.add_axes((0.03, 1 - top_in / height_in, 0.94, 0), frameon=False, xticks=[], yticks=[])
    rule.axhline(0, color=PALE, lw=0.8, clip_on=False)
    text(0.12, progress.student or "(no name)", 14, INK, "bold")
    under = [need_in_words(progress), *(e.label.partition(" (")[0] for e in progress.exercises[:1])]
    for k, line in enumerate([piece for one in under for piece in words.wrap(one, NEED_CHARACTERS)][:5]):
        text(0.4 + 0.2 * k, line, LABEL_PT, SOFT)
    if progress.exercises and weeks is not None:
        bottom = 1 - (top_in + 0.12 + CHART_IN - 0.1) / height_in
        ax = figure.add_axes((0.43, bottom, 0.54, (CHART_IN - 0.1) / height_in))
        plot_tempo(progress.exercises[0], ax, weeks=weeks, small=True)
    for k, line in enumerate(said):
        text(CHART_IN + 0.55 + SMALL_LINE_IN * k, line, LABEL_PT, INK)


def _wrapped(lines: Sequence[str], width: int) -> list[str]:
    return [piece for line in lines for piece in words.wrap(line, width)]


def write_progress_plot(progress: Progress, path: str | os.PathLike[str]) -> Path:
    """Write one student's picture (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_progress(progress), path)


def write_class_plot(students: Sequence[Progress], path: str | os.PathLike[str]) -> Path:
    """Write the sheet of a class (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_class(students), path)
