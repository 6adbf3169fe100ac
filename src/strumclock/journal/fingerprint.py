"""Is this the same performance, saved by another app or codec?  Nobody errs twice by the same milliseconds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

MIN_STRUMS = 16  # fewer strums could agree by chance
LENGTH_DIFFERS_BY_S = 0.5  # what priming and padding of a codec add or take at most, with room
SPAN_DIFFERS_BY_S = 0.010  # first to last strum; a codec moves each by some 3 ms at most
SAME_WITHIN_S = 0.005  # two takes of one steady player (7 ms each) agree on 40 % of their strums so closely
SAME_SHARE = 0.9  # by hand: far above those 40 %, below what another codec leaves of one take; no sweep moves it


def same_sound(first_s: Sequence[float], second_s: Sequence[float]) -> bool:
    """Whether two lists of strum times are one performance, the second shifted by a constant at most.

    Parameters
    ----------
    first_s, second_s : sequence of float
        Strum times [s], increasing.

    Examples
    --------
    >>> take = np.cumsum(np.random.default_rng(1).normal(0.5, 0.02, 40))
    >>> other = np.cumsum(np.random.default_rng(2).normal(0.5, 0.02, 40))
    >>> same_sound(take, take + 0.048), same_sound(take, other)
    (True, False)
    """
    a, b = np.asarray(first_s, float), np.asarray(second_s, float)
    if min(a.size, b.size) < MIN_STRUMS or abs(a.size - b.size) > 0.05 * a.size:
        return False
    shifts = [b[0] - a[0], b[-1] - a[-1]]
    if a.size == b.size:
        shifts.insert(0, float(np.median(b - a)))
    return any(_share(a, b - shift) >= SAME_SHARE for shift in shifts)


def _share(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Share of the strums of the longer list that the other has too."""
    longer, shorter = (a, b) if a.size >= b.size else (b, a)
    right = np.clip(np.searchsorted(shorter, longer), 1, shorter.size - 1)
    nearest = np.minimum(abs(shorter[right] - longer), abs(shorter[right - 1] - longer))
    return float(np.mean(nearest < SAME_WITHIN_S))
