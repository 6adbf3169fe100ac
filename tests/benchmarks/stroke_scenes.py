"""Simulated takes with every string's time known: they teach and test spread and direction (`learn_strokes.py`).

Guitars are those of `strumclock.learning`: banks of recorded single notes, and strings synthesised anew for each take.
Everything is drawn at random: chords, patterns with down-, up- and muted strokes, how many strings each direction
meets and how it swells along them, spread, force, what stops ringing strings and when, room, tone, noise, what is left
of a removed click. The pick stops a string some milliseconds before it lets go; a new chord stops the old one.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from strumclock.learning.guitars import LEAD, PhysicalGuitar, RecordedGuitar, band, duller
from strumclock.learning.noises import add
from strumclock.learning.rooms import in_room, noise_room, toned
from strumclock.learning.sounds import RATE_HZ

OPEN = (40, 45, 50, 55, 59, 64)
SHAPES = (
    "x02220", "x02210", "xx0232", "xx0231", "022100", "022000", "320003", "x32010", "133211", "x24432", "x02020",
    "x32030", "244222", "xx3210", "020100", "x02010",
)  # fmt: skip
BOTH_WAYS = (
    "D.DU.UDU",
    "DUDU",
    "D.DUDUDU",
    "DDUUDU",
    "DDUDUD",
    "D.D.D.DU",
    "D..UD.DU",
    "D.xUD.xU",
    "DUxUDUxU",
    "D.UD.U",
)
ONE_WAY = ("D.D.D.D.", "DDDD", "D...D...", "D.x.D.x.")
LEAST_GAP_S = 0.15

Wave = npt.NDArray[np.float64]


@dataclass(kw_only=True)
class Strokes:
    """A simulated take; muted strokes are in the sound but not in the lists."""

    samples: npt.NDArray[np.float32]
    strum_s: Wave
    up: npt.NDArray[np.bool_]
    spread_s: Wave
    place: npt.NDArray[np.int64]  # parts since the first


class _Hand:
    """What rings on each string."""

    def __init__(self, n: int) -> None:
        self.out = np.zeros(n)
        self.ringing: dict[int, tuple[Wave, int, float]] = {}

    def stop(self, string: int, at_s: float, fade_s: float) -> None:
        if string not in self.ringing:
            return
        x, start, gain = self.ringing.pop(string)
        length, fade = int(at_s * RATE_HZ) - start, max(8, int(fade_s * RATE_HZ))
        if length > 0:
            y = x[: length + fade].copy()
            if len(y) > length:
                y[length:] *= np.linspace(1, 0, len(y) - length)
            add(self.out, y, start, gain)

    def stop_all(self, at_s: float, fade_s: float) -> None:
        for string in list(self.ringing):
            self.stop(string, at_s, fade_s)


def simulate(seed: int, guitars: list[str], *, strums: int = 32, one_way: bool = False) -> Strokes:
    """One take; ``"synthetic"`` among the guitars is a new one each time."""
    rng = np.random.default_rng(seed)
    u = rng.uniform
    name = guitars[rng.integers(len(guitars))]
    guitar = PhysicalGuitar(rng) if name == "synthetic" else RecordedGuitar(Path(name))
    pattern = str(rng.choice(ONE_WAY if one_way else BOTH_WAYS))
    chords = [str(c) for c in rng.choice(SHAPES, int(rng.integers(2, 5)))]
    gap_s, each = u(LEAST_GAP_S, 0.55), int(rng.choice([4, 8, 8, 16]))
    typical_s = min(10 ** u(np.log10(0.004), np.log10(0.060)), 0.3 * gap_s)
    reach = {"D": int(rng.choice([3, 4, 6, 6, 6])), "U": int(rng.choice([2, 3, 4, 4, 5, 6]))}
    swell_db = {"D": u(-6, 2), "U": u(-6, 3)}
    force_db = {"D": 0.0, "U": u(-6, 0)}
    dull_hz = {"D": 10 ** u(3.4, 4.2), "U": 10 ** u(3.4, 4.2)}
    scatter_db, accent_db, stops = u(0.5, 3), u(0, 4) * rng.integers(2), u(0, 0.4) * rng.integers(2)
    events, place = [], 0
    while len(events) < strums:
        letter = pattern[place % len(pattern)]
        if letter != "." and rng.random() > 0.04:
            events.append(
                (0.5 + place * gap_s + rng.normal(0, 0.012), letter, chords[place // each % len(chords)], place)
            )
        place += 1
    seconds = events[-1][0] + 2.0
    hand, before = _Hand(int(seconds * RATE_HZ)), ""
    rows: list[tuple[float, bool, float, int]] = []
    for i, (t, letter, chord, at) in enumerate(events):
        strings = [(k, OPEN[k] + int(fret)) for k, fret in enumerate(chord) if fret != "x"]
        if before and chord != before:
            hand.stop_all(t - u(0.01, 0.06), 0.012)
        before = chord
        way = "U" if letter == "U" else "D"
        strings = strings[::-1] if way == "U" else strings
        met = reach[way] + (int(rng.integers(-1, 2)) if reach[way] < 6 else 0)
        strings = strings[: max(2, min(met, len(strings)))]
        steps = u(0.6, 1.4, len(strings) - 1) * (1 + u(-0.5, 0.5) * np.linspace(-1, 1, len(strings) - 1))
        spread_s = typical_s * np.exp(rng.normal(0, 0.2)) * np.sqrt(len(strings) / 6) * (u(0.7, 1) if way == "U" else 1)
        release = t + np.concatenate([[0.0], np.cumsum(steps / steps.sum()) * spread_s])
        gain_db = force_db[way] + rng.normal(0, scatter_db) + (accent_db if at % 4 == 0 else 0)
        softness_hz = dull_hz[way] * 2 ** rng.normal(0, 0.3)
        for k, ((string, pitch), when) in enumerate(zip(strings, release, strict=True)):
            hand.stop(string, when - u(0.003, 0.012), 0.004)
            x = guitar.note(float(pitch), 1.0, rng)
            db = gain_db + swell_db[way] * k / max(len(strings) - 1, 1) + rng.normal(0, 1.5)
            x = duller(x, min(softness_hz, 18000)) if softness_hz < 12000 else x
            if letter == "x":
                x = x * np.exp(-np.maximum(np.arange(len(x)) - LEAD, 0) / RATE_HZ / u(0.008, 0.03))
            hand.ringing[string] = (x, int(when * RATE_HZ) - LEAD, 10 ** (db / 20))
            if rng.random() < 0.5:
                touch = band(rng.standard_normal(400) * np.exp(-np.arange(400) / 90), 1000, 9000)
                add(hand.out, touch, int((when - u(0.003, 0.012)) * RATE_HZ), 10 ** ((db + u(-50, -28)) / 20))
        if letter == "x":
            hand.stop_all(release[-1] + u(0.02, 0.08), 0.02)
        else:
            rows.append((t, way == "U", float(release[-1] - t), at))
            following = events[i + 1][0] if i + 1 < len(events) else seconds
            if rng.random() < stops and following - t > 0.25:
                hand.stop_all(following - u(0.05, 0.12), 0.02)
    hand.stop_all(seconds - 0.1, 0.05)
    y = toned(hand.out / np.abs(hand.out).max(), rng, u(0, 8))
    if rng.random() < 0.6:
        y = in_room(y, noise_room(rng, u(0.1, 0.7), u(2, 14)))
    y = y / np.sqrt(np.mean(y**2))
    pink = np.fft.irfft(
        np.fft.rfft(rng.standard_normal(len(y))) / np.sqrt(np.maximum(np.arange(len(y) // 2 + 1), 20)), len(y)
    )
    y[: len(pink)] += pink / pink.std() * 10 ** (-u(22, 65) / 20)
    if rng.random() < 0.3:  # what is left of clicks
        left = rng.standard_normal(1800) * np.exp(-np.arange(1800) / RATE_HZ / u(0.002, 0.01))
        for t, *_ in rows:
            if rng.random() < 0.6:
                add(y, left, int((t + rng.normal(0.005, 0.012)) * RATE_HZ), 10 ** (u(-30, -10) / 20))
    if rng.random() < 0.4:
        y = band(y, u(60, 200), u(5000, 12000))
    strum_s, up, spread, places = (np.array(column) for column in zip(*rows, strict=True))
    return Strokes(samples=y.astype(np.float32), strum_s=strum_s, up=up, spread_s=spread, place=places)
