"""What could not have been foreseen: the sound around a candidate less what follows from the time before it.

Ringing strings are predictable, a string's release is not. A linear predictor learned from the time before the
candidate turns the ringing into a small residual; the residual's level in bands, in steps of a third of a
millisecond, is the evidence from which the strum's time is read.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.onsets.signals import TARGET_RATE_HZ, Samples

FloatArray = npt.NDArray[np.float64]

STEP_S = 4 / TARGET_RATE_HZ
STEPS = 256
BEFORE_S = 0.065  # the evidence begins so long before the candidate: its strum's first string may be that early
LEARN_S = 0.085  # the predictor is learned from so much time …
LEARN_UNTIL_S = 0.015  # … until so much before the candidate: 0.025 and 0.040 leave a wider spread
QUIET_S = (0.020, 0.005)  # before the evidence: what the residual is without a strum
ORDER = 128  # at 11 kHz: two a partial for the partials of six strings; order 32 leaves three times the spread
SPLITS_HZ = (1000.0, 2200.0, 3500.0)
HIGHEST_HZ = 4900.0
BRIGHT_HZ = 1500.0  # DESIGN's definition of a strum's time looks above this
CHANNELS = 12


def predictors(segments: FloatArray, order: int) -> FloatArray:
    """Whitening filters [1, a1, …], a row each: autocorrelation method, Levinson's recursion on all rows at once.

    Parameters
    ----------
    segments : ndarray, shape (n, length)
    order : int

    Returns
    -------
    ndarray, shape (n, order + 1)

    Examples
    --------
    >>> ringing = 0.999 ** np.arange(400) * np.cos(0.3 * np.arange(400))
    >>> a = predictors(ringing[None], 2)[0]
    >>> np.round(a + [0, 2 * np.cos(0.3), -1], 1) + 0.0
    array([1., 0., 0.])
    """
    n = segments.shape[1]
    windowed = segments * np.hanning(n + 2)[1:-1]
    size = scipy.fft.next_fast_len(2 * n, real=True)
    spectrum = scipy.fft.rfft(windowed, size, axis=1)
    r = scipy.fft.irfft(spectrum.real**2 + spectrum.imag**2, size, axis=1)[:, : order + 1]
    r[:, 0] = r[:, 0] * (1 + 1e-6) + 1e-12
    r = np.ascontiguousarray(r.T)  # one lag a row: the recursion runs along all candidates
    a = np.zeros((order + 1, r.shape[1]))
    a[0] = 1
    error = r[0].copy()
    for m in range(1, order + 1):
        k = -np.einsum("ij,ij->j", a[:m], r[m:0:-1]) / error
        a[1 : m + 1] += k * a[m - 1 :: -1][:m]
        error *= 1 - k**2
    return np.ascontiguousarray(a.T)


def evidence(
    x: Samples, rate_hz: float, centre_s: FloatArray, removed: Samples | None = None
) -> npt.NDArray[np.float32]:
    """The evidence around each candidate, shape (n, STEPS, CHANNELS), step j at centre - BEFORE_S + j * STEP_S.

    Channels, all logarithms of power in a step: for each of four bands of the residual, and for all above
    `BRIGHT_HZ` without prediction, once against the quiet before and once against the loudest step; then the
    removed click below and above `BRIGHT_HZ` against the loudest step of what is left.
    """
    order = round(ORDER * rate_hz / TARGET_RATE_HZ)
    learn, quiet = round(LEARN_S * rate_hz), round(QUIET_S[0] * rate_hz)
    width = quiet + int(np.ceil(STEPS * STEP_S * rate_hz)) + 4
    begin = (centre_s - BEFORE_S) * rate_hz
    start = np.clip(np.floor(begin), 0, len(x)).astype(np.intp)
    edges = quiet + np.arange(STEPS + 1) * (STEP_S * rate_hz) + (begin - np.floor(begin))[:, None]
    lead = learn + order + quiet
    learned = start + round((BEFORE_S - LEARN_UNTIL_S) * rate_hz) - learn
    padded = _padded(x, lead, width)
    a = predictors(padded[(learned + lead)[:, None] + np.arange(learn)].astype(np.float64), order)
    size = scipy.fft.next_fast_len(width + 2 * order, real=True)
    f = np.log2(np.maximum(np.arange(size // 2 + 1) * rate_hz / size, 1.0))
    sound = scipy.fft.rfft(padded[(start + lead - quiet - order)[:, None] + np.arange(width + order)], size, axis=1)
    residual = sound * scipy.fft.rfft(a.astype(np.float32), size, axis=1)
    out = np.empty((len(start), STEPS, CHANNELS), np.float32)
    split = np.log2(SPLITS_HZ)
    bright = _high(f, np.log2(BRIGHT_HZ)) * _low(f, np.log2(HIGHEST_HZ), 0.1)
    lows, highs = [None, *split], [*split, None]
    masks = []
    for low, high in zip(lows, highs, strict=True):
        mask = _low(f, np.log2(HIGHEST_HZ), 0.1) if high is None else _low(f, high)
        masks.append(mask if low is None else mask * _high(f, low))
    whole = slice(order, order + width)
    calm = slice(quiet - round(QUIET_S[0] * rate_hz), quiet - round(QUIET_S[1] * rate_hz))
    for j, mask in enumerate([*masks, bright]):
        power = scipy.fft.irfft((sound if j == len(masks) else residual) * mask, size, axis=1)[:, whole] ** 2
        step = _sums(power, edges) / (STEP_S * rate_hz)
        before = power[:, calm].mean(axis=1, dtype=np.float64)[:, None]
        loudest = step.max(axis=1, keepdims=True)
        tiny = 1e-8 * loudest + 1e-16
        out[:, :, 2 * j] = np.clip(np.log10((step + tiny) / (before + tiny)), -2, 6) / 2
        out[:, :, 2 * j + 1] = np.clip(np.log10((step + tiny) / (loudest + tiny)), -6, 0) / 2 + 1
    out[:, :, 10:] = -1
    if removed is not None and np.any(removed):
        taken = scipy.fft.rfft(
            _padded(removed, lead, width)[(start + lead - quiet - order)[:, None] + np.arange(width + order)],
            size,
            axis=1,
        )
        for j, mask in enumerate((1 - _high(f, np.log2(BRIGHT_HZ)), bright)):
            gone = _sums(scipy.fft.irfft(taken * mask, size, axis=1)[:, whole] ** 2, edges)
            left = _sums(scipy.fft.irfft(sound * mask, size, axis=1)[:, whole] ** 2, edges)
            loudest = left.max(axis=1, keepdims=True) + 1e-16
            out[:, :, 10 + j] = np.clip(np.log10(gone / loudest + 1e-6), -4, 2) / 2 + 1
    return out


def _padded(x: Samples, lead: int, width: int) -> Samples:
    return np.concatenate([np.zeros(lead, np.float32), x, np.zeros(width + lead, np.float32)])


def _sums(power: npt.NDArray[np.float32], edges: FloatArray) -> FloatArray:
    """Sum of the power between neighbouring edges, which need not be whole samples."""
    total = np.zeros((len(power), power.shape[1] + 1))
    np.cumsum(power, axis=1, dtype=np.float64, out=total[:, 1:])
    whole = np.floor(edges).astype(np.intp)
    part = edges - whole
    row = np.arange(len(power))[:, None]
    at = total[row, whole] * (1 - part) + total[row, whole + 1] * part
    return np.maximum(np.diff(at, axis=1), 0)


def _high(f: FloatArray, edge: float, width: float = 0.5) -> FloatArray:
    """Pass above the edge (octaves); a slope half an octave wide rings for less than a millisecond."""
    return np.sin(np.pi / 2 * np.clip((f - edge) / width + 0.5, 0, 1))


def _low(f: FloatArray, edge: float, width: float = 0.5) -> FloatArray:
    return np.sin(np.pi / 2 * np.clip((edge - f) / width + 0.5, 0, 1))
