"""Whether one channel of a recording holds nothing but the click."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from strumclock.audio.stored import Held, Store

# A click is over in some 30 ms of a beat, a ringing guitar is not: the share of a channel's 10 ms frames within 40 dB
# of its loudest is 0.14 for the click channel of the bench and above 0.7 for every guitar in it.
FRAME_S = 0.01
WITHIN_DB = 40.0
CLICK_SHARE = 0.35
# Leakage of a stereo codec or a cable leaves the other channel's sound well below; a panned stereo recording does not.
MAX_CORRELATION = 0.5


def find_click_channel(samples: NDArray[np.float32] | Store, sample_rate_hz: float) -> int | None:
    """Index of the channel that holds only clicks, or None.

    Parameters
    ----------
    samples : (n, channels) array, or Store
        A `Store` need not be in memory.
    sample_rate_hz : float

    Returns
    -------
    int or None
        None for one channel, for channels that resemble each other and where no channel, or every one, is mostly silent
        between short sounds.

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
    power = np.concatenate(frames.power, axis=1)
    loudest = power.max(axis=1)
    if np.any(loudest <= 0):
        return None
    share = np.mean(power > loudest[:, None] * 10 ** (-WITHIN_DB / 10), axis=1)
    sparse = np.flatnonzero(share < CLICK_SHARE)
    if len(sparse) != 1 or len(sparse) == len(share):
        return None
    found = int(sparse[0])
    for other in range(samples.channels):
        if other != found:
            norm = float(np.sqrt(frames.products[found, found] * frames.products[other, other]))
            if norm > 0 and abs(float(frames.products[found, other])) / norm > MAX_CORRELATION:
                return None
    return found


class _Frames:
    """Power of each channel in frames, and the sums of the channels' products."""

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
