"""Small takes with clicks and strums at known places, for the tests of the click stage."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 22050
LEAD = 200  # samples of silence kept before a sound's first sample
WORD_S = 0.05
CHORDS_HZ = (
    (110.0, 164.8, 220.0, 277.2, 329.6),
    (146.8, 220.0, 293.7, 370.0),
    (82.4, 123.5, 164.8, 207.7, 246.9, 329.6),
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """A take and what is in it: guitar and clicks apart, times of both in seconds."""

    guitar: Array
    clicks: Array
    click_s: Array
    strum_s: Array

    @property
    def samples(self) -> Array:
        """What a microphone hears."""
        mixed: Array = self.guitar + self.clicks
        return mixed


def click_sound(name: str) -> Array:
    """A click of peak 1: bursts ("noise", "tock"), damped tones ("wood"), 40 ms of a sine ("beep"), a thud ("low"), 250
    ms of a cymbal ("ringing"), a consonant and, WORD_S later, the vowel's full strength ("word")."""
    t = np.arange(int((0.25 if name in ("ringing", "word") else 0.06) * RATE_HZ)) / RATE_HZ
    if name == "noise":
        x = np.random.default_rng(7).standard_normal(len(t)) * np.exp(-t / 0.004)
    elif name == "ringing":
        x = np.random.default_rng(9).standard_normal(len(t)) * np.exp(-t / 0.12)
    elif name == "word":
        vowel = sum(np.sin(2 * np.pi * 140 * k * t + k * k) for k in range(1, 25))
        vowel *= np.clip((t - 0.6 * WORD_S) / (0.4 * WORD_S), 0, 1) * np.exp(-np.maximum(t - 0.12, 0) / 0.03)
        x = 0.5 * np.random.default_rng(6).standard_normal(len(t)) * np.exp(-t / 0.01) + vowel
    elif name == "wood":
        x = np.sin(2 * np.pi * 1800 * t) * np.exp(-t / 0.005) + 0.8 * np.sin(2 * np.pi * 2900 * t) * np.exp(-t / 0.003)
    elif name == "tock":
        x = np.random.default_rng(8).standard_normal(len(t)) * np.exp(-t / 0.006)
    elif name == "beep":
        x = np.sin(2 * np.pi * 1000 * t) * np.clip(np.minimum(t, 0.04 - t) / 0.001, 0, 1)
    else:
        x = np.sin(2 * np.pi * 400 * t) * np.exp(-t / 0.01)
    return x / np.abs(x).max()


def place(out: Array, sound: Array, at_s: float, gain: float) -> None:
    """Add a sound whose first sample lies at at_s: a windowed-sinc fraction of a sample."""
    position = at_s * RATE_HZ
    whole = int(np.floor(position))
    taps = np.arange(-16, 17)
    kernel = np.sinc(taps - (position - whole)) * np.hanning(35)[1:-1]
    moved = np.convolve(sound, kernel)
    begin = whole - 16
    a, b = max(begin, 0), min(begin + len(moved), len(out))
    if b > a:
        out[a:b] += gain * moved[a - begin : b - begin]


@functools.cache
def _partials(hz: float) -> Array:
    """Damped sines and cosines of a string's partials, 1.6 s, shape (2 partials, n)."""
    t = np.arange(int(1.6 * RATE_HZ)) / RATE_HZ
    k = np.arange(1, 16)[:, None]
    fade = np.exp(-t * (1.5 + 0.8 * k)) / k * (k * hz < 0.45 * RATE_HZ)
    return np.concatenate([np.sin(2 * np.pi * k * hz * t) * fade, np.cos(2 * np.pi * k * hz * t) * fade])


def strum(rng: np.random.Generator, chord: int, seconds: float) -> Array:
    """One strummed chord: damped partials of any phase and the scratch of the pick, strings 3 ms apart, peak 0.5."""
    n = int(min(seconds, 1.5) * RATE_HZ)
    x = np.zeros(n)
    for i, hz in enumerate(CHORDS_HZ[chord % len(CHORDS_HZ)]):
        begin = int(i * rng.uniform(0.002, 0.004) * RATE_HZ)
        partials = _partials(hz)
        x[begin:] += (rng.standard_normal(len(partials)) @ partials)[: n - begin]
        x[begin : begin + 200] += 0.5 * rng.standard_normal(200) * np.exp(-np.arange(200) / 40)
    return 0.5 * x / np.abs(x).max()


def make_take(
    *,
    sound: str = "noise",
    accent: str | None = None,
    accent_gain: float = 1.0,
    click_db: float | None = -10.0,
    bpm: float = 100.0,
    bars: int = 8,
    count_in: int = 1,
    beats_per_bar: int = 4,
    skew_ppm: float = 0.0,
    jitter_ms: float = 10.0,
    heard: slice = slice(None),
    fade_db: float = 0.0,
    noise_db: float = -60.0,
    lead_s: float = 0.7,
    seed: int = 1,
    click_at_s: Array | None = None,
) -> Take:
    """A player who strums every beat after the count-in, and a click placed to a fraction of a sample."""
    rng = np.random.default_rng(seed)
    beat = 60 / bpm * (1 - skew_ppm * 1e-6)
    count = (bars + count_in) * beats_per_bar
    click_s = lead_s + beat * np.arange(count) if click_at_s is None else np.asarray(click_at_s)
    played = click_s[count_in * beats_per_bar :]
    strum_s = played + rng.normal(-0.005, jitter_ms / 1000, len(played))
    n = int((click_s[-1] + 2.0) * RATE_HZ)
    guitar, clicks = np.zeros(n), np.zeros(n)
    for i, at in enumerate(strum_s):
        until = strum_s[i + 1] - at if i + 1 < len(strum_s) else 1.5
        x = strum(rng, i // beats_per_bar, until)
        x[-100:] *= np.linspace(1, 0, 100)
        place(guitar, x, float(at), float(rng.uniform(0.7, 1.0)))
    if click_db is not None:
        gain = 0.5 * 10 ** (click_db / 20)
        for i in range(len(click_s))[heard]:
            first = i % beats_per_bar == 0
            own = click_sound(accent if first and accent else sound)
            level = gain * (accent_gain if first else 1.0) * 10 ** (-fade_db / 20 * i / len(click_s))
            place(clicks, own, float(click_s[i]), level)
    guitar += rng.standard_normal(n) * 0.5 * 10 ** (noise_db / 20)
    return Take(guitar=guitar, clicks=clicks, click_s=click_s, strum_s=strum_s)
