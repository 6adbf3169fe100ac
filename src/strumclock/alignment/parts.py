"""What stretches does a recording hold, and which of them is the take?

A row of clicks of one tempo and phase is a *train*; the strums from half a part before its first click on are played to
it. Trains that follow each other without a pause (a stepped tempo, a gap in the file) make one *run*, whose bars are
counted on; a pause ends it. A run in which nothing is played for two bars or more is divided there. What is left are
the played stretches: each is a group of `Part`s with a grid of its own, and the longest of those that fit the tempo told
is the take that is measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.alignment.aligning import align_stretch
from strumclock.alignment.joining import cut_alignment, join_alignments
from strumclock.alignment.pairing import FloatArray, IntArray
from strumclock.alignment.pulse import from_clicks
from strumclock.alignment.start import best_start
from strumclock.alignment.values import LEFT_CLICK, OTHER_PART, OUTSIDE, Alignment, Part, PartKind
from strumclock.errors import Notice, RecordingError, UsageError
from strumclock.grid import BeatGrid, Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks
    from strumclock.onsets import Strums

LEAD_PARTS, LEAD_BEATS = 0.5, 0.2
"""So early before a train's first click, in parts of the beat where they are told and at most in beats, a strum is played
to it rather than to the train before: the border lies half-way to the part before; sixteenths are a quarter apart."""
STOP_BARS, STOP_SLOTS = 2.0, 4
"""Nothing played for so many bars, in which so many slots were due, is a stop (DESIGN: two bars or more)."""
PLAYED_STRUMS = 3
"""Strums on slots from which a stretch is a part: two may be noises."""
FALSE_START_BARS, FALSE_START_SHARE = 4.0, 1 / 3
"""A stretch shorter than so many bars, with at most this share of the next one's strums, was a false start."""
GAP_COST, COUNTED_COST = 2.5, 0.8
"""Costs, in strums explained, of bars that go on elsewhere after a gap than where the least sound was lost; and of a
count-in before a step of the tempo that nobody told."""
GAP_BEATS = 0.1
"""A first click this little later than a beat line, in beats, is on it: what is lost is then no part of a beat."""


def align(
    strums: Strums | ArrayLike,
    exercise: Exercise,
    *,
    clicks: Clicks | None = None,
    first_downbeat_s: float | None = None,
    first_downbeat_u_s: float = 0.0,
    grid: BeatGrid | None = None,
    end_s: float | None = None,
    same_clock: bool = False,
    part: int | None = None,
) -> Alignment:
    """Pair strums with the slots of an exercise, in each part of the recording.

    Parameters
    ----------
    strums : Strums or (n,) float
        The strums, or their times [s], increasing.
    exercise : Exercise
        What was told. What was not is inferred, and named in the result.
    clicks : Clicks, optional
        The clicks heard. With them the anchor is ``recorded-click`` or ``click-channel``.
    first_downbeat_s, first_downbeat_u_s : float, optional
        File time of beat 1 of the first played bar as the user states it, and its standard uncertainty [s]. Without
        clicks the anchor is ``given``; with them it says which click is that beat.
    grid : BeatGrid, optional
        A nominal grid (first downbeat at 0) with a tempo map, instead of the exercise's one tempo.
    end_s : float, optional
        Where the recording ends: slots after it cannot have been omitted.
    same_clock : bool
        Whether click and recording run by one clock (same computer): without clicks in the recording, the tempo told
        is then exact.
    part : int, optional
        Number of the part to measure, from 1 in the order of time; else the longest one that fits the tempo told.

    Returns
    -------
    Alignment
        Of the part measured; `Alignment.parts` lists all, `Alignment.others` holds the other played ones.

    Raises
    ------
    RecordingError
        If there are no strums, or neither a click nor a told tempo nor strums that keep one; or if the recording ends
        before the first played bar.
    UsageError
        If the times are not finite or do not increase, or no such part was played.

    Examples
    --------
    >>> found = align([2.01, 3.0, 4.02, 5.49, 6.01], Exercise(bpm=60, per_beat=1, bars=2), first_downbeat_s=2.0)
    >>> found.slot.tolist(), found.omitted.tolist(), found.anchor
    ([0, 1, 2, -1, 4], [3, 5, 6, 7], 'given')
    """
    strum_s = _times(strums)
    given: dict[str, Any] = {
        "first_downbeat_s": first_downbeat_s, "first_downbeat_u_s": first_downbeat_u_s, "grid": grid,
        "same_clock": same_clock,
    }  # fmt: skip
    if grid is not None or clicks is None:
        runs = [align_stretch(strum_s, exercise, clicks=clicks, end_s=end_s, **given)]
        groups = [_phased(strum_s, exercise, g, given) for g in _divided(runs[0], strum_s)]
    else:
        runs = _runs(strum_s, exercise, clicks, end_s, given)
        groups = [group for run in runs for group in _divided(run, strum_s)]
    if len(groups) == 1 and len(groups[0].steps_s) <= 1 and not groups[0].gaps_s and not groups[0].left_click:
        pass
    return _chosen(groups, strum_s, exercise, part)


