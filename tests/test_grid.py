"""Where each strum belongs: meters, parts, swing, patterns, chords."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, strategies as st

from strumclock.errors import UsageError
from strumclock.grid import BeatGrid, Exercise, Meter, build_grid, parse_meter, part_places, parts_of_pattern

ROUNDING_S = 1e-10  # float64 seconds over an hour

METERS = [
    # meter, beats, quarters a beat, dotted: elementary music theory (common practice)
    ("4/4", 4, 1.0, False),
    ("3/4", 3, 1.0, False),
    ("2/4", 2, 1.0, False),
    ("5/4", 5, 1.0, False),
    ("2/2", 2, 2.0, False),
    ("6/8", 2, 1.5, True),
    ("9/8", 3, 1.5, True),
    ("12/8", 4, 1.5, True),
    ("3/8", 3, 0.5, False),
    ("5/8", 5, 0.5, False),
    ("7/8", 7, 0.5, False),
    ("4/16", 4, 0.25, False),
]

exercises = st.builds(
    Exercise,
    bpm=st.floats(20, 400),
    meter=st.sampled_from([m[0] for m in METERS]),
    per_beat=st.sampled_from([2, 4]),
    swing=st.one_of(st.none(), st.floats(0.5, 0.8)),
    pattern=st.one_of(st.none(), st.sampled_from(["D.DU", "D.DUxU.U", "...U", ".DUx.U.."])),
    count_in=st.integers(0, 3),
    chords=st.one_of(st.none(), st.just(("A", "D")), st.just(("A", "A", "E"))),
    beats_per_change=st.one_of(st.none(), st.integers(1, 9)),
)


@pytest.mark.parametrize(("text", "beats", "quarters", "dotted"), METERS)
def test_the_beat_of_each_meter(text: str, beats: int, quarters: float, dotted: bool) -> None:
    """Against the table of common practice above; x/8 in threes counts dotted quarters."""
    meter = parse_meter(text)
    assert (meter.beats_per_bar, meter.beat_quarters, meter.beat_is_dotted) == (beats, quarters, dotted)
    assert str(meter) == text
    assert meter.beats_per_bar * meter.beat_quarters == 4 * meter.upper / meter.lower
    exercise = Exercise(meter=f" {text} ")
    assert (exercise.meter, exercise.beats_per_bar, exercise.beat_is_dotted) == (text, beats, dotted)


@pytest.mark.parametrize(
    "text", ["4", "4/", "/4", "4/3", "0/4", "4/0", "33/4", "-3/4", "3.5/4", "4/4/4", "", "waltz", None, 4, "٤/٤"]
)
def test_meters_that_make_no_sense_are_wrong_usage(text: object) -> None:
    """By construction."""
    with pytest.raises(UsageError, match="meter"):
        parse_meter(text)  # type: ignore[arg-type]


@given(bpm=st.floats(20, 400), bars=st.integers(1, 300))
def test_no_rounding_grows(bpm: float, bars: int) -> None:
    """Against exact fractions: the last line of a long grid is as exact as the first."""
    grid = build_grid(Exercise(bpm=bpm, meter="4/4"), bars=bars)
    exact = Fraction(60) / Fraction(bpm) * (4 * bars - 1)
    assert abs(Fraction(grid.line_s[-1]) - exact) <= exact * Fraction(2.0**-51)


@given(exercise=exercises, bars=st.integers(1, 12))
def test_slots_increase_within_their_beats(exercise: Exercise, bars: int) -> None:
    """By the definition of a slot: after its beat's line, before the next one, numbered from 1."""
    grid = build_grid(exercise, bars=bars)
    assert (np.diff(grid.slot_s) > 0).all()
    edges = np.append(grid.line_s, grid.end_s)
    index = np.searchsorted(grid.line_s, grid.slot_s + ROUNDING_S, side="right") - 1
    assert np.array_equal(grid.line_bar[index], grid.bar)
    assert np.array_equal(grid.line_beat[index], grid.beat)
    assert (grid.slot_s < edges[index + 1]).all()
    assert grid.bar.min(initial=1) >= 1
    assert grid.bar.max(initial=1) <= bars
    assert set(grid.beat.tolist()) <= set(range(1, grid.beats_per_bar + 1))
    assert set(grid.part.tolist()) <= set(range(1, grid.per_beat + 1))
    assert len(grid.line_s) == bars * grid.beats_per_bar
    np.testing.assert_allclose(grid.beat_s, 60 / exercise.bpm, rtol=0, atol=ROUNDING_S)
    np.testing.assert_allclose(grid.part_s * grid.per_beat, grid.beat_s, rtol=0, atol=ROUNDING_S)


