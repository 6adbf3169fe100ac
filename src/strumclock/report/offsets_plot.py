"""Every strum of a take over its bars: how late or early, the tolerance, the drift, what was left out and added.

Upwards is late. A take whose click steps is drawn with its steps, one that never met the click against its own tempo.
The functions draw onto axes that the caller gives (or onto a new figure of their own) and never touch pyplot's state.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strumclock.report import words
from strumclock.report.drawing import ACCENT, INK, LABEL_PT, PALE, SOFT, WARM, axes_or_new, plain_axes, say
from strumclock.report.placed import Placed, bars_at, limits, placed_strums, tolerance_ms
from strumclock.report.recording_plot import only_parts, plot_recording
from strumclock.report.strum_marks import draw_events, draw_legend, draw_strums

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.pipeline import Measurement
    from strumclock.pipeline.measurement import Step

_MANY_BARS = 32  # bars from which only those that are named get a line
_MOST_TICKS = 12  # by eye: bar numbers that fit side by side
_MOST_STEPS = 8  # whose tempo fits beside each other
_DASHED = (0, (5, 3))  # by eye: points drawn and left out


def plot_offsets(measurement: Measurement, ax: Axes | None = None, *, legend: bool = True) -> Axes:
    """Draw every strum over the bars: how late or early, drift line and band, tolerance, what was left out.

    Parameters
    ----------
    measurement : Measurement
        With a grid (not measured with ``free``).
    ax : Axes, optional
        Where to draw; a new figure's by default.
    legend : bool
        Explain the marks below the axes.

    Returns
    -------
    Axes

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.plot_offsets(example_take()).get_xlabel())
    bar
    """
    ax = axes_or_new(ax, 8.0, 4.5)
    m, timing = measurement, measurement.timing
    if only_parts(m):
        return plot_recording(m, ax, key=legend)
    placed = placed_strums(m)
    plain_axes(ax)
    against_click = timing is not None and timing.offset_ms is not None
    zero = "the click" if against_click else "your own average"
    ax.set_ylabel(f"early ↓  ms from {zero}  late ↑", color=INK, fontsize=LABEL_PT)
    ax.set_xlabel("bar", color=INK, fontsize=LABEL_PT)
    if timing is None or placed.x.size == 0:
        return _draw_apart(ax, m) if timing is not None else say(ax, "no grid: only strums were found")
    tolerance = tolerance_ms(m)
    low, high = limits(placed.y, placed.mean, tolerance)
    first, last = _bars(m)
    beyond = bars_at(placed, [s.time_s for s in m.strums if s.slot is None])
    last = max(last, int(np.max(beyond, initial=last)))
    ax.set_xlim(min(first, float(np.min(beyond, initial=first))) - 0.15, last + 1.0)
    ticks = _bar_ticks(first, last)
    for bar in range(first, last + 2) if last - first < _MANY_BARS else ticks:
        ax.axvline(bar, color=PALE, lw=0.6, zorder=0)
    ax.axhline(0, color=INK, lw=1.1, zorder=1)
    stepped = len(m.steps) > 1
    if stepped:
        _draw_steps(ax, m, placed)
    elif tolerance is not None:
        for sign in (-1, 1):
            ax.axhline(placed.mean + sign * tolerance, color=SOFT, lw=1.0, ls=_DASHED, zorder=1)
    _draw_drift(ax, m, placed)
    draw_strums(ax, placed, low, high)
    draw_events(ax, m, placed, low, high)
    ax.set_ylim(low, high)
    ax.set_xticks(ticks, [str(bar) for bar in ticks])
    if legend:
        about = (
            "the step's average" if stepped else f"your average, ± {words.tolerance(tolerance)}" if tolerance else ""
        )
        draw_legend(ax, m, f"tolerance about {about}" if about else "")
    return ax


def _bars(m: Measurement) -> tuple[int, int]:
    bars = [s.bar for s in m.strums if s.bar is not None] + [o.bar for o in m.omitted]
    return min(bars), max(bars)


def _bar_ticks(first: int, last: int) -> list[int]:
    """Bars to name on the axis: every one, or every second, fourth, eighth …, as phrases go."""
    step = 1
    while (last - first) / step > _MOST_TICKS:
        step *= 2
    return list(range(first, last + 1, step))


def _draw_apart(ax: Axes, m: Measurement) -> Axes:
    """No strum met the grid: places and strums in two rows over time, so that it can be seen how they lie apart."""
    if not m.strums or not m.omitted:
        return say(ax, "no strum on a place of the pattern")
    places, strums = [o.time_s for o in m.omitted], [s.time_s for s in m.strums]
    ax.plot(places, np.ones(len(places)), ls="", marker="|", ms=16, mew=1.6, color=INK)
    ax.plot(strums, np.zeros(len(strums)), ls="", marker="+", ms=10, mew=1.8, color=ACCENT)
    ax.set_yticks([0, 1], ["strums", "places"])
    ax.set_ylim(-0.8, 1.8)
    ax.set_ylabel("")
    ax.set_xlabel("seconds in the recording", color=INK, fontsize=LABEL_PT)
    ax.grid(axis="x", color=PALE, lw=0.6)
    return ax


def _draw_steps(ax: Axes, m: Measurement, placed: Placed) -> None:
    """Where the click's tempo steps, the tempo of each step, and its tolerance about its own average."""
    edges = [*_begins(m.steps, placed), np.inf]
    few = len(m.steps) <= _MOST_STEPS
    per_beat = m.exercise.per_beat or 1
    for number, (step, begin, end) in enumerate(zip(m.steps, edges, edges[1:], strict=False)):
        here = (placed.x >= begin) & (placed.x < end)
        right = min(end, ax.get_xlim()[1])
        if number:
            ax.axvline(begin, color=INK, lw=1.4, ls=(0, (1, 1.5)), zorder=1)
        if few or number % 2 == 0:
            tempo = f"{words.bpm(step.bpm)} bpm" if few else words.bpm(step.bpm)
            ax.annotate(
                tempo, (begin, 1), xycoords=("data", "axes fraction"),
                xytext=(1, 4), textcoords="offset points", va="bottom", fontsize=LABEL_PT, color=INK, zorder=5,
            )  # fmt: skip
        if m.held is None or not here.any():
            continue
        mean, room = float(placed.y[here].mean()), 1e3 * m.held.standard.tolerance_s(60 / step.bpm / per_beat)
        ax.hlines([mean - room, mean + room], max(begin, ax.get_xlim()[0]), right, color=SOFT, lw=1.0, ls=_DASHED)


