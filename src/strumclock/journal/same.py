"""Which of a journal's exercises are one and the same, however each was told.

What is told of an exercise changes over the weeks: a page kept on paper has a name only, a practice.toml gets a
pattern, an exercise is given another name. Two rows are one exercise if their names agree and nothing that both tell
differs, or if chords, beats per change, pattern and meter agree. A row that would fit two exercises which differ (a
page's "two chords", where there is one that changes every bar and one that changes every other bar) is neither of
them: it stays by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from strumclock.journal.entry import KEY_FIELDS, exercise_label, plain
from strumclock.journal.schema import assignments, exercises, goals, takes

DETAILS = ("chords", "beats_per_change", "pattern", "meter")
"""What makes two exercises of different names one."""
TELLING = ("chords", "pattern")
"""One of these must be told: a meter alone is no exercise."""

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Same:
    """One exercise, with all the rows that tell of it.

    Attributes
    ----------
    rows : tuple of mapping
        In the order in which they were given.
    """

    rows: tuple[Row, ...]

    @property
    def id(self) -> int:
        """The number of the one that was written first: it stays when others join."""
        return min(self.ids)

    @property
    def label(self) -> str:
        """The exercise's name for people, with what sets it apart."""
        return exercise_label(self.told())

    @property
    def ids(self) -> tuple[int, ...]:
        """Their numbers in the journal."""
        return tuple(int(row["id"]) for row in self.rows)

    def told(self) -> dict[str, Any]:
        """The exercise as it is known best: of each field what was told last."""
        return {
            field: next((row[field] for row in reversed(self.rows) if row[field] is not None), None)
            for field in KEY_FIELDS
        }


def same_exercises(rows: Sequence[Row]) -> tuple[Same, ...]:
    """Put rows together that are one exercise.

    Parameters
    ----------
    rows : sequence of mapping
        Rows of the exercises' table.

    Examples
    --------
    >>> fields = ("id", "name", "chords", "beats_per_change", "meter", "per_beat", "pattern")
    >>> rows = [(1, "two chords", "A D", 4.0), (2, "Two chords", None, None), (3, "AD", "A D", 4.0)]
    >>> rows += [(4, "two chords", "A D", 2.0)]
    >>> [one.ids for one in same_exercises([dict(zip(fields, (*row, None, None, None))) for row in rows])]
    [(1, 3), (2,), (4,)]
    >>> [one.ids for one in same_exercises([dict(zip(fields, (*row, None, None, None))) for row in rows[:3]])]
    [(1, 2, 3)]
    """
    place = {id(row): n for n, row in enumerate(rows)}
    fullest_first = sorted(rows, key=lambda row: (-sum(row[f] is not None for f in KEY_FIELDS), place[id(row)]))
    groups: list[list[Row]] = []
    by_sign: dict[object, list[int]] = {}
    for row in fullest_first:
        signs = _signs(row)
        near = dict.fromkeys(n for sign in signs for n in by_sign.get(sign, ()))
        fits = [n for n in near if not any(_differ(row, other) for other in groups[n])]
        if len(fits) == 1:
            groups[fits[0]].append(row)
            mine = fits[0]
        else:
            groups.append([row])
            mine = len(groups) - 1
        for sign in signs:
            by_sign.setdefault(sign, []).append(mine)
    ordered = [sorted(group, key=lambda row: place[id(row)]) for group in groups]
    return tuple(Same(rows=tuple(group)) for group in sorted(ordered, key=lambda group: place[id(group[0])]))


def _signs(row: Row) -> tuple[object, ...]:
    """What an exercise is recognised by: its name, and all its details."""
    found: list[object] = []
    if plain(row["name"]):
        found.append(plain(row["name"]))
    if any(row[field] is not None for field in TELLING):
        found.append(details(row))
    return tuple(found)


def details(row: Row) -> tuple[object, ...]:
    """Chords, beats per change, pattern and meter of an exercise, to be compared."""
    return tuple(row.get(field) for field in DETAILS)


def _differ(a: Row, b: Row) -> bool:
    """Whether two rows tell different things of a field that both tell."""
    fields = KEY_FIELDS[1:]
    return any(a[field] is not None and b[field] is not None and a[field] != b[field] for field in fields)


def used_by(connection: sa.Connection, student: int | None, *, also: int | None = None) -> tuple[Same, ...]:
    """The exercises of one student, by takes, goals and what was set; or of the whole journal.

    Those rows come last in which something was played or set last: their name is the exercise's.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    student : int or None
    also : int, optional
        A row that counts as the student's too.
    """
    query: Any = sa.select(exercises)
    if student is None:
        return same_exercises(_rows(connection, query.order_by(exercises.c.id)))
    used = sa.union_all(
        _last_day(takes, takes.c.played_on, student),
        _last_day(assignments, assignments.c.given_on, student),
        _last_day(goals, sa.cast(sa.null(), sa.Date), student),
    ).subquery()
    last = sa.select(used.c.exercise_id, sa.func.max(used.c.day).label("day")).group_by(used.c.exercise_id).subquery()
    query = query.outerjoin(last, exercises.c.id == last.c.exercise_id)
    query = query.where(sa.or_(last.c.exercise_id.is_not(None), exercises.c.id == also))
    return same_exercises(_rows(connection, query.order_by(sa.nulls_first(last.c.day), exercises.c.id)))


def _rows(connection: sa.Connection, query: Any) -> list[Row]:
    return [dict(row._mapping) for row in connection.execute(query)]


def _last_day(table: sa.Table, day: Any, student: int) -> Any:
    rows = sa.select(table.c.exercise_id, sa.func.max(day).label("day"))
    return rows.where(table.c.student_id == student, table.c.exercise_id.is_not(None)).group_by(table.c.exercise_id)
