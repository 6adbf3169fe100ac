"""How the errors of one player hang together, and what that does to the uncertainty of means, slopes and scatter.

A late strum is followed by a late strum more often than chance has it: a player corrects only part of each error.
Intervals that take the strums for independent are then too short, by a factor of two in ordinary playing.

The model is linear phase correction (the closed form in `correction`): about a mean and a drift line, the errors have
variance σ² and autocorrelations ρ(1) = r and ρ(k) = r φ^(k − 1). This covers wandering (r near φ), independent
scatter added to slow wander (r below φ), overcorrection (φ < 0) and the pick's own scatter (r < 0). It needs no
regular series: an omitted slot is a longer lag.

φ and r are not estimated and then believed, since sixteen strums cannot tell them. Every pair on a grid is weighed by
how well it explains the take (its restricted likelihood, so that a drift line which swallows slow wander costs what
it should), and intervals are those of the weighted mixture.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.special import chdtrc, gammaln, stdtr, stdtrit

from strumclock.arrays import Floats, Ints
from strumclock.timing.likelihood import Explained, explain_by_long_memory_and_period, explain_by_phase_correction
from strumclock.timing.members import MOTOR_GRID, PHI_GRID

NEWTON_STEPS = 5
"""Enough for 1e-4 of a half width: the distribution function is concave there, so each step stays on the safe side."""

SEARCH_RANGE = 14.0
"""Natural logarithms searched below a hundred times the largest standard deviation."""

TAIL_PRIOR, TAIL_PRIOR_STRUMS = (0.25, 3.0), 40
"""Excess kurtosis expected before the take is looked at (lower, upper end), and the strums that this belief is worth.

