"""Rows of clicks that follow each other, and what was played to them.

Clicks of one tempo and phase are a *train*; the strums from half a part before its first click on are played to it.
Trains that follow each other without a pause (a stepped tempo, a gap in the file) make one *run*: the bars are counted
on from one to the next. A pause ends a run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.placing import cut_alignment, join_alignments
from strumclock.alignment.pulse import from_clicks, plain_bpm
from strumclock.alignment.result import OTHER_PART, Alignment
from strumclock.alignment.score import OMITTED_COST, OUTSIDE_COST
from strumclock.alignment.stretch import align_stretch
from strumclock.arrays import Floats, Ints
from strumclock.errors import RecordingError
from strumclock.grid import Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks

LEAD_PARTS, LEAD_BEATS = 0.5, 0.2
"""So early before a train's first click, in parts of the beat where they are told and at most in beats, a strum is
played to it rather than to the train before: half-way to the part before; sixteenths are a quarter apart."""
USUAL_PARTS = 2
"""Parts of the beat by which strums beside a gap are told apart where none were told."""
GAP_COST, COUNTED_COST = 2.5, 0.8
"""Costs, in strums explained, of bars that go on elsewhere after a gap than where the least sound was lost; and of a
count-in before a step of the tempo that nobody told."""
GAP_BEATS = 0.1
"""A first click this little later than a beat line, in beats, is on it: what is lost is then no part of a beat."""
RESTART_BARS = 0.5
"""So far before the first strum on a slot, in bars, the playing may have begun anew after a stop: two strums in a
row of a shifted pattern seldom miss all slots."""
ON_BOTH_S = 0.004
"""A click this near to the lines of two tempi is the first of the second: at a step of one beat a minute the two lines
are 7 ms apart a beat later (at 92)."""
FIRST_COUNTS = 1.5
"""The first train of a run completes the exercise unless another one has so many times its strums: its bars are counted
from its first click."""
GOES_ON = ("gap", "tempo")
"""How the clicks of a train begin that goes on with the run before it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Train:
    """Clicks of one tempo and phase, the strums played to them, and the exercise as given for its tempo.

    Attributes
    ----------
    clicks : Clicks
    begin_s, end_s : float
        From when to when strums are played to it.
    strum : (n_strums,) bool
        Which are.
    given : Exercise
    ahead : int
        Clicks before its first one that are its own too.
    """

    clicks: Clicks
    begin_s: float
    end_s: float
    ahead: int
    strum: NDArray[np.bool_]
    given: Exercise


def align_runs(
    strum_s: Floats, exercise: Exercise, clicks: Clicks, end_s: float | None, stated: dict[str, Any]
) -> list[Alignment]:
    """Every run of a recording, aligned; those to which nothing was played are left out.

    Parameters
    ----------
    strum_s : (n,) float
    exercise : Exercise
        As given.
    clicks : Clicks
        With all its trains.
    end_s : float or None
        Where the recording ends.
    stated : dict
        What else `align_stretch` takes.
    """
    rows: list[list[Train]] = []
    for train in trains_of(strum_s, exercise, clicks):
        if rows and train.clicks.begins in GOES_ON:
            rows[-1].append(train)
        else:
            rows.append([train])
    found: list[Alignment] = []
    failed: RecordingError | None = None
    for row in rows:
        if any(train.strum.any() for train in row):
            try:
                found.append(_run(strum_s, row, end_s, stated))
            except RecordingError as error:  # nothing can be said of this run; another one may be the take
                failed = error
    if not found:
        raise failed or RecordingError("no strum lies near a click; check that the guitar is audible")
    return found


def trains_of(strum_s: Floats, exercise: Exercise, clicks: Clicks) -> list[Train]:
    """The trains of a recording in time order."""
    rows = clicks.trains
    begins = [-math.inf, *(_begin_s(strum_s, exercise, a, b) for a, b in pairwise(rows)), math.inf]
    return [
        Train(
            clicks=row, begin_s=begins[k], end_s=begins[k + 1], given=replace(exercise, bpm=bpm),
            ahead=int(k > 0 and _shared(rows[k - 1], row)),
            strum=(strum_s >= begins[k]) & (strum_s < begins[k + 1]),
        )
        for k, (row, bpm) in enumerate(zip(rows, _given_bpm(exercise.bpm, rows), strict=True))
    ]  # fmt: skip


