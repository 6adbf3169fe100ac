"""A caller's own strum times against a caller's own grid: both are taken as they are, and nothing is searched.

The grid's lines are in the times' own seconds, by one clock. Every slot counts: one without a strum is omitted, a strum
without one is added, and what lies before the first slot or after the last one is in no figure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from strumclock.alignment.pairing import pair
from strumclock.alignment.result import ADDED, OUTSIDE, Alignment, Part
from strumclock.errors import RecordingError, UsageError
from strumclock.fields import number_between
from strumclock.grid import BPM_RANGE, SWING_RANGE, BeatGrid, Exercise
from strumclock.onsets.strums import Strums

if TYPE_CHECKING:
    from strumclock.arrays import Floats

STEADY_SHARE = 0.001
"""Beats that differ by less than this share are of one tempo: as far as clocks may lie apart (DESIGN: 0.1 %)."""

MOST_U_S = 1.0
"""A grid whose place is known less well than to a second is none."""


def as_strums(strums: Strums | ArrayLike) -> Strums:
    """The strums, also of bare times; checked.

    Raises
    ------
    RecordingError
        If there are none.
    UsageError
        If the times are not finite or do not increase.

    Examples
    --------
    >>> as_strums([0.5, 1.0]).time_s.tolist()
    [0.5, 1.0]
    """
    known = strums if isinstance(strums, Strums) else Strums.of(getattr(strums, "time_s", strums))
    if not np.isfinite(known.time_s).all() or (np.diff(known.time_s) <= 0).any():
        raise UsageError("strum times must be one row of finite, increasing seconds; sort them and leave out repeats")
    if not len(known):
        raise RecordingError("aligning needs at least one strum, but none was found; check that the guitar is audible")
    return known


def align_to_grid(strums: Strums | ArrayLike, grid: BeatGrid, *, u_s: float = 0.0) -> Alignment:
    """Pair strums with the slots of a grid that already lies in their seconds.

    Parameters
    ----------
    strums : Strums or (n,) array_like
        The strums, or their times [s], increasing.
    grid : BeatGrid
        In the strums' own seconds, with one slot at least.
    u_s : float
        Standard uncertainty of the grid's place, which all of its lines share [s].

    Returns
    -------
    Alignment
        With the anchor ``given``; its exercise holds what the grid says of tempo, parts of the beat and swing.

    Raises
    ------
    RecordingError
        If there are no strums.
    UsageError
        If the times or the grid make no sense.

    Examples
    --------
    >>> from strumclock.grid import build_grid
    >>> grid = build_grid(Exercise(bpm=120, meter="3/4"), bars=2)
    >>> found = align_to_grid([0.02, 0.49, 0.77, 1.52, 2.0, 2.51], grid)
    >>> found.slot.tolist(), found.omitted.tolist(), found.exercise.bpm
    ([0, 1, -1, 3, 4, 5], [2], 120.0)
    """
    known = as_strums(strums)
    u_s = number_between("first_downbeat_u_s", u_s, 0.0, MOST_U_S, "how well the grid's place is known, in seconds")
    if not len(grid):
        raise UsageError("a grid with a place for a strum was required, but it has none; give it a pattern")
    found = pair(known.time_s, grid.slot_s, grid.part_s)
    beyond = (known.time_s < grid.slot_s[0]) | (known.time_s > grid.slot_s[-1])
    slot = np.where(found.paired, found.slot, np.where(beyond, OUTSIDE, ADDED))
    exercise = _of(grid)
    on_s = known.time_s[slot >= 0] if (slot >= 0).any() else known.time_s
    part = Part(
        start_s=float(on_s[0]), end_s=float(on_s[-1]), kind="played", bpm=exercise.bpm, n=int((slot >= 0).sum()),
        slots=len(grid), measured=True,
    )  # fmt: skip
    return Alignment(
        grid=grid, anchor="given", exercise=exercise, inferred=(), slot=slot,
        omitted=np.setdiff1d(np.arange(len(grid)), slot), anchor_u_s=np.full(len(grid), u_s), rate_u=0.0,
        first_downbeat_s=float(grid.line_s[0] if len(grid.line_s) else grid.slot_s[0]), bpm_heard=None,
        bpm_heard_u=None, clock_skew_ppm=None, clock_skew_u_ppm=None, parts=(part,), strums=known,
    )  # fmt: skip


def _of(grid: BeatGrid) -> Exercise:
    """What a grid says of the exercise: its tempo, where it is one, the parts of the beat, its swing."""
    bpm = 60.0 / float(np.median(grid.beat_s))
    steady = np.ptp(grid.beat_s) <= STEADY_SHARE * np.median(grid.beat_s) and BPM_RANGE[0] <= bpm <= BPM_RANGE[1]
    at = second_of_two(grid)
    swung = at is not None and SWING_RANGE[0] < round(at, 6) <= SWING_RANGE[1]
    return Exercise(
        bpm=round(bpm, 6) if steady else None,  # a grid that was built from a tempo says that tempo
        per_beat=grid.per_beat,
        swing=at if swung else None,
    )


def second_of_two(grid: BeatGrid) -> float | None:
    """Place in the beat at which a grid has the second of two parts; None where a beat has not two.

    Examples
    --------
    >>> from strumclock.grid import build_grid
    >>> round(second_of_two(build_grid(Exercise(bpm=80, meter="4/4", per_beat=2, swing=0.62), bars=2)), 6)
    0.62
    """
    if grid.per_beat != 2 or not len(grid.line_s):
        return None
    second = grid.part == 2
    line_s: Floats = grid.line_s[np.maximum(np.searchsorted(grid.line_s, grid.slot_s, side="right") - 1, 0)]
    return float(np.median(((grid.slot_s - line_s) / grid.beat_s)[second])) if second.any() else 0.5
