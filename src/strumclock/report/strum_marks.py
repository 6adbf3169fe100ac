"""The marks of the picture's strums, and what they mean: kinds differ by shape, so that nothing rests on colour alone.

Down-strokes are filled, up-strokes hollow, muted ones crossed; a square lies round the first strum of a new chord; what
lies beyond the axis stands at its edge, with its figure and in the same shape.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.report import words
from strumclock.report.drawing import ACCENT, INK, LABEL_PT, PALE, SOFT, WARM
from strumclock.report.placed import Placed, bar_place, bars_at

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.pipeline import Measurement

LEFT_CLICK: dict[str, Any] = {"facecolor": "none", "edgecolor": PALE, "hatch": "///", "lw": 0}
"""A stretch in which the player kept a tempo of their own."""
_MARKS = {
    "D": ("o", "full", "down"),
    "U": ("o", "none", "up"),
    "x": ("X", "full", "muted"),
    "?": ("o", "full", "strum"),
}
_MANY = 150  # strums from which marks are drawn smaller
_MOST_FIGURES = 12  # of strums beyond the axis
_LEGEND_COLUMNS = 3  # by eye: what fits below the picture


def draw_strums(ax: Axes, placed: Placed, low: float, high: float) -> None:
    """Every strum on a slot; those beyond the limits at the edge, with their figures."""
    many = placed.x.size > _MANY
    size = 4.0 if many else 6.0
    room = 0.03 * (high - low)
    out_high, out_low = placed.y > high, placed.y < low + 2 * room
    y = np.where(out_high, high - room, np.where(out_low, low + 4 * room, placed.y))
    inside = ~(out_high | out_low)
    for letter in dict.fromkeys(placed.strokes):
        marker, fill, _ = _MARKS.get(letter, _MARKS["?"])
        chosen = inside & np.array([s == letter for s in placed.strokes])
        face = ACCENT if fill == "full" else "white"
        _dots(ax, placed.x[chosen], y[chosen], marker=marker, ms=size, mfc=face, mec=ACCENT, mew=1.2, alpha=0.85)
    change, square = placed.at_change, size + (3 if many else 5)
    _dots(ax, placed.x[change], y[change], marker="s", ms=square, mfc="none", mec=INK, mew=0.9, clip_on=False)
    for out, marker, side in ((out_high, "^", -1), (out_low, "v", 1)):
        _dots(ax, placed.x[out], y[out], marker=marker, ms=size, mfc=INK, mec=INK, zorder=5, clip_on=False)
        for i in np.flatnonzero(out)[:_MOST_FIGURES]:
            beside = 9 if change[i] else 6
            ax.annotate(
                words.number(float(placed.y[i]), sign=True), (placed.x[i], y[i]), xytext=(beside, 2 * side),
                textcoords="offset points", fontsize=LABEL_PT, color=INK, va="center", zorder=5,
            )  # fmt: skip


def draw_events(ax: Axes, m: Measurement, placed: Placed, low: float, high: float) -> None:
    """Marks just above the lower edge, what was left out and what was added; and where the click was left."""
    lower, upper = (low + share * (high - low) for share in (0.03, 0.09))
    omitted = np.array([bar_place(m, o.bar, o.beat, o.part) for o in m.omitted])
    _dots(ax, omitted, np.full(len(omitted), lower), marker="x", ms=7, mec=INK, mew=1.7, zorder=4)
    added = bars_at(placed, [s.time_s for s in m.strums if s.added])
    _dots(ax, added, np.full(len(added), upper), marker="+", ms=9, mec=INK, mew=1.7, zorder=4)
    for left in m.left_click:
        start, end = bars_at(placed, [left.start_s, left.end_s])
        ax.axvspan(start, end, **LEFT_CLICK, zorder=0.4)


def draw_legend(ax: Axes, m: Measurement, tolerance: str) -> None:
    """What the marks mean, below the axes; `tolerance` in words, empty where none is drawn."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    def mark(label: str, marker: str, ms: float = 7, mfc: str = "none", mec: str = INK, mew: float = 1.7) -> Line2D:
        return Line2D([], [], ls="", marker=marker, ms=ms, mfc=mfc, mec=mec, mew=mew, label=label)

    letters = {s.stroke or "?" for s in m.strums if s.slot is not None}
    handles: list[Any] = [
        mark(name, marker, 6, ACCENT if fill == "full" else "white", ACCENT, 1.2)
        for letter, (marker, fill, name) in _MARKS.items()
        if letter in letters
    ]
    if any(s.at_change for s in m.strums):
        handles.append(mark("at a chord change", "s", 9, mew=0.9))
    if m.omitted:
        handles.append(mark("left out", "x"))
    if any(s.added for s in m.strums):
        handles.append(mark("added", "+", 9))
    if m.left_click:
        handles.append(Patch(**LEFT_CLICK, label="left the click"))
    if m.timing is not None and m.timing.drift_ms_per_min is not None:
        handles.append(Line2D([], [], color=WARM, lw=2, label="drift line"))
        handles.append(Patch(color=PALE, alpha=0.75, label="its 95 % interval"))
    if tolerance:
        handles.append(Line2D([], [], color=SOFT, lw=1, ls=(0, (5, 3)), label=tolerance))
    if not handles:
        return
    ax.legend(
        handles=_by_rows(handles, _LEGEND_COLUMNS), loc="upper left", bbox_to_anchor=(-0.02, -0.17),
        ncols=min(len(handles), _LEGEND_COLUMNS), frameon=False, fontsize=LABEL_PT, handletextpad=0.5,
        columnspacing=1.2, borderaxespad=0.0,
    )  # fmt: skip


def legend_rows(m: Measurement) -> int:
    """How many rows `draw_legend` takes at most."""
    letters = {s.stroke or "?" for s in m.strums if s.slot is not None}
    known = [any(s.at_change for s in m.strums), bool(m.omitted), any(s.added for s in m.strums), bool(m.left_click)]
    return -(-(len(letters) + sum(known) + 3) // _LEGEND_COLUMNS)


def _by_rows(handles: list[Any], columns: int) -> list[Any]:
    """Handles in the order in which a legend, which fills columns, shows them row by row."""
    return [handle for column in range(columns) for handle in handles[column::columns]]


def _dots(ax: Axes, x: Any, y: Any, *, zorder: float = 3, **look: Any) -> None:
    """Marks without a line."""
    ax.plot(x, y, ls="", zorder=zorder, **look)
