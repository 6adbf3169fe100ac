"""Linear algebra of means: indicator columns, and the difference between marked strums and the rest."""

from __future__ import annotations

import numpy as np

from strumclock.arrays import Floats, Ints

SEPARABLE = 0.1
"""Least share of a place's indicator that must be left beside the others for the two to be told apart."""


def beside(indicator: Floats, others: Floats) -> Floats | None:
    """Weights of a column's part in the values, `others` held fixed; None where they hide it.

    Of a column of marks that is the difference between marked values and the rest.
    """
    basis, _ = np.linalg.qr(others)
    left = indicator - basis @ (basis.T @ indicator)
    size = float(left @ left)
    if size <= SEPARABLE * indicator.size * float(indicator.var() if others.size else 1.0):
        return None
    return np.asarray(left / size)


def indicators(at: Ints) -> Floats:
    """One column a level but the first."""
    return np.asarray(at[:, None] == np.unique(at)[None, 1:], dtype=np.float64)


def independent(design: Floats, more: Floats) -> Floats:
    """The design with those further columns that it does not already span."""
    kept = design
    for column in more.T:
        basis, _ = np.linalg.qr(kept)
        left = column - basis @ (basis.T @ column)
        if float(left @ left) > SEPARABLE * column.size * float(column.var()):
            kept = np.column_stack([kept, column])
    return kept


def residual(values: Floats, design: Floats) -> Floats:
    """Values minus what the design explains."""
    basis, _ = np.linalg.qr(design)
    return np.asarray(values - basis @ (basis.T @ values))
