"""How late the strums at chord changes are: each against its neighbours, so that changes may vary as they like.

Changes vary more than other strums, and unevenly: most come in time and a few very late. One variance for all strums,
or one for all changes with a normal distribution, gives intervals that hold a third of the time. Here each change is
held against the strums just before and after it, which share its drift and its wander; the mean of these contrasts has
the t distribution of as many (conservative for unequal variances, Ibragimov & Müller 2010), corrected for the skewness
of late ones (Hall 1992, J. R. Stat. Soc. B 54, 221; from memory).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import stdtr, stdtrit

from strumclock.arrays import Floats
from strumclock.timing.estimate import Estimate
from strumclock.timing.placed import PlacedStrums

NEIGHBOURS = 2
"""Strums before and after a change that it is held against. More share less of its wander."""

MIN_CHANGES = 3
"""Fewer contrasts have no scatter that would tell anything."""

MOST_SKEW = 2.0
"""Skewness corrected for at the most: that of an exponential distribution. A sample's own may be larger by chance."""

SKEW_PRIOR = 4
"""Contrasts that the belief in no skewness is worth."""


def change_contrasts(values: Floats, strums: PlacedStrums) -> Floats:
    """Each change's value less the mean of its neighbours that are no changes; NaN where it has none on either side.

    Returns
    -------
    (changes,) array, in the order of ``np.flatnonzero(strums.at_change)``
    """
    change, steady = np.flatnonzero(strums.at_change), np.flatnonzero(~strums.at_change)
    if not steady.size:
        return np.full(change.size, np.nan)
    split = np.searchsorted(steady, change)[:, None]
    sides = []
    for at in (split - 1 - np.arange(NEIGHBOURS), split + np.arange(NEIGHBOURS)):
        there = (at >= 0) & (at < steady.size)
        near = np.where(there, values[steady[np.clip(at, 0, steady.size - 1)]], 0.0)
        sides.append(np.where(there[:, 0], near.sum(axis=1) / np.maximum(there.sum(axis=1), 1), np.nan))
    before, after = (np.where(np.isfinite(side), side, other) for side, other in (sides, sides[::-1]))
    return np.asarray(values[change] - (before + after) / 2)


def mean_contrast(contrasts: Floats, u: float) -> tuple[Estimate, float] | None:
    """The mean of contrasts with its interval and the probability of one as far from 0; None from fewer than three.

    Parameters
    ----------
    contrasts : (k,) array
    u : float
        Standard uncertainty of measuring that mean.

    Examples
    --------
    Without skewness it is Student's t:

    >>> found, p = mean_contrast(np.array([10.0, 20.0, 30.0]), 0.5)
    >>> round(found.low, 2), round(found.high, 2), round(p, 3)
    (-4.84, 44.84, 0.074)
    """
    k = contrasts.size
    if k < MIN_CHANGES:
        return None
    mean, sd = float(contrasts.mean()), float(contrasts.std(ddof=1))
    if sd == 0:
        return Estimate(value=mean, low=mean, high=mean, u=u), float(mean == 0)
    skew = float(np.mean((contrasts - mean) ** 3)) / (sd**2 * (k - 1) / k) ** 1.5
    skew = min(max(skew * k / (k + SKEW_PRIOR), -MOST_SKEW), MOST_SKEW) / math.sqrt(k)
    scale, t = sd / math.sqrt(k), float(stdtrit(k - 1, 0.975))
    low, high = mean - scale * _turned(t, skew), mean - scale * _turned(-t, skew)
    p = 2 * float(stdtr(k - 1, -abs(_skewed(mean / scale, skew))))
    return Estimate(value=mean, low=min(low, mean), high=max(high, mean), u=u), p


def contrast_difference(some: Floats, others: Floats, u: float) -> tuple[Estimate, float] | None:
    """How much larger some contrasts are than others (Welch's t); None from fewer than three of either."""
    if min(some.size, others.size) < MIN_CHANGES:
        return None
    a, b = (float(x.var(ddof=1)) / x.size for x in (some, others))
    value = float(some.mean() - others.mean())
    if a + b == 0:
        return Estimate(value=value, low=value, high=value, u=u), float(value == 0)
    freedom = (a + b) ** 2 / (a**2 / (some.size - 1) + b**2 / (others.size - 1))
    half = float(stdtrit(freedom, 0.975)) * math.sqrt(a + b)
    p = 2 * float(stdtr(freedom, -abs(value) / math.sqrt(a + b)))
    return Estimate(value=value, low=value - half, high=value + half, u=u), p


def measuring_of_mean(u: Floats) -> float:
    """Standard uncertainty of the mean of values known to `u`, independently; 0 of none."""
    return math.sqrt(float(u @ u)) / max(u.size, 1)


def _skewed(t: float, skew: float) -> float:
    """Hall's transformation of a t statistic; `skew` is the skewness over the root of the number."""
    return t + skew * (t**2 / 3 + 1 / 6) + skew**2 * t**3 / 27


def _turned(t: float, skew: float) -> float:
    """Its inverse."""
    if abs(skew) < 1e-9:
        return t
    return 3 / skew * (float(np.cbrt(1 + skew * (t - skew / 6))) - 1)
