"""What stretches does a recording hold, and which of them is the take?

`runs` aligns each row of clicks that goes on without a pause. A run in which nothing is played for two bars or more is
divided there. What is left are the played stretches, each with a grid of its own; the longest of those that fit the
tempo told is the take that is measured. All are listed as `Part`s, what lies between them too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from strumclock.alignment import notices as remarks
from strumclock.alignment.placing import cut_alignment
from strumclock.alignment.pulse import TEMPO_TOLERANCE
from strumclock.alignment.result import LEFT_CLICK, OTHER_PART, OUTSIDE, Alignment, Part, PartKind
from strumclock.alignment.runs import align_runs, begun_anew
from strumclock.alignment.stretch import align_stretch
from strumclock.alignment.to_grid import align_to_grid, as_strums
from strumclock.arrays import Floats, Ints
from strumclock.errors import UsageError
from strumclock.grid import BeatGrid, Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks
    from strumclock.onsets import Strums

STOP_BARS, STOP_SLOTS = 2.0, 4
"""Nothing played for so many bars, in which so many slots were due, is a stop (DESIGN: two bars or more)."""
PLAYED_STRUMS = 3
"""Strums on slots from which a stretch is a part: two may be noises."""
FALSE_START_BARS, FALSE_START_SHARE = 4.0, 1 / 3
"""A stretch shorter than so many bars, with at most this share of the next one's strums, was a false start."""
OF_FIT = ("poor-fit", "strums-between", "starts-late", "stops-early")
"""What is said of how a whole run fits the exercise."""
EARLY_S = 0.1
"""A strum this little before a step of the tempo or a gap belongs to what begins there: most players are early."""


def align(
    strums: Strums | ArrayLike,
    exercise: Exercise | BeatGrid,
    *,
    clicks: Clicks | None = None,
    first_downbeat_s: float | None = None,
    first_downbeat_u_s: float = 0.0,
    grid: BeatGrid | None = None,
    end_s: float | None = None,
    same_clock: bool = False,
    part: int | None = None,
) -> Alignment:
    """Pair strums with the slots of an exercise, in each part of the recording; or with a grid of the caller's own.

    Parameters
    ----------
    strums : Strums or (n,) float
        The strums, or their times [s], increasing. Times alone are taken as exact; `Strums.of` says how well they are
        known.
    exercise : Exercise or BeatGrid
        What was told. What was not is inferred, and named in the result. A grid in the times' own seconds, such as
        ``build_grid(exercise, bars=8).placed(2.0)``, is taken as it is, with ``first_downbeat_u_s`` for how well its
        place is known: nothing is inferred, and no other option applies.
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
        If the times are not finite or do not increase, or nothing was played on the beat in the part asked for.

    Examples
    --------
    >>> found = align([2.01, 3.0, 4.02, 5.49, 6.01], Exercise(bpm=60, per_beat=1, bars=2), first_downbeat_s=2.0)
    >>> found.slot.tolist(), found.omitted.tolist(), found.anchor
    ([0, 1, 2, -1, 4], [3, 5, 6, 7], 'given')

    Own times against an own grid, and how they were timed:

    >>> from strumclock.grid import build_grid
    >>> grid = build_grid(Exercise(bpm=60, meter="4/4"), bars=1).placed(2.0)
    >>> align([2.01, 3.0, 5.02], grid).slot.tolist()
    [0, 1, 3]
    """
    if isinstance(exercise, BeatGrid):
        options = {"clicks": clicks, "first_downbeat_s": first_downbeat_s, "grid": grid, "end_s": end_s, "part": part}
        if told := [name for name, value in options.items() if value is not None]:
            raise UsageError(f"a grid of your own is taken as it is, but {', '.join(told)} came too; leave that out")
        return align_to_grid(strums, exercise, u_s=first_downbeat_u_s)
    known = as_strums(strums)
    strum_s = known.time_s
    stated: dict[str, Any] = {
        "first_downbeat_s": first_downbeat_s, "first_downbeat_u_s": first_downbeat_u_s, "same_clock": same_clock,
    }  # fmt: skip
    if grid is not None or clicks is None:
        runs = [align_stretch(strum_s, exercise, clicks=clicks, grid=grid, end_s=end_s, **stated)]
    else:
        runs = align_runs(strum_s, exercise, clicks, end_s, stated)
    groups = [
        _Group(run=i, found=found, beside_stop=len(pieces) > 1, after_stop=k > 0)
        for i, pieces in enumerate(_divided(run, strum_s) for run in runs)
        for k, found in enumerate(pieces)
    ]
    if grid is None:
        groups = [_begun_anew(group, strum_s, exercise, clicks, stated) for group in groups]
    measured = _measured(groups, strum_s, exercise, part)
    used_s = max(group.found.grid.end_s for group in groups)
    others = tuple(replace(other, strums=known) for other in measured.others)
    said = (*measured.notices, *remarks.unused(used_s, clicks))
    return replace(measured, notices=said, strums=known, others=others)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Group:
    """A played stretch: parts that are measured together, and the run of clicks that they were played to."""

    run: int
    found: Alignment
    beside_stop: bool = False
    after_stop: bool = False

    @property
    def n(self) -> int:
        """Strums on slots."""
        return int((self.found.slot >= 0).sum())

    @property
    def bars(self) -> float:
        """From the first strum on a slot to the last, in bars."""
        grid, at = self.found.grid, self.found.slot[self.found.slot >= 0]
        if not len(at):
            return 0.0
        return float(np.ptp(grid.slot_s[at]) / (np.median(grid.beat_s) * grid.beats_per_bar))

    @property
    def bpm(self) -> float | None:
        return self.found.bpm_heard or self.found.exercise.bpm

    def strums(self) -> Ints:
        """Strums that were played in it, those at a tempo of their own too."""
        return np.flatnonzero((self.found.slot >= 0) | (self.found.slot == LEFT_CLICK))

    def between(self, from_s: float, to_s: float, strum_s: Floats) -> _Group:
        """What of it lies between two times."""
        return replace(self, found=cut_alignment(self.found, from_s, to_s, strum_s))


