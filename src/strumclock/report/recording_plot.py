"""The whole recording over time: each part where it lies, its strums against a grid of its own, its name in words.

A stretch that left the click is drawn against the player's own tempo; the click's beats pass through it as slanted
lines, since from that tempo the click is what moves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strumclock.arrays import Floats
from strumclock.pipeline.own_tempo import OwnTempo, own_tempo
from strumclock.report.drawing import ACCENT, INK, LABEL_PT, PALE, SOFT, drawable, plain_axes, say
from strumclock.report.part_words import part_lines
from strumclock.report.placed import limits

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.pipeline import Measurement

MOST_LINES = 8
"""Parts that are named below the picture."""
LEAST_ON_GRID = 8
"""Strums on the grid from which a take that left the click has a picture over its bars: as many as figures need."""
LINE_PT = 17
"""From one line of the key to the next, points."""
ABOVE_PT = 20
"""Room between the axes and a title where numbers of parts, or tempi of steps, stand above the axes, points."""
_ROOM_S = 0.4  # beyond a part's first and last strum, so that they lie inside its band
_APART = 0.03  # of the axis, between the numbers of neighbouring parts
_MANY = 150  # strums from which marks are drawn smaller


def only_parts(measurement: Measurement) -> bool:
    """Whether the parts are all there is to draw: the player kept their own tempo, and next to nothing met the grid."""
    m = measurement
    return bool(m.left_click) and m.timing is not None and m.timing.n < LEAST_ON_GRID


def plot_recording(measurement: Measurement, ax: Axes, *, key: bool = True) -> Axes:
    """Draw the parts of a recording over its seconds, each against its own grid.

    Parameters
    ----------
    measurement : Measurement
    ax : Axes
    key : bool
        Name the parts below the axes, a line each.

    Returns
    -------
    Axes
    """
    m = measurement
    plain_axes(ax)
    own = [own_tempo(m, left) for left in m.left_click]
    on_grid = _on_grid(m)
    y = np.concatenate([on_grid[1], *(one.deviation_ms for one in own)])
    if not y.size:
        return say(ax, "no strum on a place of the pattern")
    low, high = limits(y, 0.0, None)
    ax.set_ylim(low, high)
    ax.set_xlim(0, max(m.take.duration_s, float(on_grid[0].max(initial=0.0)), *(p.end_s for p in m.parts), 1.0))
    _draw_parts(ax, m)
    size = 3.2 if y.size > _MANY else 4.4
    _draw_dots(ax, *on_grid, marker="o", size=size, face=ACCENT)
    for one in own:
        _draw_dots(ax, one.time_s, one.deviation_ms, marker="D", size=size, face="white")
        _draw_click(ax, one)
    sounds = [s.time_s for s in m.ignored]
    ax.plot(sounds, np.full(len(sounds), low + 0.04 * (high - low)), ls="", marker="|", ms=5, mew=0.8, color=SOFT)
    ax.axhline(0, color=INK, lw=1.0, zorder=1)
    ax.set_xlabel("seconds in the recording", color=INK, fontsize=LABEL_PT)
    ax.set_ylabel("ms, ↑ late", color=INK, fontsize=LABEL_PT)
    for row, line in enumerate(recording_key(m) if key else ()):
        ax.annotate(
            drawable(line), (0, 0), xycoords="axes fraction", xytext=(-30, -40 - LINE_PT * row),
            textcoords="offset points", va="top", fontsize=LABEL_PT, color=INK, parse_math=False,
        )  # fmt: skip
    return ax


def recording_key(measurement: Measurement) -> list[str]:
    """What the numbers and marks mean: a line for each part, and one for what else is drawn."""
    m = measurement
    lines = part_lines(m)
    more = len(lines) - MOST_LINES
    marks = ["● from the part's own grid"] if any(s.slot is not None for s in (*m.strums, *m.elsewhere)) else []
    if m.left_click:
        marks += ["◇ from the player's own tempo, dotted: the click's beats go by"]
    if m.ignored:
        marks += ["small strokes: other sounds"]
    return [*lines[:MOST_LINES], *([f"and {more} more"] if more > 0 else []), "; ".join(marks)]


def _on_grid(m: Measurement) -> tuple[Floats, Floats]:
    """Times of all strums that have a slot, whichever part's, and how late each is in its own part's grid."""
    strums = [s for s in (*m.strums, *m.elsewhere) if s.grid_s is not None or s.deviation_ms is not None]
    known = [s.offset_ms if s.offset_ms is not None else s.deviation_ms for s in strums]
    bare = [
        value if value is not None else 1000 * (s.time_s - (s.grid_s or 0))
        for s, value in zip(strums, known, strict=True)
    ]
    return np.array([s.time_s for s in strums], dtype=float), np.array(bare, dtype=float)


def _draw_parts(ax: Axes, m: Measurement) -> None:
    """A band for each part with its number above; stops are hatched, what the figures are of is not shaded."""
    least = _APART * ax.get_xlim()[1]
    at = -np.inf
    for number, part in enumerate(m.parts, 1):
        stopped = part.kind == "stopped"
        room = -_ROOM_S if stopped else _ROOM_S
        span = (part.start_s - room, part.end_s + room)
        if stopped:
            ax.axvspan(*span, facecolor="none", edgecolor=PALE, hatch="///", lw=0, zorder=0.3)
        else:
            ax.axvspan(
                *span,
                facecolor="none" if part.measured else PALE,
                alpha=None if part.measured else 0.5,
                lw=0,
                zorder=0.2,
            )
            ax.vlines(span, 0, 1, transform=ax.get_xaxis_transform(), color=SOFT, lw=0.8, zorder=0.4)
        at = max(at + least, (part.start_s + part.end_s) / 2)
        ax.annotate(
            str(number), (at, 1), xycoords=("data", "axes fraction"), xytext=(0, 3), textcoords="offset points",
            ha="center", va="bottom", fontsize=LABEL_PT, fontweight="bold" if part.measured else "normal", color=INK,
        )  # fmt: skip


def _draw_dots(ax: Axes, time_s: Floats, y: Floats, *, marker: str, size: float, face: str) -> None:
    """Strums; those beyond the axis as triangles at its edge."""
    low, high = ax.get_ylim()
    room = 0.04 * (high - low)
    above, below = y > high, y < low
    inside = ~(above | below)
    ax.plot(time_s[inside], y[inside], ls="", marker=marker, ms=size, mfc=face, mec=ACCENT, mew=1.0, zorder=3)
    for out, edge, triangle in ((above, high - room, "^"), (below, low + 3 * room, "v")):
        edges = np.full(int(out.sum()), edge)
        ax.plot(time_s[out], edges, ls="", marker=triangle, ms=size, mfc=INK, mec=INK, zorder=3)


def _draw_click(ax: Axes, own: OwnTempo) -> None:
    """The click's beats as the player's own tempo sees them: they move on from one to the next, and come round."""
    if own.click_s.size < 2:
        return
    beat_ms = 1000 * own.beat_s
    away = 1000 * (own.click_s - own.first_s)
    lap = np.rint(away / beat_ms)
    y = away - lap * beat_ms
    between = float(np.median(np.diff(away)))
    step = between - float(np.rint(between / beat_ms)) * beat_ms
    breaks = np.flatnonzero(np.abs(np.diff(y) - step) > 0.25 * beat_ms) + 1
    for some_s, some_y in zip(np.split(own.click_s, breaks), np.split(y, breaks), strict=True):
        ends = np.concatenate([[some_y[0] - step], some_y, [some_y[-1] + step]])
        times = np.concatenate([[some_s[0] - own.beat_s], some_s, [some_s[-1] + own.beat_s]])
        ax.plot(times, ends, color=INK, lw=1.0, ls=(0, (1, 1.5)), zorder=2, clip_on=True)
