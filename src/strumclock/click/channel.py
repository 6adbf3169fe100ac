"""Whether one channel of a recording holds nothing but the click."""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.arrays import Samples
from strumclock.audio.channel import Channel
from strumclock.audio.decimation import TARGET_RATE_HZ
from strumclock.audio.stored import Held, Store
from strumclock.click.finding import find_clicks

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


def find_click_channel(samples: NDArray[np.float32] | Store, sample_rate_hz: float) -> int | None:
    """Index of the channel that holds only clicks, or None.

    Parameters
    ----------
    samples : (n, channels) array, or Store
        One that need not be in memory is a `Store`.
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
    if isinstance(samples, np.ndarray):
        if samples.ndim != 2:
            return None
        samples = Held(samples)
    frames = _Frames(max(1, int(FRAME_S * sample_rate_hz)), samples.channels)
    if samples.channels < 2 or samples.frames < 10 * frames.length:
        return None
    samples.each(frames.take)
    channels = range(samples.channels)
    power = np.concatenate(frames.power, axis=1)
    loudest = power.max(axis=1)
    if np.any(loudest <= 0):
        return None
    share = np.mean(power > loudest[:, None] * 10 ** (-WITHIN_DB / 10), axis=1)
    alone = np.flatnonzero(share < SPARSE_SHARE)
    if len(alone) != 1:
        if any(frames.alike(a, b) > MOST_ALIKE for a in channels for b in range(a)):
            return None
        each = [Channel(samples, (c,), sample_rate_hz) for c in channels]
        alone = np.array([c for c in channels if _repeats(each[c])], dtype=np.int_)
    if len(alone) != 1:
        return None
    found = int(alone[0])
    return None if any(frames.alike(found, c) > MOST_ALIKE for c in channels if c != found) else found


class _Frames:
    """Power of each channel in frames, and the sums of the channels' products, gathered block by block."""

    def __init__(self, length: int, channels: int) -> None:
        self.length = length
        self.power: list[NDArray[np.float32]] = []
        self.products: NDArray[np.float64] = np.zeros((channels, channels))
        self._rest: NDArray[np.float32] = np.zeros((0, channels), np.float32)

    def take(self, block: NDArray[np.float32]) -> None:
        """Add a block of samples."""
        self.products += (block.T @ block).astype(np.float64)
        whole = np.concatenate([self._rest, block])
        count = len(whole) // self.length
        rows = whole[: count * self.length].reshape(count, self.length, -1)
        self.power.append(np.einsum("ijc,ijc->ci", rows, rows) / np.float32(self.length))
        self._rest = whole[count * self.length :].copy()

    def alike(self, a: int, b: int) -> float:
        """Correlation of two channels without regard to sign."""
        norm = float(np.sqrt(self.products[a, a] * self.products[b, b]))
        return abs(float(self.products[a, b])) / norm if norm > 0 else 0.0


def _repeats(channel: Channel) -> bool:
    """Whether a channel is the same again some clicks later, from its first click to its last."""
    low, rate_hz = channel.decimated(TARGET_RATE_HZ)
    clicks = find_clicks(channel, channel.sample_rate_hz, low=low)
    if clicks is None:
        return False
    part = low[max(int((clicks.start_s - 0.02) * rate_hz), 0) : int((clicks.end_s + clicks.interval_s) * rate_hz)]
    lags = (bar * clicks.interval_s * rate_hz for bar in BARS)
    return max(_correlation(part, lag) for lag in lags if lag < len(part) / 2) > REPEATS


def _correlation(x: Samples, lag: float) -> float:
    """Correlation of a signal with itself, so many samples (and a fraction) later."""
    whole = int(lag)
    size = scipy.fft.next_fast_len(len(x) + 64, real=True)
    bins = np.arange(size // 2 + 1, dtype=np.float32)
    turn = np.exp(np.complex64(2j * np.pi * (lag - whole) / size) * bins)
    later = scipy.fft.irfft(scipy.fft.rfft(x, size) * turn, size)[whole : len(x)]
    first = x[: len(later)]
    norm = float(np.sqrt(np.dot(first, first) * np.dot(later, later)))
    return float(np.dot(first, later)) / norm if norm > 0 else 0.0
