"""Ways in which one player's errors can hang together: three families of autocorrelations, and how likely each is.

**Linear phase correction** (ARMA(1, 1); the closed form is in `correction`): ρ(1) = r and ρ(k) = r φ^(k − 1). This
covers wandering (r near φ), scatter added to slow wander (r below φ), overcorrection (φ < 0) and the pick's own scatter
(r < 0). The memory is short: it fades by the same share with every strum.

**Long memory**: fractional Gaussian noise of Hurst exponent H beside white noise. Human timing has it (Gilden, Thornton
& Mallon 1995; Hennig et al. 2011): errors of the first minute and of the third still hang together, and the mean of n
errors varies as σ² n^(2H − 2) instead of σ²/n. Autocovariance ½σ²(|k+1|^2H − 2|k|^2H + |k−1|^2H) (Mandelbrot & Van Ness
1968).

**Phase and period correction** (ARMA(2, 1)): A(n+1) = (2 − α − β) A(n) − (1 − α) A(n−1) + e(n+1) + θ e(n), where α is
the share of an error that is corrected and β the share by which the inner clock's period follows it (Repp 2005). With
θ = −1 only the beats scatter, and the mean is held to the click far better than by phase correction alone; with θ = 0
the period itself wanders.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from strumclock.arrays import Floats

PHI_GRID = (-0.8, -0.6, -0.4, -0.2, 0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.88, 0.94)
"""Linear phase correction: share of an error that is left after one more slot; 1 − φ is the share corrected."""

MOTOR_GRID = (0.0, 0.15, 0.3, 0.5, 0.7, 0.9)
"""The hand's own scatter as a share of the most that linear phase correction allows at that φ."""

SLOW_DOUBT, SHORT_TAKE, LONG_TAKE = {0.88: 0.6, 0.94: 0.35}, 16, 40
"""How much less than the others the slowest wander is expected beforehand: not at all in takes of 16 strums or fewer,
in full from 40 on. Set so that simulated players' intervals hold the truth in no cell more than 99 % of the time and
those of slow wanderers in short takes as often as can be (`tests/benchmarks/coverage_cells.py`)."""

HURST_WEIGHT = {0.6: 1.0, 0.7: 1.0, 0.8: 1.0, 0.9: 1.0, 0.97: 0.3}
"""Long memory: Hurst exponents, and how often each is expected. People's own weights lie at .7 to .9."""

WHITE_WEIGHT = {0.0: 3.0, 0.3: 1.0, 0.6: 0.3, 0.8: 0.1}
"""White noise as a share of the variance, and how often it is expected: white noise alone is the first family's."""

ALPHA_GRID = (0.2, 0.5, 0.8, 1.2)
BETA_GRID = (0.05, 0.15, 0.35)
THETA_GRID = (-1.0, 0.0)
"""Phase and period correction: shares of an error by which phase and period are corrected, and what scatters."""

FAMILY_SHARE = {"phase": 0.35, "long": 0.35, "period": 0.30}
"""Share of each family before a take is looked at. Learned from people who drum and tap to a click: the mean over four
groups of them, to a twentieth (`tests/benchmarks/learn_error_model.py`). The groups differ: drummers, whose strokes
hang together by short memory in the main, and tapping people, who show hardly any of that kind."""

MEMORY = 128
"""Errors further back than this are taken to tell nothing beyond those in between (an autoregression of that order).

The partial autocorrelation of long memory is about (H − ½)/k at lag k: what is left out is 0.1 % of the variance."""


def fgn_autocorrelation(hurst: float, n_lags: int) -> Floats:
    """Autocorrelation of fractional Gaussian noise at lags 0 … n_lags.

    Examples
    --------
    The variance of the mean of n values is σ² n^(2H − 2), exactly:

    >>> rho, n = fgn_autocorrelation(0.8, 99), 100
    >>> variance = (n + 2 * float((n - np.arange(1, n)) @ rho[1:])) / n**2
    >>> round(variance, 9) == round(n ** (2 * 0.8 - 2), 9)
    True
    """
    k = np.arange(n_lags + 1.0)
    return np.asarray(0.5 * ((k + 1) ** (2 * hurst) - 2 * k ** (2 * hurst) + np.abs(k - 1) ** (2 * hurst)))


