"""Quantiles by sorting: of single-precision numbers numpy sorts several at a time, and its own quantile does not."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

LONG = 1024  # numbers of which one quantile is found sooner by parting them than by sorting them


def quantiles(values: npt.NDArray[Any], *shares: float) -> list[npt.NDArray[Any]]:
    """Below which value each share of every row lies, with straight lines between the values, as numpy's has it.

    Parameters
    ----------
    values : ndarray, shape (..., n)
    shares : float
        0 to 1.

    Returns
    -------
    list of ndarray, shape (...)

    Examples
    --------
    >>> rows = np.array([[3.0, 1.0, 2.0], [6.0, 4.0, 5.0]])
    >>> quantiles(rows, 0.5, 0.75)
    [array([2., 5.]), array([2.5, 5.5])]
    """
    last = values.shape[-1] - 1
    parted = len(shares) == 1 and last >= LONG
    order = np.partition(values, int(shares[0] * last), axis=-1) if parted else np.sort(values, axis=-1)
    found = []
    for share in shares:
        i = int(share * last)
        low, after = order[..., i], order[..., min(i + 1, last) :]
        high = after.min(axis=-1) if parted else after[..., 0]
        found.append(low + order.dtype.type(share * last - i) * (high - low))
    return found
