"""The grid in the recording: where it lies and ends, and the strums on it; cut to a stretch, joined to another's.

Which strums a slot is looked for is decided here too: not those off the click, nor those of other places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.completing import Completed
from strumclock.alignment.departures import Stretch
from strumclock.alignment.meanings import STRUMS_MIN, on_slots, own_places
from strumclock.alignment.notices import POOR_FIT
from strumclock.alignment.pairing import NO_SLOT, Pairing, pair
from strumclock.alignment.pulse import Bend, Pulse
from strumclock.alignment.result import OTHER_PART, Alignment
from strumclock.alignment.score import OMITTED_COST, OUTSIDE_COST
from strumclock.arrays import Floats
from strumclock.grid import BeatGrid, Exercise, build_grid, lay_out

EXTEND_STRUMS = 3
"""Strums on their slots after the last audible click from which the grid goes on without it; a final strum that rings
out on the next downbeat does not extend it."""
UNTOLD_GAP_COST = 0.2
"""Cost of an empty slot when the last strum is looked for and the pattern was not told: a third of a told slot's."""
FEW_PAIRED = 0.75
"""Share of the strums with a slot below which a constant offset of a whole part (wireless headphones) is looked for,
and parts of the beat that were not told are doubted."""
_PER_SLOT = ("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord")
_PER_LINE = ("line_s", "line_bar", "line_beat")


def fit_map(strum_s: Floats, grid: BeatGrid) -> float:
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


def place(done: Completed, pulse: Pulse, last_s: float, given: BeatGrid | None) -> BeatGrid:
    """The grid in file time, long enough for every strum and click where the bars are not told."""
    exercise = done.exercise
    if pulse.mapped and given is not None:
        return _relaid(given, done).placed(pulse.time(pulse.map_start), pulse.map_rate)
    per_bar = exercise.beats_per_bar or 4
    bars = exercise.bars
    if bars is None:
        last = max(float(pulse.beats(np.array([last_s]))[0]), pulse.last_click_beat or 0.0) - done.start_beat
        bars = max(math.ceil((last + 1.5) / per_bar), 1)
    grid = build_grid(exercise, bars=bars)
    if done.pattern_inferred:
        grid = replace(grid, stroke=np.full(len(grid), "?"))
    placed = grid.placed(pulse.time(done.start_beat), pulse.beat_s * pulse.bpm / 60.0)
    if pulse.bend is None:
        return placed
    return _bent(placed, pulse.bend, pulse.zero_s + done.start_beat * pulse.beat_s - placed.line_s[0])


def _bent(grid: BeatGrid, bend: Bend, later_s: float) -> BeatGrid:
    """The same grid, so much later, on a beat that is not steady."""

    def at(time_s: Floats) -> Floats:
        return bend.bent(time_s + later_s)

    slot_s, line_s = at(grid.slot_s), at(grid.line_s)
    beat_s = at(grid.slot_s + grid.beat_s) - slot_s
    return replace(
        grid, slot_s=slot_s, line_s=line_s, count_in_s=at(grid.count_in_s), end_s=float(at(np.array([grid.end_s]))[0]),
        beat_s=beat_s, part_s=grid.part_s * beat_s / grid.beat_s,
    )  # fmt: skip


def _relaid(given: BeatGrid, done: Completed) -> BeatGrid:
    """A tempo map's grid with the inferred pattern on it; as it came where nothing was inferred or its meter
    changes."""
    meter = done.exercise.time_signature
    lengths = np.bincount(given.line_bar)[given.line_bar[0] : -1] if len(given.line_bar) else np.zeros(0)
    if not done.pattern_inferred or meter is None or (lengths != meter.beats_per_bar).any():
        return given
    edges = np.append(given.line_s, given.end_s)
    grid = lay_out(
        done.exercise, meter=meter, line_bar=given.line_bar, line_beat=given.line_beat,
        place=lambda line: np.interp(line, np.arange(len(edges)), edges),
    )  # fmt: skip
    return replace(grid, stroke=np.full(len(grid), "?"), count_in_s=given.count_in_s)


