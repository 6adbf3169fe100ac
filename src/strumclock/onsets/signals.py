"""The recording as the strum finder reads it: one channel, at about 11 kHz.

Everything that tells when a pick leaves a string can be heard below 5 kHz, and at a quarter of the rate
the work is a quarter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

TARGET_RATE_HZ = 11025.0  # 5.5 kHz of band; phones' voice filters and codecs leave little above it
TAPS_PER_STEP = 32  # anti-alias filter's length a decimation step: 80 dB down at the first alias
CUTOFF = 0.9  # of the new Nyquist rate
BLOCK = 1 << 16  # output samples filtered at once: bounds the memory


def decimation_for(sample_rate_hz: float) -> int:
    """Whole number by which the rate is divided.

    Examples
    --------
    >>> decimation_for(44100), decimation_for(48000), decimation_for(8000)
    (4, 4, 1)
    """
    return max(1, round(sample_rate_hz / TARGET_RATE_HZ))


def decimated(samples: npt.ArrayLike, sample_rate_hz: float) -> tuple[Samples, float]:
    """The samples at a whole fraction of their rate, in phase: output k stands at input k * step.

    Parameters
    ----------
    samples : array_like, shape (n,)
    sample_rate_hz : float

    Returns
    -------
    samples : ndarray of float32, shape (ceil(n / step),)
    rate_hz : float

    Examples
    --------
    >>> x, rate = decimated(np.ones(44100), 44100)
    >>> x.shape, rate, bool(abs(x[5000] - 1) < 1e-4)
    ((11025,), 11025.0, True)
    """
    x = np.asarray(samples, dtype=np.float32)
    step = decimation_for(sample_rate_hz)
    if step == 1:
        return x, float(sample_rate_hz)
    half = TAPS_PER_STEP // 2
    k = np.arange(-half * step, half * step)
    taps = np.sinc(CUTOFF * k / step) * np.kaiser(2 * half * step + 1, 8.0)[:-1]
    taps = (taps / taps.sum()).astype(np.float32).reshape(2 * half, step)
    n = -(-len(x) // step)
    out = np.empty(n, np.float32)
    padded = np.zeros((n + 2 * half) * step, np.float32)
    padded[half * step : half * step + len(x)] = x
    rows = padded.reshape(-1, step)
    for a in range(0, n, BLOCK):
        b = min(a + BLOCK, n)
        partial = rows[a : b + 2 * half] @ taps.T  # partial[r, j]: row r under the j-th slice of the filter
        out[a:b] = 0
        for j in range(2 * half):
            out[a:b] += partial[j : j + b - a, j]
    return out, sample_rate_hz / step
