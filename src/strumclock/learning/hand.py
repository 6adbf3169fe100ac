"""A hand that strums: what is played when, how loud and how wide, and what stops or touches the strings between."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from strumclock.learning.guitars import LEAD, Guitar, duller
from strumclock.learning.noises import add, hand_noise, level, lifted, touch
from strumclock.learning.sounds import RATE_HZ, Wave

SHAPES = (  # MIDI notes, low string to high
    (45, 52, 57, 61, 64), (50, 57, 62, 66), (40, 47, 52, 56, 59, 64), (45, 52, 57, 60, 64), (43, 47, 50, 55, 59, 67),
    (48, 52, 55, 60, 64), (40, 47, 52, 55, 59, 64), (50, 57, 62, 65), (41, 48, 53, 57, 60, 65), (46, 53, 58, 62, 65),
    (42, 49, 54, 57, 61, 66), (47, 54, 59, 62, 66), (40, 47, 52), (45, 52, 57), (43, 50, 55, 59, 62, 67),
    (47, 51, 57, 59, 66), (45, 52, 55, 61, 64), (40, 47, 50, 56, 59, 64),
)  # fmt: skip
STYLES = ("pick", "fast", "slow", "fingers", "palm", "percussive", "arpeggio", "mixed")
STYLE_SHARES = (0.28, 0.17, 0.18, 0.08, 0.08, 0.07, 0.05, 0.09)  # by hand: the common ones more often
LEAST_GAP_S = 0.09  # by hand: sixteenths at 160 bpm are 94 ms apart
SPREAD_S, SLOW_SPREAD_S = (0.003, 0.045), (0.03, 0.1)  # by hand: first to last string of quick and of slow strums
WIDEST = 0.45  # of the time to the next strum; by hand: who plays fast, strums narrowly
EVERY_PLACE = 0.5  # share of fast takes with a strum at each place; by hand


@dataclass(kw_only=True)
class Stroke:
    """One stroke: D down, U up, x percussive, s one string, b the bass string."""

    at_s: float
    way: str
    place: int
    db: float = 0.0


@dataclass(kw_only=True)
class Played:
    """The strings' sound, the hand's noises as (time, sound, level against a strum), and the strums' times."""

    sound: Wave
    noises: list[tuple[float, Wave, float]] = field(default_factory=list)
    strums_s: list[float] = field(default_factory=list)
    strings: dict[int, tuple[Wave, int, float]] = field(default_factory=dict)  # that ring now

    def stop(self, string: int, at_s: float, fade_s: float) -> None:
        """Stop what rings on a string."""
        if string in self.strings:
            x, start, gain = self.strings.pop(string)
            length, fade = int(at_s * RATE_HZ) - start, max(8, int(fade_s * RATE_HZ))
            if length > 0:
                y = x[: length + fade].copy()
                if len(y) > length:
                    y[length:] *= np.linspace(1, 0, len(y) - length)
                add(self.sound, y, start, gain)

    def stop_all(self, at_s: float, fade_s: tuple[float, float], jitter_s: float, rng: np.random.Generator) -> None:
        """Stop every string, not all at once."""
        for string in list(self.strings):
            self.stop(string, at_s + rng.uniform(-jitter_s, jitter_s), rng.uniform(*fade_s))


def strokes(rng: np.random.Generator, style: str, interval_s: float, per_beat: int, seconds: float) -> list[Stroke]:
    """What is played, with accents, soft up-strokes and ghost strokes as one hand has them."""
    shares = (0.5, 0.3, 0.15, 0.05) if per_beat > 1 else (0.85, 0.02, 0.1, 0.03)
    pattern, jitter_s = [str(rng.choice(list("DU.x"), p=shares)) for _ in range(8)], rng.uniform(0.002, 0.03)
    if style == "fast" and rng.random() < EVERY_PLACE:
        pattern = list("DUDUDUDU")
    up_db = -rng.uniform(0, 11) if rng.random() < 0.5 else 0.0
    accent_db = -rng.uniform(0, 10, 8) if rng.random() < 0.4 else np.zeros(8)
    ghost = rng.uniform(0.1, 0.4) if rng.random() < 0.25 else 0.0
    sd_db = rng.uniform(0, 4)
    out: list[Stroke] = []
    t, k = rng.uniform(0.3, 1.0), 0
    while t < seconds - 0.7:
        way = pattern[k % 8] if style != "arpeggio" else str(rng.choice(["s", "D", "."], p=[0.75, 0.15, 0.1]))
        if style == "percussive" and way != "." and rng.random() < 0.4:
            way = "x"
        if style == "fingers" and way in "DU" and rng.random() < 0.25:
            way = "s"
        if style == "mixed" and way in "DU" and rng.random() < 0.2:
            way = str(rng.choice(["s", "x", "b"]))
        at = t + rng.normal(0, jitter_s)
        if way != "." and at > 0.2 and (not out or at - out[-1].at_s > LEAST_GAP_S):
            db = accent_db[k % 8] + (up_db if way == "U" else 0.0) + rng.normal(0, sd_db)
            db = -rng.uniform(8, 20) if rng.random() < ghost else db
            out.append(Stroke(at_s=at, way=way, place=k, db=float(np.clip(db, -20, 4))))
        t, k = t + interval_s, k + 1
    return out


