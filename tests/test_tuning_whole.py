"""The whole guitar's pitch from a strummed take."""

from __future__ import annotations

import numpy as np
import pytest

from strumclock.audio import from_array
from strumclock.errors import Absent
from strumclock.grid import Exercise
from strumclock.pipeline import measure
from strumclock.synthesis import NYLON, STEEL, Guitar, Player, Scene, Take, synthesise
from strumclock.tuning import Tuning, take_pitch


def played(
    cents: float | tuple[float, ...], *, guitar: Guitar = STEEL, phone: bool = False, bars: int = 5, capo: int = 0
) -> Take:
    exercise = Exercise(bpm=80, bars=bars, chords=("A", "D", "E", "G"), beats_per_change=4)
    scene = Scene(click_db=None, phone=phone, reverberation_s=0.3 if phone else 0.0)
    return synthesise(exercise, Player(), scene, 3, guitar=guitar, detune_cents=cents, capo=capo)


@pytest.mark.parametrize(
    ("cents", "guitar", "phone"),
    [(0.0, STEEL, False), (-22.0, STEEL, True), (9.0, NYLON, False), (-47.0, NYLON, True), (44.0, STEEL, False)],
)
def test_detuned_takes_are_told_within_two_cents(cents: float, guitar: Guitar, phone: bool) -> None:
    """Truth: the synthesiser's detuning."""
    take = played(cents, guitar=guitar, phone=phone)
    found = take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s)
    assert isinstance(found, Tuning)
    assert abs(found.cents.value - cents) < 2
    assert found.cents.low - 1 < cents < found.cents.high + 1


def test_a_capo_moves_nothing() -> None:
    """Truth: whole semitones are no deviation from equal temperament."""
    take = played(-22.0, capo=3)
    found = take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s)
    assert isinstance(found, Tuning)
    assert abs(found.cents.value + 22) < 2


def test_another_reference_moves_the_figure_by_its_own_cents() -> None:
    """Truth: 442 against 440 Hz is 7.8514 cents (FACTS D)."""
    take = played(0.0)
    at_440, at_442 = (
        take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s, a4_hz=hz) for hz in (440.0, 442.0)
    )
    assert isinstance(at_440, Tuning)
    assert isinstance(at_442, Tuning)
    assert at_440.cents.value - at_442.cents.value == pytest.approx(7.8514, abs=0.01)


@pytest.mark.parametrize("cents", [-30.0, 25.0])
def test_pitch_agrees_with_librosas_estimate(cents: float) -> None:
    """Truth: librosa.estimate_tuning on the same samples, whose own resolution is a cent and which scatters by two."""
    librosa = pytest.importorskip("librosa")
    take = played(cents)
    found = take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s)
    assert isinstance(found, Tuning)
    outside = 100 * float(librosa.estimate_tuning(y=take.samples, sr=take.sample_rate_hz, n_fft=8192))
    assert abs(found.cents.value - outside) < 4


def test_strings_far_from_each_other_cannot_be_told() -> None:
    """Truth: six strings spread over more than a semitone have no common pitch: the reason comes instead."""
    take = played((-50.0, 30.0, -20.0, 50.0, 0.0, -35.0), bars=3)
    found = take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s)
    if isinstance(found, Tuning):
        assert found.cents.high - found.cents.low > 8
    else:
        assert "scatter" in found.reason


@pytest.mark.parametrize("n", [0, 3])
def test_few_strums_have_no_pitch(n: int) -> None:
    """Truth: fewer than four strums."""
    take = played(0.0, bars=2)
    found = take_pitch(take.samples, take.sample_rate_hz, take.truth.strum_s[:n])
    assert isinstance(found, Absent)
    assert "4 strums" in found.reason


def test_the_pipeline_tells_pitch_only_when_asked() -> None:
    """Truth: the option; the reason stands in absent otherwise."""
    take = played(-22.0)
    recording = from_array(take.samples, take.sample_rate_hz)
    asked, unasked = (measure(recording, tuning=tuning, free=True) for tuning in (True, False))
    assert asked.tuning is not None
    assert abs(asked.tuning.cents.value + 22) < 2
    assert unasked.tuning is None
    assert unasked.absent["tuning"].code == "not-asked"
    assert np.isfinite(asked.tuning.cents.u)
