"""Levels in bands and steps of time around each strum: what spread and direction are read from.

The picture of a strum reaches from 18 ms before it to 102 ms after it in steps of 6 ms, in six octave bands from 80 Hz
to 5 kHz, in decibels.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.arrays import Floats
from strumclock.audio.cutting import cut

EDGES_HZ = (80.0, 160.0, 320.0, 640.0, 1280.0, 2560.0, 5000.0)  # octaves; belong to the weights
BANDS = len(EDGES_HZ) - 1
WINDOW_S = 0.0085  # as short as the lowest band allows
HOP_S = 0.003  # belongs to the learned weights
FROM_S = -0.018  # before the strum; belongs to the learned weights
STEPS = 20  # of two hops each
REACH_S = 0.105  # what is looked at after a strum
DEPTH_DB = 50.0  # below the picture's loudest cell nothing is looked at
BLOCK = 32  # strums at once: what fits a processor's cache


def pictures(x: NDArray[np.float32], rate_hz: float, time_s: Floats) -> NDArray[np.float32]:
    """Level of each band and step around each strum, dB, shape (k, STEPS, BANDS).

    Parameters
    ----------
    x : (n,) array
        One channel, at about 11 kHz.
    rate_hz : float
    time_s : (k,) array
        Strum times from the first sample [s].

    Examples
    --------
    >>> x = np.where(np.arange(11025) < 5512, 0.0, np.cos(0.3 * np.arange(11025))).astype(np.float32)
    >>> seen = pictures(x, 11025, np.array([5512 / 11025]))
    >>> seen.shape, bool(seen[0, 10, 2] > seen[0, 0, 2] + 40)
    ((1, 20, 6), True)
    """
    length = round(WINDOW_S * rate_hz)
    size = 1 << (length - 1).bit_length()
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    mixing = _bands(size, rate_hz)
    step_s = FROM_S + HOP_S * np.arange(2 * STEPS)
    start = np.rint((time_s[:, None] + step_s) * rate_hz).astype(np.intp) - length // 2
    out = np.empty((len(time_s), STEPS, BANDS), np.float32)
    for a in range(0, len(time_s), BLOCK):
        heard = cut(x, start[a : a + BLOCK].ravel(), length) * window
        spectrum = scipy.fft.rfft(heard.reshape(-1, 2 * STEPS, length), size, axis=2)
        power = (spectrum.real**2 + spectrum.imag**2) @ mixing
        loudest = power.max(axis=(1, 2), keepdims=True)
        power = np.maximum(power, np.float32(10 ** (-DEPTH_DB / 10)) * loudest) + np.float32(1e-20)
        level = np.float32(10 / np.log(10)) * np.log(power)
        out[a : a + BLOCK] = level.reshape(len(level), STEPS, 2, BANDS).mean(axis=2)
    return out


def _bands(size: int, rate_hz: float) -> NDArray[np.float32]:
    """Weights (bins, BANDS) that take the mean power in each band; a band without a bin takes the nearest."""
    hz = np.arange(size // 2 + 1) * rate_hz / size
    mixing = np.zeros((len(hz), BANDS), np.float32)
    for band in range(BANDS):
        low, high = EDGES_HZ[band], EDGES_HZ[band + 1]
        inside = (hz >= low) & (hz < high)
        if not inside.any():
            inside[np.argmin(np.abs(hz - (low + high) / 2))] = True
        mixing[inside, band] = 1 / inside.sum()
    return mixing
