"""Sounds that may be strums: what the detector thinks of them, and which of them no found strum explains.

They are no strums yet. Whoever knows where the exercise has a strum can judge them again (`strumclock.alignment`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Ints
from strumclock.onsets.strums import Doubtful

LEAST_P = 0.05
"""A sound less likely is no strum, wherever it falls. By hand: what is known of the exercise would have to multiply its
odds by twenty."""
SAME_S = 0.020
"""Half of how long before its sound has risen a strum may have begun; by hand, as a soft strum's u is 5 to 20 ms."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opinion:
    """What a detector says of n sounds: when each began, its standard uncertainty [s], and how likely it is a strum."""

    time_s: Floats
    u_s: Floats
    p: Floats

    def of(self, chosen: Ints) -> Opinion:
        """That of these sounds alone."""
        return Opinion(time_s=self.time_s[chosen], u_s=self.u_s[chosen], p=self.p[chosen])

    def in_order(self) -> Opinion:
        """The same in order of time."""
        return self.of(np.argsort(self.time_s, kind="stable"))


def unexplained(opinion: Opinion, strums_s: Floats, gap_s: float) -> Opinion:
    """The sounds that may be strums and that no strum is nearer to than `gap_s`."""
    return opinion.of(np.flatnonzero((opinion.p >= LEAST_P) & (away(opinion.time_s, strums_s) > gap_s)))


def likeliest(opinion: Opinion, rise_s: float) -> float | None:
    """How likely the sound that rose at `rise_s` is a strum; None where nobody looked at it closely.

    A strum's time lies up to 40 ms before the moment at which its sound has risen.
    """
    near = (opinion.time_s > rise_s - 2 * SAME_S) & (opinion.time_s < rise_s + SAME_S)
    return float(opinion.p[near].max()) if near.any() else None


def as_doubtful(opinion: Opinion, strength_db: Floats, least_db: float, start_s: float) -> tuple[Doubtful, ...]:
    """The same as values in file time, those of `least_db` at least."""
    rows = zip(opinion.time_s.tolist(), opinion.u_s.tolist(), strength_db.tolist(), opinion.p.tolist(), strict=True)
    return tuple(Doubtful(time_s=t + start_s, u_s=u, strength_db=db, p=p) for t, u, db, p in rows if db >= least_db)


def away(time_s: Floats, others_s: Floats) -> Floats:
    """How far each time is from the nearest of the others, which are in order; of none, infinitely."""
    if len(others_s) == 0:
        return np.full(len(time_s), np.inf)
    at = np.searchsorted(others_s, time_s)
    before, after = others_s[np.maximum(at - 1, 0)], others_s[np.minimum(at, len(others_s) - 1)]
    far: Floats = np.minimum(np.abs(time_s - before), np.abs(time_s - after))
    return far
