"""What a journal's database looks like: its tables, its version, and the steps from older versions to this one.

One practice record, whichever database holds it. Names are few and plain, so that a researcher can query them:

========== =========================================================================================
students   a person; ``key`` is the name without case and spare spaces
exercises  what was played, tempo aside: ``key`` says name, chords, beats per change, meter, parts, pattern
takes      one recorded (or paper) take: when, what, whether it was held
results    a take's whole result but for its strums, zlib JSON
figures    every estimate of a take by its place in the result: value, 95 % interval, standard uncertainty,
           or the reason why it is absent
strums     a take's strums as zlib JSON columns
files      which file held which sound, so that what did not change is not read again
edits      what was corrected by hand, by the sound's identity: it outlives measuring again
notes      remarks;  goals: the tempo wanted, the latest counts
assignments  what was set to whom, and until when;  answers: what a student was told, and when it was sent
conclusions  what the weeks of a student came to, so that a large class is not worked out anew each time
meta       format, version, and how often rows changed that stand in the readable copy
========== =========================================================================================
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    UniqueConstraint,
    event,
)

from strumclock.journal.columns import Day, Moment, Real, Whole, Words

SCHEMA_VERSION = 4  # counted up with each step of MIGRATIONS
FORMAT = "strumclock-journal"
CHUNK = 500  # rows asked for at once: SQLite before 3.32 takes 999 numbers in one question

metadata = MetaData()

meta = Table("meta", metadata, Column("key", Words, primary_key=True), Column("value", Words, nullable=False))

students = Table(
    "students",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Words, nullable=False, unique=True),
    Column("name", Words, nullable=False),
    Column("takes_to_hold", Whole),
)

exercises = Table(
    "exercises",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Words, nullable=False, unique=True),
    Column("name", Words),
    Column("chords", Words),
    Column("beats_per_change", Real),
    Column("meter", Words),
    Column("per_beat", Whole),
    Column("pattern", Words),
)

takes = Table(
    "takes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id")),
    Column("identity", Words, nullable=False),
    Column("source", Words, nullable=False),
    Column("status", Words, nullable=False),
    Column("error", Words),
    Column("retry", Boolean, nullable=False, default=False),
    Column("path", Words),
    Column("played_on", Day),
    Column("played_at", Moment),
    Column("date_source", Words),
    Column("bpm", Real),
    Column("beats_per_change", Real),
    Column("beat_ms", Real),
    Column("anchor", Words),
    Column("duration_s", Real),
    Column("slots", Whole),
    Column("played", Whole),
    Column("added", Whole),
    Column("tolerance_ms", Real),
    Column("even_share", Real),
    Column("held", Boolean),
    Column("margin", Real),
    Column("failed", Words),
    Column("next_bpm", Real),
    Column("warnings", Words),
    Column("equipment", Words),
    Column("excluded", Words),
    Column("remark", Words),
    Column("same_sound_as", Words),
    Column("superseded_by", Words),
    Column("settings", Words, nullable=False),
    Column("version", Words, nullable=False),
    Column("measured_at", Moment, nullable=False),
    UniqueConstraint("student_id", "identity", name="one_take_a_sound"),
)
Index("takes_by_student", takes.c.student_id, takes.c.exercise_id, takes.c.played_on)
Index("takes_by_identity", takes.c.identity)


@event.listens_for(takes, "after_create")
def _index_paths(_table: Table, connection: Connection, **_told: object) -> None:
    """Whose takes lie in a folder; in PostgreSQL in the order of letters, whatever the database's language is.
    (An `Index` that says so would load that dialect for every journal.)"""
    by_letters = " text_pattern_ops" if connection.dialect.name == "postgresql" else ""
    connection.exec_driver_sql(f"CREATE INDEX IF NOT EXISTS takes_by_path ON takes (path{by_letters}, student_id)")


results = Table(
    "results",
    metadata,
    Column("take_id", ForeignKey("takes.id"), primary_key=True),
    Column("detail", LargeBinary, nullable=False),
)

figures = Table(
    "figures",
    metadata,
    Column("take_id", ForeignKey("takes.id"), primary_key=True),
    Column("place", Words, primary_key=True),
    Column("value", Real),
    Column("low", Real),
    Column("high", Real),
    Column("u", Real),
    Column("absent", Words),
    sqlite_with_rowid=False,
)

strums = Table(
    "strums",
    metadata,
    Column("take_id", ForeignKey("takes.id"), primary_key=True),
    Column("n", Whole, nullable=False),
    Column("span_s", Real, nullable=False),
    Column("columns", LargeBinary, nullable=False),
)

files = Table(
    "files",
    metadata,
    Column("path", Words, primary_key=True),
    Column("sha256", Words, nullable=False),
    Column("size", Whole, nullable=False),
    Column("stamp", Words, nullable=False),
    Column("hashed_at", Real, nullable=False),
    Column("student_key", Words),
    Column("container_date", Words),
)
Index("files_by_sha256", files.c.sha256)

edits = Table(
    "edits",
    metadata,
    Column("identity", Words, primary_key=True),
    Column("field", Words, primary_key=True),
    Column("value", Words),
    Column("made_at", Moment, nullable=False),
)

notes = Table(
    "notes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id")),
    Column("made_on", Day, nullable=False),
    Column("text", Words, nullable=False),
)
Index("notes_by_student", notes.c.student_id)

goals = Table(
    "goals",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id"), nullable=False),
    Column("bpm", Real, nullable=False),
    Column("by_date", Day),
    Column("made_at", Moment, nullable=False),
)
Index("goals_by_student", goals.c.student_id, goals.c.exercise_id)

assignments = Table(
    "assignments",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id"), nullable=False),
    Column("bpm", Real),
    Column("given_on", Day, nullable=False),
    Column("due_on", Day),
    Column("made_at", Moment, nullable=False),
    UniqueConstraint("student_id", "exercise_id", "given_on", name="set_once_a_day"),
)
Index("assignments_by_student", assignments.c.student_id, assignments.c.given_on)

answers = Table(
    "answers",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id")),
    Column("written_on", Day, nullable=False),
    Column("language", Words, nullable=False),
    Column("text", Words, nullable=False),
    Column("said", Words, nullable=False),
    Column("sent_on", Day),
    Column("made_at", Moment, nullable=False),
)
Index("answers_by_student", answers.c.student_id, answers.c.written_on)

conclusions = Table(
    "conclusions",
    metadata,
    Column("student_id", ForeignKey("students.id"), primary_key=True),
    Column("made_from", Words, nullable=False),
    Column("said", LargeBinary, nullable=False),
)

Step = Callable[[Connection], None]


def _add_margin(connection: Connection) -> None:
    """Version 2 keeps by what margin a take holds its standard; of older takes it is not known."""
    connection.exec_driver_sql("ALTER TABLE takes ADD COLUMN margin FLOAT")


def _part_results(connection: Connection) -> None:
    """Version 3 keeps the results apart, so that lists of takes need not read past them, and knows what is current."""
    metadata.create_all(connection, [results, conclusions])
    connection.exec_driver_sql("INSERT INTO results SELECT id, detail FROM takes WHERE detail IS NOT NULL")
    connection.exec_driver_sql("ALTER TABLE takes DROP COLUMN detail")
    connection.execute(meta.insert().values(key="revision", value="0"))


def _add_assignments(connection: Connection) -> None:
    """Version 4 knows what was set to whom, what was answered, and quickly whose takes lie in a folder."""
    metadata.create_all(connection, [assignments, answers])
    _index_paths(takes, connection)


MIGRATIONS: dict[int, Step] = {1: _add_margin, 2: _part_results, 3: _add_assignments}
"""``MIGRATIONS[v]`` turns a journal of version v into one of version v + 1, inside the transaction that opens it."""
