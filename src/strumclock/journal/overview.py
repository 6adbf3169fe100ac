"""Who is in a journal: every student with the number of takes and the last day, by one question to the database."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa

from strumclock.journal.schema import students, takes


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentTakes:
    """One student of a journal.

    Attributes
    ----------
    student : str
    takes : int
        All that are written down, counted or not.
    last_played : date or None
        None where no take has a date.
    """

    student: str
    takes: int
    last_played: date | None


def overview(connection: sa.Connection) -> tuple[StudentTakes, ...]:
    """Every student, in order of name."""
    query = sa.select(students.c.name, sa.func.count(takes.c.id), sa.func.max(takes.c.played_on))
    query = query.outerjoin(takes, takes.c.student_id == students.c.id)
    query = query.group_by(students.c.id, students.c.key, students.c.name).order_by(students.c.key)
    return tuple(
        StudentTakes(student=name, takes=number, last_played=last) for name, number, last in connection.execute(query)
    )
