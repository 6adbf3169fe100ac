"""The sound of a click, learned from its repetitions, and the moment that counts as its time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from strumclock.click.front import Float32, Float64

BANDS_HZ = (900.0, 3500.0)
"""Where the bands split in which repetitions are weighted: a string's sound sits in the lowest, a click's mostly above."""

WEIGHT_S = 0.006
"""Time over which the disturbance of one repetition is averaged: a strum 10 ms after a click leaves the click's attack usable."""

ATTACK_HZ = 1500.0
"""A click's time is taken from its sound above this frequency …"""

ATTACK_SHARE = 0.2
"""… where it first exceeds this share …"""

ATTACK_PEAK_S = 0.030
"""… of its peak within this time (the project's definition of a strum's time, applied to the click)."""

PASSES = 3
"""Rounds of learning: sound, then how disturbed each repetition is, then the sound again."""


GAIN_REACH = 6
"""A click's loudness is judged by so many neighbours on either side: a phone's gain rides over some seconds."""


GAIN_SCATTER = 0.05
"""Usual scatter of a click's loudness about its neighbours' (share)."""


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What repetitions have in common.

    Attributes
    ----------
    sound : float32 array, shape (3, length)
        In three bands that add up to the sound.
    gain : float32 array, shape (3, k)
        How loud it is in each repetition, per band.
    known : float32 array, shape (3, k)
        Inverse variance of the gains as fitted.
    disturbance : float32 array, shape (3, k, length)
        Smoothed power of what else sounds there.
    """

    sound: Float32
    gain: Float32
    known: Float32
    disturbance: Float32


def windows(samples: Float32, position: Float64, before: int, after: int) -> Float32:
    """Rows of samples around fractional positions, moved so that the position falls on row index `before`.

    Parameters
    ----------
    samples : float32 array, shape (n,)
    position : float array, shape (k,), samples
    before, after : int
        Length of a row on either side of the position.

    Returns
    -------
    float32 array, shape (k, before + after)
        Zero where the row reaches beyond the recording.
    """
    whole = np.floor(position).astype(np.int64)
    size = scipy.fft.next_fast_len(before + after + 64, real=True)
    head = before + 32
    rows = np.zeros((len(position), size), dtype=np.float32)
    for row, i in zip(rows, whole, strict=True):
        a, b = max(i - head, 0), min(i - head + size, len(samples))
        if b > a:
            row[a - i + head : b - i + head] = samples[a:b]
    return delay_rows(rows, whole - position)[:, 32 : 32 + before + after]


def delay_rows(rows: Float32, delay: Float64) -> Float32:
    """Each row moved later by delay samples (circular, by phase)."""
    size = rows.shape[1]
    spectrum = scipy.fft.rfft(rows)
    turn = np.exp(-2j * np.pi / size * np.outer(delay, np.arange(spectrum.shape[1]))).astype(np.complex64)
    if size % 2 == 0:
        turn[:, -1] = np.cos(np.pi * delay)
    moved: Float32 = scipy.fft.irfft(spectrum * turn, size)
    return moved


def split_bands(rows: Float32, rate_hz: float) -> Float32:
    """Rows in three bands that add up to the rows, shape (3, k, length)."""
    length = rows.shape[-1]
    size = scipy.fft.next_fast_len(length + round(0.004 * rate_hz), real=True)
    spectrum = scipy.fft.rfft(rows, size)
    hz = scipy.fft.rfftfreq(size, 1 / rate_hz)
    low = [1 / (1 + (hz / f) ** 8) for f in BANDS_HZ]
    parts = [low[0], low[1] - low[0], 1 - low[1]]
    return np.stack([scipy.fft.irfft(spectrum * p.astype(np.float32), size)[..., :length] for p in parts])


def smooth(power: Float32, length: int) -> Float32:
    """Centred moving mean along the last axis."""
    length = max(min(length, power.shape[-1] // 2), 1)
    before = length // 2
    total = np.cumsum(
        np.pad(power, [(0, 0)] * (power.ndim - 1) + [(before + 1, length - before - 1)], mode="edge"),
        axis=-1,
        dtype=np.float64,
    )
    mean: Float32 = ((total[..., length:] - total[..., :-length]) / length).astype(np.float32)
    return mean


def learn(rows: Float32, rate_hz: float) -> Learned:
    """Sound, gains and weights from aligned repetitions.

    Every repetition is weighted, in each band and every few milliseconds, by the inverse of how disturbed it is there: the click
    before the first strum teaches the tail, the click that a strum covers from 10 ms on still teaches the attack.

    Parameters
    ----------
    rows : float32 array, shape (k, length)
        Repetitions, aligned.
    rate_hz : float
    """
    bands = split_bands(rows, rate_hz)
    length = round(WEIGHT_S * rate_hz)
    tiny = np.finfo(np.float32).tiny
    power = smooth(bands**2, length)
    # a first guess of the disturbance: what is louder than usual here; the usual is what half of the repetitions do not exceed
    disturbance = power + np.float32(0.1) * np.median(power, axis=1, keepdims=True)
    gain = np.ones(bands.shape[:2], dtype=np.float32)
    sound = np.zeros((len(bands), rows.shape[1]), dtype=np.float32)
    floor = np.float32(1e-6) * power.max(axis=(1, 2), keepdims=True) + tiny
    # neighbouring samples of a band are not independent: so many share one piece of information
    edges = np.array([0.0, *BANDS_HZ, rate_hz / 2])
    shared = (rate_hz / 2 / np.maximum(np.diff(np.minimum(edges, rate_hz / 2)), 1.0)).astype(np.float32)[:, None]
    for _ in range(PASSES):
        weight = 1 / (disturbance + floor)
        scaled = weight * gain[:, :, None]
        sound = np.einsum("bkt,bkt->bt", scaled, bands) / np.maximum(np.einsum("bkt,bk->bt", scaled, gain), tiny)
        known = np.einsum("bkt,bt->bk", weight, sound**2)
        fitted = np.einsum("bkt,bt,bkt->bk", weight, sound, bands) / np.maximum(known, tiny)
        known /= shared
        gain = shrink(fitted, known)
        disturbance = smooth((bands - gain[:, :, None] * sound[:, None, :]) ** 2, length)
    return Learned(sound=sound, gain=gain, known=known, disturbance=disturbance)


def shrink(gain: Float32, known: Float32) -> Float32:
    """Gains drawn towards their neighbours' as far as they are not known themselves.

    Parameters
    ----------
    gain : float32 array, shape (bands, k)
    known : float32 array, shape (bands, k)
        Inverse variance of each.
    """
    k = gain.shape[1]
    kernel = np.hanning(2 * GAIN_REACH + 3)[1:-1]

    def around(values: Float64) -> Float64:
        mean: Float64 = np.convolve(values, kernel, mode="full")[GAIN_REACH : GAIN_REACH + k]
        return mean

    result = np.empty_like(gain)
    for b in range(len(gain)):
        g = np.clip(gain[b], 0.0, None).astype(np.float64)
        noise = 1 / (known[b].astype(np.float64) + 1e-30)
        usual = max(_weighted_median(g, 1 / (noise + 1e-4)), 1e-6)
        variance = noise + (GAIN_SCATTER * usual) ** 2
        near = around(g / variance) / around(1 / variance)
        scatter = around((g - near) ** 2 / variance) / around(1 / variance) - around(noise / variance) / around(
            1 / variance
        )
        real = np.clip(scatter, (0.02 * near) ** 2, (0.3 * near) ** 2)
        result[b] = (g * real + near * noise) / (real + noise)
    return result


def _weighted_median(values: Float64, weight: Float64) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][int(np.searchsorted(total, total[-1] / 2))])


def above(sound: Float32, rate_hz: float, cut_hz: float = ATTACK_HZ) -> Float32:
    """What lies above cut_hz: a causal second-order Butterworth high-pass, applied through its frequency response."""
    size = scipy.fft.next_fast_len(2 * len(sound) + round(0.02 * rate_hz), real=True)
    w = np.tan(np.pi * min(cut_hz / rate_hz, 0.45))
    z = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
    root = np.sqrt(2.0)
    a0, a1, a2 = 1 + root * w + w * w, 2 * (w * w - 1), 1 - root * w + w * w
    response = (1 - 2 * z + z * z) / (a0 + a1 * z + a2 * z * z)
    high: Float32 = scipy.fft.irfft(scipy.fft.rfft(sound, size) * response, size)[: len(sound)].astype(np.float32)
    return high


def attack_index(sound: Float32, rate_hz: float, share: float = ATTACK_SHARE, still: int = 0) -> float:
    """Where the sound above ATTACK_HZ first exceeds a share of its early peak, samples (a fraction, interpolated).

    Parameters
    ----------
    sound : float32 array, shape (n,)
    rate_hz : float
    share : float
    still : int
        So many samples at the beginning hold no sound, only what is left of other sounds: what does not exceed them is no attack.
    """
    high = np.abs(above(sound, rate_hz))
    rest = high[still:]
    if len(rest) == 0 or not rest.max() > 0:
        return float(still)
    noise = 1.2 * float(high[:still].max()) if still else 0.0
    reach = max(round(ATTACK_PEAK_S * rate_hz), 1)
    first = int(np.argmax(rest > max(ATTACK_SHARE * float(rest.max()), min(noise, 0.5 * float(rest.max())))))
    early = float(rest[first : first + reach].max())
    bar = max(share * early, min(noise, 0.5 * early))
    i = still + int(np.argmax(rest > bar))
    if i == still:
        return float(i)
    return i - 1 + float(np.clip((bar - high[i - 1]) / max(high[i] - high[i - 1], 1e-12), 0, 1))
