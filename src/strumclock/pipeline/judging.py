"""From the alignment and the figures of a take to its verdict: what was played, in the form that is judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment import ADDED, Alignment
from strumclock.onsets.strums import SURE_P
from strumclock.pipeline.components import Heard, chord_names
from strumclock.pipeline.options import MeasureOptions
from strumclock.timing import Timing
from strumclock.verdict import Conclusion, Played, Stretch, conclude

if TYPE_CHECKING:
    from strumclock.grid import BeatGrid
    from strumclock.onsets import Strums

Place = tuple[int, int, int]


def take_conclusion(
    strums: Strums, alignment: Alignment, timing: Timing, heard: Heard, options: MeasureOptions
) -> Conclusion:
    """What a teacher concludes from the take."""
    return conclude(take_played(strums, alignment, timing, heard), timing, options.judged_by)


def take_played(strums: Strums, alignment: Alignment, timing: Timing, heard: Heard) -> Played:
    """How the slots of the take were played."""
    grid, slot = alignment.grid, alignment.slot
    on = np.flatnonzero(slot >= 0)
    at = slot[on]
    part_s = float(np.median(grid.part_s)) if len(grid) else 0.0
    return Played(
        offset_ms=np.asarray(timing.deviation_ms if timing.offset_ms is None else timing.offset_ms),
        fitted=timing.offset_ms is None,
        line_s=grid.slot_s[at],
        slot=at,
        bar=grid.bar[at],
        beat=grid.beat[at],
        part=grid.part[at],
        at_change=heard.at_change[on],
        pairs=_pairs(alignment, heard, on),
        omitted=tuple(_place(grid, int(s)) for s in alignment.omitted),
        added=tuple(_nearest(grid, float(t)) for t in strums.time_s[slot == ADDED]) if len(grid) else (),
        part_s=part_s,
        duration_s=float(grid.slot_s[-1] - grid.slot_s[0]) if len(grid) > 1 else 0.0,
        bpm=alignment.exercise.bpm,
        per_beat=alignment.exercise.per_beat or 1,
        u_ms=1e3 * float(np.sqrt(np.mean(strums.u_s[on] ** 2))) if len(on) else 0.0,
        n_heard=len(strums),
        n_sure=int((strums.p >= SURE_P).sum()),
        stopped=_stretches(alignment, "stopped"),
        own_tempo=_stretches(alignment, "own-tempo"),
    )


def _stretches(alignment: Alignment, kind: str) -> tuple[Stretch, ...]:
    """Where the exercise was not played inside the part that is measured, or just beside it; anywhere, if none is."""
    parts = alignment.parts
    beside = {i + step for i, part in enumerate(parts) if part.measured for step in (-1, 1)}
    if not beside:
        beside = set(range(len(parts)))
    found = [part for i, part in enumerate(parts) if part.kind == kind and i in beside]
    return tuple(
        Stretch(start_s=p.start_s, end_s=p.end_s, slots=p.slots, bpm=p.bpm if kind == "own-tempo" else None)
        for p in found
    )


def _place(grid: BeatGrid, slot: int) -> Place:
    return int(grid.bar[slot]), int(grid.beat[slot]), int(grid.part[slot])


def _nearest(grid: BeatGrid, time_s: float) -> Place:
    """The slot nearest to a strum that has none."""
    return _place(grid, int(np.argmin(np.abs(grid.slot_s - time_s))))


def _pairs(alignment: Alignment, heard: Heard, on: NDArray[np.int64]) -> tuple[tuple[str, str] | None, ...]:
    """From which chord to which each strum in a slot changes; nothing where the chords are not known."""
    chords = chord_names(heard, alignment, on)
    if chords is None:
        return ()
    changes = heard.at_change[on]
    return tuple(
        (before, chord) if change and before != chord else None
        for before, chord, change in zip(("", *chords), chords, changes, strict=False)
    )
