"""Deleting a student: what the journal holds goes in one transaction; what it does not hold is found and named.

The order makes it all or nothing, and repeatable: rows are deleted but not yet committed, then files, then the copy
that names the student; if anything of this fails the rows are all still there, and the same command does the rest.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import sqlalchemy as sa

from strumclock.errors import JournalError
from strumclock.journal.copying import CSV_NAME
from strumclock.journal.edits import known_student
from strumclock.journal.entry import plain, sha256_of
from strumclock.journal.places import FILE_NAME, SETTINGS_NAME, SQLITE_START
from strumclock.journal.schema import (
    answers,
    assignments,
    conclusions,
    edits,
    exercises,
    files,
    goals,
    notes,
    students,
    takes,
)
from strumclock.journal.writing import MEASURED

SEARCHED_BYTES = 4_000_000  # of each file; a page with its picture has some 100,000
OF_EXERCISES = (takes, notes, goals, assignments, answers)
"""Tables that name an exercise."""

SHOWN = 8
"""Files named; the others are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Traces:
    """What there is of a student outside of the journal, below its folder.

    Attributes
    ----------
    student : str
    folders : tuple of Path
        Those whose practice.toml says that they are this student's and nobody else's.
    n_files : int
        In these folders.
    mentions : tuple of Path
        Other files whose name or text has the student's name: settings, tables, pages, exports.
    """

    student: str
    folders: tuple[Path, ...] = ()
    n_files: int = 0
    mentions: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """What was deleted of a student, and what was not.

    Attributes
    ----------
    student : str
    takes, notes, goals : int
        How many of each.
    recordings : tuple of str
        The recordings that are still there: as long as they lie in the folder, the next batch measures them again.
    traces : Traces
        What else is left.
    deleted : tuple of Path
        Folders that were deleted.
    remarks : tuple of str
        What could not be done besides.
    """

    student: str
    takes: int
    notes: int
    goals: int
    recordings: tuple[str, ...]
    traces: Traces
    deleted: tuple[Path, ...] = ()
    remarks: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = [f"deleted of {self.student}: {self.takes} takes, {self.notes} notes, {self.goals} goals"]
        lines += [f"deleted: the folder {folder} with all that was in it" for folder in self.deleted]
        if self.recordings:
            lines.append(
                f"The {len(self.recordings)} recordings are not the journal's to delete: while they lie in the folder, "
                "the next batch measures them again."
            )
        left = [f"the folder {folder}" for folder in self.traces.folders] + [str(path) for path in self.traces.mentions]
        if left:
            more = f" and {len(left) - SHOWN} more" if len(left) > SHOWN else ""
            lines.append(f"Left, with the name in it: {', '.join(left[:SHOWN])}{more}.")
        lines.append("Pictures, pages and messages that lie elsewhere or were sent are out of reach.")
        return "\n".join([*lines, *self.remarks])


def traces(connection: sa.Connection, student: str, root: Path | None) -> Traces:
    """Look for a student outside of the journal.

    Raises
    ------
    UsageError
        If the journal has no such student.
    """
    owner, name = known_student(connection, student)
    if root is None or not name:
        return Traces(student=name)
    folders = tuple(_own_folders(root, name))
    others = connection.execute(sa.select(takes.c.path).where(takes.c.student_id != owner, takes.c.path.is_not(None)))
    for path in others.scalars():
        folders = tuple(folder for folder in folders if not (root / path).is_relative_to(folder))
    n_files = sum(len(names) for folder in folders for _, _, names in os.walk(folder))
    return Traces(student=name, folders=folders, n_files=n_files, mentions=tuple(_mentions(root, name, folders)))


def _own_folders(root: Path, name: str) -> Iterator[Path]:
    """Folders below the root whose settings name the student, without any in them that name another."""
    owner: dict[Path, str] = {}
    for above, inner, names in os.walk(root):
        inner[:] = sorted(one for one in inner if not one.startswith("."))
        if SETTINGS_NAME in names and above != str(root):
            owner[Path(above)] = _told_student(Path(above) / SETTINGS_NAME)
    mine = [folder for folder, who in owner.items() if who == plain(name)]
    theirs = [folder for folder, who in owner.items() if who not in ("", plain(name))]
    for folder in mine:
        inside_another = any(folder != other and folder.is_relative_to(other) for other in mine)
        if not inside_another and not any(other.is_relative_to(folder) for other in theirs):
            yield folder


def _told_student(settings: Path) -> str:
    if not settings.is_file():
        return ""
    try:
        said = tomllib.loads(settings.read_text(encoding="utf-8-sig")).get("student")
    except (OSError, ValueError, RecursionError):
        return ""
    return plain(said) if isinstance(said, str) else ""


def _mentions(root: Path, name: str, folders: tuple[Path, ...]) -> Iterator[Path]:
    """Files whose name or text has the student's name as a word."""
    word = re.compile(rf"(?<!\w){re.escape(plain(name))}(?!\w)")
    for place, inner, names in os.walk(root):
        inner[:] = sorted(one for one in inner if Path(place, one) not in folders)
        for one in sorted(names):
            path = Path(place, one)
            if path.name != FILE_NAME and (word.search(plain(path.stem)) or _names(path, word)):
                yield path.relative_to(root)


