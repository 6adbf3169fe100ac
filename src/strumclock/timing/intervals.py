"""Intervals and measuring uncertainties of single figures, given how a player's errors hang together."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from strumclock.arrays import Floats
from strumclock.errors import Absent
from strumclock.robust import sd_of_sizes
from strumclock.timing.error_model import ErrorModel
from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate
from strumclock.timing.placed import ERROR_SHARE
from strumclock.timing.regression import lag1

DOUBT_OF_SHARE = 0.7
"""Standard uncertainty of that share, so that it may be none or that of our own synthesiser: 87 to 89 % of its takes
then have a jitter within 2 u (coverage_end_to_end.py), 90 to 98 % of those by recorded guitars; with 0.4, 83 and 88."""

LEAST_TYPICAL = 0.1
"""The typical residual is taken for at least this share of the standard deviation, should half of them be the same."""


def combination(value: float, weights: Floats, model: ErrorModel, u: Floats) -> Estimate:
    """A weighted sum of the offsets, such as a mean or a slope.

    Parameters
    ----------
    value : float
        The sum.
    weights : (n,) array
    model : ErrorModel
    u : (n,) array
        Measuring uncertainty of each strum, independent. It is part of the scatter, and so of the interval, already.
    """
    half = float(model.half_width(weights))
    return Estimate(value=value, low=value - half, high=value + half, u=math.sqrt(float((weights * u) @ (weights * u))))


def median(values: Floats, model: ErrorModel, u: Floats) -> Estimate:
    """The median, its interval by the rank: the share of values below it varies as that of correlated signs does."""
    n = values.size
    middle = float(np.median(values))
    # Correlation of the signs of two normal values with correlation ρ: (2/π) arcsin ρ.
    inflation = model.inflation(lambda rho: 2 / math.pi * np.arcsin(rho))
    reach = float(stdtrit(model.dof, 0.975)) * math.sqrt(inflation / (4 * n))
    low, high = np.quantile(values, [max(0.5 - reach, 0.0), min(0.5 + reach, 1.0)])
    # The median's own measuring: that of a mean, times √(π/2) (large-sample ratio for normal scatter).
    measuring = math.sqrt(math.pi / 2) * math.sqrt(float(u @ u)) / n
    return Estimate(value=middle, low=float(min(low, middle)), high=float(max(high, middle)), u=measuring)


def scatter(
    residual: Floats, dof: float, model: ErrorModel, u: Floats, *, error_share: float = ERROR_SHARE, slip: float = 0.0
) -> Estimate | Absent:
    """The player's standard deviation: that of the residuals, badly known ones counting less, less what measuring adds.

    With equal measuring uncertainties u and `error_share` 1 this is √(s² − u²); with none it is s. With unequal ones
    each square has the weight (1 + error_share u²/s₀²)⁻², s₀ from the median of the residuals, so that a few strums
    known to 20 ms do not decide over those known to half a millisecond.

    Parameters
    ----------
    residual : (n,) array
    dof : float
        n less the figures taken out.
    model : ErrorModel
    u : (n,) array
        Stated measuring uncertainty of each strum.
    error_share : float
        Share of the variance u² that the errors of measuring really have.
    slip : float
        Root mean square of errors that the strums' evidence does not show. They cannot be taken off; they enter the
        result's uncertainty.

    Returns
    -------
    Estimate, or Absent
        The reason, where the scatter is no larger than the measuring's own.
    """
    n = residual.size
    spread = math.sqrt(float(residual @ residual) / dof)
    typical = max(sd_of_sizes(residual), LEAST_TYPICAL * spread)
    trust = (1 + error_share * (u / typical) ** 2) ** -2
    trust /= trust.sum()
    square = float(trust @ residual**2) * n / dof
    stated = float(trust @ u**2)
    low, high = model.scatter_interval()
    if square <= (error_share + DOUBT_OF_SHARE) * stated:
        return Absent(
            code="within-measuring",
            reason=f"the strums scatter by {math.sqrt(square):.1f} ms, hardly more than their times are uncertain "
            f"({math.sqrt(stated):.1f} ms), so the player's own part cannot be told; it is less than {high:.1f} ms",
        )
    value = math.sqrt(square - error_share * stated)
    counted = 1 / float(trust @ trust)
    # To first order: errors of the strums, doubt about what was taken off, strums that were played but hardly counted.
    error = math.sqrt(float((trust * residual) ** 2 @ (u**2 + slip**2))) / value
    doubt = math.hypot(DOUBT_OF_SHARE * stated, slip**2) / (2 * value)
    uncounted = value * math.sqrt(max(1 / counted - 1 / n, 0.0) / 2)
    # The player's interval keeps its proportions about the smaller value, wider as fewer strums were counted.
    wider = math.sqrt(n / counted)
    down = math.hypot(value * (1 - min(low / spread, 1.0) ** wider), COVERAGE_FACTOR * doubt)
    up = math.hypot(value * (max(high / spread, 1.0) ** wider - 1), COVERAGE_FACTOR * doubt)
    return Estimate(
        value=value, low=max(value - down, 0.0), high=value + up, u=math.sqrt(error**2 + doubt**2 + uncounted**2)
    )


def correlation(residual: Floats, slot: NDArray[np.int64], model: ErrorModel, u: Floats) -> Estimate | Absent:
    """The autocorrelation of the errors from one slot to the next."""
    neighbours = np.diff(slot) == 1
    pairs = int(neighbours.sum())
    if pairs < residual.size / 2:
        return Absent(
            code="too-few-neighbours",
            reason=f"it needs strums in neighbouring slots; only {pairs} of {residual.size} have one",
        )
    value = lag1(residual, slot)
    low, high = model.rho1_interval()
    along = np.zeros_like(residual)
    along[:-1] += np.where(neighbours, residual[1:], 0.0)
    along[1:] += np.where(neighbours, residual[:-1], 0.0)
    change = (along * (residual.size - 1) / pairs - 2 * value * residual) / float(residual @ residual)
    measuring = math.sqrt(float((change * u) @ (change * u)))
    return Estimate(value=value, low=min(low, value), high=max(high, value), u=measuring)


def share(deviation: Floats, tolerance: Floats, model: ErrorModel, u: Floats) -> Estimate:
    """Share of the deviations within the tolerance: Wilson's interval with the number of independent strums."""
    n = deviation.size
    value = float(np.mean(np.abs(deviation) <= tolerance))
    # Whether two values lie in a band about 0 hangs together with the square of their correlation.
    independent = n / model.inflation(lambda rho: rho**2)
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
