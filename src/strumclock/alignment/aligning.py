"""From strum times, an exercise and clicks to an `Alignment`."""

from __future__ import annotations

import math
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.alignment import pulse as pulses
from strumclock.alignment import remarks
from strumclock.alignment.completing import Plan
from strumclock.alignment.left import Stretch, find_left
from strumclock.alignment.pairing import NO_SLOT, FloatArray, IntArray, Pairing, pair
from strumclock.alignment.pulse import Pulse
from strumclock.alignment.reading import STRUMS_MIN, on_slots, own_places, read
from strumclock.alignment.start import OMITTED_COST, OUTSIDE_COST
from strumclock.alignment.values import ADDED, LEFT_CLICK, OUTSIDE, Alignment, Departure
from strumclock.errors import Notice, RecordingError, UsageError
from strumclock.grid import PER_BEAT_RANGE, BeatGrid, Exercise, build_grid, lay_out

if TYPE_CHECKING:
    from strumclock.click import Clicks
    from strumclock.onsets import Strums

EXTEND_STRUMS = 3
"""Strums on their slots after the last audible click from which the grid goes on without it; a final strum that rings
out on the next downbeat does not extend it."""
UNTOLD_GAP_COST = 0.2
"""Cost of an empty slot when the last strum is looked for and the pattern was not told: a third of a told slot's."""
MOST = 0.5
"""Share of the strums in one stretch from which, without a click, its tempo counts and not the one told."""
FEW_PAIRED = 0.75
"""Share of the strums with a slot below which a constant offset of a whole part (wireless headphones) is looked for,
and parts of the beat that were not told are doubted."""


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
        If there are no strums, or neither a click nor a told tempo nor strums that keep one; or if the recording ends
        before the first played bar.
    UsageError
        If the times are not finite or do not increase.

    Examples
    --------
    >>> found = align([2.01, 3.0, 4.02, 5.49, 6.01], Exercise(bpm=60, per_beat=1, bars=2), first_downbeat_s=2.0)
    >>> found.slot.tolist(), found.omitted.tolist(), found.anchor
    ([0, 1, 2, -1, 4], [3, 5, 6, 7], 'given')
    """
    strum_s = _times(strums)
    pulse = _pulse(strum_s, exercise, clicks, first_downbeat_s, first_downbeat_u_s, same_clock, grid)
    plan, stretches = _plan(strum_s, pulse, exercise, clicks, first_downbeat_s)
    own_bpm = _own_tempo(strum_s, pulse, stretches)
    if own_bpm is not None:
        pulse = pulses.other_tempo(strum_s, pulse, own_bpm)
        plan, stretches = _plan(strum_s, pulse, exercise, clicks, first_downbeat_s)
    with_click = _with_click(len(strum_s), stretches)
    placed = _place(plan, pulse, float(strum_s[-1]), grid)
    found = _pair_own(strum_s, placed, with_click, pulse, exercise)
    stop_s = _end(found, placed, plan, pulse, stretches, strum_s) if exercise.bars is None else placed.end_s
    notices: tuple[Notice, ...] = ()
    if end_s is not None and end_s < stop_s:
        if len(placed) and placed.slot_s[-1] > end_s and exercise.bars is not None:
            message = (
                f"the recording ends at {end_s:.1f} s, before bar {placed.line_bar[-1]} does; the slots after it "
                "are left out"
            )
            notices += (Notice(code="cut-off", message=message),)
        stop_s = end_s
        if len(placed) and placed.slot_s[0] > end_s:
            raise RecordingError(
                f"the first played bar would begin at {placed.line_s[0]:.1f} s, but the recording ends at "
                f"{end_s:.1f} s; check the tempo, the count-in or the first downbeat told"
            )
    if len(placed) and placed.slot_s[-1] > stop_s:
        placed = _cut(placed, stop_s)
        found = _pair_own(strum_s, placed, with_click, pulse, exercise)
    if pulse.anchor == "fitted" and found.paired.any():
        pulse, placed = _fit_phase(pulse, placed, strum_s, found)
    return _result(strum_s, found, placed, plan, pulse, stretches, clicks, notices)


def _times(strums: Any) -> FloatArray:
    times = np.asarray(getattr(strums, "time_s", strums), dtype=np.float64)
    if times.ndim != 1 or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise UsageError("strum times must be one row of finite, increasing seconds; sort them and leave out repeats")
    if not len(times):
        raise RecordingError("aligning needs at least one strum, but none was found; check that the guitar is audible")
    return times


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
    zero_s = _fit_map(strum_s, grid)
    return pulses.told_map(grid, anchor="fitted", zero_s=zero_s, u_s=0.0, same_clock=same_clock)


def _fit_map(strum_s: FloatArray, grid: BeatGrid) -> float:
    """First downbeat at which a tempo map explains the strums best, the first strum being one of its first slots
    [s]."""
    best, best_worth = float(strum_s[0]), -math.inf
    slots = grid.slot_s[grid.bar <= grid.bar[0] + 1] if len(grid) else np.zeros(1)
    for omitted, slot_s in enumerate(slots.tolist()):
        zero_s = float(strum_s[0]) - slot_s
        worth = pair(strum_s, grid.slot_s + zero_s, grid.part_s).gain - OMITTED_COST * omitted
        if worth > best_worth:
            best, best_worth = zero_s, worth
    return best


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
    if not stretches and own is None and exercise.per_beat is None and plan.explained < FEW_PAIRED:
        tried = (find_left(beat, parts) for parts in range(1, PER_BEAT_RANGE[1] + 1))
        stretches = next((found for found in tried if found), [])
    with_click = _with_click(len(strum_s), stretches)
    if stretches and with_click.any():
        plan, _ = read(beat[with_click], pulse, exercise, clicks=clicks, downbeat=downbeat)
    return plan, stretches


def _own_tempo(strum_s: FloatArray, pulse: Pulse, stretches: list[Stretch]) -> float | None:
    """The tempo of a take without clicks, most of whose strums keep another one than that told."""
    if pulse.anchor != "fitted" or pulse.mapped or pulse.tempo_found or not stretches:
        return None
    longest = max(stretches, key=lambda s: s.last - s.first)
    share = (longest.last - longest.first + 1) / len(strum_s)
    return pulse.bpm * longest.ratio if share > MOST else None


def _with_click(n: int, stretches: list[Stretch]) -> NDArray[np.bool_]:
    """Whether each of n strums lies outside the stretches that left the click."""
    keep = np.ones(n, np.bool_)
    for s in stretches:
        keep[s.first : s.last + 1] = False
    return keep


def _place(plan: Plan, pulse: Pulse, last_s: float, given: BeatGrid | None) -> BeatGrid:
    """The grid in file time, long enough for every strum and click where the bars are not told."""
    exercise = plan.exercise
    if pulse.mapped and given is not None:
        return _relaid(given, plan).placed(pulse.time(pulse.map_start), pulse.map_rate)
    per_bar = exercise.beats_per_bar or 4
    bars = exercise.bars
    if bars is None:
        last = max(float(pulse.beats(np.array([last_s]))[0]), pulse.last_click_beat or 0.0) - plan.start_beat
        bars = max(math.ceil((last + 1.5) / per_bar), 1)
    grid = build_grid(exercise, bars=bars)
    if plan.pattern_inferred:
        grid = replace(grid, stroke=np.full(len(grid), "?"))
    return grid.placed(pulse.time(plan.start_beat), pulse.beat_s * pulse.bpm / 60.0)


def _relaid(given: BeatGrid, plan: Plan) -> BeatGrid:
    """A tempo map's grid with the inferred pattern on it; as it came where nothing was inferred or its meter
    changes."""
    meter = plan.exercise.time_signature
    lengths = np.bincount(given.line_bar)[given.line_bar[0] : -1] if len(given.line_bar) else np.zeros(0)
    if not plan.pattern_inferred or meter is None or (lengths != meter.beats_per_bar).any():
        return given
    edges = np.append(given.line_s, given.end_s)
    grid = lay_out(
        plan.exercise, meter=meter, line_bar=given.line_bar, line_beat=given.line_beat,
        place=lambda line: np.interp(line, np.arange(len(edges)), edges),
    )  # fmt: skip
    return replace(grid, stroke=np.full(len(grid), "?"), count_in_s=given.count_in_s)


def _pair(strum_s: FloatArray, grid: BeatGrid, among: NDArray[np.bool_]) -> Pairing:
    """The strums among which a slot is looked for, paired; the others without a slot."""
    kept = strum_s[among]
    found = pair(kept, grid.slot_s, grid.part_s)
    if len(kept) and found.paired.mean() < FEW_PAIRED and len(grid):
        part = float(np.median(grid.part_s))
        for shift in (part, -part):
            other = pair(kept, grid.slot_s, grid.part_s, start_s=float(found.follow_s[0]) + shift)
            if other.gain > found.gain + len(kept) * (1.0 - FEW_PAIRED):
                found = other
    slot, follow_s = np.full(len(strum_s), NO_SLOT), np.zeros(len(strum_s))
    slot[among], follow_s[among] = found.slot, found.follow_s
    return replace(found, slot=slot, follow_s=follow_s)


def _pair_own(
    strum_s: FloatArray, grid: BeatGrid, with_click: NDArray[np.bool_], pulse: Pulse, told: Exercise
) -> Pairing:
    """The strums that kept to the click, paired; where much was left out or added, or the beat told is not the click's,
    only those whose own place is a slot: the others would be folded onto slots that they were not played for."""
    found = _pair(strum_s, grid, with_click)
    kept = int(with_click.sum())
    if kept < STRUMS_MIN or (pulse.clicks_per_beat == 1.0 and not _poor(found, len(grid), kept)):
        return found
    own = own_places(pulse.beats(strum_s[with_click]), pulse, told)
    if not own.clear:
        return found
    among = with_click.copy()
    among[with_click] = on_slots(own, pulse.beats(grid.slot_s), 1.0 / grid.per_beat, free=pulse.anchor == "fitted")
    return _pair(strum_s, grid, among) if not among[with_click].all() else found


def _poor(found: Pairing, n_slots: int, n_strums: int) -> bool:
    """Whether many strums have no slot, or many slots no strum."""
    paired = int(found.paired.sum())
    return paired < (1.0 - remarks.POOR_FIT) * max(n_strums, n_slots)


def _end(
    found: Pairing, grid: BeatGrid, plan: Plan, pulse: Pulse, stretches: list[Stretch], strum_s: FloatArray
) -> float:
    """Where the grid ends when the bars are not told: with the last audible click, else with the last strum [s].

    The last strum is the one up to which slots taken outweigh slots empty, so that a noise after the end is not it.
    """
    strum_end = grid.end_s
    slot = found.slot[found.paired]
    last = -1
    if len(slot):
        number = np.arange(1, len(slot) + 1)
        empty = UNTOLD_GAP_COST if plan.pattern_inferred else OMITTED_COST
        worth = -empty * (slot + 1 - number) - OUTSIDE_COST * (len(slot) - number)
        last = int(slot[int(np.argmax(worth))])
        strum_end = float(grid.slot_s[last] + 0.25 * grid.part_s[last])
    if stretches:
        strum_end = max(strum_end, float(strum_s[stretches[-1].last])) if len(slot) else float(strum_s[-1])
    if pulse.last_click_beat is None or not len(grid):
        return strum_end
    beats = math.floor(pulse.last_click_beat + 1e-6) + max(1.0, 1.0 / pulse.clicks_per_beat)
    click_end = pulse.time(beats - 0.01)
    if click_end < grid.slot_s[0]:
        return strum_end
    after = int((grid.slot_s[slot[slot <= last]] > click_end).sum())
    per_bar = len(grid) / max(len(grid.line_s) / grid.beats_per_bar, 1.0)
    return strum_end if after >= max(EXTEND_STRUMS, per_bar / 2) else click_end


def _cut(grid: BeatGrid, stop_s: float) -> BeatGrid:
    """The grid without what lies after a time."""
    slot, line = grid.slot_s <= stop_s, grid.line_s <= stop_s
    per_slot = ("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord")
    per_line = ("line_s", "line_bar", "line_beat")
    rest = grid.line_s[~line]
    cut: dict[str, Any] = {k: getattr(grid, k)[slot] for k in per_slot} | {k: getattr(grid, k)[line] for k in per_line}
    return replace(grid, **cut, end_s=float(rest[0]) if len(rest) else grid.end_s)


def _fit_phase(pulse: Pulse, grid: BeatGrid, strum_s: FloatArray, found: Pairing) -> tuple[Pulse, BeatGrid]:
    """Pulse and grid moved so that the strums are on time in the median: without a click, nothing else can be said."""
    kept = found.paired
    offset = float(np.median(strum_s[kept] - grid.slot_s[found.slot[kept]]))
    u_s = math.sqrt(math.pi / 2) * found.spread_s / math.sqrt(kept.sum())  # of a median of independent normal values
    moved = replace(
        pulse, zero_s=pulse.zero_s + offset, line_s=pulse.line_s + offset, pivot_s=float(strum_s[kept].mean()),
        pivot_u_s=u_s,
    )  # fmt: skip
    return moved, grid.placed(offset)


def _result(
    strum_s: FloatArray,
    found: Pairing,
    grid: BeatGrid,
    plan: Plan,
    pulse: Pulse,
    stretches: list[Stretch],
    clicks: Clicks | None,
    notices: tuple[Notice, ...],
) -> Alignment:
    slot = _marked(strum_s, found, grid, stretches)
    departures, unasked = _departures(strum_s, grid, pulse, stretches)
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
    slot[~_with_click(len(strum_s), stretches)] = LEFT_CLICK
    return slot


def _departures(
    strum_s: FloatArray, grid: BeatGrid, pulse: Pulse, stretches: list[Stretch]
) -> tuple[tuple[Departure, ...], NDArray[np.bool_]]:
    """The stretches in seconds and bpm, and which slots lie in them."""
    unasked = np.zeros(len(grid), np.bool_)
    departures = []
    for s in stretches:
        start_s, end_s = float(strum_s[s.first]), float(strum_s[s.last])
        unasked |= (grid.slot_s >= start_s - 0.5 * grid.part_s) & (grid.slot_s <= end_s + 0.5 * grid.part_s)
        departures.append(
            Departure(start_s=start_s, end_s=end_s, played_bpm=float(s.ratio * (pulse.bpm_heard or pulse.bpm)))
        )
    return tuple(departures), unasked
