"""Which beat is the first played downbeat?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.pairing import IntArray

OMITTED_COST = 0.6
OUTSIDE_COST = 1.2
OFF_BAR_COST = 0.8
"""Costs, in strums explained, of a silent slot (or a strum without one), of a strum before the first slot, and of a
downbeat that lies off the bars counted from the first click. Their order is their reason: a player misses a strum more
often than the count-in is no whole number of bars, and that more often than a sound in the count-in is a strum."""


def best_start(
    cell: IntArray,
    played: NDArray[np.bool_] | None,
    candidates: IntArray,
    cost: NDArray[np.float64],
    *,
    bar_cells: int | None = None,
) -> int:
    """The candidate cell at which the pattern, laid from there on, explains the strums best.

    Parameters
    ----------
    cell : (n,) int
        Parts of the beat that hold a strum.
    played : (period,) bool or None
        The pattern; None where it is not known: then what most bars hold is taken for it, wherever they begin.
    candidates : (k,) int
        Cells at which the first played bar may begin.
    cost : (k,) float
        What speaks against each of them beforehand.
    bar_cells : int, optional
        Cells in a bar, for a pattern that is not known.

    Returns
    -------
    int
    """
    cell = np.unique(cell)
    first, last = int(cell[0]), int(cell[-1])
    fixed = played is None  # a pattern read from the bars stays where it is, whatever the first bar
    pattern = _usual(cell, bar_cells or 1) if played is None else played.astype(np.float64)
    worth = np.empty(len(candidates))
    for k, start in enumerate(candidates.tolist()):
        since = cell[cell >= start]
        every = np.arange(start, max(last + 1, start))
        shift = 0 if fixed else start
        expected = pattern[(every - shift) % len(pattern)].sum()
        matched = pattern[(since - shift) % len(pattern)].sum()
        misfit = (expected - matched) + (len(since) - matched)
        outside = len(cell) - len(since)
        worth[k] = -OMITTED_COST * misfit - OUTSIDE_COST * outside - cost[k] - 1e-9 * abs(start - first)
    return int(candidates[int(np.argmax(worth))])


def _usual(cell: IntArray, period: int) -> NDArray[np.float64]:
    """How full each cell of a bar is, bars counted from cell 0; with fewer than three bars, the mean of all cells."""
    first, last = int(cell[0]), int(cell[-1])
    every = np.arange(first, last + 1)
    filled = np.isin(every, cell)
    if len(every) < 3 * period:
        return np.array([filled.mean()])
    seen = np.bincount(every % period, minlength=period)
    hits = np.bincount(every % period, weights=filled, minlength=period)
    return np.where(hits / seen > 0.5, 1.0, 0.0)