def _divided(run: Alignment, strum_s: Floats) -> list[Alignment]:
    """A run divided where nothing was played for two bars or more; stretches of too few strums are no parts."""
    grid = run.grid
    on = np.flatnonzero(run.slot >= 0)
    at = run.slot[on]
    silent_s = np.diff(grid.slot_s[at]) - 0.5 * grid.part_s[at[:-1]]  # a slot lasts a part; half of it is let go
    stop = (silent_s >= STOP_BARS * grid.beats_per_bar * grid.beat_s[at[:-1]]) & (np.diff(at) > STOP_SLOTS)
    for k in np.flatnonzero(stop):
        stop[k] = not (run.slot[on[k] : on[k + 1]] == LEFT_CLICK).any()
    edges = [0, *(np.flatnonzero(stop) + 1).tolist(), len(on)]
    spans = [(a, b) for a, b in pairwise(edges) if b - a >= PLAYED_STRUMS]
    if len(spans) < 2:
        return [run]
    from_s = [-math.inf, *(_border(grid, at[a], -1) for a, _ in spans[1:])]
    to_s = [*(_border(grid, at[b - 1], +1) for _, b in spans[:-1]), math.inf]
    return [cut_alignment(run, a, b, strum_s) for a, b in zip(from_s, to_s, strict=True)]


def _border(grid: BeatGrid, slot: int, side: int) -> float:
    """Half a part before or after a slot [s]."""
    return float(grid.slot_s[slot] + 0.5 * side * grid.part_s[slot])


