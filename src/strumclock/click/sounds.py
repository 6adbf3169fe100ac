"""The sound of a click, learned from its repetitions, and the moment that counts as its time."""

from __future__ import annotations

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


def learn(rows: Float32, rate_hz: float, gain: Float64 | None = None) -> tuple[Float32, Float64, Float32]:
    """Sound, gains and weights from aligned repetitions.

    Parameters
    ----------
    rows : float32 array, shape (k, length)
        Repetitions, aligned.
    rate_hz : float
    gain : float array, shape (k,), optional
        First guess of how loud each is; 1 where nothing is known.

    Returns
    -------
    sound : float32 array, shape (3, length)
        In three bands that add up to the sound.
    gain : float array, shape (3, k)
        How loud it is in each repetition, per band.
    disturbance : float32 array, shape (3, k, length)
        Smoothed power of what else sounds there.
    """
    bands = split_bands(rows, rate_hz)
    length = round(WEIGHT_S * rate_hz)
    g = np.ones((3, len(rows)), dtype=np.float32) if gain is None else np.tile(gain.astype(np.float32), (3, 1))
    disturbance = smooth(bands**2, length)
    floor = np.float32(1e-4) * disturbance.mean(axis=(1, 2), keepdims=True) + np.finfo(np.float32).tiny
    sound = np.zeros((3, rows.shape[1]), dtype=np.float32)
    for _ in range(PASSES):
        weight = 1 / (disturbance + floor)
        top = np.einsum("bk,bkt,bkt->bt", g, weight, bands)
        bottom = np.einsum("bk,bkt->bt", g * g, weight)
        sound = top / np.maximum(bottom, np.finfo(np.float32).tiny)
        residual = bands - g[:, :, None] * sound[:, None, :]
        disturbance = smooth(residual**2, length)
    return sound, g.astype(np.float64), disturbance


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


def attack_index(sound: Float32, rate_hz: float, share: float = ATTACK_SHARE) -> float:
    """Where the sound above ATTACK_HZ first exceeds a share of its early peak, samples (a fraction, interpolated).

    Where nothing but noise precedes the sound, that noise is no attack: the place looked for is the last before the peak from
    which on the sound exceeds the share within every millisecond.
    """
    high = np.abs(above(sound, rate_hz))
    if not high.max() > 0:
        return 0.0
    rough = int(np.argmax(high > 0.5 * high.max()))
    early = float(high[rough : rough + max(round(ATTACK_PEAK_S * rate_hz), 1)].max())
    bar = share * early
    loud = np.flatnonzero(high[: int(np.argmax(high >= 0.999 * early)) + 1] > bar)
    breaks = np.flatnonzero(np.diff(loud) > max(0.001 * rate_hz, 2))
    i = int(loud[breaks[-1] + 1]) if len(breaks) else int(loud[0])
    if i == 0:
        return 0.0
    return i - 1 + float(np.clip((bar - high[i - 1]) / max(high[i] - high[i - 1], 1e-12), 0, 1))
