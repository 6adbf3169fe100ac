"""Simulated takes with known strum times: a hand on a guitar in a room, a click taken out again, a recorder.

The same seed and sounds give the same take. A strum's time is the attack of the first note of its own (see `guitars`),
as it reaches the microphone by the straightest way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from strumclock.click import Clicks, remove_clicks
from strumclock.learning.guitars import LEAD, Guitar, PhysicalGuitar, RecordedGuitar, band, duller, led_in
from strumclock.learning.hand import STYLE_SHARES, STYLES, Hand, Stroke, strokes
from strumclock.learning.noises import add, disturb, spoken
from strumclock.learning.recorder import recorded
from strumclock.learning.rooms import in_room, some_room, toned
from strumclock.learning.sounds import RATE_HZ, Sounds, Wave, audio

SECONDS = 14.0  # of a simulated take; by hand
SILENT = 0.06  # share of takes in which nothing is played
PHYSICAL = 0.35  # share of takes on computed strings
PLAIN = 0.2  # share of takes recorded dry, without a codec; by hand
EASY = 0.32  # share of takes of a steady hand near a phone that keeps them as AAC, and nobody else; by hand
EASY_ROOM, HARD_ROOM = 0.5, 0.75  # share of those, and of the others, in a room; by hand
CLICKED = 0.5  # share of takes with a click in them; by hand
TALKED = 0.35  # share of hard takes in which somebody talks; by hand
SECOND_GUITAR = 0.04  # share of takes with another guitar behind; by hand


@dataclass(kw_only=True)
class Scene:
    """A simulated take.

    Attributes
    ----------
    samples, removed : float32 ndarray
        The take without its click, and the click that was taken out.
    strums_s : ndarray
    strums_db : ndarray
        Level of each strum against a plain one.
    about : dict
        What was drawn: guitar, style, codec …
    """

    samples: npt.NDArray[np.float32]
    removed: npt.NDArray[np.float32]
    strums_s: Wave
    strums_db: Wave
    about: dict[str, str]


def simulate(seed: int, sounds: Sounds, *, seconds: float = SECONDS) -> Scene:
    """One take."""
    rng = np.random.default_rng(seed)
    u, chance = rng.uniform, rng.random
    guitar = _guitar(rng, sounds)
    kind, style = chance(), str(rng.choice(STYLES, p=STYLE_SHARES))
    plain, easy = kind < PLAIN, PLAIN <= kind < PLAIN + EASY
    bpm, per_beat = u(40, 170), int(rng.choice([1, 2, 3, 4], p=[0.4, 0.35, 0.1, 0.15]))
    interval_s = u(0.095, 0.22) if style == "fast" else max(60 / bpm / per_beat, 0.1)
    events = strokes(rng, style, interval_s, per_beat, seconds)
    silent = chance() < SILENT or not events
    take, unit = _strings(rng, guitar, style, events, seconds, easy=easy)
    if silent:
        take = 10 ** u(-4, -0.5) * rng.standard_normal(len(take))
        events = []
    if not easy and chance() < SECOND_GUITAR:
        other = strokes(rng, "pick", u(0.2, 0.6), 2, seconds)
        theirs, _ = _strings(rng, _guitar(rng, sounds), "pick", other, seconds)
        take = take + 10 ** (u(-34, -18) / 20) * duller(theirs, u(1500, 8000))
    if not easy:
        disturb(rng, take, bpm)
        if chance() < TALKED:
            spoken(rng, take, sounds)
    y = toned(take, rng, u(0, 4 if plain or easy else 9))
    y = y / (np.abs(y).max() + 1e-9)
    start_s = events[0].at_s if events else 0.5
    clicks, track = _click(rng, sounds, start_s, bpm, seconds) if chance() < CLICKED else (None, np.zeros(len(y)))
    if not plain and chance() < (EASY_ROOM if easy else HARD_ROOM):
        ours, theirs_room = some_room(rng, sounds.rooms)
        y, track = in_room(y, ours), in_room(track, theirs_room)
    y, codec = recorded(rng, y + track, sounds, plain=plain, easy=easy)
    removed = np.zeros(len(y), np.float32)
    samples = y.astype(np.float32)
    if clicks is not None:
        removal = remove_clicks(samples, RATE_HZ, clicks)
        samples, removed = removal.samples.astype(np.float32), removal.removed.astype(np.float32)
    return Scene(
        samples=samples,
        removed=removed,
        strums_s=np.array([e.at_s for e in events]),
        strums_db=np.array([e.db for e in events]),
        about={
            "guitar": guitar.name if not silent else "none",
            "style": style,
            "codec": codec,
            "kind": "plain" if plain else "easy" if easy else "hard",
            "unit": f"{unit:.3g}",
        },
    )


def _guitar(rng: np.random.Generator, sounds: Sounds) -> RecordedGuitar | PhysicalGuitar:
    if rng.random() < PHYSICAL or not sounds.guitars:
        return PhysicalGuitar(rng)
    families = sorted({p.name.split("_")[0] for p in sounds.guitars})  # so that one instrument's banks count as one
    family = families[rng.integers(len(families))]
    banks = [p for p in sounds.guitars if p.name.split("_")[0] == family]
    return RecordedGuitar(banks[rng.integers(len(banks))])


def _strings(
    rng: np.random.Generator, guitar: Guitar, style: str, events: list[Stroke], seconds: float, *, easy: bool = False
) -> tuple[Wave, float]:
    """What a hand plays, its plain strums peaking near 1, with the hand's noises."""
    played = Hand(rng, guitar, style, steady=easy).play(events, seconds)
    take, n = played.sound, len(played.sound)
    peaks = [np.abs(take[int(t * RATE_HZ) : int((t + 0.06) * RATE_HZ)]).max() for t in played.strums_s]
    unit = float(np.median(peaks)) + 1e-9 if peaks else 1.0
    take = take / unit
    for at_s, x, gain in played.noises:
        if at_s < n / RATE_HZ:
            add(take, x / (np.abs(x).max() + 1e-9), int(at_s * RATE_HZ), gain)
    return take, unit


