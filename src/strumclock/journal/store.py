"""The practice record as an object: `Journal`, over one SQLite file or a PostgreSQL server."""

from __future__ import annotations

import os
import stat
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from strumclock.errors import JournalError, UsageError
from strumclock.journal import answered, assigned, below, edits as by_hand, forgetting, paper, tables
from strumclock.journal.answered import Answer
from strumclock.journal.assigned import Assignment
from strumclock.journal.conclusions import keep, kept, marks
from strumclock.journal.connected import Connected
from strumclock.journal.copying import CSV_NAME, bring_up_to_date, is_current, is_kept
from strumclock.journal.csvfile import read_page, write_csv
from strumclock.journal.entry import TakeEntry
from strumclock.journal.forgetting import Forgotten, Traces
from strumclock.journal.history import History, history, since_set
from strumclock.journal.overview import StudentTakes, overview
from strumclock.journal.paper import Imported
from strumclock.journal.same import used_by
from strumclock.journal.schema import edits, students
from strumclock.journal.writing import edits_of, student_id, write_take
from strumclock.showing import Shown

if TYPE_CHECKING:
    import pandas as pd


class Journal(Connected, Shown):
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

    def assign(self, assignments: Iterable[Assignment], *, replace: bool = False) -> None:
        """Write down what was set to whom; with `replace`, what these students had been set before and is not among
        them goes."""
        with self.writing() as connection:
            assigned.write(connection, assignments, replace=replace)

    def add_students(self, names: Iterable[str]) -> None:
        """Students of whom nothing came yet; those who are known stay as they are."""
        with self.writing() as connection:
            for name in names:
                student_id(connection, name)

    def keep_answer(self, answer: Answer) -> int:
        """Write down what a student is to be told, in the place of what was not sent of the same day. Its number."""
        with self.writing() as connection:
            return answered.keep(connection, answer)

    def mark_sent(self, number: int, *, text: str | None = None, on: date | None = None) -> None:
        """Write down that an answer was sent: when, and, where it was edited by hand, with which words."""
        with self.writing() as connection:
            answered.mark_sent(connection, number, text, on or date.today())

    def correct(self, take: str | int, field: str, value: str | None, *, measured: TakeEntry | None = None) -> bool:
        """Correct by hand what was played, when and by whom; None takes a correction back.

        It stays when the take is measured again. `measured` is the take measured with the correction already, and is
        written with it. Returns whether the next batch must measure the take again to follow.
        """
        by_hand.check_edit(field, value)
        with self.writing() as connection:
            follows = by_hand.edit(connection, take, field, value)
            if measured is not None:
                write_take(connection, measured)
            return follows and measured is None

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

    def traces(self, student: str) -> Traces:
        """What there is of a student outside of the journal: own folders, files that have the name."""
        with self.reading() as connection:
            return forgetting.traces(connection, student, self.root)

    def forget(self, student: str, *, files: bool = False) -> Forgotten:
        """Delete all of a student, from the database's free pages and from the readable copy too.

        Parameters
        ----------
        student : str
        files : bool
            Also the student's own folders below the journal: those whose practice.toml names this student and nobody
            else.

        Raises
        ------
        UsageError
            If there is no such student.
        JournalError
            If something of it cannot be done. The journal is as it was then, and the same call does the rest.
        """
        with self.writing() as connection:
            found = forgetting.traces(connection, student, self.root)
            forgotten = forgetting.delete_rows(connection, student)
            if files:
                forgetting.delete_folders(found)
            forgetting.delete_copy(self.root)
        forgotten = forgetting.after_files(forgotten, found, self.root, deleted=files)
        remarks = [*forgotten.remarks, *forgetting.give_back_pages(self._engine)]
        try:
            self.mend_copy()
        except JournalError as error:
            remarks.append(f"There is no copy for now: {error}.")
        return replace(forgotten, remarks=tuple(remarks))

    def import_csv(self, path: str | os.PathLike[str], *, student: str | None = None) -> Imported:
        """Read in a page kept on paper: date, exercise, tempo; perhaps held, student, chords, beats_per_change, remark.

        Reading the same page again adds nothing. A row that cannot be read is listed; the others are written.
        """
        rows, problems = read_page(path)
        with self.writing() as connection:
            added, known = paper.write_rows(connection, rows, student)
        return Imported(added=added, known=known, problems=tuple(problems))

    # reading

    def students(self) -> tuple[str, ...]:
        """Names, in order."""
        with self.reading() as connection:
            return tuple(connection.execute(sa.select(students.c.name).order_by(students.c.key)).scalars())

    def overview(self) -> tuple[StudentTakes, ...]:
        """Every student, with the number of takes and the last day."""
        with self.reading() as connection:
            return overview(connection)

    def exercises(self, student: str | None = None) -> tuple[str, ...]:
        """Labels of the exercises, of one student or of all; one that was told in several ways has one label."""
        with self.reading() as connection:
            owner = by_hand.known_student(connection, student)[0] if student is not None else None
            return tuple(sorted(one.label for one in used_by(connection, owner)))

    def measurement(self, take: str | int) -> dict[str, Any]:
        """A take's result as it was measured: JSON of schema ``strumclock.take/2``."""
        with self.reading() as connection:
            return tables.measurement(connection, by_hand.known_take(connection, take).id)

    def history(self, student: str | None = None, exercise: str | None = None, *, last: int | None = None) -> History:
        """The past takes of one student (the only one, where none is named), of one exercise or of all; with `last`
        only so many of them, the latest."""
        with self.reading() as connection:
            return history(connection, student, exercise, last=last)

    def since_set(self, student: str) -> History:
        """What was set to a student last, and the takes since, without their figures."""
        with self.reading() as connection:
            return since_set(connection, student)

    def assignments(self, student: str | None = None) -> tuple[Assignment, ...]:
        """What was set, oldest first: to one student, or to all."""
        with self.reading() as connection:
            return assigned.read(connection, student)

    def answers(self, student: str | None = None, *, last: int | None = None) -> tuple[Answer, ...]:
        """What was written to a student, or to all, oldest first; with `last` only so many, the latest."""
        with self.reading() as connection:
            return answered.read(connection, student, last=last)

    def last_answers(self) -> dict[str, Answer]:
        """The last answer to each student, by name."""
        with self.reading() as connection:
            return answered.last(connection)

    def students_below(self, folder: str | os.PathLike[str]) -> tuple[str, ...]:
        """Names of the students who have takes in a folder or below it, or have a folder of their name there."""
        with self.reading() as connection:
            return below.students_below(connection, self.name_of(folder), folder)

    def marks(self, names: Collection[str] | None = None) -> dict[str, tuple[int, str]]:
        """Students' numbers, and a mark that changes with what the weeks are judged from; by name. Of all, or some."""
        with self.reading() as connection:
            return marks(connection, names)

    def conclusions(self, owners: Collection[int] | None = None) -> dict[int, tuple[str, bytes]]:
        """The conclusions about students that are kept: mark and content, by the student's number."""
        with self.reading() as connection:
            return kept(connection, owners)

    def keep_conclusions(self, made: Mapping[int, tuple[str, bytes]]) -> None:
        """Keep conclusions in the place of older ones."""
        with self.writing() as connection:
            keep(connection, made)

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
        if path is None and self.root is not None:
            copy = self.root / CSV_NAME
            bring_up_to_date(self.reading, self.writing, copy, self._rights())
            return copy
        assert path is not None
        with self.reading() as connection:
            header, rows = tables.take_rows(connection, None, None)
            write_csv(Path(path), header, rows)
        return Path(path)

    def mend_copy(self, *, asked: bool = False) -> Path | None:
        """Bring the readable copy beside a journal up to date, where it is not.

        Parameters
        ----------
        asked : bool
            Also where the journal is too large for a copy that is kept by itself.

        Returns
        -------
        Path or None
            The copy, if there is one that is current.

        Raises
        ------
        JournalError
            If it cannot be written. The journal itself is complete.
        """
        if self.root is None or not self._is_there():
            return None
        copy = self.root / CSV_NAME
        with self.reading() as connection:
            current = is_current(connection, copy)
            wanted = asked or current or is_kept(connection)
        if not wanted:
            return None
        return copy if current else self.write_csv()

    def _rights(self) -> int:
        """Of the journal's file: the copy says the same, so it is for the same eyes."""
        return stat.S_IMODE(Path(self.where).stat().st_mode)
