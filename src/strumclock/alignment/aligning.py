"""From strum times, an exercise and clicks to an `Alignment`."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.alignment import inference, pulse as pulses
from strumclock.alignment.pairing import NO_SLOT, FloatArray, IntArray, Pairing, pair
from strumclock.alignment.pulse import Pulse
from strumclock.alignment.start import OFF_BAR_COST, OMITTED_COST, OUTSIDE_COST, best_start
from strumclock.alignment.values import ADDED, OUTSIDE, Alignment
from strumclock.errors import Notice, RecordingError, UsageError
from strumclock.grid import COUNT_IN_MAX_BARS, BeatGrid, Exercise, Meter, build_grid, parts_filling_a_bar

if TYPE_CHECKING:
    from strumclock.click import Clicks
    from strumclock.onsets import Strums

ACCENT_COST = 4.0
"""Cost, in strums explained, of a downbeat that is no accented beat: accents are set by whoever programmed the click."""
TOLD_COUNT_COST = 4.0
TOLD_COUNT_SHARE = 0.25
"""A count-in told is given up only where that explains a quarter more of the strums, and at least four."""
EXTEND_STRUMS = 3
"""Strums on their slots after the last audible click from which the grid goes on without it."""


def align(
    strums: Strums | ArrayLike,
    exercise: Exercise,
    *,
    clicks: Clicks | None = None,
    first_downbeat_s: float | None = None,
    first_downbeat_u_s: float = 0.0,
    grid: BeatGrid | None = None,
    end_s: float | None = None,
    same_clock: bool = False,
) -> Alignment:
    """Pair strums with the slots of an exercise.

    Parameters
    ----------
    strums : Strums or (n,) float
        The strums, or their times [s], increasing.
    exercise : Exercise
        What was told. What was not is inferred, and named in the result.
    clicks : Clicks, optional
        The clicks heard. With them the anchor is ``recorded-click`` or ``click-channel``.
    first_downbeat_s, first_downbeat_u_s : float, optional
        File time of beat 1 of the first played bar as the user states it, and its standard uncertainty [s]. Without
        clicks the anchor is ``given``; with them it says which click is that beat.
    grid : BeatGrid, optional
        A nominal grid (first downbeat at 0) with a tempo map, instead of the exercise's one tempo.
    end_s : float, optional
        Where the recording ends: slots after it cannot have been omitted.
    same_clock : bool
        Whether click and recording run by one clock (same computer): without clicks in the recording, the tempo told
        is then exact.

    Returns
    -------
    Alignment

    Raises
    ------
    RecordingError
        If there are no strums, or without clicks too few to find the tempo.
    UsageError
        If the times are not finite or do not increase.
    """
    strum_s = _times(strums)
    pulse = _pulse(strum_s, exercise, clicks, first_downbeat_s, first_downbeat_u_s, same_clock)
    plan = _plan(pulse.beats(strum_s), pulse, exercise, clicks, first_downbeat_s)
    placed = _placed(plan, pulse, strum_s)
    found = pair(strum_s, placed.slot_s, placed.part_s)
    if exercise.bars is None:
        stop_s = _end(found, placed, plan, pulse)
        placed = _cut(placed, stop_s)
        found = pair(strum_s, placed.slot_s, placed.part_s)
    if end_s is not None and len(placed) and placed.slot_s[-1] > end_s:
        placed = _cut(placed, end_s)
        found = pair(strum_s, placed.slot_s, placed.part_s)
    if pulse.anchor == "fitted" and found.paired.any():
        kept = found.paired
        offset = strum_s[kept] - placed.slot_s[found.slot[kept]]
        placed = placed.placed(float(np.median(offset)))
        pulse = replace(
            pulse, pivot_s=float(strum_s[kept].mean()), pivot_u_s=float(found.spread_s / math.sqrt(kept.sum()))
        )
    return _result(strum_s, found, placed, plan, pulse, clicks, exercise)


def _times(strums: Any) -> FloatArray:
    times = np.asarray(getattr(strums, "time_s", strums), dtype=np.float64)
    if times.ndim != 1 or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise UsageError("strum times must be one row of finite, increasing seconds; sort them and leave out repeats")
    if not len(times):
        raise RecordingError("aligning needs at least one strum, but none was found; check that the guitar is audible")
    return times


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plan:
    """The exercise completed, and the beat of the pulse at which the first played bar begins."""

    exercise: Exercise
    start_beat: int
    inferred: tuple[str, ...]
    confidence: dict[str, float]
    pattern_inferred: bool
    notices: tuple[Notice, ...]


def _pulse(
    strum_s: FloatArray,
    exercise: Exercise,
    clicks: Clicks | None,
    first_downbeat_s: float | None,
    first_downbeat_u_s: float,
    same_clock: bool,
) -> Pulse:
    if clicks is not None:
        return pulses.from_clicks(clicks, exercise.bpm)
    bpm = exercise.bpm
    if bpm is None:
        raise RecordingError("without a click the tempo must be told; give --bpm")  # replaced below
    return pulses.told(
        anchor="fitted" if first_downbeat_s is None else "given",
        bpm=bpm,
        zero_s=float(strum_s[0]) if first_downbeat_s is None else first_downbeat_s,
        u_s=first_downbeat_u_s,
        same_clock=same_clock,
    )


def _plan(
    beat: FloatArray, pulse: Pulse, told: Exercise, clicks: Clicks | None, first_downbeat_s: float | None
) -> _Plan:
    inferred: list[str] = ["bpm"] if pulse.tempo_found else []
    notices: list[Notice] = []
    confidence: dict[str, float] = {}
    accents = None
    if clicks is not None:
        at = np.arange(len(clicks.time_s)) / pulse.clicks_per_beat
        heard = np.asarray(clicks.heard)
        accents = inference.find_accents(at[heard], np.asarray(clicks.accented)[heard])
    meter = told.time_signature
    if meter is None:
        inferred.append("meter")
        meter = Meter(accents.period if accents else 4, 4)
        if accents is None:
            notices.append(
                Notice(code="meter-assumed", message="the meter was not told and no accent marks it: 4/4 is assumed")
            )
    per_bar = meter.beats_per_bar
    per_beat = told.per_beat
    if per_beat is None and told.pattern is not None:
        per_beat = parts_filling_a_bar(told.pattern, meter)
    if per_beat is None and meter.beat_is_dotted:
        per_beat = meter.default_per_beat
    lattice = inference.find_parts(beat, per_beat, told.swing)
    parts = lattice.per_beat
    cell = lattice.cell[lattice.on] if lattice.on.any() else lattice.cell
    start = _start_beat(cell, beat, parts, per_bar, pulse, told, accents, first_downbeat_s)
    since = cell - start * parts
    pattern = told.pattern
    pattern_inferred = False
    if pattern is None:
        seen = inference.find_pattern(since, per_beat=parts, beats_per_bar=per_bar)
        if per_beat is None:
            pattern_inferred = True
            inferred += ["per_beat", "pattern"]
            if seen is None:
                notices.append(
                    Notice(
                        code="pattern-unknown",
                        message="too few repeats to infer the pattern: every part of the beat counts as a place for a "
                        "strum, and no strum as omitted",
                    )
                )
            else:
                parts, seen = inference.coarsest(seen, parts)
        elif seen is not None and inference.silent_places(seen):
            pattern_inferred = True
            inferred.append("pattern")
        if pattern_inferred and seen is not None:
            pattern = inference.letters(seen.played, parts)
            confidence["pattern"] = seen.confidence
    elif told.per_beat is None:
        inferred.append("per_beat")
    swing = lattice.swing if parts == lattice.per_beat and parts in (2, 4) else None
    if told.swing is None and swing is not None:
        inferred.append("swing")
    count_in = told.count_in
    if count_in is None and clicks is not None:
        count_in = min(max(start // per_bar, 0), COUNT_IN_MAX_BARS)
        inferred.append("count_in")
    completed = replace(
        told, bpm=pulse.bpm, meter=str(meter), per_beat=parts, pattern=pattern, swing=swing, count_in=count_in
    )
    return _Plan(
        exercise=completed, start_beat=start, inferred=tuple(inferred), confidence=confidence,
        pattern_inferred=pattern_inferred, notices=tuple(notices),
    )  # fmt: skip


def _start_beat(
    cell: IntArray,
    beat: FloatArray,
    parts: int,
    per_bar: int,
    pulse: Pulse,
    told: Exercise,
    accents: inference.Accents | None,
    first_downbeat_s: float | None,
) -> int:
    """Beat of the pulse at which the first played bar begins."""
    if first_downbeat_s is not None:
        return round(float(pulse.beats(np.array([first_downbeat_s]))[0]))
    played = None if told.pattern is None else np.array([c != "." for c in told.pattern])
    first = int(np.floor(cell[0] / parts))
    clicked = pulse.last_click_beat is not None
    if clicked:
        beats = np.arange(min(0, first - per_bar), max(first, 0) + 2 * per_bar + 1)
        cost = np.where(beats % per_bar == 0, 0.0, OFF_BAR_COST)
        cost = np.where(beats < 0, cost + OFF_BAR_COST, cost)
    else:
        beats = np.arange(first - per_bar, first + per_bar + 1)
        cost = np.full(len(beats), 0.0)
    agreed = np.ones(len(beats), np.bool_)
    if accents is not None and accents.period == per_bar:
        agreed = beats % per_bar == accents.phase
        cost = np.where(agreed, 0.0, ACCENT_COST)
    if clicked and told.count_in is not None:
        counted = [told.count_in * per_bar]
        if pulse.clicks_per_beat != 1.0:
            counted.append(round(told.count_in * per_bar / pulse.clicks_per_beat))
        is_told = np.isin(beats, counted)
        if is_told.any() and agreed[is_told].any():
            cost = np.where(is_told, 0.0, np.inf if played is None else max(TOLD_COUNT_COST, TOLD_COUNT_SHARE * len(cell)))
            near = np.abs(beats - counted[0]) < per_bar
            cost = np.where(is_told | near, cost, np.inf)
        elif agreed.any():
            cost = np.where(agreed & (np.abs(beats - counted[0]) < per_bar), 0.0, np.inf)
        if not np.isfinite(cost).any():
            return counted[0]
    keep = np.isfinite(cost)
    return best_start(cell, played, beats[keep] * parts, cost[keep]) // parts


def _placed(plan: _Plan, pulse: Pulse, strum_s: FloatArray) -> BeatGrid:
    """The grid in file time, long enough for every strum and click where the bars are not told."""
    exercise = plan.exercise
    per_bar, bpm = exercise.beats_per_bar, exercise.bpm
    assert per_bar is not None and bpm is not None
    bars = exercise.bars
    if bars is None:
        last = max(float(pulse.beats(strum_s[-1:])[0]), pulse.last_click_beat or 0.0) - plan.start_beat
        bars = max(math.ceil((last + 1.5) / per_bar), 1)
    grid = build_grid(exercise, bars=bars)
    if plan.pattern_inferred:
        grid = replace(grid, stroke=np.full(len(grid), "?"))
    return grid.placed(pulse.zero_s + plan.start_beat * pulse.beat_s, pulse.beat_s / (60.0 / bpm))


def _end(found: Pairing, grid: BeatGrid, plan: _Plan, pulse: Pulse) -> float:
    """Where the grid ends when the bars are not told [s]."""
    slot = found.slot[found.paired]
    last_slot = -1
    if len(slot):
        number = np.arange(1, len(slot) + 1)
        omitted = 0 if plan.pattern_inferred else OMITTED_COST
        worth = -max(omitted, 0.2) * (slot + 1 - number) - OUTSIDE_COST * (len(slot) - number)
        last_slot = int(slot[int(np.argmax(worth))])
    strum_end = float(grid.slot_s[last_slot] + 0.25 * grid.part_s[last_slot]) if last_slot >= 0 else grid.end_s
    if pulse.last_click_beat is None:
        return strum_end
    beats = math.floor(pulse.last_click_beat + 1e-6) + max(1.0, 1.0 / pulse.clicks_per_beat)
    click_end = pulse.zero_s + (beats - 0.01) * pulse.beat_s
    after = int((grid.slot_s[slot[slot <= last_slot]] > click_end).sum())
    per_bar = len(grid) / max(len(grid.line_s) / grid.beats_per_bar, 1)
    return strum_end if after >= max(EXTEND_STRUMS, per_bar / 2) else click_end


def _cut(grid: BeatGrid, stop_s: float) -> BeatGrid:
    """The grid without what lies after a time."""
    slot, line = grid.slot_s <= stop_s, grid.line_s <= stop_s
    per_slot = ("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord")
    per_line = ("line_s", "line_bar", "line_beat")
    ends = grid.line_s[~line]
    cut: dict[str, Any] = {k: getattr(grid, k)[slot] for k in per_slot} | {k: getattr(grid, k)[line] for k in per_line}
    return replace(grid, **cut, end_s=float(ends[0]) if len(ends) else grid.end_s)


def _result(
    strum_s: FloatArray,
    found: Pairing,
    grid: BeatGrid,
    plan: _Plan,
    pulse: Pulse,
    clicks: Clicks | None,
    told: Exercise,
) -> Alignment:
    slot = np.where(found.paired, found.slot, ADDED)
    if len(grid):
        outside: NDArray[np.bool_] = (strum_s < grid.slot_s[0]) | (strum_s > grid.slot_s[-1])
        slot = np.where(outside & (slot == NO_SLOT), OUTSIDE, slot)
    omitted = np.zeros(0, np.int64)
    if not plan.pattern_inferred:
        omitted = np.setdiff1d(np.arange(len(grid)), slot[slot >= 0])
    exercise, inferred = plan.exercise, plan.inferred
    if exercise.bars is None:
        exercise = replace(exercise, bars=max(int(grid.line_bar[-1]), 1) if len(grid.line_bar) else 1)
        inferred = (*inferred, "bars")
    return Alignment(
        grid=grid, anchor=pulse.anchor, exercise=exercise, inferred=inferred,
        confidence=MappingProxyType(dict(plan.confidence)), slot=slot, omitted=omitted,
        anchor_u_s=pulse.u_at(grid.slot_s), rate_u=pulse.rate_u, first_downbeat_s=float(grid.line_s[0]),
        bpm_heard=pulse.bpm_heard, bpm_heard_u=pulse.bpm_heard_u, clock_skew_ppm=pulse.skew_ppm,
        clock_skew_u_ppm=pulse.skew_u_ppm, clicks_heard=0 if clicks is None else int(np.sum(clicks.heard)),
        notices=pulse.notices + plan.notices,
    )  # fmt: skip
