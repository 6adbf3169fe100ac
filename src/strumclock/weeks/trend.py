"""Is it rising?  The slope of a short, gappy series by Theil and Sen, and the test of Mann and Kendall.

Both count pairs and so are not led by one lucky week. For few weeks the distribution of Kendall's S is counted out
exactly, ties included; the normal approximation takes over where the two agree.

References
----------
Sen, P. K. (1968), J. Am. Stat. Assoc. 63:1379. Mann, H. B. (1945), Econometrica 13:245. Kendall, M. G. (1975), Rank
Correlation Methods. Hollander & Wolfe (1973), Nonparametric Statistical Methods, ch. 9 (the interval).
The numbers of inversions of a multiset's permutations: MacMahon (1916), Combinatory Analysis.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

EXACT_UP_TO = 40  # at 40 values the exact and the normal p differ by less than 0.0005

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MannKendall:
    """A test for a monotone trend.

    Attributes
    ----------
    n : int
    s : int
        Rising pairs minus falling pairs.
    var_s : float
        Its variance without a trend, corrected for ties.
    z : float
        (S minus its sign) / sd.
    p : float
        Two-sided.
    """

    n: int
    s: int
    var_s: float
    z: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A Theil-Sen line.

    Attributes
    ----------
    per_unit : float
        Median of the slopes of all pairs.
    low, high : float or None
        Interval of the slope; None where so few values allow none at this confidence.
    intercept : float
        Median of y - slope * x.
    """

    per_unit: float
    low: float | None
    high: float | None
    intercept: float


def mann_kendall(y: Sequence[float]) -> MannKendall:
    """Test a series, in order of time, for a monotone trend.

    Parameters
    ----------
    y : sequence of float
        Without gaps: what is missing is left out, not filled in.

    Examples
    --------
    EPA QA/G-9S, page 109:

    >>> test = mann_kendall([10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15])
    >>> test.s, round(test.var_s, 2), round(test.z, 3)
    (22, 155.33, 1.685)
    """
    values = np.asarray(y, dtype=float)
    n = values.size
    rise, column = np.triu_indices(n, 1)
    s = int(np.sign(values[column] - values[rise]).sum())
    ties = Counter(values.tolist())
    var_s = _var_s(ties)
    z = (s - math.copysign(1, s)) / math.sqrt(var_s) if s and var_s else 0.0
    p = _exact_p(tuple(sorted(ties.values())), s) if n <= EXACT_UP_TO else 2 * NormalDist().cdf(-abs(z))
    return MannKendall(n=n, s=s, var_s=var_s, z=z, p=min(p, 1.0))


def _var_s(values: Counter[float]) -> float:
    """Variance of Kendall's S without a trend; `values` are counted, so that ties show."""
    n = values.total()
    return (n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in values.values())) / 18


@lru_cache(maxsize=512)
def _s_counts(ties: tuple[int, ...]) -> tuple[int, ...]:
    """In how many orders of a multiset are there 0, 1, 2 … inversions: the Gaussian multinomial coefficient."""
    top = [factor for t in ties for factor in range(1, t + 1)]
    counts = [1]
    for factor in range(1, sum(ties) + 1):
        counts = _times_one_minus(counts, factor)
    for factor in top:
        counts = _over_one_minus(counts, factor)
    return tuple(counts)


def _times_one_minus(counts: list[int], k: int) -> list[int]:
    """The polynomial times (1 - q^k)."""
    return [a - b for a, b in zip(counts + [0] * k, [0] * k + counts, strict=True)]


def _over_one_minus(counts: list[int], k: int) -> list[int]:
    """The polynomial divided by (1 - q^k), which it must contain."""
    quotient = list(counts)
    for i in range(k, len(quotient)):
        quotient[i] += quotient[i - k]
    return quotient[: len(quotient) - k]


def _exact_p(ties: tuple[int, ...], s: int) -> float:
    counts = _s_counts(ties)
    pairs = len(counts) - 1
    extreme = sum(count for inversions, count in enumerate(counts) if abs(pairs - 2 * inversions) >= abs(s))
    return extreme / sum(counts)


def theil_sen(x: Sequence[float], y: Sequence[float], *, confidence: float = 0.95) -> Slope:
    """The median slope of all pairs, with the interval that Kendall's S allows (normal, rounded outwards).

    Parameters
    ----------
    x, y : sequence of float
        Pairs with the same x are left out.
    confidence : float
        At least this share of such intervals holds the slope.

    Examples
    --------
    Sen (1968), whose interval is of 93 %:

    >>> slope = theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], confidence=0.93)
    >>> slope.per_unit, round(slope.low, 2), round(slope.high, 2)
    (4.0, 3.71, 4.38)
    """
    a, b = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    first, second = np.triu_indices(a.size, 1)
    apart = a[first] != a[second]
    slopes = np.sort((b[second] - b[first])[apart] / (a[second] - a[first])[apart])
    if not slopes.size:
        raise ValueError("theil_sen needs two different x")
    slope = float(np.median(slopes))
    reach = -NormalDist().inv_cdf((1 - confidence) / 2) * math.sqrt(_var_s(Counter(a.tolist())))
    outside = math.floor((slopes.size - reach) / 2) - 1
    low = high = None
    if outside >= 0:
        low, high = float(slopes[outside]), float(slopes[slopes.size - 1 - outside])
    return Slope(per_unit=slope, low=low, high=high, intercept=float(np.median(b - slope * a)))
