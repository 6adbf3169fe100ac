"""The plain formulas: straight line, scatter about it, lag-1 autocorrelation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Floats
from strumclock.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A straight line by least squares.

    Attributes
    ----------
    slope : float
        In units of y per unit of x.
    middle_x, middle_y : float
        The means, through which the line runs.
    scatter : float
        Standard deviation about the line with n − 2 degrees of freedom.
    slope_u : float
        Standard error of the slope, were the errors independent.
    residual : (n,) array
        y minus the line.
    """

    slope: float
    middle_x: float
    middle_y: float
    scatter: float
    slope_u: float
    residual: Floats

    def at(self, x: float) -> float:
        """The line's height at `x`."""
        return self.middle_y + self.slope * (x - self.middle_x)


def fit_line(x: ArrayLike, y: ArrayLike) -> Line:
    """Fit a straight line by least squares, as the drift of a take is.

    Parameters
    ----------
    x, y : (n,) array_like
        At least three points with two different x.

    Examples
    --------
    >>> line = fit_line([0, 1, 2, 3], [1.0, 3.0, 5.0, 7.5])
    >>> round(line.slope, 3), round(line.at(0.0), 3), round(line.scatter, 3)
    (2.15, 0.9, 0.194)
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.size < 3 or np.ptp(x) == 0:
        raise UsageError(f"a line with its scatter needs 3 points at 2 places or more; got {x.size}")
    from_middle = x - x.mean()
    along = float(from_middle @ from_middle)
    # The mean is taken out first, so that large constant parts cost no digits (NIST's NumAcc sets).
    residual = y - y.mean()
    middle_y = float(y.mean() + residual.mean())
    residual = residual - residual.mean()
    slope = float(from_middle @ residual) / along
    residual = residual - slope * from_middle
    scatter = math.sqrt(float(residual @ residual) / (x.size - 2))
    return Line(
        slope=slope,
        middle_x=float(x.mean()),
        middle_y=middle_y,
        scatter=scatter,
        slope_u=scatter / math.sqrt(along),
        residual=residual,
    )


def lag1(values: ArrayLike, slot: ArrayLike | None = None) -> float:
    """Autocorrelation from one value to the next.

    The sum of products of neighbours about the mean over the sum of squares: the definition of NIST's Statistical
    Reference Datasets. Where slots are given, only neighbouring slots are neighbours, and the sum is scaled up to what
    n − 1 pairs would give.

    Examples
    --------
    >>> round(lag1([1.0, -1.0, 1.0, -1.0]), 3)
    -0.75
    >>> round(lag1([1.0, -1.0, 1.0, -1.0], slot=[0, 1, 2, 4]), 3)
    -0.75
    """
    values = np.asarray(values, dtype=float)
    if values.size < 3 or np.ptp(values) == 0:
        raise UsageError(f"an autocorrelation needs 3 values or more that differ; got {values.size}")
    about = values - values.mean()
    about = about - about.mean()
    together = about[:-1] * about[1:]
    if slot is None:
        return float(together.sum() / (about @ about))
    neighbours = np.diff(np.asarray(slot)) == 1
    if not neighbours.any():
        raise UsageError("an autocorrelation needs strums in neighbouring slots; no two are")
    return float(together[neighbours].mean() * (values.size - 1) / (about @ about))
