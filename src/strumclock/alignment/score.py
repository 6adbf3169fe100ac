"""How well does a hypothesis explain the strums?  One number for whatever was meant: pulse, exercise, start, stretches.

The unit is the strum: a hypothesis gains nothing for what it explains and pays for what it does not, so that 0 is
perfect and two hypotheses differ by about as many strums as tell them apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Ints

OMITTED_COST = 0.6
"""Cost of a slot without a strum, or of a strum without a slot, in strums."""
OUTSIDE_COST = 1.2
"""Cost of a strum before the first slot: a player misses a strum more often than a sound in the count-in is one."""
APART_COST = 0.3
"""Cost of a strum that is said to keep a tempo of the player's own: half of what it costs where it is held against the
click that it does not keep."""
NEARER = 1e-9
"""Of starts that explain as much, the one nearer to the first strum is taken."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explanation:
    """What a hypothesis says of the strums, in cells: parts of the beat, counted through from beat 0.

    Attributes
    ----------
    cell : (n,) int
        Cells that hold a strum, increasing.
    astray : int
        Strums on no cell.
    apart, astray_by_tempo : int
        Strums said to keep a tempo of their own; strums that do so without its being said.
    expected : (period,) float
        How surely each cell of a period holds a strum, 0 to 1.
    start : int
        The first cell of the first played bar.
    phase : int
        A cell at which a period begins.
    unasked : tuple of (float, float)
        From which cell to which nothing was asked for: where a tempo of the player's own was kept.
    cost : float
        What speaks against the hypothesis beforehand.
    """

    cell: Ints
    expected: Floats
    start: int
    phase: int
    cost: float = 0.0
    astray: int = 0
    apart: int = 0
    astray_by_tempo: int = 0
    unasked: tuple[tuple[float, float], ...] = ()


def score(said: Explanation) -> float:
    """What speaks against a hypothesis, as a number of strums below 0.

    Examples
    --------
    >>> quarters = np.array([4, 5, 6, 7, 9])  # 8 is left out
    >>> score(Explanation(cell=quarters, expected=np.ones(1), start=4, phase=4))
    -0.6
    """
    first, last = int(said.cell[0]), int(said.cell[-1])
    since = said.cell[said.cell >= said.start]
    every = np.arange(said.start, max(last + 1, said.start))
    every, since = asked(every, said.unasked), asked(since, said.unasked)
    period = len(said.expected)
    expected = float(said.expected[(every - said.phase) % period].sum())
    matched = float(said.expected[(since - said.phase) % period].sum())
    misfit = (expected - matched) + (len(since) - matched) + said.astray + said.astray_by_tempo
    outside = int((said.cell < said.start).sum())
    return (
        -OMITTED_COST * misfit - OUTSIDE_COST * outside - APART_COST * said.apart - said.cost
        - NEARER * abs(said.start - first)
    )  # fmt: skip


def asked(cell: Ints, unasked: tuple[tuple[float, float], ...]) -> Ints:
    """The cells in which something was asked for."""
    for begin, end in unasked:
        cell = cell[(cell < begin) | (cell > end)]
    return cell
