"""One synthetic string: its pitch against equal temperament, its attack against the definition of a strum's time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, lfilter

from strumclock.errors import UsageError
from strumclock.grid import Exercise
from strumclock.synthesis import NYLON, SHAPES, STEEL, Guitar, Player, Scene, note, shape, sounding, synthesise
from strumclock.synthesis.strings import HARDNESS, LEAD, RATE_HZ

# Open strings in equal temperament at A4 = 440 Hz (ISO 16:1975; arithmetic, to four decimals).
OPEN_HZ = (82.4069, 110.0, 146.8324, 195.9977, 246.9417, 329.6276)
OPEN_MIDI = (40, 45, 50, 55, 59, 64)
PITCH_TOLERANCE_CENTS = 1.0
ATTACK_TOLERANCE_MS = 0.1


def fundamental_hz(x: np.ndarray, near_hz: float) -> float:
    """The peak of a windowed, zero-padded spectrum within a semitone of a frequency, by a parabola through its log."""
    x = x[LEAD + 4410 :][: 2 * RATE_HZ].astype(float)
    size = 1 << 19
    level = np.log(np.abs(np.fft.rfft(x * np.hanning(len(x)), size)) + 1e-30)
    width = near_hz * 0.06 / RATE_HZ * size
    low = int(near_hz * size / RATE_HZ - width)
    i = low + int(np.argmax(level[low : low + int(2 * width)]))
    a, b, c = level[i - 1 : i + 2]
    return float((i + 0.5 * (a - c) / (a - 2 * b + c)) * RATE_HZ / size)


def attack_s(x: np.ndarray, around: int, share: float = 0.2) -> float:
    """The definition, written anew: first sample above a share of the peak within 30 ms, above 1.5 kHz."""
    b, a = butter(2, 1500, "high", fs=RATE_HZ)
    level = np.abs(lfilter(b, a, x[: around + 2646].astype(float)))
    first = around - 1323
    return (first + int(np.argmax(level[first:] > share * level[around - 44 : around + 1323].max()))) / RATE_HZ


@pytest.mark.parametrize("guitar", [STEEL, NYLON], ids=lambda g: g.name)
@pytest.mark.parametrize(("string", "hz"), list(enumerate(OPEN_HZ)))
def test_open_strings_stand_in_equal_temperament_against_iso_16(guitar: Guitar, string: int, hz: float) -> None:
    """An open string's fundamental lies within a cent of its frequency in equal temperament (ISO 16)."""
    found = fundamental_hz(note(guitar, string, OPEN_MIDI[string], 0.6), hz)
    assert abs(1200 * np.log2(found / hz)) < PITCH_TOLERANCE_CENTS


@pytest.mark.parametrize(("string", "fret"), [(0, 3), (2, 2), (4, 3), (5, 7)])
def test_a_fret_raises_by_the_twelfth_root_of_two_against_arithmetic(string: int, fret: int) -> None:
    """Each fret is a factor of 2^(1/12) (equal temperament), each cent of detuning one of 2^(1/1200)."""
    wanted = OPEN_HZ[string] * 1.0594630943592953**fret * 2 ** (-22 / 1200)
    found = fundamental_hz(note(STEEL, string, OPEN_MIDI[string] + fret - 0.22, 1.0), wanted)
    assert abs(1200 * np.log2(found / wanted)) < PITCH_TOLERANCE_CENTS


def test_pitch_against_librosa() -> None:
    """librosa.yin hears the middle strings within 6 cents; stiff partials sharpen what it hears."""
    import librosa

    for string in (1, 2, 3, 4):
        x = note(STEEL, string, OPEN_MIDI[string], 0.6)[LEAD + 4410 :][:RATE_HZ]
        heard = librosa.yin(x, fmin=70, fmax=700, sr=RATE_HZ, frame_length=8192)
        assert abs(1200 * np.log2(np.median(heard) / OPEN_HZ[string])) < 6


