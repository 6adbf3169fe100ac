"""Rows of clicks that follow each other, and what was played to them.

Clicks of one tempo and phase are a *train*; the strums from half a part before its first click on are played to it.
Trains that follow each other without a pause (a stepped tempo, a gap in the file) make one *run*: the bars are counted
on from one to the next. A pause ends a run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.aligning import align_stretch
from strumclock.alignment.joining import cut_alignment, join_alignments
from strumclock.alignment.pairing import FloatArray, IntArray
from strumclock.alignment.pulse import TEMPO_TOLERANCE, from_clicks
from strumclock.alignment.start import OMITTED_COST, OUTSIDE_COST
from strumclock.alignment.values import OTHER_PART, Alignment
from strumclock.errors import RecordingError
from strumclock.grid import Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks

LEAD_PARTS, LEAD_BEATS = 0.5, 0.2
"""So early before a train's first click, in parts of the beat where they are told and at most in beats, a strum is played
to it rather than to the train before: the border lies half-way to the part before; sixteenths are a quarter apart."""
GAP_COST, COUNTED_COST = 2.5, 0.8
"""Costs, in strums explained, of bars that go on elsewhere after a gap than where the least sound was lost; and of a
count-in before a step of the tempo that nobody told."""
GAP_BEATS = 0.1
"""A first click this little later than a beat line, in beats, is on it: what is lost is then no part of a beat."""
GOES_ON = ("gap", "tempo")
"""How the clicks of a train begin that goes on with the run before it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Train:
    """Clicks of one tempo and phase, when the strums played to them begin and end [s], what was told of them."""

    clicks: Clicks
    begin_s: float
    end_s: float
    strum: NDArray[np.bool_]
    told: Exercise


def _trains(strum_s: FloatArray, exercise: Exercise, clicks: Clicks) -> list[_Train]:
    """The trains of a recording in time order, each with its strums and what the exercise is at its tempo."""
    rows: Sequence[Clicks] = getattr(clicks, "trains", (clicks,))
    begins = [-math.inf, *(_begin(strum_s, exercise, rows[k - 1], rows[k]) for k in range(1, len(rows))), math.inf]
    told_bpm = _told_bpm(exercise, rows)
    return [
        _Train(
            clicks=row, begin_s=begins[k], end_s=begins[k + 1], told=replace(exercise, bpm=told_bpm[k]),
            strum=(strum_s >= begins[k]) & (strum_s < begins[k + 1]),
        )
        for k, row in enumerate(rows)
    ]  # fmt: skip


def _told_bpm(exercise: Exercise, rows: Sequence[Clicks]) -> list[float | None]:
    """The tempo told for each train: that of the exercise where it fits; where it fits another train, the train's own,
    with as many clicks a beat as that one has."""
    bpm = exercise.bpm
    if bpm is None or len(rows) == 1:
        return [bpm] * len(rows)
    pulses = [from_clicks(row, bpm) for row in rows]
    fits = [not p.tempo_found for p in pulses]
    if not any(fits):
        return [bpm] * len(rows)
    ratio = max((p for p, fit in zip(pulses, fits, strict=True) if fit), key=lambda p: p.last_click_beat or 0.0).clicks_per_beat
    return [bpm if fit else _plain(60.0 / row.interval_s / ratio) for row, fit in zip(rows, fits, strict=True)]


def _plain(bpm: float) -> float:
    """A tempo as it was probably set: whole where it is within what clocks differ by."""
    return float(round(bpm)) if abs(bpm / round(bpm) - 1.0) <= 1e-3 else round(bpm, 3)


def _begin(strum_s: FloatArray, exercise: Exercise, before: Clicks, train: Clicks) -> float:
    """From when on strums are played to a train: shortly before its first click; after a pause, from the end of the
    longest silence before it, since its first clicks may not have been heard."""
    lead_s = float(train.interval_s) * min(LEAD_PARTS / (exercise.per_beat or 1), LEAD_BEATS)
    first_s, last_s = float(train.time_s[0]) - lead_s, float(before.time_s[-1])
    if getattr(train, "begins", "restart") != "restart":
        return first_s
    between = strum_s[(strum_s > last_s) & (strum_s < first_s)]
    edges = np.concatenate([[last_s], between, [first_s]])
    return float(edges[int(np.argmax(np.diff(edges))) + 1]) - 1e-3