def _names(path: Path, word: re.Pattern[str]) -> bool:
    try:
        if not path.is_file():
            return False
        with open(path, "rb") as file:
            head = file.read(SEARCHED_BYTES)
    except OSError:
        return False
    if head.startswith(SQLITE_START):
        return bool(word.search(plain(head.decode("utf-8", "replace"))))
    return b"\0" not in head[:1000] and bool(word.search(plain(head.decode("utf-8", "replace"))))


def delete_rows(connection: sa.Connection, student: str) -> Forgotten:
    """Delete everything that the tables hold of a student; the caller commits."""
    owner, name = known_student(connection, student)
    key = plain(name)
    rows = connection.execute(
        sa.select(takes.c.id, takes.c.identity, takes.c.path).where(takes.c.student_id == owner)
    ).all()
    mine = sa.select(takes.c.id).where(takes.c.student_id == owner)
    for table in MEASURED:
        connection.execute(table.delete().where(table.c.take_id.in_(mine)))
    connection.execute(takes.delete().where(takes.c.student_id == owner))
    left = set(connection.execute(sa.select(takes.c.identity)).scalars())
    for row in rows:
        if row.identity not in left:
            connection.execute(edits.delete().where(edits.c.identity == row.identity))
    connection.execute(edits.delete().where(edits.c.field == "student", sa.func.lower(edits.c.value) == name.lower()))
    connection.execute(files.delete().where(files.c.student_key == key))
    for sha256 in {sha256_of(row.identity) for row in rows if row.identity not in left} - {None}:
        connection.execute(files.delete().where(files.c.sha256 == sha256))
    counts = {
        table.name: connection.execute(table.delete().where(table.c.student_id == owner)).rowcount
        for table in (notes, goals, assignments, answers, conclusions)
    }
    connection.execute(students.delete().where(students.c.id == owner))
    used = sa.union(*(sa.select(t.c.exercise_id).where(t.c.exercise_id.is_not(None)) for t in OF_EXERCISES))
    connection.execute(exercises.delete().where(exercises.c.id.not_in(used)))
    recordings = tuple(sorted({row.path for row in rows if row.path}))
    return Forgotten(
        student=name,
        takes=len(rows),
        notes=counts["notes"],
        goals=counts["goals"],
        recordings=recordings,
        traces=Traces(student=name),
    )


def delete_folders(found: Traces) -> None:
    """Delete the student's own folders. What says whose they are goes last, so that a second try knows them again.

    Raises
    ------
    JournalError
        If the system does not let it be done; nothing is deleted from the journal then.
    """
    for folder in found.folders:
        try:
            for inner in sorted(folder.iterdir(), key=lambda path: path.name == SETTINGS_NAME):
                if inner.is_dir() and not inner.is_symlink():
                    shutil.rmtree(inner)
                else:
                    inner.unlink()
            folder.rmdir()
        except OSError as error:
            raise JournalError(
                f"the folder {folder} must be deleted, but of {error.filename} the system said: {error.strerror}; "
                "the journal was not changed; mend this and run it again"
            ) from None


def after_files(forgotten: Forgotten, found: Traces, root: Path | None, *, deleted: bool) -> Forgotten:
    """What is left once the student's folders were deleted, or were not."""
    gone: tuple[Path, ...] = ()
    remarks: tuple[str, ...] = ()
    if deleted:
        found, gone = replace(found, folders=(), n_files=0), found.folders
        if not gone:
            why = "none below the journal has a practice.toml that names this student alone"
            remarks = (f"No folder was deleted: {why}.",)
    there = tuple(path for path in forgotten.recordings if root is None or (root / path).exists())
    return replace(forgotten, traces=found, deleted=gone, recordings=there, remarks=remarks)


def delete_copy(root: Path | None) -> None:
    """No copy is better than one that names whom the journal forgot. Needs no room on the disk.

    Raises
    ------
    JournalError
        If it is there and cannot be deleted.
    """
    if root is None:
        return
    try:
        for path in (root / CSV_NAME, *root.glob(f".{Path(CSV_NAME).stem}-*")):
            path.unlink(missing_ok=True)
    except OSError as error:
        raise JournalError(
            f"the copy {root / CSV_NAME} must be deleted, but the system said: {error.strerror}; "
            "the journal was not changed"
        ) from None


def give_back_pages(engine: sa.Engine) -> list[str]:
    """Make an SQLite file as small as what is left in it. Where there is no room for that, say so: nothing is lost."""
    if engine.dialect.name != "sqlite":
        return []
    try:
        with engine.connect() as connection:
            raw = connection.connection.dbapi_connection
            assert raw is not None
            raw.execute("VACUUM")
    except sqlite3.Error as error:
        return [f"The file was not made smaller ({error}); what was deleted is overwritten with zeros."]
    return []