def _begins(steps: tuple[Step, ...], placed: Placed) -> list[float]:
    """Where in the bars each step begins: with a bar, unless the step before it played in that bar too."""
    begins = []
    for before, step in zip((None, *steps), steps, strict=False):
        alone = step.bars is not None and (before is None or before.bars is None or before.bars[1] < step.bars[0])
        begins.append(float(step.bars[0]) if alone and step.bars else float(bars_at(placed, [step.start_s])[0]))
    return begins


def _draw_drift(ax: Axes, m: Measurement, placed: Placed) -> None:
    drift = m.timing.drift_ms_per_min if m.timing is not None else None
    if drift is None or placed.x.size < 2:
        return
    minutes = (placed.time_s - placed.time_s.mean()) / 60
    order = np.argsort(placed.x)
    x, minutes = placed.x[order], minutes[order]
    line = placed.mean + drift.value * minutes
    mean = m.timing.mean_offset_ms if m.timing is not None else None
    below, above = (mean.value - mean.low, mean.high - mean.value) if mean is not None else (0.0, 0.0)
    tilt_down, tilt_up = (drift.value - drift.low) * np.abs(minutes), (drift.high - drift.value) * np.abs(minutes)
    ax.fill_between(
        x, line - np.hypot(below, tilt_down), line + np.hypot(above, tilt_up), color=PALE, alpha=0.75, lw=0, zorder=0.5
    )
    ax.plot(x, line, color=WARM, lw=2.0, zorder=4)
