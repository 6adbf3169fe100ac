"""Which chord sounds, and where it changes, against chords known by construction."""

from __future__ import annotations

import csv

import numpy as np
import pytest
from support import bench_dir

from strumclock.chords import PITCH_CLASSES, hear_chords
from strumclock.grid import Exercise
from strumclock.pipeline import measure
from strumclock.synthesis import NYLON, STEEL, Guitar, Player, Scene, Take, synthesise
from strumclock.tuning import take_pitch

BAR_STRUMS = 6  # of D.DU.UDU


def sounding(name: str, capo: int) -> str:
    """The triad's name as it sounds: the seventh left out, the capo added."""
    root = name[:2] if name[1:2] == "#" else name[:1]
    kind = name[len(root) :]
    minor = "m" if kind.startswith("m") and not kind.startswith("maj") else ""
    return PITCH_CLASSES[(PITCH_CLASSES.index(root) + capo) % 12] + minor


def played(
    chords: str, guitar: Guitar, *, capo: int = 0, cents: float = 0.0, seed: int = 1, phone: bool = False
) -> Take:
    """Eight bars, a chord each, some strums added by chance."""
    exercise = Exercise(
        bpm=90, per_beat=2, pattern="D.DU.UDU", bars=8, chords=tuple(chords.split()), beats_per_change=4, count_in=1
    )
    scene = Scene(click_db=None, phone=phone, noise_db=-50)
    return synthesise(exercise, Player(), scene, seed, guitar=guitar, capo=capo, detune_cents=cents)


