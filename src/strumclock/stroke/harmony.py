"""What strums of like harmony share, taken out: a cheap chroma is enough to say which strums are on one chord."""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv

from strumclock.arrays import Floats
from strumclock.audio.cutting import cut

BAND_HZ = (180.0, 1300.0)  # what both directions play: the bass is often left out by up-strokes
FROM_S, TO_S = 0.05, 0.23  # after a strum: behind the pick's noise, before the next strum; by hand
LEAST_S = 0.08  # by hand: a shorter stretch does not part the notes
NARROW = 0.15  # strums whose centred chromas differ by this much in cosine count e times less for each other
OWN_SHARE = 3.0  # variance within a chord over that between chords, as found on simulated takes
BLOCK = 32  # strums at once: what fits a processor's cache
TOGETHER = 400  # strums held against each other: bounds the work in long takes


def chromas(x: NDArray[np.float32], rate_hz: float, time_s: Floats) -> Floats:
    """Share of each pitch class in what rings after each strum, centred and of unit length, shape (k, 12).

    Parameters
    ----------
    x : (n,) array
        One channel, at about 11 kHz.
    rate_hz : float
    time_s : (k,) array
        Strum times from the first sample [s], increasing.
    """
    length = round((TO_S - FROM_S) * rate_hz)
    size = 2 * (1 << (length - 1).bit_length())
    hz = np.arange(size // 2 + 1) * rate_hz / size
    inside = (hz > BAND_HZ[0]) & (hz < BAND_HZ[1])
    pitch_class = np.rint(12 * np.log2(hz[inside] / 440)).astype(int) % 12
    mixing = (pitch_class[:, None] == np.arange(12)).astype(np.float32)
    start = np.clip(np.rint((time_s + FROM_S) * rate_hz).astype(np.intp), 0, len(x))
    gap_s = np.append(np.diff(time_s), np.inf) - FROM_S - 0.01
    until = np.maximum(gap_s, LEAST_S) * rate_hz
    taper = np.hanning(length).astype(np.float32)
    out = np.empty((len(time_s), 12))
    for a in range(0, len(time_s), BLOCK):
        heard = cut(x, start[a : a + BLOCK], length) * taper
        heard *= np.arange(length) < until[a : a + BLOCK, None]
        out[a : a + BLOCK] = np.sqrt(np.abs(scipy.fft.rfft(heard, size, axis=1)[:, inside])) @ mixing
    for _ in range(2):  # unit length, centred, unit length: what is left is the shape
        out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)
        out -= out.mean(axis=1, keepdims=True)
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12))


def without_harmony(value: Floats, chroma: Floats) -> Floats:
    """Values less their mean and what strums of like chroma share (the mean of a Gaussian process over the chromas).

    Parameters
    ----------
    value : (n, m) array
    chroma : (n, 12) array
    """
    centred = value - value.mean(axis=0)
    out = np.empty_like(centred)
    for part in np.array_split(np.arange(len(value)), max(1, round(len(value) / TOGETHER))):
        alike = np.exp((chroma[part] @ chroma[part].T - 1) / NARROW)
        _, weighed, _ = dposv(alike + OWN_SHARE * np.eye(len(part)), centred[part])
        shared = alike @ weighed
        out[part] = centred[part] - shared
    return np.asarray(out, dtype=np.float64)
