"""Weeks of one exercise, one small picture each: the tempo held and in reach, scatter, placement, a cause.

A filled mark is a tempo that enough takes held; the line from it upwards ends at the lowest tempo that was tried and
not held that week: where holding ends lies between. An arrow means that nothing faster was tried. A hollow mark is a
week in which no tempo was held by enough takes. The line is the tempo in reach, as it was known after each week, in
the band that holds it with 95 % probability; where the takes lay so far below it that no number can be told, there is
none. Weeks without takes are gaps. Nothing rests on colour alone, and what lies beyond an axis ends in an arrow there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.report.cause_words import cause_name
from strumclock.report.drawing import ACCENT, INK, LABEL_PT, PALE, SMALL_PT, SOFT, WARM, axes_or_new, plain_axes, say

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.weeks import Cause, ExerciseProgress, Span

MOST_LABELS = 8
GAP_WEEKS = 2
"""A line is drawn over one week without takes, not over more."""
OPEN_ARROW_BPM = 3.0
"""Length of the arrow of a week in which nothing faster failed; it has no scale."""
ROOM, LEAST_ROOM_BPM = 0.08, 2.0
"""Free space above and below what is drawn: share of the axis, and bpm."""
BAR_SHOWN = 2.0
"""An interval's end further from the values than their own range times this, or the usual interval, is cut off."""
CUT: dict[str, Any] = {"color": SOFT, "ms": 5, "clip_on": False, "zorder": 4}


def plot_tempo(
    exercise: ExerciseProgress,
    ax: Axes | None = None,
    *,
    weeks: tuple[date, date] | None = None,
    small: bool = False,
) -> Axes:
    """Draw the tempo held and in reach over weeks.

    Parameters
    ----------
    exercise : ExerciseProgress
    ax : Axes, optional
    weeks : (date, date), optional
        Mondays at the ends of the axis, so that several pictures compare.
    small : bool
        One of many: without legend and axis names.

    Returns
    -------
    Axes

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_students
    >>> print(sc.plot_tempo(example_students()[0].exercises[0]).get_ylabel())
    tempo, bpm
    """
    from matplotlib.ticker import MaxNLocator

    ax = axes_or_new(ax, 8.0, 4.0)
    if not any(w.reached_bpm is not None for w in exercise.weeks):
        return say(ax, "no tempo is known yet")
    plain_axes(ax)
    first, last = weeks or (exercise.weeks[0].monday, exercise.weeks[-1].monday)
    low, high = tempo_range(exercise)
    ax.set_ylim(low, high)
    _draw_reach(ax, exercise, first, (low, high))
    _draw_weeks(ax, exercise, first, small=small)
    _draw_goal(ax, exercise, small=small)
    week_axis(ax, first, last, MOST_LABELS // (2 if small else 1))
    ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=4 if small else 8))
    ax.grid(axis="y", color=PALE, lw=0.6)
    ax.set_axisbelow(True)
    ax.tick_params(labelsize=SMALL_PT if small else LABEL_PT)
    if not small:
        _explain(ax, exercise)
    return ax


def _draw_weeks(ax: Axes, exercise: ExerciseProgress, first: date, *, small: bool) -> None:
    """Each week's mark: held, up to where it was not; or not held."""
    size = 5 if small else 7
    labelled: set[str] = set()

    def once(label: str) -> str | None:
        new = label not in labelled
        labelled.add(label)
        return label if new else None

    for week in exercise.weeks:
        x = weeks_since(week.monday, first)
        if week.held_bpm is None:
            if week.reached_bpm is not None:
                hollow: dict[str, Any] = {"mfc": "white", "mec": SOFT, "ms": size, "zorder": 3}
                ax.plot([x], [week.reached_bpm], "o", label=once("not held by enough takes"), **hollow)
            continue
        if week.failed_bpm is not None:
            ax.plot([x, x], [week.held_bpm, week.failed_bpm], color=INK, lw=1.2, zorder=2)
            ax.plot([x], [week.failed_bpm], "_", color=INK, ms=size, zorder=2, label=once("tried, not held"))
        elif not small:
            _arrow(ax, x, week.held_bpm, once("not tried faster"))
        paper = week.n_paper == week.n_takes
        label = once("held, from paper" if paper else "held")
        ax.plot([x], [week.held_bpm], "s" if paper else "o", color=ACCENT, ms=size, zorder=3, label=label)


def _arrow(ax: Axes, x: float, bpm: float, label: str | None) -> None:
    if label:
        ax.plot([], [], ls="", marker=r"$\uparrow$", color=SOFT, ms=9, label=label)  # for the legend
    how: dict[str, Any] = {"arrowstyle": "->", "color": SOFT, "lw": 1.0, "shrinkA": 0, "shrinkB": 0}
    ax.annotate("", (x, bpm + OPEN_ARROW_BPM), (x, bpm), arrowprops=how, zorder=2)


