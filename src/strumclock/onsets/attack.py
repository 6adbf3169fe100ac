"""When exactly a strum began: the moment at which the recording stops following from what was before.

A linear predictor learned from the time before the strum turns ringing strings into a small residual. At the
release of the first string the residual's level jumps; the place of the jump is the maximum of the likelihood
of two levels against one (the autoregressive picker that seismology times first arrivals with).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.onsets.signals import Samples

FloatArray = npt.NDArray[np.float64]

ORDER = 128
LEARN_S = 0.100
EARLIEST_S, LATEST_S = 0.030, 0.030
BEFORE_S, AFTER_S = 0.020, 0.006


def predictors(segments: FloatArray, order: int) -> FloatArray:
    """Whitening filters [1, a1, ...], one a row, by the autocorrelation method (Levinson's recursion on all rows)."""
    n = segments.shape[1]
    windowed = segments * np.hanning(n + 2)[1:-1]
    size = scipy.fft.next_fast_len(2 * n, real=True)
    r = scipy.fft.irfft(np.abs(scipy.fft.rfft(windowed, size, axis=1)) ** 2, size, axis=1)[:, : order + 1]
    r[:, 0] = r[:, 0] * (1 + 1e-6) + 1e-12
    a = np.zeros((len(r), order + 1))
    a[:, 0] = 1
    error = r[:, 0].copy()
    for m in range(1, order + 1):
        k = -np.einsum("ij,ij->i", a[:, :m], r[:, m:0:-1]) / error
        a[:, 1 : m + 1] += k[:, None] * a[:, m - 1 :: -1][:, :m]
        error *= 1 - k**2
    return a


def refine(x: Samples, rate_hz: float, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Times and their uncertainties for strums known to about 20 ms."""
    if len(time_s) == 0:
        return np.empty(0), np.empty(0)
    learn, pre, post = (round(s * rate_hz) for s in (LEARN_S, BEFORE_S, AFTER_S))
    span = round((EARLIEST_S + LATEST_S) * rate_hz)
    start = np.round((time_s - EARLIEST_S) * rate_hz).astype(int)
    pad = learn + pre + ORDER
    padded = np.concatenate([np.zeros(pad, np.float32), x, np.zeros(span + post + pad, np.float32)]).astype(np.float64)
    a = predictors(padded[start[:, None] + pad - learn + np.arange(learn)], ORDER)
    width = pre + span + post
    cut = padded[start[:, None] + pad - pre - ORDER + np.arange(width + ORDER)]
    size = scipy.fft.next_fast_len(width + 2 * ORDER, real=True)
    spectrum = scipy.fft.rfft(cut, size, axis=1) * scipy.fft.rfft(a, size, axis=1)
    f = np.arange(size // 2 + 1) * rate_hz / size
    score = np.zeros((len(start), span))
    for low, high in ((0.0, 1000.0), (1000.0, 2600.0), (2600.0, rate_hz)):
        band = np.clip((f - low) / 200 + 0.5, 0, 1) * np.clip((high - f) / 200 + 0.5, 0, 1) if low else np.clip((high - f) / 200 + 0.5, 0, 1)
        e = scipy.fft.irfft(spectrum * band, size, axis=1)[:, ORDER : ORDER + width] ** 2
        c = np.concatenate([np.zeros((len(e), 1)), np.cumsum(e, axis=1)], axis=1)
        k = pre + np.arange(span)
        tiny = 1e-20 + 1e-6 * c[:, -1:] / width
        before, after = (c[:, k] - c[:, k - pre]) / pre + tiny, (c[:, k + post] - c[:, k]) / post + tiny
        whole = (c[:, k + post] - c[:, k - pre]) / (pre + post) + tiny
        score += (pre + post) * np.log(whole) - pre * np.log(before) - post * np.log(after)
    best = score.argmax(axis=1)
    p = np.exp((score - score.max(axis=1, keepdims=True)) / 20)
    p /= p.sum(axis=1, keepdims=True)
    k = np.arange(span)
    u = np.sqrt((p * (k - best[:, None]) ** 2).sum(axis=1)) / rate_hz
    return (start + best) / rate_hz, np.maximum(u, 0.0003)