def _begun_anew(
    group: _Group, strum_s: Floats, exercise: Exercise, clicks: Clicks | None, stated: dict[str, Any]
) -> _Group:
    """A stretch beside a stop, with a start of its own.

    Where a click goes on, on another beat if the pattern says so; without one with its phase fitted anew, as nobody
    knows whether the click went on.
    """
    if not group.beside_stop or group.found.anchor == "given":
        return group
    if clicks is not None:
        first_s = float(group.found.grid.slot_s[0])
        train = [train for train in clicks.trains if train.start_s <= first_s] or [clicks]
        found = begun_anew(strum_s, group.found, exercise, train[-1], stated, after_stop=group.after_stop)
        return replace(group, found=_said_anew(found, strum_s))
    here = group.found.slot != OTHER_PART
    told = exercise if exercise.bpm is not None else replace(exercise, bpm=group.found.exercise.bpm)
    found = align_stretch(strum_s[here], told, **stated)
    slot = np.full(len(strum_s), OTHER_PART)
    slot[here] = found.slot
    return replace(group, found=replace(found, slot=slot))


def _said_anew(found: Alignment, strum_s: Floats) -> Alignment:
    """What was said of how a whole run fits the exercise, said of one of its stretches."""
    kept = tuple(n for n in found.notices if n.code not in OF_FIT)
    return replace(found, notices=(*kept, *remarks.fit(found.grid, strum_s, found.slot, len(found.omitted))))


def _measured(groups: list[_Group], strum_s: Floats, exercise: Exercise, part: int | None) -> Alignment:
    """The alignment of the part asked for, else of the longest one that fits the tempo told, with the list of all."""
    groups = [group for group in groups if group.n >= PLAYED_STRUMS] or groups[:1]
    index = max(range(len(groups)), key=lambda i: (_fits(groups[i].found, exercise), groups[i].n, -i))
    rows = _listed(groups, index, strum_s)
    if part is not None:
        groups, index = _asked(groups, rows, part, strum_s)
        rows = _listed(groups, index, strum_s)
    take = groups[index].found
    others = tuple(group.found for i, group in enumerate(groups) if i != index)
    parts = tuple(row for _, row in rows)
    notices = (*take.notices, *remarks.gaps(take), *remarks.steps(take), *remarks.parts(parts))
    return replace(take, slot=_marked(take, others), parts=parts, others=others, notices=notices)


def _fits(found: Alignment, exercise: Exercise) -> bool:
    """Whether a stretch, one of its steps at least, has the tempo told."""
    tempi = found.steps_bpm or (found.exercise.bpm or 0.0,)
    return exercise.bpm is None or any(abs(bpm / exercise.bpm - 1.0) <= TEMPO_TOLERANCE for bpm in tempi)


def _asked(groups: list[_Group], rows: list[tuple[int, Part]], part: int, strum_s: Floats) -> tuple[list[_Group], int]:
    """The groups, the one that holds the part asked for divided so that the part is alone; and its index."""
    if not 1 <= part <= len(rows):
        known = "this recording has one part" if len(rows) == 1 else f"this recording has {len(rows)} parts"
        raise UsageError(f"the part must be a number from 1 on and be there; {known}, but {part} came; correct it")
    i, row = rows[part - 1]
    if row.kind in ("stopped", "own-tempo"):
        what = "nothing was played in it" if row.kind == "stopped" else "it was played at a tempo of its own"
        raise UsageError(f"part {part} cannot be held against a click: {what}; choose another part")
    group = groups[i]
    beside = [p for k, p in rows if k == i and p.kind != "stopped"]
    before = [p.end_s for p in beside if p.end_s < row.start_s]
    after = [p.start_s for p in beside if p.start_s > row.end_s]
    from_s = _between(group.found, max(before), row.start_s) if before else -math.inf
    to_s = _between(group.found, row.end_s, min(after)) if after else math.inf
    pieces = [group.between(*span, strum_s) for span in ((-math.inf, from_s), (from_s, to_s), (to_s, math.inf))]
    kept = [piece for piece in pieces if len(piece.strums())]
    return [*groups[:i], *kept, *groups[i + 1 :]], i + kept.index(pieces[1])


def _between(found: Alignment, end_s: float, start_s: float) -> float:
    """The border between two parts: shortly before the step or the gap between them, else half-way [s]."""
    early_s = 0.5 * float(np.median(found.grid.part_s))
    cuts = [cut_s - early_s for cut_s in (*found.steps_s[1:], *found.gaps_s) if end_s < cut_s < start_s + EARLY_S]
    return cuts[0] if cuts else (end_s + start_s) / 2


