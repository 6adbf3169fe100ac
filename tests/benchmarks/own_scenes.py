"""From a case to a recording with its truth: strums by the synthesiser, clicks, room, other sounds, phone, codec.

Guitar and clicks are synthesised dry on two channels with known times; everything else is laid over them here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tests.audio_files import resampled, write_codec
from tests.benchmarks.own_clicks import SOUNDS

from strumclock.audio import Recording, from_array, load
from strumclock.grid import Exercise
from strumclock.synthesis import NYLON, STEEL, Guitar, Player, Scene, Truth, synthesise
from strumclock.synthesis.scene import recorded

FloatArray = NDArray[np.float64]
Layer = Callable[[int, int, np.random.Generator], FloatArray]  # (samples, rate, chance) -> sound, peak 1
Phone = Callable[[FloatArray, int], FloatArray]  # (sound, rate) -> what the phone keeps of it
Gains = Callable[[int, int], FloatArray]  # (clicks, clicks a bar) -> gain of each

INAUDIBLE = 0.02  # a click turned down to less than this (−34 dB) does not count as heard

# The palm on the bridge: partials die within some 0.3 s and the treble hardly speaks.
PALM = replace(STEEL, name="palm-muted", decay_per_s=(16.0, 9.0, 0.6), edge_hz=(1800.0, 4200.0))
# Flesh instead of a pick: rounder by far, further from the bridge.
FINGERS = replace(STEEL, name="fingers", edge_hz=(800.0, 1900.0), pick_place=0.26)
NYLON_FINGERS = replace(NYLON, name="nylon fingers", edge_hz=(700.0, 1600.0), pick_place=0.28)
PLAYER = Player()


@dataclass(frozen=True, kw_only=True)
class Case:
    """One kind of take.  `told` is what the program is told: all, nothing, half (the tempo) or the given exercise."""

    exercise: Exercise
    player: Player = PLAYER
    guitar: Guitar = STEEL
    click_db: float | None = -8.0
    click_sound: str = "tick"  # a click track's timbre, or one of `own_clicks.SOUNDS`
    click_gains: Gains | None = None
    click_channel: bool = False
    room_s: float = 0.0
    noise_db: float = -60.0
    layers: tuple[tuple[Layer, float], ...] = ()  # with the peak against the guitar's peak [dB]
    second_guitar_db: float | None = None
    bass: str | None = None  # pattern of bass notes, played between the strums of the exercise's own pattern
    phone: tuple[Phone, ...] = ()
    rate_hz: int = 44100
    codec: tuple[str, str, int] | None = None  # suffix, encoder, bit rate
    skew_ppm: float = 0.0
    told: str = "all"
    anchors: tuple[str, ...] = ("recorded-click",)


@dataclass(frozen=True, kw_only=True)
class Rendered:
    """A recording, what is true of it, and what the program is told."""

    recording: Recording
    truth: Truth
    told: Exercise


def render(case: Case, seed: int) -> Rendered:
    """Make a take of a case; the same seed gives the same samples."""
    rng = np.random.default_rng([seed, 77])
    dry = Scene(click_channel=True, noise_db=None, click_db=case.click_db, skew_ppm=case.skew_ppm,
                click_sound="tick" if case.click_sound in SOUNDS else case.click_sound)  # fmt: skip
    take = synthesise(case.exercise, case.player, dry, seed, guitar=case.guitar)
    guitar, click, truth, rate = take.samples[:, 0], take.samples[:, 1], take.truth, take.sample_rate_hz
    if case.bass is not None:
        guitar, truth = _with_bass(case, dry, seed, guitar, truth)
    if case.click_sound in SOUNDS:
        click = (SOUNDS[case.click_sound](truth.click_s, len(click), rate) * np.abs(click).max()).astype(np.float32)
    if case.click_gains is not None:
        click, truth = _played_by(case.click_gains, click, truth, rate)
    scene = Scene(noise_db=case.noise_db, reverberation_s=case.room_s, click_channel=case.click_channel)
    has_click = case.click_db is not None
    y = recorded(guitar.copy(), click.copy() if has_click else None, scene, rng).astype(np.float64)
    loudest = float(np.abs(guitar).max())
    others = [(layer(len(y), rate, rng), db) for layer, db in case.layers]
    if case.second_guitar_db is not None:
        others.append((_second_guitar(case, dry, seed, len(y)), case.second_guitar_db))
    for sound, db in others:
        y += (sound * loudest * 10 ** (db / 20)).reshape(-1, *(1,) * (y.ndim - 1))
    for stage in case.phone:
        y = stage(y, rate)
    if case.rate_hz != rate:
        y = resampled(y, rate, case.rate_hz)
    y = (0.7 * y / np.abs(y).max()).astype(np.float32)
    return Rendered(recording=_as_recording(y, case), truth=truth, told=_told(case))


def from_bar(first: int, last: int | None = None) -> Gains:
    """Clicks sound from a bar to another, the count-in's first bar being 0."""

    def gains(n: int, per_bar: int) -> FloatArray:
        bar = np.arange(n) // per_bar
        return ((bar >= first) & (bar < (np.inf if last is None else last))).astype(float)

    return gains