def _begin_s(strum_s: Floats, exercise: Exercise, before: Clicks, train: Clicks) -> float:
    """From when on strums are played to a train.

    Shortly before its first click; after a gap, from where the strums between fit its beat better than the last one's;
    after a pause, from the end of the longest silence before it, since its first clicks may not have been heard.
    """
    parts = exercise.per_beat or USUAL_PARTS
    first_s, last_s = train.start_s - float(train.interval_s) * min(LEAD_PARTS / parts, LEAD_BEATS), before.end_s
    if _shared(before, train):
        return first_s - float(train.interval_s)
    between = strum_s[(strum_s > last_s) & (strum_s < first_s)]
    if train.begins == "tempo" or not len(between):
        return first_s
    if train.begins == "gap":
        part_s = float(train.interval_s) / parts
        old, new = (np.remainder((between - at_s) / part_s + 0.5, 1.0) - 0.5 for at_s in (last_s, train.start_s))
        misfit = np.append(0.0, np.cumsum(old**2)) + np.append(np.cumsum(new[::-1] ** 2)[::-1], 0.0)
        return float(np.append(between, first_s)[int(np.argmin(misfit))])
    edges = np.concatenate([[last_s], between, [first_s]])
    return float(edges[int(np.argmax(np.diff(edges))) + 1])


def _shared(before: Clicks, train: Clicks) -> bool:
    """Whether the last click before a step of the tempo is the step's first, as it lies on the lines of both."""
    return train.begins == "tempo" and abs(train.start_s - float(train.interval_s) - before.end_s) <= ON_BOTH_S


def _given_bpm(bpm: float | None, rows: Sequence[Clicks]) -> list[float | None]:
    """The tempo given, for each train: as given where that fits it or fits none; else the train's own, with as many
    clicks a beat as the train has that it fits."""
    if bpm is None or len(rows) == 1:
        return [bpm] * len(rows)
    pulses = [from_clicks(row, bpm) for row in rows]
    fits = [not pulse.tempo_found for pulse in pulses]
    if not any(fits):
        return [bpm] * len(rows)
    longest = max((k for k, fit in enumerate(fits) if fit), key=lambda k: len(rows[k].time_s))
    ratio = pulses[longest].clicks_per_beat
    return [bpm if fit else plain_bpm(60.0 / row.interval_s / ratio) for row, fit in zip(rows, fits, strict=True)]


def _run(strum_s: Floats, row: list[Train], end_s: float | None, stated: dict[str, Any]) -> Alignment:
    """One run: one of its trains completes the exercise, and the bars are counted on through all."""
    main = max(row, key=lambda train: int(train.strum.sum()) * (FIRST_COUNTS if train is row[0] else 1.0))
    base = _train(strum_s, main, main.given, end_s, stated)
    if len(row) == 1:
        return base
    stretches: list[Alignment] = []
    begins: list[float] = []
    for train in row:
        if not train.strum.any():
            continue
        completed = with_inferred(train.given, base)
        try:
            if stretches:
                found = _continued(strum_s, train, completed, stretches[-1], end_s, stated)
            else:
                found = base if train is main else _train(strum_s, train, completed, end_s, stated)
        except RecordingError:  # no bar of the exercise lies in it
            continue
        stretches.append(without_omissions(found) if "pattern" in base.inferred else found)
        begins.append(train.begin_s)
    joined = join_alignments(stretches, begins) if stretches else base
    gaps_s = {*joined.gaps_s, *(train.clicks.start_s for train in row[1:] if train.clicks.begins == "gap")}
    return replace(
        joined, inferred=base.inferred, confidence=base.confidence, notices=_notices(base, stretches),
        gaps_s=tuple(sorted(gaps_s)),
    )  # fmt: skip


