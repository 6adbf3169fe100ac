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
from scipy.linalg.lapack import dpttrf, dpttrs
from scipy.special import chdtrc, gammaln, stdtr, stdtrit

Floats = NDArray[np.float64]

PHI_GRID = (-0.8, -0.6, -0.4, -0.2, 0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.88, 0.94)
"""Share of an error that is left after one more slot; 1 − φ is the share corrected."""

SLOW_DOUBT, SHORT_TAKE, LONG_TAKE = {0.88: 0.6, 0.94: 0.35}, 16, 40
"""How much less than the others the slowest wander is expected beforehand: not at all in takes of 16 strums or fewer,
in full from 40 on. Set so that simulated players' intervals hold the truth in no cell more than 99 % of the time and
those of slow wanderers in short takes as often as can be (`tests/benchmarks/coverage_cells.py`)."""

MOTOR_GRID = (0.0, 0.15, 0.3, 0.5, 0.7, 0.9)
"""The hand's own scatter as a share of the most that the model allows at that φ."""

NEWTON_STEPS = 6
"""Enough for 1e-6 of a half width: the distribution function is concave there, so each step stays on the safe side."""

SEARCH_RANGE = 14.0
"""Natural logarithms searched below a hundred times the largest standard deviation."""

TAIL_PRIOR, TAIL_PRIOR_STRUMS = (0.25, 3.0), 40
"""Excess kurtosis expected before the take is looked at (lower, upper end), and the strums that this belief is worth.

Set by simulation with 16 to 192 normal, gamma, exponential and t₅ errors (`tests/benchmarks/coverage_tails.py`)."""

GAMMA_KURTOSIS = 1.5
"""Excess kurtosis of a gamma distribution over its squared skewness."""

LEAST_INFLATION = 0.1
"""Errors that take turns make a mean better known than independent ones do, but never without limit."""

NEGLIGIBLE = 1e-4
"""Pairs whose weight is less than this share of the best are left out of the mixture."""

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
        Excess kurtosis that the lower and the upper end of σ's interval allow for (`_excess`).
    slot : (n,) int array
        Slot of each value.
    rho : (n_pairs, n_slots - 1) array
        Autocorrelation at one, two … slots.
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
        lag = _lag_products(combinations, self.slot)
        variance: Floats = np.maximum(self.sigma2 * (lag[..., :1] + 2 * lag[..., 1:] @ self.rho.T), 0.0)
        return variance

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

    def sigma_interval(self, level: float = 0.95) -> tuple[float, float]:
        """The `level` interval of σ, the standard deviation of the player's errors about the fitted lines."""
        top = 100 * float(np.sqrt(self.sigma2.max()))

        def end(share: float, excess: float) -> float:
            # The variance of a variance: 2/dof for normal errors, and 1/n more for each unit of excess kurtosis.
            dof = self.dof / (1 + excess / 2)
            return _solve(lambda sigma: float(self.weight @ chdtrc(dof, dof * self.sigma2 / sigma**2)), share, top)

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
    slot: NDArray[np.int64],
    design: Floats,
    *,
    phi_grid: tuple[float, ...] = PHI_GRID,
    motor_grid: tuple[float, ...] = MOTOR_GRID,
    across_gaps: bool = True,
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
        The pairs that are weighed.
    across_gaps : bool
        Whether errors hang together across omitted slots; else each unbroken run stands alone.

    Returns
    -------
    ErrorModel

    Notes
    -----
    Multiplying the values by φ^gap and subtracting leaves a series whose covariance is tridiagonal for every pair, also
    across gaps; LAPACK factors it in linear time. Restricted likelihood: Patterson & Thompson 1971 (from memory).
    """
    fitted = fit_error_models(
        values,
        slot,
        design,
        columns=(design.shape[1],),
        phi_grid=phi_grid,
        motor_grid=motor_grid,
        across_gaps=across_gaps,
    )
    return fitted[0]


def fit_error_models(
    values: Floats,
    slot: NDArray[np.int64],
    design: Floats,
    *,
    columns: tuple[int, ...],
    phi_grid: tuple[float, ...] = PHI_GRID,
    motor_grid: tuple[float, ...] = MOTOR_GRID,
    across_gaps: bool = True,
) -> list[ErrorModel]:
    """`fit_error_model` with the first so many columns of a design, for each of these numbers: they share the work."""
    gap = np.diff(slot)
    joined = 1.0 if across_gaps else (gap == 1).astype(float)
    table = np.vstack([values, design.T])
    pairs = []
    for phi in phi_grid:
        powers = np.power(phi, np.arange(gap.max(initial=1) + 1))
        left, before = joined * powers[gap], joined * powers[gap - 1]
        moved = table.copy()
        moved[:, 1:] -= left * table[:, :-1]
        rho1 = phi - np.array(motor_grid) * (1 + phi) / 2
        factor, off, whole = _factored(left, before, rho1)
        gram, logdet = moved @ _solved(factor, off, moved), np.log(factor).sum(axis=1)
        motors = np.array(motor_grid)[whole]
        pairs += [
            _Pair(phi=phi, motor=m, rho1=r, gram=g, logdet=d, moved=moved, factor=f, off=o)
            for m, r, g, d, f, o in zip(motors, rho1[whole], gram, logdet, factor, off, strict=True)
        ]
    return [_weighed(pairs, slot, p) for p in columns]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pair:
    """One way in which errors can hang together, and what it makes of the values and the design's columns.

    `moved` are their rows less φ^gap times what came before; `factor` and `off` their covariance's factors and `logdet`
    its logarithm; `gram` their products once that covariance is taken out.
    """

    phi: float
    motor: float
    rho1: float
    gram: Floats
    logdet: float
    moved: Floats
    factor: Floats
    off: Floats


def _weighed(pairs: list[_Pair], slot: NDArray[np.int64], p: int) -> ErrorModel:
    """How well each pair explains the values when the design's first p columns are taken out."""
    n = slot.size
    gram = np.array([pair.gram[: 1 + p, : 1 + p] for pair in pairs])
    inner = gram[:, 1:, 1:]
    beta = np.linalg.solve(inner, gram[:, 1:, :1])
    rss = gram[:, 0, 0] - (gram[:, :1, 1:] @ beta)[:, 0, 0]
    rss = np.maximum(rss, np.finfo(float).tiny)
    logdet = np.array([pair.logdet for pair in pairs])
    log_likelihood = -0.5 * (logdet + np.linalg.slogdet(inner)[1] + (n - p) * np.log(rss))
    doubt = min(max((n - SHORT_TAKE) / (LONG_TAKE - SHORT_TAKE), 0.0), 1.0)
    prior = np.array([SLOW_DOUBT.get(pair.phi, 1.0) ** doubt for pair in pairs])
    weight = prior * np.exp(log_likelihood - log_likelihood.max())
    best = int(np.argmax(weight))
    unexplained = pairs[best].moved[0] - beta[best, :, 0] @ pairs[best].moved[1 : 1 + p]
    innovation = _unfold(unexplained, pairs[best].off) / np.sqrt(pairs[best].factor)
    excess_low, excess_high = _excess(innovation)
    kept = weight > NEGLIGIBLE * weight.max()
    phi, motor, rho1 = np.array([(pair.phi, pair.motor, pair.rho1) for pair in pairs])[kept].T
    weight = weight[kept]
    decay = np.repeat(phi[:, None], int(slot[-1] - slot[0]), axis=1)
    decay[:, :1] = rho1[:, None]
    return ErrorModel(
        phi=phi,
        motor=motor,
        rho1=rho1,
        weight=weight / weight.sum(),
        sigma2=rss[kept] / (n - p),
        dof=float(n - p),
        excess_low=excess_low,
        excess_high=excess_high,
        slot=np.asarray(slot),
        rho=np.cumprod(decay, axis=1),
    )


