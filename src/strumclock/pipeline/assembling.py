"""The result of a take, put together from what its stages found: rows, what is absent, what to know."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import Any

import numpy as np

from strumclock.alignment import LEFT_CLICK, OUTSIDE, Alignment
from strumclock.arrays import Floats
from strumclock.errors import Absent, Notice
from strumclock.grid import Exercise
from strumclock.onsets import Ignored, Strums
from strumclock.pipeline.analysing import Analysis
from strumclock.pipeline.components import hear, take_changes, take_spreads, take_stroke
from strumclock.pipeline.listening import Listened
from strumclock.pipeline.measurement import GridInfo, LeftClick, Measurement, Omitted, Strum, TakeInfo
from strumclock.pipeline.options import MeasureOptions
from strumclock.pipeline.parts import part_at
from strumclock.timing import Estimate, Timing

FEW_STRUMS = 16  # below the standard's least number of slots, figures are printed with a warning
TOO_EVEN_MS = 1.0  # strums of no hand scatter by less: the best keep 3 ms about a click
OUTSIDE_REASON = "before the first or after the last place of the exercise"
ONLY_STRUMS = Absent(code="not-asked", reason="only the strums were asked for")
NO_CLICK = Absent(code="no-click", reason="no click of one steady tempo was heard in the recording")
NO_TEMPO_TOLD = Absent(code="no-tempo-told", reason="no tempo was told to hold the click's against")


def assemble(
    take: TakeInfo,
    strums: Strums,
    alignment: Alignment,
    found: Analysis,
    notices: tuple[Notice, ...] = (),
    played: Floats | None = None,
) -> Measurement:
    """The result of a take that was held against a grid; `notices` are of what was heard before it, `played` says how
    likely it is that something was played in each omitted slot after all."""
    timing = found.timing
    return Measurement(
        take=take,
        exercise=alignment.exercise,
        inferred=alignment.inferred,
        grid=_grid(alignment),
        strums=_strums(strums, alignment, found),
        omitted=_omitted(alignment, played),
        timing=timing,
        changes=None if isinstance(found.changes, Absent) else found.changes,
        tuning=found.heard.tuning,
        stroke=None if isinstance(found.stroke, Absent) else found.stroke,
        correction=None if isinstance(found.correction, Absent) else found.correction,
        held=found.conclusion.held,
        verdict=found.conclusion.verdict,
        absent=MappingProxyType(_absent(alignment, found)),
        warnings=(*notices, *alignment.notices, *_weak(alignment.anchor, timing)),
        ignored=_ignored(strums, alignment),
        left_click=tuple(LeftClick(**left._asdict()) for left in alignment.left_click),
    )


def assemble_free(heard: Listened, exercise: Exercise, options: MeasureOptions) -> Measurement:
    """Only the strums, and what can be said of them without a grid."""
    strums, low = heard.strums, heard.low
    components = hear(low, strums, None, changes=options.changes, tuning=options.tuning)
    changes = take_changes(components, strums, None, None, asked=options.changes)
    stroke = take_stroke(low, strums, take_spreads(low, strums), None, None)
    absent = dict.fromkeys(("grid", "timing", "held", "correction"), ONLY_STRUMS)
    absent |= {**components.absent, **_reasons("stroke", stroke), **_reasons("changes", changes)}
    return Measurement(
        take=heard.take,
        exercise=exercise,
        strums=tuple(
            Strum(time_s=float(time_s), u_ms=1000 * float(u_s), p=float(p), at_change=bool(change))
            for time_s, u_s, p, change in zip(strums.time_s, strums.u_s, strums.p, components.at_change, strict=True)
        ),
        changes=None if isinstance(changes, Absent) else changes,
        tuning=components.tuning,
        stroke=None if isinstance(stroke, Absent) else stroke,
        absent=MappingProxyType(absent),
        warnings=heard.notices,
        ignored=strums.ignored,
    )


def _grid(alignment: Alignment) -> GridInfo:
    return GridInfo(
        anchor=alignment.anchor,
        bpm_heard=_of_clicks(alignment.bpm_heard, alignment.bpm_heard_u),
        clock_skew_ppm=_of_clicks(alignment.clock_skew_ppm, alignment.clock_skew_u_ppm),
        first_downbeat_s=alignment.first_downbeat_s,
        clicks_heard=alignment.clicks_heard,
    )


def _of_clicks(value: float | None, u: float | None) -> Estimate | None:
    """A figure of the clicks alone: its interval is that of measuring."""
    if value is None or u is None:
        return None
    return Estimate(value=value, low=value, high=value, u=0.0).widened(u)


def _strums(strums: Strums, alignment: Alignment, found: Analysis) -> tuple[Strum, ...]:
    """A row for each strum but those outside the exercise, in order of time."""
    grid, timing, rows = alignment.grid, found.timing, []
    entry = np.cumsum(alignment.slot >= 0) - 1  # of each strum in a slot: its entry in the timing's arrays
    for i in np.flatnonzero(alignment.slot != OUTSIDE):
        slot = int(alignment.slot[i])
        time_s = float(strums.time_s[i])
        placed: dict[str, Any] = {}
        if slot >= 0:
            placed = {
                "slot": slot,
                "bar": int(grid.bar[slot]),
                "beat": int(grid.beat[slot]),
                "part": int(grid.part[slot]),
                "stroke": str(grid.stroke[slot]),
                "grid_s": float(grid.slot_s[slot]),
                "offset_ms": float(timing.offset_ms[entry[i]]) if timing.offset_ms is not None else None,
                "deviation_ms": float(timing.deviation_ms[entry[i]]),
            }
        row = Strum(
            time_s=time_s,
            u_ms=1000 * float(strums.u_s[i]),
            p=float(strums.p[i]),
            at_change=bool(found.heard.at_change[i]),
            left_click=slot == LEFT_CLICK,
            of=part_at(alignment.parts, time_s),
            **placed,
        )
        rows.append(row)
    return tuple(rows)


def _omitted(alignment: Alignment, played: Floats | None) -> tuple[Omitted, ...]:
    """A row for each slot without a strum."""
    grid = alignment.grid
    empty_p = [None] * len(alignment.omitted) if played is None else (1.0 - played).tolist()
    return tuple(
        Omitted(
            slot=int(s),
            bar=int(grid.bar[s]),
            beat=int(grid.beat[s]),
            part=int(grid.part[s]),
            time_s=float(grid.slot_s[s]),
            p=p,
        )
        for s, p in zip(alignment.omitted, empty_p, strict=True)
    )


def _ignored(strums: Strums, alignment: Alignment) -> tuple[Ignored, ...]:
    """Sounds in no figure: not taken for strums, or outside the exercise."""
    beside = [
        Ignored(time_s=float(strums.time_s[i]), reason=OUTSIDE_REASON, p=float(strums.p[i]))
        for i in np.flatnonzero(alignment.slot == OUTSIDE)
    ]
    return tuple(sorted((*strums.ignored, *beside), key=lambda sound: sound.time_s))


def _absent(alignment: Alignment, found: Analysis) -> dict[str, Absent]:
    """What cannot be known, by its place in the JSON."""
    absent = {**_reasons("timing", found.timing), **found.heard.absent}
    for name in ("changes", "stroke", "correction"):
        absent |= _reasons(name, getattr(found, name))
    if alignment.bpm_heard is None:
        absent["grid.bpm_heard"] = NO_CLICK
    if alignment.clock_skew_ppm is None:
        absent["grid.clock_skew_ppm"] = NO_CLICK if alignment.bpm_heard is None else NO_TEMPO_TOLD
    return absent


def _reasons(name: str, found: object) -> dict[str, Absent]:
    """Why a component, or parts of it, cannot be told."""
    return {name: found} if isinstance(found, Absent) else dict(getattr(found, "absent", {}))


def _weak(anchor: str, timing: Timing) -> tuple[Notice, ...]:
    """What makes the figures of this take weak."""
    found = []
    scatter_ms = float(np.std(timing.deviation_ms)) if timing.n >= FEW_STRUMS else math.inf
    if anchor == "fitted" and scatter_ms < TOO_EVEN_MS:
        message = (
            f"the strums keep time to {scatter_ms:.1f} ms, which no hand does: either a machine plays, or a click that "
            "could not be told from the strums was measured in their place; let the click be heard alone before the "
            "playing, for a bar at least"
        )
        found.append(Notice(code="too-even", message=message))
    if 0 < timing.n < FEW_STRUMS:
        rough = "so the figures are rough" if timing.jitter_ms else "too few for figures"
        strums = f"{timing.n} strum{'s' * (timing.n != 1)}"
        found.append(Notice(code="few-strums", message=f"only {strums} met the grid, {rough}; play a minute"))
    return tuple(found)
