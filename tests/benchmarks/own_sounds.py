"""Sounds around a guitar that are made here with numpy alone: voices, a fan, a hissing click; and what phones do.

Nothing is recorded and nothing comes from outside.  Every function that needs chance takes a generator, so that a seed
gives the same samples.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# First three formants of vowels [Hz], men's averages (Peterson & Barney 1952, from memory; only their variety matters).
VOWELS_HZ = (
    (270, 2290, 3010), (530, 1840, 2480), (660, 1720, 2410), (730, 1090, 2440), (570, 840, 2410), (300, 870, 2240),
)  # fmt: skip
FORMANT_WIDTH_HZ = (60.0, 90.0, 130.0)
SYLLABLE_S = (0.12, 0.28)  # talking, not singing: about five syllables a second
PAUSE_S = (0.3, 1.2)
SYLLABLES = (3, 10)  # in one breath
CONSONANT_SHARE = 0.5  # of syllables begin with a hiss, a third of these with a burst (t, k)


def voice(n: int, rate_hz: int, rng: np.random.Generator, *, pitch_hz: float = 120.0) -> FloatArray:
    """Somebody talks: a buzzing glottis through moving formants, in syllables, with hisses and bursts; peak 1."""
    out = np.zeros(n)
    at = round(rng.uniform(0.0, 0.6) * rate_hz)
    while at < n:
        count = int(rng.integers(*SYLLABLES))
        for i in range(count):
            length = round(rng.uniform(*SYLLABLE_S) * rate_hz)
            if rng.random() < CONSONANT_SHARE:
                hiss = _consonant(rate_hz, rng)
                _add(out, hiss, at)
                at += round(0.7 * len(hiss))
            pitch = pitch_hz * (1.25 - 0.4 * i / count) * rng.uniform(0.95, 1.05)
            _add(out, _syllable(length, rate_hz, pitch, rng), at)
            at += round(0.9 * length)
        at += round(rng.uniform(*PAUSE_S) * rate_hz)
    return out / np.abs(out).max()


def babble(n: int, rate_hz: int, rng: np.random.Generator) -> FloatArray:
    """A family in the kitchen: five voices of several pitches and distances; peak 1."""
    out = np.zeros(n)
    for pitch_hz in (95.0, 120.0, 180.0, 210.0, 260.0):
        out += rng.uniform(0.4, 1.0) * voice(n, rate_hz, rng, pitch_hz=pitch_hz)
    return out / np.abs(out).max()


def mains_hum(n: int, rate_hz: int, rng: np.random.Generator) -> FloatArray:
    """A guitar's pickup near a transformer: 60 Hz and its multiples up to 660 Hz; peak 1."""
    t = np.arange(n) / rate_hz
    out: FloatArray = np.sum([np.sin(2 * np.pi * 60 * k * t + rng.uniform(0, 6)) / k for k in range(1, 12)], axis=0)
    return out / np.abs(out).max()


def fan(n: int, rate_hz: int, rng: np.random.Generator) -> FloatArray:
    """A fan or a fridge: mains hum with harmonics, blades' noise that swells and ebbs; peak 1."""
    t = np.arange(n) / rate_hz
    hum = sum(np.sin(2 * np.pi * 50 * k * t + rng.uniform(0, 6)) / k**1.5 for k in range(1, 9))
    wind = _coloured(rng.standard_normal(n), rate_hz, lambda f: 1 / np.maximum(f, 60.0) ** 0.7)
    out: FloatArray = 0.4 * hum + wind / wind.std() * (1 + 0.3 * np.sin(2 * np.pi * 0.4 * t))
    return out / np.abs(out).max()


def hissing_clicks(click_s: FloatArray, n: int, rate_hz: int, *, lowest_hz: float = 6000.0) -> FloatArray:
    """Clicks like a closed hi-hat, all above `lowest_hz`, which a voice filter takes away; each starts at its time."""
    hat = np.random.default_rng(31).standard_normal(round(0.05 * rate_hz))
    hat *= np.exp(-np.arange(len(hat)) / (0.012 * rate_hz))
    hat = _coloured(hat, rate_hz, lambda f: (f > lowest_hz).astype(float))
    out = np.zeros(n)
    for t in click_s:
        _add(out, hat, round(t * rate_hz))
    return out / np.abs(out).max()


