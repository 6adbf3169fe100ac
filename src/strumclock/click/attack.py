"""The moment of a sound that counts as its time."""

from __future__ import annotations

import numpy as np
import scipy.fft

from strumclock.arrays import Samples

ATTACK_HZ = 1500.0
"""A click's time is taken from its sound above this frequency …"""

ATTACK_SHARE = 0.2
"""… where it first exceeds this share …"""

ATTACK_PEAK_S = 0.030
"""… of its peak within this time (the project's definition of a strum's time, applied to the click)."""

SLOW_SHARE = 0.5
"""A sound whose early peak is less than this share of its later one swells: where in it the beat is felt cannot be
told from it. Metronomes, beeps and drums have their peak at once; a word has it in its vowel."""


def above(sound: Samples, rate_hz: float, cut_hz: float = ATTACK_HZ) -> Samples:
    """What lies above cut_hz: a causal second-order Butterworth high-pass, applied through its frequency response."""
    size = scipy.fft.next_fast_len(2 * len(sound) + round(0.02 * rate_hz), real=True)
    w = np.tan(np.pi * min(cut_hz / rate_hz, 0.45))
    z = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
    root = np.sqrt(2.0)
    a0, a1, a2 = 1 + root * w + w * w, 2 * (w * w - 1), 1 - root * w + w * w
    response = (1 - 2 * z + z * z) / (a0 + a1 * z + a2 * z * z)
    high: Samples = scipy.fft.irfft(scipy.fft.rfft(sound, size) * response, size)[: len(sound)].astype(np.float32)
    return high


def attack_index(
    sound: Samples, rate_hz: float, share: float = ATTACK_SHARE, *, still: int = 0, likely: int = 0
) -> float:
    """Where the sound above ATTACK_HZ first exceeds a share of its early peak, samples (a fraction, interpolated).

    Parameters
    ----------
    sound : float32 array, shape (n,)
    rate_hz : float
    share : float
    still : int
        So many samples at the beginning hold no sound, only what is left of other sounds: what does not exceed them
        is no attack.
    likely : int
        Before this sample an attack is unlikely: it must exceed them three times.
    """
    return attack_indices(sound, rate_hz, (share,), still=still, likely=likely)[0]


def attack_indices(
    sound: Samples, rate_hz: float, shares: tuple[float, ...], *, still: int = 0, likely: int = 0
) -> list[float]:
    """`attack_index` of several shares."""
    high = np.abs(above(sound, rate_hz))
    high[:still], before = 0.0, high[:still].copy()
    peak = float(high[likely:].max(initial=0.0))
    if not peak > 0:
        return [float(likely)] * len(shares)
    noise = min(1.2 * float(before.max(initial=0.0)), 0.5 * peak)
    reach = max(round(ATTACK_PEAK_S * rate_hz), 1)
    first = likely + int(np.argmax(high[likely:] > max(ATTACK_SHARE * peak, noise)))
    early = float(high[first : first + reach].max())
    found = []
    for share in shares:
        bar = np.full(len(high), max(share * early, min(noise, 0.5 * early)))
        bar[:likely] = max(float(bar[0]), 3 * noise)
        i = int(np.argmax(high > bar))
        between = (bar[i] - high[i - 1]) / max(high[i] - high[i - 1], 1e-12)
        found.append(float(i) if i <= still else i - 1 + float(np.clip(between, 0, 1)))
    return found


def swells_s(sound: Samples, rate_hz: float, attack: int) -> float:
    """How long a sound takes from its attack to SLOW_SHARE of its peak, seconds; 0 where it has that at once.

    Parameters
    ----------
    sound : float32 array, shape (n,)
        From before its attack to its end.
    attack : int
        Its attack's sample.
    """
    high = np.abs(above(sound, rate_hz))
    first = max(attack - round(0.001 * rate_hz), 0)
    early = high[first : first + max(round(ATTACK_PEAK_S * rate_hz), 1)]
    whole = float(high.max(initial=0.0))
    if float(early.max(initial=0.0)) >= SLOW_SHARE * whole:
        return 0.0
    return float(np.argmax(high >= SLOW_SHARE * whole) - first) / rate_hz