def _draw_goal(ax: Axes, exercise: ExerciseProgress, *, small: bool) -> None:
    if exercise.goal is None:
        return
    ax.axhline(exercise.goal.bpm, color=WARM, lw=1.2, ls=(0, (6, 3)), zorder=1)
    ax.annotate(
        f"goal {exercise.goal.bpm:.4g}",
        (0, exercise.goal.bpm),
        xycoords=("axes fraction", "data"),
        ha="left",
        va="bottom",
        fontsize=SMALL_PT if small else LABEL_PT,
        color=WARM,
        xytext=(3, 1),
        textcoords="offset points",
    )


def _draw_reach(ax: Axes, exercise: ExerciseProgress, first: date, ends: tuple[float, float]) -> None:
    """The tempo in reach with its band; a gap in the weeks is one in both, and a band beyond the axis has an arrow."""
    label: str | None = "in reach, with 95 % interval"
    for run in _runs(exercise.reach_known):
        x = [weeks_since(monday, first) for monday, _ in run]
        low, high = [span.low for _, span in run], [span.high for _, span in run]
        if len(run) == 1:
            ax.plot([x[0]] * 2, [max(low[0], ends[0]), min(high[0], ends[1])], color=PALE, lw=6, zorder=0)
        ax.fill_between(x, low, high, color=PALE, alpha=0.8, lw=0, zorder=0)
        ax.plot(x, [span.value for _, span in run], "-", color=SOFT, lw=1.6, zorder=1, label=label)
        if len(run) == 1:
            ax.plot(x, [run[0][1].value], "_", color=SOFT, ms=10, zorder=1)
        label = None
        for at, bottom, top in zip(x, low, high, strict=True):
            if top > ends[1]:
                ax.plot([at], [ends[1]], "^", **CUT)
            if bottom < ends[0]:
                ax.plot([at], [ends[0]], "v", **CUT)


def _runs(weeks: Sequence[tuple[date, Span]]) -> list[list[tuple[date, Span]]]:
    """Weeks that follow each other without a longer gap than `GAP_WEEKS`."""
    runs: list[list[tuple[date, Span]]] = []
    for monday, span in weeks:
        if runs and monday - runs[-1][-1][0] <= timedelta(weeks=GAP_WEEKS):
            runs[-1].append((monday, span))
        else:
            runs.append([(monday, span)])
    return runs


def _explain(ax: Axes, exercise: ExerciseProgress) -> None:
    """Axis names, the changes a minute, the legend."""
    ax.set_ylabel("tempo, bpm", color=INK, fontsize=LABEL_PT)
    ax.set_xlabel("week from Monday", color=INK, fontsize=LABEL_PT)
    per = exercise.beats_per_change
    if per:
        other = ax.secondary_yaxis("right", functions=(_divide_by(per), _divide_by(1 / per)))
        other.set_ylabel("chord changes a minute", color=SOFT, fontsize=LABEL_PT)
        other.tick_params(colors=SOFT, labelsize=LABEL_PT)
        other.spines["right"].set_color(PALE)
    ax.legend(
        loc="upper left",
        bbox_to_anchor=(0, -0.28),
        ncols=2,
        frameon=False,
        fontsize=LABEL_PT,
        columnspacing=1.2,
        handletextpad=0.3,
    )


def _divide_by(number: float) -> Any:
    return lambda values: values / number


def tempo_range(exercise: ExerciseProgress) -> tuple[float, float]:
    """Ends of a tempo axis on which marks, goal and the line of the tempo in reach fit; its band may be cut off."""
    tempos = [t for w in exercise.weeks for t in (w.reached_bpm, w.held_bpm, w.failed_bpm) if t is not None]
    tempos += [span.value for _, span in exercise.reach_known]
    if exercise.goal is not None:
        tempos.append(exercise.goal.bpm)
    if not tempos:
        return 40.0, 120.0
    low, high = min(tempos), max(tempos) + OPEN_ARROW_BPM
    room = max(ROOM * (high - low), LEAST_ROOM_BPM)
    return low - room, high + room


def plot_jitter(exercise: ExerciseProgress, ax: Axes | None = None) -> Axes:
    """Draw the jitter of each week, ms, with 95 % intervals of luck from take to take.

    Parameters
    ----------
    exercise : ExerciseProgress
    ax : Axes, optional
        Where to draw; a new figure's by default.

    Returns
    -------
    Axes

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_students
    >>> axes = sc.plot_jitter(example_students()[0].exercises[0])
    >>> print(axes.texts[0].get_text())  # a page kept by hand has no jitter
    not measured
    """
    rows = [(w.monday, m.value, m.low, m.high) for w in exercise.weeks if (m := w.jitter_ms) is not None]
    return _plot_weekly(exercise, ax, rows, "s", ACCENT, "scatter of the strums, ms")