def pumping(
    y: FloatArray, rate_hz: int, *, below_peak_db: float = 24.0, ratio: float = 5.0, release_s: float = 0.4
) -> FloatArray:
    """A phone's compressor: what is louder than the threshold turns everything down within 5 ms, up again slowly."""
    hop = rate_hz // 500
    blocks = np.abs(y[: len(y) // hop * hop]).reshape(-1, hop).max(axis=1)
    level_db = 20 * np.log10(blocks + 1e-9)
    over_db = np.maximum(level_db - (level_db.max() - below_peak_db), 0) * (1 - 1 / ratio)
    rise, fall = np.exp(-hop / rate_hz / 0.005), np.exp(-hop / rate_hz / release_s)
    down_db, now = np.empty(len(blocks)), 0.0
    for i, wanted in enumerate(over_db):
        now = wanted + (now - wanted) * (rise if wanted > now else fall)
        down_db[i] = now
    gain = 10 ** (-down_db / 20)
    return y * np.interp(np.arange(len(y)), (np.arange(len(blocks)) + 1) * hop, gain)


def telephone_band(y: FloatArray, rate_hz: int) -> FloatArray:
    """What a voice filter lets through: 250 to 3400 Hz, causal (Butterworth, 60 dB an octave)."""
    from scipy.signal import butter, sosfilt

    out: FloatArray = sosfilt(butter(10, (250.0, 3400.0), "band", fs=rate_hz, output="sos"), y)
    return out


def clipped(y: FloatArray, rate_hz: int, *, by_db: float = 6.0) -> FloatArray:  # noqa: ARG001  # as the others
    """The strums' loudest peaks cut off."""
    limit = float(np.abs(y).max()) * 10 ** (-by_db / 20)
    return np.clip(y, -limit, limit)


def _syllable(n: int, rate_hz: int, pitch_hz: float, rng: np.random.Generator) -> FloatArray:
    """A vowel that glides to another."""
    from scipy.signal import lfilter

    t = np.arange(n) / rate_hz
    f0 = pitch_hz * (1 + 0.06 * np.sin(np.pi * t * rate_hz / n) + 0.01 * np.sin(2 * np.pi * 5.5 * t))
    phase = np.cumsum(f0) / rate_hz
    glottis = np.diff(np.floor(phase), prepend=0.0)
    glottis = lfilter([1.0], [1.0, -0.97], lfilter([1.0], [1.0, -0.9], glottis))
    glottis += 0.02 * rng.standard_normal(n)
    which = rng.integers(len(VOWELS_HZ), size=2)
    voices = []
    for vowel in which:
        x = glottis
        for f, width in zip(VOWELS_HZ[vowel], FORMANT_WIDTH_HZ, strict=True):
            r, w = np.exp(-np.pi * width / rate_hz), 2 * np.pi * f / rate_hz
            x = lfilter([1 - 2 * r * np.cos(w) + r * r], [1.0, -2 * r * np.cos(w), r * r], x)
        voices.append(x)
    glide = np.linspace(0, 1, n)
    swell = np.minimum(1, t / rng.uniform(0.015, 0.05)) * np.minimum(1, (n / rate_hz - t) / 0.06)
    out: FloatArray = ((1 - glide) * voices[0] + glide * voices[1]) * swell
    return out / (np.abs(out).max() + 1e-12) * rng.uniform(0.5, 1.0)


def _consonant(rate_hz: int, rng: np.random.Generator) -> FloatArray:
    """An s or sh, or the burst of a t or k."""
    burst = rng.random() < 1 / 3
    n = round((0.03 if burst else rng.uniform(0.06, 0.11)) * rate_hz)
    low = rng.uniform(1500.0, 4500.0)
    x = _coloured(rng.standard_normal(n), rate_hz, lambda f: (f > low) / np.maximum(f, low))
    t = np.arange(n) / n
    x *= np.exp(-5 * t) if burst else np.sin(np.pi * t)
    return x / np.abs(x).max() * rng.uniform(0.1, 0.35)


def _coloured(x: FloatArray, rate_hz: int, shape: object) -> FloatArray:
    """Noise with its spectrum multiplied by shape(frequency)."""
    assert callable(shape)
    out: FloatArray = np.fft.irfft(np.fft.rfft(x) * shape(np.fft.rfftfreq(len(x), 1 / rate_hz)), len(x))
    return out


def _add(out: FloatArray, x: FloatArray, at: int) -> None:
    """Add x to out from sample `at`, as far as out goes."""
    end = min(at + len(x), len(out))
    if end > at >= 0:
        out[at:end] += x[: end - at]