def names(take: Take, capo: int = 0) -> list[str]:
    """The triad under each slot, as it sounds."""
    chords = take.truth.exercise.chords
    assert chords is not None
    return [sounding(chords[slot // BAR_STRUMS % len(chords)], capo) for slot in take.truth.strum_slot]


@pytest.mark.parametrize(
    ("chords", "guitar", "capo", "cents", "phone"),
    [
        ("A D E D", STEEL, 0, -30.0, True),
        ("Am F C G", STEEL, 3, 18.0, False),
        ("Em Bm Dm Am", NYLON, 2, 0.0, False),
        ("F#m C#m Bm E", NYLON, 0, 40.0, True),
    ],
)
def test_triads_and_their_changes_are_heard_on_strings_of_steel_and_nylon(
    chords: str, guitar: Guitar, capo: int, cents: float, phone: bool
) -> None:
    """Truth: the synthesiser's chords, capo and tuning."""
    take = played(chords, guitar, capo=capo, cents=cents, phone=phone)
    pitch = take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s)
    assert not isinstance(pitch, str)
    found = hear_chords(take.samples, take.sample_rate_hz, take.truth.strum_s, tuning_cents=pitch.cents.value)
    truth = names(take, capo)
    assert np.mean([a == b for a, b in zip(found.chord, truth, strict=True)]) > 0.97
    changed = [False] + [a != b for a, b in zip(truth[1:], truth, strict=False)]
    assert found.changes.tolist() == changed
    assert found.confidence.mean() > 0.9


def test_sevenths_are_named_after_their_triads() -> None:
    """Truth: the synthesiser's chords; A7 is heard as A."""
    take = played("A7 D7 E7 B7", STEEL)
    found = hear_chords(take.samples, take.sample_rate_hz, take.truth.strum_s)
    assert np.mean([a == b for a, b in zip(found.chord, names(take), strict=True)]) > 0.9


def test_a_false_strum_doubles_no_change() -> None:
    """Truth: as many changes as were played, whatever times are given beside the strums."""
    take = played("A D E D", STEEL, seed=2)
    strum_s = take.truth.strum_s
    rng = np.random.default_rng(4)
    first = np.flatnonzero(np.append(False, np.array(names(take)[1:]) != np.array(names(take)[:-1])))
    false_s = np.concatenate([strum_s[first[:4]] + 0.09, strum_s[first[4:]] - 0.12, rng.choice(strum_s, 5) + 0.1])
    given = np.sort(np.concatenate([strum_s, false_s]))
    found = hear_chords(take.samples, take.sample_rate_hz, given)
    assert found.changes.sum() == len(first)
    heard_s = given[found.changes]
    assert np.max(np.abs(heard_s - strum_s[first])) < 0.13


def test_one_strum_of_open_strings_between_two_chords_is_no_chord_of_its_own() -> None:
    """Truth: the changing hand lets the last strum of some bars ring open, as beginners do; the chords stay."""
    take = played("G C", STEEL, seed=3)
    samples = np.array(take.samples)
    strum_s, rate_hz = take.truth.strum_s, take.sample_rate_hz
    other = played("Em Em", STEEL, seed=3).samples  # E G B: what open strings mostly are
    last = [i for i in range(len(strum_s)) if i % BAR_STRUMS == BAR_STRUMS - 1][1:4]
    for i in last:
        a, b = int((strum_s[i] - 0.005) * rate_hz), int((strum_s[i + 1] - 0.005) * rate_hz)
        samples[a:b] = other[a:b]
    found = hear_chords(samples, rate_hz, strum_s)
    truth = names(take)
    wrong = [i for i, (a, b) in enumerate(zip(found.chord, truth, strict=True)) if a != b]
    assert set(wrong) <= set(last)
    assert found.changes.sum() <= 7 + 1


def test_no_strums_no_chords() -> None:
    """Truth: nothing in, nothing out."""
    found = hear_chords(np.zeros(22050, np.float32), 22050, np.empty(0))
    assert found.chord == ()
    assert len(found.changes) == 0


@pytest.mark.slow
@pytest.mark.parametrize("bank", ["guitar_steel", "guitar_electric"])
def test_triads_are_heard_on_recorded_strings(bank: str) -> None:
    """Truth: chords mixed from recorded single notes of the bench's guitars, their pitch as the bank's index has it."""
    import soundfile

    folder = bench_dir() / "data" / bank
    with (folder / "index.csv").open() as f:
        notes = {float(row["f0_hz"]): folder / row["file"] for row in csv.DictReader(f)}
    shapes = {
        "A": (45, 52, 57, 61, 64),
        "D": (50, 57, 62, 66),
        "Em": (40, 47, 52, 55, 59, 64),
        "Am": (45, 52, 57, 60, 64),
    }
    order = ["A", "D", "Em", "Am"] * 3
    rate_hz = 44100
    out = np.zeros(int((len(order) * 2 + 2) * rate_hz))
    strum_s, truth = [], []
    for i, chord in enumerate(order):
        for repeat in range(2):
            start_s = 0.5 + 2 * i + repeat
            for k, midi in enumerate(shapes[chord]):
                wanted_hz = 440 * 2 ** ((midi - 69) / 12)
                f0 = min(notes, key=lambda hz, wanted_hz=wanted_hz: abs(np.log(hz / wanted_hz)))  # type: ignore[misc]
                x, file_hz = soundfile.read(notes[f0], always_2d=True)
                rate = wanted_hz / f0 * file_hz / rate_hz
                x = np.interp(np.arange(0, min(len(x), 3 * file_hz) - 1, rate), np.arange(len(x)), x.mean(axis=1))
                x = x[: int(0.98 * rate_hz)] / np.abs(x).max()
                a = int((start_s + 0.004 * k) * rate_hz)
                out[a : a + len(x)] += x
            strum_s.append(start_s)
            truth.append(chord)
    found = hear_chords(out.astype(np.float32), rate_hz, np.array(strum_s))
    assert np.mean([a == b for a, b in zip(found.chord, truth, strict=True)]) > 0.95
    assert found.changes.sum() == len(order) - 1


@pytest.mark.slow
def test_two_recordings_of_one_session_agree_on_their_chords() -> None:
    """Truth: a pickup's line and a phone in the room recorded the same strumming (KLANGIO-GST-MM-T, takes 0 to 2)."""
    folder = bench_dir() / "data" / "strumming_real"
    shared, heard = 0, 0
    for i in range(3):
        changes = []
        for channel in ("line", "phone"):
            found = measure(folder / f"take_{i}_{channel}.flac", changes=True, tuning=True, free=True)
            assert found.changes is not None
            assert found.tuning is not None
            changes.append([(c.time_s, c.to_chord) for c in found.changes.changes])
        line, phone = changes
        heard += max(len(line), len(phone))
        shared += sum(any(abs(t - s) < 0.3 and a == b for s, b in phone) for t, a in line)
    assert heard >= 20
    assert shared >= 0.9 * heard
