"""Intervals and measuring uncertainties of single figures, given how a player's errors hang together."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate
from strumclock.timing.plain import lag1
from strumclock.timing.wander import Wander

Floats = NDArray[np.float64]

DOUBT_OF_U = 0.5
"""How well the strums' stated measuring variance is itself known, as a share of it."""


def combination(value: float, weights: Floats, wander: Wander, u: Floats) -> Estimate:
    """A weighted sum of the offsets, such as a mean or a slope.

    Parameters
    ----------
    value : float
        The sum.
    weights : (n,) array
    wander : Wander
    u : (n,) array
        Measuring uncertainty of each strum, independent. It is part of the scatter, and so of the interval, already.
    """
    half = float(wander.half_width(weights))
    return Estimate(value=value, low=value - half, high=value + half, u=math.sqrt(float((weights * u) @ (weights * u))))


def median(values: Floats, wander: Wander, u: Floats) -> Estimate:
    """The median, its interval by the rank: the share of values below it varies as that of correlated signs does."""
    n = values.size
    middle = float(np.median(values))
    # Correlation of the signs of two normal values with correlation ρ: (2/π) arcsin ρ.
    inflation = wander.inflation(lambda rho: 2 / math.pi * np.arcsin(rho))
    reach = float(stdtrit(wander.dof, 0.975)) * math.sqrt(inflation / (4 * n))
    low, high = np.quantile(values, [max(0.5 - reach, 0.0), min(0.5 + reach, 1.0)])
    # The median's own measuring: that of a mean, times √(π/2) (large-sample ratio for normal scatter).
    measuring = math.sqrt(math.pi / 2) * math.sqrt(float(u @ u)) / n
    return Estimate(value=middle, low=float(min(low, middle)), high=float(max(high, middle)), u=measuring)


def scatter(residual: Floats, dof: int, wander: Wander, u: Floats, *, slip: float = 0.0) -> Estimate | str:
    """The player's standard deviation: that of the residuals, less what the measuring adds.

    With equal measuring uncertainties u this is √(s² − u²); with unequal ones the value that makes the residuals,
    each over its own variance, as large as they should be (Paule & Mandel 1982, from memory). With none it is s.
    Errors that the strums' evidence does not show, `slip` (root mean square), cannot be taken off; they enter the
    result's uncertainty.

    Returns
    -------
    Estimate, or str
        The reason, where the scatter is no larger than the measuring's own.
    """
    square = float(residual @ residual) / dof
    spread = math.sqrt(square)
    added = float(u @ u) / u.size
    low, high = wander.sigma_interval()
    if square <= (1 + DOUBT_OF_U) * added:
        return (
            f"the strums scatter by {spread:.1f} ms, hardly more than their times are uncertain "
            f"({math.sqrt(added):.1f} ms), so the player's own part cannot be told; it is less than {high:.1f} ms"
        )
    own = _own_variance(residual, dof, u)
    value = math.sqrt(own)
    taken = square - own
    # The error of s for fixed true strums, to first order, and the doubt about what was taken off.
    error = math.sqrt(float((residual**2) @ (u**2 + slip**2))) / (dof * spread)
    doubt = math.hypot(DOUBT_OF_U * taken, slip**2) / (2 * value)
    down = math.hypot(max(value - math.sqrt(max(low**2 - taken, 0.0)), 0.0), COVERAGE_FACTOR * doubt)
    up = math.hypot(max(math.sqrt(max(high**2 - taken, 0.0)) - value, 0.0), COVERAGE_FACTOR * doubt)
    return Estimate(
        value=value, low=max(value - down, 0.0), high=value + up, u=math.hypot(error * spread / value, doubt)
    )


def _own_variance(residual: Floats, dof: int, u: Floats) -> float:
    """The variance that, added to each measuring variance, gives residuals of the size seen."""
    if not np.any(u > 0):
        return float(residual @ residual) / dof
    share = dof / residual.size
    low, high = 0.0, float(residual @ residual) / dof
    for _ in range(60):
        middle = (low + high) / 2
        if float(np.mean(residual**2 / (middle + u**2))) > share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def correlation(residual: Floats, slot: NDArray[np.int64], wander: Wander, u: Floats) -> Estimate | str:
    """The autocorrelation of the errors from one slot to the next."""
    neighbours = np.diff(slot) == 1
    pairs = int(neighbours.sum())
    if pairs < residual.size / 2:
        return f"it needs strums in neighbouring slots; only {pairs} of {residual.size} have one"
    value = lag1(residual, slot)
    low, high = wander.rho1_interval()
    along = np.zeros_like(residual)
    along[:-1] += np.where(neighbours, residual[1:], 0.0)
    along[1:] += np.where(neighbours, residual[:-1], 0.0)
    change = (along * (residual.size - 1) / pairs - 2 * value * residual) / float(residual @ residual)
    measuring = math.sqrt(float((change * u) @ (change * u)))
    return Estimate(value=value, low=min(low, value), high=max(high, value), u=measuring)


def share(deviation: Floats, tolerance: Floats, wander: Wander, u: Floats) -> Estimate:
    """Share of the deviations within the tolerance: Wilson's interval with the number of independent strums."""
    n = deviation.size
    value = float(np.mean(np.abs(deviation) <= tolerance))
    # Whether two values lie in a band about 0 hangs together with the square of their correlation.
    independent = n / wander.inflation(lambda rho: rho**2)
    z2 = COVERAGE_FACTOR**2
    middle = (value + z2 / (2 * independent)) / (1 + z2 / independent)
    reach = (
        COVERAGE_FACTOR
        / (1 + z2 / independent)
        * math.sqrt(value * (1 - value) / independent + z2 / (4 * independent**2))
    )
    # A strum near the edge may really lie on its other side.
    edge = np.abs(np.abs(deviation) - tolerance)
    other = 0.5 * np.exp(-0.5 * (edge / np.maximum(u, 1e-9)) ** 2)
    measuring = math.sqrt(float((other * (1 - other)).sum())) / n
    return Estimate(
        value=value, low=max(min(middle - reach, value), 0.0), high=min(max(middle + reach, value), 1.0), u=measuring
    )
