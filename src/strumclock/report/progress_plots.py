"""Pictures of weeks: tempo held and in reach, with where holding ends and the goal; a class as small multiples.

The line is the tempo in reach, as it was known after each week, in the band that holds it with 95 % probability.

A filled mark is a tempo that enough takes held; the line from it upwards ends at the lowest tempo that was tried and
not held that week: where holding ends lies between. An arrow means that nothing faster was tried. A hollow mark is a
week in which no tempo was held by enough takes. Weeks without takes are gaps. Nothing rests on colour alone.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from datetime import date, timedelta
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Any

from strumclock.report.drawing import (
    ACCENT,
    INK,
    PALE,
    SOFT,
    WARM,
    axes_or_new,
    drawable,
    new_figure,
    plain_axes,
    say,
    title_of,
    write_picture,
)
from strumclock.report.progress_text import NEED_WORDS, facts, to_send

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from strumclock.weeks import ExerciseProgress, Progress, Span

MOST_LABELS = 8
MOST_EXERCISES = 4
"""Exercises in one student's picture, the one played last first."""
COLUMNS = 3
MOST_STUDENTS = 30
"""Students on one sheet, ten rows of them: more is no picture any more, and takes a minute to draw."""
COLUMN_CHARACTERS = 50
"""Characters a line under a small picture: more of the smallest type run into the next column."""
KEY = (
    "line and band: tempo in reach    ● held by enough takes, up to the lowest tempo that was not held    "
    "○ not held by enough takes"
)
GAP_WEEKS = 2
"""A line is drawn over one week without takes, not over more."""
OPEN_ARROW_BPM = 3.0
"""Length of the arrow of a week in which nothing faster failed; it has no scale."""


def plot_tempo(
    exercise: ExerciseProgress,
    ax: Axes | None = None,
    *,
    weeks: tuple[date, date] | None = None,
    bpm: tuple[float, float] | None = None,
    small: bool = False,
) -> Axes:
    """Draw the tempo held over weeks.

    Parameters
    ----------
    exercise : ExerciseProgress
    ax : Axes, optional
    weeks : (date, date), optional
        Mondays at the ends of the axis, so that several pictures compare.
    bpm : (float, float), optional
        Ends of the tempo axis, likewise.
    small : bool
        One of many: without legend and axis names.

    Returns
    -------
    Axes
    """
    ax = axes_or_new(ax, 8.0, 4.0)
    drawn = [w for w in exercise.weeks if w.reached_bpm is not None]
    if not drawn:
        return say(ax, "no tempo is known yet")
    plain_axes(ax)
    first, last = weeks or (exercise.weeks[0].monday, exercise.weeks[-1].monday)
    size = 5 if small else 7
    _draw_reach(ax, exercise, first)
    labelled: set[str] = set()

    def once(label: str) -> str | None:
        if label in labelled:
            return None
        labelled.add(label)
        return label

    for week in drawn:
        x = _x(week.monday, first)
        if week.held_bpm is not None:
            if week.failed_bpm is not None:
                ax.plot([x, x], [week.held_bpm, week.failed_bpm], color=INK, lw=1.2, zorder=2)
                ax.plot([x], [week.failed_bpm], "_", color=INK, ms=size, zorder=2, label=once("tried, not held"))
            elif not small:
                _arrow(ax, x, week.held_bpm, once("not tried faster"))
            ax.plot([x], [week.held_bpm], "o", color=ACCENT, ms=size, zorder=3, label=once("held"))
            if week.n_paper == week.n_takes:
                ax.plot([x], [week.held_bpm], "o", color="white", ms=size / 3, zorder=4, label=once("held, from paper"))
        elif week.reached_bpm is not None:
            ax.plot(
                [x],
                [week.reached_bpm],
                "o",
                mfc="white",
                mec=SOFT,
                ms=size,
                zorder=3,
                label=once("not held by enough takes"),
            )
    if exercise.goal is not None:
        ax.axhline(exercise.goal.bpm, color=WARM, lw=1.2, ls=(0, (6, 3)), zorder=1)
        ax.annotate(
            f"goal {exercise.goal.bpm:.4g}",
            (1, exercise.goal.bpm),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="bottom",
            fontsize=8 if small else 9,
            color=WARM,
            xytext=(0, 2),
            textcoords="offset points",
        )
    _dress(ax, exercise, first, last, bpm, small=small)
    return ax


