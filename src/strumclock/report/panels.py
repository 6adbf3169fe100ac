"""Further panels of the picture, each only where it was measured: chord changes, the stroke, errors corrected."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from strumclock.report.drawing import ACCENT, INK, PALE, SOFT, WARM, plain_axes, say, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.chords import Changes
    from strumclock.measure import Measurement

Draw = Callable[["Axes"], object]

_MOST_PAIRS = 5


def panels(measurement: Measurement) -> list[Draw]:
    """What to draw below the main picture, one function for each axes."""
    m = measurement
    drawn: list[Draw] = []
    if m.changes is not None:
        changes = m.changes
        drawn.append(lambda ax: plot_changes(changes, ax))
    return drawn


def plot_changes(changes: Changes, ax: Axes) -> Axes:
    """Draw what each change cost, by the pair of chords: lateness, or without a grid the pause before it."""
    plain_axes(ax)
    late = any(change.late_ms is not None for change in changes.changes)
    title_of(ax, "Each chord change")
    ax.set_xlabel("ms later than other strums" if late else "ms longer than the usual gap", color=INK)
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
    ax.set_yticks(-np.arange(len(pairs)), pairs)
    ax.set_ylim(-len(pairs) + 0.4, 0.6)
    ax.grid(axis="x", color=PALE, lw=0.6)
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_color(SOFT)
    return ax