def _notices(base: Alignment, stretches: list[Alignment]) -> tuple[Any, ...]:
    """What was said of the train that completed the exercise, and of other trains what is true of them alone."""
    own = [n for found in stretches if found is not base for n in found.notices if n.code == "left-click"]
    return (*base.notices, *own)


def _train(strum_s: Floats, train: Train, exercise: Exercise, end_s: float | None, stated: dict[str, Any]) -> Alignment:
    """One train aligned, its `slot` for all strums of the recording."""
    stop_s = min(math.inf if end_s is None else end_s, train.end_s)
    found = align_stretch(
        strum_s[train.strum], exercise, clicks=train.clicks, end_s=stop_s if math.isfinite(stop_s) else None, **stated
    )
    slot = np.full(len(strum_s), OTHER_PART)
    slot[train.strum] = found.slot
    lasts = (float(found.grid.line_s[0]), found.grid.end_s) if len(found.grid.line_s) else (0.0, 0.0)
    return replace(
        found, slot=slot,
        gaps_s=tuple(s for s in train.clicks.breaks_s if lasts[0] < s < lasts[1] and s > train.clicks.start_s),
    )  # fmt: skip


def with_inferred(given: Exercise, base: Alignment) -> Exercise:
    """What was given, with what was inferred from the run's longest train."""
    done = base.exercise
    return replace(
        given, meter=done.meter, per_beat=done.per_beat, pattern=done.pattern, swing=done.swing, count_in=done.count_in
    )


def without_omissions(found: Alignment) -> Alignment:
    """Without omissions, as the pattern was not told but inferred from another train."""
    grid = replace(found.grid, stroke=np.full(len(found.grid), "?"))
    return replace(found, grid=grid, omitted=np.zeros(0, np.int64))


# --- how the bars go on from one train to the next


def _continued(
    strum_s: Floats, train: Train, exercise: Exercise, before: Alignment, end_s: float | None,
    stated: dict[str, Any],
) -> Alignment:  # fmt: skip
    """A train whose bars go on from those of the train before."""
    pulse = from_clicks(train.clicks, exercise.bpm)
    ahead = train.ahead / pulse.clicks_per_beat
    ahead = int(ahead) if ahead == int(ahead) else 0
    line = _line_of_first(before, train.clicks) - ahead
    first_line, counted = _goes_on(pulse.beats(strum_s[train.strum]) + ahead, exercise, train.clicks.begins, line)
    counted -= ahead
    stated = {**stated, "first_downbeat_s": pulse.time(counted - first_line)}
    found = _train(strum_s, train, exercise, end_s, stated)
    early_s = 0.5 * float(np.median(found.grid.part_s)) if len(found.grid) else 0.0
    from_s = train.begin_s if train.clicks.begins == "gap" else max(pulse.time(counted) - early_s, train.begin_s)
    return replace(cut_alignment(found, from_s, math.inf, strum_s), steps_s=(pulse.time(counted),))


def _line_of_first(before: Alignment, train: Clicks) -> int:
    """Number of the beat line, from 0 on through the run, on which a train's first click lies if the least was lost."""
    grid = before.grid
    line, line_s, beat_s = 0, before.first_downbeat_s, float(train.interval_s)
    if len(grid.line_s):
        line = int((grid.line_bar[-1] - 1) * grid.beats_per_bar + grid.line_beat[-1] - 1)
        line_s = float(grid.line_s[-1])
    if len(grid):
        beat_s = float(np.median(grid.beat_s))
    elapsed = (train.start_s - line_s) / beat_s
    return line + max(round(elapsed) if train.begins == "tempo" else math.ceil(elapsed - GAP_BEATS), 1)