@given(exercise=exercises, at_s=st.floats(-100, 1800), rate=st.floats(0.9, 1.1))
def test_placing_shifts_and_stretches_every_time(exercise: Exercise, at_s: float, rate: float) -> None:
    """By definition: t becomes first_downbeat + t · rate; lengths are stretched, nothing else changes."""
    grid = build_grid(exercise, bars=3)
    placed = grid.placed(at_s, rate)
    for name in ("slot_s", "line_s", "count_in_s"):
        expected = at_s + getattr(grid, name) * rate
        np.testing.assert_allclose(getattr(placed, name), expected, rtol=0, atol=1e-9)
    assert placed.end_s == pytest.approx(at_s + grid.end_s * rate, abs=1e-9)
    for name in ("beat_s", "part_s"):
        np.testing.assert_allclose(getattr(placed, name), getattr(grid, name) * rate, rtol=0, atol=1e-12)
    for name in ("bar", "beat", "part", "stroke", "at_change", "chord", "line_bar", "line_beat"):
        assert np.array_equal(getattr(placed, name), getattr(grid, name))


@given(exercise=exercises)
def test_the_count_in_ends_where_the_first_bar_begins(exercise: Exercise) -> None:
    """By definition: whole bars of beats before 0, one beat apart."""
    grid = build_grid(exercise, bars=1)
    assert len(grid.count_in_s) == exercise.count_in * grid.beats_per_bar
    beat = 60 / exercise.bpm
    np.testing.assert_allclose(grid.count_in_s, -beat * np.arange(len(grid.count_in_s), 0, -1), rtol=0, atol=ROUNDING_S)
    assert np.array_equal(grid.click_s, np.concatenate([grid.count_in_s, grid.line_s]))


def test_the_patterns_of_the_design() -> None:
    """DESIGN's own examples: `D.DU` at 2 a beat is "1 2 &"; `D..` in 6/8 is the two beats; eight letters are a bar."""
    grid = build_grid(Exercise(bpm=60, meter="4/4", per_beat=2, pattern="D.DU"), bars=1)
    assert grid.slot_s.tolist() == [0, 1, 1.5, 2, 3, 3.5]
    assert list(zip(grid.beat.tolist(), grid.part.tolist(), grid.stroke.tolist(), strict=True))[:3] == [
        (1, 1, "D"), (2, 1, "D"), (2, 2, "U")]  # fmt: skip
    grid = build_grid(Exercise(bpm=60, meter="6/8", per_beat=3, pattern="D.."), bars=2)
    assert grid.slot_s.tolist() == [0, 1, 2, 3]
    assert grid.bar.tolist() == [1, 1, 2, 2]
    grid = build_grid(Exercise(bpm=120, meter="4/4", per_beat=2, pattern="D.DU.UDU"), bars=2)
    assert "".join(grid.stroke) == "DDUUDU" * 2
    assert grid.bar.tolist() == [1] * 6 + [2] * 6


def test_a_pattern_of_three_beats_goes_on_over_the_bar_line() -> None:
    """By the rule "it repeats from the first bar": three beats against bars of four."""
    grid = build_grid(Exercise(bpm=60, meter="4/4", per_beat=1, pattern="D.x"), bars=3)
    assert grid.slot_s.tolist() == [0, 2, 3, 5, 6, 8, 9, 11]
    assert "".join(grid.stroke) == "Dx" * 4


def test_the_parts_are_read_from_a_pattern() -> None:
    """By construction: eight letters in 4/4 are a bar of eighths; a dotted beat has three parts; five fit nothing."""
    assert build_grid(Exercise(bpm=60, meter="4/4", pattern="D.DU.UDU"), bars=1).per_beat == 2
    assert build_grid(Exercise(bpm=60, meter="6/8", pattern="D.DD.U"), bars=1).per_beat == 3
    assert build_grid(Exercise(bpm=60, meter="6/8", pattern="D.."), bars=1).slot_s.tolist() == [0, 1]
    assert parts_of_pattern("DDDDD", Meter(4, 4)) is None
    with pytest.raises(UsageError, match="per_beat"):
        build_grid(Exercise(bpm=60, meter="4/4", pattern="DDDDD"), bars=1)


