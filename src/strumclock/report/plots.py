"""The two main plots of a take: every strum over the bars, and the mean at each place of the beat.

Upwards is late. Marks and line styles differ, so that nothing rests on colour alone. The functions draw onto axes that
the caller gives (or onto a new figure of their own) and never touch pyplot's state.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.arrays import Floats
from strumclock.report import words
from strumclock.report.drawing import (
    ACCENT,
    INK,
    PALE,
    SOFT,
    WARM,
    axes_or_new,
    plain_axes,
    say,
)
from strumclock.report.places import count_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.pipeline import Measurement
    from strumclock.timing import Group


_LEFT_CLICK: dict[str, Any] = {"facecolor": "none", "edgecolor": PALE, "hatch": "///", "lw": 0}
_MARKS = {
    "D": ("o", "full", "down"),
    "U": ("o", "none", "up"),
    "x": ("X", "full", "muted"),
    "?": ("o", "full", "strum"),
}
_MANY_BARS = 32  # bars from which only those that are named get a line
_MOST_TICKS = 17
_MANY = 150  # strums from which marks are drawn smaller
_OUTLIER_SD = 3.5  # robust standard deviations beyond which a strum is drawn at the edge, with its figure
_ROOM = 1.15  # of the tolerance that always fits the axis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Placed:
    """The strums on slots, in the picture's coordinates."""

    x: Floats  # bars, the first at 1
    y: Floats  # ms against the click, or against the own mean where the grid is only fitted
    time_s: Floats
    mean: float  # y of the own mean
    strokes: tuple[str, ...]


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
    plain_axes(ax)
    against_click = timing is not None and timing.offset_ms is not None
    zero = "the click" if against_click else "your own average"
    ax.set_ylabel(f"early ↓   ms from {zero}   late ↑", color=INK)
    ax.set_xlabel("bar", color=INK)
    placed = _placed(m)
    if timing is None or placed.x.size == 0:
        return _draw_apart(ax, m) if timing is not None else say(ax, "no grid: only strums were found")
    tolerance = _tolerance_ms(m)
    low, high = _limits(placed, tolerance)
    first, last = _bars(m)
    beyond = _bars_at(placed, [s.time_s for s in m.strums if s.slot is None])
    last = max(last, int(np.max(beyond, initial=last)))
    ax.set_xlim(min(first, float(np.min(beyond, initial=first))) - 0.15, last + 1.0)
    ticks = _bar_ticks(first, last)
    for bar in range(first, last + 2) if last - first < _MANY_BARS else ticks:
        ax.axvline(bar, color=PALE, lw=0.6, zorder=0)
    ax.axhline(0, color=INK, lw=1.1, zorder=1)
    if tolerance is not None:
        for sign in (-1, 1):
            ax.axhline(placed.mean + sign * tolerance, color=SOFT, lw=1.0, ls=(0, (5, 3)), zorder=1)
    _draw_drift(ax, m, placed)
    _draw_strums(ax, m, placed, low, high)
    _draw_events(ax, m, placed, low, high)
    ax.set_ylim(low, high)
    ax.set_xticks(ticks, [str(bar) for bar in ticks])
    if legend:
        _draw_legend(ax, m, tolerance)
    return ax


def plot_beats(measurement: Measurement, ax: Axes | None = None) -> Axes:
    """Draw the mean at each beat and each part of the beat, with its 95 % interval.

    With a fitted grid these are differences from the mean of all places.

    Parameters
    ----------
    measurement : Measurement
    ax : Axes, optional
        Where to draw; a new figure's by default.

    Returns
    -------
    Axes

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.plot_beats(example_take()).get_yticklabels()[0].get_text())
    beat 1
    """
    ax = axes_or_new(ax, 3.2, 4.5)
    plain_axes(ax)
    m, timing = measurement, measurement.timing
    rows = shown_places(m)
    contrasts = timing is not None and timing.offset_ms is None
    ax.set_xlabel(f"ms from {'your own average' if contrasts else 'the click'}\n← early   late →", color=INK)
    if not rows:
        return say(ax, "no means: too few strums")
    heights = -np.arange(len(rows), dtype=float)
    split = sum(kind == "beat" for kind, *_ in rows)
    heights[split:] -= 0.6 if 0 < split < len(rows) else 0.0
    named = {(f.kind, f.where) for f in timing.named} if timing is not None else set()
    ax.axvline(0, color=INK, lw=1.1, zorder=1)
    for height, (kind, group, _) in zip(heights, rows, strict=True):
        e = group.offset_ms
        if e is None:
            continue
        found = (kind, group.place) in named
        ax.plot(
            [e.low, e.high],
            [height, height],
            color=WARM if found else ACCENT,
            lw=3.2 if found else 1.8,
            zorder=2,
            solid_capstyle="butt",
        )
        ax.plot(
            e.value,
            height,
            marker="D" if found else "o",
            ms=7,
            mfc=WARM if found else "white",
            mec=WARM if found else ACCENT,
            mew=1.6,
            zorder=3,
        )
    ax.set_yticks(heights, [label for *_, label in rows])
    ax.set_ylim(heights[-1] - 0.7, 0.7)
    ends = [
        v for _, group, _ in rows if group.offset_ms is not None for v in (group.offset_ms.low, group.offset_ms.high)
    ]
    reach = 1.1 * max([abs(v) for v in ends] + [timing.audible_ms if timing is not None else 1.0])
    ax.set_xlim(-reach, reach)
    ax.grid(axis="x", color=PALE, lw=0.6)
    return ax


