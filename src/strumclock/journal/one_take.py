"""One take as the journal has it now: what a correction starts from, and what it is compared with afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

import sqlalchemy as sa

from strumclock.journal.edits import known_take
from strumclock.journal.entry import exercise_label
from strumclock.journal.schema import exercises, students, takes
from strumclock.journal.tables import why_not_counted

if TYPE_CHECKING:
    from strumclock.journal.store import Journal


@dataclass(frozen=True, slots=True, kw_only=True)
class OneTake:
    """A take of the journal.

    Attributes
    ----------
    id : int
    identity : str
    path : str or None
        As the journal names it; None for a take on paper.
    source : str
        ``"recording"`` or ``"paper"``.
    student, exercise : str
        The exercise by its label; empty where it is not known.
    bpm : float or None
    played_on, played_at, date_source : as in the journal
    held : bool or None
    not_counted : str or None
        Why it does not count; None if it does.
    excluded, remark, equipment, error : str or None
    warnings : tuple of str
        Codes.
    settings : str
        Fingerprint of what it was measured with.
    """

    id: int
    identity: str
    path: str | None
    source: str
    student: str
    exercise: str
    bpm: float | None
    played_on: date | None
    played_at: datetime | None
    date_source: str | None
    held: bool | None
    not_counted: str | None
    excluded: str | None
    remark: str | None
    equipment: str | None
    error: str | None
    warnings: tuple[str, ...]
    settings: str

    @property
    def name(self) -> str:
        """What people call it."""
        return self.path or f"take {self.id}"


def one_take(journal: Journal, which: str | int) -> OneTake:
    """A take by its number, its file's path or name, or the first figures of its hash.

    Raises
    ------
    UsageError
        If none or several match.
    """
    with journal.reading() as connection:
        number = known_take(connection, which).id
        query = sa.select(*takes.c, students.c.name.label("student")).join(students)
        row = connection.execute(query.where(takes.c.id == number)).one()
        about = connection.execute(sa.select(exercises).where(exercises.c.id == row.exercise_id)).first()
    same = {name: getattr(row, name) for name in ("id", "identity", "path", "source", "student", "bpm", "played_on")}
    more = ("played_at", "date_source", "held", "excluded", "remark", "equipment", "error", "settings")
    return OneTake(
        **same,
        **{name: getattr(row, name) for name in more},
        exercise=exercise_label(dict(about._mapping)) if about is not None else "",
        not_counted=why_not_counted(row),
        warnings=tuple((row.warnings or "").split()),
    )
