"""Where strums are: sudden rises of level in many bands that last."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.onsets.signals import Samples

FloatArray = npt.NDArray[np.float64]

HOP_S = 0.005
WINDOW_S = 0.046  # long enough to tell the partials of two low strings apart
LAG_S = 0.025  # the strings of one strum are 5 to 60 ms apart: their rises add up
BANDS = 34
LOWEST_HZ, HIGHEST_HZ = 80.0, 5000.0
FLOOR_DB = -60.0  # below the loudest band's loud moments: silence must not divide
LEAST_RISE_DB = 1.4
LEAST_GAP_S = 0.060  # two strums are not closer: their strings are one strum's spread


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Sudden rises: about when, how large, how much of it stayed."""

    time_s: FloatArray
    rise_db: FloatArray
    kept_db: FloatArray


def band_levels(x: Samples, rate_hz: float) -> tuple[npt.NDArray[np.float32], float]:
    """Power in each band and frame, shape (frames, BANDS), and the hop in seconds; frame k is centred at k hops."""
    size = 1 << round(np.log2(WINDOW_S * rate_hz))
    hop = round(HOP_S * rate_hz)
    window = np.hanning(size + 1)[:size].astype(np.float32)
    padded = np.zeros(len(x) + size, np.float32)
    padded[size // 2 : size // 2 + len(x)] = x
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop]
    weights = _bands(size, rate_hz) / np.sum(window**2)
    out = np.empty((len(frames), BANDS), np.float32)
    for a in range(0, len(frames), 1024):
        spectrum = scipy.fft.rfft(frames[a : a + 1024] * window, axis=1)
        out[a : a + 1024] = (spectrum.real**2 + spectrum.imag**2) @ weights
    return out, hop / rate_hz


def _bands(size: int, rate_hz: float) -> npt.NDArray[np.float32]:
    f = np.arange(size // 2 + 1) * rate_hz / size
    edges = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, 0.45 * rate_hz), BANDS + 1)
    weights = np.zeros((len(f), BANDS), np.float32)
    for b in range(BANDS):
        low, high = edges[b], max(edges[b + 1], edges[b] + 2 * rate_hz / size)
        inside = (f >= low) & (f < high)
        weights[inside, b] = 1 / inside.sum()
    return weights


def find_candidates(x: Samples, rate_hz: float) -> Candidates:
    """Peaks of the mean rise over `LAG_S`, in dB, in time order."""
    power, hop_s = band_levels(x, rate_hz)
    floor = np.maximum(np.quantile(power, 0.1, axis=0), np.quantile(power, 0.95, axis=0).max() * 10 ** (FLOOR_DB / 10))
    level = 10 * np.log10(power + floor + 1e-20)
    lag = round(LAG_S / hop_s)
    rise = np.zeros(len(level))
    if len(level) > lag:
        rise[lag:] = np.maximum(level[lag:] - level[:-lag], 0).mean(axis=1)
    around = round(LEAST_GAP_S / hop_s / 2)
    top = np.lib.stride_tricks.sliding_window_view(np.pad(rise, around), 2 * around + 1).max(axis=1)
    peak = np.flatnonzero((rise == top) & (rise > LEAST_RISE_DB))
    total = 10 * np.log10(power.sum(axis=1) + 1e-20)
    before = total[np.maximum(peak - round(0.045 / hop_s), 0)]
    after = total[np.minimum(peak + round(0.030 / hop_s), len(total) - 1)]
    return Candidates(time_s=peak * hop_s - LAG_S / 2, rise_db=rise[peak], kept_db=after - before)
