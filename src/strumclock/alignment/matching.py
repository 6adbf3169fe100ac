"""Which strums a slot is looked for, and which are left out of that: those off the click, those of other places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.departures import Stretch
from strumclock.alignment.meanings import STRUMS_MIN, on_slots, own_places
from strumclock.alignment.notices import POOR_FIT
from strumclock.alignment.pairing import NO_SLOT, FloatArray, Pairing, pair
from strumclock.alignment.pulse import Pulse
from strumclock.grid import BeatGrid, Exercise

FEW_PAIRED = 0.75
"""Share of the strums with a slot below which a constant offset of a whole part (wireless headphones) is looked for,
and parts of the beat that were not told are doubted."""


def kept_to_click(n: int, stretches: Sequence[Stretch]) -> NDArray[np.bool_]:
    """Whether each of n strums lies outside the stretches that left the click."""
    keep = np.ones(n, np.bool_)
    for s in stretches:
        keep[s.first : s.last + 1] = False
    return keep


def pair_own(
    strum_s: FloatArray, grid: BeatGrid, with_click: NDArray[np.bool_], pulse: Pulse, given: Exercise
) -> Pairing:
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


def _poor(found: Pairing, n_slots: int, n_strums: int) -> bool:
    """Whether many strums have no slot, or many slots no strum."""
    paired = int(found.paired.sum())
    return paired < (1.0 - POOR_FIT) * max(n_strums, n_slots)
