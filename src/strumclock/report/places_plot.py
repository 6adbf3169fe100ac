"""Where in the bar the strums lie: the mean at each beat and each part of the beat, with its interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strumclock.report.drawing import ACCENT, INK, LABEL_PT, PALE, WARM, axes_or_new, plain_axes, say
from strumclock.report.places import count_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.pipeline import Measurement
    from strumclock.timing import Group


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
    ax.set_xlabel(
        f"ms from {'your own average' if contrasts else 'the click'}\n← early   late →", color=INK, fontsize=LABEL_PT
    )
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
