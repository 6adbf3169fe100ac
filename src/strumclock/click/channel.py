"""Whether one channel of a recording holds nothing but the click."""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.audio.decimation import decimated
from strumclock.click.finding import find_clicks
from strumclock.click.preprocessing import Float32

FRAME_S, WITHIN_DB, SPARSE_SHARE = 0.01, 40.0, 0.35
"""A click is over in some 30 ms of a beat, a ringing guitar is not: of a channel's frames this share at most is within
so much of its loudest. Calibrated on the bench: 0.14 for its click channel, above 0.7 for every guitar in it."""

MOST_ALIKE = 0.5
"""Correlation above which two channels resemble each other. Leakage of a stereo codec or a cable leaves the other
channel's sound well below; a panned stereo recording does not."""

REPEATS = 0.7
"""Correlation of a channel with itself, some clicks later, from which it holds nothing else: 0.99 and more for clicks
of an instrument's or a computer's that ring until the next, below 0.2 for a player's strums, whose times scatter by
milliseconds."""

BARS = (1, 2, 3, 4, 6, 8)
"""After so many clicks their sounds come back in the same order: accents, and a sound on every other beat."""


def find_click_channel(samples: NDArray[np.float32], sample_rate_hz: float) -> int | None:
    """Index of the channel that holds only clicks, or None.

    Parameters
    ----------
    samples : (n, channels) array
    sample_rate_hz : float

    Returns
    -------
    int or None
        None for one channel, for channels that resemble each other, and where no channel, or more than one, is mostly
        silent between short sounds or repeats itself with its clicks.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(44100) / 44100
    >>> ring, click = np.sin(2 * np.pi * 220 * t), np.where(t % 0.5 < 0.02, np.sin(2 * np.pi * 1500 * t), 0)
    >>> find_click_channel(np.stack([ring, click], axis=1).astype("float32"), 44100)
    1
    """
    if samples.ndim != 2 or samples.shape[1] < 2:
        return None
    frame = max(1, int(FRAME_S * sample_rate_hz))
    count = len(samples) // frame
    if count < 10:
        return None
    channels = range(samples.shape[1])
    power = np.stack([np.mean(np.square(samples[: count * frame, c].reshape(count, frame)), axis=1) for c in channels])
    loudest = power.max(axis=1)
    if np.any(loudest <= 0):
        return None
    share = np.mean(power > loudest[:, None] * 10 ** (-WITHIN_DB / 10), axis=1)
    alone = np.flatnonzero(share < SPARSE_SHARE)
    if len(alone) != 1:
        if _any_alike(samples):
            return None
        alone = np.array([c for c in channels if _repeats(samples[:, c], sample_rate_hz)], dtype=np.int_)
    if len(alone) != 1:
        return None
    found = int(alone[0])
    others = (c for c in channels if c != found)
    return None if any(_alike(samples[:, found], samples[:, c]) > MOST_ALIKE for c in others) else found


def _any_alike(samples: NDArray[np.float32]) -> bool:
    """Whether any two channels resemble each other."""
    count = samples.shape[1]
    return any(_alike(samples[:, a], samples[:, b]) > MOST_ALIKE for a in range(count) for b in range(a))


def _alike(a: NDArray[np.float32], b: NDArray[np.float32]) -> float:
    """Correlation of two channels without regard to sign."""
    norm = float(np.sqrt(np.dot(a, a) * np.dot(b, b)))
    return abs(float(np.dot(a, b))) / norm if norm > 0 else 0.0


def _repeats(channel: NDArray[np.float32], sample_rate_hz: float) -> bool:
    """Whether a channel is the same again some clicks later, from its first click to its last."""
    low, rate_hz = decimated(channel, sample_rate_hz)
    clicks = find_clicks(channel, sample_rate_hz, low=low)
    if clicks is None:
        return False
    part = low[max(int((clicks.start_s - 0.02) * rate_hz), 0) : int((clicks.end_s + clicks.interval_s) * rate_hz)]
    lags = (bar * clicks.interval_s * rate_hz for bar in BARS)
    return max(_correlation(part, lag) for lag in lags if lag < len(part) / 2) > REPEATS


def _correlation(x: Float32, lag: float) -> float:
    """Correlation of a signal with itself, so many samples (and a fraction) later."""
    whole = int(lag)
    size = scipy.fft.next_fast_len(len(x) + 64, real=True)
    bins = np.arange(size // 2 + 1, dtype=np.float32)
    turn = np.exp(np.complex64(2j * np.pi * (lag - whole) / size) * bins)
    later = scipy.fft.irfft(scipy.fft.rfft(x, size) * turn, size)[whole : len(x)]
    first = x[: len(later)]
    norm = float(np.sqrt(np.dot(first, first) * np.dot(later, later)))
    return float(np.dot(first, later)) / norm if norm > 0 else 0.0
