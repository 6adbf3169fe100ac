"""Strum times and grids that the caller brings: three lines from them to the figures, and nothing inferred."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from support import REFERENCE_AUDIO

import strumclock as sc
from strumclock.alignment import ADDED, OUTSIDE
from strumclock.errors import RecordingError, UsageError
from strumclock.report import load_schema
from strumclock.timing import PlacedStrums, measure_timing

LATE = sc.Exercise(
    name="changes", bpm=72, meter="4/4", per_beat=1, pattern="DDDD", chords="G C D C", beats_per_change=4
)
PLAYED = sc.Exercise(bpm=90, meter="4/4", per_beat=2, pattern="D.DU .UDU", chords=("A", "D"))


def test_three_lines_from_times_to_figures() -> None:
    """Against numpy on the same offsets: mean, and standard deviation about the regression line (n − 2)."""
    rng = np.random.default_rng(7)
    grid = sc.build_grid(PLAYED, bars=8).placed(2.0)
    offset_s = 0.012 + 0.008 * rng.standard_normal(len(grid))

    alignment = sc.align(grid.slot_s + offset_s, grid)
    timing = sc.measure_timing(alignment)

    assert alignment.slot.tolist() == list(range(len(grid)))
    assert timing.mean_offset_ms is not None
    assert timing.mean_offset_ms.value == pytest.approx(1e3 * offset_s.mean(), abs=1e-9)
    assert timing.mean_offset_ms.u == pytest.approx(0, abs=1e-12), "exact times against an exact grid"
    residual = offset_s - np.polyval(np.polyfit(grid.slot_s, offset_s, 1), grid.slot_s)
    assert timing.jitter_ms is not None
    assert timing.jitter_ms.value == pytest.approx(1e3 * math.sqrt(residual @ residual / (len(grid) - 2)), abs=1e-9)
    slope = np.polyfit(grid.slot_s / 60, 1e3 * offset_s, 1)[0]
    assert timing.drift_ms_per_min is not None
    assert timing.drift_ms_per_min.value == pytest.approx(slope, abs=1e-6)


def test_the_figures_are_those_of_strums_placed_by_hand() -> None:
    """Against `PlacedStrums.of`, told slot by slot: the same places, the same chord changes, the same answers."""
    rng = np.random.default_rng(3)
    grid = sc.build_grid(PLAYED, bars=8)
    times = grid.slot_s + 0.005 + 0.01 * rng.standard_normal(len(grid)) + 0.06 * grid.at_change
    kept = np.delete(np.arange(len(grid)), [4, 20])
    by_hand = PlacedStrums.of(
        times[kept], grid.slot_s[kept], slot=kept, bar=grid.bar[kept], beat=grid.beat[kept], part=grid.part[kept],
        at_change=grid.at_change[kept], chord=tuple(grid.chord[kept].tolist()), part_s=grid.part_s[kept],
        beat_s=grid.beat_s[kept], second_at=0.5,
    )  # fmt: skip
    alignment = sc.align(times[kept], grid)
    assert alignment.omitted.tolist() == [4, 20]
    one, other = sc.measure_timing(alignment), measure_timing(by_hand)
    assert [(f.kind, f.where, f.size, f.shown) for f in one.findings] == [
        (f.kind, f.where, f.size, f.shown) for f in other.findings
    ]
    assert one.by_beat == other.by_beat
    assert any(f.kind == "changes" and f.shown for f in one.findings)


def test_strums_between_and_outside_are_told_apart() -> None:
    """Built so: one strum between two places, one a second before the first, one a second after the last."""
    grid = sc.build_grid(sc.Exercise(bpm=60, meter="4/4"), bars=2).placed(5.0)
    times = np.sort(np.concatenate([grid.slot_s + 0.01, [3.9, 7.5, 13.2]]))
    alignment = sc.align(times, grid)
    assert alignment.slot[times == 7.5] == [ADDED]
    assert alignment.slot[(times == 3.9) | (times == 13.2)].tolist() == [OUTSIDE, OUTSIDE]
    assert len(alignment.omitted) == 0
    assert alignment.parts[0].n == len(grid)
    take = sc.measure_strums(times, grid)
    assert take.take.duration_s == 13.2, "to the last strum, which lies beyond the grid's end at 13 s"
    row = take.to_row()
    assert row.loc[0, ["n_strums", "n_in_slots", "n_added", "n_omitted"]].tolist() == [9, 8, 1, 0]


def test_every_slot_of_an_own_grid_counts() -> None:
    """The pattern was told by the grid: what is left out is omitted though it repeats, and nothing is inferred."""
    grid = sc.build_grid(sc.Exercise(bpm=80, meter="4/4"), bars=8)
    alignment = sc.align(grid.slot_s[np.arange(len(grid)) % 4 != 3], grid)
    assert alignment.omitted.tolist() == list(range(3, 32, 4))
    assert alignment.inferred == ()
    assert alignment.exercise == sc.Exercise(bpm=80, per_beat=1)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-50, 50), st.floats(-0.1, 0.1))
def test_a_shift_moves_the_mean_and_nothing_else(seed: int, shift_s: float, late_s: float) -> None:
    """Of times and grid together nothing changes; of the times alone the mean does, the jitter does not."""
    rng = np.random.default_rng(seed)
    grid = sc.build_grid(sc.Exercise(bpm=75, meter="3/4", per_beat=1), bars=6)
    times = grid.slot_s + 0.02 * rng.standard_normal(len(grid))
    first = sc.measure_timing(sc.align(times, grid))
    moved = sc.measure_timing(sc.align(times + shift_s, grid.placed(shift_s)))
    late = sc.measure_timing(sc.align(times + late_s, grid))
    assert first.mean_offset_ms is not None
    assert first.jitter_ms is not None
    for other, added_ms in ((moved, 0.0), (late, 1e3 * late_s)):
        assert other.mean_offset_ms is not None
        assert other.jitter_ms is not None
        assert other.mean_offset_ms.value - first.mean_offset_ms.value == pytest.approx(added_ms, abs=1e-6)
        assert other.jitter_ms.value == pytest.approx(first.jitter_ms.value, abs=1e-6)


def test_what_is_known_of_times_and_grid_reaches_the_figures() -> None:
    """GUM (JCGM 100:2008) 5.1.2: a shared u of the grid adds in squares to the mean's; the times' own is taken off the
    jitter in full, where it is their standard deviation."""
    rng = np.random.default_rng(11)
    grid = sc.build_grid(sc.Exercise(bpm=100, meter="4/4", per_beat=2), bars=40)
    times = grid.slot_s + 0.010 * rng.standard_normal(len(grid)) + 0.006 * rng.standard_normal(len(grid))
    told = sc.measure_timing(sc.align(sc.Strums.of(times, u_s=0.006), grid, first_downbeat_u_s=0.004))
    exact = sc.measure_timing(sc.align(times, grid))
    assert told.mean_offset_ms is not None
    assert told.jitter_ms is not None
    assert exact.jitter_ms is not None
    n = len(grid)
    assert told.mean_offset_ms.u == pytest.approx(math.hypot(4.0, 6.0 / math.sqrt(n)), abs=1e-3)
    assert told.jitter_ms.value == pytest.approx(math.sqrt(exact.jitter_ms.value**2 - 36.0), abs=0.02)
    assert told.jitter_ms.low < 10.0 < told.jitter_ms.high


def test_a_grid_on_beats_follows_them() -> None:
    """Arithmetic: beats that slow from 100 to 80 bpm, eighths in their middles, a bar counted in."""
    interval_s = 60 / np.linspace(100, 80, 16)
    beats = 1.5 + np.concatenate([[0.0], np.cumsum(interval_s)[:-1]])
    exercise = sc.Exercise(meter="4/4", per_beat=2, chords=("A", "D"), count_in=1)
    grid = sc.grid_from_beats(beats, exercise)
    assert grid.count_in_s == pytest.approx(beats[:4], abs=1e-12)
    assert grid.line_s == pytest.approx(beats[4:], abs=1e-12)
    middles = (beats[4:-1] + beats[5:]) / 2
    assert grid.slot_s[1:-2:2] == pytest.approx(middles, abs=1e-12)
    assert grid.chord[::8].tolist() == ["A", "D", "A"]
    assert sc.align(grid.slot_s, grid).exercise.bpm is None, "no one tempo"
    assert len(sc.grid_from_beats(beats, sc.Exercise(meter="4/4", bars=2)).line_s) == 8


def test_a_grid_on_steady_beats_is_the_grid_of_the_tempo() -> None:
    """Against `build_grid`: swing, pattern and count-in too."""
    exercise = sc.Exercise(bpm=96, meter="3/4", per_beat=2, pattern="D.DU.U", swing=0.6, count_in=1)
    built = sc.build_grid(exercise, bars=5)
    grid = sc.grid_from_beats(built.click_s, exercise)
    assert grid.slot_s == pytest.approx(built.slot_s, abs=1e-9)
    assert "".join(grid.stroke) == "".join(built.stroke)
    assert sc.align(built.slot_s, built).exercise == sc.Exercise(bpm=96, per_beat=2, swing=0.6)


def test_bad_times_and_grids_are_one_clear_line() -> None:
    """What was required, what came: times out of order, none at all, a negative u, options of another way to align."""
    grid = sc.build_grid(sc.Exercise(bpm=60, meter="4/4"), bars=2)
    with pytest.raises(UsageError, match="increasing seconds"):
        sc.align([1.0, 0.5], grid)
    with pytest.raises(UsageError, match="increasing seconds"):
        sc.align([1.0, float("nan")], grid)
    with pytest.raises(RecordingError, match="at least one strum"):
        sc.align([], grid)
    with pytest.raises(UsageError, match="none below 0"):
        sc.Strums.of([1.0, 2.0], u_s=-0.1)
    with pytest.raises(UsageError, match="first_downbeat_s came too"):
        sc.align([1.0, 2.0], grid, first_downbeat_s=1.0)
    with pytest.raises(UsageError, match="first_downbeat_u_s"):
        sc.align([1.0, 2.0], grid, first_downbeat_u_s=-1.0)
    with pytest.raises(UsageError, match="beat times must be"):
        sc.grid_from_beats([1.0, 1.0])
    with pytest.raises(UsageError, match="after the count-in"):
        sc.grid_from_beats([1.0, 2.0, 3.0, 4.0], sc.Exercise(meter="4/4", count_in=1))


def test_an_alignment_of_a_recording_is_timed_too() -> None:
    """The wiring: what `align` gives for an exercise goes into `measure_timing` as it is, its clock's doubt with it."""
    grid = sc.build_grid(PLAYED, bars=8)
    rng = np.random.default_rng(5)
    times = 2.0 + grid.slot_s + 0.004 * rng.standard_normal(len(grid))
    alignment = sc.align(times, PLAYED, first_downbeat_s=2.0, first_downbeat_u_s=0.003)
    timing = sc.measure_timing(alignment)
    assert timing.n == int((alignment.slot >= 0).sum())
    assert timing.mean_offset_ms is not None
    assert timing.mean_offset_ms.u >= 3.0
    assert timing.drift_ms_per_min is not None
    assert timing.drift_ms_per_min.u >= 6.0 / math.sqrt(3) - 0.01, "±100 ppm of an unknown clock, rectangular"
    fitted = sc.measure_timing(sc.align(times, PLAYED))
    assert fitted.mean_offset_ms is None
    assert fitted.absent["timing.mean_offset_ms"].code == "no-click"


