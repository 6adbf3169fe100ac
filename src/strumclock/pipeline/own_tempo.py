"""A stretch that kept a tempo of its own: how its strums lie about that tempo, and where the click's beats pass by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strumclock.arrays import Floats
from strumclock.grid import part_places

if TYPE_CHECKING:
    from strumclock.pipeline.measurement import LeftClick, Measurement, Strum

FEWEST = 3
"""Strums from which a pulse is laid through them; fewer keep the tempo that is told of the stretch."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnTempo:
    """The pulse of a stretch beside the click.

    Attributes
    ----------
    start_s, end_s : float
        First and last strum of it [s].
    beat_s : float
        Length of the player's own beat [s].
    first_s : float
        A beat of theirs, at or just before the first strum [s].
    time_s, deviation_ms : (n,) float
        The strums, and how far each lies from the player's own pulse; positive = late.
    click_s : (m,) float
        The click's beats from one of the player's beats before the stretch to one after it, counted on from the grid
        beside the stretch [s]; empty where no grid is known.
    """

    start_s: float
    end_s: float
    beat_s: float
    first_s: float
    time_s: Floats
    deviation_ms: Floats
    click_s: Floats


def own_tempo(measurement: Measurement, left: LeftClick) -> OwnTempo:
    """Lay the player's own pulse through the strums of a stretch, by least squares.

    The parts of the beat lie where the exercise has them, swing included. Which of its parts the first strum is was
    not told; it is the one that fits best, the beat itself where several do.

    Parameters
    ----------
    measurement : Measurement
    left : LeftClick
        One of its stretches.
    """
    m = measurement
    time_s = np.array(
        [s.time_s for s in _all_strums(m) if s.left_click and left.start_s <= s.time_s <= left.end_s], dtype=float
    )
    beat_s, places = 60.0 / left.played_bpm, part_places(m.exercise.per_beat or 1, m.exercise.swing)
    best = (np.inf, left.start_s, beat_s, np.zeros(time_s.size))
    for place in places if time_s.size else ():
        first_s, own_s, off_s = _pulse(time_s, float(time_s[0]) - place * beat_s, beat_s, places)
        error = float(np.sum(off_s**2))
        if error < 0.999 * best[0]:
            best = (error, first_s, own_s, off_s)
    _, first_s, beat_s, off_s = best
    return OwnTempo(
        start_s=left.start_s,
        end_s=left.end_s,
        beat_s=beat_s,
        first_s=first_s,
        time_s=time_s,
        deviation_ms=1000 * off_s,
        click_s=_click_beats(m, left.start_s - beat_s, left.end_s + beat_s),
    )


def _all_strums(m: Measurement) -> tuple[Strum, ...]:
    return (*m.strums, *m.elsewhere)


def _pulse(time_s: Floats, first_s: float, beat_s: float, places: Floats) -> tuple[float, float, Floats]:
    """First beat, beat and deviations [s] of a pulse near the one given, each strum at the place next to it."""
    beat = (time_s - first_s) / beat_s
    grid = np.concatenate([places - 1, places, places + 1])
    whole = np.floor(beat)
    at = whole + grid[np.argmin(np.abs((beat - whole)[:, None] - grid), axis=1)]
    if time_s.size >= FEWEST and np.ptp(at) > 0:
        beat_s, first_s = (float(x) for x in np.polyfit(at, time_s, 1))
    return first_s, beat_s, time_s - (first_s + at * beat_s)


def _click_beats(m: Measurement, from_s: float, to_s: float) -> Floats:
    """The click's beats in a span, by the tempo and the place of the beat of the nearest strum that has one."""
    known = [s for s in _all_strums(m) if s.grid_s is not None and s.part == 1]
    nearest = min(known, key=lambda s: max(from_s - s.time_s, s.time_s - to_s), default=None)
    bpm = m.exercise.bpm
    if nearest is not None and nearest.of is not None:
        bpm = m.parts[nearest.of - 1].bpm or bpm
    at_s = nearest.grid_s if nearest is not None else m.grid.first_downbeat_s if m.grid is not None else None
    if at_s is None or bpm is None:
        return np.empty(0)
    if (m.grid is not None) and m.grid.clock_skew_ppm is not None and bpm == m.exercise.bpm:
        bpm *= 1 + m.grid.clock_skew_ppm.value * 1e-6
    beat_s = 60.0 / bpm
    beats: Floats = at_s + beat_s * np.arange(np.ceil((from_s - at_s) / beat_s), np.floor((to_s - at_s) / beat_s) + 1)
    return beats
