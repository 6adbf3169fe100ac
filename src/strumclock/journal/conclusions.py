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

import sqlalchemy as sa

from strumclock.journal.entry import plain
from strumclock.journal.schema import conclusions, students
from strumclock.journal.writing import upsert

_TAKES = (
    "SELECT student_id, id, exercise_id, source, status, CAST(played_on AS TEXT), CAST(played_at AS TEXT), bpm, held, "
    "excluded, same_sound_as, superseded_by, CAST(measured_at AS TEXT) FROM takes {whose} ORDER BY student_id, id"
)
_GOALS = "SELECT student_id, exercise_id, bpm, CAST(by_date AS TEXT) FROM goals {whose} ORDER BY student_id, id"
_SET = (
    "SELECT student_id, exercise_id, bpm, CAST(given_on AS TEXT), CAST(due_on AS TEXT) FROM assignments "
    "{whose} ORDER BY student_id, id"
)


def marks(connection: sa.Connection, names: Collection[str] | None = None) -> dict[str, tuple[int, str]]:
    """Every student's number and mark, by name and in the order of names; or only those of some names."""
    wanted = sa.select(students).order_by(students.c.key)
    if names is not None:
        wanted = wanted.where(students.c.key.in_([plain(name) for name in names]))
    rows = connection.execute(wanted).all()
    whose = "" if names is None else f"WHERE student_id IN ({', '.join(str(row.id) for row in rows) or 'NULL'})"
    digests = {row.id: hashlib.blake2b(repr(tuple(row)).encode(), digest_size=16) for row in rows}
    for query in (_TAKES, _GOALS, _SET):
        every = connection.exec_driver_sql(query.format(whose=whose)).all()
        for owner, theirs in groupby(every, key=itemgetter(0)):
            if owner in digests:
                digests[owner].update(marshal.dumps([tuple(row) for row in theirs], 2))
    return {row.name: (row.id, digests[row.id].hexdigest()) for row in rows}


def kept(connection: sa.Connection, owners: Collection[int] | None = None) -> dict[int, tuple[str, bytes]]:
    """The conclusions that are kept: mark and content, by the student's number."""
    query = sa.select(conclusions)
    if owners is not None:
        query = query.where(conclusions.c.student_id.in_(owners))
    return {row.student_id: (row.made_from, row.said) for row in connection.execute(query)}


def keep(connection: sa.Connection, made: Mapping[int, tuple[str, bytes]]) -> None:
    """Keep conclusions in the place of older ones; of students who are gone meanwhile, none."""
    there = set(connection.execute(sa.select(students.c.id)).scalars())
    for owner, (mark, said) in made.items():
        if owner in there:
            row = {"student_id": owner, "made_from": mark, "said": said}
            upsert(connection, conclusions, row, on=("student_id",))
