"""Pieces of a recording, a row each."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Samples


def cut(x: Samples, first: npt.NDArray[np.intp], length: int) -> Samples:
    """So many samples from each first one, a row each; beyond the ends is silence.

    Examples
    --------
    >>> cut(np.arange(5, dtype=np.float32), np.array([-1, 1, 4]), 3)
    array([[0., 0., 1.],
           [1., 2., 3.],
           [4., 0., 0.]], dtype=float32)
    """
    inside = (first >= 0) & (first + length <= len(x))
    if len(x) < length:
        out = np.empty((len(first), length), np.float32)
    else:
        step = x.itemsize
        every: Samples = np.ndarray((len(x) - length + 1, length), x.dtype, x, strides=(step, step))  # a view
        out = every[np.where(inside, first, 0)]
    for row in np.flatnonzero(~inside):
        a, b = max(first[row], 0), min(first[row] + length, len(x))
        out[row] = 0
        if a < b:
            out[row, a - first[row] : b - first[row]] = x[a:b]
    return out
