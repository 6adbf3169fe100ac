"""Guitars to strum: banks of recorded notes, and strings computed from physics with a body and a pick of their own.

A note is cut so that its *attack* is at sample `LEAD`: where its part above 1.5 kHz first exceeds a fifth of that
part's early peak, the design's definition of a strum's time on its first string.
"""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import numpy as np

from strumclock.learning.sounds import RATE_HZ, Wave, bank
from strumclock.synthesis import strings

LEAD = RATE_HZ // 50  # samples of a note's own quiet lead-in that are kept before its attack
BRIGHT_HZ, SHARE = 1500.0, 0.2  # DESIGN.md: "a strum's time"
RING_S = 2.6  # a string is stopped or forgotten by then
FADED = 130  # samples over which a cut into a lead-in is faded in


class Guitar(Protocol):
    """What can be plucked."""

    def note(self, pitch: float, force: float, rng: np.random.Generator) -> Wave:
        """One string at a MIDI pitch, plucked softly (0) to hard (1), its attack at `LEAD`, loudest instant near 1."""


def attack(x: Wave) -> int:
    """Index at which the part above 1.5 kHz first exceeds a fifth of its peak within 250 ms."""
    from scipy import signal

    b, a = signal.butter(2, BRIGHT_HZ, "high", fs=RATE_HZ)
    head = np.abs(signal.lfilter(b, a, x[: RATE_HZ // 4]))
    return int(np.argmax(head > SHARE * head.max()))


def led_in(x: Wave) -> Wave:
    """The sound re-cut so that its attack is at index `LEAD`; the cut itself is faded."""
    i = attack(x)
    kept = min(i, LEAD)
    y = np.concatenate([np.zeros(LEAD - kept), x[i - kept :]])
    if kept > FADED:
        y[LEAD - kept : LEAD - kept + FADED] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(FADED) / FADED)
    y = y[: int(RING_S * RATE_HZ)]
    y[-2000:] *= np.linspace(1, 0, len(y[-2000:]))
    return y


def band(x: Wave, low_hz: float, high_hz: float) -> Wave:
    """The part between two frequencies, first-order slopes."""
    return duller(x - duller(x, low_hz), high_hz)


def duller(x: Wave, hz: float) -> Wave:
    """The part below a frequency: a first-order low-pass by the bilinear transform."""
    from scipy import signal

    k = np.tan(np.pi * min(hz, 0.45 * RATE_HZ) / RATE_HZ)
    b = k / (1 + k)
    return np.asarray(signal.lfilter([b, b], [1.0, (k - 1) / (k + 1)], x))


class RecordedGuitar:
    """Notes of a bank, shifted to the pitch wanted."""

    def __init__(self, folder: Path) -> None:
        self.name = folder.name
        self._notes = bank(folder)
        self._known: dict[tuple[float, int], Wave] = {}

    def note(self, pitch: float, force: float, rng: np.random.Generator) -> Wave:  # noqa: ARG002 (as it was recorded)
        """See `Guitar.note`."""
        import soxr

        f = strings.frequency_hz(pitch)
        away = np.array([abs(np.log2(f0 / f)) for f0, _ in self._notes])
        i = int(rng.choice(np.flatnonzero(away <= away.min() + 0.01)))
        key = (round(pitch, 3), i)
        if key not in self._known:
            f0, x = self._notes[i]
            y = soxr.resample(x, f / f0 * RATE_HZ, RATE_HZ, quality="MQ") if abs(f / f0 - 1) > 1e-4 else x
            self._known[key] = led_in(np.asarray(y))
        return self._known[key]


class PhysicalGuitar:
    """Damped stiff strings on a body of random resonances (`synthesis.strings`), with a pick's or finger's noise.

    Nylon or steel, old or new strings, a small or a large body, near the bridge or over the fingerboard; the pick draws
    the string, scrapes or touches it some milliseconds before it lets go.
    """

    def __init__(self, rng: np.random.Generator) -> None:
        u, chance = rng.uniform, rng.random
        self.name = "physical"
        nylon, finger = chance() < 0.4, chance() < 0.35
        dull = 10 ** u(-0.25, 0.35) * (1.3 if nylon else 1.0)  # how fast treble dies
        soft = 10 ** u(2.9, 3.5) if finger or nylon else 10 ** u(3.2, 3.75)
        low = np.exp(u(np.log(75), np.log(135)))
        self._guitar = strings.Guitar(
            name="physical",
            decay_per_s=(u(0.5, 2.0), u(0.5, 1.3) * dull, u(0.1, 0.5) * dull),
            inharmonicity=tuple(10 ** u(-4.7, -3.7, 6)),
            pick_place=u(0.05, 0.32),
            edge_hz=(soft, soft * u(1.3, 3.0)),
            body=tuple((low * ratio, u(8, 30), u(0.1, 1.2)) for ratio in (1.0, u(1.7, 2.1), u(2.2, 2.7), u(3.5, 4.2))),
            body_seed=int(rng.integers(1_000_000)),
            body_direct=u(0.05, 1.5) if chance() < 0.7 else u(2, 8),  # a solid body radiates at once
        )
        self._noise = 10 ** (u(-46, -12) / 20)
        self._noise_s, self._noise_hz = u(0.0015, 0.006), u(800, 4000)
        self._touch = 10 ** (u(-50, -14) / 20) if chance() < 0.7 else 0.0
        self._touch_s = u(0.002, 0.016)
        self._known: dict[tuple[float, int], Wave] = {}

    def note(self, pitch: float, force: float, rng: np.random.Generator) -> Wave:
        """See `Guitar.note`."""
        key = (round(pitch, 3), round(2 * force))
        if key not in self._known:
            self._known[key] = self._plucked(pitch, key[1] / 2, rng)
        return self._known[key]

    def _plucked(self, pitch: float, force: float, rng: np.random.Generator) -> Wave:
        string = int(np.clip(np.searchsorted((45, 50, 55, 59, 64), pitch, side="right"), 0, 5))
        y = strings.note.__wrapped__(self._guitar, string, pitch, force).astype(np.float64)
        y = y / np.abs(y).max()
        at = strings.LEAD
        n = min(len(y) - at, int(0.03 * RATE_HZ))
        scrape = band(rng.standard_normal(n), self._noise_hz, 4 * self._noise_hz)
        scrape *= np.exp(-np.arange(n) / RATE_HZ / self._noise_s)
        y[at : at + n] += self._noise * scrape / (np.abs(scrape).max() + 1e-9)
        if self._touch:
            m = int(self._touch_s * rng.uniform(0.5, 1.2) * RATE_HZ) + 8
            low = rng.uniform(300, 1500)
            touch = band(rng.standard_normal(m) * np.exp(-np.arange(m) / (0.3 * m)), low, low * rng.uniform(2, 8))
            y[at - m : at] += self._touch * touch / (np.abs(touch).max() + 1e-9)
        return led_in(y / np.abs(y).max())