def _times(strums: Any) -> FloatArray:
    times = np.asarray(getattr(strums, "time_s", strums), dtype=np.float64)
    if times.ndim != 1 or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise UsageError("strum times must be one row of finite, increasing seconds; sort them and leave out repeats")
    if not len(times):
        raise RecordingError("aligning needs at least one strum, but none was found; check that the guitar is audible")
    return times


# --- trains of clicks, and the runs that they make


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


# --- stops


def _divided(run: Alignment, strum_s: FloatArray) -> list[Alignment]:
    """A run divided where nothing was played for two bars or more; stretches of too few strums are no parts."""
    grid = run.grid
    on = np.flatnonzero(run.slot >= 0)
    if len(on) < 2 * PLAYED_STRUMS:
        return [run]
    at = run.slot[on]
    bar_s = grid.beats_per_bar * grid.beat_s[at[:-1]]
    silent_s = grid.slot_s[at[1:]] - grid.slot_s[at[:-1]] - grid.part_s[at[:-1]]
    stop = (silent_s >= STOP_BARS * bar_s) & (np.diff(at) - 1 >= STOP_SLOTS)
    for k in np.flatnonzero(stop):
        between = run.slot[on[k] + 1 : on[k + 1]]
        stop[k] = (between == LEFT_CLICK).sum() == 0
    edges = [0, *(np.flatnonzero(stop) + 1).tolist(), len(on)]
    spans = [(a, b) for a, b in zip(edges, edges[1:], strict=False) if b - a >= PLAYED_STRUMS]
    if len(spans) < 2:
        return [run]
    groups = []
    for i, (a, b) in enumerate(spans):
        from_s = -math.inf if i == 0 else _edge(grid, at[a], -1)
        to_s = math.inf if i == len(spans) - 1 else _edge(grid, at[b - 1], +1)
        cut = cut_alignment(run, from_s, to_s, strum_s)
        bars = cut.grid.line_s[cut.grid.line_beat == 1]
        downbeat_s = float(bars[0]) if i and len(bars) else run.first_downbeat_s
        groups.append(replace(cut, first_downbeat_s=downbeat_s))
    return groups


def _edge(grid: BeatGrid, slot: int, side: int) -> float:
    """The border half a part before or after a slot [s]."""
    return float(grid.slot_s[slot] + 0.5 * side * grid.part_s[slot])


def _phased(strum_s: FloatArray, exercise: Exercise, group: Alignment, given: dict[str, Any]) -> Alignment:
    """A stretch of a recording without a click, its phase fitted anew: nobody knows whether the click went on."""
    here = group.slot != OTHER_PART
    if group.anchor != "fitted" or here.all() or given["grid"] is not None:
        return group
    told = exercise if exercise.bpm is not None else replace(exercise, bpm=group.exercise.bpm)
    found = align_stretch(strum_s[here], told, **given)
    slot = np.full(len(strum_s), OTHER_PART)
    slot[here] = found.slot
    return replace(found, slot=slot)


# --- the list of parts, and the one that is measured


def _chosen(groups: list[Alignment], strum_s: FloatArray, exercise: Exercise, part: int | None) -> Alignment:
    """The alignment of the group that is measured, with the list of all parts."""
    played = [g for g in groups if (g.slot >= 0).sum() >= PLAYED_STRUMS] or groups[:1]
    measured = max(range(len(played)), key=lambda i: (_fits(played[i], exercise), int((played[i].slot >= 0).sum()), -i))
    rows = _listed(played, measured, strum_s)
    if part is not None:
        if not 1 <= part <= len(rows):
            raise UsageError(f"the part must be a number from 1 to {len(rows)}, the parts of this recording; got {part}")
        if rows[part - 1][0].kind in ("stopped", "own-tempo"):
            kind = "nothing was played" if rows[part - 1][0].kind == "stopped" else "a tempo of its own was played"
            raise UsageError(f"part {part} cannot be measured against a click: {kind} in it; choose another part")
        chosen, index = rows[part - 1]
        one = cut_alignment(played[index], chosen.start_s - 1e-6, chosen.end_s + 1e-6, strum_s) if False else played[index]
        played[index] = one
        measured = index
        rows = _listed(played, measured, strum_s)
    take = played[measured]
    parts = tuple(row for row, _ in rows)
    others = tuple(g for i, g in enumerate(played) if i != measured)
    slot = _ignored(take, others, strum_s)
    return replace(take, slot=slot, parts=parts, others=others, notices=(*take.notices, *_notices(take, parts)))


def _fits(group: Alignment, exercise: Exercise) -> bool:
    """Whether a group, one of its steps at least, has the tempo told."""
    return exercise.bpm is None or any(abs(bpm / exercise.bpm - 1.0) <= 1e-3 for bpm in group.steps_bpm or (group.exercise.bpm or 0.0,))