def _placed(m: Measurement) -> _Placed:
    strums = [s for s in m.strums if s.slot is not None and s.deviation_ms is not None]
    known = all(s.offset_ms is not None for s in strums)
    y = np.array([s.offset_ms if known else s.deviation_ms for s in strums], dtype=float)
    deviation = np.array([s.deviation_ms for s in strums], dtype=float)
    return _Placed(
        x=np.array([_bar_place(m, s.bar, s.beat, s.part) for s in strums], dtype=float),
        y=y,
        time_s=np.array([s.time_s for s in strums], dtype=float),
        mean=float(np.mean(y - deviation)) if strums else 0.0,
        strokes=tuple(s.stroke or "?" for s in strums),
    )


def _bar_place(m: Measurement, bar: int | None, beat: int | None, part: int | None) -> float:
    beats, per_beat = _beats_per_bar(m), m.exercise.per_beat or 1
    return (bar or 1) + ((beat or 1) - 1 + ((part or 1) - 1) / per_beat) / beats


def _beats_per_bar(m: Measurement) -> int:
    """Beats in the longest bar seen, so that a tempo map with changing meters stays in order."""
    seen = [s.beat for s in m.strums if s.beat is not None] + [o.beat for o in m.omitted]
    return max([m.exercise.beats_per_bar or 1, *seen])


def _bars(m: Measurement) -> tuple[int, int]:
    bars = [s.bar for s in m.strums if s.bar is not None] + [o.bar for o in m.omitted]
    return min(bars), max(bars)


def _bar_ticks(first: int, last: int) -> list[int]:
    """Bars to name on the axis: every one, or every second, fourth, eighth …, as phrases go."""
    step = 1
    while (last - first) / step > _MOST_TICKS:
        step *= 2
    return list(range(first, last + 1, step))


def _tolerance_ms(m: Measurement) -> float | None:
    if m.timing is not None and m.timing.within_tolerance is not None:
        return m.timing.within_tolerance.tolerance_ms
    return 1e3 * m.held.tolerance_s if m.held is not None else None


def _limits(placed: _Placed, tolerance: float | None) -> tuple[float, float]:
    """Limits of the axis: everything but far outliers, the tolerance, and zero."""
    middle = float(np.median(placed.y))
    sd = 1.4826 * float(np.median(np.abs(placed.y - middle)))
    inside = placed.y[np.abs(placed.y - middle) <= max(_OUTLIER_SD * sd, tolerance or 0.0, 1.0)]
    room = _ROOM * tolerance if tolerance is not None else 0.0
    low = min(float(inside.min()), placed.mean - room, 0.0)
    high = max(float(inside.max()), placed.mean + room, 0.0)
    margin = max(0.08 * (high - low), 1.0)
    return low - 2.6 * margin, high + margin  # below is room for the marks of what was left out and added


def _draw_apart(ax: Axes, m: Measurement) -> Axes:
    """No strum met the grid: places and strums in two rows over time, so that it can be seen how they lie apart."""
    if m.left_click and not any(s.added for s in m.strums):
        return say(ax, "every strum is at a tempo beside the click's")
    if not m.strums or not m.omitted:
        return say(ax, "no strum on a place of the pattern")
    places, strums = [o.time_s for o in m.omitted], [s.time_s for s in m.strums]
    ax.plot(places, np.ones(len(places)), ls="", marker="|", ms=16, mew=1.6, color=INK)
    ax.plot(strums, np.zeros(len(strums)), ls="", marker="+", ms=10, mew=1.8, color=ACCENT)
    ax.set_yticks([0, 1], ["strums", "places"])
    ax.set_ylim(-0.8, 1.8)
    ax.set_ylabel("")
    ax.set_xlabel("seconds in the recording", color=INK)
    ax.grid(axis="x", color=PALE, lw=0.6)
    return ax


def _draw_drift(ax: Axes, m: Measurement, placed: _Placed) -> None:
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


