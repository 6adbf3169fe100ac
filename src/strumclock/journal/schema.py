"""What a journal's database looks like: its tables, its version, and the steps from older versions to this one.

One practice record, whichever database holds it. Names are few and plain, so that a researcher can query them:

========== =========================================================================================
students   a person; ``key`` is the name without case and spare spaces
exercises  what was played, tempo aside: ``key`` says name, chords, beats per change, meter, parts, pattern
takes      one recorded (or paper) take: when, what, whether it was held; ``detail`` is the whole result, zlib JSON
figures    every estimate of a take by its place in the result: value, 95 % interval, standard uncertainty,
           or the reason why it is absent
strums     a take's strums as zlib JSON columns
files      which file held which sound, so that what did not change is not read again
edits      what was corrected by hand, by the sound's identity: it outlives measuring again
notes      remarks;  goals: the tempo wanted, the latest counts
========== =========================================================================================
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

SCHEMA_VERSION = 2
FORMAT = "strumclock-journal"

metadata = MetaData()

meta = Table("meta", metadata, Column("key", Text, primary_key=True), Column("value", Text, nullable=False))

students = Table(
    "students",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("takes_to_hold", Integer),
)

exercises = Table(
    "exercises",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("name", Text),
    Column("chords", Text),
    Column("beats_per_change", Float),
    Column("meter", Text),
    Column("per_beat", Integer),
    Column("pattern", Text),
)

takes = Table(
    "takes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id")),
    Column("identity", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("status", Text, nullable=False),
    Column("error", Text),
    Column("retry", Boolean, nullable=False, default=False),
    Column("path", Text),
    Column("played_on", Date),
    Column("played_at", DateTime),
    Column("date_source", Text),
    Column("bpm", Float),
    Column("beats_per_change", Float),
    Column("beat_ms", Float),
    Column("anchor", Text),
    Column("duration_s", Float),
    Column("slots", Integer),
    Column("played", Integer),
    Column("added", Integer),
    Column("tolerance_ms", Float),
    Column("even_share", Float),
    Column("held", Boolean),
    Column("margin", Float),
    Column("failed", Text),
    Column("next_bpm", Float),
    Column("warnings", Text),
    Column("equipment", Text),
    Column("excluded", Text),
    Column("remark", Text),
    Column("same_sound_as", Text),
    Column("superseded_by", Text),
    Column("settings", Text, nullable=False),
    Column("version", Text, nullable=False),
    Column("measured_at", DateTime, nullable=False),
    Column("detail", LargeBinary),
    UniqueConstraint("student_id", "identity", name="one_take_a_sound"),
)
Index("takes_by_student", takes.c.student_id, takes.c.exercise_id, takes.c.played_on)
Index("takes_by_identity", takes.c.identity)

figures = Table(
    "figures",
    metadata,
    Column("take_id", ForeignKey("takes.id"), primary_key=True),
    Column("place", Text, primary_key=True),
    Column("value", Float),
    Column("low", Float),
    Column("high", Float),
    Column("u", Float),
    Column("absent", Text),
    sqlite_with_rowid=False,
)

strums = Table(
    "strums",
    metadata,
    Column("take_id", ForeignKey("takes.id"), primary_key=True),
    Column("n", Integer, nullable=False),
    Column("span_s", Float, nullable=False),
    Column("columns", LargeBinary, nullable=False),
)

files = Table(
    "files",
    metadata,
    Column("path", Text, primary_key=True),
    Column("sha256", Text, nullable=False),
    Column("size", Integer, nullable=False),
    Column("stamp", Text, nullable=False),
    Column("hashed_at", Float, nullable=False),
    Column("student_key", Text),
    Column("container_date", Text),
)
Index("files_by_sha256", files.c.sha256)

edits = Table(
    "edits",
    metadata,
    Column("identity", Text, primary_key=True),
    Column("field", Text, primary_key=True),
    Column("value", Text),
    Column("made_at", DateTime, nullable=False),
)

notes = Table(
    "notes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id")),
    Column("made_on", Date, nullable=False),
    Column("text", Text, nullable=False),
)
Index("notes_by_student", notes.c.student_id)

goals = Table(
    "goals",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("student_id", ForeignKey("students.id"), nullable=False),
    Column("exercise_id", ForeignKey("exercises.id"), nullable=False),
    Column("bpm", Float, nullable=False),
    Column("by_date", Date),
    Column("made_at", DateTime, nullable=False),
)
Index("goals_by_student", goals.c.student_id, goals.c.exercise_id)

Step = Callable[[Connection], None]


def _add_margin(connection: Connection) -> None:
    """Version 2 keeps by what margin a take holds its standard; of older takes it is not known."""
    connection.exec_driver_sql("ALTER TABLE takes ADD COLUMN margin FLOAT")


MIGRATIONS: dict[int, Step] = {1: _add_margin}
"""``MIGRATIONS[v]`` turns a journal of version v into one of version v + 1, inside the transaction that opens it."""
