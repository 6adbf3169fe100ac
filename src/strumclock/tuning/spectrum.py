"""Peaks of a spectrum, to a small part of a bin."""

from __future__ import annotations

import math

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.arrays import Floats

WORK_HZ = 5512.5  # pitch is read below 1.5 kHz
PADDING = 4  # times the length: there a parabola through three logarithms is true to a hundredth of a bin
RANGE_DB = 30.0  # below the highest peak nothing is read


def peaks(
    x: NDArray[np.float32], rate_hz: float, band_hz: tuple[float, float], *, range_db: float = RANGE_DB
) -> tuple[Floats, Floats]:
    """Frequencies [Hz] and amplitudes (the highest = 1) of a spectrum's peaks in a band.

    Examples
    --------
    >>> t = np.arange(2048) / 5512.5
    >>> hz, size = peaks(np.cos(2 * np.pi * 110.3 * t).astype(np.float32), 5512.5, (80, 400))
    >>> bool(abs(hz[0] - 110.3) < 0.02), float(size[0])
    (True, 1.0)
    """
    n = PADDING * (1 << (len(x) - 1).bit_length())
    log = np.log(np.abs(scipy.fft.rfft((x - x.mean()) * np.hanning(len(x)), n)) + 1e-12)
    hz = np.arange(len(log)) * rate_hz / n
    k = np.flatnonzero((log[1:-1] > log[:-2]) & (log[1:-1] >= log[2:])) + 1
    k = k[(hz[k] >= band_hz[0]) & (hz[k] <= band_hz[1])]
    if not len(k):
        return np.empty(0), np.empty(0)
    k = k[log[k] > log[k].max() - math.log(10) * range_db / 20]
    left, mid, right = log[k - 1], log[k], log[k + 1]
    shift = 0.5 * (left - right) / (left - 2 * mid + right)
    return (k + shift) * rate_hz / n, np.exp(mid - mid.max())
