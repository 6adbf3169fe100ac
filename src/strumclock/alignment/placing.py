"""Where the grid lies in the recording and where it ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from strumclock.alignment.completing import Completed
from strumclock.alignment.departures import Stretch
from strumclock.alignment.pairing import FloatArray, Pairing, pair
from strumclock.alignment.pulse import Bend, Pulse
from strumclock.alignment.score import OMITTED_COST, OUTSIDE_COST
from strumclock.grid import BeatGrid, build_grid, lay_out

EXTEND_STRUMS = 3
"""Strums on their slots after the last audible click from which the grid goes on without it; a final strum that rings
out on the next downbeat does not extend it."""
UNTOLD_GAP_COST = 0.2
"""Cost of an empty slot when the last strum is looked for and the pattern was not told: a third of a told slot's."""


def fit_map(strum_s: FloatArray, grid: BeatGrid) -> float:
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

    def at(time_s: FloatArray) -> FloatArray:
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
    found: Pairing, grid: BeatGrid, done: Completed, pulse: Pulse, stretches: Sequence[Stretch], strum_s: FloatArray
) -> float:
    """Where the grid ends when the bars are not told: with the last audible click, else with the last strum [s].

    The last strum is the one up to which slots taken outweigh slots empty, so that a noise after the end is not it.
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
    return strum_end if after >= max(EXTEND_STRUMS, per_bar / 2) else click_end


def cut(grid: BeatGrid, stop_s: float) -> BeatGrid:
    """The grid without what lies after a time."""
    slot, line = grid.slot_s <= stop_s, grid.line_s <= stop_s
    per_slot = ("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord")
    per_line = ("line_s", "line_bar", "line_beat")
    rest = grid.line_s[~line]
    cut: dict[str, Any] = {k: getattr(grid, k)[slot] for k in per_slot} | {k: getattr(grid, k)[line] for k in per_line}
    return replace(grid, **cut, end_s=float(rest[0]) if len(rest) else grid.end_s)


def fit_phase(pulse: Pulse, grid: BeatGrid, strum_s: FloatArray, found: Pairing) -> tuple[Pulse, BeatGrid]:
    """Pulse and grid moved so that the strums are on time in the median: without a click, nothing else can be said."""
    kept = found.paired
    offset = float(np.median(strum_s[kept] - grid.slot_s[found.slot[kept]]))
    u_s = math.sqrt(math.pi / 2) * found.spread_s / math.sqrt(kept.sum())  # of a median of independent normal values
    moved = replace(
        pulse, zero_s=pulse.zero_s + offset, line_s=pulse.line_s + offset, pivot_s=float(strum_s[kept].mean()),
        pivot_u_s=u_s,
    )  # fmt: skip
    return moved, grid.placed(offset)
