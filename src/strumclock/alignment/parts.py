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
