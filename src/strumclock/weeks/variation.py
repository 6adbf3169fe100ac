"""Is the change from week to week more than that from take to take?  One-way analysis of variance as in GUM H.5.

A lucky take is not progress: what differs between weeks must stand out from what differs between takes of one week.

References
----------
JCGM 100:2008 (GUM), example H.5. Searle, Casella & McCulloch (1992), Variance Components, for unequal numbers of takes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Variation:
    """How a figure varies within weeks and between them.

    Attributes
    ----------
    n_weeks, n_takes : int
    mean : float
        Mean of the weekly means.
    within_sd : float
        Take to take: pooled over the weeks that have several takes.
    within_dof : int
    means_sd : float
        Of the weekly means.
    between_sd : float
        The part of a week's own, take-to-take luck removed; 0 where the data show none.
    f, p : float
        Ratio of the two variances, and how often it is that large where weeks do not differ.
    u_mean : float
        Standard uncertainty of `mean` from the spread of the weekly means.
    u_pooled : float
        What it would be if weeks did not differ.
    """

    n_weeks: int
    n_takes: int
    mean: float
    within_sd: float
    within_dof: int
    means_sd: float
    between_sd: float
    f: float
    p: float
    u_mean: float
    u_pooled: float


def variation(weeks: Sequence[Sequence[float]]) -> Variation | None:
    """Compare weeks; None where there are not two weeks, or no week has two takes.

    Parameters
    ----------
    weeks : sequence of sequence of float
        The figure's values, week by week; weeks without a value are left out.
    """
    groups = [np.asarray(week, dtype=float) for week in weeks if len(week)]
    n = np.array([group.size for group in groups])
    dof = int(n.sum() - n.size) if groups else 0
    if len(groups) < 2 or dof < 1:
        return None
    means = np.array([group.mean() for group in groups])
    within = float(sum(((group - group.mean()) ** 2).sum() for group in groups)) / dof
    everything = np.concatenate(groups)
    between = float((n * (means - everything.mean()) ** 2).sum()) / (n.size - 1)
    takes_a_week = (n.sum() - (n**2).sum() / n.sum()) / (n.size - 1)
    f, p = _f_test(between, within, n.size - 1, dof)
    return Variation(
        n_weeks=int(n.size),
        n_takes=int(n.sum()),
        mean=float(means.mean()),
        within_sd=math.sqrt(within),
        within_dof=dof,
        means_sd=float(means.std(ddof=1)),
        between_sd=math.sqrt(max(0.0, (between - within) / takes_a_week)),
        f=f,
        p=p,
        u_mean=float(means.std(ddof=1)) / math.sqrt(n.size),
        u_pooled=float(everything.std(ddof=1)) / math.sqrt(n.sum()),
    )


def _f_test(between: float, within: float, dof_between: int, dof_within: int) -> tuple[float, float]:
    from scipy.special import fdtrc

    if within == 0:
        return (math.inf, 0.0) if between > 0 else (1.0, 1.0)
    f = between / within
    return f, float(fdtrc(dof_between, dof_within, f))


def t_quantile(dof: int, confidence: float = 0.95) -> float:
    """Student's t, two-sided."""
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.5 + confidence / 2))
