"""Levels in bands over time: where something begins, and the picture around it.

Frame k is centred at k hops. Levels are in dB, each band against its own loud moments in this recording, so
that neither the gain nor the tone of a microphone changes the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.onsets.signals import Samples

FloatArray = npt.NDArray[np.float64]
Frames = npt.NDArray[np.float32]

HOP_S = 0.005
WINDOW_S = 0.046  # long enough to tell the partials of two low strings apart
BANDS = 34
LOWEST_HZ, HIGHEST_HZ = 80.0, 4950.0
LAG_S = 0.025  # the strings of one strum are 5 to 60 ms apart: over this time their rises add up
FLOOR_DB = -60.0  # below the loudest band's loud moments: silence must not divide
LOUD = 0.97  # quantile of a band's frames that stands for "loud": most takes ring most of the time
LEAST_RISE_DB = 1.2  # mean over the bands; at 1.0 more false strums in real takes, at 1.4 soft repeats are lost
PEAK_HALF_S = 0.030  # a rise is a candidate where none larger is nearer than this

PICTURE_S = 0.150  # looked at before and after a candidate: damping before, ringing after
PICTURE_BANDS, PICTURE_FRAMES = 11, 30
REMOVED_SPLIT = 20  # band that splits the removed click's level in two (about 1 kHz)
QUIETEST, LOUDEST = -3.0, 0.6  # limits of the picture, in 20 dB
BLOCK = 1024  # frames transformed at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Levels of a recording over time.

    Attributes
    ----------
    level : ndarray, shape (frames, BANDS) [20 dB]
        Against each band's loud moments, limited to `QUIETEST` … `LOUDEST`.
    removed : ndarray, shape (frames, 2) [20 dB]
        Level of the click that was removed, below and above about 1 kHz, against the same.
    rise_db : ndarray, shape (frames,) [dB]
        Mean over the bands of what rose within `LAG_S`.
    total_db : ndarray, shape (frames,) [dB]
        Power of all bands.
    hop_s : float
    """

    level: Frames
    removed: Frames
    rise_db: Frames
    total_db: Frames
    hop_s: float


def measure_levels(x: Samples, rate_hz: float, removed: Samples | None = None) -> Levels:
    """Levels of the samples, and of the click removed from them."""
    power = _power(x, rate_hz)
    typical = np.quantile(power[::4], [0.1, 0.95, LOUD], axis=0).astype(np.float32)
    floor = np.maximum(typical[0], typical[1].max() * 10 ** (FLOOR_DB / 10)) + np.float32(1e-20)
    db = 10 * np.log10(power + floor)
    hop_s = _hop(rate_hz) / rate_hz
    lag = round(LAG_S / hop_s)
    rise = np.zeros(len(db), np.float32)
    if len(db) > lag:
        np.mean(np.maximum(db[lag:] - db[:-lag], 0), axis=1, out=rise[lag:])
    loud = typical[2] + floor
    level = np.clip((db - 10 * np.log10(loud)) / 20, QUIETEST, LOUDEST)
    away = np.full((len(db), 2), QUIETEST, np.float32)
    if removed is not None and np.any(removed):
        taken = _power(removed, rate_hz)
        for i, part in enumerate((slice(0, REMOVED_SPLIT), slice(REMOVED_SPLIT, BANDS))):
            ratio = (taken[:, part].mean(axis=1) + 1e-20) / loud[part].mean()
            away[:, i] = np.clip(np.log10(ratio) / 2, QUIETEST, LOUDEST)
    return Levels(
        level=level,
        removed=away,
        rise_db=rise,
        total_db=10 * np.log10(power.sum(axis=1) + np.float32(1e-20)),
        hop_s=hop_s,
    )


def rises(levels: Levels) -> npt.NDArray[np.intp]:
    """Frames in which the rise is largest around and at least `LEAST_RISE_DB`."""
    r = levels.rise_db
    half = round(PEAK_HALF_S / levels.hop_s)
    top = np.lib.stride_tricks.sliding_window_view(np.pad(r, half), 2 * half + 1).max(axis=1)
    return np.flatnonzero((r == top) & (r > LEAST_RISE_DB))


def pictures(levels: Levels, frame: npt.NDArray[np.intp]) -> Frames:
    """The levels around each frame, shape (n, PICTURE_FRAMES * (PICTURE_BANDS + 2))."""
    half = round(PICTURE_S / HOP_S)
    per = 2 * half // PICTURE_FRAMES
    at = np.clip(frame[:, None] + np.arange(-half, half), 0, len(levels.level) - 1)
    bands = BANDS // PICTURE_BANDS
    pooled = levels.level[:, : bands * PICTURE_BANDS].reshape(-1, PICTURE_BANDS, bands).mean(axis=2)
    both = np.concatenate([pooled, levels.removed], axis=1)[at]
    seen: Frames = both.reshape(len(frame), PICTURE_FRAMES, per, -1).mean(axis=2).reshape(len(frame), -1)
    return seen


def _hop(rate_hz: float) -> int:
    return round(HOP_S * rate_hz)


def _power(x: Samples, rate_hz: float) -> Frames:
    """Mean power of each band and frame, shape (frames, BANDS)."""
    size = 1 << round(np.log2(WINDOW_S * rate_hz))
    window = np.hanning(size + 1)[:size].astype(np.float32)
    padded = np.zeros(len(x) + size, np.float32)
    padded[size // 2 : size // 2 + len(x)] = x
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[:: _hop(rate_hz)]
    weights = _bands(size, rate_hz) / np.sum(window**2)
    out = np.empty((len(frames), BANDS), np.float32)
    for a in range(0, len(frames), BLOCK):
        spectrum = scipy.fft.rfft(frames[a : a + BLOCK] * window, axis=1)
        out[a : a + BLOCK] = (spectrum.real**2 + spectrum.imag**2) @ weights
    return out


def _bands(size: int, rate_hz: float) -> Frames:
    """Weights of the bins in each band; bands above a low rate's Nyquist repeat the highest that there is."""
    f = np.arange(size // 2 + 1) * rate_hz / size
    edges = np.geomspace(LOWEST_HZ, HIGHEST_HZ, BANDS + 1)
    weights = np.zeros((len(f), BANDS), np.float32)
    for b in range(BANDS):
        low, high = edges[b], max(edges[b + 1], edges[b] + 2 * rate_hz / size)
        if high > 0.46 * rate_hz and b:
            weights[:, b] = weights[:, b - 1]
            continue
        inside = (f >= low) & (f < high)
        weights[inside, b] = 1 / inside.sum()
    return weights
