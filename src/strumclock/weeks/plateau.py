"""Is a player stuck?  A plateau is named only where a broken line supports it; a climber must not be told so.

Three things must come together, over eight weeks or more: the line flattens more than a straight line with such noise
does one time in twenty; after the break little is left of the slope before it; and every place of the break that the
weeks allow leaves a slope that is, with 95 % confidence, less than half a percent of the tempo a week. The last
protects a player who climbs slowly. Among simulated climbers who gain one percent a week or more (with gaps, in steps
of five or by the standard's next tempo, with luck from week to week and take to take) at most 5 % are called stuck.
The price: of plateaus with that much luck a tenth is recognised after ten weeks and about half after twenty. Both are
measured in ``tests/test_progress_plateau.py``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.weeks.breaks import broken_line, flattening_p, hinge_fit, knots
from strumclock.weeks.variation import t_quantile

MIN_WEEKS = 8
MIN_EACH_SIDE = 4  # three weeks in a row at one tempo are no plateau: the standard asks for two takes for one step up
ALPHA = 0.05
LEFT_OF_SLOPE = 0.25  # a climb that slows to half or a third goes on
STILL_CLIMBS_PER_WEEK = 0.005  # share of the tempo; the standard's smallest step (1 bpm) every other week at 100 bpm
ROUNDING_VARIANCE = 1 / 12  # bpm²: tempos are set in whole bpm, so that identical weeks are no certainty


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """A stretch at the end in which the tempo does not rise.

    Attributes
    ----------
    since_week : float
        Where the line breaks, in the units of the weeks given.
    bpm : float
        Median of the weeks after it.
    before_per_week, after_per_week : float
        Slopes, bpm a week.
    after_high_per_week : float
        Upper 95 % limit of the slope after the break, wherever the break may be.
    p : float
        How often a straight line looks so broken.
    """

    since_week: float
    bpm: float
    before_per_week: float
    after_per_week: float
    after_high_per_week: float
    p: float


def plateau(week: Sequence[float], bpm: Sequence[float]) -> Plateau | None:
    """The plateau that the weeks end in; None where they do not support one.

    Parameters
    ----------
    week : sequence of float
        When, in weeks, increasing; missing weeks are left out.
    bpm : sequence of float
        Tempo reached in each.
    """
    x, y = np.asarray(week, dtype=float), np.asarray(bpm, dtype=float)
    if x.size < MIN_WEEKS:
        return None
    line = broken_line(x, y, min_each_side=MIN_EACH_SIDE)
    if line is None or line.before <= 0 or line.after > LEFT_OF_SLOPE * line.before:
        return None
    level = float(np.median(y[x >= line.at]))
    high = _highest_slope_after(x, y, line.at, line.rss)
    if high >= STILL_CLIMBS_PER_WEEK * level or -line.after >= STILL_CLIMBS_PER_WEEK * level:
        return None  # it may be climbing still; or it is falling, which is another thing
    p = flattening_p(x, y, min_each_side=MIN_EACH_SIDE)
    if p > ALPHA:
        return None
    return Plateau(
        since_week=line.at,
        bpm=level,
        before_per_week=line.before,
        after_per_week=line.after,
        after_high_per_week=high,
        p=p,
    )


def _highest_slope_after(x: NDArray[np.float64], y: NDArray[np.float64], at: float, rss: float) -> float:
    """Upper one-sided 95 % limit of the slope after the break, the largest over all breaks that fit nearly as well."""
    dof = x.size - 4
    t = t_quantile(dof, 0.9)
    allowed = max(rss, ROUNDING_VARIANCE * dof) * (1 + t_quantile(dof, 0.9) ** 2 / dof)
    highest = -math.inf
    for place in (at, *knots(x, MIN_EACH_SIDE)):
        slopes, covariance, left = hinge_fit(x, y, float(place))
        if left <= allowed:
            scale = max(left / dof, ROUNDING_VARIANCE)
            u = math.sqrt(max(scale * (covariance[1, 1] + covariance[2, 2] + 2 * covariance[1, 2]), 0.0))
            highest = max(highest, float(slopes[1] + slopes[2]) + t * u)
    return highest
