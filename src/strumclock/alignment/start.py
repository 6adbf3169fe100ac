"""Which beat is the first played downbeat?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.pairing import IntArray

OMITTED_COST = 0.6
OUTSIDE_COST = 1.5
OFF_BAR_COST = 1.0
"""Costs, in strums explained, of a silent slot, of a strum before the first slot, and of a downbeat that lies off the
bars counted from the first click. Their order is their reason: a player misses a strum (0.6) more often than the
count-in is no whole number of bars (1.0), and that more often than a sound on a beat of the count-in is a strum
(1.5)."""


def best_start(
    cell: IntArray, played: NDArray[np.bool_] | None, candidates: IntArray, cost: NDArray[np.float64]
) -> int:
    """The candidate cell at which the pattern, laid from there on, explains the strums best.

    Parameters
    ----------
    cell : (n,) int
        Parts of the beat that hold a strum.
    played : (period,) bool or None
        The pattern; None where it is not known: then any part may hold a strum, and an empty one before the first strum
        speaks against a candidate by the share of parts that are filled.
    candidates : (k,) int
        Cells at which the first played bar may begin.
    cost : (k,) float
        What speaks against each of them beforehand.

    Returns
    -------
    int
    """
    cell = np.unique(cell)
    last = int(cell[-1])
    filled = len(cell) / (last - int(cell[0]) + 1)
    worth = np.empty(len(candidates))
    for k, start in enumerate(candidates):
        since = cell[cell >= start] - start
        outside = len(cell) - len(since)
        if played is None:
            empty = int(since.min()) if len(since) else 0
            misfit = filled * empty
        else:
            matched = int(played[since % len(played)].sum())
            whole, rest = divmod(max(last - int(start) + 1, 0), len(played))
            slots = whole * int(played.sum()) + int(played[:rest].sum())
            misfit = max(slots - matched, 0) + len(since) - matched
        worth[k] = -OMITTED_COST * misfit - OUTSIDE_COST * outside - cost[k]
    return int(candidates[int(np.argmax(worth))])
