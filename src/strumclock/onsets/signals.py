"""The recording as the strum finder reads it: one channel, at about 11 kHz.

Everything that tells when a pick leaves a string can be heard below 5 kHz, and at a quarter of the rate
the work is a quarter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.fft

Samples = npt.NDArray[np.float32]

TARGET_RATE_HZ = 11025.0  # 5.5 kHz of band; phones' voice filters and codecs leave little above it
TAPS_PER_STEP = 32  # anti-alias filter's length a decimation step: 80 dB down at the first alias
CUTOFF = 0.9  # of the new Nyquist rate
BLOCK = 4096  # output samples of a transform: what fits a processor's cache
AT_ONCE = 16  # transforms at once: bounds the memory


def decimation_for(sample_rate_hz: float, target_rate_hz: float = TARGET_RATE_HZ) -> int:
    """Whole number by which the rate is divided.

    Examples
    --------
    >>> decimation_for(44100), decimation_for(48000), decimation_for(8000)
    (4, 4, 1)
    """
    return max(1, round(sample_rate_hz / target_rate_hz))


def decimated(
    samples: npt.ArrayLike, sample_rate_hz: float, *, target_rate_hz: float = TARGET_RATE_HZ
) -> tuple[Samples, float]:
    """The samples at a whole fraction of their rate, in phase: output k stands at input k * step.

    Parameters
    ----------
    samples : array_like, shape (n,)
    sample_rate_hz : float
    target_rate_hz : float
        About what the rate shall be.

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
    step = decimation_for(sample_rate_hz, target_rate_hz)
    if step == 1 or len(x) == 0:
        return x, float(sample_rate_hz) / step
    response, half = _response(step)
    size = 2 * (len(response) - 1)
    fresh = size - 2 * half * step  # new samples a block; the rest overlaps
    out = np.empty(-(-len(x) // step), np.float32)
    blocks = -(-len(x) // fresh)
    padded = np.zeros(blocks * fresh + 2 * half * step, np.float32)
    padded[half * step : half * step + len(x)] = x
    rows = np.lib.stride_tricks.sliding_window_view(padded, size)[::fresh]
    kept = fresh // step
    for a in range(0, blocks, AT_ONCE):
        spectrum = (
            scipy.fft.rfft(rows[a : a + AT_ONCE], axis=1)[:, : size // step // 2 + 1]
            * response[: size // step // 2 + 1]
        )
        y = scipy.fft.irfft(spectrum, size // step, axis=1)[:, half : half + kept]
        here = out[a * kept : (a + len(y)) * kept]
        here[:] = y.ravel()[: len(here)]
    return out, sample_rate_hz / step


def _response(step: int) -> tuple[Samples, int]:
    """Frequency response of the anti-alias filter over a block, divided by the step, and half its length in steps."""
    half = TAPS_PER_STEP // 2
    k = np.arange(-half * step, half * step + 1)
    taps = np.sinc(CUTOFF * k / step) * np.kaiser(len(k), 8.0)
    taps /= taps.sum()
    size = BLOCK * step
    centred = np.zeros(size)
    centred[k % size] = taps
    return (scipy.fft.rfft(centred).real / step).astype(np.float32), half