def test_a_recordings_own_strums_measured_again_say_the_same() -> None:
    """Against `measure` on the recording: its strum times on its own grid have the same places, offsets and verdict."""
    heard = sc.measure(REFERENCE_AUDIO / "late_changes.flac", LATE)
    assert heard.grid is not None
    assert heard.grid.bpm_heard is not None
    assert heard.timing is not None
    grid = sc.build_grid(LATE, bars=8).placed(heard.grid.first_downbeat_s, 72 / heard.grid.bpm_heard.value)
    strums = sc.Strums.of([s.time_s for s in heard.strums], u_s=[s.u_ms / 1e3 for s in heard.strums])
    again = sc.measure_strums(strums, grid, exercise=LATE)
    assert again.timing is not None
    places = [(s.slot, s.bar, s.beat, s.at_change, s.of) for s in heard.strums]
    assert [(s.slot, s.bar, s.beat, s.at_change, s.of) for s in again.strums] == places
    offsets = [s.offset_ms for s in heard.strums]
    assert [s.offset_ms for s in again.strums] == pytest.approx(offsets, abs=0.01)
    assert again.timing.drift_ms_per_min is not None
    assert heard.timing.drift_ms_per_min is not None
    assert again.timing.drift_ms_per_min.value == pytest.approx(heard.timing.drift_ms_per_min.value, abs=0.05)
    assert again.verdict is not None
    assert heard.verdict is not None
    assert again.verdict.task == replace(heard.verdict.task, where=again.verdict.task.where)
    assert [o.kind for o in again.verdict.obstacles] == [o.kind for o in heard.verdict.obstacles] == ["changes"]
    assert again.held is not None
    assert heard.held is not None
    assert again.held.next_bpm == heard.held.next_bpm
    assert again.changes is not None, "told chords need no sound"
    assert again.timing.within_tolerance is not None
    assert heard.timing.within_tolerance is not None
    asked_ms = heard.timing.within_tolerance.tolerance_ms
    assert again.timing.within_tolerance.tolerance_ms == pytest.approx(asked_ms, abs=1e-6)
    assert [(part.kind, part.n, part.measured) for part in again.parts] == [("played", 32, True)]


