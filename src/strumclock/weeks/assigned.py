"""What was set to a student, and what came of it: met, sent, nothing yet, or missing.

An exercise that was set counts as **met** when a take of it, played from the day it was given on, held the tempo that
was set or a faster one. A take that was played after the same exercise was set again belongs to the later assignment.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from strumclock.journal import Assignment, PastTake, Practised, plain

SAME_BPM = 0.5
"""Tempi that differ by less are one setting of a metronome."""

STATES = ("met", "met-late", "sent", "waiting", "missing")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One assignment with what came of it.

    Attributes
    ----------
    assignment : Assignment
    n_takes : int
        Takes of the exercise since it was given.
    met_on : date or None
        The day of the first take that held the tempo.
    best_bpm : float or None
        The fastest tempo that was held since.
    """

    assignment: Assignment
    n_takes: int
    met_on: date | None
    best_bpm: float | None

    def state(self, today: date) -> str:
        """``"met"``, ``"met-late"`` (after the day it was due), ``"sent"``, ``"waiting"`` or ``"missing"`` (none came,
        and it was due before today)."""
        due = self.assignment.due_on
        if self.met_on is not None:
            return "met-late" if due is not None and self.met_on > due else "met"
        if self.n_takes:
            return "sent"
        return "missing" if due is not None and due < today else "waiting"


def standings(
    assignments: Sequence[Assignment], takes: Sequence[PastTake], exercises: Mapping[int, Practised]
) -> tuple[Standing, ...]:
    """What came of each assignment, the last one given first.

    Parameters
    ----------
    assignments : sequence of Assignment
        Of one student, as the journal has them.
    takes : sequence of PastTake
        Of the same student; those that do not count are passed over.
    exercises : mapping of int to Practised
        Those that the takes and assignments name. One of the same name is the same exercise.

    Examples
    --------
    >>> given = Assignment(student="Ines", bpm=72, given_on=date(2026, 11, 23), due_on=date(2026, 11, 29))
    >>> [standings([given], [], {})[0].state(date(2026, 11, day)) for day in (25, 30)]
    ['waiting', 'missing']
    """
    counted = [take for take in takes if take.not_counted is None and take.played_on is not None]
    found = []
    for one in assignments:
        same = _same_exercise(one, exercises)
        again = [a.given_on for a in assignments if a.exercise_id in same and a.given_on > one.given_on]
        until = min(again, default=date.max)
        its = [t for t in counted if t.exercise_id in same and one.given_on <= _day(t) < until]
        held = [t for t in its if t.held]
        met = [_day(t) for t in held if one.bpm is None or (t.bpm is not None and t.bpm >= one.bpm - SAME_BPM)]
        found.append(
            Standing(
                assignment=one,
                n_takes=len(its),
                met_on=min(met, default=None),
                best_bpm=max((t.bpm for t in held if t.bpm is not None), default=None),
            )
        )
    return tuple(sorted(found, key=lambda s: s.assignment.given_on, reverse=True))


def _same_exercise(one: Assignment, exercises: Mapping[int, Practised]) -> set[int | None]:
    """The numbers of the exercise that was set, under all that was told of it at one time or another."""
    name = plain(str(one.exercise.get("name") or ""))
    named = {number for number, known in exercises.items() if name and plain(known.name) == name}
    return {one.exercise_id, *named}


def _day(take: PastTake) -> date:
    assert take.played_on is not None
    return take.played_on