Set by simulation with 16 to 192 normal, gamma, exponential and t₅ errors (`tests/benchmarks/coverage_tails.py`)."""

GAMMA_KURTOSIS = 1.5
"""Excess kurtosis of a gamma distribution over its squared skewness."""

LEAST_INFLATION = 0.1
"""Errors that take turns make a mean better known than independent ones do, but never without limit."""

NEGLIGIBLE = 2e-3
"""Pairs whose weight is less than this share of the best are left out of the mixture."""

SUMS_AT_ONCE = 64
"""Of the bars of half an hour there are 700, each a row of 8,000 numbers to be transformed."""

MIN_STRUMS = 8
"""Below this the restricted likelihood of two correlation parameters, a mean, a slope and a scatter says nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorModel:
    """What a take says about how its errors hang together.

    Attributes
    ----------
    phi, motor, rho1 : (n_pairs,) array
        The grid: decay of the autocorrelation per slot, the hand's share (`MOTOR_GRID`) and, from both, the
        autocorrelation at lag 1.
    weight : (n_pairs,) array
        How well each pair explains the take; sums to 1.
    sigma2 : (n_pairs,) array
        Variance of the errors under each pair, in the square of the values' unit.
    dof : float
        Degrees of freedom of each `sigma2`.
    excess_low, excess_high : float
        Excess kurtosis that the lower and the upper end of the scatter's interval allow for (`_excess`).
    slot : (n,) int array
        Slot of each value.
    rho : (n_pairs, n_slots - 1) array
        Autocorrelation at one, two … slots.
    basis : (n, p) array
        What was taken out of the values, as orthonormal columns.
    """

    phi: Floats
    motor: Floats
    rho1: Floats
    weight: Floats
    sigma2: Floats
    dof: float
    excess_low: float
    excess_high: float
    slot: NDArray[np.int64]
    rho: Floats
    basis: Floats

    def variance_of(self, combinations: Floats) -> Floats:
        """Variance of weighted sums of the errors, ``combinations @ errors``, under each pair.

        Parameters
        ----------
        combinations : (..., n) array
            Weights of the strums' errors, one row a sum.

        Returns
        -------
        (..., n_pairs) array
        """
        sums = combinations.reshape(-1, combinations.shape[-1])
        variance = np.empty((len(sums), len(self.sigma2)))
        for a in range(0, len(sums), SUMS_AT_ONCE):
            lag = _lag_products(sums[a : a + SUMS_AT_ONCE], self.slot)
            variance[a : a + SUMS_AT_ONCE] = self.sigma2 * (lag[:, :1] + 2 * lag[:, 1:] @ self.rho.T)
        return np.maximum(variance, 0.0).reshape(*combinations.shape[:-1], len(self.sigma2))

    def half_width(self, combinations: Floats, level: float = 0.95) -> Floats:
        """Half the width of the `level` interval of weighted sums of the errors (mixture of Student t). Shape (...)."""
        scale = np.sqrt(self.variance_of(combinations))
        scale = np.maximum(scale, np.finfo(float).tiny)
        target = 0.5 + level / 2
        x = stdtrit(self.dof, target) * (scale @ self.weight)
        height = math.exp(gammaln((self.dof + 1) / 2) - gammaln(self.dof / 2)) / math.sqrt(math.pi * self.dof)
        for _ in range(NEWTON_STEPS):
            ratio = x[..., None] / scale
            density = height * (1 + ratio**2 / self.dof) ** (-(self.dof + 1) / 2) / scale
            x = np.maximum(x - (stdtr(self.dof, ratio) @ self.weight - target) / (density @ self.weight), x / 4)
        return np.asarray(x)

    def inflation(self, correlation: Callable[[Floats], Floats]) -> float:
        """How many times more the mean of n marks varies than that of n independent marks.

        `correlation` turns the errors' autocorrelation into that of the marks.
        """
        n = self.slot.size
        lag = _lag_products(np.full(n, 1 / math.sqrt(n)), self.slot)[1:]
        return max(LEAST_INFLATION, float(self.weight @ (1 + 2 * correlation(self.rho) @ lag)))

    def p_value(self, combination: Floats, total: float, *, extra_u: float = 0.0) -> float:
        """Two-sided probability of a weighted sum at least as far from 0 as `total`, were its expectation 0.

        `extra_u` is a further standard uncertainty of the sum, independent of the errors.
        """
        scale = np.sqrt(self.variance_of(combination) + extra_u**2)
        with np.errstate(divide="ignore"):
            return float(min(1.0, 2 * (self.weight @ stdtr(self.dof, -abs(total) / scale))))

    def scatter_interval(self, level: float = 0.95) -> tuple[float, float]:
        """The `level` interval of the standard deviation that the player's takes of this length show about the lines.

        That is less than σ where errors wander slowly: what is slower than the take is taken out with the lines.
        Under each pair the residual squares over their degrees of freedom come to σ² (n − tr BᵀRB) / (n − p) on
        average, R the correlations and B the basis of what was taken out.
        """
        n, p = self.basis.shape
        square = (n * self.sigma2 - self.variance_of(self.basis.T).sum(axis=0)) / (n - p)
        top = 100 * float(np.sqrt(square.max()))

        def end(share: float, excess: float) -> float:
            # The variance of a variance: 2/dof for normal errors, and 1/n more for each unit of excess kurtosis.
            dof = self.dof / (1 + excess / 2)
            return _solve(lambda sd: float(self.weight @ chdtrc(dof, dof * square / sd**2)), share, top)

        return end((1 - level) / 2, self.excess_low), end((1 + level) / 2, self.excess_high)

    def rho1_interval(self, level: float = 0.95) -> tuple[float, float]:
        """The `level` interval of the autocorrelation from one slot to the next."""
        low, high = self.quantiles(self.rho1, ((1 - level) / 2, (1 + level) / 2))
        return low, high

    def quantiles(self, figure: Floats, shares: tuple[float, ...]) -> list[float]:
        """Below which value each share of the weight lies, for a figure of each pair; between the grid's values."""
        levels, which = np.unique(np.round(figure, 9), return_inverse=True)
        weight = np.bincount(which, weights=self.weight)
        return [float(x) for x in np.interp(shares, np.cumsum(weight) - weight / 2, levels)]


def fit_error_model(
    values: Floats,
    slot: Ints,
    design: Floats,
    *,
    phi_grid: tuple[float, ...] = PHI_GRID,
    motor_grid: tuple[float, ...] = MOTOR_GRID,
    across_gaps: bool = True,
    phase_only: bool = False,
    slow_doubt: bool = True,
) -> ErrorModel:
    """Weigh every way in which errors can hang together by how well it explains `values`.

    Parameters
    ----------
    values : (n,) array
        One value a strum, in any unit.
    slot : (n,) int array
        Slots of the strums, increasing.
    design : (n, p) array
        What is taken out first: a column of ones, the times, other means. Full rank.
    phi_grid, motor_grid : tuple of float
        The pairs of linear phase correction that are weighed.
    across_gaps : bool
        Whether errors hang together across omitted slots; else each unbroken run stands alone.
    phase_only : bool
        Whether linear phase correction alone is weighed.
    slow_doubt : bool
        Whether the slowest wander is expected less than the others beforehand; not on a grid of one's own.

    Returns
    -------
    ErrorModel

    Notes
    -----
    Restricted likelihood: Patterson & Thompson 1971 (from memory).
    """
    table = np.vstack([values, design.T])
    pairs = {"phi_grid": phi_grid, "motor_grid": motor_grid}
    families = [
        explain_by_phase_correction(table, slot, **pairs, across_gaps=across_gaps, slow_doubt=slow_doubt),
    ]
    if not phase_only:
        families.append(explain_by_long_memory_and_period(table))
    return _weighed(families, slot, design)


