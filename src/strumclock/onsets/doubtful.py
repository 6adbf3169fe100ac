"""Sounds that may be strums: what each detector thinks of them, and which of them no found strum explains.

They are no strums yet. Whoever knows where the exercise has a strum can judge them again (`strumclock.alignment`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Ints
from strumclock.onsets.strums import Doubtful
from strumclock.robust import log_odds, odds_to_p

LEAST_P = 0.05
"""A sound less likely is no strum, wherever it falls. By hand: what is known of the exercise would have to multiply its
odds by twenty."""
SAME_S = 0.020
"""Times that two detectors give to one sound differ by less; by hand, as a soft strum's u is 5 to 20 ms."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opinion:
    """What a detector says of n sounds: when each began, its standard uncertainty [s], and how likely it is a strum."""

    time_s: Floats
    u_s: Floats
    p: Floats

    def of(self, chosen: Ints) -> Opinion:
        """That of these sounds alone."""
        return Opinion(time_s=self.time_s[chosen], u_s=self.u_s[chosen], p=self.p[chosen])


def pooled(first: Opinion, second: Opinion | None = None, *, unheard_p: float = 0.0) -> Opinion:
    """One opinion of two, in order of time: the mean of the log odds, at the time that is known better.

    Parameters
    ----------
    first : Opinion
        With a p of 0 where it holds a sound for impossible on other grounds; the second's opinion is taken there.
    second : Opinion, optional
    unheard_p : float
        How likely a strum is, at most, in a sound that the second did not find worth a look; 0 where it looks at all.

    Examples
    --------
    >>> here = Opinion(time_s=np.array([1.0, 2.0]), u_s=np.array([0.01, 0.01]), p=np.array([0.5, 0.2]))
    >>> there = Opinion(time_s=np.array([2.004, 3.0]), u_s=np.array([0.002, 0.01]), p=np.array([0.8, 0.6]))
    >>> both = pooled(here, there)
    >>> both.time_s.tolist(), both.p.round(6).tolist()
    ([1.0, 2.004, 3.0], [0.5, 0.5, 0.6])
    """
    if second is None:
        return first.of(np.argsort(first.time_s, kind="stable"))
    time_s, u_s, p = first.time_s.copy(), first.u_s.copy(), first.p.copy()
    order = np.argsort(second.time_s, kind="stable")
    second = second.of(order)
    at = nearest(time_s, second.time_s)
    same = (p > 0) & (away(time_s, second.time_s) < SAME_S)
    other = second.of(at[same]) if same.any() else second.of(np.zeros(0, np.intp))
    p[same] = odds_to_p((log_odds(p[same]) + log_odds(other.p)) / 2)
    later = other.u_s < u_s[same]
    time_s[same], u_s[same] = np.where(later, other.time_s, time_s[same]), np.where(later, other.u_s, u_s[same])
    if unheard_p > 0:
        alone = (p > 0) & ~same
        p[alone] = np.minimum(p[alone], odds_to_p((log_odds(p[alone]) + log_odds(np.full(alone.sum(), unheard_p))) / 2))
    only = np.setdiff1d(np.arange(len(second.p)), at[same]) if same.any() else np.arange(len(second.p))
    whole = Opinion(
        time_s=np.concatenate([time_s, second.time_s[only]]),
        u_s=np.concatenate([u_s, second.u_s[only]]),
        p=np.concatenate([p, second.p[only]]),
    )
    return whole.of(np.argsort(whole.time_s, kind="stable"))


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
    """How far each time is from the nearest of the others."""
    if len(others_s) == 0:
        return np.full(len(time_s), np.inf)
    others_s = np.sort(others_s)
    return np.abs(time_s - others_s[nearest(time_s, others_s)])


def nearest(time_s: Floats, others_s: Floats) -> Ints:
    """Index of the nearest of the others, which are in order; of none, 0."""
    at = np.searchsorted(others_s, time_s)
    before, after = np.maximum(at - 1, 0), np.minimum(at, max(len(others_s) - 1, 0))
    if len(others_s) == 0:
        return before
    return np.where(np.abs(time_s - others_s[before]) <= np.abs(time_s - others_s[after]), before, after)