class Hand:
    """How one hand plays a take: drawn once, then the same for all of its strokes but for its scatter."""

    def __init__(self, rng: np.random.Generator, guitar: Guitar, style: str, *, steady: bool = False) -> None:
        u, chance = rng.uniform, rng.random
        self.rng, self.guitar, self.style = rng, guitar, style
        widths = SLOW_SPREAD_S if style == "slow" else SPREAD_S
        self.spread_s = float(np.exp(u(*np.log(widths))))
        self.capo = int(rng.integers(0, 5)) if chance() < 0.3 else 0
        self.detune = u(-0.4, 0.4) if chance() < 0.4 else 0.0
        self.twelve, self.chords = chance() < 0.07, [SHAPES[i] for i in rng.integers(0, len(SHAPES), 4)]
        self.muted_s, self.muted_hz, self.decay_s = u(0.03, 0.15), u(800, 4000), u(0.006, 0.03)
        self.tilt_db, self.uneven_db = (rng.normal(0, 1.5), u(0, 2)) if steady else (rng.normal(0, 3), u(0, 4))
        self.dull_hz = 10 ** u(3.2, 4.2)
        self.softness = u(0, 1.2)  # how much duller a softer stroke is
        self.dulls = chance() < 0.5
        self.stops_late, self.lets_ring = chance() < 0.4, chance() < 0.5
        self.stop_share = u(0.1, 0.8) if chance() < 0.6 else 0.0
        self.contact_db = u(-36, -8)
        self.rests_share = u(0.1, 0.7) if chance() < 0.4 else 0.05  # strings stopped long before the next strum
        self.touch_share = u(0.3, 1.0) if chance() < (0.15 if steady else 0.5) else 0.0
        self.touch_db, self.touch_hz = u(-34, -8), u(300, 2500)
        self.touch_top, self.burst_s = u(2, 6), u(0.0002, 0.0012)
        self.even = 2.5 if chance() < 0.75 else 0.8

    def play(self, events: list[Stroke], seconds: float) -> Played:
        """All strokes, one after another."""
        played = Played(sound=np.zeros(int(seconds * RATE_HZ)))
        for j, stroke in enumerate(events):
            following = events[j + 1].at_s if j + 1 < len(events) else seconds
            self._strum(played, stroke, following)
            self._between(played, stroke, following)
        for string in list(played.strings):
            played.stop(string, seconds - 0.2, 0.15)
        return played

    def _order(self, way: str, shape: tuple[int, ...]) -> list[int]:
        """Which strings of the chord are met, first to last."""
        rng, order = self.rng, list(range(len(shape)))
        if way == "U":
            order = order[::-1]
            return order[: rng.integers(2, len(order) + 1)] if rng.random() < 0.8 else order
        if way == "s":
            return [int(rng.integers(len(order)))]
        if way == "b":
            return [0]
        if rng.random() < 0.15 and len(order) > 3:
            return order[: rng.integers(3, len(order) + 1)]
        return order

    def _strum(self, played: Played, stroke: Stroke, following_s: float) -> None:
        rng, u, t = self.rng, self.rng.uniform, stroke.at_s
        shape = self.chords[(stroke.place // 8) % 4]
        strings = list(range(6))[-len(shape) :] if len(shape) >= 4 else list(range(1, 1 + len(shape)))
        order = self._order(stroke.way, shape)
        spread = min(self.spread_s * u(0.6, 1.5), WIDEST * (following_s - t))
        steps = rng.dirichlet(np.full(max(len(order) - 1, 1), self.even)) * spread
        times = t + np.concatenate([[0.0], np.cumsum(steps)])[: len(order)]
        force = 10 ** (stroke.db / 20)
        self._before(played, stroke, times, [shape[o] + self.capo for o in order], [strings[o] for o in order])
        palm, percussive = self.style == "palm" and rng.random() < 0.8, stroke.way == "x"
        tone_hz = self.dull_hz if self.dulls else 20000.0
        tone_hz *= 10 ** (self.softness * stroke.db / 40)
        for q, o in enumerate(order):
            pitch = shape[o] + self.capo + self.detune
            y = self.guitar.note(pitch, float(np.clip(1 + stroke.db / 12, 0, 1)), rng)
            slope = self.tilt_db * (q / max(len(order) - 1, 1) - 0.5)
            gain = force * 10 ** (rng.normal(slope, self.uneven_db) / 20)
            y = duller(y, tone_hz) if tone_hz < 15000 else y
            if palm or percussive:
                tau = self.decay_s if percussive else self.muted_s * u(0.7, 1.4)
                y = y * np.exp(-np.maximum(np.arange(len(y)) - LEAD, 0) / RATE_HZ / tau)
                y = duller(y, self.muted_hz) if palm or rng.random() < 0.5 else y
                y = y[: int((8 * tau + 0.05) * RATE_HZ)]
            played.stop(strings[o], times[q] + u(-0.008, 0.002), u(0.002, 0.008))
            played.strings[strings[o]] = (y, round(times[q] * RATE_HZ) - LEAD, gain)
            if self.twelve:
                second = self.guitar.note(pitch + (12 if strings[o] < 4 else 0.05), 1.0, rng)
                second = second[: int(min(1.5, following_s - t + 0.3) * RATE_HZ)]
                add(played.sound, second, int((times[q] + u(0.0003, 0.004)) * RATE_HZ) - LEAD, 0.6 * gain)
        played.strums_s.append(t)

    def _before(self, played: Played, stroke: Stroke, times: Wave, pitches: list[float], strings: list[int]) -> None:
        """What happens to the strings before the first is let go: touched by the pick, stopped by the hand."""
        rng, u, t = self.rng, self.rng.uniform, stroke.at_s
        if rng.random() < self.touch_share:
            early = float(np.exp(u(np.log(0.003), np.log(0.055))))
            band_hz = (self.touch_hz, self.touch_hz * self.touch_top)
            for pitch, string in list(zip(pitches, strings, strict=True))[: rng.integers(1, 4)]:
                sound = touch(rng, pitch, early, self.burst_s, string in played.strings, band_hz)
                played.noises.append((t - early, sound, level(self.touch_db + stroke.db, 3, rng)))
                played.stop(string, t - early + u(0, 0.004), u(0.003, 0.03))
        if rng.random() < self.stop_share and played.strings and not self.stops_late:
            at = t - u(0.006, 0.07)
            played.stop_all(at, (0.004, 0.03), 0.004, rng)
            if rng.random() < 0.8:
                played.noises.append(
                    (at + u(-0.006, 0.002), hand_noise(rng, "contact"), level(self.contact_db, 4, rng))
                )
        elif rng.random() < 0.15:
            played.noises.append((t - u(0.004, 0.05), hand_noise(rng, "contact"), level(self.contact_db, 4, rng)))
        if self.stops_late:
            for q, string in enumerate(sorted(played.strings)):
                played.stop(string, times[min(q, len(times) - 1)] + u(0, 0.001), 0.008)
        elif not self.lets_ring or stroke.way == "x":
            played.stop_all(t, (0.004, 0.02), 0.012, rng)

    def _between(self, played: Played, stroke: Stroke, following_s: float) -> None:
        """Stops and releases without a strum, and fingers that leave for the next chord."""
        rng, u, t = self.rng, self.rng.uniform, stroke.at_s
        free = following_s - t - self.spread_s
        if rng.random() < self.rests_share and free > 0.15:
            at = t + self.spread_s + u(0.25, 0.92) * free
            some = list(played.strings)
            if rng.random() < 0.3:  # only some of the strings
                some = some[: max(1, len(some) // 2)]
            for string in some:
                played.stop(string, at + u(-0.006, 0.006), float(np.exp(u(np.log(0.003), np.log(0.05)))))
            if rng.random() < 0.6:
                kind = "thump" if rng.random() < 0.5 else "contact"
                played.noises.append((at + u(-0.01, 0.004), hand_noise(rng, kind), level(u(-40, -12), 0, rng)))
        elif rng.random() < 0.12 and free > 0.2:
            if rng.random() < 0.6:
                sound = hand_noise(rng, "squeak")
            else:
                sound = lifted(self.guitar.note(float(rng.integers(45, 70)), 0.0, rng), rng)
            played.noises.append((following_s - u(0.03, 0.2), sound, level(u(-38, -14), 0, rng)))
