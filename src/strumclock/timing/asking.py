"""What can be asked of a take: whether it is late, falls behind, steps, or comes late at a place of the bar or a chord.

Each question is one column of numbers beside others that are held fixed; `questions` answers them at one error rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats
from strumclock.timing.design import beside
from strumclock.timing.error_model import ErrorModel
from strumclock.timing.placed import Anchoring, PlacedStrums

MIN_IN_PLACE = 3
"""A beat, part or pair of chords with fewer strums is not asked about."""

LEAST_BESIDE_STEP, CUTS = 8, 40
"""A step has so many strums on either side at least, and is looked for at so many places at most."""

ANY = ""
"""Stands for the first chord of a pair where it does not matter: all changes into the second."""

SAME = 1e-9
"""Halves of intervals below this, in ms or ms a minute, are a computer's."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """How large is this column's part in the offsets?

    Attributes
    ----------
    kind, where
        See `Finding`.
    column : (n,) array
        1 at the strums asked about; for a drift the minutes; for a step 1 after it.
    beside : (n, p) array
        What is always held fixed.
    other : int or None
        Of two places only the first is asked about; this is the second.
    looks : float
        Independent places that were searched for it.
    """

    kind: str
    where: int | tuple[str, str] | None
    column: Floats
    beside: Floats
    other: int | None = None
    looks: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """One take, as the questions are put to it.

    Attributes
    ----------
    strums : PlacedStrums
    anchoring : Anchoring
    offset_ms : (n,) array
    u_ms : (n,) array
        Measuring uncertainty of each strum.
    shared_u_ms : float
        Uncertainty that all offsets share.
    model : ErrorModel
        How the player's errors hang together about the means of places and the drift line.
    design : (n, p) array
        These means and that line.
    audible_ms : float
    """

    strums: PlacedStrums
    anchoring: Anchoring
    offset_ms: Floats
    u_ms: Floats
    shared_u_ms: float
    model: ErrorModel
    design: Floats
    audible_ms: float

    @property
    def minutes(self) -> Floats:
        """The grid's time about its middle, minutes."""
        return np.asarray((self.strums.line_s - self.strums.line_s.mean()) / 60)


def questions(asked: Asked) -> list[Question]:
    """What can be asked of this take."""
    strums, n = asked.strums, len(asked.strums)
    ones, line = np.ones((n, 1)), np.column_stack([np.ones(n), asked.minutes])
    found = []
    if not asked.anchoring.fitted:
        found.append(Question(kind="placement", where=None, column=np.ones(n), beside=np.empty((n, 0))))
    if not asked.anchoring.tempo_estimated:
        found.append(Question(kind="drift", where=None, column=asked.minutes, beside=ones))
        step = _likeliest_step(asked)
        if step is not None:
            found.append(step)
    change = strums.at_change.astype(float)
    if MIN_IN_PLACE <= change.sum() <= n - MIN_IN_PLACE:
        found.append(Question(kind="changes", where=None, column=change, beside=line))
        found += _pairs(strums, np.column_stack([line, change]))
    for kind, at in (("beat", strums.beat), ("part", strums.part)):
        levels, counts = np.unique(at, return_counts=True)
        other = int(levels[1]) if levels.size == 2 else None
        for level, count in zip(levels[: 1 if other is not None else None], counts, strict=False):
            if levels.size > 1 and MIN_IN_PLACE <= count <= n - MIN_IN_PLACE:
                marked = (at == level).astype(float)
                found.append(Question(kind=kind, where=int(level), column=marked, beside=line, other=other))
    return [q for q in found if beside(q.column, q.beside) is not None]


def _pairs(strums: PlacedStrums, line: Floats) -> list[Question]:
    """Each pair of chords against the other changes, and all changes into one chord, which two pairs may share."""
    pairs = strums.pair
    known = [pair for pair in dict.fromkeys(pairs) if pair is not None]
    if len(known) < 2:
        return []
    into = [chord for chord in dict.fromkeys(to for _, to in known) if sum(to == chord for _, to in known) > 1]
    groups = {pair: [p == pair for p in pairs] for pair in known}
    groups |= {(ANY, chord): [p is not None and p[1] == chord for p in pairs] for chord in into}
    changes = sum(pair is not None for pair in pairs)
    return [
        Question(kind="pair", where=where, column=np.array(marked, dtype=float), beside=line)
        for where, marked in groups.items()
        if MIN_IN_PLACE <= sum(marked) < changes
    ]


def _likeliest_step(asked: Asked) -> Question | None:
    """The cut of the take at which a one-off shift explains most, with how many places were really searched."""
    n = len(asked.strums)
    cuts = np.arange(LEAST_BESIDE_STEP, n - LEAST_BESIDE_STEP + 1)
    if not cuts.size:
        return None
    tried = cuts[np.unique(np.linspace(0, cuts.size - 1, min(CUTS, cuts.size)).round().astype(int))]
    after = np.arange(n) >= tried[:, None]
    weights = after / (n - tried)[:, None] - ~after / tried[:, None]
    spread = np.sqrt(asked.model.variance_of(weights) @ asked.model.weight)
    clear = np.abs(weights @ asked.offset_ms) / np.maximum(spread, SAME)
    # Galwey's effective number of independent tests, from the correlations of the cuts (Galwey 2009, from memory).
    root = np.sqrt(np.maximum(np.linalg.eigvalsh(np.corrcoef(weights)), 0.0)) if tried.size > 1 else np.ones(1)
    cut = int(tried[np.argmax(clear)])
    return Question(
        kind="step",
        where=int(asked.strums.slot[cut]),
        column=(np.arange(n) >= cut).astype(float),
        beside=np.ones((n, 1)),
        looks=float(root.sum() ** 2 / (root**2).sum()),
    )
