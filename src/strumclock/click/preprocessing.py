"""The recording as the click finder sees it: decimated, whitened, levelled.

A click is found because it comes back with the same waveform. What comes back less exactly (strings, strums, voice,
noise) is flattened first: each 0.14 s is divided by its own smoothed spectrum (a sounding string then weighs no more
than silence), with positive real weights only, so that two copies of a click stay in phase however differently they
are whitened; then by its own level over 30 ms, so that a strum cannot outvote a click.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.arrays import Samples, Spectra
from strumclock.audio.cutting import cut
from strumclock.audio.quantiles import quantiles

WHITEN_S = 0.14
"""Length of a whitening frame, to the nearest length of quick transforms: long enough to resolve a guitar's partials (7
Hz), short enough that a chord's spectrum stands still."""

SMOOTH_BINS = 8
"""Spectrum smoothing before the division, in bins of 1 / WHITEN_S: partials are taken out, a click's broad spectrum
is not."""

LOW_SHARE = 0.1
"""Of what is to count less than the rest this share (amplitude) is kept: where there is nothing else, as in a pure
tone, the rounding of its samples would be all that is left, and that comes back with every period."""

LEVEL_S = 0.030
"""Length of the level average. A click is shorter, a strum's attack is not much longer."""

AT_ONCE = 64
"""Frames that are whitened together: what fits a processor's cache."""

LEVELLED_AT_ONCE = 4096
"""Levels that are interpolated at once: some seconds, which the cache holds."""

ECHO_S, ECHO = 0.07, 3e-4
"""Whitening spreads a sound within its frame; where nothing else sounds, what is so much (power) below the loudest
within this time is not raised."""

USUAL_SHARE, USUAL_FRAMES = 0.05, 400
"""Of the recording's mean spectrum (from about so many frames) this share is added to each frame's own before the
division: in a quiet count-in a beep would otherwise be divided by nothing but itself, and spread over its frame."""

STEADY, STEADY_QUANTILE, STEADY_HZ = 3.0, 0.25, 1000.0
"""So many times what is there all the time, the power that this share of the frames stays below in each bin, is added
too, below this frequency: the lines of a mains hum stand above their neighbourhood and come back at any multiple of
their period."""

FLOOR = 1e-6
"""Power below which a bin counts as empty, against the loudest bin: keeps digital silence and a codec's empty bands
silent."""


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """What the finder searches.

    Attributes
    ----------
    samples : float32 array, shape (n,)
        Decimated, whitened and levelled signal; its mean square is near 1.
    plain : float32 array, shape (n,)
        The decimated signal as it was.
    rate_hz : float
        Their sample rate. Sample i lies at i / rate_hz seconds from the first sample of the recording.
    """

    samples: Samples
    plain: Samples
    rate_hz: float