def _x(monday: date, first: date) -> float:
    return (monday - first).days / 7


def _arrow(ax: Axes, x: float, bpm: float, label: str | None) -> None:
    if label:
        ax.plot([], [], ls="", marker=r"$\uparrow$", color=SOFT, ms=9, label=label)  # for the legend
    ax.annotate(
        "",
        (x, bpm + OPEN_ARROW_BPM),
        (x, bpm),
        arrowprops={"arrowstyle": "->", "color": SOFT, "lw": 1.0, "shrinkA": 0, "shrinkB": 0},
        zorder=2,
    )


def _draw_reach(ax: Axes, exercise: ExerciseProgress, first: date) -> None:
    """The tempo in reach with its band; a gap in the weeks is a gap in both."""
    if exercise.reach is None:
        return
    label: str | None = "in reach"
    for run in _runs(exercise.reach.weeks):
        x = [_x(monday, first) for monday, _ in run]
        ends = [span.low for _, span in run], [span.high for _, span in run]
        if len(run) == 1:
            ax.plot([x[0]] * 2, [ends[0][0], ends[1][0]], color=PALE, lw=6, zorder=0, solid_capstyle="butt")
        ax.fill_between(x, *ends, color=PALE, alpha=0.8, lw=0, zorder=0)
        ax.plot(x, [span.value for _, span in run], "-", color=SOFT, lw=1.6, zorder=1, label=label)
        label = None


def _runs(weeks: Sequence[tuple[date, Span]]) -> list[list[tuple[date, Span]]]:
    """Weeks that follow each other without a longer gap than `GAP_WEEKS`."""
    runs: list[list[tuple[date, Span]]] = []
    for monday, span in weeks:
        if runs and monday - runs[-1][-1][0] <= timedelta(weeks=GAP_WEEKS):
            runs[-1].append((monday, span))
        else:
            runs.append([(monday, span)])
    return runs