def test_what_is_not_told_has_the_meter_s_own_parts_and_any_stroke() -> None:
    """By the contract: `?` is a stroke that is not told; 6/8 has three parts a beat, 4/4 the beats."""
    assert "".join(build_grid(Exercise(bpm=60), bars=1).stroke) == "????"
    assert "".join(build_grid(Exercise(bpm=60, meter="6/8"), bars=1).stroke) == "??????"


def test_pattern_letters_are_normalised_and_others_refused() -> None:
    """Spaces, bar lines and case do not matter; any other letter is named."""
    assert Exercise(pattern=" d.DU | .uDu X...").pattern == "D.DU.UDUx..."
    for pattern in ("D-DU", "DOWN", "", "....", "| |", 5, "D\n?"):
        with pytest.raises(UsageError, match="pattern"):
            Exercise(pattern=pattern)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="'-'"):
        Exercise(pattern="D-DU")
    with pytest.raises(UsageError, match=r"multiple of 2, but 'D\.D' has 3"):
        Exercise(pattern="D.D", per_beat=2)


def test_swing_moves_the_second_of_two_parts() -> None:
    """By definition: the place of the second of two parts in the beat; of four, the second of each half."""
    for swing in (0.5, 2 / 3, 0.8):
        grid = build_grid(Exercise(bpm=60, meter="2/4", per_beat=2, swing=swing), bars=1)
        np.testing.assert_allclose(grid.slot_s, [0, swing, 1, 1 + swing], rtol=0, atol=ROUNDING_S)
        np.testing.assert_allclose(part_places(4, swing), [0, swing / 2, 0.5, 0.5 + swing / 2], rtol=0, atol=ROUNDING_S)
    assert part_places(3, None).tolist() == [0, 1 / 3, 2 / 3]
    for per_beat in (1, 3):
        with pytest.raises(UsageError, match="swing needs 2 or 4 parts"):
            Exercise(per_beat=per_beat, swing=0.6)
        assert Exercise(per_beat=per_beat, swing=0.5).swing == 0.5  # straight: nothing to move


def test_changes_fall_on_the_first_slot_of_each_new_chord() -> None:
    """By construction: a change every four beats, heard at the next strum; the same chord again is no change."""
    grid = build_grid(Exercise(bpm=60, meter="4/4", per_beat=2, pattern=".U.D.U.U", chords=("A", "D", "D")), bars=4)
    assert "".join(c for c, change in zip(grid.chord, grid.at_change, strict=True) if change) == "DA"
    assert np.flatnonzero(grid.at_change).tolist() == [4, 12]
    assert grid.chord.tolist() == ["A"] * 4 + ["D"] * 8 + ["A"] * 4
    every_other = build_grid(Exercise(bpm=60, meter="4/4", beats_per_change=8), bars=5)
    assert np.flatnonzero(every_other.at_change).tolist() == [8, 16]
    assert set(every_other.chord.tolist()) == {""}
    assert not build_grid(Exercise(bpm=60, meter="4/4"), bars=4).at_change.any()
    assert not build_grid(Exercise(bpm=60, meter="4/4", chords=("A",)), bars=4).at_change.any()


def test_changes_a_minute_are_beats_a_minute_over_beats_a_change() -> None:
    """DESIGN's formula, and FACTS E: one chord a bar of four at 240 bpm is 60 changes a minute, at 120 bpm 30."""
    assert Exercise(bpm=240, meter="4/4", chords=("A", "D")).changes_per_minute == 60
    assert Exercise(bpm=120, meter="4/4", beats_per_change=4).changes_per_minute == 30
    assert Exercise(bpm=80, beats_per_change=8).changes_per_minute == 10
    assert Exercise(bpm=80, meter="4/4", chords=("A", "A", "D", "D")).changes_per_minute == 10
    one_chord = Exercise(bpm=80, meter="4/4", chords=("A",))
    for nothing in (Exercise(bpm=80), Exercise(meter="4/4", chords=("A", "D")), one_chord):
        assert nothing.changes_per_minute is None


