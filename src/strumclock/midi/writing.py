"""A Standard MIDI File with a tempo map that follows a grid, its clicks, slots and strums."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Floats
from strumclock.errors import UsageError
from strumclock.grid import BeatGrid, Meter, parse_meter
from strumclock.saving import replacing

TICKS_PER_QUARTER = 9600  # parts of 2, 3, 4 fall on ticks; at 60 bpm a tick is 0.1 ms, finer than a strum is known
MAX_US_PER_QUARTER = 0xFFFFFF  # three bytes
TEMPO_STEP_QUARTERS = 0.5  # the tempo may change so often: a beat line is off by a quarter of a microsecond at most
LEAD_BEAT_S = 2.0  # beats of the lead-in are no longer than this
NOTE_LENGTH_S = 0.05  # a click has no length of its own: by hand
PERCUSSION = 9  # General MIDI's channel 10
HIGH_WOODBLOCK, LOW_WOODBLOCK = 76, 77  # General MIDI percussion keys
STROKE_NOTES = {"D": 40, "U": 52, "x": 28, "?": 40}  # E2, E3, E1: three rows that a piano roll shows well apart
STRUM_NOTE = 45  # A2


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTrack:
    """Notes of one track for `write_notes`.

    Attributes
    ----------
    name : str
    notes : tuple of (time in s, key, velocity)
    channel : int
        From 0.
    """

    name: str
    notes: tuple[tuple[float, int, int], ...]
    channel: int = 0


def write_midi(
    path: str | os.PathLike[str],
    grid: BeatGrid,
    strum_s: ArrayLike | None = None,
    *,
    meter: str | None = None,
    from_file_start: bool = False,
) -> None:
    """Write a grid, and strums if given, as a Standard MIDI File with a tempo map that follows the grid's beats.

    Tracks: the tempo map, clicks on the beat lines (percussion), slots, strums.  Reading the tempo map back gives every
    beat line within 1 µs; notes lie on ticks of 1/9600 quarter note, and the tempo is constant within a beat.

    Parameters
    ----------
    path : path
        Replaced only when all is written.
    grid : BeatGrid
    strum_s : (n,) float, optional
        Strum times on the grid's clock [s]; those before the file's start are left out.
    meter : str, optional
        Such as ``"6/8"``; without it the beat is written as a quarter note.
    from_file_start : bool
        Whether the file's start is the recording's (time 0), with a lead-in bar up to the first beat line; without, the
        file starts with the first beat line, count-in included.

    Raises
    ------
    UsageError
        If the meter does not fit the grid, MIDI cannot say a beat's length, or the grid begins before the file's start.
    OutputError
        If the file cannot be written.
    """
    signature = Meter(grid.beats_per_bar, 4) if meter is None else parse_meter(meter)
    if signature.beats_per_bar != grid.beats_per_bar:
        raise UsageError(
            f"a meter of {grid.beats_per_bar} beats a bar was required, but {meter} has {signature.beats_per_bar}; "
            "give the grid's own meter"
        )
    clicks = [(t, HIGH_WOODBLOCK if first else LOW_WOODBLOCK, 110 if first else 80) for t, first in _downbeats(grid)]
    slots = [(float(t), STROKE_NOTES[s], 100) for t, s in zip(grid.slot_s, grid.stroke.tolist(), strict=True)]
    tracks = [
        NoteTrack(name="Click", notes=tuple(clicks), channel=PERCUSSION),
        NoteTrack(name="Grid", notes=tuple(slots), channel=0),
    ]
    if strum_s is not None:
        strums = np.sort(np.asarray(strum_s, dtype=np.float64).ravel())
        if not np.isfinite(strums).all():
            raise UsageError("strum times must be finite seconds, but NaN or infinity came; leave those out")
        tracks.append(NoteTrack(name="Strums", notes=tuple((float(t), STRUM_NOTE, 100) for t in strums), channel=1))
    write_notes(path, grid, tracks, meter=signature, from_file_start=from_file_start)


def write_notes(
    path: str | os.PathLike[str],
    grid: BeatGrid,
    tracks: Sequence[NoteTrack],
    *,
    meter: Meter,
    from_file_start: bool = False,
) -> None:
    """Write tracks of notes with a tempo map that follows a grid's beats; see `write_midi`."""
    import mido

    plan = _plan(grid, meter, from_file_start)
    midi = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER)
    midi.tracks.append(_track(mido, "Tempo map", plan.events))
    for track in tracks:
        midi.tracks.append(_track(mido, track.name, _note_events(mido, track, plan)))
    with replacing(path) as temporary:
        midi.save(str(temporary))


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """Ticks and true times of the edges between which the tempo is constant, and the map's events (tick, message)."""

    tick: Floats
    time_s: Floats
    events: list[tuple[int, Any]]


