"""Further panels of the picture, each only where it was measured: chord changes, the stroke, errors corrected."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strumclock.arrays import Floats
from strumclock.report.drawing import ACCENT, INK, LABEL_PT, PALE, SOFT, WARM, drawable, plain_axes, say, title_of
from strumclock.report.places import count_name
from strumclock.report.places_plot import plot_beats, shown_places

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.chords import Changes
    from strumclock.pipeline import Measurement
    from strumclock.stroke.values import Stroke
    from strumclock.tuning import Tuning


_MOST_PAIRS = 5  # by eye: names of pairs that fit side by side
_MANY_PLACES = 8  # names of places that fit side by side


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One panel: how to draw it, and whether it needs the width alone."""

    draw: Callable[[Axes], object]
    wide: bool = False


def panels(measurement: Measurement, *, everything: bool = False) -> list[Panel]:
    """The panels below the main picture: the means, and chord changes and pitch where they were measured.

    Parameters
    ----------
    measurement : Measurement
    everything : bool
        Also loudness, and each error with the one that follows: for who studies a take more closely.
    """
    m = measurement
    drawn = [Panel(draw=lambda ax: title_of(plot_beats(m, ax), "Means and 95 % intervals"))] if shown_places(m) else []
    if m.changes is not None:
        changes = m.changes
        drawn.append(Panel(draw=lambda ax: plot_changes(changes, ax)))
    if m.stroke is not None and everything:
        stroke, per_beat = m.stroke, m.exercise.per_beat or 1
        drawn.append(Panel(draw=lambda ax: plot_loudness(stroke, ax, per_beat=per_beat)))
    if m.correction is not None and everything:
        drawn.append(Panel(draw=lambda ax: plot_correction(m, ax), wide=True))  # it has its key on the right
    if m.tuning is not None:
        tuning = m.tuning
        drawn.append(Panel(draw=lambda ax: plot_pitch(tuning, ax)))
    return drawn


def plot_changes(changes: Changes, ax: Axes) -> Axes:
    """Draw what each change cost, by the pair of chords: lateness, or without a grid the pause before it."""
    plain_axes(ax)
    late = any(change.late_ms is not None for change in changes.changes)
    title_of(ax, "Each chord change")
    what = "ms later than other strums" if late else "ms longer than the usual gap"
    ax.set_xlabel(f"{what}\n(thick bar: mean)", color=INK, fontsize=LABEL_PT)
    by_pair: dict[str, list[float]] = {}
    for change in changes.changes:
        value = change.late_ms if late else change.pause_ms
        if value is not None:
            pair = f"{change.from_chord} → {change.to_chord}" if change.from_chord and change.to_chord else "change"
            by_pair.setdefault(pair, []).append(value)
    if not by_pair:
        return say(ax, "no change on a place of the pattern")
    pairs = sorted(by_pair, key=lambda pair: -float(np.mean(by_pair[pair])))[:_MOST_PAIRS]
    ax.axvline(0, color=INK, lw=1.1, zorder=1)
    for row, pair in enumerate(pairs):
        values = by_pair[pair]
        ax.plot(values, np.full(len(values), -row), ls="", marker="o", ms=5, mfc="white", mec=ACCENT, mew=1.1, zorder=2)
        ax.plot(float(np.mean(values)), -row, marker="|", ms=16, mew=2.6, color=WARM, zorder=3)
    ax.set_yticks(-np.arange(len(pairs)), [drawable(pair) for pair in pairs], parse_math=False)
    ax.set_ylim(-len(pairs) + 0.4, 0.6)
    ax.grid(axis="x", color=PALE, lw=0.6)
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_color(SOFT)
    return ax