def _marked(take: Alignment, others: Sequence[Alignment]) -> Ints:
    """The measured part's slots; strums that no part has a place for are outside the exercise."""
    elsewhere = np.zeros(len(take.slot), np.bool_)
    for other in others:
        elsewhere |= ~np.isin(other.slot, (OTHER_PART, OUTSIDE))
    slot = take.slot.copy()
    slot[(slot == OTHER_PART) & ~elsewhere] = OUTSIDE
    return slot


def _listed(groups: list[_Group], measured: int, strum_s: Floats) -> list[tuple[int, Part]]:
    """All parts in time order, each with the index of its group."""
    rows: list[tuple[int, Part]] = []
    for i, group in enumerate(groups):
        before = groups[i - 1] if i else None
        if before is not None and before.run == group.run and group.found.anchor != "fitted":
            rows += _stop(i, before, group, strum_s)
        kind = _kind(group, groups[i + 1] if i + 1 < len(groups) else None, groups[measured], i == measured)
        rows += [(i, row) for row in _stretches(group, kind, i == measured, strum_s)]
    return rows


def _kind(group: _Group, after: _Group | None, take: _Group, measured: bool) -> PartKind:
    if measured:
        return "played"
    if after is not None and group.bars < FALSE_START_BARS and group.n <= FALSE_START_SHARE * after.n:
        return "false-start"
    return "played" if group.run == take.run else "other-take"


def _stop(i: int, before: _Group, group: _Group, strum_s: Floats) -> list[tuple[int, Part]]:
    """The stop between two groups on one row of clicks; none where they are pieces of one stretch."""
    start_s, end_s = float(strum_s[before.strums()[-1]]), float(strum_s[group.strums()[0]])
    grid = group.found.grid
    beats = float(np.median(grid.beat_s))
    if end_s - start_s < STOP_BARS * grid.beats_per_bar * beats:
        return []
    slots = round((end_s - start_s) / beats * len(grid) / max(len(grid.line_s), 1)) - 1
    return [(i, Part(start_s=start_s, end_s=end_s, kind="stopped", bpm=group.bpm, n=0, slots=slots, measured=False))]


def _stretches(group: _Group, kind: PartKind, measured: bool, strum_s: Floats) -> list[Part]:
    """The parts of one group: divided where the tempo steps, sound is missing or the player left the click."""
    found, strums = group.found, group.strums()
    cuts = np.array(sorted({*found.steps_s[1:], *found.gaps_s}))
    where = np.searchsorted(cuts, strum_s[strums] + EARLY_S)
    own = found.slot[strums] == LEFT_CLICK
    new = np.flatnonzero((np.diff(where) != 0) | (own[1:] != own[:-1])) + 1
    return [
        _part(group, strums[some], kind, measured, strum_s)
        for some in np.split(np.arange(len(strums)), new)
        if len(some)
    ]


def _part(group: _Group, strums: Ints, kind: PartKind, measured: bool, strum_s: Floats) -> Part:
    """One part, from its strums."""
    found, grid = group.found, group.found.grid
    first_s, last_s = float(strum_s[strums[0]]), float(strum_s[strums[-1]])
    inside = (grid.slot_s >= first_s - 0.5 * grid.part_s) & (grid.slot_s <= last_s + 0.5 * grid.part_s)
    bpm = group.bpm
    if len(found.steps_s) > 1:
        bpm = found.steps_bpm[max(int(np.searchsorted(found.steps_s, first_s + EARLY_S)) - 1, 0)]
    own = found.slot[strums[0]] == LEFT_CLICK
    if own:
        bpm = next((d.played_bpm for d in found.left_click if d.start_s <= first_s <= d.end_s), None)
    return Part(
        start_s=first_s, end_s=last_s, kind="own-tempo" if own else kind, bpm=bpm, n=len(strums),
        slots=int(inside.sum()), measured=measured and not own,
    )  # fmt: skip
