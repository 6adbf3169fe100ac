"""Where should each strum be?  An `Exercise` (what was asked) becomes a `BeatGrid` (a time for every strum).

Conventions: nominal times have the first played downbeat at 0 s; bars, beats and parts of a beat count from 1;
``bpm`` counts beats, and the beat is the meter's lower figure, in 6/8, 9/8, 12/8 … the dotted quarter.
"""

from __future__ import annotations

from strumclock.grid.beats import BeatGrid
from strumclock.grid.exercise import BARS_MAX, BPM_RANGE, COUNT_IN_MAX_BARS, PER_BEAT_RANGE, SWING_RANGE, Exercise
from strumclock.grid.laying import build_grid, grid_from_beats, lay_out, part_places, parts_of_pattern
from strumclock.grid.meter import Meter, parse_meter

__all__ = [
    "BARS_MAX",
    "BPM_RANGE",
    "COUNT_IN_MAX_BARS",
    "PER_BEAT_RANGE",
    "SWING_RANGE",
    "BeatGrid",
    "Exercise",
    "Meter",
    "build_grid",
    "grid_from_beats",
    "lay_out",
    "parse_meter",
    "part_places",
    "parts_of_pattern",
]