def _runs(
    strum_s: FloatArray, exercise: Exercise, clicks: Clicks, end_s: float | None, given: dict[str, Any]
) -> list[Alignment]:
    """The runs of trains, aligned; those in which nothing was played are left out."""
    trains = _trains(strum_s, exercise, clicks)
    rows: list[list[_Train]] = []
    for train in trains:
        if rows and getattr(train.clicks, "begins", "first") in ("gap", "tempo"):
            rows[-1].append(train)
        else:
            rows.append([train])
    found, failed = [], None
    for row in rows:
        if not any(train.strum.any() for train in row):
            continue
        try:
            found.append(_run(strum_s, row, end_s, given))
        except RecordingError as error:
            failed = error
    if not found:
        raise failed or RecordingError("no strum lies near the clicks; check that the guitar is audible")
    return found


def _run(strum_s: FloatArray, row: list[_Train], end_s: float | None, given: dict[str, Any]) -> Alignment:
    """One run: its train with the most strums completes the exercise, and the bars are counted on through all."""
    main = max(row, key=lambda train: int(train.strum.sum()))
    base = _alone(strum_s, main, main.told, end_s, given)
    if len(row) == 1:
        return _with_breaks(base, row[0])
    stretches: list[Alignment] = []
    begins: list[float] = []
    line, counted_s = 0, 0.0
    for k, train in enumerate(row):
        told = _completed(train.told, base)
        if train.strum.any():
            here = given
            if k:
                start_s, first_s = _continued(strum_s[train.strum], train, told, line)
                here = {**given, "first_downbeat_s": start_s}
            try:
                aligned = base if train is main and not k else _alone(strum_s, train, told, end_s, here)
            except RecordingError:
                continue
            if k:
                part_s = float(np.median(aligned.grid.part_s)) if len(aligned.grid) else 0.0
                aligned = cut_alignment(aligned, max(first_s - 0.5 * part_s, train.begin_s), math.inf, strum_s)
            aligned = _uncounted(aligned, base)
            stretches.append(_with_breaks(aligned, train))
            begins.append(train.begin_s)
            line, counted_s = _last_line(aligned)
        following = row[k + 1].clicks if k + 1 < len(row) else None
        if following is not None and len(stretches):
            line = _next_line(line, counted_s, stretches[-1], following)
    if not stretches:
        return base
    joined = join_alignments(stretches, begins)
    gaps = [t.begin_s for t in row[1:] if getattr(t.clicks, "begins", "") == "gap"]
    steps = [0, *(k for k in range(1, len(stretches)) if stretches[k].exercise.bpm != stretches[k - 1].exercise.bpm)]
    known = {n.code for n in base.notices}
    notices = (*base.notices, *(n for s in stretches for n in s.notices if n.code in ("left-click",) and n.code not in known))
    return replace(
        joined, inferred=base.inferred, confidence=base.confidence, notices=notices,
        gaps_s=tuple(sorted({*joined.gaps_s, *gaps})),
        steps_s=tuple(float(stretches[k].grid.line_s[0]) for k in steps if len(stretches[k].grid.line_s)),
        steps_bpm=tuple(float(stretches[k].exercise.bpm or 0.0) for k in steps if len(stretches[k].grid.line_s)),
    )  # fmt: skip


def _alone(
    strum_s: FloatArray, train: _Train, told: Exercise, end_s: float | None, given: dict[str, Any]
) -> Alignment:
    """One train, its `slot` for all strums of the recording."""
    stop_s = min(math.inf if end_s is None else end_s, train.end_s)
    found = align_stretch(
        strum_s[train.strum], told, clicks=train.clicks, end_s=stop_s if math.isfinite(stop_s) else None, **given
    )
    slot = np.full(len(strum_s), OTHER_PART)
    slot[train.strum] = found.slot
    return replace(found, slot=slot, steps_s=(found.first_downbeat_s,), steps_bpm=(found.exercise.bpm or 0.0,))


