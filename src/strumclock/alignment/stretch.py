"""One stretch of playing: from strum times, an exercise and one row of clicks to an `Alignment`.

What was meant is searched first (`hypotheses`), then completed (`completing`), laid into the recording (`placing`) and
the strums paired with its slots (`matching`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment import notices, pulse as pulses
from strumclock.alignment.completing import Completed
from strumclock.alignment.departures import Stretch
from strumclock.alignment.hypotheses import Hypothesis, completed, search
from strumclock.alignment.pairing import Pairing
from strumclock.alignment.placing import cut_grid, end_of, fit_map, fit_phase, kept_to_click, pair_own, place
from strumclock.alignment.pulse import Pulse
from strumclock.alignment.result import ADDED, LEFT_CLICK, OUTSIDE, Alignment, Departure, Rival
from strumclock.alignment.score import score
from strumclock.alignment.tempo import OwnTempo
from strumclock.arrays import Floats, Ints
from strumclock.errors import Notice, RecordingError
from strumclock.grid import BeatGrid, Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks


def align_stretch(
    strum_s: Floats,
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
    best, rivals = search(strum_s, pulse, exercise, clicks=clicks, downbeat_s=first_downbeat_s)
    done = completed(best, exercise, clicked=clicks is not None)
    laid = _laid(strum_s, best, done, exercise, grid, end_s)
    return _result(strum_s, laid, best, rivals, done, exercise, clicks)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Laid:
    """The grid in the recording as far as it goes, the strums paired with its slots, and the pulse that it lies on."""

    grid: BeatGrid
    found: Pairing
    pulse: Pulse
    notices: tuple[Notice, ...] = ()


def _laid(
    strum_s: Floats, best: Hypothesis, done: Completed, given: Exercise, nominal: BeatGrid | None,
    end_s: float | None,
) -> _Laid:  # fmt: skip
    """The grid of the best hypothesis, cut where the playing or the recording ends."""
    pulse, departures = best.pulse, best.departures
    with_click = kept_to_click(len(strum_s), departures)
    grid = place(done, pulse, float(strum_s[-1]), nominal)
    found = pair_own(strum_s, grid, with_click, pulse, given)
    stop_s = grid.end_s
    if given.bars is None:
        stop_s = end_of(found, grid, done, pulse, departures, strum_s)
    said: tuple[Notice, ...] = ()
    if end_s is not None and end_s < stop_s:
        said = _cut_off(grid, end_s, bars_told=given.bars is not None)
        stop_s = end_s
    if len(grid) and grid.slot_s[-1] > stop_s:
        grid, _ = cut_grid(grid, -np.inf, stop_s)
        found = pair_own(strum_s, grid, with_click, pulse, given)
    if pulse.anchor == "fitted" and found.paired.any():
        pulse, grid = fit_phase(pulse, grid, strum_s, found)
    return _Laid(grid=grid, found=found, pulse=pulse, notices=said)


def _cut_off(grid: BeatGrid, end_s: float, *, bars_told: bool) -> tuple[Notice, ...]:
    """That the grid goes on beyond the recording's end, or the click's; an error where it only begins there."""
    if len(grid) and grid.slot_s[0] > end_s:
        raise RecordingError(
            f"the first played bar would begin at {grid.line_s[0]:.1f} s, but the recording ends at {end_s:.1f} s; "
            "check the tempo, the count-in or the first downbeat told"
        )
    if not (bars_told and len(grid) and grid.slot_s[-1] > end_s):
        return ()
    message = (
        f"the recording, or the click's one tempo, ends at {end_s:.1f} s, before bar {grid.line_bar[-1]} does; the "
        "slots after it are left out"
    )
    return (Notice(code="cut-off", message=message),)


def _pulse(
    strum_s: Floats,
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


def _result(
    strum_s: Floats, laid: _Laid, best: Hypothesis, rivals: tuple[Rival, ...], done: Completed, given: Exercise,
    clicks: Clicks | None,
) -> Alignment:  # fmt: skip
    """All of it as one value."""
    grid, pulse = laid.grid, laid.pulse
    slot = _marked(strum_s, laid.found, grid, best.departures)
    departures, unasked = _departures(strum_s, grid, pulse, best.departures, best.own_tempi(strum_s, given, done))
    omitted = np.zeros(0, np.int64)
    if not done.pattern_inferred:
        omitted = np.setdiff1d(np.flatnonzero(~unasked), slot[slot >= 0])
    exercise, inferred = done.exercise, done.inferred
    if exercise.bars is None:
        exercise, inferred = replace(exercise, bars=int(grid.line_bar[-1])), (*inferred, "bars")
    u_s = pulse.u_at(grid.slot_s)
    counts = [s.last - s.first + 1 for s in best.departures]
    said = (
        *pulse.notices, *done.notices, *laid.notices,
        *notices.left_click(departures, counts, pulse.bpm_heard or pulse.bpm), *notices.extrapolated(pulse, grid, u_s),
        *notices.ends(grid, slot, unasked, not done.pattern_inferred),
        *notices.outside(grid, strum_s, slot, done.exercise.bars is not None),
        *notices.far_off(grid, strum_s, slot, pulse.anchor == "fitted"),
        *notices.fit(grid, strum_s, slot, len(omitted)),
    )  # fmt: skip
    return Alignment(
        grid=grid, anchor=pulse.anchor, exercise=exercise, inferred=inferred,
        confidence=MappingProxyType(dict(done.confidence)), slot=slot, omitted=omitted, anchor_u_s=u_s,
        rate_u=pulse.rate_u, first_downbeat_s=float(grid.line_s[0]), bpm_heard=pulse.bpm_heard,
        bpm_heard_u=pulse.bpm_heard_u, clock_skew_ppm=pulse.skew_ppm, clock_skew_u_ppm=pulse.skew_u_ppm,
        clicks_heard=0 if clicks is None else int(np.sum(clicks.heard)), left_click=departures, notices=said,
        score=score(best.said), rivals=rivals, steps_s=(float(grid.line_s[0]),), steps_bpm=(exercise.bpm or pulse.bpm,),
    )  # fmt: skip


def _marked(strum_s: Floats, found: Pairing, grid: BeatGrid, stretches: Sequence[Stretch]) -> Ints:
    """The slot of every strum, those without one marked with the reason."""
    slot = np.where(found.paired, found.slot, ADDED)
    outside = np.ones(len(strum_s), np.bool_)
    if len(grid):
        outside = (strum_s < grid.slot_s[0]) | (strum_s > grid.slot_s[-1])
    slot = np.where(outside & ~found.paired, OUTSIDE, slot)
    slot[~kept_to_click(len(strum_s), stretches)] = LEFT_CLICK
    return slot


def _departures(
    strum_s: Floats, grid: BeatGrid, pulse: Pulse, stretches: Sequence[Stretch], tempi: Sequence[OwnTempo]
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