def _draw_strums(ax: Axes, m: Measurement, placed: _Placed, low: float, high: float) -> None:
    size = 4.0 if placed.x.size > _MANY else 6.0
    change = np.array([s.at_change for s in m.strums if s.slot is not None and s.deviation_ms is not None], dtype=bool)
    room = 0.03 * (high - low)
    out_high, out_low = placed.y > high, placed.y < low + 2 * room
    inside = ~(out_high | out_low)
    for letter in dict.fromkeys(placed.strokes):
        marker, fill, _ = _MARKS.get(letter, _MARKS["?"])
        chosen = inside & np.array([s == letter for s in placed.strokes])
        ax.plot(
            placed.x[chosen],
            placed.y[chosen],
            ls="",
            marker=marker,
            ms=size,
            mfc=ACCENT if fill == "full" else "white",
            mec=ACCENT,
            mew=1.2,
            alpha=0.85,
            zorder=3,
        )
    at = inside & change
    ax.plot(
        placed.x[at],
        placed.y[at],
        ls="",
        marker="s",
        ms=size + (3 if placed.x.size > _MANY else 5),
        mfc="none",
        mec=INK,
        mew=0.9,
        zorder=3,
    )
    for out, edge, marker, side in ((out_high, high - room, "^", -1), (out_low, low + 4 * room, "v", 1)):
        ax.plot(
            placed.x[out],
            np.full(int(out.sum()), edge),
            ls="",
            marker=marker,
            ms=size + 2,
            mfc=INK,
            mec=INK,
            zorder=5,
            clip_on=False,
        )
        for x, y in list(zip(placed.x[out], placed.y[out], strict=True))[:12]:
            ax.annotate(
                words.number(y, sign=True),
                (x, edge),
                xytext=(5, 4 * side),
                textcoords="offset points",
                fontsize=8,
                color=INK,
                va="center",
                zorder=5,
            )


def _draw_events(ax: Axes, m: Measurement, placed: _Placed, low: float, high: float) -> None:
    """Marks just above the lower edge: what was left out and what was added."""
    lower, upper = (low + share * (high - low) for share in (0.025, 0.075))
    omitted = [_bar_place(m, o.bar, o.beat, o.part) for o in m.omitted]
    ax.plot(omitted, np.full(len(omitted), lower), ls="", marker="x", ms=7, mec=INK, mew=1.7, zorder=4)
    added = _bars_at(placed, [s.time_s for s in m.strums if s.added])
    ax.plot(added, np.full(len(added), upper), ls="", marker="+", ms=9, mec=INK, mew=1.7, zorder=4)
    for left in m.left_click:
        start, end = _bars_at(placed, [left.start_s, left.end_s])
        ax.axvspan(start, end, **_LEFT_CLICK, zorder=0.4)


def _bars_at(placed: _Placed, times_s: list[float]) -> Floats:
    """Places in the bars of moments in the recording: between strums along the grid, outside them at its mean pace."""
    times = np.array(times_s, dtype=float)
    if placed.x.size < 2:
        return np.full(times.size, placed.x[0])
    pace = float(np.ptp(placed.x)) / float(np.ptp(placed.time_s))
    inside = np.clip(times, placed.time_s[0], placed.time_s[-1])
    return np.asarray(np.interp(inside, placed.time_s, placed.x) + pace * (times - inside))


def _draw_legend(ax: Axes, m: Measurement, tolerance: float | None) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    letters = {s.stroke or "?" for s in m.strums if s.slot is not None}
    handles: list[Any] = []
    for letter, (marker, fill, name) in _MARKS.items():
        if letter in letters:
            face = ACCENT if fill == "full" else "white"
            handles.append(Line2D([], [], ls="", marker=marker, ms=6, mfc=face, mec=ACCENT, mew=1.2, label=name))
    if any(s.at_change for s in m.strums):
        handles.append(Line2D([], [], ls="", marker="s", ms=9, mfc="none", mec=INK, mew=0.9, label="at a chord change"))
    if m.omitted:
        handles.append(Line2D([], [], ls="", marker="x", ms=7, mec=INK, mew=1.8, label="left out"))
    if any(s.added for s in m.strums):
        handles.append(Line2D([], [], ls="", marker="+", ms=9, mec=INK, mew=1.8, label="added"))
    if m.left_click:
        handles.append(Patch(**_LEFT_CLICK, label="left the click"))
    if m.timing is not None and m.timing.drift_ms_per_min is not None:
        handles.append(Line2D([], [], color=WARM, lw=2, label="drift line"))
        handles.append(Patch(color=PALE, alpha=0.75, label="its 95 % interval"))
    if tolerance is not None:
        handles.append(
            Line2D(
                [],
                [],
                color=SOFT,
                lw=1,
                ls=(0, (5, 3)),
                label=f"tolerance, ± {words.tolerance(tolerance)} about your average",
            )
        )
    if not handles:
        return
    ax.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(-0.02, -0.13),
        ncols=min(len(handles), 4),
        frameon=False,
        fontsize=9.5,
        handletextpad=0.5,
        columnspacing=1.4,
        borderaxespad=0.0,
    )


def shown_places(m: Measurement) -> list[tuple[str, Group, str]]:
    """The beats and parts whose means are known: kind, figures, label."""
    timing, per_beat = m.timing, m.exercise.per_beat or 1
    if timing is None:
        return []
    rows = [("beat", group, f"beat {group.place}") for group in timing.by_beat]
    if len(timing.by_part) > 1:
        for group in timing.by_part:
            name = count_name(0, group.place, per_beat).removeprefix("0").strip()
            rows.append(("part", group, f"all “{name}”" if name else "on the beat"))
    return [row for row in rows if row[1].offset_ms is not None]
