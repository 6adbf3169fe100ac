"""What a click may sound like apart from the click tracks' own timbres: cymbals that ring on, drums, beeps of 5 ms.

Each function takes the beats' times and returns samples of peak 1 in which every sound begins at its time.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.own_sounds import hissing_clicks

FloatArray = NDArray[np.float64]
Clicking = Callable[[FloatArray, int, int], FloatArray]  # (times of the beats [s], samples, rate) -> sound, peak 1

CYMBAL_S = 0.25  # a hi-hat's tail, longer than half a beat at 130 bpm
CYMBAL_SEED, SNARE_SEED = 31, 32  # a sampled sound is the same at each beat
OFF_BEAT = 0.6  # hats between the beats are softer


def cymbals(beat_s: FloatArray, n: int, rate_hz: int) -> FloatArray:
    """A hi-hat on each beat, still ringing when half the beat is over."""
    return _laid((_cymbal(rate_hz),), beat_s, n, rate_hz)


def hats_in_eighths(beat_s: FloatArray, n: int, rate_hz: int) -> FloatArray:
    """The same hi-hat on each beat and, softer, half-way between."""
    hat = _cymbal(rate_hz)
    return _peak_1(_laid((hat,), beat_s, n, rate_hz) + OFF_BEAT * _laid((hat,), _half_way(beat_s), n, rate_hz))


def drums(beat_s: FloatArray, n: int, rate_hz: int) -> FloatArray:
    """A drum machine: bass drum and snare in turn on the beats, hats on the beats and between."""
    t = np.arange(round(0.2 * rate_hz)) / rate_hz
    bass = np.sin(2 * np.pi * (55 + 90 * np.exp(-t / 0.012)) * t) * np.exp(-t / 0.06)
    bass += 0.15 * np.exp(-t / 0.0008)  # the beater
    noise = np.random.default_rng(SNARE_SEED).standard_normal(len(t))
    snare = np.sin(2 * np.pi * 190 * t) * np.exp(-t / 0.05) + 0.4 * noise * np.exp(-t / 0.07)
    both = _laid((_peak_1(bass), _peak_1(snare)), beat_s, n, rate_hz)
    return _peak_1(both + 0.5 * hats_in_eighths(beat_s, n, rate_hz))


def short_beeps(
    beat_s: FloatArray, n: int, rate_hz: int, *, beep_s: float = 0.005, high_hz: float = 2000.0
) -> FloatArray:
    """5 ms of a sine, ten periods."""
    t = np.arange(round(beep_s * rate_hz)) / rate_hz
    return _laid((np.sin(2 * np.pi * high_hz * t) * np.minimum(1, (t[-1] - t) / 0.001),), beat_s, n, rate_hz)


SOUNDS: dict[str, Clicking] = {
    "hiss": hissing_clicks, "cymbal": cymbals, "hats": hats_in_eighths, "drums": drums, "short-beep": short_beeps,
}  # fmt: skip


def _cymbal(rate_hz: int) -> FloatArray:
    t = np.arange(round(CYMBAL_S * rate_hz)) / rate_hz
    noise = np.diff(np.random.default_rng(CYMBAL_SEED).standard_normal(len(t) + 2), n=2)  # the treble above all
    return _peak_1(noise * np.exp(-t / 0.09))


def _half_way(beat_s: FloatArray) -> FloatArray:
    return beat_s + float(np.median(np.diff(beat_s))) / 2


def _laid(sounds: tuple[FloatArray, ...], at_s: FloatArray, n: int, rate_hz: int) -> FloatArray:
    """The sounds in turn, to the sample: a fraction of one is 0.01 ms, which no figure here shows."""
    out = np.zeros(n)
    for i, at in enumerate(np.round(at_s * rate_hz).astype(int)):
        part = sounds[i % len(sounds)][: max(n - at, 0)]
        out[at : at + len(part)] += part
    return _peak_1(out)


def _peak_1(x: FloatArray) -> FloatArray:
    return x / np.abs(x).max()
