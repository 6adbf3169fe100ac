"""One student's weeks of one exercise: what was held, what is in reach and where it goes, what stands in the way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from strumclock.showing import Shown
from strumclock.verdict.reach import SLOPE, TAKE_SD, settable_bpm, take_reach
from strumclock.weeks.causes import Cause, causes
from strumclock.weeks.goal import Outlook, outlook
from strumclock.weeks.placement import Moved, moved
from strumclock.weeks.tendency import Reach, follow
from strumclock.weeks.week import (
    JITTER_SD,
    OFFSET_SD_MS,
    TAKES_TO_HOLD,
    Point,
    Span,
    Week,
    by_week,
    luck,
    summarise_week,
)

LATELY_WEEKS, BEYOND = 4, 1.15
"""A tempo in reach so far above all that was tried in these weeks rests on the usual slope alone: no number is told."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ExerciseProgress(Shown):
    """One exercise of one student, over weeks.

    Attributes
    ----------
    label : str
        Its name for people.
    beats_per_change : float or None
    points : tuple of Point
        Takes that count, in order.
    weeks : tuple of Week
        Weeks with takes; the others are gaps.
    takes_to_hold : int
        Takes of one calendar week that must hold a tempo for the week to have held it.
    highest_held_bpm, highest_held_in : float, date or None
        Highest tempo that a week ever held, and that week's Monday.
    reach : Reach or None
        The tempo in reach; None where no take was judged.
    causes : tuple of Cause
        What stands in the way or has changed, the largest first.
    moved : Moved or None
        Where the mean offset stepped.
    goal : Outlook or None
    next_bpm : float or None
        Tempo for the next take, a whole number; None where no tempo is known.
    subdivide : bool
        Whether to let the click sound between the beats rather than go slower.
    """

    label: str
    beats_per_change: float | None
    points: tuple[Point, ...]
    weeks: tuple[Week, ...]
    takes_to_hold: int
    highest_held_bpm: float | None
    highest_held_in: date | None
    reach: Reach | None
    causes: tuple[Cause, ...]
    moved: Moved | None
    goal: Outlook | None
    next_bpm: float | None
    subdivide: bool

    @property
    def state(self) -> str:
        """Of the tempo in reach: ``"plateau"`` (level after a climb) or as `Reach.state` has it."""
        if self.reach is None:
            return "early"
        return "plateau" if self.reach.rose_by_bpm is not None else self.reach.state

    @property
    def beyond_bpm(self) -> float | None:
        """The highest tempo tried lately, where the tempo in reach is so far above it that no number can be told."""
        return self._beyond(len(self.weeks)) if self.reach is not None else None

    @property
    def reach_known(self) -> tuple[tuple[date, Span], ...]:
        """The tempo in reach after each week, without the weeks in which it lay far beyond all that was tried."""
        known = dict(self.reach.weeks) if self.reach is not None else {}
        mondays = [week.monday for week in self.weeks]
        return tuple((m, known[m]) for i, m in enumerate(mondays, 1) if m in known and self._beyond(i) is None)

    def _beyond(self, weeks: int) -> float | None:
        """The same after so many of the weeks."""
        known = dict(self.reach.weeks) if self.reach is not None else {}
        lately = self.weeks[max(weeks - LATELY_WEEKS, 0) : weeks]
        tried = max((week.tried_bpm for week in lately if week.tried_bpm is not None), default=None)
        span = known.get(lately[-1].monday) if lately else None
        return tried if tried is not None and span is not None and span.value > BEYOND * tried else None

    @property
    def more_even(self) -> Cause | None:
        """The scatter, if it has become smaller by more than luck."""
        return next((c for c in self.causes if c.kind == "scatter" and c.state == "smaller"), None)


def exercise_progress(
    label: str,
    points: Sequence[Point],
    *,
    beats_per_change: float | None = None,
    goal_bpm: float | None = None,
    goal_by: date | None = None,
    takes_to_hold: int = TAKES_TO_HOLD,
) -> ExerciseProgress:
    """Put the takes of one exercise together.

    Parameters
    ----------
    points : sequence of Point
        Takes that count.
    goal_bpm, goal_by : float, date, optional
        The tempo wanted, and by when.
    takes_to_hold : int
        Takes of a week that must hold a tempo.
    """
    groups = by_week(points)
    ordered = [point for group in groups.values() for point in group]
    jitter = luck(([math.log(p.jitter_ms) for p in g if p.jitter_ms] for g in groups.values()), JITTER_SD)
    offset = luck(([p.offset_ms for p in g if p.offset_ms is not None] for g in groups.values()), OFFSET_SD_MS)
    weeks = tuple(
        summarise_week(monday, group, takes_to_hold=takes_to_hold, jitter=jitter, offset=offset)
        for monday, group in groups.items()
    )
    held = [(w.monday, w.held_bpm) for w in weeks if w.held_bpm is not None]
    best = max(held, key=lambda week: week[1], default=None)
    reach = follow(ordered)
    tempi = [p.bpm for p in ordered if p.bpm is not None]
    return ExerciseProgress(
        label=label,
        beats_per_change=beats_per_change,
        points=tuple(ordered),
        weeks=weeks,
        takes_to_hold=takes_to_hold,
        highest_held_bpm=best[1] if best else None,
        highest_held_in=best[0] if best else None,
        reach=reach,
        causes=causes(ordered),
        moved=moved(
            [(w.monday, w.offset_ms.value, w.offset_ms.n) for w in weeks if w.offset_ms],
            take_sd_ms=offset.sd,
            bpm=tempi[-1] if tempi else None,
        ),
        goal=None if goal_bpm is None else _goal(goal_bpm, goal_by, held, reach, groups),
        next_bpm=reach.next_bpm if reach else settable_bpm(tempi[-1]) if tempi else None,
        subdivide=reach.subdivide if reach else False,
    )


def _goal(
    bpm: float,
    by: date | None,
    held: Sequence[tuple[date, float]],
    reach: Reach | None,
    groups: dict[date, list[Point]],
) -> Outlook:
    """How far the goal is, from what each week's takes show by themselves since the tempo last changed at once."""
    if reach is None:
        return outlook(bpm, by=by, held=held, shown=(), in_reach=False, take_sd=TAKE_SD / SLOPE)
    since = reach.leap.in_week if reach.leap else date.min
    how = {"slope": reach.margin_slope, "take_sd": reach.take_sd}
    shown = [
        (monday, math.exp(float(np.mean(logs))), len(logs))
        for monday, group in groups.items()
        if monday >= since
        and (logs := [math.log(take_reach(p.bpm, p.margin, **how).value) for p in group if p.bpm and p.margin])
    ]
    in_reach, take_sd = reach.now.value >= bpm, reach.take_sd / reach.margin_slope
    leapt = reach.leap is not None
    return outlook(bpm, by=by, held=held, shown=shown, in_reach=in_reach, take_sd=take_sd, since_leap=leapt)
