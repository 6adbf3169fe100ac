"""From an alignment to what timing is measured from: the strums on slots with their places, and how the grid lies."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from strumclock.errors import UsageError
from strumclock.grid import part_places
from strumclock.timing.placed import Anchoring, PlacedStrums, StrumErrors

if TYPE_CHECKING:
    from strumclock.alignment import Alignment
    from strumclock.arrays import Bools, Floats
    from strumclock.onsets import Strums

CLICK_ANCHORS = ("recorded-click", "click-channel")
"""With these the grid's rate is that of clicks by the recorder's own clock."""


def aligned_strums(
    alignment: Alignment,
    *,
    at_change: Bools | None = None,
    chord: tuple[str, ...] | None = None,
    spread_s: Floats | None = None,
) -> PlacedStrums:
    """The strums that were meant for a slot, with their places.

    Parameters
    ----------
    alignment : Alignment
        With its strums.
    at_change : (n,) bool, optional
        For each strum of the alignment whether it is the first of a new chord; by default as the grid has it.
    chord : tuple of str, optional
        The chord under each strum that has a slot; by default as the grid has it, nothing where it tells none.
    spread_s : (n,) float, optional
        First to last string of each strum of the alignment [s].

    Raises
    ------
    UsageError
        If the alignment does not hold its strums.

    Examples
    --------
    >>> from strumclock.alignment import align
    >>> from strumclock.grid import Exercise, build_grid
    >>> grid = build_grid(Exercise(bpm=60, meter="4/4", chords=("A", "D")), bars=2)
    >>> placed = aligned_strums(align([0.01, 1.02, 1.99, 4.1], grid))
    >>> placed.beat.tolist(), placed.at_change.tolist(), placed.chord
    ([1, 2, 3, 1], [False, False, False, True], ('A', 'A', 'A', 'D'))
    """
    strums, grid, slot = strums_of(alignment), alignment.grid, alignment.slot
    on = np.flatnonzero(slot >= 0)
    at = slot[on]
    if chord is None and all(grid.chord[at]):
        chord = tuple(str(name) for name in grid.chord[at])
    return PlacedStrums.of(
        strums.time_s[on],
        grid.slot_s[at],
        slot=at,
        bar=grid.bar[at],
        beat=grid.beat[at],
        part=grid.part[at],
        at_change=grid.at_change[at] if at_change is None else at_change[on],
        chord=chord,
        u_s=strums.u_s[on],
        spread_s=None if spread_s is None else spread_s[on],
        part_s=grid.part_s[at],
        beat_s=grid.beat_s[at],
        second_at=float(part_places(2, alignment.exercise.swing)[1]) if grid.per_beat == 2 else None,
    )


def strums_of(alignment: Alignment) -> Strums:
    """The strums that were aligned."""
    if alignment.strums is None:
        raise UsageError("timing needs the strums that were aligned, but the alignment has none; make it with align()")
    return alignment.strums


def anchoring_of(alignment: Alignment, *, same_clock: bool = False) -> Anchoring:
    """How the alignment's grid got its place, for the strums that have a slot.

    Parameters
    ----------
    alignment : Alignment
    same_clock : bool
        Whether one clock made click and recording, though no click is in it.

    Examples
    --------
    >>> from strumclock.alignment import align
    >>> from strumclock.grid import Exercise, build_grid
    >>> grid = build_grid(Exercise(bpm=60, meter="4/4"), bars=1)
    >>> anchoring_of(align([0.01, 1.02], grid, first_downbeat_u_s=0.003)).u_s.tolist()
    [0.003, 0.003]
    """
    known = math.isfinite(alignment.rate_u)
    return Anchoring(
        anchor=alignment.anchor,
        u_s=alignment.anchor_u_s[alignment.slot[alignment.slot >= 0]],
        rate_u_ppm=alignment.rate_u * 1e6 if known else 0.0,
        clock_known=same_clock or alignment.anchor in CLICK_ANCHORS or alignment.rate_u == 0,
        tempo_estimated=not known,
    )


def errors_of(strums: Strums, *, spread_u_s: float = 0.0) -> StrumErrors:
    """What is known of the errors of strum times beyond each strum's own."""
    share = {} if strums.error_share is None else {"error_share": strums.error_share}
    return StrumErrors(bias_u_s=strums.bias_u_s, spread_u_s=spread_u_s, **share)
