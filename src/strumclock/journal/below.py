"""Which students belong to a folder: one teacher's class in the journal of a school."""

from __future__ import annotations

import os

import sqlalchemy as sa

from strumclock.journal.entry import plain
from strumclock.journal.schema import students, takes


def students_below(connection: sa.Connection, name: str, folder: str | os.PathLike[str]) -> tuple[str, ...]:
    """Names of the students who have takes in a folder or below it, or have a folder of their name there.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    name : str
        The folder as the journal names files; ``"."`` for its own, which everybody belongs to.
    folder : path
        The folder, where its names can be read.
    """
    rows = connection.execute(sa.select(students.c.id, students.c.key, students.c.name).order_by(students.c.key)).all()
    if name in (".", ""):
        return tuple(row.name for row in rows)
    there = set(
        connection.execute(sa.select(takes.c.student_id).where(_lies_in(connection, name)).distinct()).scalars()
    )
    try:
        folders = {plain(entry.name) for entry in os.scandir(folder) if entry.is_dir()}
    except OSError:
        folders = set()
    return tuple(row.name for row in rows if row.id in there or row.key in folders)


def _lies_in(connection: sa.Connection, name: str) -> sa.ColumnElement[bool]:
    """Whether a take's path begins with the folder's, letter by letter, as the index of paths has them in order."""
    first, beyond = f"{name.rstrip('/')}/", f"{name.rstrip('/')}{chr(ord('/') + 1)}"
    path = takes.c.path
    if connection.dialect.name == "postgresql":  # whose < goes by the database's language, and ~<~ by letters
        return sa.and_(path.op("~>=~", is_comparison=True)(first), path.op("~<~", is_comparison=True)(beyond))
    return sa.and_(path >= first, path < beyond)
