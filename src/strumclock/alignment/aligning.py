"""One stretch of playing: from strum times, an exercise and one row of clicks to an `Alignment`."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment import pulse as pulses
from strumclock.alignment import remarks
from strumclock.alignment.completing import Plan
from strumclock.alignment.departures import Stretch, find_left
from strumclock.alignment.matching import FEW_PAIRED, kept_to_click, pair_own
from strumclock.alignment.own_tempo import OwnTempo, own_tempo
from strumclock.alignment.pairing import FloatArray, IntArray, Pairing
from strumclock.alignment.placing import cut, end_of, fit_map, fit_phase, place
from strumclock.alignment.pulse import Pulse
from strumclock.alignment.reading import STRUMS_MIN, read
from strumclock.alignment.values import ADDED, LEFT_CLICK, OUTSIDE, Alignment, Departure
from strumclock.errors import Notice, RecordingError
from strumclock.grid import PER_BEAT_RANGE, BeatGrid, Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks

MOST = 0.5
"""Share of the strums in one stretch from which, without a click, its tempo counts and not the one told."""


def align_stretch(
    strum_s: FloatArray,
    exercise: Exercise,
    *,
    clicks: Clicks | None = None,
    first_downbeat_s: float | None = None,
    first_downbeat_u_s: float = 0.0,
    grid: BeatGrid | None = None,
    end_s: float | None = None,
    same_clock: bool = False,
) -> Alignment:
    """Pair the strums of one stretch of playing, to one steady row of clicks or to none, with an exercise's slots.

    See `strumclock.alignment.align` for the arguments; `clicks` are those of the stretch alone.
    """
    pulse = _pulse(strum_s, exercise, clicks, first_downbeat_s, first_downbeat_u_s, same_clock, grid)
    plan, stretches = _plan(strum_s, pulse, exercise, clicks, first_downbeat_s)
    own_bpm = _own_tempo(strum_s, pulse, exercise, plan, stretches)
    if own_bpm is not None:
        pulse = pulses.other_tempo(strum_s, pulse, own_bpm)
        plan, stretches = _plan(strum_s, pulse, exercise, clicks, first_downbeat_s)
    with_click = kept_to_click(len(strum_s), stretches)
    placed = place(plan, pulse, float(strum_s[-1]), grid)
    found = pair_own(strum_s, placed, with_click, pulse, exercise)
    stop_s = end_of(found, placed, plan, pulse, stretches, strum_s) if exercise.bars is None else placed.end_s
    notices: tuple[Notice, ...] = ()
    if end_s is not None and end_s < stop_s:
        if len(placed) and placed.slot_s[-1] > end_s and exercise.bars is not None:
            message = (
                f"the recording, or the click's one tempo, ends at {end_s:.1f} s, before bar {placed.line_bar[-1]} "
                "does; the slots after it are left out"
            )
            notices += (Notice(code="cut-off", message=message),)
        stop_s = end_s
        if len(placed) and placed.slot_s[0] > end_s:
            raise RecordingError(
                f"the first played bar would begin at {placed.line_s[0]:.1f} s, but the recording ends at "
                f"{end_s:.1f} s; check the tempo, the count-in or the first downbeat told"
            )
    if len(placed) and placed.slot_s[-1] > stop_s:
        placed = cut(placed, stop_s)
        found = pair_own(strum_s, placed, with_click, pulse, exercise)
    if pulse.anchor == "fitted" and found.paired.any():
        pulse, placed = fit_phase(pulse, placed, strum_s, found)
    return _result(strum_s, found, placed, plan, pulse, exercise, stretches, clicks, notices)


def _pulse(
    strum_s: FloatArray,
    exercise: Exercise,
    clicks: Clicks | None,
    first_downbeat_s: float | None,
    first_downbeat_u_s: float,
    same_clock: bool,
    grid: BeatGrid | None,
) -> Pulse:
    """The beats, from what is there: clicks on a tempo map, clicks, a stated downbeat, the strums alone."""
    if grid is None:
        if clicks is not None:
            return pulses.from_clicks(clicks, exercise.bpm)
        return pulses.from_strums(
            strum_s, exercise.bpm, zero_s=first_downbeat_s, u_s=first_downbeat_u_s, same_clock=same_clock
        )
    if clicks is not None:
        pulse = pulses.from_map(grid, clicks)
        if pulse is not None:
            return pulse
        pulse = pulses.from_clicks(clicks, None)
        message = (
            f"the clicks beat {pulse.bpm_heard:.2f} a minute and do not follow the tempo map; the clicks are believed, "
            "and everything is measured against them"
        )
        return replace(pulse, notices=(*pulse.notices, Notice(code="tempo-differs", message=message)))
    if first_downbeat_s is not None:
        return pulses.told_map(
            grid, anchor="given", zero_s=first_downbeat_s, u_s=first_downbeat_u_s, same_clock=same_clock
        )
    zero_s = fit_map(strum_s, grid)
    return pulses.told_map(grid, anchor="fitted", zero_s=zero_s, u_s=0.0, same_clock=same_clock)


def _plan(
    strum_s: FloatArray, pulse: Pulse, exercise: Exercise, clicks: Clicks | None, first_downbeat_s: float | None
) -> tuple[Plan, list[Stretch]]:
    """The exercise completed from the strums that kept to the click, and the stretches that did not."""
    beat = pulse.beats(strum_s)
    downbeat = None if first_downbeat_s is None else float(pulse.beats(np.array([first_downbeat_s]))[0])
    plan, own = read(beat, pulse, exercise, clicks=clicks, downbeat=downbeat)
    if own is None:
        stretches = find_left(beat - plan.start_beat, plan.exercise.per_beat or 1, plan.exercise.swing)
    else:
        stretches = find_left((beat - plan.start_beat) * own.per_unit, own.per_beat, own.swing)
        stretches = [replace(s, places_per_beat=s.places_per_beat * own.per_unit) for s in stretches]
    if not stretches and own is None and exercise.per_beat is None and plan.explained < FEW_PAIRED:
        tried = (find_left(beat, parts) for parts in range(1, PER_BEAT_RANGE[1] + 1))
        stretches = next((found for found in tried if found), [])
    with_click = kept_to_click(len(strum_s), stretches)
    if stretches and with_click.any():
        plan, _ = read(beat[with_click], pulse, exercise, clicks=clicks, downbeat=downbeat)
    return plan, stretches


def _own_tempo(strum_s: FloatArray, pulse: Pulse, told: Exercise, plan: Plan, stretches: list[Stretch]) -> float | None:
    """The tempo of a take without clicks, most of whose strums keep another one than that told."""
    if pulse.anchor != "fitted" or pulse.mapped or pulse.tempo_found or not stretches:
        return None
    lengths = [s.last - s.first + 1 for s in stretches]
    longest = int(np.argmax(lengths))
    if lengths[longest] <= MOST * len(strum_s):
        return None
    return pulse.bpm * _own_tempi(strum_s, pulse, told, plan, stretches)[longest].ratio


def _own_tempi(
    strum_s: FloatArray, pulse: Pulse, told: Exercise, plan: Plan, stretches: list[Stretch]
) -> list[OwnTempo]:
    """The tempo of each stretch, read by the exercise if that was told, or shown by the strums that kept the click."""
    shown = int(kept_to_click(len(strum_s), stretches).sum()) >= STRUMS_MIN
    pattern = plan.exercise if told.pattern is not None or (shown and plan.exercise.pattern is not None) else None
    per_beat = plan.exercise.per_beat if shown or told.per_beat is not None else None
    beat = pulse.beats(strum_s)
    return [
        own_tempo(
            beat[s.first : s.last + 1], s.places_per_beat, pattern=pattern, per_beat=per_beat,
            clicks_per_beat=pulse.clicks_per_beat,
        )
        for s in stretches
    ]  # fmt: skip


def _result(
    strum_s: FloatArray,
    found: Pairing,
    grid: BeatGrid,
    plan: Plan,
    pulse: Pulse,
    told: Exercise,
    stretches: list[Stretch],
    clicks: Clicks | None,
    notices: tuple[Notice, ...],
) -> Alignment:
    slot = _marked(strum_s, found, grid, stretches)
    departures, unasked = _departures(
        strum_s, grid, pulse, stretches, _own_tempi(strum_s, pulse, told, plan, stretches)
    )
    omitted = np.zeros(0, np.int64)
    if not plan.pattern_inferred:
        omitted = np.setdiff1d(np.flatnonzero(~unasked), slot[slot >= 0])
    exercise, inferred = plan.exercise, plan.inferred
    if exercise.bars is None:
        exercise = replace(exercise, bars=int(grid.line_bar[-1]))
        inferred = (*inferred, "bars")
    u_s = pulse.u_at(grid.slot_s)
    counts = [s.last - s.first + 1 for s in stretches]
    notices = (
        *pulse.notices, *plan.notices, *notices, *remarks.left_click(departures, counts, pulse.bpm_heard or pulse.bpm),
        *remarks.extrapolated(pulse, grid, u_s), *remarks.ends(grid, slot, unasked, not plan.pattern_inferred),
        *remarks.outside(grid, strum_s, slot, plan.exercise.bars is not None),
        *remarks.far_off(grid, strum_s, slot, pulse.anchor == "fitted"),
        *remarks.fit(grid, strum_s, slot, len(omitted)),
    )  # fmt: skip
    return Alignment(
        grid=grid, anchor=pulse.anchor, exercise=exercise, inferred=inferred,
        confidence=MappingProxyType(dict(plan.confidence)), slot=slot, omitted=omitted, anchor_u_s=u_s,
        rate_u=pulse.rate_u, first_downbeat_s=float(grid.line_s[0]), bpm_heard=pulse.bpm_heard,
        bpm_heard_u=pulse.bpm_heard_u, clock_skew_ppm=pulse.skew_ppm, clock_skew_u_ppm=pulse.skew_u_ppm,
        clicks_heard=0 if clicks is None else int(np.sum(clicks.heard)), left_click=departures, notices=notices,
    )  # fmt: skip


def _marked(strum_s: FloatArray, found: Pairing, grid: BeatGrid, stretches: list[Stretch]) -> IntArray:
    """The slot of every strum, those without one marked with the reason."""
    slot = np.where(found.paired, found.slot, ADDED)
    outside = np.ones(len(strum_s), np.bool_)
    if len(grid):
        outside = (strum_s < grid.slot_s[0]) | (strum_s > grid.slot_s[-1])
    slot = np.where(outside & ~found.paired, OUTSIDE, slot)
    slot[~kept_to_click(len(strum_s), stretches)] = LEFT_CLICK
    return slot


def _departures(
    strum_s: FloatArray, grid: BeatGrid, pulse: Pulse, stretches: list[Stretch], tempi: list[OwnTempo]
) -> tuple[tuple[Departure, ...], NDArray[np.bool_]]:
    """The stretches in seconds and bpm, and which slots lie in them."""
    unasked = np.zeros(len(grid), np.bool_)
    departures = []
    bpm = pulse.bpm_heard or pulse.bpm
    for s, tempo in zip(stretches, tempi, strict=True):
        start_s, end_s = float(strum_s[s.first]), float(strum_s[s.last])
        unasked |= (grid.slot_s >= start_s - 0.5 * grid.part_s) & (grid.slot_s <= end_s + 0.5 * grid.part_s)
        other = None if tempo.other is None else bpm * tempo.other
        departures.append(Departure(start_s=start_s, end_s=end_s, played_bpm=bpm * tempo.ratio, other_bpm=other))
    return tuple(departures), unasked