def _dress(
    ax: Axes,
    exercise: ExerciseProgress,
    first: date,
    last: date,
    bpm: tuple[float, float] | None,
    *,
    small: bool,
) -> None:
    """Axes, ticks, legend."""
    _week_axis(ax, first, last, MOST_LABELS // (2 if small else 1))
    ax.set_ylim(*(bpm or tempo_range([exercise])))
    ax.grid(axis="y", color=PALE, lw=0.6)
    ax.set_axisbelow(True)
    ax.tick_params(labelsize=8 if small else 10)
    if small:
        return
    ax.set_ylabel("tempo, bpm", color=INK)
    ax.set_xlabel("week from Monday", color=INK)
    per = exercise.beats_per_change
    if per:
        other = ax.secondary_yaxis("right", functions=(_divide_by(per), _divide_by(1 / per)))
        other.set_ylabel("chord changes a minute", color=SOFT)
        other.tick_params(colors=SOFT, labelsize=9)
        other.spines["right"].set_color(PALE)
    ax.legend(loc="upper left", bbox_to_anchor=(0, -0.2), ncols=4, frameon=False, fontsize=9, handletextpad=0.3)


def _divide_by(number: float) -> Any:
    return lambda values: values / number


def _label(monday: date, first: date) -> str:
    text = f"{monday.day} {monday:%b}"
    return f"{text}\n{monday.year}" if monday == first or monday.year != (monday - timedelta(weeks=1)).year else text


def tempo_range(exercises: Sequence[ExerciseProgress]) -> tuple[float, float]:
    """Ends of a tempo axis on which all of some exercises fit."""
    tempos = []
    for exercise in exercises:
        for week in exercise.weeks:
            tempos += [t for t in (week.reached_bpm, week.held_bpm, week.failed_bpm) if t is not None]
        if exercise.reach is not None:  # the line; its band, which may be wide at first, is cut off
            tempos += [span.value for _, span in exercise.reach.weeks]
        if exercise.goal is not None:
            tempos.append(exercise.goal.bpm)
    if not tempos:
        return 40.0, 120.0
    low, high = min(tempos), max(tempos) + OPEN_ARROW_BPM
    room = max(0.08 * (high - low), 2.0)
    return low - room, high + room


def plot_jitter(exercise: ExerciseProgress, ax: Axes | None = None) -> Axes:
    """Draw the jitter of each week, ms, with 95 % intervals of luck from take to take."""
    return _plot_weekly(exercise, ax, "jitter_ms", "s", ACCENT, "jitter, ms")


def plot_placement(exercise: ExerciseProgress, ax: Axes | None = None) -> Axes:
    """Draw the mean offset of each week, ms (+ = late), with 95 % intervals of luck from take to take."""
    return _plot_weekly(exercise, ax, "offset_ms", "D", WARM, "− early, + late, ms")


def _plot_weekly(
    exercise: ExerciseProgress, ax: Axes | None, figure: str, mark: str, colour: str, axis_name: str
) -> Axes:
    ax = axes_or_new(ax, 6.0, 2.0)
    known = [(w, mean) for w in exercise.weeks if (mean := getattr(w, figure)) is not None]
    if not known:
        return say(ax, "not known: no click was heard" if figure == "offset_ms" and exercise.weeks else "not measured")
    plain_axes(ax)
    first, last = exercise.weeks[0].monday, exercise.weeks[-1].monday
    x = [_x(w.monday, first) for w, _ in known]
    y = [mean.value for _, mean in known]
    error = [[mean.value - mean.low for _, mean in known], [mean.high - mean.value for _, mean in known]]
    ax.errorbar(x, y, yerr=error, fmt=mark, color=colour, ms=5, lw=1.0)
    if figure == "offset_ms":
        ax.axhline(0, color=SOFT, lw=0.8)
    else:
        ax.set_ylim(bottom=0)
    _week_axis(ax, first, last, MOST_LABELS // 2)
    ax.set_ylabel(axis_name, color=INK)
    ax.grid(axis="y", color=PALE, lw=0.6)
    return ax


def _week_axis(ax: Axes, first: date, last: date, most: int) -> None:
    """Mondays along the axis, so few that they do not overlap."""
    span = max(round(_x(last, first)), 1)
    ax.set_xlim(-0.6, span + 0.6)
    mondays = [first + timedelta(weeks=i) for i in range(0, span + 1, math.ceil((span + 1) / most))]
    ax.set_xticks([_x(m, first) for m in mondays], [_label(m, first) for m in mondays])


def plot_progress(progress: Progress) -> Figure:
    """Compose one student's picture: for each exercise tempo, scatter and placement over weeks, and its words."""
    shown = progress.exercises[:MOST_EXERCISES]
    words = [_wrapped(facts(exercise, today=progress.today)) for exercise in shown]
    heights_in = [4.9 + 0.24 * len(lines) for lines in words]
    height_in = 1.0 + max(sum(heights_in), 3.0)
    figure = new_figure(12.0, height_in)
    name = drawable(progress.student or "Practice")
    figure.text(0.05, 1 - 0.25 / height_in, name, va="top", fontsize=18, fontweight="bold", color=INK, parse_math=False)
    if not shown:
        say(figure.add_axes((0.1, 0.2, 0.8, 0.6)), "no take counts yet")
        return figure
    for i, exercise in enumerate(shown):
        top_in = 1.05 + sum(heights_in[:i])
        bottom = 1 - (top_in + 3.0) / height_in
        tempo_ax = figure.add_axes((0.065, bottom, 0.52, 3.0 / height_in))
        title_of(plot_tempo(exercise, tempo_ax), f"{exercise.label}: tempo")
        jitter_ax = figure.add_axes((0.72, bottom + 1.75 / height_in, 0.26, 1.25 / height_in))
        title_of(plot_jitter(exercise, jitter_ax), "Scatter of the strums")
        jitter_ax.tick_params(labelbottom=False)  # the weeks stand under the panel below
        placement_ax = figure.add_axes((0.72, bottom - 0.1 / height_in, 0.26, 1.2 / height_in))
        title_of(plot_placement(exercise, placement_ax), "Placement")
        for k, line in enumerate(words[i]):
            at = 1 - (top_in + 4.25 + 0.24 * k) / height_in
            figure.text(0.05, at, drawable(line), va="top", fontsize=11, color=INK, parse_math=False)
    return figure


def _wrapped(lines: Sequence[str], width: int = 140) -> list[str]:
    return [piece for line in lines for piece in wrap(line, width)]


def plot_class(students: Sequence[Progress]) -> Figure:
    """Compose a sheet of small multiples: the tempo held by each student in the exercise played last, in order of need.

    All share one time axis; each has its own tempo axis of the same length, so that slopes compare.
    """
    played = [p for p in students if p.exercises]
    drawn, more = played[:MOST_STUDENTS], len(played) - MOST_STUDENTS
    rows = max(math.ceil(len(drawn) / COLUMNS), 1)
    words = [_wrapped(to_send(p), COLUMN_CHARACTERS) for p in drawn]
    row_in = 3.1 + 0.165 * max([len(lines) for lines in words], default=0)
    height_in = 1.0 + row_in * rows
    figure = new_figure(12.0, height_in)
    title = "Tempo in bpm, week by week" + (f" (the first {MOST_STUDENTS} in need; {more} more)" if more > 0 else "")
    figure.text(0.04, 1 - 0.2 / height_in, title, va="top", fontsize=16, fontweight="bold", color=INK)
    figure.text(0.05, 0.1 / height_in, KEY, fontsize=9, color=SOFT)
    if not drawn:
        say(figure.add_axes((0.1, 0.2, 0.8, 0.6)), "nobody has a take that counts yet")
        return figure
    weeks = [w.monday for p in drawn for w in p.exercises[0].weeks]
    spans = [tempo_range([p.exercises[0]]) for p in drawn]
    length = max(high - low for low, high in spans)
    for i, (progress, (low, high)) in enumerate(zip(drawn, spans, strict=True)):
        row, column = divmod(i, COLUMNS)
        top_in = 0.7 + row_in * row
        left = 0.05 + column * 0.325
        ax = figure.add_axes((left, 1 - (top_in + 0.65 + 1.75) / height_in, 0.27, 1.75 / height_in))
        middle = (low + high) / 2
        ends = (middle - length / 2, middle + length / 2)
        exercise = progress.exercises[0]
        plot_tempo(exercise, ax, weeks=(min(weeks), max(weeks)), bpm=ends, small=True)
        name = drawable(progress.student or "(no name)")
        head = 1 - (top_in + 0.08) / height_in
        figure.text(left, head, name, va="top", fontsize=12, fontweight="bold", color=INK, parse_math=False)
        under = f"{NEED_WORDS[progress.need]} · {exercise.label.partition(' (')[0]}"
        under = drawable(shorten(under, COLUMN_CHARACTERS, placeholder="…"))
        figure.text(left, head - 0.24 / height_in, under, va="top", fontsize=8.5, color=SOFT, parse_math=False)
        for k, line in enumerate(words[i]):
            at = 1 - (top_in + 2.85 + 0.165 * k) / height_in
            figure.text(left, at, drawable(line), va="top", fontsize=8.5, color=INK, parse_math=False)
    return figure


def write_progress_plot(progress: Progress, path: str | os.PathLike[str]) -> Path:
    """Write one student's picture (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_progress(progress), path)


def write_class_plot(students: Sequence[Progress], path: str | os.PathLike[str]) -> Path:
    """Write the sheet of a class (png, svg or pdf by its ending)."""
    return write_picture(lambda: plot_class(students), path)
