"""Where does a series change?  A broken line (climbing, then flat) and a jump between two levels.

Whether a break is real is told by simulation: how often straight lines with noise of unknown size look as broken. The
statistic does not depend on that size, so the answer is exact for normal errors however few the weeks are; for a
few weeks the usual approximations are not.

References
----------
Hudson, D. J. (1966), J. Am. Stat. Assoc. 61:1097 (fitting a broken line). Bacon & Watts (1971), Biometrika 58:525.
Pettitt, A. N. (1979), Appl. Stat. 28:126 (a jump, by ranks).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

SIMULATIONS = 1999  # p is known within 0.005 at 0.05
SEED = 19680  # any; fixed, so that the same record gives the same answer
MIN_EACH_SIDE = 3  # two points always lie on a line

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokenLine:
    """Two lines that meet.

    Attributes
    ----------
    at : float
        Where, in the units of x.
    before, after : float
        Slopes.
    before_u, after_u : float
        Their standard uncertainties, given the place of the break.
    rss, rss_straight : float
        Sums of squares left by it, and by one straight line.
    """

    at: float
    before: float
    after: float
    before_u: float
    after_u: float
    rss: float
    rss_straight: float


def broken_line(x: ArrayLike, y: ArrayLike, *, min_each_side: int = MIN_EACH_SIDE) -> BrokenLine | None:
    """The broken line of least squares; None where a break would leave too few points on a side.

    Parameters
    ----------
    x : array-like [n]
        Increasing (ties allowed).
    y : array-like [n]
    min_each_side : int
        Points before and after the break at least.
    """
    a, b = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    order = np.argsort(a, kind="stable")
    a, b = a[order], b[order]
    candidates = [float(v) for v in knots(a, min_each_side)]
    for i in range(min_each_side, a.size - min_each_side + 1):  # between two points the lines are free to meet
        if a[i - 1] == a[i]:
            continue
        left, right = _line(a[:i], b[:i]), _line(a[i:], b[i:])
        if left and right and left[1] != right[1]:
            meet = (left[0] - right[0]) / (right[1] - left[1])
            if a[i - 1] < meet < a[i]:
                candidates.append(meet)
    fits = [(hinge_fit(a, b, at)[2], at) for at in candidates]
    if not fits:
        return None
    rss, at = min(fits)
    coefficients, covariance, _ = hinge_fit(a, b, at)
    covariance = covariance * rss / max(a.size - 4, 1)
    straight = np.column_stack((np.ones_like(a), a))
    left_over = b - straight @ np.linalg.lstsq(straight, b, rcond=None)[0]
    return BrokenLine(
        at=at,
        before=float(coefficients[1]),
        after=float(coefficients[1] + coefficients[2]),
        before_u=math.sqrt(max(covariance[1, 1], 0.0)),
        after_u=math.sqrt(max(covariance[1, 1] + covariance[2, 2] + 2 * covariance[1, 2], 0.0)),
        rss=rss,
        rss_straight=float(left_over @ left_over),
    )


def knots(a: Array, min_each_side: int) -> Array:
    """Places of points [sorted] at which a line may break and leave enough points on each side."""
    values = np.unique(a)
    before, after = np.searchsorted(a, values, "right"), a.size - np.searchsorted(a, values, "left")
    inner = (values > a[0]) & (values < a[-1])
    found: Array = values[inner & (before >= min_each_side) & (after >= min_each_side)]
    return found


def _line(a: Array, b: Array) -> tuple[float, float] | None:
    spread = a - a.mean()
    square = float(spread @ spread)
    if square == 0:
        return None
    slope = float(spread @ b) / square
    return float(b.mean() - slope * a.mean()), slope


def hinge_fit(x: Array, y: Array, at: float) -> tuple[Array, Array, float]:
    """Least squares of a line that breaks at a given place.

    Returns
    -------
    coefficients : array [3]
        Level, slope, change of slope at the break.
    covariance : array [3, 3]
        Theirs, for noise of variance 1.
    rss : float
        Sum of squares left.
    """
    design = np.column_stack((np.ones_like(x), x, np.maximum(x - at, 0.0)))
    coefficients = np.linalg.lstsq(design, y, rcond=None)[0]
    left = y - design @ coefficients
    return coefficients, np.linalg.pinv(design.T @ design), float(left @ left)


def flattening_p(x: ArrayLike, y: ArrayLike, *, min_each_side: int = MIN_EACH_SIDE) -> float:
    """How often a straight line with normal noise looks as much as if it flattened off; 1 where that cannot be told.

    One-sided: only breaks that lower the slope are looked at, at every point that leaves enough on each side.
    """
    a, b = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    hinges = _hinges(tuple((a - a[0]).tolist()), min_each_side)
    if hinges.size == 0 or a.size < 5:
        return 1.0
    seen = _flattening(hinges, _detrended(a, b[None, :]))[0]
    noise = np.random.default_rng(SEED).normal(size=(SIMULATIONS, a.size))
    chance = _flattening(hinges, _detrended(a, noise))
    return float((1 + np.count_nonzero(chance >= seen)) / (1 + SIMULATIONS))


@lru_cache(maxsize=64)
def _hinges(x: tuple[float, ...], min_each_side: int) -> Array:
    """Unit vectors, one a candidate: a hinge, less its own straight line."""
    a = np.asarray(x)
    rows = _detrended(a, np.array([np.maximum(a - at, 0.0) for at in knots(a, min_each_side)]).reshape(-1, a.size))
    size = np.linalg.norm(rows, axis=1, keepdims=True)
    unit: Array = rows / np.where(size > 0, size, 1.0)
    return unit


def _detrended(a: Array, rows: Array) -> Array:
    line = a - a.mean()
    square = float(line @ line) or 1.0
    centred = rows - rows.mean(axis=1, keepdims=True)
    left: Array = centred - np.outer(centred @ line / square, line)
    return left


def _flattening(hinges: Array, rows: Array) -> Array:
    """For each row the largest share of its square that a hinge explains whose slope falls (0 where none falls)."""
    along = np.minimum(rows @ hinges.T, 0.0)
    total = np.maximum((rows**2).sum(axis=1), 1e-300)
    share: Array = (along**2).max(axis=1) / total
    return share


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """A step between two levels.

    Attributes
    ----------
    n_before : int
        Values before it.
    before, after : float
        The two means.
    rss : float
        Sum of squares left.
    u : float
        Pettitt's statistic: the largest surplus of larger over smaller pairs across any place.
    p : float
        How often the same values in random order have so large a u. (Pettitt's formula is for long series.)
    """

    n_before: int
    before: float
    after: float
    rss: float
    u: float
    p: float


def jump(y: ArrayLike) -> Jump | None:
    """The one step of least squares in a series; None for fewer than two values.

    Parameters
    ----------
    y : array-like [n]
        In order of time.
    """
    b = np.asarray(y, dtype=float)
    n = b.size
    if n < 2:
        return None
    left = np.arange(1, n)
    total, squares = np.cumsum(b), float(b @ b)
    explained = total[:-1] ** 2 / left + (total[-1] - total[:-1]) ** 2 / (n - left)
    k = int(np.argmax(explained)) + 1
    surplus = np.sign(b[:, None] - b[None, :]).sum(axis=1)
    u = _largest_surplus(surplus[None, :])[0]
    chance = _largest_surplus(np.random.default_rng(SEED).permuted(np.tile(surplus, (SIMULATIONS, 1)), axis=1))
    return Jump(
        n_before=k,
        before=float(b[:k].mean()),
        after=float(b[k:].mean()),
        rss=squares - float(explained[k - 1]),
        u=float(u),
        p=float((1 + np.count_nonzero(chance >= u)) / (1 + SIMULATIONS)),
    )


def _largest_surplus(rows: Array) -> Array:
    largest: Array = np.abs(np.cumsum(rows, axis=1)[:, :-1]).max(axis=1)
    return largest
