"""How far values scatter, whatever a few of them are (by the median of their sizes, as a standard deviation); odds."""

from __future__ import annotations

import numpy as np

from strumclock.arrays import Floats

MEDIAN_TO_SD = 1.4826
"""Standard deviation of normal values over the median of their sizes. Derived: 1/Φ⁻¹(¾)."""
LEAST_ODDS = 1e-6
"""No probability is taken for nearer to 0 or 1; physical: nothing was learned from a million examples of one kind."""


def sd_of_sizes(departure: Floats) -> float:
    """Standard deviation of normal values about 0 whose sizes have this median, in the values' unit.

    Examples
    --------
    >>> sd_of_sizes(np.array([-1.0, 2.0, 300.0]))
    2.9652
    """
    return MEDIAN_TO_SD * float(np.median(np.abs(departure)))


def robust_sd(value: Floats) -> float:
    """The same about the values' own median (median absolute deviation); 0 of none.

    Examples
    --------
    >>> robust_sd(np.array([9.0, 10.0, 12.0, 310.0]))
    2.2239
    """
    return sd_of_sizes(value - np.median(value)) if len(value) else 0.0


def log_odds(p: Floats) -> Floats:
    """ln(p / (1 - p)), finite for probabilities that were rounded to 0 or 1."""
    p = np.clip(p, LEAST_ODDS, 1 - LEAST_ODDS)
    return np.asarray(np.log(p / (1 - p)))


def odds_to_p(log_odds: Floats) -> Floats:
    """The probability with these log odds: the inverse of `log_odds`.

    Examples
    --------
    >>> odds_to_p(log_odds(np.array([0.2, 0.9]))).round(12).tolist()
    [0.2, 0.9]
    """
    return np.asarray(1 / (1 + np.exp(-log_odds)))
