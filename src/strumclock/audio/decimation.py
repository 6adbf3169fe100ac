"""One channel at a whole fraction of its rate.

At about 11 kHz the click is found and taken out and the strums are found: everything that tells when a pick leaves a
string can be heard below 5 kHz, and at a quarter of the rate the work is a quarter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

TARGET_RATE_HZ = 11025.0  # 5.5 kHz of band; phones' voice filters and codecs leave little above it
HALF_PERIODS = 16  # half length of the anti-alias filter, in samples of the new rate
CUTOFF = 0.9  # of the new Nyquist rate
TOGETHER = 32  # outputs of one product: the filter fills half of the matrix, and matrices of this width are fast
LEAST_OFFSET = 1e-6  # of the peak: smaller ones are the rounding of what has been centred before
AT_ONCE = 1024  # products at once: what fits a processor's cache, and bounds the memory


def decimation_for(sample_rate_hz: float, target_rate_hz: float = TARGET_RATE_HZ) -> int:
    """Whole number by which the rate is divided.

    Examples
    --------
    >>> decimation_for(44100), decimation_for(48000), decimation_for(8000)
    (4, 4, 1)
    """
    return max(1, round(sample_rate_hz / target_rate_hz))


def decimated(
    samples: npt.ArrayLike, sample_rate_hz: float, *, target_rate_hz: float = TARGET_RATE_HZ, centred: bool = True
) -> tuple[Samples, float]:
    """The samples at a whole fraction of their rate, in phase: output k stands at input k * step.

    A constant offset, as cheap sound cards add one, is taken off first: beyond the ends is silence, to which it would
    be a step, and the levels of every band would hold some of it.

    Parameters
    ----------
    samples : array_like, shape (n,)
    sample_rate_hz : float
    target_rate_hz : float
        About what the rate shall be.
    centred : bool
        Whether a constant offset is taken off; not where exact zeros mean something.

    Returns
    -------
    samples : ndarray of float32, shape (ceil(n / step),)
        The input itself where the step is 1 and there is no offset.
    rate_hz : float

    Examples
    --------
    >>> x, rate = decimated(np.ones(44100), 44100)
    >>> x.shape, rate, float(x.max())
    ((11025,), 11025.0, 0.0)
    """
    x = np.ascontiguousarray(samples, dtype=np.float32)
    step = decimation_for(sample_rate_hz, target_rate_hz)
    offset = offset_of(x) if centred and len(x) else np.float32(0)
    if step == 1 or len(x) == 0:
        return x - offset if offset else x, float(sample_rate_hz) / step
    half = HALF_PERIODS * step
    fresh = TOGETHER * step  # input samples for each row of outputs, which need as many again
    kernel = _kernel(step)
    wanted = -(-len(x) // step)
    rows = -(-wanted // TOGETHER)
    out = np.empty((rows, TOGETHER), np.float32)
    for a in range(0, rows, AT_ONCE):
        b = min(a + AT_ONCE, rows)
        piece = _padded(x, a * fresh - half, (b + 1) * fresh - half, offset).reshape(-1, fresh)
        np.matmul(piece[:-1], kernel[:fresh], out=out[a:b])
        out[a:b] += piece[1:] @ kernel[fresh:]
    return out.reshape(-1)[:wanted], sample_rate_hz / step


def _kernel(step: int) -> Samples:
    """Linear-phase low-pass as a matrix: 2 * TOGETHER * step input samples to TOGETHER outputs, 80 dB down."""
    half = HALF_PERIODS * step
    k = np.arange(1 - half, half)
    taps = np.sinc(CUTOFF * k / step) * np.kaiser(len(k), 8.0)
    taps /= taps.sum()
    kernel = np.zeros((2 * TOGETHER * step, TOGETHER), np.float32)
    for i in range(TOGETHER):
        kernel[i * step + 1 : i * step + 1 + len(taps), i] = taps
    return kernel


def offset_of(x: Samples) -> np.float32:
    """The samples' mean; 0 where it is too small to matter."""
    mean = float(np.mean(x, dtype=np.float64))
    peak = max(float(x.max()), -float(x.min()))
    return np.float32(mean if abs(mean) > LEAST_OFFSET * peak else 0.0)


def _padded(x: Samples, begin: int, end: int, offset: np.float32) -> Samples:
    """The samples from begin to end less the offset, silence before the first and after the last."""
    if begin >= 0 and end <= len(x):
        return x[begin:end] - offset if offset else x[begin:end]
    piece = np.zeros(end - begin, np.float32)
    inside = x[max(begin, 0) : max(end, 0)] - offset
    piece[max(-begin, 0) : max(-begin, 0) + len(inside)] = inside
    return piece
