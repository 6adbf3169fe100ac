"""Where the strums of a take lie in its picture: over the bars, and how late or early; and how far the axis reaches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strumclock.arrays import Floats
from strumclock.report.places import beats_per_bar
from strumclock.robust import robust_sd

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

_OUTLIER_SD = 3.5  # robust standard deviations beyond which a strum is drawn at the edge, with its figure
_ROOM = 1.15  # of the tolerance that always fits the axis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """The strums on slots, in the picture's coordinates.

    Attributes
    ----------
    x : (n,) float
        Bars, the first at 1.
    y : (n,) float
        ms against the click, or against the own mean where the grid is only fitted.
    time_s : (n,) float
    mean : float
        Where the own mean lies on y.
    strokes : tuple of str
        The pattern's letters.
    at_change : (n,) bool
        The first strum of a new chord.
    """

    x: Floats
    y: Floats
    time_s: Floats
    mean: float
    strokes: tuple[str, ...]
    at_change: np.ndarray


def placed_strums(m: Measurement) -> Placed:
    """The strums of the part that is measured which have a slot."""
    strums = [s for s in m.strums if s.slot is not None and s.deviation_ms is not None]
    known = all(s.offset_ms is not None for s in strums)
    y = np.array([s.offset_ms if known else s.deviation_ms for s in strums], dtype=float)
    deviation = np.array([s.deviation_ms for s in strums], dtype=float)
    return Placed(
        x=np.array([bar_place(m, s.bar, s.beat, s.part) for s in strums], dtype=float),
        y=y,
        time_s=np.array([s.time_s for s in strums], dtype=float),
        mean=float(np.mean(y - deviation)) if strums else 0.0,
        strokes=tuple(s.stroke or "?" for s in strums),
        at_change=np.array([s.at_change for s in strums], dtype=bool),
    )


def bar_place(m: Measurement, bar: int | None, beat: int | None, part: int | None) -> float:
    """A place of the grid in bars, the first bar's start at 1."""
    per_beat = m.exercise.per_beat or 1
    return (bar or 1) + ((beat or 1) - 1 + ((part or 1) - 1) / per_beat) / beats_per_bar(m)


def bars_at(placed: Placed, times_s: list[float]) -> Floats:
    """Places in the bars of moments in the recording: between strums along the grid, outside them at its mean pace."""
    times = np.array(times_s, dtype=float)
    if placed.x.size < 2:
        return np.full(times.size, placed.x[0])
    pace = float(np.ptp(placed.x)) / float(np.ptp(placed.time_s))
    inside = np.clip(times, placed.time_s[0], placed.time_s[-1])
    return np.asarray(np.interp(inside, placed.time_s, placed.x) + pace * (times - inside))


def limits(y: Floats, mean: float, tolerance: float | None) -> tuple[float, float]:
    """Limits of the axis: everything but far outliers, the tolerance, and zero."""
    middle = float(np.median(y))
    sd = robust_sd(y)
    inside = y[np.abs(y - middle) <= max(_OUTLIER_SD * sd, tolerance or 0.0, 1.0)]
    room = _ROOM * tolerance if tolerance is not None else 0.0
    low = min(float(inside.min()), mean - room, 0.0)
    high = max(float(inside.max()), mean + room, 0.0)
    margin = max(0.08 * (high - low), 1.0)
    return low - 2.6 * margin, high + margin  # below is room for the marks of what was left out and added


def tolerance_ms(m: Measurement) -> float | None:
    """The standard's tolerance for the take as a whole."""
    if m.timing is not None and m.timing.within_tolerance is not None:
        return m.timing.within_tolerance.tolerance_ms
    return 1e3 * m.held.tolerance_s if m.held is not None else None
