"""What the weeks of each student came to, kept so that a large class is not worked out anew each time.

A conclusion is kept with a mark of all that it was made from: the student's takes, with the moment at which each was
measured, the goals and what was set; the caller adds what else it depends on. It holds as long as the mark is the
same, and goes with the student.
"""

from __future__ import annotations

import hashlib
import marshal
from collections.abc import Collection, Mapping
from itertools import groupby
from operator import itemgetter
from typing import Any

import sqlalchemy as sa

from strumclock.journal.columns import Day, Moment
from strumclock.journal.entry import plain
from strumclock.journal.schema import CHUNK, assignments, conclusions, goals, students, takes
from strumclock.journal.writing import upsert


def marks(connection: sa.Connection, names: Collection[str] | None = None) -> dict[str, tuple[int, str]]:
    """Students' numbers and marks, by name and in the order of names: of all, or of those named."""
    rows = connection.execute(sa.select(students).order_by(students.c.key)).all()
    if names is not None:
        wanted = {plain(name) for name in names}
        rows = [row for row in rows if row.key in wanted]
    digests = {row.id: hashlib.blake2b(repr(tuple(row)).encode(), digest_size=16) for row in rows}
    owners = list(digests) if names is not None else [None]
    for query in _OF_TAKES, _OF_GOALS, _OF_ASSIGNMENTS:
        for start in range(0, len(owners), CHUNK):
            chunk = owners[start : start + CHUNK]
            some = query if names is None else query.where(query.selected_columns.student_id.in_(chunk))
            for owner, theirs in groupby(connection.execute(some).all(), key=itemgetter(0)):
                if owner in digests:
                    digests[owner].update(marshal.dumps([tuple(row) for row in theirs], 2))
    return {row.name: (row.id, digests[row.id].hexdigest()) for row in rows}


def _query(table: sa.Table, *columns: str) -> sa.Select[Any]:
    """Columns of a table by student, as text where they are dates: to be hashed, not read."""
    dated = {c.name: sa.cast(c, sa.Text) for c in table.c if isinstance(c.type, (Day, Moment))}
    chosen = [dated.get(name, sa.type_coerce(table.c[name], sa.types.NullType())).label(name) for name in columns]
    return sa.select(table.c.student_id, *chosen).order_by(table.c.student_id, table.c.id)


_OF_TAKES = _query(
    takes,
    *("id", "exercise_id", "source", "status", "played_on", "played_at", "bpm", "held", "excluded", "same_sound_as"),
    *("superseded_by", "date_source", "measured_at"),
)
_OF_GOALS = _query(goals, "exercise_id", "bpm", "by_date")
_OF_ASSIGNMENTS = _query(assignments, "exercise_id", "bpm", "given_on", "due_on")


def kept(connection: sa.Connection, owners: Collection[int] | None = None) -> dict[int, tuple[str, bytes]]:
    """The conclusions that are kept: mark and content, by the student's number; of some students, or of all."""
    chosen = sa.select(conclusions)
    if owners is not None and len(owners) < CHUNK:
        chosen = chosen.where(conclusions.c.student_id.in_(list(owners)))
    return {row.student_id: (row.made_from, row.said) for row in connection.execute(chosen)}


def keep(connection: sa.Connection, made: Mapping[int, tuple[str, bytes]]) -> None:
    """Keep conclusions in the place of older ones; of students who are gone meanwhile, none."""
    there = set(connection.execute(sa.select(students.c.id)).scalars())
    for owner, (mark, said) in made.items():
        if owner in there:
            row = {"student_id": owner, "made_from": mark, "said": said}
            upsert(connection, conclusions, row, on=("student_id",))
