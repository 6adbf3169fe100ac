"""Whether one channel of a recording holds nothing but the click."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# A click is over in some 30 ms of a beat, a ringing guitar is not: the share of a channel's 10 ms frames within 40 dB
# of its loudest is 0.14 for the click channel of the bench and above 0.7 for every guitar in it.
FRAME_S = 0.01
WITHIN_DB = 40.0
CLICK_SHARE = 0.35
# Leakage of a stereo codec or a cable leaves the other channel's sound well below; a panned stereo recording does not.
MAX_CORRELATION = 0.5


def find_click_channel(samples: NDArray[np.float32], sample_rate_hz: float) -> int | None:
    """Index of the channel that holds only clicks, or None.

    Parameters
    ----------
    samples : (n, channels) array
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
    if samples.ndim != 2 or samples.shape[1] < 2:
        return None
    frame = max(1, int(FRAME_S * sample_rate_hz))
    count = len(samples) // frame
    if count < 10:
        return None
    power = np.stack(
        [np.mean(np.square(samples[: count * frame, c].reshape(count, frame)), axis=1) for c in range(samples.shape[1])]
    )
    loudest = power.max(axis=1)
    if np.any(loudest <= 0):
        return None
    share = np.mean(power > loudest[:, None] * 10 ** (-WITHIN_DB / 10), axis=1)
    sparse = np.flatnonzero(share < CLICK_SHARE)
    if len(sparse) != 1 or len(sparse) == len(share):
        return None
    found = int(sparse[0])
    for other in range(samples.shape[1]):
        if other != found:
            a, b = samples[:, found], samples[:, other]
            norm = float(np.sqrt(np.dot(a, a) * np.dot(b, b)))
            if norm > 0 and abs(float(np.dot(a, b))) / norm > MAX_CORRELATION:
                return None
    return found
