"""Two takes held against each other: the truth is how the synthesiser made them differ."""

from __future__ import annotations

import json

import strumclock as sc
from strumclock.pipeline import Measurement, compare, measure
from strumclock.synthesis import Player, Scene, synthesise

EXERCISE = sc.Exercise(bpm=96, meter="4/4", per_beat=1, bars=12, count_in=1)


def _take(seed: int, *, offset_ms: float = 0.0, bpm: float = 96) -> Measurement:
    exercise = sc.Exercise(bpm=bpm, meter="4/4", per_beat=1, bars=12, count_in=1)
    take = synthesise(exercise, Player(offset_ms=offset_ms), Scene(), seed=seed)
    return measure(
        sc.from_array(take.samples, take.sample_rate_hz),
        exercise,
        click_to_mic_m=0.3,
        guitar_to_mic_m=0.3,
        click_to_ear_m=0.5,
    )


def test_a_player_forty_milliseconds_ahead_leads() -> None:
    """B, made to play 40 ms earlier, leads by about that."""
    found = compare(_take(1, offset_ms=15), _take(2, offset_ms=-25))
    assert found.same_exercise
    assert found.leads == "B"
    assert found.apart_ms is not None
    assert found.apart_ms.low <= -40 <= found.apart_ms.high
    mean = next(d for d in found.differences if d.figure == "mean_offset_ms")
    assert mean.shown


def test_two_takes_of_one_player_are_not_told_apart() -> None:
    """Two takes made alike show no difference larger than its uncertainty."""
    found = compare(_take(3), _take(4))
    assert found.leads is None
    assert not any(d.shown for d in found.differences)


def test_a_take_against_itself_is_no_apart() -> None:
    """A take against itself: apart by zero, by definition."""
    m = _take(5)
    found = compare(m, m)
    assert all(d.b_minus_a.value == 0 for d in found.differences)


def test_two_tempos_are_said_and_not_averaged() -> None:
    """Takes at 96 and 80 bpm have no differences, and the reason names both tempos."""
    found = compare(_take(6), _take(7, bpm=80))
    assert not found.same_exercise
    assert found.differences == ()
    assert "96" in found.absent["differences"].reason
    assert "80" in found.absent["differences"].reason


def test_comparison_as_json_has_no_object_left_over() -> None:
    """The comparison's dictionary survives a JSON round trip (RFC 8259, no NaN)."""
    found = compare(_take(8), _take(9)).to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["schema"] == "strumclock.comparison/2"