def _completed(told: Exercise, base: Alignment) -> Exercise:
    """What was told, with what was inferred from the run's longest train."""
    done = base.exercise
    return replace(
        told, meter=done.meter, per_beat=done.per_beat, pattern=done.pattern, swing=done.swing, count_in=done.count_in
    )


def _uncounted(found: Alignment, base: Alignment) -> Alignment:
    """Without omissions where the pattern was not told but inferred from another train."""
    if "pattern" not in base.inferred:
        return found
    grid = replace(found.grid, stroke=np.full(len(found.grid), "?"))
    return replace(found, grid=grid, omitted=np.zeros(0, np.int64))


def _with_breaks(found: Alignment, train: _Train) -> Alignment:
    """With the jumps of the click's phase that its own beat follows."""
    breaks = getattr(train.clicks, "breaks_s", ())
    if not len(found.grid):
        return found
    inside = tuple(float(s) for s in breaks if found.grid.line_s[0] < s <= found.grid.end_s)
    return replace(found, gaps_s=inside)


def _last_line(found: Alignment) -> tuple[int, float]:
    """Number of the last beat line of an alignment, counted through from its bar 1, and its time [s]."""
    grid = found.grid
    if not len(grid.line_s):
        return 0, found.first_downbeat_s
    return int((grid.line_bar[-1] - 1) * grid.beats_per_bar + grid.line_beat[-1] - 1), float(grid.line_s[-1])


def _next_line(line: int, line_s: float, before: Alignment, train: Clicks) -> int:
    """Number of the beat line on which a train's first click lies, if the least was lost before it."""
    beat_s = float(np.median(before.grid.beat_s)) if len(before.grid) else float(train.interval_s)
    elapsed = (float(train.time_s[0]) - line_s) / beat_s
    if getattr(train, "begins", "gap") == "tempo":
        return line + max(round(elapsed), 1)
    return line + max(math.ceil(elapsed - GAP_BEATS), 1)


def _continued(strum_s: FloatArray, train: _Train, told: Exercise, line: int) -> tuple[float, float]:
    """When bar 1 would have begun by a later train's clicks, if these go on from beat line `line`; and from when on its
    slots count [s].

    After a step of the tempo a bar may be counted in anew; after a gap the bars may go on at another beat.
    """
    pulse = from_clicks(train.clicks, told.bpm)
    beat = pulse.beats(strum_s)
    parts, per_bar = told.per_beat or 1, told.beats_per_bar or 4
    cell = np.unique(np.rint(beat * parts).astype(np.int64))
    cell = cell[cell >= -parts + 1]
    played = np.ones(parts) if told.pattern is None else np.array([c != "." for c in told.pattern], float)
    choices: list[tuple[int, int, float]] = []  # lines before the first click, beats counted in, cost
    if getattr(train.clicks, "begins", "gap") == "tempo":
        counts = {0: COUNTED_COST if told.count_in else 0.0, told.count_in or 1: 0.0 if told.count_in else COUNTED_COST}
        choices = [(line, bars * per_bar, cost) for bars, cost in counts.items()]
    else:
        period = max(math.ceil(len(played) / parts), per_bar)
        choices = [(line + j, 0, GAP_COST if j else 0.0) for j in range(period)]
    best = min(choices, key=lambda c: c[2] + _misfit(cell, played, parts, c[0], c[1]))
    first_line, counted, _ = best
    return pulse.time(counted - first_line), pulse.time(counted)


def _misfit(cell: IntArray, played: FloatArray, parts: int, line: int, counted: int) -> float:
    """Slots without a strum and strums without a slot, where the first click's beat, after `counted` more, is beat line
    `line`; strums before that count double, since nobody plays in a count-in."""
    begin = counted * parts
    every = np.arange(begin, max(int(cell[-1]) + 1, begin)) if len(cell) else np.zeros(0, int)
    expected = played[(every - begin + line * parts) % len(played)]
    filled = np.isin(every, cell)
    return 0.6 * float(np.abs(expected - filled).sum()) + 1.2 * float((cell < begin).sum())
