"""Takes from a page that was kept on paper: written once, however often the page is read."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from strumclock.journal.csvfile import PaperRow
from strumclock.journal.entry import TakeEntry, plain
from strumclock.journal.schema import takes
from strumclock.journal.writing import write_take


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


def write_rows(connection: sa.Connection, rows: Sequence[PaperRow], student: str | None) -> tuple[int, int]:
    """Write the rows that the journal has not got; how many those were, and how many it had.

    A row is known by its words: who, when, what, how fast. The same words twice on a page are two takes.
    """
    seen: dict[str, int] = {}
    added = known = 0
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
        entry = TakeEntry(
            identity=identity,
            student=owner,
            source="paper",
            played_on=row.played_on,
            date_source="told",
            remark=row.remark,
            exercise=told,
            held=row.held,
        )
        write_take(connection, entry)
    return added, known