def test_chords_are_split_and_kept() -> None:
    """A text is split at spaces; a list becomes a tuple; nothing else is taken."""
    assert Exercise(chords="A D | F#m7 D/A").chords == ("A", "D", "F#m7", "D/A")  # type: ignore[arg-type]
    assert Exercise(chords=["A", " D "]).chords == ("A", "D")  # type: ignore[arg-type]
    for bad in ("", (), ("A", ""), ("A", 3), 5):
        with pytest.raises(UsageError, match="chords"):
            Exercise(chords=bad)  # type: ignore[arg-type]


NONSENSE = {
    "bpm": [0, 19.9, 401, -90, np.nan, np.inf, "90", True, 1j],
    "per_beat": [0, 5, 1.5, "2", True, np.nan],
    "swing": [0.49, 0.81, np.nan, "shuffle"],
    "count_in": [-1, 17, 0.5, np.inf],
    "bars": [0, -3, 10_001, 2.5],
    "beats_per_change": [0, -4, 3.3, np.nan],
    "name": ["", "  ", 7],
}


@pytest.mark.parametrize(("key", "value"), [(k, v) for k, values in NONSENSE.items() for v in values])
def test_nonsense_is_wrong_usage_in_one_line(key: str, value: object) -> None:
    """By construction; the message names what was required and what came."""
    with pytest.raises(UsageError) as e:
        Exercise(**{key: value})
    assert "\n" not in str(e.value)
    assert repr(value) in str(e.value)
    assert ";" in str(e.value)


def test_numbers_of_any_kind_are_taken() -> None:
    """numpy's numbers and whole floats count as numbers, and become plain ones (JSON takes no others)."""
    e = Exercise(bpm=np.float32(90), per_beat=np.int64(2), bars=2.0, count_in=np.int8(1))  # type: ignore[arg-type]
    assert (e.bpm, e.per_beat, e.bars, e.count_in) == (90.0, 2, 2, 1)
    assert [type(v) for v in (e.bpm, e.per_beat, e.bars, e.count_in)] == [float, int, int, int]


def test_a_grid_without_tempo_or_bars_is_wrong_usage() -> None:
    """By construction."""
    with pytest.raises(UsageError, match="no bpm"):
        build_grid(Exercise(meter="4/4"), bars=2)
    for bars in (0, -1, 1.5, None):
        with pytest.raises(UsageError, match="bars"):
            build_grid(Exercise(bpm=90), bars=bars)  # type: ignore[arg-type]


def test_values_cannot_be_changed() -> None:
    """Frozen fields, read-only copies of the arrays."""
    exercise = Exercise(bpm=90)
    with pytest.raises(FrozenInstanceError):
        exercise.bpm = 91  # type: ignore[misc]
    assert exercise == Exercise(bpm=90.0)
    assert hash(exercise) == hash(Exercise(bpm=90.0))
    grid = build_grid(exercise, bars=1)
    for name in ("slot_s", "bar", "stroke", "line_s", "at_change", "count_in_s"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(grid, name)[...] = 0
    assert grid != build_grid(exercise, bars=1)  # identity, not a comparison of arrays that would raise


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"slot_s": [0, 2, 1, 3]}, "must increase"),
        ({"slot_s": [0, 1, 1, 3]}, "must increase"),
        ({"slot_s": [0, 1, np.nan, 3]}, "finite"),
        ({"bar": [1, 1]}, "shape"),
        ({"line_beat": [[1, 2, 3, 4]]}, "shape"),
    ],
)
def test_a_grid_of_one_s_own_is_checked(change: dict[str, object], match: str) -> None:
    """By construction: a caller's own grid with one thing wrong."""
    good = build_grid(Exercise(bpm=60), bars=1)
    fields = {name: getattr(good, name) for name in BeatGrid.__slots__}
    BeatGrid(**fields)
    with pytest.raises(UsageError, match=match):
        BeatGrid(**(fields | change))


@pytest.mark.parametrize(("at", "rate"), [(np.nan, 1.0), (0.0, 0.0), (0.0, -1.0), (0.0, np.inf), (np.inf, 1.0)])
def test_placing_nowhere_is_wrong_usage(at: float, rate: float) -> None:
    """By construction."""
    with pytest.raises(UsageError, match="placing"):
        build_grid(Exercise(bpm=60), bars=1).placed(at, rate)