def plot_loudness(stroke: Stroke, ax: Axes, *, per_beat: int = 1) -> Axes:
    """Draw the loudness of each place of the bar with its interval, or of every strum where places are not known."""
    plain_axes(ax)
    ax.set_ylabel("dB from the median", color=INK, fontsize=LABEL_PT)
    if stroke.accents:
        title_of(ax, "Loudness by place")
        for x, accent in enumerate(stroke.accents):
            level = accent.level_db
            ax.plot([x, x], [level.low, level.high], color=ACCENT, lw=1.8, zorder=2, solid_capstyle="butt")
            ax.plot(x, level.value, marker="o", ms=6, mfc="white", mec=ACCENT, mew=1.4, zorder=3)
        names = [count_name(accent.beat, accent.part, per_beat) for accent in stroke.accents]
        crowded = len(names) > _MANY_PLACES  # then only the beats are named
        ax.set_xticks(
            range(len(names)),
            [n if not crowded or a.part == 1 else "" for n, a in zip(names, stroke.accents, strict=True)],
        )
        ax.set_xlabel("place in the bar", color=INK, fontsize=LABEL_PT)
    else:
        title_of(ax, "Loudness of each strum")
        if not stroke.by_strum:
            return say(ax, "no strums")
        times, levels = zip(*((one.time_s, one.level_db) for one in stroke.by_strum), strict=True)
        ax.plot(times, levels, ls="", marker="o", ms=4, mfc="white", mec=ACCENT, mew=1.0, zorder=2)
        ax.set_xlabel("seconds in the recording", color=INK, fontsize=LABEL_PT)
    ax.axhline(0, color=INK, lw=0.9, zorder=1)
    ax.grid(axis="y", color=PALE, lw=0.6)
    return ax


def plot_correction(measurement: Measurement, ax: Axes) -> Axes:
    """Draw each strum's error against the one before, in neighbouring places, and what the share corrected makes of it.

    Errors are deviations from the take's mean less its drift. Marks along the flat line: each error is gone by the next
    strum; along the diagonal: it stays.
    """
    plain_axes(ax)
    title_of(ax, "Each error and the next")
    told = measurement.correction
    pairs = _neighbours(measurement)
    if told is None or len(pairs) < 2:
        return say(ax, "no neighbouring strums")
    this, following = pairs.T
    reach = 1.1 * float(np.max(np.abs(pairs)))
    ax.axhline(0, color=INK, lw=0.9, zorder=1)
    ax.plot([-reach, reach], [-reach, reach], color=SOFT, lw=0.9, ls=(0, (5, 3)), zorder=1)
    ax.plot(this, following, ls="", marker="o", ms=3.5, mfc="white", mec=ACCENT, mew=0.9, zorder=2)
    share = told.corrected_share
    ends = np.array([-reach, 0.0, reach])
    ax.fill_between(ends, (1 - share.low) * ends, (1 - share.high) * ends, color=PALE, alpha=0.75, lw=0, zorder=0.5)
    ax.plot(ends, (1 - share.value) * ends, color=WARM, lw=2.0, zorder=3)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(-reach, reach)
    ax.set_aspect("equal", anchor="W")
    ax.set_xlabel("error, ms", color=INK, fontsize=LABEL_PT)
    ax.set_ylabel("the next, ms", color=INK, fontsize=LABEL_PT)
    key = "flat line: an error is gone\nby the next strum\n\ndashed: it stays whole\n\nthick: this take"
    ax.text(1.08, 0.98, key, transform=ax.transAxes, ha="left", va="top", fontsize=LABEL_PT, color=SOFT)
    return ax


def plot_pitch(tuning: Tuning, ax: Axes) -> Axes:
    """Draw the guitar's pitch between half a semitone below and above the reference."""
    plain_axes(ax)
    title_of(ax, "Pitch of the guitar")
    cents = tuning.cents
    ax.axvline(0, color=INK, lw=1.1, zorder=1)
    ax.plot([cents.low, cents.high], [0, 0], color=ACCENT, lw=2.4, zorder=2, solid_capstyle="butt")
    ax.plot(cents.value, 0, marker="o", ms=7, mfc="white", mec=ACCENT, mew=1.6, zorder=3)
    ax.set_xlim(-50, 50)
    ax.set_ylim(-1, 1)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x", color=PALE, lw=0.6)
    ax.set_xlabel(f"cents from A = {tuning.a4_hz:g} Hz", color=INK, fontsize=LABEL_PT)
    return ax


def _neighbours(measurement: Measurement) -> Floats:
    """Errors of strums in neighbouring slots about the drift line: one row a pair, ms."""
    strums = [s for s in measurement.strums if s.slot is not None and s.deviation_ms is not None]
    if len(strums) < 3:
        return np.empty((0, 2))
    slot = np.array([s.slot for s in strums])
    error = np.array([s.deviation_ms for s in strums], dtype=float)
    minutes = np.array([s.time_s for s in strums]) / 60
    drift = measurement.timing.drift_ms_per_min if measurement.timing is not None else None
    error -= (drift.value if drift is not None else 0.0) * (minutes - minutes.mean())
    next_to = np.flatnonzero(np.diff(slot) == 1)
    return np.column_stack([error[next_to], error[next_to + 1]])