def end_of(
    found: Pairing, grid: BeatGrid, done: Completed, pulse: Pulse, stretches: Sequence[Stretch], strum_s: Floats
) -> float:
    """Where the grid ends when the bars are not told: with the last audible click, else with the last strum [s].

    The last strum is the one up to which slots taken outweigh slots empty, so that a noise after the end is not it. In
    the bar of the last audible click what was played counts to the bar's end: a strum may have covered the clicks left.
    """
    strum_end = grid.end_s
    slot = found.slot[found.paired]
    last = -1
    if len(slot):
        number = np.arange(1, len(slot) + 1)
        empty = UNTOLD_GAP_COST if done.pattern_inferred else OMITTED_COST
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
    beyond = int((strum_s > click_end).sum())
    if beyond >= EXTEND_STRUMS and beyond > int((strum_s >= grid.slot_s[0]).sum()) - beyond:
        return max(strum_end, float(strum_s[-1]))  # most is played after the clicks, on these beats or off
    after = int((grid.slot_s[slot[slot <= last]] > click_end).sum())
    per_bar = len(grid) / max(len(grid.line_s) / grid.beats_per_bar, 1.0)
    if after >= max(EXTEND_STRUMS, per_bar / 2):
        return strum_end
    return max(click_end, min(strum_end, _bar_end(grid, pulse.time(pulse.last_click_beat)))) if after else click_end


def _bar_end(grid: BeatGrid, time_s: float) -> float:
    """Where the bar ends that a time lies in, or where the first one begins."""
    line = int(np.searchsorted(grid.line_s, time_s + 0.5 * grid.part_s[0], side="right")) - 1
    later = grid.line_s[grid.line_bar > grid.line_bar[line]] if line >= 0 else grid.line_s
    return float(later[0] if len(later) else grid.end_s) - 0.5 * float(grid.part_s[-1])


def fit_phase(pulse: Pulse, grid: BeatGrid, strum_s: Floats, found: Pairing) -> tuple[Pulse, BeatGrid]:
    """Pulse and grid moved so that the strums are on time in the median: without a click, nothing else can be said."""
    kept = found.paired
    offset = float(np.median(strum_s[kept] - grid.slot_s[found.slot[kept]]))
    u_s = math.sqrt(math.pi / 2) * found.spread_s / math.sqrt(kept.sum())  # of a median of independent normal values
    moved = replace(
        pulse, zero_s=pulse.zero_s + offset, line_s=pulse.line_s + offset, pivot_s=float(strum_s[kept].mean()),
        pivot_u_s=u_s,
    )  # fmt: skip
    return moved, grid.placed(offset)


def kept_to_click(n: int, stretches: Sequence[Stretch]) -> NDArray[np.bool_]:
    """Whether each of n strums lies outside the stretches that left the click."""
    keep = np.ones(n, np.bool_)
    for s in stretches:
        keep[s.first : s.last + 1] = False
    return keep


def pair_own(strum_s: Floats, grid: BeatGrid, with_click: NDArray[np.bool_], pulse: Pulse, given: Exercise) -> Pairing:
    """The strums that kept to the click, paired; where much was left out or added, or the beat told is not the click's,
    only those whose own place is a slot: the others would be folded onto slots that they were not played for."""
    found = _pair(strum_s, grid, with_click)
    kept = int(with_click.sum())
    if kept < STRUMS_MIN or (pulse.clicks_per_beat == 1.0 and not _poor(found, len(grid), kept)):
        return found
    own = own_places(pulse.beats(strum_s[with_click]), pulse, given)
    if not own.clear:
        return found
    among = with_click.copy()
    among[with_click] = on_slots(own, pulse.beats(grid.slot_s), 1.0 / grid.per_beat, free=pulse.anchor == "fitted")
    return _pair(strum_s, grid, among) if not among[with_click].all() else found


def _pair(strum_s: Floats, grid: BeatGrid, among: NDArray[np.bool_]) -> Pairing:
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


def _poor(found: Pairing, n_slots: int, n_strums: int) -> bool:
    """Whether many strums have no slot, or many slots no strum."""
    paired = int(found.paired.sum())
    return paired < (1.0 - POOR_FIT) * max(n_strums, n_slots)


def cut_grid(grid: BeatGrid, from_s: float, to_s: float) -> tuple[BeatGrid, NDArray[np.bool_]]:
    """The grid between two times, its bars numbered as before; and which of its slots are left."""
    slot = (grid.slot_s >= from_s) & (grid.slot_s <= to_s)
    line = (grid.line_s >= from_s) & (grid.line_s <= to_s)
    rest = grid.line_s[grid.line_s > to_s]
    kept: dict[str, Any] = {k: getattr(grid, k)[slot] for k in _PER_SLOT} | {
        k: getattr(grid, k)[line] for k in _PER_LINE
    }
    count_in_s = grid.count_in_s if line.all() or (len(line) and line[0]) else np.zeros(0)
    return replace(grid, **kept, count_in_s=count_in_s, end_s=float(rest[0]) if len(rest) else grid.end_s), slot


