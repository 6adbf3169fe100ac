"""Kinds of click, one sound each: made here from formulas, and those of the shared material where it lies beside the
checkout.

Every sound is a float array of peak 1 at RATE_HZ. Its time is DESIGN's rule, here with scipy's filter: where what lies
above 1.5 kHz first exceeds a fifth of its peak within 30 ms.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import signal

FloatArray = NDArray[np.float64]

RATE_HZ = 44100
MATERIAL = Path(__file__).resolve().parents[3] / "shared" / "material" / "clicks"
if not MATERIAL.is_dir():  # a worktree one folder deeper
    MATERIAL = Path(__file__).resolve().parents[4] / "shared" / "material" / "clicks"
MATERIAL_S = 0.6  # as much of a recorded sound as is kept


def made() -> dict[str, FloatArray]:
    """Forty-odd kinds from formulas: ticks, woods, beeps, bells, cymbals, drums, several hits, whistles, voices."""
    kinds: dict[str, FloatArray] = {
        "tick": _noise(0.02, 0.0015, 1) + 0.7 * _ring(2600, 0.006, 0.02),
        "tick-dull": _noise(0.03, 0.003, 2, low_hz=3000),
        "tick-high": _noise(0.02, 0.001, 3, high_hz=5000),
        "noise-4ms": _noise(0.06, 0.004, 4),
        "wood-block": _ring(820, 0.012, 0.08) + 0.6 * _ring(2130, 0.004, 0.08),
        "claves": _ring(2500, 0.02, 0.12) + 0.2 * _noise(0.12, 0.0008, 5),
        "rim-shot": _ring(1700, 0.008, 0.1) + _ring(430, 0.02, 0.1) + 0.8 * _noise(0.1, 0.002, 6),
        "sticks": _ring(3200, 0.004, 0.05) + _ring(4700, 0.003, 0.05),
        "beep-1000-40ms": _beep(1000, 0.04),
        "beep-880-100ms": _beep(880, 0.1),
        "beep-440-60ms": _beep(440, 0.06),
        "beep-2000-5ms": _beep(2000, 0.005),
        "square-1000": np.sign(_beep(1000, 0.05)) * 1.0,
        "square-700-120ms": np.sign(_beep(700, 0.12)) * 1.0,
        "chirp": _chirp(3000, 800, 0.05),
        "chirp-up": _chirp(600, 4000, 0.08),
        "fm-blip": _fm(1200, 0.03),
        "bell": _bell(1300, 0.35, 0.6),
        "bell-high": _bell(2600, 0.2, 0.5),
        "triangle": _bell(4200, 0.5, 0.6),
        "cowbell": _ring(562, 0.06, 0.3) + _ring(845, 0.06, 0.3) + 0.3 * _noise(0.3, 0.001, 7),
        "agogo-ring": _ring(900, 0.15, 0.5) + 0.7 * _ring(1350, 0.12, 0.5) + 0.4 * _ring(2210, 0.08, 0.5),
        "hat-closed": _noise(0.1, 0.012, 8, high_hz=6500),
        "hat-open": _noise(0.45, 0.13, 9, high_hz=5500),
        "cymbal-ride": _noise(0.6, 0.25, 10, high_hz=4000) + 0.5 * _bell(3100, 0.3, 0.6),
        "snare": _ring(190, 0.05, 0.2) + 0.8 * _noise(0.2, 0.05, 11, high_hz=1500),
        "kick": _kick(),
        "clap": sum((_late(_noise(0.12, 0.006, 12 + i, high_hz=900), 0.011 * i, 0.15) for i in range(3)), np.zeros(1)),
        "shaker": _swell(_noise(0.09, 0.03, 16, high_hz=3000), 0.012),
        "tambourine": sum(
            (_late(_noise(0.2, 0.03, 17 + i, high_hz=5000), 0.013 * i, 0.25) for i in range(4)), np.zeros(1)
        ),
        "two-hits-60ms": _hits((0.0, 0.06), (1.0, 0.8), 21),
        "two-hits-140ms": _hits((0.0, 0.14), (1.0, 0.9), 22),
        "two-hits-equal-200ms": _hits((0.0, 0.2), (1.0, 1.0), 23),
        "three-hits-90ms": _hits((0.0, 0.045, 0.09), (1.0, 0.7, 0.9), 24),
        "three-hits-155ms": _hits((0.0, 0.155, 0.31), (1.0, 0.8, 0.7), 25),
        "soft-hit-first": _hits((0.0, 0.07), (0.5, 1.0), 26),
        "ratchet": _hits(tuple(0.012 * i for i in range(6)), tuple(0.85**i for i in range(6)), 27),
        "whistle-2300": _swell(_beep(2300, 0.15), 0.015),
        "whistle-breath": _swell(_beep(1900, 0.2), 0.02) + 0.25 * _swell(_noise(0.2, 0.2, 28, high_hz=1500), 0.02),
        "voice-ta": _voice(0.012, 140.0, 29),
        "voice-one": _swell(_voice(0.0, 120.0, 30), 0.05),
        "bell-swelling": _swell(_bell(1500, 0.3, 0.6), 0.06),
        "low-thud": _ring(400, 0.01, 0.08),
    }
    return {name: x / np.abs(x).max() for name, x in kinds.items()}


def recorded() -> dict[str, FloatArray]:
    """The sounds of the shared material; none where it is not beside the checkout."""
    import soundfile

    kinds = {}
    for path in sorted(MATERIAL.glob("*.flac")):
        x, rate_hz = soundfile.read(path, always_2d=True)
        assert rate_hz == RATE_HZ, path
        x = x.mean(axis=1)[: round(MATERIAL_S * RATE_HZ)]
        x[-400:] *= np.linspace(1, 0, len(x[-400:]))
        kinds[path.stem] = x / np.abs(x).max()
    return kinds


def attack_s(sound: FloatArray, share: float = 0.2) -> float:
    """The sound's time by DESIGN's rule, seconds after its first sample."""
    padded = np.concatenate([np.zeros(2000), sound])
    b, a = signal.butter(2, 1500, "high", fs=RATE_HZ)
    high = np.abs(signal.lfilter(b, a, padded))
    first = int(np.argmax(high > share * high.max()))
    bar = share * float(high[first : first + round(0.03 * RATE_HZ)].max())
    i = int(np.argmax(high > bar))
    return float((i - 1 + (bar - high[i - 1]) / (high[i] - high[i - 1]) - 2000) / RATE_HZ)


def attack_spread_s(sound: FloatArray) -> float:
    """How far the time lies apart between a tenth and three tenths: whether the sound has one moment."""
    return attack_s(sound, 0.3) - attack_s(sound, 0.1)


def place(out: FloatArray, sound: FloatArray, at_s: float, gain: float) -> None:
    """Add a sound whose time by the rule lies at at_s (a windowed-sinc fraction of a sample)."""
    position = (at_s - attack_s(sound)) * RATE_HZ
    whole = math.floor(position)
    taps = np.arange(-16, 17)
    kernel = np.sinc(taps - (position - whole)) * np.hanning(35)[1:-1]
    moved = np.convolve(sound, kernel)
    a, b = max(whole - 16, 0), min(whole - 16 + len(moved), len(out))
    out[a:b] += gain * moved[a - whole + 16 : b - whole + 16]


def _time(seconds: float) -> FloatArray:
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def _ring(hz: float, decay_s: float, seconds: float) -> FloatArray:
    t = _time(seconds)
    ringing: FloatArray = np.sin(2 * np.pi * hz * t) * np.exp(-t / decay_s)
    return ringing


def _noise(seconds: float, decay_s: float, seed: int, *, high_hz: float = 0.0, low_hz: float = 0.0) -> FloatArray:
    t = _time(seconds)
    x = np.random.default_rng(seed).standard_normal(len(t))
    if high_hz:
        x = signal.lfilter(*signal.butter(2, high_hz, "high", fs=RATE_HZ), x)
    if low_hz:
        x = signal.lfilter(*signal.butter(2, low_hz, fs=RATE_HZ), x)
    x = x * np.exp(-t / decay_s)
    return np.asarray(x / np.abs(x).max())


def _beep(hz: float, seconds: float) -> FloatArray:
    t = _time(seconds)
    beep: FloatArray = np.sin(2 * np.pi * hz * t) * np.clip(np.minimum(t + 1e-4, t[-1] - t) / 0.001, 0, 1)
    return beep


def _chirp(from_hz: float, to_hz: float, seconds: float) -> FloatArray:
    t = _time(seconds)
    x: FloatArray = signal.chirp(t, from_hz, seconds, to_hz, phi=-90) * np.exp(-t / (0.4 * seconds))
    return x


def _fm(hz: float, seconds: float) -> FloatArray:
    t = _time(seconds)
    x: FloatArray = np.sin(2 * np.pi * hz * t + 4 * np.sin(2 * np.pi * 1.4 * hz * t) * np.exp(-t / 0.005)) * np.exp(
        -t / 0.01
    )
    return x


def _bell(hz: float, decay_s: float, seconds: float) -> FloatArray:
    """Partials of a struck bar (free at both ends: 1, 2.76, 5.40, 8.93), the higher ones sooner over."""
    partials = [_ring(hz * k, decay_s / k, seconds) / k**0.5 for k in (1.0, 2.756, 5.404) if hz * k < 0.45 * RATE_HZ]
    return np.sum(partials, axis=0)


def _kick() -> FloatArray:
    t = _time(0.25)
    x: FloatArray = np.sin(2 * np.pi * (55 + 0.9) * t + 8 * (1 - np.exp(-t / 0.02))) * np.exp(-t / 0.07)
    x[:200] += 0.3 * np.random.default_rng(20).standard_normal(200) * np.exp(-np.arange(200) / 30)
    return x


def _late(sound: FloatArray, delay_s: float, seconds: float) -> FloatArray:
    out = np.zeros(round(seconds * RATE_HZ))
    first = round(delay_s * RATE_HZ)
    part = sound[: len(out) - first]
    out[first : first + len(part)] = part
    return out


def _swell(sound: FloatArray, rise_s: float) -> FloatArray:
    swelling: FloatArray = sound * np.clip(np.arange(len(sound)) / (rise_s * RATE_HZ), 0, 1)
    return swelling


def _hits(at_s: tuple[float, ...], gain: tuple[float, ...], seed: int) -> FloatArray:
    """One sound of several hits, all alike."""
    hit = _noise(0.05, 0.003, seed) + 0.6 * _ring(1900, 0.008, 0.05)
    return np.sum([g * _late(hit, at, at_s[-1] + 0.1) for at, g in zip(at_s, gain, strict=True)], axis=0)


def _voice(consonant_s: float, hz: float, seed: int) -> FloatArray:
    """A consonant and a vowel: a buzz through two formants."""
    t = _time(0.25)
    buzz = np.sum([np.sin(2 * np.pi * hz * k * t + 0.3 * k * k) for k in range(1, 30)], axis=0)
    vowel = signal.lfilter(*signal.iirpeak(700, 5, fs=RATE_HZ), buzz) + signal.lfilter(
        *signal.iirpeak(1800, 8, fs=RATE_HZ), buzz
    )
    vowel = vowel / np.abs(vowel).max() * np.exp(-t / 0.1) * np.clip(t / 0.03, 0, 1)
    hiss = _noise(0.25, max(consonant_s, 0.001), seed, high_hz=2000) if consonant_s else np.zeros(len(t))
    return np.asarray(0.6 * hiss + vowel)


KINDS: dict[str, Callable[[], dict[str, FloatArray]]] = {"made": made, "recorded": recorded}
