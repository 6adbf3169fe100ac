"""A practice record's database: opened when it is needed, nothing kept open between calls."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from strumclock.journal.damage import shown
from strumclock.journal.opening import blank, is_url, make_engine, make_file, prepare, transaction
from strumclock.journal.places import journal_file, name_in


class Connected:
    """What `Journal` stands on: where the database is, and transactions in it."""

    def __init__(self, where: str | os.PathLike[str], *, create: bool = True) -> None:
        self.where: str | Path
        if is_url(where):
            self.where = str(where)
            self.root: Path | None = None
        else:
            self.where = journal_file(where, create=create)
            self.root = self.where.parent
        self._open()

    def _open(self) -> None:
        """Open what is there; a file that is not there yet is made when something is written."""
        self._engine = make_engine(self.where)
        self._made = not isinstance(self.where, Path)
        if self._made or self._is_there():
            prepare(self._engine)

    def _is_there(self) -> bool:
        """Whether the file has appeared, by this program or another."""
        if not self._made and isinstance(self.where, Path) and self.where.exists() and self.where.stat().st_size:
            self._made = True
        return self._made

    def __getstate__(self) -> dict[str, Any]:
        return {"where": self.where, "root": self.root}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.where, self.root = state["where"], state["root"]
        self._open()

    def __repr__(self) -> str:
        return f"Journal({shown(self._engine.url)!r})"

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction to read in."""
        with transaction(self._engine if self._is_there() else blank(), writes=False) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction to write in: all of it is done, or nothing."""
        if not self._is_there():
            assert isinstance(self.where, Path)
            make_file(self.where)
            prepare(self._engine)  # another program's may have come first
        with transaction(self._engine, writes=True) as connection:
            yield connection

    def __str__(self) -> str:
        return shown(self._engine.url)

    def name_of(self, path: str | os.PathLike[str]) -> str:
        """How the journal names a file: relative to itself where it lies below, so that the folder can move."""
        return name_in(self.root, path)
