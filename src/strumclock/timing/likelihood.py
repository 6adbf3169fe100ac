"""How well each way of hanging together explains values: their products once its correlations are taken out.

Linear phase correction: multiplying the values by φ^gap and subtracting leaves a series whose covariance is tridiagonal
for every pair, also across gaps; LAPACK factors it in linear time. The other families are whitened by Durbin and
Levinson's recursion, which knows no gaps: there the strums count one after another, which overstates how much those on
both sides of an omitted slot hang together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpttrf, dpttrs

from strumclock.arrays import Floats, Ints
from strumclock.timing import members


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explained:
    """What the members of one family make of the rows of a table (c, n).

    Attributes
    ----------
    gram : (m, c, c) array
        Products of the rows once each member's correlations are taken out.
    logdet : (m,) array
        Logarithm of the determinant of each member's correlation matrix.
    prior : (m,) array
        Weight of each member before the take is looked at.
    phi, motor, rho1 : (m,) array
        Linear phase correction: see `ErrorModel`; NaN in the other families but for ρ(1).
    rho : callable
        From a number of lags to the members' autocorrelations at lags 1 … that number, (m, lags).
    innovation : callable
        From a member's index and weights of the rows (c,) to the independent errors of the weighted rows, (n,).
    """

    gram: Floats
    logdet: Floats
    prior: Floats
    phi: Floats
    motor: Floats
    rho1: Floats
    rho: Callable[[int], Floats]
    innovation: Callable[[int, Floats], Floats]


def explain_by_phase_correction(
    table: Floats,
    slot: Ints,
    *,
    phi_grid: tuple[float, ...],
    motor_grid: tuple[float, ...],
    across_gaps: bool,
    slow_doubt: bool = True,
) -> Explained:
    """Every pair of φ and of the hand's share; `slow_doubt`: the slowest are expected less (`members.SLOW_DOUBT`)."""
    gap = np.diff(slot)
    joined = 1.0 if across_gaps else (gap == 1).astype(float)
    shares = np.array(motor_grid)
    rows: list[tuple[float, float, float, Floats, float]] = []
    kept: list[tuple[Floats, Floats, Floats]] = []
    for phi in phi_grid:
        powers = np.power(phi, np.arange(gap.max(initial=1) + 1))
        left, before = joined * powers[gap], joined * powers[gap - 1]
        moved = table.copy()
        moved[:, 1:] -= left * table[:, :-1]
        rho1 = phi - shares * (1 + phi) / 2
        factor, off, whole = _factored(left, before, rho1)
        gram, logdet = moved @ _solved(factor, off, moved), np.log(factor).sum(axis=1)
        rows += [
            (phi, m, r, g, d) for m, r, g, d in zip(shares[whole], rho1[whole], gram, logdet.tolist(), strict=True)
        ]
        kept += [(moved, f, o) for f, o in zip(factor, off, strict=True)]
    phi_of, motor, rho1_of = (np.array([row[i] for row in rows]) for i in range(3))

    def rho(n_lags: int) -> Floats:
        decay = np.repeat(phi_of[:, None], n_lags, axis=1)
        decay[:, :1] = rho1_of[:, None]
        return np.asarray(np.cumprod(decay, axis=1))

    def innovation(member: int, weights: Floats) -> Floats:
        moved, factor, off = kept[member]
        return _unfold(weights @ moved, off) / np.sqrt(factor)

    doubt = min(max((slot.size - members.SHORT_TAKE) / (members.LONG_TAKE - members.SHORT_TAKE), 0.0), 1.0)
    expected = members.SLOW_DOUBT if slow_doubt else {}
    prior = np.array([expected.get(phi, 1.0) ** doubt for phi in phi_of.tolist()])
    return Explained(
        gram=np.array([row[3] for row in rows]),
        logdet=np.array([row[4] for row in rows]),
        prior=members.FAMILY_SHARE["phase"] * prior / prior.sum(),
        phi=phi_of,
        motor=motor,
        rho1=rho1_of,
        rho=rho,
        innovation=innovation,
    )


def explain_by_long_memory_and_period(table: Floats) -> Explained:
    """Every member of the long-memory and the phase-and-period family."""
    c, n = table.shape
    size = min(n, members.MEMORY)
    rows, logs = members.whitening(_rounded(size))
    head = rows[:, :size, :size]
    begun = head @ table[:, :size].T  # (m, size, c)
    gram = np.swapaxes(begun, 1, 2) @ begun
    logdet = logs[:, :size].sum(axis=1)
    last = rows[:, size - 1, :size]
    if n > size:
        windows = np.lib.stride_tricks.sliding_window_view(table[:, 1:], size, axis=1)
        rest = windows.reshape(-1, size) @ last.T  # (c (n − size), m)
        rest = rest.reshape(c, n - size, -1).transpose(2, 1, 0)
        gram = gram + np.swapaxes(rest, 1, 2) @ rest
        logdet = logdet + (n - size) * logs[:, size - 1]
    nothing = np.full(len(rows), np.nan)

    def rho(n_lags: int) -> Floats:
        return members.dense_autocorrelations(_rounded(n_lags))[:, 1 : n_lags + 1]

    def innovation(member: int, weights: Floats) -> Floats:
        combined = weights @ table
        first = head[member] @ combined[:size]
        after = np.convolve(combined, last[member][::-1], mode="valid")[1:]
        return np.concatenate([first, after])

    return Explained(
        gram=gram,
        logdet=logdet,
        prior=members.dense_prior(),
        phi=nothing,
        motor=nothing,
        rho1=rho(1)[:, 0],
        rho=rho,
        innovation=innovation,
    )


def _rounded(size: int) -> int:
    """The next power of two, so that takes of about the same length share what is kept."""
    return max(16, 1 << (size - 1).bit_length())


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
