"""Pictures of a take: every strum over the bars, the mean at each place of the beat, and both with the words.

Upwards is late. Marks and line styles differ, so that nothing rests on colour alone. The functions draw onto axes that the
caller gives (or onto a new figure of their own) and never touch pyplot's state.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from strumclock.errors import OutputError
from strumclock.report import words
from strumclock.report.sentences import count_name, headline, lines, title
from strumclock.report.writing import write_file

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from strumclock.measure import Measurement
    from strumclock.timing import Estimate, Group

Floats = NDArray[np.float64]

INK, SOFT, PALE, ACCENT, WARM = "#1d2733", "#5b6673", "#d5dae0", "#1f5f99", "#a8480c"  # dark to light also in grey
WIDTH_IN, HEIGHT_IN, DPI = 12.0, 7.2, 100
FORMATS = ("png", "svg", "pdf")

_MARKS = {
    "D": ("o", "full", "down"),
    "U": ("o", "none", "up"),
    "x": ("X", "full", "muted"),
    "?": ("o", "full", "strum"),
}
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
    """Draw every strum over the bars: how late or early, the drift line with its band, the tolerance, what was left out.

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
    """
    ax = _axes(ax, 8.0, 4.5)
    m, timing = measurement, measurement.timing
    _plain_axes(ax)
    against_click = timing is not None and timing.offset_ms is not None
    zero = "the click" if against_click else "your own average"
    ax.set_ylabel(f"early ↓   ms from {zero}   late ↑", color=INK)
    ax.set_xlabel("bar", color=INK)
    placed = _placed(m)
    if timing is None or placed.x.size == 0:
        _say(ax, "no strum on a place of the pattern" if timing is not None else "no grid: only strums were found")
        ax.set_yticks([])
        ax.set_xticks([])
        return ax
    tolerance = _tolerance_ms(m)
    low, high = _limits(placed, tolerance)
    first, last = _bars(m)
    ax.set_xlim(first - 0.15, last + 1.0)
    for bar in range(first, last + 2):
        ax.axvline(bar, color=PALE, lw=0.6, zorder=0)
    for x in _change_places(m):
        ax.axvline(x, color=SOFT, lw=0.9, ls=(0, (1, 2.5)), zorder=1)
    ax.axhline(0, color=INK, lw=1.1, zorder=1)
    if tolerance is not None:
        for sign in (-1, 1):
            ax.axhline(placed.mean + sign * tolerance, color=SOFT, lw=1.0, ls=(0, (5, 3)), zorder=1)
    _draw_drift(ax, m, placed)
    _draw_strums(ax, m, placed, low, high)
    _draw_events(ax, m, placed, low, high)
    ax.set_ylim(low, high)
    ax.set_xticks(*_bar_ticks(first, last))
    if legend:
        _draw_legend(ax, m, tolerance)
    return ax


def plot_beats(measurement: Measurement, ax: Axes | None = None) -> Axes:
    """Draw the mean at each beat and each part of the beat, with its 95 % interval.

    With a fitted grid these are differences from the mean of all places.
    """
    ax = _axes(ax, 3.2, 4.5)
    _plain_axes(ax)
    m, timing = measurement, measurement.timing
    rows = _places(m)
    contrasts = timing is not None and timing.offset_ms is None
    ax.set_xlabel(f"ms from {'your own average' if contrasts else 'the click'}\n← early   late →", color=INK)
    if not rows:
        _say(ax, "no means: too few strums")
        ax.set_xticks([])
        ax.set_yticks([])
        return ax
    heights = -np.arange(len(rows), dtype=float)
    split = sum(kind == "beat" for kind, *_ in rows)
    heights[split:] -= 0.6 if 0 < split < len(rows) else 0.0
    named = {(f.kind, f.place) for f in timing.named} if timing is not None else set()
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
    reach = 1.1 * max([abs(v) for v in ends] or [1.0])
    ax.set_xlim(-reach, reach)
    ax.grid(axis="x", color=PALE, lw=0.6)
    return ax


def plot_take(measurement: Measurement, *, words_below: bool = True) -> Figure:
    """Compose the picture that is sent to a student: headline, every strum, the beats, and the words.

    Parameters
    ----------
    measurement : Measurement
    words_below : bool
        The sentences below the picture; without them it is for a place that has them already, such as the page.

    Returns
    -------
    Figure
        12 inches wide; save it with ``figure.savefig``.
    """
    from strumclock.report.panels import panels

    extra = panels(measurement)
    said = _under_picture(measurement) if words_below else []
    words_in = 0.22 * len(said) + 0.35
    height_in = HEIGHT_IN - 1.6 + words_in + (2.3 if extra else 0.0)
    figure = _figure(WIDTH_IN, height_in)

    def up(inches: float) -> float:
        return inches / height_in

    top = 1 - up(1.15)
    figure.text(
        0.03, 1 - up(0.22), _fit(headline(measurement), 78), fontsize=19, fontweight="bold", color=INK, va="top"
    )
    figure.text(0.03, 1 - up(0.66), _fit(title(measurement), 130), fontsize=11.5, color=SOFT, va="top")
    bottom = up(words_in + (2.6 if extra else 0.0) + 1.05)
    if measurement.timing is None:
        _plot_free(measurement, figure.add_axes((0.075, bottom, 0.895, top - bottom)))
    else:
        plot_offsets(measurement, figure.add_axes((0.075, bottom, 0.60, top - bottom)))
        plot_beats(measurement, figure.add_axes((0.775, bottom, 0.195, top - bottom)))
    for i, draw in enumerate(extra):
        width = 0.895 / len(extra)
        draw(figure.add_axes((0.075 + i * width + 0.01, up(words_in + 0.75), width - 0.06, up(1.5))))
    for i, line in enumerate(said):
        figure.text(0.03, up(words_in - 0.08 - 0.22 * i), line, fontsize=11.5, color=INK, va="top")
    return figure


def write_plot(measurement: Measurement, path: str | os.PathLike[str]) -> Path:
    """Write `plot_take`'s picture to a file, by its ending: png, svg or pdf.

    Raises
    ------
    OutputError
        For another ending, or where the file cannot be written.
    """
    ending = Path(path).suffix.lower().removeprefix(".")
    if ending not in FORMATS:
        raise OutputError(
            f"a picture's name must end in .{', .'.join(FORMATS)}; got {os.fspath(path)!r}; change its ending"
        )
    return write_file(path, lambda temporary: save(plot_take(measurement), temporary, ending))


def save(figure: Figure, to: Path | BinaryIO, ending: str) -> None:
    """Save a figure so that the same take gives the same bytes."""
    import matplotlib as mpl

    undated = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(ending, {})
    with mpl.rc_context({"svg.hashsalt": "strumclock", "svg.fonttype": "path"}):
        figure.savefig(to, format=ending, dpi=DPI, metadata=undated)


def _axes(ax: Axes | None, width_in: float, height_in: float) -> Axes:
    if ax is not None:
        return ax
    figure = _figure(width_in, height_in)
    return figure.add_axes((0.16, 0.2, 0.8, 0.74))


def _figure(width_in: float, height_in: float) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def _plain_axes(ax: Axes) -> None:
    for name in ("top", "right"):
        ax.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        ax.spines[name].set_color(SOFT)
    ax.tick_params(colors=INK, labelsize=10)


def _say(ax: Axes, text: str) -> None:
    ax.text(0.5, 0.5, text, transform=ax.transAxes, ha="center", va="center", color=SOFT, fontsize=11)


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


def _bar_ticks(first: int, last: int) -> tuple[list[int], list[str]]:
    step = next(s for s in (1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 10**9) if (last - first) / s <= 17)
    ticks = [bar for bar in range(first, last + 1) if (bar - first) % step == 0]
    return ticks, [str(bar) for bar in ticks]


def _change_places(m: Measurement) -> list[float]:
    return [_bar_place(m, s.bar, s.beat, s.part) for s in m.strums if s.at_change and s.slot is not None]


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
    return low - 2.2 * margin, high + margin  # below is room for the marks of what was left out and added


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
    ax.plot(placed.x[at], placed.y[at], ls="", marker="s", ms=size + 5, mfc="none", mec=INK, mew=0.9, zorder=3)
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
    height = low + 0.025 * (high - low)
    omitted = [_bar_place(m, o.bar, o.beat, o.part) for o in m.omitted]
    ax.plot(omitted, np.full(len(omitted), height), ls="", marker="x", ms=8, mec=INK, mew=1.8, zorder=4)
    added_s = [s.time_s for s in m.strums if s.slot is None]
    if added_s and placed.x.size > 1:
        added = np.interp(added_s, placed.time_s, placed.x)
        ax.plot(added, np.full(len(added), height), ls="", marker="+", ms=10, mec=INK, mew=1.8, zorder=4)


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
    if any(s.slot is None for s in m.strums):
        handles.append(Line2D([], [], ls="", marker="+", ms=9, mec=INK, mew=1.8, label="added"))
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


def _places(m: Measurement) -> list[tuple[str, Group, str]]:
    timing, per_beat = m.timing, m.exercise.per_beat or 1
    if timing is None:
        return []
    rows = [("beat", group, f"beat {group.place}") for group in timing.by_beat]
    if len(timing.by_part) > 1:
        for group in timing.by_part:
            name = count_name(0, group.place, per_beat).removeprefix("0").strip()
            rows.append(("part", group, f"all “{name}”" if name else "on the beat"))
    return [row for row in rows if row[1].offset_ms is not None]


def _plot_free(m: Measurement, ax: Axes) -> None:
    """Strums in time, with the gap to the one before: what can be seen without a grid."""
    _plain_axes(ax)
    times = np.array([s.time_s for s in m.strums])
    ax.set_xlabel("seconds in the recording", color=INK)
    ax.set_ylabel("ms since the strum before", color=INK)
    if times.size < 2:
        _say(ax, "fewer than two strums")
        return
    ax.plot(times[1:], 1e3 * np.diff(times), ls="", marker="o", ms=4.5, mfc="white", mec=ACCENT, mew=1.2)
    ax.set_ylim(bottom=0)
    ax.grid(color=PALE, lw=0.6)


def _under_picture(m: Measurement) -> list[str]:
    """The sentences below the picture: every row of the summary that fits, wrapped."""
    import textwrap

    chosen = [line.text for line in lines(m) if line.topic in _TOPICS_BELOW]
    wrapped = [piece for text in chosen for piece in textwrap.wrap(text, 135)]
    return wrapped[:9]


_TOPICS_BELOW = ("On the click", "Pace", "Where", "Chord changes", "Tempo", "Next", "Not known", "Strums")


def _fit(text: str, characters: int) -> str:
    return text if len(text) <= characters else text[: characters - 1].rstrip() + "…"