def _factored(left: Floats, before: Floats, rho1: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Factors of the tridiagonal covariance under each ρ(1), (pairs, n): its diagonal, and what is beside it (last 0);
    and which pairs they are of, without those whose covariance is none, by rounding.

    LAPACK factors all at once, as blocks of one matrix between which nothing hangs together.
    """
    pairs, n = rho1.size, left.size + 1
    diagonal, off = np.ones((pairs, n)), np.zeros((pairs, n))
    np.subtract(1 + left * left, np.multiply.outer(rho1, 2 * left * before), out=diagonal[:, 1:])
    np.subtract(np.multiply.outer(rho1, before), left, out=off[:, :-1])
    if pairs == 0:
        return diagonal, off, np.ones(0, dtype=bool)
    factor, shares, info = dpttrf(diagonal.ravel(), off.ravel()[:-1])
    if info:
        bad = (info - 1) // n
        factor, off, whole = _factored(left, before, np.delete(rho1, bad))
        return factor, off, np.insert(whole, bad, False)
    return factor.reshape(pairs, n), np.append(shares, 0.0).reshape(pairs, n), np.ones(pairs, dtype=bool)


def _solved(factor: Floats, off: Floats, columns: Floats) -> Floats:
    """What every covariance makes of the same columns (p, n) when it is solved for them: (pairs, n, p)."""
    pairs, n = factor.shape
    if pairs == 0:
        return np.empty((0, n, len(columns)))
    repeated = np.tile(columns, pairs).T  # in LAPACK's order
    solved, _ = dpttrs(factor.ravel(), off.ravel()[:-1], repeated, overwrite_b=True)
    return np.asarray(solved).reshape(pairs, n, -1)


def _unfold(values: Floats, off: Floats) -> Floats:
    """Solve the unit lower bidiagonal system that factoring a tridiagonal covariance leaves."""
    solved = values.tolist()
    for i, share in enumerate(off[:-1].tolist()):
        solved[i + 1] -= share * solved[i]
    return np.array(solved)


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
