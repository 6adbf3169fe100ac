"""The arrays of this library, each kind under one name."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
"""Times, offsets, weights: whatever is computed with."""

Samples = NDArray[np.float32]
"""Sound, and what is as large as sound."""

Ints = NDArray[np.int64]
"""Slots, bars, beats, counts."""

Bools = NDArray[np.bool_]
"""Marks."""

Spectra = NDArray[np.complex64]
"""Sound by frequency."""