def cut_alignment(found: Alignment, from_s: float, to_s: float, strum_s: Floats) -> Alignment:
    """An alignment between two times: slots outside are gone, strums outside belong to another part, and a slot whose
    strum lies outside was left empty here."""
    grid, kept = cut_grid(found.grid, from_s, to_s)
    number = np.cumsum(kept) - 1
    slot = found.slot.copy()
    on = slot >= 0
    slot[on] = np.where(kept[slot[on]], number[slot[on]], OTHER_PART)
    outside = (strum_s < from_s) | (strum_s > to_s)
    omitted = number[found.omitted[kept[found.omitted]]]
    if "pattern" not in found.inferred:
        omitted = np.union1d(omitted, slot[outside & (slot >= 0)])
    slot[outside] = OTHER_PART
    bars_s = grid.line_s[grid.line_beat == 1]
    later = from_s > found.first_downbeat_s and len(bars_s) > 0
    ends = (*found.steps_s[1:], np.inf)
    early_s = float(np.median(found.grid.part_s)) if len(found.grid) else 0.0  # a step's first strums may be early
    steps = [k for k, step_s in enumerate(found.steps_s) if step_s < to_s and ends[k] > from_s + early_s]
    exercise = found.exercise
    if len(steps) == 1 and len(found.steps_s) > 1:
        exercise = replace(exercise, bpm=found.steps_bpm[steps[0]])
    return replace(
        found, exercise=exercise, grid=grid, slot=slot, omitted=omitted, anchor_u_s=found.anchor_u_s[kept],
        left_click=tuple(d for d in found.left_click if from_s <= d.start_s and d.end_s <= to_s),
        gaps_s=tuple(s for s in found.gaps_s if from_s < s < to_s),
        steps_s=tuple(found.steps_s[k] for k in steps), steps_bpm=tuple(found.steps_bpm[k] for k in steps),
        first_downbeat_s=float(bars_s[0]) if later else found.first_downbeat_s,
    )  # fmt: skip


def join_alignments(stretches: Sequence[Alignment], begin_s: Sequence[float]) -> Alignment:
    """Alignments of stretches that follow each other, as one: slots, bars and strums in one row.

    Parameters
    ----------
    stretches : sequence of Alignment
        Each cut to its own stretch, its `slot` for all strums of the recording, bars numbered on.
    begin_s : sequence of float
        Where each begins.
    """
    if len(stretches) == 1:
        return stretches[0]
    grids = []
    for k, found in enumerate(stretches):
        to_s = begin_s[k + 1] if k + 1 < len(stretches) else np.inf
        grids.append(cut_grid(found.grid, -np.inf, to_s)[0])
    first, last = stretches[0], stretches[-1]
    slot, before = np.full(len(first.slot), OTHER_PART), 0
    omitted = []
    for found, grid in zip(stretches, grids, strict=True):
        here = found.slot != OTHER_PART
        slot[here] = np.where(found.slot[here] >= 0, found.slot[here] + before, found.slot[here])
        omitted.append(found.omitted[found.omitted < len(grid)] + before)
        before += len(grid)
    row: dict[str, Any] = {k: np.concatenate([getattr(g, k) for g in grids]) for k in (*_PER_SLOT, *_PER_LINE)}
    one_tempo = len({round(f.exercise.bpm or 0.0, 3) for f in stretches}) == 1
    steps = [k for k, f in enumerate(stretches) if not k or f.exercise.bpm != stretches[k - 1].exercise.bpm]
    longest = max(stretches, key=lambda f: f.clicks_heard)
    of_clicks: dict[str, Any] = {
        k: getattr(longest, k) if one_tempo else None
        for k in ("bpm_heard", "bpm_heard_u", "clock_skew_ppm", "clock_skew_u_ppm")
    }
    return replace(
        first, **of_clicks, grid=replace(grids[0], **row, end_s=grids[-1].end_s), slot=slot,
        omitted=np.concatenate(omitted),
        anchor_u_s=np.concatenate([f.anchor_u_s[: len(g)] for f, g in zip(stretches, grids, strict=True)]),
        rate_u=max(f.rate_u for f in stretches), clicks_heard=sum(f.clicks_heard for f in stretches),
        left_click=tuple(d for f in stretches for d in f.left_click),
        exercise=replace(first.exercise, bars=last.exercise.bars), gaps_s=tuple(s for f in stretches for s in f.gaps_s),
        steps_s=tuple(stretches[k].steps_s[0] for k in steps),
        steps_bpm=tuple(stretches[k].steps_bpm[0] for k in steps),
    )  # fmt: skip
