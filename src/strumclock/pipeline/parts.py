"""A recording of several parts: the strums of the part that is measured, those of the others, figures step by step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from strumclock.alignment import LEFT_CLICK, OTHER_PART, Alignment, Part, cut_alignment
from strumclock.onsets import Strums
from strumclock.pipeline.analysing import Analysis, take_timing
from strumclock.pipeline.judging import take_conclusion
from strumclock.pipeline.listening import Listened
from strumclock.pipeline.measurement import Step, Strum

if TYPE_CHECKING:
    from strumclock.pipeline.options import MeasureOptions

EARLY_S = 0.1
"""A strum this little before a part's first one on the beat still belongs to it."""


def of_part(heard: Listened, alignment: Alignment) -> tuple[Listened, Alignment]:
    """What was heard in the part that is measured, and its alignment: as if the other parts had not been recorded."""
    here = alignment.slot != OTHER_PART
    if here.all():
        return heard, alignment
    strums = heard.strums
    kept = replace(
        strums,
        time_s=strums.time_s[here],
        u_s=strums.u_s[here],
        strength_db=strums.strength_db[here],
        p=strums.p[here],
    )
    low = replace(heard.low, picture=heard.low.picture[here])
    return replace(heard, strums=kept, low=low), replace(alignment, slot=alignment.slot[here], strums=kept)


def strums_elsewhere(strums: Strums, alignment: Alignment, path_s: float) -> tuple[Strum, ...]:
    """A row for each strum of the other parts, each held against its own part's grid, less the air's `path_s`."""
    rows: dict[int, Strum] = {}
    for other in alignment.others:
        offsets = other.anchor != "fitted"
        for i in np.flatnonzero(other.slot >= LEFT_CLICK):
            slot = int(other.slot[i])
            if slot < -1 and slot != LEFT_CLICK:
                continue  # before the first or after the last place of that part
            rows[int(i)] = _row(strums, int(i), other, slot, path_s if offsets else None, alignment.parts)
    return tuple(rows[i] for i in sorted(rows))


def _row(strums: Strums, i: int, other: Alignment, slot: int, path_s: float | None, parts: tuple[Part, ...]) -> Strum:
    time_s = float(strums.time_s[i])
    bare = Strum(
        time_s=time_s,
        u_ms=1000 * float(strums.u_s[i]),
        p=float(strums.p[i]),
        left_click=slot == LEFT_CLICK,
        of=part_at(parts, time_s),
        measured=False,
    )
    if slot < 0:
        return bare
    grid, line_s = other.grid, float(other.grid.slot_s[slot])
    return replace(
        bare,
        slot=slot,
        bar=int(grid.bar[slot]),
        beat=int(grid.beat[slot]),
        part=int(grid.part[slot]),
        stroke=str(grid.stroke[slot]),
        grid_s=line_s,
        at_change=bool(grid.at_change[slot]),
        offset_ms=None if path_s is None else 1000 * (time_s - line_s - path_s),
    )


def part_at(parts: tuple[Part, ...], time_s: float) -> int | None:
    """Number of the part, from 1, in which a strum lies: the last one with strums that has begun; None without parts.

    Examples
    --------
    >>> of = {"kind": "played", "bpm": 80, "n": 9, "slots": 9, "measured": True}
    >>> parts = (Part(start_s=1.0, end_s=9.0, **of), Part(start_s=20.0, end_s=29.0, **of))
    >>> part_at(parts, 12.0), part_at(parts, 19.95)
    (1, 2)
    """
    begun = [i for i, part in enumerate(parts, 1) if part.kind != "stopped"]
    begun = [i for k, i in enumerate(begun) if not k or parts[i - 1].start_s - EARLY_S <= time_s]
    return begun[-1] if begun else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    from_s: float
    to_s: float
    bpm: float


def take_steps(heard: Listened, alignment: Alignment, found: Analysis, options: MeasureOptions) -> tuple[Step, ...]:
    """The figures of each step of a stepped tempo, and whether it held; none where the click keeps one tempo."""
    if len(alignment.steps_s) < 2:
        return ()
    early_s = 0.5 * float(np.median(alignment.grid.part_s))
    edges = [-np.inf, *(step_s - early_s for step_s in alignment.steps_s[1:]), np.inf]
    spans = [_Span(from_s=a, to_s=b, bpm=bpm) for a, b, bpm in zip(edges, edges[1:], alignment.steps_bpm, strict=False)]
    steps = []
    for number, span in enumerate(spans, 1):
        cut = cut_alignment(alignment, span.from_s, span.to_s, heard.strums.time_s)
        cut = replace(cut, exercise=replace(cut.exercise, bpm=span.bpm))
        timing = take_timing(heard.strums, found.spreads, cut, found.heard, options)
        held = take_conclusion(heard.strums, cut, timing, found.heard, options).held
        bars = cut.grid.bar[cut.slot[cut.slot >= 0]]
        steps.append(
            Step(
                step=number,
                bpm=span.bpm,
                start_s=float(alignment.steps_s[number - 1]),
                bars=(int(bars.min()), int(bars.max())) if len(bars) else None,
                n=timing.n,
                n_omitted=len(cut.omitted),
                mean_offset_ms=timing.mean_offset_ms,
                jitter_ms=timing.jitter_ms,
                share=timing.within_tolerance.share if timing.within_tolerance is not None else None,
                held=held.held,
            )
        )
    return tuple(steps)
