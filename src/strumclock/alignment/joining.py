"""Grids of one exercise cut to stretches of time, and joined where the click steps to another tempo or has a gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.pairing import FloatArray
from strumclock.alignment.result import OTHER_PART, Alignment
from strumclock.grid import BeatGrid

_PER_SLOT = ("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord")
_PER_LINE = ("line_s", "line_bar", "line_beat")


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


def cut_alignment(found: Alignment, from_s: float, to_s: float, strum_s: FloatArray) -> Alignment:
    """An alignment between two times: slots outside are gone, strums outside belong to another part."""
    grid, kept = cut_grid(found.grid, from_s, to_s)
    number = np.cumsum(kept) - 1
    slot = found.slot.copy()
    on = slot >= 0
    slot[on] = np.where(kept[slot[on]], number[slot[on]], OTHER_PART)
    slot[(strum_s < from_s) | (strum_s > to_s)] = OTHER_PART
    omitted = found.omitted[kept[found.omitted]]
    bars_s = grid.line_s[grid.line_beat == 1]
    later = from_s > found.first_downbeat_s and len(bars_s) > 0
    ends = (*found.steps_s[1:], np.inf)
    steps = [k for k, step_s in enumerate(found.steps_s) if step_s < to_s and ends[k] > from_s]
    return replace(
        found, grid=grid, slot=slot, omitted=number[omitted], anchor_u_s=found.anchor_u_s[kept],
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
