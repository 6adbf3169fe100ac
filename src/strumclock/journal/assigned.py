"""What was set to whom: an exercise, at which tempo, from when, until when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import sqlalchemy as sa

from strumclock.errors import UsageError
from strumclock.journal.edits import check_bpm, known_student
from strumclock.journal.entry import exercise_label
from strumclock.journal.schema import assignments, exercises, students
from strumclock.journal.writing import exercise_id, now, student_id, upsert


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """An exercise that was set to a student.

    Attributes
    ----------
    student : str
    exercise : mapping
        Its fields as told: name, chords, beats_per_change, meter, per_beat, pattern.
    bpm : float or None
        The tempo that was set; None where the student was to find it.
    given_on : date
    due_on : date or None
    exercise_id : int or None
        The exercise's number in the journal; None before it is written there.

    Raises
    ------
    UsageError
        If it is due before it was given, or the tempo is none that anybody plays.
    """

    student: str
    exercise: Mapping[str, Any] = field(default_factory=dict)
    bpm: float | None = None
    given_on: date
    due_on: date | None = None
    exercise_id: int | None = None

    def __post_init__(self) -> None:
        if self.due_on is not None and self.due_on < self.given_on:
            raise UsageError(
                f"an exercise must be due on the day it is given or later, but it is given on {self.given_on} and due "
                f"on {self.due_on}; correct one"
            )
        if self.bpm is not None:
            check_bpm(self.bpm)

    @property
    def label(self) -> str:
        """The exercise's name for people."""
        return exercise_label(self.exercise)


def write(connection: sa.Connection, given: Iterable[Assignment], *, replace: bool = False) -> None:
    """Write assignments down; the same one again changes nothing.

    Parameters
    ----------
    replace : bool
        Delete what these students were set before and is not given now: for a caller who knows all of it.
    """
    kept: dict[int, list[int]] = {}
    for one in given:
        owner = student_id(connection, one.student)
        where = {"student_id": owner, "exercise_id": exercise_id(connection, one.exercise), "given_on": one.given_on}
        row = {**where, "bpm": one.bpm, "due_on": one.due_on, "made_at": now()}
        same = sa.select(assignments).filter_by(**where)
        there = connection.execute(same).first()
        if there is None or (there.bpm, there.due_on) != (one.bpm, one.due_on):
            upsert(connection, assignments, row, on=tuple(where))
        kept.setdefault(owner, []).append(connection.execute(same).one().id)
    for owner, ids in kept.items() if replace else ():
        gone = sa.and_(assignments.c.student_id == owner, assignments.c.id.not_in(ids))
        connection.execute(assignments.delete().where(gone))


def read(connection: sa.Connection, student: str | None = None, *, since: date | None = None) -> tuple[Assignment, ...]:
    """What was set, oldest first: to one student, or to all; on a day or later."""
    query = sa.select(assignments, students.c.name.label("student"), *(exercises.c[name] for name in FIELDS))
    query = query.join(students, assignments.c.student_id == students.c.id)
    query = query.join(exercises, assignments.c.exercise_id == exercises.c.id)
    if student is not None:
        query = query.where(assignments.c.student_id == known_student(connection, student)[0])
    if since is not None:
        query = query.where(assignments.c.given_on >= since)
    return tuple(
        Assignment(
            student=row.student,
            exercise={name: value for name in FIELDS if (value := getattr(row, name)) is not None},
            bpm=row.bpm,
            given_on=row.given_on,
            due_on=row.due_on,
            exercise_id=row.exercise_id,
        )
        for row in connection.execute(query.order_by(assignments.c.given_on, students.c.key, assignments.c.id))
    )


FIELDS = ("name", "chords", "beats_per_change", "meter", "per_beat", "pattern")
"""What the exercises' table holds of an exercise."""