def whiten(samples: Samples, rate_hz: float, from_hz: float = 0.0) -> Samples:
    """Each frame divided by its own smoothed spectrum (zero phase), LOW_SHARE kept below from_hz, frames
    added up again."""
    size = _frame(rate_hz)
    hop = size // 2
    frames = -(-len(samples) // hop) + 1
    begin = hop * (np.arange(frames) - 1)
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)).astype(np.float32)
    some = begin[:: max(frames // USUAL_FRAMES, 1)]
    spectra = (_spectra(samples, some[a : a + AT_ONCE], window) for a in range(0, len(some), AT_ONCE))
    some_power = np.concatenate([few.real**2 + few.imag**2 for few in spectra])
    usual = np.float32(USUAL_SHARE) * _smooth(some_power.mean(axis=0, keepdims=True))
    usual += np.float32(FLOOR) * usual.max() + np.finfo(np.float32).tiny
    low = int(STEADY_HZ * size / rate_hz)
    usual[:, :low] += np.float32(STEADY) * quantiles(np.ascontiguousarray(some_power[:, :low].T), STEADY_QUANTILE)[0]
    first_bin = round(from_hz * size / rate_hz)
    white = np.zeros((frames + 1) * hop, dtype=np.float32)
    for first in range(0, frames, AT_ONCE):
        last = min(first + AT_ONCE, frames)
        spectrum = _spectra(samples, begin[first:last], window)
        power = _smooth(spectrum.real**2 + spectrum.imag**2)
        power += usual
        np.sqrt(power, out=power)
        spectrum *= np.reciprocal(power, out=power)  # ten times as fast as the division
        spectrum[:, :first_bin] *= np.float32(LOW_SHARE)
        back = scipy.fft.irfft(spectrum, size)
        out = white[first * hop : (last + 1) * hop].reshape(-1, hop)
        out[:-1] += back[:, :hop]
        out[1:] += back[:, hop:]
    return white[hop : hop + len(samples)]


def _spectra(samples: Samples, begin: NDArray[np.intp], window: Samples) -> Spectra:
    """Spectra of the frames that begin there."""
    heard = cut(samples, begin, len(window))
    heard *= window
    spectra: Spectra = scipy.fft.rfft(heard)
    return spectra


def _frame(rate_hz: float) -> int:
    """Length of a frame: the power of two, or three halves of one, that is nearest to WHITEN_S."""
    wanted = WHITEN_S * rate_hz
    two = 1 << int(np.log2(wanted))
    return min((two, two * 3 // 2, 2 * two), key=lambda size: abs(size - wanted))


def _smooth(power: Samples) -> Samples:
    """Mean of SMOOTH_BINS neighbouring bins, by repeated doubling; the ends repeat."""
    half, bins = SMOOTH_BINS // 2, power.shape[1]
    padded = np.empty((len(power), bins + SMOOTH_BINS), dtype=np.float32)
    np.multiply(power, np.float32(1 / SMOOTH_BINS), out=padded[:, half : half + bins])
    padded[:, :half] = padded[:, half : half + 1]
    padded[:, half + bins :] = padded[:, half + bins - 1 : half + bins]
    span = 1
    while span < SMOOTH_BINS:
        padded = padded[:, :-span] + padded[:, span:]
        span *= 2
    return padded[:, :bins]


def moving_mean(values: Samples, length: int) -> Samples:
    """Centred moving mean of odd or even length; beyond the ends nothing counts."""
    before, number = length // 2, np.arange(len(values))
    total = np.zeros(len(values) + length)  # of all up to each value, and on beyond the ends
    np.cumsum(values, dtype=np.float64, out=total[before + 1 : before + 1 + len(values)])
    total[before + 1 + len(values) :] = total[before + len(values)]
    count = np.minimum(number + (length - before), len(values)) - np.maximum(number - before, 0)
    mean: Samples = ((total[length:] - total[:-length]) / count).astype(np.float32)
    return mean


def level(samples: Samples, rate_hz: float) -> None:
    """Divide samples, in place, by their own level over LEVEL_S, read every 2 ms and interpolated between."""
    block = max(round(0.002 * rate_hz), 1)
    span = max(round(LEVEL_S * rate_hz / block), 1)
    whole = len(samples) // block
    rows = samples[: whole * block].reshape(whole, block)
    rest = samples[whole * block :]
    energy = np.einsum("ij,ij->i", rows, rows)
    if len(rest):
        energy = np.append(energy, rest @ rest)
    power = moving_mean(energy / np.float32(block), span)
    highest = power
    reach = 1
    while reach < ECHO_S * rate_hz / block:  # the highest level within ECHO_S on either side, by doubling
        padded_level = np.pad(highest, reach, mode="edge")
        highest = np.maximum(np.maximum(padded_level[: -2 * reach], padded_level[2 * reach :]), highest)
        reach *= 2
    floor = np.float32(1e-6 * float(np.mean(power)) + np.finfo(np.float32).tiny)
    scale = 1 / np.sqrt(np.maximum(power, np.float32(ECHO) * highest) + floor)
    edge = np.concatenate([scale[:1], np.float32(0.5) * (scale[1:] + scale[:-1]), scale[-1:]])
    u = ((np.arange(block) + 0.5) / block).astype(np.float32)
    ends, ramp = np.stack([edge[:-1], edge[1:] - edge[:-1]], axis=1), np.stack([np.ones_like(u), u])
    for first in range(0, whole, LEVELLED_AT_ONCE):
        some = slice(first, min(first + LEVELLED_AT_ONCE, whole))
        rows[some] *= ends[some] @ ramp
    rest *= (ends[whole:] @ ramp).reshape(-1)[: len(rest)]


def preprocess(plain: Samples, rate_hz: float, from_hz: float = 0.0) -> Signal:
    """Whiten and level a decimated recording, softer below from_hz."""
    samples = whiten(plain, rate_hz, from_hz)
    level(samples, rate_hz)
    return Signal(samples=samples, plain=plain, rate_hz=rate_hz)
