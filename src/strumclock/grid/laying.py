"""Laying an exercise's pattern and chords on beat lines: at one tempo, or wherever the lines are in time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.arrays import Floats, Ints
from strumclock.errors import UsageError
from strumclock.fields import whole_between
from strumclock.grid.beats import BeatGrid
from strumclock.grid.exercise import BARS_MAX, PER_BEAT_RANGE, Exercise
from strumclock.grid.meter import Meter


def build_grid(exercise: Exercise, *, bars: int) -> BeatGrid:
    """The grid of an exercise at its one tempo, first played downbeat at 0.

    Each time is computed from its own place (beats · 60 ÷ bpm), so nothing is summed and no rounding grows.

    Parameters
    ----------
    exercise : Exercise
        Needs ``bpm``.  Meter not told: 4/4; parts not told: 3 where the beat is dotted, else as many as make the
        pattern one bar, without a pattern 1; pattern not told: a strum on every part, its stroke ``?``.
    bars : int
        Bars to lay out (rather than ``exercise.bars``, which may not be told).

    Returns
    -------
    BeatGrid

    Raises
    ------
    UsageError
        If the tempo is missing, or the parts of a beat cannot be told from the pattern.

    Examples
    --------
    >>> g = build_grid(Exercise(bpm=60, meter="4/4", per_beat=2, pattern="D.DU"), bars=1)
    >>> g.slot_s.tolist(), "".join(g.stroke)
    ([0.0, 1.0, 1.5, 2.0, 3.0, 3.5], 'DDUDDU')
    """
    bars = whole_between("bars", bars, 1, BARS_MAX, "the bars of a grid")
    if exercise.bpm is None:
        raise UsageError("a grid needs a tempo, but the exercise tells no bpm; give it, or find it from the clicks")
    meter = exercise.time_signature or Meter(4, 4)
    bpm, per_bar = exercise.bpm, meter.beats_per_bar
    line = np.arange(bars * per_bar)

    def place(lines: Floats) -> Floats:
        return lines * 60.0 / bpm

    return lay_out(
        exercise, meter=meter, line_bar=line // per_bar + 1, line_beat=line % per_bar + 1, place=place,
        count_in=(exercise.count_in or 0) * per_bar,
    )  # fmt: skip


def grid_from_beats(beat_s: ArrayLike, exercise: Exercise | None = None) -> BeatGrid:
    """The grid of an exercise on beats whose times are known: a metronome's log, an annotation, a drum track.

    Parameters
    ----------
    beat_s : (m,) array_like
        Times of the beats, without a gap, increasing [s]; the last beat is as long as the one before. The first is beat
        1 of the first bar, of the count-in where one is told.
    exercise : Exercise, optional
        Its meter (not told: 4/4), parts of the beat, pattern, swing, chords, count-in and bars; its tempo does not
        count.

    Returns
    -------
    BeatGrid
        In the beats' own seconds.

    Raises
    ------
    UsageError
        If the beats are no row of finite, increasing times, or end within the count-in.

    Examples
    --------
    >>> grid = grid_from_beats([2.0, 2.5, 3.1, 3.7], Exercise(meter="2/4", per_beat=2))
    >>> grid.slot_s.round(2).tolist(), grid.bar.tolist()
    ([2.0, 2.25, 2.5, 2.8, 3.1, 3.4, 3.7, 4.0], [1, 1, 1, 1, 2, 2, 2, 2])
    """
    exercise = exercise or Exercise()
    beats = np.asarray(beat_s, dtype=np.float64)
    if beats.ndim != 1 or not np.isfinite(beats).all() or (np.diff(beats) <= 0).any():
        raise UsageError("beat times must be one row of finite, increasing seconds; sort them and leave out repeats")
    meter = exercise.time_signature or Meter(4, 4)
    count_in = (exercise.count_in or 0) * meter.beats_per_bar
    n = len(beats) - count_in
    if exercise.bars is not None:
        n = min(n, exercise.bars * meter.beats_per_bar)
    if n < 1 or len(beats) < 2:
        raise UsageError(
            f"two beats or more, one of them after the count-in, were required, but {len(beats)} came and {count_in} "
            "are counted in; give more beats or a shorter count-in"
        )
    edges = np.append(beats, 2 * beats[-1] - beats[-2])
    line = np.arange(n)

    def place(lines: Floats) -> Floats:
        placed: Floats = np.interp(lines + count_in, np.arange(len(edges)), edges)
        return placed

    return lay_out(
        exercise, meter=meter, line_bar=line // meter.beats_per_bar + 1, line_beat=line % meter.beats_per_bar + 1,
        place=place, count_in=count_in,
    )  # fmt: skip


def lay_out(
    exercise: Exercise,
    *,
    meter: Meter,
    line_bar: ArrayLike,
    line_beat: ArrayLike,
    place: Callable[[Floats], Floats],
    count_in: int = 0,
    restart: ArrayLike = (0,),
) -> BeatGrid:
    """Put an exercise's pattern and chords on given beat lines, wherever these are in time.

    Parameters
    ----------
    exercise : Exercise
    meter : Meter
        The first bar's.
    line_bar, line_beat : (m,) int
        Bar and beat of each line.
    place : callable
        Fractional line indices (``m`` is the end, negative ones are counted in) → seconds.
    count_in : int
        Beat lines before line 0.
    restart : (k,) int
        Lines at which pattern and chords begin anew, the first of them 0.

    Returns
    -------
    BeatGrid
    """
    bars, beats = np.asarray(line_bar, dtype=np.int64), np.asarray(line_beat, dtype=np.int64)
    m = len(bars)
    per_beat = _parts(exercise, meter)
    letters = np.array(list(exercise.pattern) if exercise.pattern else ["?"] * per_beat)
    starts = np.asarray(restart, dtype=np.int64)
    line = np.repeat(np.arange(m), per_beat)
    part = np.tile(np.arange(per_beat), m)
    since = line - starts[np.searchsorted(starts, line, side="right") - 1]  # lines since the pattern last began
    stroke = letters[(since * per_beat + part) % len(letters)]
    played = stroke != "."
    line, part, since, stroke = line[played], part[played], since[played], stroke[played]
    fraction = part_places(per_beat, exercise.swing)[part]
    edges = place(np.arange(m + 1, dtype=np.float64))
    beat_s = np.diff(edges)[line]
    at_change, chord = _changes(exercise, since, meter)
    return BeatGrid(
        slot_s=place(line + fraction), bar=bars[line], beat=beats[line], part=part + 1, stroke=stroke,
        at_change=at_change, beat_s=beat_s, part_s=beat_s / per_beat, line_s=edges[:-1], line_bar=bars,
        line_beat=beats, per_beat=per_beat, beats_per_bar=meter.beats_per_bar, end_s=float(edges[-1]),
        count_in_s=place(np.arange(-count_in, 0, dtype=np.float64)), chord=chord,
    )  # fmt: skip


def part_places(per_beat: int, swing: float | None = None) -> Floats:
    """Places of a beat's parts within the beat, the beat line 0 and the next one 1.

    Swing moves the second of two parts; of four, the second and the fourth (each half of the beat swings).

    Examples
    --------
    >>> part_places(2, 2 / 3).round(3).tolist(), part_places(4, 0.6).round(3).tolist()
    ([0.0, 0.667], [0.0, 0.3, 0.5, 0.8])
    """
    places = np.arange(per_beat) / per_beat
    if swing is not None and per_beat in (2, 4):
        pair = 2.0 / per_beat
        places[1::2] = places[::2] + swing * pair
    return places


def parts_of_pattern(pattern: str, meter: Meter) -> int | None:
    """Parts of a beat that a pattern's length suggests: 3 where the beat is dotted, else those that make it one bar.

    None where that is no number from 1 to 4.

    Examples
    --------
    >>> parts_of_pattern("D.DU.UDU", Meter(4, 4)), parts_of_pattern("D..", Meter(6, 8))
    (2, 3)
    """
    if meter.beat_is_dotted and len(pattern) % 3 == 0:
        return 3
    parts, rest = divmod(len(pattern), meter.beats_per_bar)
    return parts if not rest and PER_BEAT_RANGE[0] <= parts <= PER_BEAT_RANGE[1] else None


def _parts(exercise: Exercise, meter: Meter) -> int:
    """Parts of a beat: told, else read from the pattern's length, else the meter's own."""
    if exercise.per_beat is not None:
        return exercise.per_beat
    if exercise.pattern is None:
        return meter.default_per_beat
    parts = parts_of_pattern(exercise.pattern, meter)
    if parts is None:
        raise UsageError(
            f"per_beat must be told unless the pattern is one bar at 1 to 4 parts a beat, but {exercise.pattern!r} "
            f"has {len(exercise.pattern)} parts in {meter}; give per_beat"
        )
    return parts


def _changes(exercise: Exercise, line: Ints, meter: Meter) -> tuple[NDArray[np.bool_], NDArray[np.str_]]:
    """For slots on the given lines: whether each is the first on a new chord, and the chord."""
    chords = exercise.chords
    every = exercise.beats_per_change or (meter.beats_per_bar if chords else None)
    if every is None or not len(line):
        return np.zeros(len(line), np.bool_), np.zeros(len(line), "<U1")
    number = line // every
    now = np.array(chords)[number % len(chords)] if chords else np.zeros(len(line), "<U1")
    key = now if chords else number
    return np.concatenate([[False], key[1:] != key[:-1]]), now