def _plan(grid: BeatGrid, meter: Meter, from_file_start: bool) -> _Plan:
    """Choose tempi, whole numbers of µs a quarter, that never leave the beat lines by more than half a step's µs."""
    import mido

    edges = [*grid.click_s.tolist(), grid.end_s]
    start = 0.0 if from_file_start else edges[0]
    lead = edges[0] - start
    if lead < 0:
        raise UsageError(
            f"a grid that begins within the recording was required, but its first beat line is at {edges[0]:.3f} s; "
            "place it, or write it from its own start"
        )
    n_lead = math.ceil(lead / LEAD_BEAT_S) if lead > 1e-6 else 0
    quarters = [1.0] * n_lead + [meter.beat_quarters] * (len(edges) - 1)
    times = [start + lead * i / n_lead for i in range(n_lead)] + edges
    signatures = ([(0, n_lead, 4)] if n_lead else []) + _signatures(grid, meter, n_lead)
    ticks = [0]
    events: list[tuple[int, Any]] = []
    reached, tempo = 0.0, 0  # µs × ticks so far, over ticks per quarter: the time that the written tempi add up to
    for i, beat in enumerate(quarters):
        steps = math.ceil(beat / TEMPO_STEP_QUARTERS)
        for k in range(1, steps + 1):
            target = times[i] + (times[i + 1] - times[i]) * k / steps - start
            us = round((target * 1e6 - reached) / (beat / steps))
            if not 1 <= us <= MAX_US_PER_QUARTER:
                raise UsageError(
                    f"beats of at most {MAX_US_PER_QUARTER * beat / 1e6:.1f} s were required, but one of "
                    f"{times[i + 1] - times[i]:.3f} s came; MIDI cannot say that tempo"
                )
            if us != tempo:
                at = ticks[-1] + round(beat * TICKS_PER_QUARTER * (k - 1) / steps)
                events.append((at, mido.MetaMessage("set_tempo", tempo=us)))
            reached, tempo = reached + us * beat / steps, us
        ticks.append(ticks[-1] + round(beat * TICKS_PER_QUARTER))
    for edge, upper, lower in signatures:
        clocks = round(24 * (meter.beat_quarters if edge >= n_lead else 1.0))
        events.append((ticks[edge], mido.MetaMessage(
            "time_signature", numerator=upper, denominator=lower, clocks_per_click=clocks)))  # fmt: skip
    events.append((ticks[-1], mido.MetaMessage("marker", text="end")))
    return _Plan(np.array(ticks, dtype=np.float64), np.array(times), events)


def _signatures(grid: BeatGrid, meter: Meter, n_lead: int) -> list[tuple[int, int, int]]:
    """Where the number of beats in a bar changes: (edge, upper, lower figure), the first at the first line."""
    counted = len(grid.count_in_s)
    sizes = [meter.beats_per_bar] * (counted // meter.beats_per_bar)
    if counted % meter.beats_per_bar:
        sizes.insert(0, counted % meter.beats_per_bar)  # a pick-up
    sizes += np.unique(grid.line_bar, return_counts=True)[1].tolist()
    per_beat = meter.upper // meter.beats_per_bar  # 3 where the beat is dotted
    found: list[tuple[int, int, int]] = []
    edge = n_lead
    for size in sizes:
        if not found or found[-1][1] != size * per_beat:
            found.append((edge, size * per_beat, meter.lower))
        edge += size
    return found


def _downbeats(grid: BeatGrid) -> list[tuple[float, bool]]:
    """Every beat line and whether it begins a bar; counted-in bars are counted back from the first played one."""
    counted = len(grid.count_in_s)
    first = [(i - counted) % grid.beats_per_bar == 0 for i in range(counted)] + (grid.line_beat == 1).tolist()
    return list(zip(grid.click_s.tolist(), first, strict=True))


def _note_events(mido: Any, track: NoteTrack, plan: _Plan) -> list[tuple[int, Any]]:
    """Note-on and note-off messages at their ticks."""
    events: list[tuple[int, Any]] = []
    notes = [note for note in track.notes if note[0] >= plan.time_s[0] - 1e-6]
    end_s = plan.time_s[-1]
    for i, (time_s, key, velocity) in enumerate(notes):
        until = min(time_s + NOTE_LENGTH_S, notes[i + 1][0] if i + 1 < len(notes) else math.inf)
        until = min(until, end_s) if time_s < end_s else until
        on, off = (round(float(_tick(plan, t))) for t in (time_s, until))
        events.append((on, mido.Message("note_on", channel=track.channel, note=key, velocity=velocity)))
        events.append((max(off, on + 1), mido.Message("note_off", channel=track.channel, note=key, velocity=0)))
    return events


def _tick(plan: _Plan, time_s: float) -> float:
    """Tick of a time; past the last edge its tempo goes on."""
    if time_s <= plan.time_s[-1]:
        return float(np.interp(time_s, plan.time_s, plan.tick))
    slope = (plan.tick[-1] - plan.tick[-2]) / (plan.time_s[-1] - plan.time_s[-2])
    return float(plan.tick[-1] + (time_s - plan.time_s[-1]) * slope)


def _track(mido: Any, name: str, events: list[tuple[int, Any]]) -> Any:
    """A track from (tick, message) pairs, in order; on one tick ends come before beginnings."""
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=name, time=0)])
    now = 0
    for tick, message in sorted(events, key=lambda e: (e[0], e[1].type == "note_on")):
        track.append(message.copy(time=tick - now))
        now = tick
    return track