def fit_error_models(values: Floats, slot: Ints, design: Floats, *, columns: tuple[int, ...]) -> list[ErrorModel]:
    """`fit_error_model` with the first so many columns of a design, for each of these numbers: they share the work."""
    table = np.vstack([values, design.T])
    families = [
        explain_by_phase_correction(table, slot, phi_grid=PHI_GRID, motor_grid=MOTOR_GRID, across_gaps=True),
        explain_by_long_memory_and_period(table),
    ]
    return [_weighed(families, slot, design[:, :p]) for p in columns]


def _weighed(families: list[Explained], slot: Ints, design: Floats) -> ErrorModel:
    """How well each member explains the values when this design, the first columns of theirs, is taken out."""
    n, p = design.shape

    def every(name: str) -> Floats:
        return np.concatenate([getattr(family, name) for family in families])

    gram = every("gram")[:, : 1 + p, : 1 + p]
    inner = gram[:, 1:, 1:]
    beta = np.linalg.solve(inner, gram[:, 1:, :1])
    rss = gram[:, 0, 0] - (gram[:, :1, 1:] @ beta)[:, 0, 0]
    rss = np.maximum(rss, np.finfo(float).tiny)
    log_likelihood = -0.5 * (every("logdet") + np.linalg.slogdet(inner)[1] + (n - p) * np.log(rss))
    weight = every("prior") * np.exp(log_likelihood - log_likelihood.max())
    best = int(np.argmax(weight))
    family, member = (0, best) if best < len(families[0].prior) else (1, best - len(families[0].prior))
    left = np.zeros(len(families[0].gram[0]))
    left[: 1 + p] = [1.0, *-beta[best, :, 0]]
    excess_low, excess_high = _excess(families[family].innovation(member, left))
    kept = weight > NEGLIGIBLE * weight.max()
    n_lags = int(slot[-1] - slot[0])
    return ErrorModel(
        phi=every("phi")[kept],
        motor=every("motor")[kept],
        rho1=every("rho1")[kept],
        weight=weight[kept] / weight[kept].sum(),
        sigma2=rss[kept] / (n - p),
        dof=float(n - p),
        excess_low=excess_low,
        excess_high=excess_high,
        slot=np.asarray(slot),
        rho=np.concatenate([family.rho(n_lags) for family in families])[kept],
        basis=np.linalg.qr(design)[0],
    )


def _excess(innovation: Floats) -> tuple[float, float]:
    """Excess kurtosis that the lower and upper end of σ's interval allow for.

    A few dozen strums show heavy tails late: those that drew no outlier have both a small scatter and no sign of tails.
    The sample's own figure (the larger of its kurtosis and, as in gamma distributions, 1.5 times its skewness squared)
    is therefore drawn towards a prior, with a heavier one for the upper end.
    """
    n = innovation.size
    about = innovation - innovation.mean()
    variance = float(np.mean(about**2))
    skewness = float(np.mean(about**3)) / variance**1.5 * math.sqrt(n * (n - 1)) / (n - 2)
    kurtosis = float(np.mean(about**4)) / variance**2 - 3
    kurtosis = (n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * kurtosis + 6)
    seen = max(kurtosis, GAMMA_KURTOSIS * skewness**2)
    low, high = ((n * seen + TAIL_PRIOR_STRUMS * prior) / (n + TAIL_PRIOR_STRUMS) for prior in TAIL_PRIOR)
    return max(low, 0.0), max(high, 0.0)


def _lag_products(weights: Floats, slot: NDArray[np.int64]) -> Floats:
    """Sums of products of weights at each distance in slots: entry k holds Σ w(i) w(j) over slots k apart."""
    n_slots = int(slot[-1] - slot[0]) + 1
    line = np.zeros((*weights.shape[:-1], n_slots))
    line[..., slot - slot[0]] = weights
    size = next_fast_len(2 * n_slots, real=True)
    spectrum = rfft(line, size)
    return np.asarray(irfft(spectrum.real**2 + spectrum.imag**2, size)[..., :n_slots])


def _solve(rising: Callable[[float], float], target: float, high: float) -> float:
    """Where a rising function of a positive number crosses `target`, by halving the logarithm."""
    low, high = math.log(high) - SEARCH_RANGE, math.log(high)
    for _ in range(40):
        middle = (low + high) / 2
        if rising(math.exp(middle)) < target:
            low = middle
        else:
            high = middle
    return math.exp((low + high) / 2)
