"""What a student was told about their weeks: written, perhaps edited by hand, sent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa

from strumclock.errors import UsageError
from strumclock.journal.edits import known_student
from strumclock.journal.schema import answers, students
from strumclock.journal.writing import now, student_id


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A few sentences to one student.

    Attributes
    ----------
    student : str
    text : str
        Their words, as the teacher let them stand.
    said : tuple of str
        Which sentences these are, as codes: what is not said twice running.
    written_on : date
    language : str
        Such as ``"en"``.
    exercise_id : int or None
        What it is about.
    sent_on : date or None
        None while it was not sent.
    number : int or None
        In the journal; None before it is written there.
    """

    student: str
    text: str
    said: tuple[str, ...] = ()
    written_on: date
    language: str = "en"
    exercise_id: int | None = None
    sent_on: date | None = None
    number: int | None = None


def keep(connection: sa.Connection, answer: Answer) -> int:
    """Write an answer down, in the place of one of the same day that was not sent. Returns its number."""
    owner = student_id(connection, answer.student)
    same = (answers.c.student_id == owner, answers.c.written_on == answer.written_on, answers.c.sent_on.is_(None))
    connection.execute(answers.delete().where(*same))
    row = {
        "student_id": owner,
        "exercise_id": answer.exercise_id,
        "written_on": answer.written_on,
        "language": answer.language,
        "text": answer.text,
        "said": " ".join(answer.said),
        "sent_on": answer.sent_on,
        "made_at": now(),
    }
    done = connection.execute(answers.insert().values(**row))
    return int(done.inserted_primary_key[0])  # type: ignore[index]


def mark_sent(connection: sa.Connection, number: int, text: str | None, on: date) -> None:
    """Write down that an answer was sent, with other words where it was edited by hand.

    Raises
    ------
    UsageError
        If there is no such answer.
    """
    changed = {"sent_on": on} if text is None else {"sent_on": on, "text": text}
    if connection.execute(answers.update().where(answers.c.id == number).values(**changed)).rowcount != 1:
        raise UsageError(f"an answer must be named by its number in the journal, but there is none of number {number}")


def read(connection: sa.Connection, student: str | None = None, *, last: int | None = None) -> tuple[Answer, ...]:
    """Answers, oldest first: to one student, or to all; perhaps only the latest."""
    query = sa.select(answers, students.c.name.label("student")).join(students, answers.c.student_id == students.c.id)
    if student is not None:
        query = query.where(answers.c.student_id == known_student(connection, student)[0])
    latest_first = query.order_by(answers.c.written_on.desc(), answers.c.id.desc()).limit(last)
    return tuple(_answer(row) for row in reversed(connection.execute(latest_first).all()))


def last(connection: sa.Connection) -> dict[str, Answer]:
    """The last answer to each student, by name."""
    newest = sa.select(sa.func.max(answers.c.id)).group_by(answers.c.student_id)
    query = sa.select(answers, students.c.name.label("student")).join(students, answers.c.student_id == students.c.id)
    return {row.student: _answer(row) for row in connection.execute(query.where(answers.c.id.in_(newest)))}


def _answer(row: Any) -> Answer:
    return Answer(
        student=row.student,
        text=row.text,
        said=tuple(row.said.split()),
        written_on=row.written_on,
        language=row.language,
        exercise_id=row.exercise_id,
        sent_on=row.sent_on,
        number=row.id,
    )
