"""What people write into the journal themselves: notes, goals, corrections."""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa

from strumclock.errors import JournalError, UsageError
from strumclock.fields import fields_of
from strumclock.grid import BPM_RANGE, Exercise
from strumclock.journal.entry import exercise_label, exercise_row, plain
from strumclock.journal.same import Same, used_by
from strumclock.journal.schema import edits, exercises, goals, notes, students, takes
from strumclock.journal.writing import IMMEDIATE_EDITS, delete_takes, exercise_id, now, student_id, upsert

TOLD_FIELDS = tuple(name for name, field in fields_of(Exercise).items() if field.in_files)
NAMELESS = "(no name)"
"""What lists call a student whose name nobody told; they can be named so."""

CORRECTABLE = ("student", "date", "exercise", "equipment", *TOLD_FIELDS)


def known_student(connection: sa.Connection, name: str | None) -> tuple[int, str]:
    """Id and name of a student; without a name the only one that there is.

    Raises
    ------
    UsageError
        If there is none of that name, or several and none was named.
    """
    rows = connection.execute(sa.select(students).order_by(students.c.name)).all()
    if name is None and len(rows) == 1:
        return rows[0].id, rows[0].name
    wanted = "" if plain(name) == NAMELESS else plain(name)
    for row in rows:
        if name is not None and row.key == wanted:
            return row.id, row.name
    known = ", ".join(row.name or NAMELESS for row in rows) or "nobody yet"
    if name is None:
        if not rows:
            raise UsageError("a student is needed, but the journal has none yet; measure a folder of takes with batch")
        raise UsageError(f"a student must be named where the journal has more than one; it has: {known}; name one")
    raise UsageError(f"the student must be one of the journal's ({known}), but {name!r} came; check the spelling")


def known_exercise(connection: sa.Connection, name: str, student: int | None = None) -> Same:
    """An exercise by its label, its name, or a part of it that only one has; under any name that it had.

    Raises
    ------
    UsageError
        If none or several match.
    """
    found = used_by(connection, student)
    labels = [{plain(one.label), *(plain(exercise_label(row)) for row in one.rows)} for one in found]
    names = [{plain(row["name"]) for row in one.rows} for one in found]
    wanted = plain(name)
    for fits in (
        [wanted in texts for texts in labels],
        [wanted in texts for texts in names],
        [wanted != "" and any(wanted in text for text in texts) for texts in labels],
    ):
        match = [one for one, fit in zip(found, fits, strict=True) if fit]
        if len(match) == 1:
            return match[0]
        if match:
            several = "; ".join(sorted(plain(one.label) for one in match))
            raise UsageError(
                f"the exercise must be one, but {name!r} fits several ({several}); name one of them in full"
            )
    known = "; ".join(sorted(plain(one.label) for one in found)) or "none yet"
    raise UsageError(f"the exercise must be one of the journal's ({known}), but {name!r} came; check the spelling")


def known_take(connection: sa.Connection, which: str | int) -> Any:
    """The row of a take by its number, its file's path or name, or the first figures of its hash.

    Raises
    ------
    UsageError
        If none or several match.
    """
    text = str(which)
    columns = sa.select(takes.c.id, takes.c.identity, takes.c.path, takes.c.source, takes.c.student_id)
    if text.isascii() and text.isdigit() and len(text) < 10:
        rows = connection.execute(columns.where(takes.c.id == int(text))).all()
    else:
        name = text.replace("\\", "/")
        rows = connection.execute(columns.where(takes.c.path == name)).all()
        if not rows:
            rows = [r for r in connection.execute(columns) if r.path and r.path.endswith("/" + name.lstrip("/"))]
        if not rows and len(text) >= 6:
            rows = connection.execute(
                columns.where(takes.c.identity.startswith(f"sha256:{text}", autoescape=True))
            ).all()
    if len(rows) == 1:
        return rows[0]
    found = "none has it" if not rows else f"{len(rows)} have it"
    raise UsageError(
        f"a take must be named by its number, path or hash, but of {text!r} {found}; see the journal's CSV copy"
    )


def add_note(connection: sa.Connection, student: str | None, text: str, *, exercise: str | None, on: date) -> None:
    """Write a remark about a student, or about one exercise of theirs."""
    if not text.strip():
        raise UsageError("a note must have words, but an empty one came; write something")
    owner, _ = known_student(connection, student)
    about = known_exercise(connection, exercise, owner).id if exercise else None
    connection.execute(notes.insert().values(student_id=owner, exercise_id=about, made_on=on, text=text.strip()))