def plot_placement(exercise: ExerciseProgress, ax: Axes | None = None) -> Axes:
    """Draw the mean offset of each week, ms (+ = late), with 95 % intervals of luck from take to take.

    Parameters
    ----------
    exercise : ExerciseProgress
    ax : Axes, optional
        Where to draw; a new figure's by default.

    Returns
    -------
    Axes

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_students
    >>> len(sc.plot_placement(example_students()[0].exercises[0]).lines)  # pages kept by hand have none
    0
    """
    rows = [(w.monday, m.value, m.low, m.high) for w in exercise.weeks if (m := w.offset_ms) is not None]
    return _plot_weekly(exercise, ax, rows, "D", WARM, "on average early (−) or late (+), ms")


def plot_cause(exercise: ExerciseProgress, cause: Cause, ax: Axes | None = None) -> Axes:
    """Draw how large one thing that stands in the way was, week by week; dotted: what all weeks together tell."""
    scale, unit = (100.0, "%") if cause.unit == "share" else (1.0, cause.unit.replace("ms/min", "ms a minute"))
    rows = [(monday, scale * size, scale * size, scale * size) for monday, size in cause.weeks]
    ax = _plot_weekly(exercise, ax, rows, "^", INK, f"{cause_name(cause)}, {unit}")
    ends = [weeks_since(cause.weeks[i][0], exercise.weeks[0].monday) for i in (0, -1)]
    ax.plot(ends, [scale * cause.first.value, scale * cause.now.value], ":", color=SOFT, lw=1.4)
    return ax


def _plot_weekly(
    exercise: ExerciseProgress,
    ax: Axes | None,
    rows: Sequence[tuple[date, float, float, float]],
    mark: str,
    colour: str,
    axis_name: str,
) -> Axes:
    """Weekly values with their intervals, on an axis that follows the values: an interval that goes on is cut off."""
    from matplotlib.ticker import MaxNLocator

    ax = axes_or_new(ax, 6.0, 2.0)
    if not rows:
        return say(ax, "not known: no click was heard" if mark == "D" and exercise.weeks else "not measured")
    plain_axes(ax)
    first, last = exercise.weeks[0].monday, exercise.weeks[-1].monday
    x = np.array([weeks_since(monday, first) for monday, *_ in rows])
    value, low, high = (np.array(column) for column in list(zip(*rows, strict=True))[1:])
    bottom, top = _ends(value, low, high)
    shown = np.clip(low, bottom, top), np.clip(high, bottom, top)
    ax.vlines(x, *shown, color=colour, lw=1.0)
    ax.plot(x, value, mark, color=colour, ms=5)
    for at, below, above in zip(x, low < bottom, high > top, strict=True):
        if above:
            ax.plot([at], [top], "^", **CUT)
        if below:
            ax.plot([at], [bottom], "v", **CUT)
    ax.set_ylim(bottom, top)
    if bottom < 0 < top:
        ax.axhline(0, color=SOFT, lw=0.8)
    week_axis(ax, first, last, MOST_LABELS // 2)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=4))
    ax.set_ylabel(axis_name, color=INK, fontsize=LABEL_PT)
    ax.grid(axis="y", color=PALE, lw=0.6)
    return ax


def _ends(value: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[float, float]:
    """Ends of an axis with zero on it: all values and the usual interval fit; a far wider one does not stretch it."""
    usual = float(np.median(high - low)) / 2
    reach = max(BAR_SHOWN * usual, 0.5 * float(np.ptp(value)), 1.0)
    bottom = max(float(low.min()), float(value.min()) - reach)
    top = min(float(high.max()), float(value.max()) + reach)
    bottom, top = min(bottom, 0.0), max(top, 0.0)
    room = ROOM * (top - bottom)
    return (bottom - room if bottom < 0 else bottom), (top + room if top > 0 else top)


def weeks_since(monday: date, first: date) -> float:
    """Weeks from one Monday to another."""
    return (monday - first).days / 7


def week_axis(ax: Axes, first: date, last: date, most: int) -> None:
    """Mondays along the axis, so few that they do not overlap."""
    span = max(round(weeks_since(last, first)), 1)
    ax.set_xlim(-0.6, span + 0.6)
    mondays = [first + timedelta(weeks=i) for i in range(0, span + 1, math.ceil((span + 1) / most))]
    ax.set_xticks([weeks_since(m, first) for m in mondays], [_label(m, first) for m in mondays])


def _label(monday: date, first: date) -> str:
    text = f"{monday.day} {monday:%b}"
    return f"{text}\n{monday.year}" if monday == first or monday.year != (monday - timedelta(weeks=1)).year else text
