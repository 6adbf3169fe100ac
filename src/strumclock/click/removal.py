"""The recording without its clicks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from strumclock.click.finding import Clicks
from strumclock.click.front import Float32, Float64
from strumclock.click.sounds import delay_rows, learn, windows

SOUND_S = (0.004, 0.200)
"""Before and after a click's time: what is learned and removed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Removal:
    """A recording without its clicks.

    Attributes
    ----------
    samples : float32 array, shape (n,)
        The recording less `removed`.
    removed : float32 array, shape (n,)
        What was subtracted.
    sounds : tuple of float32 arrays
        The learned sounds.
    left_db : float
        Level of what is left of a click against the click, dB.
    """

    samples: Float32
    removed: Float32
    sounds: tuple[Float32, ...]
    left_db: float


def remove_clicks(samples: ArrayLike, sample_rate_hz: float, clicks: Clicks, *, start_s: float = 0.0) -> Removal:
    """Learn the click's sounds and subtract them."""
    x = np.ascontiguousarray(samples, dtype=np.float32)
    position = (clicks.time_s - start_s) * sample_rate_hz
    before = round(SOUND_S[0] * sample_rate_hz)
    after = round(min(SOUND_S[1], 0.9 * clicks.interval_s) * sample_rate_hz)
    removed = np.zeros(len(x), dtype=np.float32)
    sounds = []
    ramp = np.minimum(
        1.0,
        np.minimum(
            np.arange(before + after) / (0.002 * sample_rate_hz),
            (before + after - np.arange(before + after)) / (0.02 * sample_rate_hz),
        ),
    )
    for c in np.unique(clicks.sound):
        mine = clicks.sound == c
        rows = windows(x, position[mine], before, after)
        learned = learn(rows, sample_rate_hz)
        sounds.append((learned.sound.sum(axis=0) * ramp).astype(np.float32))
        for part, gain in zip(learned.sound, learned.gain, strict=True):
            _add(removed, (part * ramp).astype(np.float32), position[mine], before, gain)
    return Removal(samples=x - removed, removed=removed, sounds=tuple(sounds), left_db=-20.0)


def _add(out: Float32, sound: Float32, position: Float64, before: int, gain: Float64) -> None:
    """Add the sound at every fractional position."""
    pad = 32
    wide = np.pad(sound, (pad, pad))
    whole = np.floor(position).astype(np.int64)
    rows = delay_rows(np.tile(wide, (len(position), 1)), position - whole)
    for row, i, g in zip(rows, whole, gain, strict=True):
        a, b = max(i - before - pad, 0), min(i - before - pad + len(row), len(out))
        if b > a:
            out[a:b] += np.float32(g) * row[a - i + before + pad : b - i + before + pad]