def set_goal(
    connection: sa.Connection, student: str, exercise: dict[str, Any] | str, bpm: float, by: date | None
) -> None:
    """Set the tempo wanted for an exercise; the latest goal counts. The same goal again changes nothing."""
    check_bpm(bpm)
    owner = student_id(connection, student)
    if isinstance(exercise, str):
        same = known_exercise(connection, exercise, owner)
        about, ids = same.id, same.ids
    else:
        about = exercise_id(connection, exercise)
        ids = next(one.ids for one in used_by(connection, owner, also=about) if about in one.ids)
    latest = connection.execute(
        sa.select(goals.c.bpm, goals.c.by_date)
        .where(goals.c.student_id == owner, goals.c.exercise_id.in_(ids))
        .order_by(goals.c.id.desc())
        .limit(1)
    ).first()
    if latest is None or (latest.bpm, latest.by_date) != (float(bpm), by):
        connection.execute(
            goals.insert().values(student_id=owner, exercise_id=about, bpm=float(bpm), by_date=by, made_at=now())
        )


def check_bpm(bpm: float) -> None:
    """Refuse a tempo that nobody plays."""
    low, high = BPM_RANGE
    if not low <= bpm <= high:
        raise UsageError(f"a tempo must lie from {low:g} to {high:g} bpm, but {bpm:g} came; correct it")


def edit(connection: sa.Connection, which: str | int, field: str, value: str | None) -> bool:
    """Set one field of a take by hand (None: as it was before anybody corrected it).

    Returns
    -------
    bool
        Whether the take must be measured again to follow: the next batch does it.
    """
    take = known_take(connection, which)
    if value is None:
        where = sa.and_(edits.c.identity == take.identity, edits.c.field == field)
        connection.execute(edits.delete().where(where))
    else:
        row = {"identity": take.identity, "field": field, "value": value, "made_at": now()}
        upsert(connection, edits, row, on=("identity", "field"))
    if field not in IMMEDIATE_EDITS and take.source == "recording":
        return True
    if value is None and field in ("student", "date", "exercise"):
        return True  # what it was before stands in the folder
    _apply(connection, take, field, value)
    return field == "exercise" and take.source == "recording"


def _apply(connection: sa.Connection, take: Any, field: str, value: str | None) -> None:
    changed: dict[str, Any]
    if field == "student":
        owner = student_id(connection, value or "")
        clash = sa.select(takes.c.id).where(takes.c.student_id == owner, takes.c.identity == take.identity)
        other = connection.execute(clash.where(takes.c.id != take.id)).scalar()
        if other is not None:
            delete_takes(connection, [other])
        changed = {"student_id": owner}
    elif field == "date":
        changed = {"played_on": date.fromisoformat(value or ""), "played_at": None, "date_source": "hand"}
    elif field == "exercise":
        row = connection.execute(
            sa.select(exercises).join(takes, takes.c.exercise_id == exercises.c.id).where(takes.c.id == take.id)
        ).first()
        told = {**(dict(row._mapping) if row else {}), "name": value}
        named = connection.execute(
            sa.select(exercises.c.id).where(exercises.c.key == exercise_row(told)["key"])
        ).scalar()
        changed = {"exercise_id": named if named is not None else exercise_id(connection, told)}
    elif field == "bpm":
        changed = {"bpm": float(value), "beat_ms": 60_000.0 / float(value)} if value else {}
    elif field in ("equipment", "excluded", "remark"):
        changed = {field: value}
    else:
        raise JournalError(f"a take on paper has no {field} to correct; correct its date, exercise, bpm or student")
    if changed:
        connection.execute(takes.update().where(takes.c.id == take.id).values(**changed))


def check_edit(field: str, value: str | None) -> None:
    """Refuse a correction that makes no sense, before it is written."""
    if field not in CORRECTABLE:
        raise UsageError(f"what can be corrected is {', '.join(CORRECTABLE)}, but {field!r} came")
    if value is None:
        return
    if field in TOLD_FIELDS:
        described = fields_of(Exercise)[field]
        described.checked(field, described.read(field, value, "the correction"))
    elif field == "date":
        try:
            day = date.fromisoformat(value)
        except ValueError:
            raise UsageError(f"date must be a date YYYY-MM-DD, but {value!r} came") from None
        if day > date.today():
            raise UsageError(f"date must be today or earlier, since it was played then, but {day} came; correct it")