@pytest.mark.parametrize("guitar", [STEEL, NYLON], ids=lambda g: g.name)
def test_every_note_attacks_at_its_lead_against_the_definition(guitar: Guitar) -> None:
    """Open and stopped, soft and hard, ringing and muted: the rule finds sample LEAD within 0.1 ms."""
    for string, midi in enumerate(OPEN_MIDI):
        for fret in (0, 3, 9):
            for hardness in HARDNESS:
                for muted in (False, True):
                    x = note(guitar, string, midi + fret, hardness, muted)
                    error_ms = 1000 * (attack_s(x, LEAD) - LEAD / RATE_HZ)
                    assert abs(error_ms) < ATTACK_TOLERANCE_MS, (string, fret, hardness, muted)


def test_the_attack_hardly_depends_on_the_threshold_against_recorded_notes() -> None:
    """Thresholds from a tenth to three tenths agree within 0.6 ms, as they do on recorded single notes."""
    for string, midi in enumerate(OPEN_MIDI):
        x = note(STEEL, string, midi, 0.6)
        assert attack_s(x, LEAD, 0.3) - attack_s(x, LEAD, 0.1) < 0.6e-3


@pytest.mark.parametrize("chord", ["0xxxxx", "x2xxxx", "xx3xxx", "xxx0xx", "xxxx1x", "xxxxx0"])
def test_a_strum_on_one_string_attacks_at_its_stated_time_against_the_definition(chord: str) -> None:
    """In a finished take, touch of the pick included, each isolated string's attack is its truth within 0.1 ms."""
    exercise = Exercise(bpm=40, bars=1, meter="4/4", count_in=0, chords=(chord,))
    for guitar in (STEEL, NYLON):
        take = synthesise(exercise, Player(), Scene(click_db=None, noise_db=None), 5, guitar=guitar)
        first = take.truth.strum_s[0]  # the only one with silence before it
        assert abs(attack_s(take.samples, round(first * RATE_HZ)) - first) * 1000 < ATTACK_TOLERANCE_MS


def test_treble_dies_before_bass_against_theory() -> None:
    """Inner friction and air take the high partials first: above 3 kHz the level falls faster than below 1 kHz."""
    x = note(STEEL, 1, 45, 0.6).astype(float)
    f = np.fft.rfftfreq(8192, 1 / RATE_HZ)

    def level_db(at: int, low: float, high: float) -> float:
        spectrum = np.abs(np.fft.rfft(x[at : at + 8192] * np.hanning(8192))) ** 2
        return float(10 * np.log10(spectrum[(f > low) & (f < high)].sum()))

    early, late = LEAD + 2205, LEAD + RATE_HZ
    fall = [level_db(early, *band) - level_db(late, *band) for band in ((60, 1000), (3000, 6000))]
    assert 3 < fall[0] < fall[1] - 15


def test_shapes_are_the_chords_they_are_called_against_music_theory() -> None:
    """Each named shape holds the tones of its name (major: 4 and 7 semitones above the root; minor: 3 and 7)."""
    steps = {"": {0, 4, 7}, "m": {0, 3, 7}, "7": {0, 4, 7, 10}, "m7": {0, 3, 7, 10}, "maj7": {0, 4, 7, 11}}
    steps |= {"sus2": {0, 2, 7}, "sus4": {0, 5, 7}, "add9": {0, 2, 4, 7}, "5": {0, 7}}
    roots = {"C": 0, "C#": 1, "D": 2, "E": 4, "F": 5, "F#": 6, "G": 7, "A": 9, "B": 11}
    for name in SHAPES:
        root = name[:2] if name[1:2] == "#" else name[:1]
        tones = {(midi - roots[root]) % 12 for _, midi in sounding(name)}
        wanted = steps[name[len(root) :]]
        assert tones <= wanted, name
        assert wanted - tones <= {7}, name  # an open shape may do without the fifth


def test_a_capo_raises_every_string_against_arithmetic() -> None:
    """A capo at fret 3 raises every sounding string by 3."""
    assert [m - 3 for _, m in sounding("G", capo=3)] == [m for _, m in sounding("G")]


@pytest.mark.parametrize("name", ["H", "x0222", "xxxxxx", ""])
def test_an_unknown_chord_is_one_clear_line(name: str) -> None:
    """What cannot be fretted is a UsageError that names it, on one line."""
    with pytest.raises(UsageError, match="chord to be synthesised") as caught:
        shape(name)
    assert repr(name) in str(caught.value)
    assert "\n" not in str(caught.value)
