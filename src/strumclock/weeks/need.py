"""Who needs the teacher first, and why: the one place that decides it.

In this order: **stuck** (the tempo in reach does not rise, or no tempo was held for weeks), **falling**, **silent**
(nothing came for a fortnight, or an exercise that was due), **unsure** (the recordings are hard to measure),
**obstacle** (the same thing stands in the way for weeks, or grows), **fine**.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strumclock.weeks.causes import Cause
    from strumclock.weeks.exercise import ExerciseProgress
    from strumclock.weeks.record import Progress

NEEDS = ("stuck", "falling", "silent", "unsure", "obstacle", "fine")
SILENT_DAYS = 14  # two weekly lessons without a recording
UNSURE_SHARE = 0.5
"""Share of the last takes that were hard to measure."""
UNHELD_WEEKS = 4
"""Weeks with takes, one after the other, in which no tempo was held by enough of them."""
OBSTACLE_WEEKS = 4
"""Weeks in which an obstacle was measured and did not get smaller."""


def need_of(progress: Progress) -> str:
    """What the teacher should look at first: one of `NEEDS`.

    Parameters
    ----------
    progress : Progress
        What is practised now is its first exercise.
    """
    now = progress.exercises[0] if progress.exercises else None
    if now is not None and (now.state in ("plateau", "level") or unheld_weeks(now) >= UNHELD_WEEKS):
        return "stuck"
    if now is not None and now.state == "falling":
        return "falling"
    if _silent(progress):
        return "silent"
    if progress.n_recent and progress.doubtful >= UNSURE_SHARE * progress.n_recent:
        return "unsure"
    if now is not None and obstacle_of(now) is not None:
        return "obstacle"
    return "fine"


def _silent(progress: Progress) -> bool:
    """Nothing came for a fortnight, or nothing that was due; who was just given the first exercise is not silent."""
    states = [standing.state(progress.today) for standing in progress.standings]
    if "missing" in states[:1]:
        return True
    if progress.silent_days is None:
        return "missing" in states or not states
    return progress.silent_days > SILENT_DAYS


def unheld_weeks(exercise: ExerciseProgress) -> int:
    """How many of the last weeks with takes, one after the other, held no tempo."""
    n = 0
    for week in reversed(exercise.weeks):
        if week.held_bpm is not None or week.failed_bpm is None:  # held, or nothing that could be judged
            break
        n += 1
    return n


def obstacle_of(exercise: ExerciseProgress) -> Cause | None:
    """The largest thing that has stood in the way for weeks and does not get smaller; None where there is none."""
    return next(
        (c for c in exercise.causes if c.stands and c.state != "smaller" and len(c.weeks) >= OBSTACLE_WEEKS), None
    )


def by_need(students: Sequence[Progress]) -> tuple[Progress, ...]:
    """Those first who need the teacher most; alike ones by when they last played, and by name."""
    return tuple(sorted(students, key=lambda p: (NEEDS.index(p.need), p.last_played or date.min, p.student.casefold())))