def _ignored(take: Alignment, others: Sequence[Alignment], strum_s: FloatArray) -> IntArray:
    """The measured part's slots; strums that no part has a place for are outside the exercise."""
    slot = take.slot.copy()
    elsewhere = np.zeros(len(slot), np.bool_)
    for other in others:
        elsewhere |= (other.slot != OTHER_PART) & (other.slot != OUTSIDE)
    slot[(slot == OTHER_PART) & ~elsewhere] = OUTSIDE
    return slot


def _listed(groups: Sequence[Alignment], measured: int, strum_s: FloatArray) -> list[tuple[Part, int]]:
    """All parts in time order, each with the index of its group."""
    rows: list[tuple[Part, int]] = []
    for i, group in enumerate(groups):
        kind: PartKind = "played"
        if i != measured:
            after = groups[i + 1] if i + 1 < len(groups) else None
            kind = "false-start" if after is not None and _broken_off(group, after) else "other-take"
            if kind == "other-take" and group.grid.line_s.size and _same_clicks(group, groups[measured]):
                kind = "played"
        if i and _same_clicks(groups[i - 1], group):
            start_s, end_s = _span(groups[i - 1], strum_s)[1], _span(group, strum_s)[0]
            bpm = group.bpm_heard or group.exercise.bpm
            rows.append((Part(start_s=start_s, end_s=end_s, kind="stopped", bpm=bpm, n=0, measured=False), i))
        rows += [(row, i) for row in _stretches(group, kind, i == measured, strum_s)]
    return rows


def _span(group: Alignment, strum_s: FloatArray) -> tuple[float, float]:
    on = strum_s[(group.slot >= 0) | (group.slot == LEFT_CLICK)]
    return (float(on[0]), float(on[-1])) if len(on) else (group.first_downbeat_s, group.grid.end_s)


def _same_clicks(group: Alignment, other: Alignment) -> bool:
    """Whether two groups were played to one run of clicks that went on between them."""
    return group.steps_s == other.steps_s and group.anchor == other.anchor != "fitted"


def _broken_off(group: Alignment, after: Alignment) -> bool:
    n, following = (int((g.slot >= 0).sum()) for g in (group, after))
    at = group.slot[group.slot >= 0]
    bar_s = float(np.median(group.grid.beat_s)) * group.grid.beats_per_bar if len(group.grid) else math.inf
    lasted_s = float(np.ptp(group.grid.slot_s[at])) if len(at) else 0.0
    return lasted_s < FALSE_START_BARS * bar_s and n <= FALSE_START_SHARE * following


def _stretches(group: Alignment, kind: PartKind, measured: bool, strum_s: FloatArray) -> list[Part]:
    """The parts of one group: divided where the tempo steps, samples are missing or the player left the click."""
    cuts = sorted({*group.steps_s[1:], *group.gaps_s})
    strums = np.flatnonzero((group.slot >= 0) | (group.slot == LEFT_CLICK))
    where = np.searchsorted(cuts, strum_s[strums] + 0.05)
    away = group.slot[strums] == LEFT_CLICK
    new = np.flatnonzero((np.diff(where) != 0) | (np.diff(away.astype(int)) != 0)) + 1
    rows = []
    for some in np.split(np.arange(len(strums)), new):
        if not len(some):
            continue
        times = strum_s[strums[some]]
        bpm = group.bpm_heard or group.exercise.bpm
        if len(group.steps_s) > 1:
            bpm = group.steps_bpm[max(int(np.searchsorted(group.steps_s, times[0] + 0.05)) - 1, 0)]
        own = bool(away[some[0]])
        if own:
            middle_s = float(times.mean())
            left = [d for d in group.left_click if d.start_s - 1e-6 <= middle_s <= d.end_s + 1e-6]
            bpm = left[0].played_bpm if left else bpm
        rows.append(
            Part(
                start_s=float(times[0]), end_s=float(times[-1]), kind="own-tempo" if own else kind, bpm=bpm, n=len(times),
                measured=measured and not own,
            )
        )  # fmt: skip
    return rows


def _notices(take: Alignment, parts: tuple[Part, ...]) -> tuple[Notice, ...]:
    notices: tuple[Notice, ...] = ()
    for gap_s in take.gaps_s:
        message = (
            f"at {gap_s:.1f} s the clicks jump: sound is missing there, or was put in; the beats are taken anew from the "
            "clicks after it"
        )
        notices += (Notice(code="gap", message=message),)
    others = [p for p in parts if not p.measured and p.kind in ("played", "other-take", "false-start")]
    mine = [p for p in parts if p.measured]
    if others and mine:
        numbers = [str(i) for i, p in enumerate(parts, 1) if p in others]
        message = (
            f"this recording holds {len(parts)} parts; the figures are of what was played from {mine[0].start_s:.1f} to "
            f"{mine[-1].end_s:.1f} s; --part {' or '.join(numbers)} measures another"
        )
        notices += (Notice(code="parts", message=message),)
    return notices
