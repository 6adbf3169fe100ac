"""How far values scatter, whatever a few of them are: by the median of their sizes, as a standard deviation."""

from __future__ import annotations

import numpy as np

from strumclock.arrays import Floats

MEDIAN_TO_SD = 1.4826
"""Standard deviation of normal values over the median of their sizes. Derived: 1/Φ⁻¹(¾)."""


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