def test_a_take_without_a_recording_is_shown_and_written_like_any_other() -> None:
    """Its JSON obeys the schema, a pair of chords among the findings; what needs sound is absent, and said to be."""
    import jsonschema

    rng = np.random.default_rng(9)
    grid = sc.build_grid(LATE, bars=24).placed(3.0)
    into_c = grid.at_change & (grid.chord == "C")
    times = grid.slot_s + 0.008 * rng.standard_normal(len(grid)) + 0.11 * into_c
    take = sc.measure_strums(sc.Strums.of(times, u_s=0.002), grid, exercise=LATE, grid_u_s=0.003, standard="tight")
    document = sc.to_dict(take)
    jsonschema.validate(document, load_schema())
    found = [f for f in document["timing"]["findings"] if f["kind"] == "pair" and f["shown"]]
    assert found
    assert found[0]["where"][1] == "C"
    assert document["take"] == {
        "path": None,
        "sha256": None,
        "duration_s": 83.0,
        "sample_rate_hz": None,
        "channels": None,
    }
    assert {path for path, why in take.absent.items() if why.code == "no-sound"} == {
        "tuning", "stroke", "timing.body_offset_ms", "grid.bpm_heard", "grid.clock_skew_ppm",
    }  # fmt: skip
    assert dict(take.settings) == {"standard": "tight"}
    mean = take.timing.mean_offset_ms if take.timing else None
    assert mean is not None
    assert mean.u == pytest.approx(math.hypot(3.0, 2.0 / math.sqrt(len(grid))), abs=1e-3), "no microphone, no distances"
    assert repr(take).startswith("<Measurement strum times: 96 strums in 83.0 s; grid: given, 72 bpm")
    assert "into C" in sc.summary(take)
    assert "given without a recording" in sc.methods(take)
    assert "Distances" not in sc.methods(take)
    assert (take._repr_html_() or "").count("<img") == 1
    assert len(take.to_frame()) == 96
    assert take.to_row().n_omitted[0] == 0


def test_what_the_grid_says_wins_over_what_was_told() -> None:
    """Tempo and parts are the grid's; name, meter and pattern are the caller's."""
    grid = sc.build_grid(sc.Exercise(bpm=90, meter="4/4", per_beat=2), bars=8)
    take = sc.measure_strums(
        grid.slot_s, grid, exercise=sc.Exercise(name="eighths", bpm=60, meter="4/4", pattern="DUDUDUDU")
    )
    assert take.exercise == sc.Exercise(name="eighths", bpm=90, meter="4/4", per_beat=2, pattern="DUDUDUDU")
    assert sc.measure_strums(grid.slot_s, grid).exercise == sc.Exercise(bpm=90, per_beat=2)