def begun_anew(
    strum_s: Floats, part: Alignment, given: Exercise, clicks: Clicks, stated: dict[str, Any], *, after_stop: bool
) -> Alignment:
    """A stretch beside a stop, from the beat on which its playing began: not everybody counts on through a stop.

    Parameters
    ----------
    strum_s : (n,) float
    part : Alignment
        Of the stretch, on the bars of the whole run.
    given : Exercise
    clicks : Clicks
        The train that it was played to.
    stated : dict
        What else `align_stretch` takes.
    after_stop : bool
        Whether bars were counted before it: then they are counted on.
    """
    grid, pattern, here = part.grid, part.exercise.pattern, part.slot != OTHER_PART
    if pattern is None or len(set(pattern)) == 1 or not len(grid.line_s) or not here.any():
        return part
    parts, beat_s = grid.per_beat, float(np.median(grid.beat_s))
    if after_stop:  # its first strums may lie on no slot of the bars counted on
        early_s = float(grid.slot_s[0]) - RESTART_BARS * grid.beats_per_bar * beat_s
        here = here | ((strum_s >= early_s) & (strum_s < grid.slot_s[0]))
    number = int((grid.line_bar[0] - 1) * grid.beats_per_bar + grid.line_beat[0] - 1)
    cell = np.unique(np.rint((number + (strum_s[here] - grid.line_s[0]) / beat_s) * parts).astype(np.int64))
    played = np.array([c != "." for c in pattern], float)
    first, period = int(cell[0] // parts), math.ceil(len(played) / parts)
    costs = {later: GAP_COST * (later > 0) for later in range(period)}
    later = min(costs, key=lambda j: costs[j] + _misfit(cell - first * parts, played, parts, first - j, 0))
    if later == 0:
        return part
    begin = later if after_stop else later + (first - later) // period * period
    stated = {**stated, "first_downbeat_s": float(grid.line_s[0]) + (begin - number) * beat_s}
    found = align_stretch(strum_s[here], with_inferred(given, part), clicks=clicks, end_s=grid.end_s, **stated)
    slot = np.full(len(strum_s), OTHER_PART)
    slot[here] = found.slot
    from_s = float(strum_s[here][0]) - 0.5 * beat_s / parts if after_stop else -math.inf
    found = cut_alignment(replace(found, slot=slot), from_s, math.inf, strum_s)
    found = without_omissions(found) if "pattern" in part.inferred else found
    return replace(found, inferred=part.inferred, confidence=part.confidence, notices=part.notices)


def _goes_on(beat: Floats, exercise: Exercise, begins: str, line: int) -> tuple[int, int]:
    """The beat line on which the playing goes on, and how many beats after the train's first click that is.

    After a step of the tempo a bar may be counted in anew; after a gap the bars may go on at another beat than where
    the least sound was lost.
    """
    parts, per_bar = exercise.per_beat or 1, exercise.beats_per_bar or 4
    cell = np.unique(np.rint(beat * parts).astype(np.int64))
    played = np.ones(parts) if exercise.pattern is None else np.array([c != "." for c in exercise.pattern], float)
    if begins == "tempo":
        counted = exercise.count_in or 0
        costs = {
            (line, 0): COUNTED_COST * (counted > 0),
            (line, (counted or 1) * per_bar): COUNTED_COST * (counted == 0),
        }
    else:
        period = max(math.ceil(len(played) / parts), per_bar)
        costs = {(line + later, 0): GAP_COST * (later > 0) for later in range(period)}
    return min(costs, key=lambda at: costs[at] + _misfit(cell, played, parts, *at))


def _misfit(cell: Ints, played: Floats, parts: int, line: int, counted: int) -> float:
    """What speaks against the playing going on at beat line `line`, `counted` beats after a train's first click: slots
    without a strum, strums without a slot, strums before it [strums explained]."""
    begin = counted * parts
    every = np.arange(begin, max(int(cell[-1]) + 1, begin) if len(cell) else begin)
    expected = played[(every - begin + line * parts) % len(played)]
    differ = float(np.abs(expected - np.isin(every, cell)).sum())
    return OMITTED_COST * differ + OUTSIDE_COST * float((cell < begin).sum())
