"""Writing one take into the journal, in one transaction: whole or not at all, once however often it comes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from strumclock.journal.entry import (
    TakeEntry,
    exercise_row,
    figure_rows,
    plain,
    result_row,
    sha256_of,
    strum_row,
    take_columns,
    told_exercise,
    unpack,
)
from strumclock.journal.fingerprint import LENGTH_DIFFERS_BY_S, SPAN_DIFFERS_BY_S, same_sound
from strumclock.journal.schema import edits, exercises, figures, files, results, strums, students, takes

IMMEDIATE_EDITS = ("student", "date", "exercise", "equipment", "excluded", "remark")
"""Hand corrections that need no new measuring; the others (bpm, pattern, …) are told to the next batch."""

MEASURED = (figures, strums, results)
"""Tables of what was measured of a take."""


def now() -> datetime:
    """The time of writing, UTC, without a zone (as the tables keep it)."""
    return datetime.now(UTC).replace(tzinfo=None, microsecond=0)


def upsert(
    connection: sa.Connection, table: sa.Table, values: Mapping[str, Any], *, on: tuple[str, ...], update: bool = True
) -> None:
    """Insert a row, or bring the one that is there to these values (or leave it, where `update` is False)."""
    if connection.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert
    else:
        from sqlalchemy.dialects.sqlite import insert  # type: ignore[assignment]
    statement = insert(table).values(**values)
    changed = {name: statement.excluded[name] for name in values if name not in on}
    if update and changed:
        statement = statement.on_conflict_do_update(index_elements=list(on), set_=changed)
    else:
        statement = statement.on_conflict_do_nothing(index_elements=list(on))
    connection.execute(statement)


def student_id(connection: sa.Connection, name: str) -> int:
    """The row of a student, made if there is none."""
    key = plain(name)
    upsert(connection, students, {"key": key, "name": " ".join(name.split())}, on=("key",), update=False)
    return int(connection.execute(sa.select(students.c.id).where(students.c.key == key)).scalar_one())


def exercise_id(connection: sa.Connection, exercise: Mapping[str, Any]) -> int:
    """The row of an exercise, made if there is none."""
    row = exercise_row(exercise)
    upsert(connection, exercises, row, on=("key",), update=False)
    return int(connection.execute(sa.select(exercises.c.id).where(exercises.c.key == row["key"])).scalar_one())


def edits_of(connection: sa.Connection, identity: str) -> dict[str, str | None]:
    """What was corrected by hand about one sound."""
    rows = connection.execute(sa.select(edits.c.field, edits.c.value).where(edits.c.identity == identity))
    return {row.field: row.value for row in rows}


def write_take(connection: sa.Connection, entry: TakeEntry) -> int:
    """Write one take; hand corrections stay on top of what was measured.

    Returns
    -------
    int
        The take's id.
    """
    if entry.replaces and entry.replaces != entry.identity:
        _supersede(connection, entry)
    by_hand = edits_of(connection, entry.identity)
    owner = student_id(connection, by_hand.get("student") or entry.student)
    told = dict(entry.exercise or (told_exercise(entry.measurement) if entry.measurement else {}))
    if by_hand.get("exercise"):
        told["name"] = by_hand["exercise"]
    values: dict[str, Any] = {
        "student_id": owner,
        "identity": entry.identity,
        "exercise_id": exercise_id(connection, told),
        "source": entry.source,
        "status": "failed" if entry.error else "paper" if entry.source == "paper" else "measured",
        "error": entry.error,
        "retry": entry.retry,
        "path": entry.path,
        "played_on": entry.played_on,
        "played_at": entry.played_at,
        "date_source": entry.date_source,
        "equipment": by_hand.get("equipment", entry.equipment),
        "remark": by_hand.get("remark", entry.remark),
        "excluded": by_hand.get("excluded", entry.excluded),
        "settings": entry.settings,
        "version": entry.version,
        "measured_at": now(),
        "superseded_by": None,
        **_blank(),
    }
    if by_hand.get("date"):
        values |= {"played_on": date.fromisoformat(by_hand["date"] or ""), "played_at": None, "date_source": "hand"}
    if entry.measurement:
        values |= take_columns(entry.measurement)
    else:
        bpm = entry.exercise.get("bpm")
        values |= {
            "bpm": bpm,
            "beats_per_change": entry.exercise.get("beats_per_change"),
            "beat_ms": 60_000.0 / bpm if bpm else None,
            "held": entry.held,
        }
    _move_from_elsewhere(connection, entry, owner)
    upsert(connection, takes, values, on=("student_id", "identity"))
    where = sa.and_(takes.c.student_id == owner, takes.c.identity == entry.identity)
    take = int(connection.execute(sa.select(takes.c.id).where(where)).scalar_one())
    for table in MEASURED:
        connection.execute(table.delete().where(table.c.take_id == take))
    if entry.measurement:
        connection.execute(results.insert().values(take_id=take, **result_row(entry.measurement)))
        rows = [{"take_id": take, **row} for row in figure_rows(entry.measurement)]
        if rows:
            connection.execute(figures.insert(), rows)
        strum_values = strum_row(entry.measurement)
        connection.execute(strums.insert().values(take_id=take, **strum_values))
        _point_out_same_sound(connection, take, entry, owner, strum_values["span_s"])
    return take


def _blank() -> dict[str, Any]:
    """The measured columns, empty: what a take that is measured anew starts from."""
    told = "bpm beats_per_change beat_ms anchor duration_s slots played added"
    judged = "tolerance_ms even_share held margin failed next_bpm warnings same_sound_as"
    return dict.fromkeys((*told.split(), *judged.split()))


def _move_from_elsewhere(connection: sa.Connection, entry: TakeEntry, owner: int) -> None:
    """A recording that was moved to another student's folder takes its row along.

    It was moved if none of the files that held it belongs to the student of the older row any more.
    """
    sha256 = sha256_of(entry.identity)
    if sha256 is None:
        return
    keys = set(connection.execute(sa.select(files.c.student_key).where(files.c.sha256 == sha256)).scalars())
    others = connection.execute(
        sa.select(takes.c.id, students.c.key)
        .join(students)
        .where(takes.c.identity == entry.identity, takes.c.student_id != owner)
    )
    for row in list(others):
        if keys and row.key not in keys:
            delete_takes(connection, [row.id])


def delete_takes(connection: sa.Connection, ids: list[int]) -> None:
    """Delete takes with everything measured about them."""
    for table in MEASURED:
        connection.execute(table.delete().where(table.c.take_id.in_(ids)))
    connection.execute(takes.delete().where(takes.c.id.in_(ids)))


def _point_out_same_sound(connection: sa.Connection, take: int, entry: TakeEntry, owner: int, span_s: float) -> None:
    """Note when an earlier written take of the student is the same performance in another file."""
    assert entry.measurement is not None
    duration_s = entry.measurement["take"]["duration_s"]
    candidates = connection.execute(
        sa.select(takes.c.identity, strums.c.columns)
        .join(strums, strums.c.take_id == takes.c.id)
        .where(
            takes.c.student_id == owner,
            takes.c.id != take,
            takes.c.same_sound_as.is_(None),
            takes.c.superseded_by.is_(None),
            takes.c.duration_s.between(duration_s - LENGTH_DIFFERS_BY_S, duration_s + LENGTH_DIFFERS_BY_S),
            strums.c.span_s.between(span_s - SPAN_DIFFERS_BY_S, span_s + SPAN_DIFFERS_BY_S),
        )
        .order_by(takes.c.id)
    )
    times = [s["time_s"] for s in entry.measurement["strums"]]
    for row in candidates:
        same_file = sha256_of(row.identity) == sha256_of(entry.identity)  # two parts of it are two takes
        if not same_file and same_sound(unpack(row.columns)["time_s"], times):
            connection.execute(takes.update().where(takes.c.id == take).values(same_sound_as=row.identity))
            return


def _supersede(connection: sa.Connection, entry: TakeEntry) -> None:
    """The file holds another sound than before.

    The same day means that it was cut or exported anew: the older take no longer counts, and its hand corrections pass
    on. Another day means a recorder that uses its names again: both stay.
    """
    assert entry.replaces is not None
    still_there = connection.execute(
        sa.select(files.c.path).where(files.c.sha256 == sha256_of(entry.replaces), files.c.path != (entry.path or ""))
    ).first()
    query = sa.select(takes.c.id, takes.c.played_on)
    query = query.where(takes.c.identity == entry.replaces, takes.c.superseded_by.is_(None))
    old = connection.execute(query).first()
    if still_there or old is None or old.played_on != entry.played_on:
        return
    connection.execute(takes.update().where(takes.c.id == old.id).values(superseded_by=entry.identity))
    connection.execute(takes.update().where(takes.c.same_sound_as == entry.replaces).values(same_sound_as=None))
    for field, value in edits_of(connection, entry.replaces).items():
        row = {"identity": entry.identity, "field": field, "value": value, "made_at": now()}
        upsert(connection, edits, row, on=("identity", "field"), update=False)
