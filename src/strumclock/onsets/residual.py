"""What could not have been foreseen: the sound around a candidate less what follows from the time before it.

Ringing strings are predictable, a string's release is not. A linear predictor learned from the time before the
candidate turns the ringing into a small residual; the residual's level in bands, in steps of a third of a
millisecond, is the evidence from which the strum's time is read.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.arrays import Floats, Samples, Spectra
from strumclock.audio.cutting import cut
from strumclock.audio.decimation import TARGET_RATE_HZ
from strumclock.onsets.bands import FINE, STEPS, Bands, Powers, bands_at

BEFORE_S = 0.065  # the evidence begins so long before the candidate: its strum's first string may be that early
LEARN_S = 0.085  # the predictor is learned from so much time …
LEARN_UNTIL_S = 0.015  # … until so much before the candidate: 0.025 and 0.040 leave a wider spread
ORDER = 128  # at 11 kHz: two a partial for the partials of six strings; order 32 leaves three times the spread
STRUM_CHANNELS, CHANNELS = 10, 12  # the first of them tell the strum, all of them the removed click too
AT_ONCE = 128  # candidates: many enough that each step's calls cost little beside its sums
LEARNED_AT_ONCE = 2 * AT_ONCE  # predictors, whose 128 turns cost much for few of them …
TRANSFORMED_AT_ONCE = 64  # … from so many transforms in double precision: what fits a processor's cache
LEAST_SHARE = 0.9e-4  # of the loudest step: a removed click with less power is below the evidence's floor of 1e-4


def predictors(segments: Floats, order: int) -> Floats:
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
    count, n = segments.shape
    window = np.hanning(n + 2)[1:-1]
    size = scipy.fft.next_fast_len(n + order, real=True)  # lags up to the order only
    r = np.empty((order + 1, count))  # one lag a row: the recursion runs along all candidates
    for first in range(0, count, TRANSFORMED_AT_ONCE):
        few = slice(first, first + TRANSFORMED_AT_ONCE)
        spectrum = scipy.fft.rfft(segments[few] * window, size, axis=1)
        r[:, few] = scipy.fft.irfft(spectrum.real**2 + spectrum.imag**2, size, axis=1)[:, : order + 1].T
    r[0] = r[0] * (1 + 1e-6) + 1e-12
    a, turned = np.zeros((2, order + 1, r.shape[1]))
    a[0] = 1
    error = r[0].copy()
    for m in range(1, order + 1):
        k = -np.einsum("ij,ij->j", a[:m], r[m:0:-1]) / error
        a[1 : m + 1] += np.multiply(k, a[m - 1 :: -1], out=turned[:m])
        error *= 1 - k**2
    return np.ascontiguousarray(a.T)


def on_samples(centre_s: Floats, rate_hz: float) -> Floats:
    """The nearest centres whose evidence begins on a sample, as `evidence` takes them."""
    return np.round((centre_s - BEFORE_S) * rate_hz) / rate_hz + BEFORE_S


def evidence(
    x: Samples, rate_hz: float, centre_s: Floats, removed: Samples | None = None, *, gain: float = 1.0
) -> npt.NDArray[np.float32]:
    """The evidence around each candidate, shape (n, STEPS, CHANNELS), step j at centre - BEFORE_S + j * STEP_S.

    Centres are taken to the nearest that `on_samples` allows; the gain brings the loudest sample to about 1. Channels,
    all logarithms of power in a step: for each of four bands of the residual, and for all above `BRIGHT_HZ` without
    prediction, once against the quiet before and once against the loudest step; then the removed click below and above
    `BRIGHT_HZ` against the loudest step of what is left.
    """
    order = round(ORDER * rate_hz / TARGET_RATE_HZ)
    bands = bands_at(rate_hz, order)
    learn = round(LEARN_S * rate_hz)
    begin = np.round((centre_s - BEFORE_S) * rate_hz).astype(np.intp)
    learned = begin + round((BEFORE_S - LEARN_UNTIL_S) * rate_hz) - learn
    out = np.empty((len(begin), STEPS, CHANNELS), np.float32)
    filters = np.empty((len(begin), order + 1), np.float32)
    for a in range(0, len(begin), LEARNED_AT_ONCE):
        few = slice(a, a + LEARNED_AT_ONCE)
        filters[few] = predictors(gain * cut(x, learned[few], learn).astype(np.float64), order)
    for a in range(0, len(begin), AT_ONCE):
        few = slice(a, a + AT_ONCE)
        heard = np.float32(gain) * cut(x, begin[few] - bands.lead, bands.width)
        spectra = bands.spectra(heard)
        bright = _tell_strum(out[few], bands, spectra, filters[few])
        out[few, :, STRUM_CHANNELS:] = -1
        if removed is not None:
            gone = np.float32(gain) * cut(removed, begin[few] - bands.lead, bands.width)
            _tell_removed(out[few], bands, spectra, bright, gone)
    return out


def _tell_strum(out: Powers, bands: Bands, spectra: Spectra, filters: Samples) -> Powers:
    """The first ten channels, from the spectra of what is heard and the predictors; returns the loudest bright step."""
    residual: Spectra = spectra * scipy.fft.rfft(filters, bands.size, axis=1)
    seen = [(residual, band) for band in bands.split] + [(spectra, bands.bright)]
    for j, (spectrum, band) in enumerate(seen):
        steps, before = bands.powers(spectrum, band)
        loudest: Powers = steps.max(axis=1, keepdims=True)
        tiny = np.float32(1e-8) * loudest + np.float32(1e-16)
        steps += tiny
        level = _bels(steps)
        np.clip(level - _bels(before + tiny), -1, 3, out=out[:, :, 2 * j])
        np.clip(level - (_bels(loudest + tiny) - 1), -2, 1, out=out[:, :, 2 * j + 1])
    return loudest


def _tell_removed(out: Powers, bands: Bands, spectra: Spectra, bright: Powers, removed: Samples) -> None:
    """The last two channels, for the candidates near which something was removed: the others' are -1 anyway.

    A step holds at most all the energy of what was removed.
    """
    most = np.einsum("ij,ij->i", removed, removed)[:, None] * np.float32(bands.fine_size / bands.size / FINE)
    if not most.any():
        return
    dark = bands.powers(spectra, bands.dark)[0].max(axis=1, keepdims=True)
    rows = np.flatnonzero((most > LEAST_SHARE * np.minimum(bright, dark)).any(axis=1))
    if not len(rows):
        return
    taken = bands.spectra(removed[rows])
    for j, (band, left) in enumerate(((bands.dark, dark), (bands.bright, bright))):
        gone, _ = bands.powers(taken, band)
        share = gone / (left[rows] + np.float32(1e-16))
        out[rows, :, STRUM_CHANNELS + j] = np.clip(_bels(share + np.float32(1e-6)) + 1, -1, 2)


def _bels(power: Powers) -> Powers:
    """Decimal logarithm of the amplitude, by way of the natural one, which numpy computes several at a time."""
    log: Powers = np.log(power)
    log *= np.float32(0.5 / np.log(10))
    return log