def _click(
    rng: np.random.Generator, sounds: Sounds, start_s: float, bpm: float, seconds: float
) -> tuple[Clicks | None, Wave]:
    """A click and where the click finder might have found it."""
    beat_s, track = 60 / bpm, np.zeros(int(seconds * RATE_HZ))
    click_s = np.arange(start_s % beat_s + rng.normal(0.008, 0.012), seconds - 0.25, beat_s)
    click_s = click_s[click_s > 0.02]
    accent = np.arange(len(click_s)) % int(rng.integers(2, 5)) == 0
    plain, accented = _click_sound(rng, sounds), _click_sound(rng, sounds)
    if rng.random() < 0.4:
        accented = plain * rng.uniform(1, 1.6)
    loudest = max(np.abs(plain).max(), np.abs(accented).max()) + 1e-9
    pair = [toned(x / loudest, rng, 4) for x in (plain, accented)]
    gain = 10 ** (rng.uniform(-24, 7) / 20)
    for t, strong in zip(click_s, accent, strict=True):
        add(track, pair[int(strong)], round(float(t) * RATE_HZ) - LEAD, gain)
    if len(click_s) < 4:
        return None, np.zeros(len(track))
    told = click_s + rng.normal(0, 10 ** rng.uniform(-4.3, -3.5), len(click_s))
    clicks = Clicks(
        time_s=told, u_s=np.full(len(told), 1e-4), heard=np.ones(len(told), bool), accented=accent,
        interval_s=beat_s, interval_u_s=1e-5, extent="throughout", source="recording", score=100.0,
        sound=accent.astype(int), number=np.arange(len(told)),
    )  # fmt: skip
    return clicks, track


def _click_sound(rng: np.random.Generator, sounds: Sounds) -> Wave:
    """A click's sound with its attack at `LEAD`: a beep, a burst of noise, or a recorded one."""
    before = np.zeros(1300)
    kind = rng.random()
    if kind < 0.2 or not sounds.clicks:
        f, t = rng.uniform(500, 2500), np.arange(int(rng.uniform(0.01, 0.06) * RATE_HZ)) / RATE_HZ
        ramp = np.clip(np.minimum(t, t[-1] - t) / rng.uniform(0.0003, 0.003), 0, 1)
        return led_in(np.concatenate([before, np.sin(2 * np.pi * f * t) * ramp]))
    if kind < 0.35:
        n, low = int(rng.uniform(0.003, 0.03) * RATE_HZ), rng.uniform(500, 3000)
        z = rng.standard_normal(n) * np.exp(-np.arange(n) / n * rng.uniform(2, 5))
        return led_in(np.concatenate([before, band(z, low, 4 * low)]))
    z = audio(sounds.clicks[rng.integers(len(sounds.clicks))])[: int(rng.uniform(0.15, 0.4) * RATE_HZ)].copy()
    z[-200:] *= np.linspace(1, 0, len(z[-200:]))
    return led_in(z / (np.abs(z).max() + 1e-9))
