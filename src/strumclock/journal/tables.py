"""Tables out of the journal: takes, figures, strums, notes, as rows that a CSV file or a data frame takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa

from strumclock.journal.edits import known_exercise, known_student
from strumclock.journal.entry import STRUM_COLUMNS, exercise_label, unpack
from strumclock.journal.schema import exercises, figures, notes, results, strums, students, takes
from strumclock.pipeline.figures import COLUMNS

MAIN_FIGURES = COLUMNS
"""The figures that the table of takes shows; the others are in the table of figures."""

TAKE_HEADER = (
    *("take", "student", "date", "date_source", "week", "exercise", "chords", "beats_per_change", "bpm"),
    *(
        "changes_per_minute",
        "held",
        "margin",
        "failed",
        "next_bpm",
        "anchor",
        "slots",
        "played",
        "added",
        "tolerance_ms",
    ),
    *(f"{name}{part}" for name in MAIN_FIGURES.values() for part in ("", "_low", "_high", "_u")),
    *("duration_s", "status", "counts", "excluded", "error", "warnings", "equipment", "remark", "file", "sha256"),
)
CHUNK = 500  # rows held in memory at once

Rows = Iterator[dict[str, Any]]


def iso_week(day: Any) -> str | None:
    """The ISO 8601 week of a day, such as ``2020-W53``."""
    if day is None:
        return None
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def why_not_counted(row: Any) -> str | None:
    """Why a take does not count in the progress; None if it does."""
    if row.status == "failed":
        return "could not be measured"
    if row.excluded is not None:
        return "excluded by hand"
    if row.superseded_by is not None:
        return "its file holds a newer version"
    if row.same_sound_as is not None:
        return "the same sound is there in another file"
    if row.played_on is None:
        return "no date"
    if row.date_source == "file":
        return "its date is only the file's time: confirm it"
    return None


def chosen(connection: sa.Connection, query: Any, student: str | None, exercise: str | None) -> Any:
    """A query narrowed to one student and one exercise."""
    owner = None
    if student is not None:
        owner, _ = known_student(connection, student)
        query = query.where(takes.c.student_id == owner)
    if exercise is not None:
        query = query.where(takes.c.exercise_id.in_(known_exercise(connection, exercise, owner).ids))
    return query


def take_rows(connection: sa.Connection, student: str | None, exercise: str | None) -> tuple[Sequence[str], Rows]:
    """One row a take, oldest first."""
    query = sa.select(*takes.c, students.c.name.label("student"), exercises.c.name.label("name"), exercises.c.chords)
    query = query.join(students, takes.c.student_id == students.c.id)
    query = query.outerjoin(exercises, takes.c.exercise_id == exercises.c.id)
    query = chosen(connection, query, student, exercise)
    query = query.order_by(students.c.key, takes.c.played_on, takes.c.played_at, takes.c.id)

    def rows() -> Rows:
        for part in connection.execute(query).partitions(CHUNK):
            found = main_figures(connection, [row.id for row in part])
            for row in part:
                yield _take_row(row, found.get(row.id, {}))

    return TAKE_HEADER, rows()


def main_figures(connection: sa.Connection, ids: list[int]) -> dict[int, dict[str, Any]]:
    """The main figures of some takes: by take, by name."""
    places = figures.c.place.in_(list(MAIN_FIGURES))
    query = sa.select(figures).where(figures.c.take_id.in_(ids), places, figures.c.value.is_not(None))
    found: dict[int, dict[str, Any]] = {}
    for row in connection.execute(query):
        found.setdefault(row.take_id, {})[MAIN_FIGURES[row.place]] = row
    return found


def _take_row(row: Any, found: dict[str, Any]) -> dict[str, Any]:
    cells = {name: getattr(row, name, None) for name in TAKE_HEADER}
    cells |= {
        "take": row.id,
        "date": row.played_on,
        "week": iso_week(row.played_on),
        "exercise": row.name,
        "changes_per_minute": row.bpm / row.beats_per_change if row.bpm and row.beats_per_change else None,
        "counts": why_not_counted(row) is None,
        "file": row.path,
        "sha256": row.identity.partition(":")[2] if row.source == "recording" else None,
    }
    for name, estimate in found.items():
        cells |= {
            name: estimate.value,
            f"{name}_low": estimate.low,
            f"{name}_high": estimate.high,
            f"{name}_u": estimate.u,
        }
    return cells


def figure_rows(connection: sa.Connection, student: str | None, exercise: str | None) -> tuple[Sequence[str], Rows]:
    """One row a figure."""
    query = chosen(connection, sa.select(figures).join(takes, figures.c.take_id == takes.c.id), student, exercise)
    query = query.order_by(figures.c.take_id, figures.c.place)
    header = ("take", "place", "value", "low", "high", "u", "absent")
    return header, ({"take": row.take_id, **row._mapping} for row in connection.execute(query))


def note_rows(connection: sa.Connection, student: str | None) -> tuple[Sequence[str], Rows]:
    """One row a remark."""
    query = sa.select(notes, students.c.name.label("student"), exercises)
    query = query.join(students, notes.c.student_id == students.c.id)
    query = query.outerjoin(exercises, notes.c.exercise_id == exercises.c.id)
    if student is not None:
        query = query.where(notes.c.student_id == known_student(connection, student)[0])
    header = ("student", "exercise", "made_on", "text")
    rows = connection.execute(query.order_by(notes.c.made_on, notes.c.id))
    return header, (
        {
            "student": row.student,
            "exercise": exercise_label(dict(row._mapping)) if row.exercise_id is not None else None,
            "made_on": row.made_on,
            "text": row.text,
        }
        for row in rows
    )


def strum_columns(connection: sa.Connection, take: int) -> dict[str, list[Any]]:
    """A take's strums, column by column; empty columns for a take without recording."""
    blob = connection.execute(sa.select(strums.c.columns).where(strums.c.take_id == take)).scalar()
    columns: dict[str, list[Any]] = unpack(blob) if blob is not None else {name: [] for name in STRUM_COLUMNS}
    return columns


def measurement(connection: sa.Connection, take: int) -> dict[str, Any]:
    """A take's result, put together again."""
    blob = connection.execute(sa.select(results.c.detail).where(results.c.take_id == take)).scalar()
    whole: dict[str, Any] = unpack(blob) if blob is not None else {}
    if whole:
        columns = strum_columns(connection, take)
        whole["strums"] = [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
    return whole
