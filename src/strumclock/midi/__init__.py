"""Standard MIDI Files: a tempo map becomes a `BeatGrid`; grid, clicks and strums become a file for a sequencer.

Times come from the map's whole numbers (ticks, microseconds a quarter note) with one division at the end, so they do
not drift; a tempo that is no whole number of microseconds is written as beats that take turns between its neighbours.
"""

from __future__ import annotations

from strumclock.midi.reading import TempoMap, grid_from_midi, read_tempo_map
from strumclock.midi.writing import NoteTrack, write_midi, write_notes

__all__ = ["NoteTrack", "TempoMap", "grid_from_midi", "read_tempo_map", "write_midi", "write_notes"]
