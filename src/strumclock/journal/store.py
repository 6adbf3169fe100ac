"""The practice record as an object: `Journal`, over one SQLite file or a PostgreSQL server."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from strumclock.errors import JournalError, UsageError
from strumclock.journal import edits as by_hand
from strumclock.journal import tables
from strumclock.journal.csvfile import read_page, write_csv
from strumclock.journal.entry import TakeEntry, exercise_label, plain
from strumclock.journal.history import History, histories, history
from strumclock.journal.opening import find_journal, is_url, make_engine, prepare, transaction
from strumclock.journal.schema import edits, exercises, students, takes
from strumclock.journal.writing import edits_of, student_id, write_take

if TYPE_CHECKING:
    import pandas as pd

CSV_NAME = "strumclock-journal.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What a page kept on paper brought.

    Attributes
    ----------
    added, known : int
        Rows new to the journal, and rows that it had.
    problems : tuple of str
        One line for each row that could not be read.
    """

    added: int
    known: int
    problems: tuple[str, ...]

    def __str__(self) -> str:
        lines = [f"{self.added} takes from paper added, {self.known} known already"]
        return "\n".join([*lines, *(f"Not read: {problem}" for problem in self.problems)])


class Journal:
    """A practice record: students, exercises, takes with every figure, strums, notes, goals.

    Parameters
    ----------
    where : path or str
        An SQLite file, a folder (the journal that it belongs to: `strumclock.journal.opening.find_journal`), or a URL
        such as ``postgresql://user@host/database``.
    create : bool
        Make an SQLite file that is not there yet; else its absence is an error.

    Raises
    ------
    JournalError
        If it cannot be opened, is none of ours, or was written by a newer version.

    Notes
    -----
    Nothing is kept open between calls, so a journal can be shared by processes and pickled.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     journal = Journal(folder)
    ...     journal.set_goal("Ines", {"name": "Two chords"}, 90)
    ...     journal.note("Ines", "brought the other guitar")
    ...     journal.students()
    ('Ines',)
    """

    def __init__(self, where: str | os.PathLike[str], *, create: bool = True) -> None:
        self.where: str | Path
        if is_url(where):
            self.where = str(where)
            self.root: Path | None = None
        else:
            path = Path(where)
            path = find_journal(path) if path.is_dir() else path.absolute()
            path = path.parent.resolve() / path.name
            if not path.parent.is_dir():
                raise JournalError(f"a journal must lie in a folder that exists, but {path.parent} does not; make it")
            if not create and not path.is_file():
                raise JournalError(f"a journal must be at {path}, but there is none; run a batch there first")
            self.where, self.root = path, path.parent
        self._open()

    def _open(self) -> None:
        self._engine = make_engine(self.where)
        prepare(self._engine)

    def __getstate__(self) -> dict[str, Any]:
        return {"where": self.where, "root": self.root}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.where, self.root = state["where"], state["root"]
        self._open()

    def __repr__(self) -> str:
        return f"Journal({self._engine.url.render_as_string(hide_password=True)!r})"

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction to read in."""
        with transaction(self._engine, writes=False) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction to write in: all of it is done, or nothing."""
        with transaction(self._engine, writes=True) as connection:
            yield connection

    def __str__(self) -> str:
        return str(self.where) if self.root is not None else self._engine.url.render_as_string(hide_password=True)

    def name_of(self, path: str | os.PathLike[str]) -> str:
        """How the journal names a file: relative to itself where it lies below, so that the folder can move."""
        if is_url(path):
            return str(path)
        absolute = Path(
            os.path.realpath(os.path.dirname(os.path.abspath(path))), os.path.basename(os.path.abspath(path))
        )
        if self.root is not None and absolute.is_relative_to(self.root):
            return absolute.relative_to(self.root).as_posix()
        return absolute.as_posix()

    # writing

    def record(self, entry: TakeEntry) -> int:
        """Write one take, new or measured again; what was corrected by hand stays. Returns its id."""
        with self.writing() as connection:
            return write_take(connection, entry)

    def note(self, student: str | None, text: str, *, exercise: str | None = None, on: date | None = None) -> None:
        """Write a remark about a student, or about one exercise of theirs (a student who is new is added)."""
        with self.writing() as connection:
            if student is not None:
                student_id(connection, student)
            by_hand.add_note(connection, student, text, exercise=exercise, on=on or date.today())

    def set_goal(self, student: str, exercise: Mapping[str, Any] | str, bpm: float, *, by: date | None = None) -> None:
        """Set the tempo wanted for an exercise: its name in the journal, or its fields as told."""
        with self.writing() as connection:
            wanted = exercise if isinstance(exercise, str) else dict(exercise)
            by_hand.set_goal(connection, student, wanted, bpm, by)

    def correct(self, take: str | int, field: str, value: str | None) -> bool:
        """Correct by hand what was played, when and by whom; None takes a correction back.

        It stays when the take is measured again. Returns whether the next batch must measure the take again to follow.
        """
        by_hand.check_edit(field, value)
        with self.writing() as connection:
            return by_hand.edit(connection, take, field, value)

    def exclude(self, take: str | int, reason: str) -> None:
        """Keep a take out of the progress, with the reason."""
        if not reason.strip():
            raise UsageError("a reason must be given for a take that does not count, but none came; write one")
        with self.writing() as connection:
            by_hand.edit(connection, take, "excluded", reason.strip())

    def include(self, take: str | int) -> None:
        """Let an excluded take count again."""
        with self.writing() as connection:
            by_hand.edit(connection, take, "excluded", None)

    def annotate(self, take: str | int, remark: str | None) -> None:
        """Write a remark about one take; None deletes it."""
        with self.writing() as connection:
            by_hand.edit(connection, take, "remark", remark)

    def forget(self, student: str) -> by_hand.Forgotten:
        """Delete all of a student, from the database's free pages too. Recordings are not touched."""
        with self.writing() as connection:
            forgotten = by_hand.forget(connection, student)
        if self._engine.dialect.name == "sqlite":
            with self._engine.connect() as connection:
                raw = connection.connection.dbapi_connection
                assert raw is not None
                raw.execute("VACUUM")
        if self.root is not None and (self.root / CSV_NAME).exists():
            self.write_csv()
        return forgotten

    def import_csv(self, path: str | os.PathLike[str], *, student: str | None = None) -> Imported:
        """Read in a page kept on paper: date, exercise, tempo; perhaps held, student, chords, beats_per_change, remark.

        Reading the same page again adds nothing. A row that cannot be read is listed; the others are written.
        """
        rows, problems = read_page(path)
        seen: dict[str, int] = {}
        added = known = 0
        with self.writing() as connection:
            for row in rows:
                owner = row.student or student or ""
                told = {"name": row.exercise, "bpm": row.bpm}
                told |= {"chords": row.chords} if row.chords else {}
                told |= {"beats_per_change": row.beats_per_change} if row.beats_per_change else {}
                day = row.played_on.isoformat()
                words = "|".join((plain(owner), day, plain(row.exercise), f"{row.bpm:g}", str(row.chords)))
                seen[words] = seen.get(words, 0) + 1
                digest = hashlib.sha256(f"{words}|{seen[words]}".encode()).hexdigest()
                identity = f"paper:{digest[:32]}"
                if connection.execute(sa.select(takes.c.id).where(takes.c.identity == identity)).first():
                    known += 1
                    continue
                added += 1
                write_take(
                    connection,
                    TakeEntry(
                        identity=identity,
                        student=owner,
                        source="paper",
                        played_on=row.played_on,
                        date_source="told",
                        remark=row.remark,
                        exercise=told,
                        held=row.held,
                    ),
                )
        return Imported(added=added, known=known, problems=tuple(problems))

    # reading

    def students(self) -> tuple[str, ...]:
        """Names, in order."""
        with self.reading() as connection:
            return tuple(connection.execute(sa.select(students.c.name).order_by(students.c.key)).scalars())

    def exercises(self, student: str | None = None) -> tuple[str, ...]:
        """Labels of the exercises, of one student or of all."""
        chosen = sa.select(exercises)
        with self.reading() as connection:
            if student is not None:
                owner, _ = by_hand.known_student(connection, student)
                used = sa.select(takes.c.exercise_id).where(takes.c.student_id == owner)
                chosen = chosen.where(exercises.c.id.in_(used))
            return tuple(sorted(exercise_label(dict(row._mapping)) for row in connection.execute(chosen)))

    def measurement(self, take: str | int) -> dict[str, Any]:
        """A take's result as it was measured: JSON of schema ``strumclock.take/1``."""
        with self.reading() as connection:
            return tables.measurement(connection, by_hand.known_take(connection, take).id)

    def history(self, student: str | None = None, exercise: str | None = None) -> History:
        """The past takes of one student (the only one, where none is named), of one exercise or of all."""
        with self.reading() as connection:
            return history(connection, student, exercise)

    def histories(self) -> tuple[History, ...]:
        """The past takes of every student, by name."""
        with self.reading() as connection:
            return tuple(histories(connection))

    def edits(self) -> dict[str, dict[str, str | None]]:
        """What was corrected by hand, by the takes' identity."""
        found: dict[str, dict[str, str | None]] = {}
        with self.reading() as connection:
            for row in connection.execute(sa.select(edits)):
                found.setdefault(row.identity, {})[row.field] = row.value
        return found

    def edits_of(self, identity: str) -> dict[str, str | None]:
        """What was corrected by hand about one sound."""
        with self.reading() as connection:
            return edits_of(connection, identity)

    def takes(self, student: str | None = None, exercise: str | None = None) -> pd.DataFrame:
        """Table of takes, oldest first: what, when, held or not, and the main figures with their intervals."""
        import pandas as pd

        with self.reading() as connection:
            header, rows = tables.take_rows(connection, student, exercise)
            return pd.DataFrame(list(rows), columns=list(header))

    def figures(self, student: str | None = None, exercise: str | None = None) -> pd.DataFrame:
        """Table of every figure of every take: take, place, value, low, high, u, absent (the reason)."""
        import pandas as pd

        with self.reading() as connection:
            header, rows = tables.figure_rows(connection, student, exercise)
            return pd.DataFrame(list(rows), columns=list(header))

    def strums(self, take: str | int) -> pd.DataFrame:
        """Table of one take's strums."""
        import pandas as pd

        with self.reading() as connection:
            return pd.DataFrame(tables.strum_columns(connection, by_hand.known_take(connection, take).id))

    def notes(self, student: str | None = None) -> pd.DataFrame:
        """Table of remarks: student, exercise, made_on, text."""
        import pandas as pd

        with self.reading() as connection:
            header, rows = tables.note_rows(connection, student)
            return pd.DataFrame(list(rows), columns=list(header))

    def write_csv(self, path: str | os.PathLike[str] | None = None) -> Path:
        """Write the readable copy: one line a take. Beside the journal, unless a path is given."""
        if path is None and self.root is None:
            raise UsageError("a journal on a server has no folder for its CSV copy; give a path")
        target = Path(path) if path is not None else Path(self.root or "") / CSV_NAME
        with self.reading() as connection:
            header, rows = tables.take_rows(connection, None, None)
            write_csv(target, header, rows)
        return target
