"""What changes cost, against closed forms and construction."""

from __future__ import annotations

import math

import numpy as np
import pytest

from strumclock.audio import from_array
from strumclock.chords import Changes, measure_changes
from strumclock.errors import Absent
from strumclock.grid import Exercise
from strumclock.pipeline import measure
from strumclock.synthesis import Player, Scene, synthesise

CHORDS = ("A", "D", "E", "D")


def on_grid(
    late_ms: dict[tuple[str, str], float], *, seed: int = 1, bars: int = 16, sd_ms: float = 12.0
) -> tuple[Changes | str, np.ndarray]:
    """Quarters, a chord a bar; each change late by its pair's amount."""
    rng = np.random.default_rng(seed)
    n = 4 * bars
    chord = [CHORDS[i // 4 % 4] for i in range(n)]
    at_change = np.array([i > 0 and i % 4 == 0 for i in range(n)])
    deviation = sd_ms * rng.standard_normal(n)
    for i in np.flatnonzero(at_change):
        deviation[i] += late_ms.get((chord[i - 1], chord[i]), 0.0)
    line = 0.75 * np.arange(n)
    found = measure_changes(
        line + deviation / 1000,
        at_change,
        u_s=np.full(n, 0.001),
        chord=chord,
        deviation_ms=deviation,
        line_s=line,
        omitted_s=np.array([line[8] + 0.1]),
        beat_s=0.75,
    )
    return found, deviation


def test_rate_of_changes_against_arithmetic() -> None:
    """Truth: a change every 4 s is 15 a minute, and a click of 60 asks for it with one change in four beats."""
    time_s = np.arange(0.0, 40.0, 1.0)
    found = measure_changes(time_s, time_s % 4 == 0, u_s=np.full(40, 0.003))
    assert not isinstance(found, Absent)
    assert found.seconds_per_change is not None
    assert found.changes_per_minute is not None
    assert found.seconds_per_change.value == pytest.approx(4)
    assert found.changes_per_minute.value == pytest.approx(15)
    assert found.click_bpm_one_bar == pytest.approx(60)
    # Nine changes: all times but the first and the last cancel in the mean of eight intervals.
    assert found.seconds_per_change.u == pytest.approx(0.003 * math.sqrt(2) / 8)
    assert found.changes_per_minute.u == pytest.approx(15 / 4 * 0.003 * math.sqrt(2) / 8, rel=1e-6)


def test_a_change_whose_first_strum_was_left_out_slows_no_rate() -> None:
    """Truth: a change asked for every 4 s is 15 a minute, whether the first strum of each new chord came or not."""
    line = np.delete(np.arange(0.0, 80.0, 1.0), [12, 28, 32, 60])
    found = measure_changes(line, line % 4 == 0, number=(line // 4).astype(int))
    assert not isinstance(found, Absent)
    assert found.changes_per_minute is not None
    assert found.changes_per_minute.value == pytest.approx(15)
    assert found.seconds_per_change is not None
    assert found.seconds_per_change.value == pytest.approx(4)


def test_interval_of_the_free_rate_holds_the_truth_as_often_as_stated() -> None:
    """Truth: gamma-distributed times of mean 3 s; 95 % intervals from 3 to 11 of them hold it in 88 of 100 and more."""
    rng = np.random.default_rng(5)
    for n in (4, 8, 12):
        held = 0
        for _ in range(400):
            time_s = np.concatenate([[0.0], 1.0 + np.cumsum(rng.gamma(8.0, 3.0 / 8.0, n))])
            found = measure_changes(time_s, np.arange(n + 1) > 0)
            assert not isinstance(found, Absent)
            assert found.seconds_per_change is not None
            held += found.seconds_per_change.low <= 3.0 <= found.seconds_per_change.high
        assert held >= 0.88 * 400


def test_three_changes_have_no_rate_and_say_why() -> None:
    """Truth: two intervals between three changes are fewer than the three asked for."""
    time_s = np.arange(0.0, 8.0)
    found = measure_changes(time_s, np.isin(time_s, [2, 4, 6]))
    assert not isinstance(found, Absent)
    assert found.changes_per_minute is None
    assert found.click_bpm_one_bar is None
    assert "4 chord changes" in found.absent["changes.changes_per_minute"].reason
    assert "has 3" in found.absent["changes.changes_per_minute"].reason


def test_no_change_gives_the_reason() -> None:
    """Truth: nothing changes."""
    found = measure_changes(np.arange(5.0), np.zeros(5, bool), source="heard")
    assert found == Absent(code="no-changes", reason="no chord change was heard")


def test_lateness_and_pauses_against_construction() -> None:
    """Truth: every change 90 ms late, scatter 12 ms: the pause before is 90 ms longer than the grid asks."""
    found, _ = on_grid({("A", "D"): 90.0, ("D", "E"): 90.0, ("E", "D"): 90.0, ("D", "A"): 90.0})
    assert not isinstance(found, Absent)
    assert found.lateness_ms is not None
    assert abs(found.lateness_ms.value - 90) < 8
    assert found.lateness_ms.low < 90 < found.lateness_ms.high
    assert abs(np.mean([c.pause_ms for c in found.changes]) - 90) < 12
    assert [c.lost for c in found.changes][:4] == [0, 1, 0, 0]
    # All pairs cost the same: none is named as the costliest.
    assert found.costliest is None


def test_the_costliest_pair_is_named_only_beyond_chance() -> None:
    """Truth: E to D comes 70 ms late, the others on time; with no pair late none is named in 40 takes but by chance."""
    found, _ = on_grid({("E", "D"): 70.0})
    assert not isinstance(found, Absent)
    assert found.costliest is not None
    assert (found.costliest.from_chord, found.costliest.to_chord, found.costliest.n) == ("E", "D", 4)
    assert abs(found.costliest.late_ms.value - 70) < 15
    assert found.costliest.late_ms.excludes(0)
    named = 0
    for seed in range(40):
        even, _ = on_grid({}, seed=seed)
        named += not isinstance(even, Absent) and even.costliest is not None
    assert named <= 4


@pytest.mark.slow
def test_late_changes_through_the_whole_pipeline_told_and_heard() -> None:
    """Truth: the synthesiser's player is 90 ms (± a quarter) late into each new chord, told chords or heard ones."""
    exercise = Exercise(bpm=70, meter="4/4", count_in=1, bars=12, chords=CHORDS, beats_per_change=4)
    take = synthesise(exercise, Player(offset_ms=0, change_late_ms=90), Scene(click_db=-8), 3)
    recording = from_array(take.samples, take.sample_rate_hz)
    own = take.truth.offset_ms
    late = take.truth.at_change[take.truth.strum_slot]
    truth_ms = own[late].mean() - own[~late].mean()
    for found in (measure(recording, exercise), measure(recording, Exercise(bpm=70, meter="4/4"), changes=True)):
        assert found.changes is not None
        assert found.changes.lateness_ms is not None
        assert len(found.changes.changes) == 11
        assert abs(found.changes.lateness_ms.value - truth_ms) < 6
        assert found.changes.lateness_ms.excludes(0)
        assert found.changes.changes_per_minute is not None
        assert abs(found.changes.changes_per_minute.value - 70 / 4) < 0.3
    told = measure(recording, exercise).changes
    assert told is not None
    assert told.source == "told"
    assert [(c.from_chord, c.to_chord) for c in told.changes[:3]] == [("A", "D"), ("D", "E"), ("E", "D")]


def test_free_changes_of_a_short_take_have_a_rate() -> None:
    """Truth: the synthesiser's changes, one every 2 s for 14 s, no click: 30 a minute; the click that equals it."""
    exercise = Exercise(bpm=120, bars=7, chords=("Em", "C"), beats_per_change=4, count_in=0)
    take = synthesise(exercise, Player(), Scene(click_db=None), 5)
    found = measure(from_array(take.samples, take.sample_rate_hz), changes=True, free=True).changes
    assert found is not None
    assert found.source == "heard"
    assert found.changes_per_minute is not None
    assert found.changes_per_minute.low < 30 < found.changes_per_minute.high
    assert abs(found.changes_per_minute.value - 30) < 1
    assert found.click_bpm_one_bar == pytest.approx(4 * found.changes_per_minute.value)
    assert found.lateness_ms is None
    assert {c.from_chord for c in found.changes} == {"Em", "C"}
