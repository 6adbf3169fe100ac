"""What the commands about weeks share: the record that they open, whose it is, days."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import click

from strumclock.cli.options import FILE
from strumclock.errors import JournalError, UsageError

JOURNAL = click.option(
    "--journal",
    "journal",
    metavar="FILE|URL",
    type=FILE,
    help="The practice record: a file, or postgresql://… [in the folder]",
)


@contextmanager
def open_journal(where: str, *, writes: bool = False, create: bool = False) -> Iterator[Any]:
    """The practice record of a folder, a file or a database, which must be there; its copy is current afterwards."""
    from strumclock.journal import Journal

    book = Journal(where, create=create)
    yield book
    with contextlib.nullcontext() if writes else contextlib.suppress(JournalError):  # who only reads need not be told
        book.mend_copy()


def only_student(book: Any, student: str | None, folder: str | None = None) -> str:
    """Whose record is meant: the one named, else the only one of the folder that was told, else of the record."""
    if student is not None:
        return student
    students = (folder is not None and os.path.isdir(folder) and book.students_below(folder)) or book.students()
    if len(students) != 1:
        raise UsageError(f"--student is needed; the record has {len(students)}: {', '.join(students)}; name one")
    return str(students[0])


def only_exercise(book: Any, student: str, exercise: str | None) -> str:
    if exercise is not None:
        return exercise
    found = book.exercises(student)
    if len(found) != 1:
        has = f"{student} has {len(found)}: {'; '.join(found)}" if found else f"{student} has none yet"
        raise UsageError(f"a goal needs --exercise, the one it is for; {has}; name one")
    return str(found[0])


def day(text: str | None) -> date | None:
    if text is None:
        return None
    from strumclock.journal import read_date

    return read_date(text)
