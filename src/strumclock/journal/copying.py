"""The readable copy beside a journal: derived, so a mark in the journal knows whether it is current.

The mark holds how often rows had changed when the copy was read from them, and the hash of what was written. A copy
that was overtaken by another program, edited by hand or cut off by a kill does not fit it, and is written anew by the
next run of anything. A large one is only written when asked.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import sqlalchemy as sa

from strumclock.errors import JournalError, OutputError
from strumclock.journal import tables
from strumclock.journal.csvfile import write_csv
from strumclock.journal.opening import REVISION
from strumclock.journal.schema import meta, takes
from strumclock.journal.writing import upsert

CSV_NAME = "strumclock-journal.csv"
KEPT_UP_TO = 5_000
"""Takes of which a copy is kept by itself: it takes about a second to write, and a spreadsheet is still of use."""
TRIES = 3  # against another program that writes takes all the while
_MARK = "copied"

Transaction = Callable[[], AbstractContextManager[sa.Connection]]


def is_current(connection: sa.Connection, copy: Path) -> bool:
    """Whether the copy is what the journal holds."""
    rows = {row.key: row.value for row in connection.execute(sa.select(meta.c.key, meta.c.value))}
    return _MARK in rows and rows[_MARK] == f"{rows.get(REVISION)} {_digest(copy)}"


def is_kept(connection: sa.Connection) -> bool:
    """Whether the journal is small enough for a copy that is kept by itself."""
    beyond = sa.select(takes.c.id).order_by(takes.c.id).offset(KEPT_UP_TO).limit(1)
    return connection.execute(beyond).first() is None


def bring_up_to_date(reading: Transaction, writing: Transaction, copy: Path, rights: int) -> None:
    """Write the copy and its mark, again if takes were written meanwhile.

    Raises
    ------
    JournalError
        If the copy cannot be written.
    """
    for _ in range(TRIES):
        with reading() as connection:
            revision = connection.execute(sa.select(meta.c.value).where(meta.c.key == REVISION)).scalar_one()
            header, rows = tables.take_rows(connection, None, None)
            try:
                write_csv(copy, header, rows, rights=rights)
            except OutputError as error:
                raise JournalError(f"{error} (the copy; the journal itself is complete)") from error
        with writing() as connection:
            upsert(connection, meta, {"key": _MARK, "value": f"{revision} {_digest(copy)}"}, on=("key",))
            if revision == connection.execute(sa.select(meta.c.value).where(meta.c.key == REVISION)).scalar_one():
                return


def _digest(copy: Path) -> str:
    try:
        with open(copy, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return "none"