def falling(db: float) -> Gains:
    """Clicks that fade evenly, in all by so many dB."""
    return lambda n, _: 10 ** (-db / 20 * np.linspace(0, 1, n))


def suppressed(n: int, per_bar: int) -> FloatArray:
    """A noise suppressor learns the click in a bar and a half: it is there, fades, and is gone."""
    return np.maximum(10 ** (-np.maximum(np.arange(n) - per_bar, 0) * 10 / 20), 1e-3)


def _played_by(gains: Gains, click: NDArray[np.float32], truth: Truth, rate: int) -> tuple[NDArray[np.float32], Truth]:
    """Each click at its own gain; the truth keeps those that can be heard."""
    n = len(truth.click_s)
    gain = gains(n, _beats(truth.exercise))
    edges = np.searchsorted(np.arange(len(click)) / rate, truth.click_s - 0.06)
    every = np.repeat(np.append(gain[0], gain), np.diff(np.concatenate([[0], edges, [len(click)]])))
    return (click * every).astype(np.float32), replace(truth, click_s=truth.click_s[gain > INAUDIBLE])


def _beats(exercise: Exercise) -> int:
    beats = exercise.beats_per_bar
    assert beats is not None
    return beats


def _with_bass(
    case: Case, dry: Scene, seed: int, strums: NDArray[np.float32], truth: Truth
) -> tuple[NDArray[np.float32], Truth]:
    """Bass notes in slots of their own, ringing on under the strums; the two parts' truths become one."""
    part = replace(case.exercise, pattern=case.bass, chords=("x0xxxx", "xx0xxx"))
    bass = synthesise(part, case.player, dry, seed + 5000, guitar=case.guitar)
    slots = np.concatenate([truth.slot_s, bass.truth.slot_s])
    rank = np.empty(len(slots), int)
    rank[np.argsort(slots)] = np.arange(len(slots))
    own = [t.strum_slot >= 0 for t in (truth, bass.truth)]
    shifts = (0, len(truth.slot_s))
    slot = np.concatenate([
        np.where(o, rank[np.maximum(t.strum_slot, 0) + shift], -1)
        for t, o, shift in zip((truth, bass.truth), own, shifts, strict=True)
    ])  # fmt: skip
    when = np.concatenate([truth.strum_s, bass.truth.strum_s])
    order = np.argsort(when)
    both = "".join(b if a == "." else a for a, b in zip(case.exercise.pattern or "", case.bass or "", strict=True))
    joined = replace(
        truth,
        exercise=replace(case.exercise, pattern=both),
        strum_s=when[order],
        strum_slot=slot[order],
        stroke=np.concatenate([truth.stroke, bass.truth.stroke])[order],
        spread_ms=np.concatenate([truth.spread_ms, bass.truth.spread_ms])[order],
        slot_s=np.sort(slots),
        at_change=np.zeros(len(slots), bool),
    )
    single = bass.samples[:, 0] * np.float32(0.5)  # one string is softer than six
    n = min(len(strums), len(single))
    return strums[:n] + single[:n], joined


def _second_guitar(case: Case, dry: Scene, seed: int, n: int) -> FloatArray:
    """Somebody plays along: the same exercise, a person and a guitar of their own."""
    friend = Player(offset_ms=12.0, timekeeper_ms=11.0, correction=0.5, spread_ms=22.0)
    take = synthesise(case.exercise, friend, dry, seed + 9000, guitar=NYLON, capo=5)
    out = np.zeros(n)
    m = min(n, len(take.samples))
    out[:m] = take.samples[:m, 0]
    return out / np.abs(out).max()


def _as_recording(y: NDArray[np.float32], case: Case) -> Recording:
    if case.codec is None:
        return from_array(y, case.rate_hz)
    suffix, encoder, bit_rate = case.codec
    with tempfile.TemporaryDirectory() as folder:
        return load(write_codec(Path(folder) / f"take.{suffix}", y, case.rate_hz, encoder, bit_rate=bit_rate))


def _told(case: Case) -> Exercise:
    exercise = replace(case.exercise, bars=None, chords=None)
    if case.bass is not None:
        both = zip(case.exercise.pattern or "", case.bass, strict=True)
        exercise = replace(exercise, pattern="".join(b if a == "." else a for a, b in both))
    if case.told == "nothing":
        return Exercise()
    if case.told == "half":
        assert exercise.bpm is not None
        return replace(exercise, bpm=exercise.bpm / 2)
    return exercise
