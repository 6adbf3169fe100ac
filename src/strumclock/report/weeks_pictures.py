"""Pictures of weeks: one student with all exercises and their words; a class, one row a student in order of need."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.class_text import need_in_words
from strumclock.report.drawing import INK, PALE, SOFT, drawable, new_figure, say, title_of, write_picture
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
LINE_IN, SMALL_LINE_IN = 0.24, 0.18
"""Height of a line of text, inches: of a student's picture and of a class's row."""
TEXT_CHARACTERS, ROW_CHARACTERS = 140, 62
ROW_IN = 1.25
"""Least height of a student's row, inches."""
KEY = "● held by enough takes, up to the lowest that was not    ○ not held by enough takes    line and band: in reach"


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
    heights_in = [5.1 + LINE_IN * len(lines) for lines in said]
    height_in = 0.9 + max(sum(heights_in), 3.0)
    figure = new_figure(12.0, height_in)
    name = drawable(progress.student or "Practice")
    figure.text(0.05, 1 - 0.25 / height_in, name, va="top", fontsize=18, fontweight="bold", color=INK, parse_math=False)
    if not shown:
        say(figure.add_axes((0.1, 0.2, 0.8, 0.6)), "no take counts yet")
        return figure
    for i, exercise in enumerate(shown):
        top_in = 1.05 + sum(heights_in[:i])
        _draw_exercise(figure, exercise, top_in, height_in)
        for k, line in enumerate(said[i]):
            at = 1 - (top_in + 4.45 + LINE_IN * k) / height_in
            figure.text(0.05, at, drawable(line), va="top", fontsize=11, color=INK, parse_math=False)
    return figure


def _draw_exercise(figure: Figure, exercise: ExerciseProgress, top_in: float, height_in: float) -> None:
    """The tempo on the left; beside it what is known of scatter, placement and the first cause."""

    def axes(left: float, down_in: float, width: float, tall_in: float) -> tuple[float, float, float, float]:
        return left, 1 - (top_in + down_in + tall_in) / height_in, width, tall_in / height_in

    cause = next((c for c in exercise.causes if c.kind != "scatter" and (c.stands or c.state != "early")), None)
    panels: list[Callable[[Axes], Axes]] = [partial(plot_cause, exercise, cause)] if cause is not None else []
    if any(week.jitter_ms is not None for week in exercise.weeks):  # of pages kept on paper nothing is known
        panels += [partial(plot_jitter, exercise), partial(plot_placement, exercise)]
    wide = 0.52 if panels else 0.86
    title_of(plot_tempo(exercise, figure.add_axes(axes(0.065, 0, wide, 3.0))), f"{exercise.label}: tempo")
    each_in = 3.3 / max(len(panels), 1)
    for k, draw in enumerate(panels):
        ax = draw(figure.add_axes(axes(0.68, k * each_in + 0.1 * k, 0.3, each_in - 0.42)))
        title_of(ax, words.sentence(ax.get_ylabel()).rstrip("."))
        ax.set_ylabel("")
        ax.tick_params(labelsize=8, labelbottom=k == len(panels) - 1)  # the weeks stand under the lowest panel


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
    heights_in = [max(ROW_IN, 0.35 + SMALL_LINE_IN * len(lines)) for lines in said]
    height_in = 1.5 + max(sum(heights_in), 1.5)
    figure = new_figure(12.0, height_in)
    title = "Tempo in bpm, week by week" + (f" (the first {MOST_STUDENTS} in need; {more} more)" if more > 0 else "")
    figure.text(0.03, 1 - 0.2 / height_in, title, va="top", fontsize=16, fontweight="bold", color=INK)
    figure.text(0.03, 0.15 / height_in, KEY, fontsize=9, color=SOFT)
    if not drawn:
        say(figure.add_axes((0.1, 0.2, 0.8, 0.6)), "nobody has a take that counts yet")
        return figure
    mondays = [w.monday for p in drawn for e in p.exercises[:1] for w in e.weeks]
    ends = (min(mondays), max(mondays)) if mondays else None
    lowest = max((i for i, p in enumerate(drawn) if p.exercises), default=None)
    for i, progress in enumerate(drawn):
        top_in = 0.75 + sum(heights_in[:i])
        _draw_row(figure, progress, said[i], top_in, heights_in[i], height_in, ends, dated=i == lowest)
    return figure


def _draw_row(
    figure: Figure,
    progress: Progress,
    said: Sequence[str],
    top_in: float,
    row_in: float,
    height_in: float,
    weeks: tuple[date, date] | None,
    *,
    dated: bool,
) -> None:
    """One student: name and need, the tempo over weeks, what can be sent."""

    def text(left: float, down_in: float, what: str, size: float, colour: str, weight: str = "normal") -> None:
        at = 1 - (top_in + down_in) / height_in
        figure.text(
            left, at, drawable(what), va="top", fontsize=size, color=colour, fontweight=weight, parse_math=False
        )

    rule = figure.add_axes((0.03, 1 - top_in / height_in, 0.94, 0), frameon=False, xticks=[], yticks=[])
    rule.axhline(0, color=PALE, lw=0.8, clip_on=False)
    text(0.03, 0.12, progress.student or "(no name)", 12, INK, "bold")
    under = [need_in_words(progress), *(e.label.partition(" (")[0] for e in progress.exercises[:1])]
    for k, line in enumerate([piece for one in under for piece in words.wrap(one, 26)][:4]):
        text(0.03, 0.38 + SMALL_LINE_IN * k, line, 8.5, SOFT)
    if progress.exercises and weeks is not None:
        bottom = 1 - (top_in + row_in - 0.1) / height_in
        ax = figure.add_axes((0.24, bottom, 0.31, (row_in - 0.25) / height_in))
        plot_tempo(progress.exercises[0], ax, weeks=weeks, small=True)
        ax.tick_params(labelbottom=dated)
    for k, line in enumerate(said):
        text(0.58, 0.14 + SMALL_LINE_IN * k, line, 9, INK)


def _wrapped(lines: Sequence[str], width: int) -> list[str]:
    return [piece for line in lines for piece in words.wrap(line, width)]


def write_progress_plot(progress: Progress, path: str | os.PathLike[str]) -> Path:
    """Write one student's picture (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_progress(progress), path)


def write_class_plot(students: Sequence[Progress], path: str | os.PathLike[str]) -> Path:
    """Write the sheet of a class (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_class(students), path)