def arma21_autocorrelation(phi1: float, phi2: float, theta: float, n_lags: int) -> Floats:
    """Autocorrelation of x(n) = φ₁ x(n−1) + φ₂ x(n−2) + e(n) + θ e(n−1) at lags 0 … n_lags (Yule-Walker equations).

    Examples
    --------
    An AR(2) of .5 and .3 has ρ(1) = φ₁/(1 − φ₂):

    >>> [round(float(x), 6) for x in arma21_autocorrelation(0.5, 0.3, 0.0, 2)]
    [1.0, 0.714286, 0.657143]
    """
    equations = np.array([[1.0, -phi1, -phi2], [-phi1, 1 - phi2, 0.0], [-phi2, -phi1, 1.0]])
    start = np.linalg.solve(equations, [1 + theta * (phi1 + theta), theta, 0.0])
    gamma = np.empty(max(n_lags, 2) + 1)
    gamma[:3] = start
    for k in range(3, gamma.size):
        gamma[k] = phi1 * gamma[k - 1] + phi2 * gamma[k - 2]
    return np.asarray(gamma[: n_lags + 1] / gamma[0])


def dense_prior() -> Floats:
    """Weight of each member of the long-memory and the phase-and-period family before a take is looked at."""
    long = np.multiply.outer(list(HURST_WEIGHT.values()), list(WHITE_WEIGHT.values())).ravel()
    period = np.full(len(ALPHA_GRID) * len(BETA_GRID) * len(THETA_GRID), 1.0)
    return np.concatenate([FAMILY_SHARE["long"] * long / long.sum(), FAMILY_SHARE["period"] * period / period.sum()])


@lru_cache(maxsize=4)
def dense_autocorrelations(n_lags: int) -> Floats:
    """Autocorrelations at lags 0 … n_lags of the long-memory and the phase-and-period members, a row each."""
    rows = []
    for hurst in HURST_WEIGHT:
        fractional = fgn_autocorrelation(hurst, n_lags)
        for white in WHITE_WEIGHT:
            rho = (1 - white) * fractional
            rho[0] = 1.0
            rows.append(rho)
    for alpha in ALPHA_GRID:
        for beta in BETA_GRID:
            for theta in THETA_GRID:
                rows.append(arma21_autocorrelation(2 - alpha - beta, alpha - 1, theta, n_lags))
    found = np.array(rows)
    found.setflags(write=False)
    return found


@lru_cache(maxsize=8)
def whitening(size: int) -> tuple[Floats, Floats]:
    """What turns the dense members' errors into independent ones of variance 1, (members, size, size); ln variances.

    Durbin and Levinson's recursion for all members at once. Row k takes off what the k errors before tell.
    """
    rho = dense_autocorrelations(size)
    rows = np.zeros((len(rho), size, size))
    variance = np.ones(len(rho))
    predict = np.zeros((len(rho), 0))
    logs = np.zeros((len(rho), size))
    rows[:, 0, 0] = 1.0
    for k in range(1, size):
        # The partial autocorrelation at lag k, then the coefficients of the k errors before, nearest first.
        partial = (rho[:, k] - np.einsum("mj,mj->m", predict, rho[:, k - 1 : 0 : -1])) / variance
        predict = np.column_stack([predict - partial[:, None] * predict[:, ::-1], partial])
        variance = variance * (1 - partial**2)
        root = np.sqrt(variance)
        rows[:, k, k] = 1 / root
        rows[:, k, k - 1 :: -1] = -predict / root[:, None]
        logs[:, k] = np.log(variance)
    rows.setflags(write=False)
    logs.setflags(write=False)
    return rows, logs
