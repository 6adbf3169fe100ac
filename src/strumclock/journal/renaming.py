"""A student whose name was changed, or told later, keeps the record: notes, goals and answers follow the takes.

A recording that lies in another student's folder now moves there with its take (`strumclock.journal.writing`). Whoever
is left without a take, and in no folder any more, was renamed, if all that moved went to one student. A student without
a name who is left without a take is dropped.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import sqlalchemy as sa

from strumclock.journal.schema import answers, assignments, conclusions, goals, notes, students, takes

if TYPE_CHECKING:
    from strumclock.journal.store import Journal

_FOLLOW = (notes, goals, answers)
"""What goes with a student to another name; what was set is told anew by practice.toml."""


def merge_renamed(
    journal: Journal, moves: Mapping[str, Collection[str]], present: Collection[str]
) -> tuple[tuple[str, str], ...]:
    """Let what is left of renamed students follow their takes.

    Parameters
    ----------
    journal : Journal
    moves : mapping of str to collection of str
        Whose takes went to whom, by the students' keys.
    present : collection of str
        Keys of the students who are in the folder now.

    Returns
    -------
    tuple of (str, str)
        The old name and the new one of each who was renamed.
    """
    gone = {key: set(to) for key, to in moves.items() if key not in present and (not key or len(set(to)) == 1)}
    if not gone:
        return ()
    merged = []
    with journal.writing() as connection:
        rows = {row.key: row for row in connection.execute(sa.select(students))}
        for key, to in gone.items():
            old, heir = rows.get(key), rows.get(min(to))
            if old is None or heir is None or _has_takes(connection, old.id):
                continue
            for table in _FOLLOW if len(to) == 1 else ():
                connection.execute(table.update().where(table.c.student_id == old.id).values(student_id=heir.id))
            for table in (*_FOLLOW, assignments, conclusions):
                connection.execute(table.delete().where(table.c.student_id == old.id))
            connection.execute(students.delete().where(students.c.id == old.id))
            merged.append((str(old.name), str(heir.name)))
    return tuple(merged)


def _has_takes(connection: sa.Connection, owner: int) -> bool:
    return connection.execute(sa.select(takes.c.id).where(takes.c.student_id == owner).limit(1)).first() is not None
