"""What a hand and a room sound like beside strums: touches, stops, squeaks, knocks, a foot, voices, typing."""

from __future__ import annotations

import numpy as np

from strumclock.learning.guitars import LEAD, band, duller
from strumclock.learning.sounds import RATE_HZ, Sounds, Wave, audio
from strumclock.synthesis.strings import frequency_hz


def add(out: Wave, x: Wave, at: int, gain: float = 1.0) -> None:
    """Add x to out from index `at`, as far as it fits."""
    a, b = max(at, 0), min(at + len(x), len(out))
    if b > a:
        out[a:b] += gain * x[a - at : b - at]


def level(db: float, sd_db: float, rng: np.random.Generator) -> float:
    """A factor of so many decibels, give or take."""
    return float(10 ** ((db + rng.normal(0, 1) * sd_db) / 20))


def touch(
    rng: np.random.Generator, pitch: float, seconds: float, burst_s: float, rings: bool, band_hz: tuple[float, float]
) -> Wave:
    """A pick against a string: bursts at the pitch of the string that rings, or a scrape."""
    n = int(seconds * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    z = 0.5 * rng.standard_normal(n)
    if rings and rng.random() < 0.75:
        z, period = np.zeros(n), 1 / frequency_hz(pitch)
        for q in np.arange(rng.uniform(0, period), seconds, period):
            burst = np.arange(min(n - int(q * RATE_HZ), int(0.003 * RATE_HZ)))
            shape = np.exp(-burst / RATE_HZ / burst_s) * rng.standard_normal(len(burst))
            z[int(q * RATE_HZ) : int(q * RATE_HZ) + len(burst)] += rng.normal(1, 0.4) * shape
    rise = np.minimum(1, t / rng.uniform(0.0003, 0.003))
    return band(z, *band_hz) * rise * 10 ** (-rng.uniform(-6, 10) / 20 * t / max(seconds, 1e-3))


def hand_noise(rng: np.random.Generator, kind: str) -> Wave:
    """A contact with the strings, a flat hand's thump, a knock on wood, a finger's squeak, a key pressed."""
    from scipy import signal

    n = int(rng.uniform(0.03, 0.18) * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    white = rng.standard_normal(n)
    if kind == "contact":
        low = rng.uniform(100, 2500)
        return band(white * np.exp(-t / rng.uniform(0.0015, 0.015)), low, low * rng.uniform(2, 8))
    if kind == "thump":
        return duller(white * np.exp(-t / rng.uniform(0.003, 0.02)), rng.uniform(300, 3000))
    if kind == "knock":
        swing = np.sin(2 * np.pi * rng.uniform(70, 400) * t) * np.exp(-t / rng.uniform(0.01, 0.04))
        return swing + 0.2 * white * np.exp(-t / 0.004)
    if kind == "key":  # down, and up a while later
        z = np.zeros(n)
        for at in (0.0, rng.uniform(0.02, 0.12)):
            tail = np.maximum(t - at, 0)
            z += rng.uniform(0.3, 1) * (t >= at) * rng.standard_normal(n) * np.exp(-tail / rng.uniform(0.0008, 0.006))
        low = rng.uniform(200, 3000)
        return band(z, low, low * rng.uniform(2, 8))
    f = rng.uniform(600, 3500)
    z = 0.4 * signal.chirp(t, f, t[-1], f * rng.uniform(0.6, 1.6)) + 0.4 * white
    return band(z * np.hanning(n) ** 0.5, 0.5 * f, min(2 * f, 15000))


def lifted(note: Wave, rng: np.random.Generator) -> Wave:
    """A string that a leaving finger sets ringing faintly."""
    z = note[LEAD - 100 : LEAD + int(0.3 * RATE_HZ)]
    return 0.7 * duller(z * np.exp(-np.arange(len(z)) / RATE_HZ / rng.uniform(0.02, 0.1)), rng.uniform(600, 5000))


def disturb(rng: np.random.Generator, take: Wave, bpm: float) -> None:
    """Add to a take, whose strums peak near 1, what is not a strum: squeaks, knocks, typing, a foot."""
    u, chance, seconds = rng.uniform, rng.random, len(take) / RATE_HZ
    for kind, share, most in (("squeak", 0.35, 4), ("knock", 0.3, 5), ("contact", 0.2, 5)):
        for _ in range(rng.integers(0, most) if chance() < share else 0):
            z = hand_noise(rng, kind)
            add(take, z / (np.abs(z).max() + 1e-9), int(u(0.2, seconds - 0.5) * RATE_HZ), level(u(-36, -6), 0, rng))
    if chance() < 0.07:  # somebody types
        loud, t = u(-32, -10), u(0, 1.0)
        while t < seconds:
            z = hand_noise(rng, "key")
            add(take, z / (np.abs(z).max() + 1e-9), int(t * RATE_HZ), level(loud, 4, rng))
            t += rng.exponential(0.15) + 0.04 if chance() < 0.95 else u(0.5, 3)
    if chance() < 0.15:
        pitch, k = u(60, 130), np.arange(int(0.12 * RATE_HZ)) / RATE_HZ
        loud, dies_s, slap = u(-16, 2), u(0.012, 0.03), u(0, 0.2)
        for at in np.arange(u(0, 60 / bpm), seconds - 0.3, 60 / bpm):
            z = np.sin(2 * np.pi * pitch * k) * np.exp(-k / dies_s)
            z += slap * rng.standard_normal(len(k)) * np.exp(-k / 0.004)
            add(take, z, int((at + rng.normal(0, 0.02)) * RATE_HZ), level(loud, 2, rng))


def spoken(rng: np.random.Generator, take: Wave, sounds: Sounds) -> None:
    """Add words, or somebody who talks throughout."""
    if not sounds.speech:
        return
    voice = audio(sounds.speech[rng.integers(len(sounds.speech))])
    if rng.random() < 0.5 and len(voice) > 5 * RATE_HZ:
        add(take, excerpt(voice, len(take), rng), 0, float(level(rng.uniform(-28, -4), 0, rng)))
        return
    for _ in range(rng.integers(1, 6)):
        voice = audio(sounds.speech[rng.integers(len(sounds.speech))])
        word = excerpt(voice, int(rng.uniform(0.4, 2.0) * RATE_HZ), rng)
        at = rng.uniform(0, 2) if rng.random() < 0.4 else rng.uniform(0, max(len(take) / RATE_HZ - 2, 0.1))
        add(take, word, int(at * RATE_HZ), level(rng.uniform(-20, 0), 0, rng))


def excerpt(x: Wave, n: int, rng: np.random.Generator) -> Wave:
    """So many samples from somewhere in x, repeated where it is shorter, loudest instant 1, its ends faded."""
    begin = int(rng.integers(0, max(len(x) - n, 0) + 1))
    y = np.array(np.resize(x, begin + n)[begin:]) if len(x) < n else x[begin : begin + n].copy()
    fade = min(n // 4, 400)
    y[:fade] *= np.linspace(0, 1, fade)
    y[n - fade :] *= np.linspace(1, 0, fade)
    loudest_one: Wave = y / (np.abs(y).max() + 1e-9)
    return loudest_one
