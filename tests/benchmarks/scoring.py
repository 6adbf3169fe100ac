"""A measurement held against the truth of its take."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.pipeline import Measurement
from strumclock.synthesis import Truth

FloatArray = NDArray[np.float64]

TOLERANCE_S = 0.05  # hits: the tolerance of onset detection's evaluation (mir_eval's default)
FIGURES = ("mean_offset_ms", "jitter_ms", "drift_ms_per_min")
TO_NORMAL_SD = 1.4826  # median absolute deviation → standard deviation of a normal distribution


@dataclass(frozen=True, kw_only=True)
class Score:
    """How a measurement stands against the truth; errors are measured − true, ms; NaN where there is nothing to hold.

    `error` and `within_2u` are of the take's own figures, those of its true strums; `covered` tells whether the
    player's interval holds what was asked of the player.
    """

    f: float
    bias_ms: float
    sd_ms: float
    mad_ms: float
    p95_ms: float
    in_2u: float
    median_u_ms: float
    wrong_slot: int
    grid_ms: float
    skew_ppm: float
    omitted: int
    added: int
    error: dict[str, float | None]
    within_2u: dict[str, bool]
    strum_error_ms: FloatArray
    strum_u_ms: FloatArray


def pairs(found_s: FloatArray, true_s: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices of found and true times matched one to one, nearest in sum, within the tolerance."""
    from scipy.optimize import linear_sum_assignment

    if not len(found_s) or not len(true_s):
        return np.empty(0, np.intp), np.empty(0, np.intp)
    apart = np.abs(found_s[:, None] - true_s[None])
    cost = np.where(apart <= TOLERANCE_S, apart, 1e3)
    i, j = linear_sum_assignment(cost)
    near = cost[i, j] < 1e3
    return i[near], j[near]


def true_figures(truth: Truth) -> dict[str, float]:
    """Mean offset, jitter about the drift line (n − 2) and drift of the strums that were played."""
    own = truth.strum_slot >= 0
    line_s, offset_ms = truth.slot_s[truth.strum_slot[own]], truth.offset_ms[own]
    slope, cut = np.polyfit(line_s, offset_ms, 1)
    scatter = (offset_ms - slope * line_s - cut).std(ddof=2)
    return dict(zip(FIGURES, (float(offset_ms.mean()), float(scatter), 60 * float(slope)), strict=True))


def score(m: Measurement, truth: Truth) -> Score:
    """Hold a measurement against its truth."""
    assert m.timing is not None
    found_s = np.array([s.time_s for s in m.strums])
    i, j = pairs(found_s, truth.strum_s)
    error_ms = 1000 * (found_s[i] - truth.strum_s[j])
    u_ms = np.array([m.strums[k].u_ms for k in i])
    middle = float(np.median(error_ms)) if len(i) else math.nan
    wrong, lines_ms = 0, []
    for a, b in zip(i, j, strict=True):
        strum, slot = m.strums[a], int(truth.strum_slot[b])
        wrong += strum.slot is not None and slot >= 0 and strum.slot != slot
        if strum.offset_ms is not None and slot >= 0:
            lines_ms.append(1000 * (strum.time_s - truth.slot_s[slot]) - strum.offset_ms)
    true = true_figures(truth)
    error: dict[str, float | None] = {}
    within: dict[str, bool] = {}
    for key in FIGURES:
        figure = getattr(m.timing, key)
        error[key] = None if figure is None else figure.value - true[key]
        if figure is not None:
            within[key] = abs(figure.value - true[key]) <= 2 * figure.u
    skew = m.grid.clock_skew_ppm if m.grid is not None else None
    return Score(
        f=2 * len(i) / max(len(found_s) + len(truth.strum_s), 1),
        bias_ms=float(error_ms.mean()) if len(i) else math.nan,
        sd_ms=float(error_ms.std()) if len(i) else math.nan,
        mad_ms=TO_NORMAL_SD * float(np.median(np.abs(error_ms - middle))) if len(i) else math.nan,
        p95_ms=float(np.quantile(np.abs(error_ms), 0.95)) if len(i) else math.nan,
        in_2u=float(np.mean(np.abs(error_ms) <= 2 * u_ms)) if len(i) else math.nan,
        median_u_ms=float(np.median(u_ms)) if len(i) else math.nan,
        wrong_slot=int(wrong),
        grid_ms=float(np.median(lines_ms)) if lines_ms else math.nan,
        skew_ppm=skew.value - truth.skew_ppm if skew is not None else math.nan,
        omitted=len(m.omitted) - len(truth.omitted),
        added=sum(s.slot is None for s in m.strums) - int(np.sum(truth.strum_slot < 0)),
        error=error,
        within_2u=within,
        strum_error_ms=error_ms,
        strum_u_ms=u_ms,
    )


def wilson(k: int, n: int, z: float = 1.96) -> tuple[float, float]:
    """95 % interval of a share k of n (Wilson 1927).

    Examples
    --------
    >>> tuple(round(x, 3) for x in wilson(45, 50))
    (0.786, 0.957)
    """
    if n == 0:
        return 0.0, 1.0
    p, d = k / n, 1 + z * z / n
    middle, half = (p + z * z / (2 * n)) / d, z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / d
    return middle - half, middle + half
