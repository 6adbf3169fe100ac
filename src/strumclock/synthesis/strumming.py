"""The right hand: which strings sound when, how hard, and what stops them.

The pick touches a string some milliseconds before it lets go (a faint scratch, and the string's last note ends there);
a string that the next stroke does not reach rings on; a new chord stops what the last one left ringing.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Samples
from strumclock.synthesis.shapes import sounding
from strumclock.synthesis.strings import HARDNESS, LEAD, RATE_HZ, RING_S, Guitar, attack_level, note

UP_STRINGS = 4  # an up-stroke usually reaches the treble strings only
_UP_GAIN = 0.8  # against a down-stroke; by hand
_FASTER_UP = 0.8  # of a down-stroke's spread
_TOUCH_S = (0.004, 0.012)  # from touch to release: 3-16 ms on recorded single notes
_TOUCH_DB = (-44.0, -24.0)  # against the attack, above 1.5 kHz: what recorded notes of three guitars have before it
_TOUCH_SOUNDS = 8  # by hand: kept ready, so that two touches seldom are the same
_PICK_STOPS_S = 0.003  # a vibrating string against the pick
_HAND_STOPS_S = 0.012  # a fretting finger that lifts
_LIFT_S = (0.015, 0.06)  # how long before a new chord the fingers leave the old one
_STRING_DB = 1.5  # how unevenly a stroke hits its strings
_MUTED_GAIN = 0.8  # against an open stroke; by hand


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One strum to be played: the sample of its first release, ``D``/``U``/``x``, its chord, how hard, how wide."""

    sample: int
    stroke: str
    chord: str
    hardness: float
    spread_s: float


def play(
    strokes: list[Stroke],
    *,
    guitar: Guitar,
    capo: int,
    detune_cents: tuple[float, ...],
    n: int,
    rng: np.random.Generator,
) -> tuple[Samples, Floats]:
    """Sound of the strokes, (n,) float32, and the spread each really had [ms], (len(strokes),)."""
    out = np.zeros(n, np.float32)
    spreads = np.zeros(len(strokes))
    ringing: dict[int, tuple[Samples, int, float]] = {}  # string -> note, its first sample in out, gain

    def stop(string: int, at: int, over_s: float) -> None:
        x, start, gain = ringing.pop(string)
        _add(out, x, start, gain, until=at, fade=int(over_s * RATE_HZ))

    chord = None
    for j, s in enumerate(strokes):
        strings = sounding(s.chord, capo=capo)
        if s.stroke == "U":
            strings = strings[::-1][:UP_STRINGS]
        steps = rng.uniform(0.7, 1.3, max(len(strings) - 1, 0))
        width = s.spread_s * (len(strings) - 1) / 5 * (_FASTER_UP if s.stroke == "U" else 1.0)
        places = np.concatenate([[0.0], np.cumsum(steps / max(float(steps.sum()), 1e-9)) * width])
        at = s.sample + np.rint(places * RATE_HZ).astype(int)
        spreads[j] = 1000 * (at[-1] - at[0]) / RATE_HZ
        if chord is not None and (s.chord != chord or s.stroke == "x"):
            for string in tuple(ringing):
                stop(string, s.sample - int(rng.uniform(*_LIFT_S) * RATE_HZ), _HAND_STOPS_S)
        chord = s.chord
        step = min(HARDNESS, key=lambda h: abs(h - s.hardness))
        force = (0.35 + 0.65 * s.hardness) / (0.35 + 0.65 * step) * (_UP_GAIN if s.stroke == "U" else 1.0)
        for (string, midi), release in zip(strings, at, strict=True):
            touch = int(release - rng.uniform(*_TOUCH_S) * RATE_HZ)
            if string in ringing:
                stop(string, touch, _PICK_STOPS_S)
            gain = force * 10 ** (rng.normal(0, _STRING_DB) / 20)
            muted = s.stroke == "x"
            pitch = midi + detune_cents[string] / 100
            x = note(guitar, string, pitch, step, muted)
            scratch = _touches()[rng.integers(_TOUCH_SOUNDS)]
            faint = gain * attack_level(guitar, string, pitch, step, muted) * 10 ** (rng.uniform(*_TOUCH_DB) / 20)
            _add(out, scratch, touch, faint, until=int(release), fade=20)
            ringing[string] = (x, int(release) - LEAD, gain * (_MUTED_GAIN if muted else 1.0))
    for string in tuple(ringing):
        stop(string, ringing[string][1] + int(RING_S * RATE_HZ), 0.1)
    return out, spreads


def _add(out: Samples, x: Samples, start: int, gain: float, *, until: int, fade: int) -> None:
    """Add gain·x to out from sample `start`, faded out over `fade` samples from sample `until` on."""
    end = min(start + len(x), until + fade, len(out))
    a = max(start, 0)
    if end <= a:
        return
    if until >= end:
        out[a:end] += np.float32(gain) * x[a - start : end - start]
        return
    hold = max(until, a)
    out[a:hold] += np.float32(gain) * x[a - start : hold - start]
    done = (np.arange(hold, end) - until) / max(fade, 1)
    ramp = ((0.5 + 0.5 * np.cos(np.pi * done)) * gain).astype(np.float32)
    out[hold:end] += ramp * x[hold - start : end - start]


@functools.lru_cache(maxsize=1)
def _touches() -> tuple[Samples, ...]:
    """Scratches of the pick coming to rest on a string: short bursts of noise above 2 kHz, peak 1."""
    rng = np.random.default_rng(23)
    t = np.arange(int(0.012 * RATE_HZ)) / RATE_HZ
    out = []
    for _ in range(_TOUCH_SOUNDS):
        level = np.minimum(1, t / 0.0008) * np.exp(-t / rng.uniform(0.001, 0.004))
        x = np.diff(rng.standard_normal(len(t) + 1)) * level
        out.append((x / np.abs(x).max()).astype(np.float32))
    return tuple(out)
