"""Who belongs to a folder of a larger journal: the students of one teacher's class in a school's record."""

from __future__ import annotations

import os
from pathlib import Path

import sqlalchemy as sa

from strumclock.errors import UsageError, printable
from strumclock.journal.entry import plain
from strumclock.journal.schema import files, students


def students_below(connection: sa.Connection, folder: str | os.PathLike[str], name: str) -> tuple[str, ...]:
    """Names of the students who have a recording below a folder, or for whom a folder in it is named.

    Parameters
    ----------
    folder : path
    name : str
        How the journal names it; ``"."`` for its own, to which everybody belongs.

    Raises
    ------
    UsageError
        If there are none.
    """
    query = sa.select(students.c.name).order_by(students.c.key)
    if name != ".":
        inside = [plain(place.name) for place in Path(folder).iterdir()] if os.path.isdir(folder) else []
        below = sa.select(files.c.student_key).where(files.c.path.startswith(f"{name}/", autoescape=True))
        query = query.where(sa.or_(students.c.key.in_(below), students.c.key.in_(inside)))
    found = tuple(connection.execute(query).scalars())
    if not found and name != ".":
        raise UsageError(
            "a folder must have recordings below it of somebody in the journal, but "
            f"{printable(os.fspath(folder))} has none; measure it with batch, or name the students"
        )
    return found
