"""Opening a journal's database: which file or server, safely in a synchronised folder, one line for what goes wrong.

SQLite is used with a rollback journal that is deleted after each transaction (never WAL, whose second and third file a
synchronising service tears apart), full synchronisation, and one connection a transaction, so that between two
takes the file lies closed and whole. Writers take their lock at the start and wait for each other. A new file appears
with its tables in it, or not at all.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.pool import NullPool, StaticPool

from strumclock.errors import JournalError
from strumclock.journal.damage import explain, shown
from strumclock.journal.entry import DamagedError
from strumclock.journal.schema import (
    FORMAT,
    MIGRATIONS,
    SCHEMA_VERSION,
    exercises,
    figures,
    meta,
    metadata,
    students,
    takes,
)

BUSY_TIMEOUT_S = 30.0  # a take's transaction lasts some 20 ms: whoever waits longer waits for another program
POSTGRESQL_SCHEMA = "strumclock"  # own namespace: a school's database may have a table of students already
OPENING_LOCK = 0x5374726D  # the key of the advisory lock under which one PostgreSQL writer at a time makes the tables
COPIED = frozenset(table.name for table in (takes, students, exercises, figures))
"""Tables whose rows stand in the readable copy: a change of theirs makes it stale."""
REVISION = "revision"
"""Key of the count of transactions that changed one of them."""


def is_url(where: str | os.PathLike[str]) -> bool:
    """Whether `where` names a database server rather than a file."""
    return isinstance(where, str) and "://" in where


def make_engine(where: str | os.PathLike[str]) -> sa.Engine:
    """An engine for a file's path or a ``postgresql://`` URL."""
    if not is_url(where):
        return _sqlite(sa.URL.create("sqlite", database=os.fspath(where)))
    try:
        url = sa.make_url(str(where))
        backend = url.get_backend_name()
        if backend == "postgresql":
            return _postgresql(url)
    except (sa.exc.SQLAlchemyError, ValueError):  # never with what it says: it may hold the password
        raise JournalError(
            "the journal's URL must be like postgresql://user@host/database, but it cannot be read; write it so"
        ) from None
    if backend == "sqlite":
        raise JournalError("a journal in a file is named by its path, but an sqlite URL came; leave the sqlite:// out")
    raise JournalError(
        f"the journal must be an SQLite file or a postgresql:// URL, but {backend!r} came; use one of them"
    )


def _sqlite(url: sa.URL, **pool: Any) -> sa.Engine:
    engine = sa.create_engine(url, **(pool or {"poolclass": NullPool}), connect_args={"timeout": BUSY_TIMEOUT_S})

    @sa.event.listens_for(engine, "connect")
    def _(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves: Python's own would begin too late for a safe read
        for pragma in ("foreign_keys=ON", "synchronous=FULL", "secure_delete=ON"):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    _count_changes(engine)
    return engine


def _postgresql(url: sa.URL) -> sa.Engine:
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise JournalError(
            "a journal on PostgreSQL needs the package psycopg, which is not installed; "
            "pip install 'strumclock[postgresql]'"
        ) from None
    engine = sa.create_engine(
        url.set(drivername="postgresql+psycopg"),
        poolclass=NullPool,
        connect_args={"options": f"-c search_path={POSTGRESQL_SCHEMA}", "connect_timeout": int(BUSY_TIMEOUT_S)},
    )
    _count_changes(engine)
    return engine


def _count_changes(engine: sa.Engine) -> None:
    """Notice what is written, so that `transaction` can count it."""

    @sa.event.listens_for(engine, "after_execute")
    def _(connection: sa.Connection, statement: Any, *rest: Any) -> None:
        if getattr(statement, "is_dml", False) and statement.table.name in COPIED and rest[-1].rowcount != 0:
            connection.info["changed"] = True


@contextmanager
def transaction(engine: sa.Engine, *, writes: bool) -> Iterator[sa.Connection]:
    """One transaction; what goes wrong in the database comes out as a `JournalError` of one line."""
    try:
        with engine.connect() as connection:
            connection = connection.execution_options(writes=writes)
            with connection.begin():
                yield connection
                if connection.info.pop("changed", False):
                    raised = sa.cast(sa.cast(meta.c.value, sa.Integer) + 1, sa.Text)
                    connection.execute(meta.update().where(meta.c.key == REVISION).values(value=raised))
    except (sa.exc.SQLAlchemyError, DamagedError, UnicodeError) as error:
        raise JournalError(explain(error, engine.url)) from error


def blank() -> sa.Engine:
    """An empty journal in memory: what is read of one that is not there yet."""
    engine = _sqlite(sa.URL.create("sqlite"), poolclass=StaticPool)
    prepare(engine)
    return engine


def make_file(path: Path) -> None:
    """Make a new journal: it appears whole. One that another program made meanwhile is left as it is.

    Raises
    ------
    JournalError
        If the folder cannot be written, or the disk is full.
    """
    temporary = path.with_name(f".{path.stem[:40]}-{secrets.token_hex(4)}.part")
    try:
        engine = make_engine(temporary)
        prepare(engine)
        engine.dispose()
        with contextlib.suppress(FileExistsError):
            if path.exists() and path.stat().st_size == 0:
                temporary.replace(path)  # an empty file is no journal, and nothing is lost with it
            else:
                _appear(temporary, path)
    except JournalError as error:
        raise JournalError(str(error).replace(str(temporary), str(path))) from None
    except OSError as error:
        raise JournalError(
            f"the journal {path} must be written, but the system said: {error.strerror}; choose another place"
        ) from None
    finally:
        for left in (temporary, temporary.with_name(f"{temporary.name}-journal")):
            left.unlink(missing_ok=True)


def _appear(temporary: Path, path: Path) -> None:
    """Give the file its name, unless there is one of that name."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links, such as FAT
        if not path.exists():
            temporary.rename(path)


def prepare(engine: sa.Engine) -> None:
    """Make the tables of a new journal, bring an older one up to date, refuse a newer or foreign one.

    Raises
    ------
    JournalError
        If the database is none of ours, or was written by a newer version.
    """
    with transaction(engine, writes=False) as connection:
        version = _version(connection)
    if version == SCHEMA_VERSION:
        return
    with transaction(engine, writes=True) as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(OPENING_LOCK)))
            connection.exec_driver_sql(f"CREATE SCHEMA IF NOT EXISTS {POSTGRESQL_SCHEMA}")
        version = _version(connection)  # again: another writer may have come first
        if version is None:
            metadata.create_all(connection)
            rows = [("format", FORMAT), ("version", str(SCHEMA_VERSION)), (REVISION, "0")]
            connection.execute(meta.insert(), [{"key": key, "value": value} for key, value in rows])
            return
        while version < SCHEMA_VERSION:
            MIGRATIONS[version](connection)
            version += 1
        connection.execute(meta.update().where(meta.c.key == "version").values(value=str(version)))


def _version(connection: sa.Connection) -> int | None:
    """The schema version found; None in an empty database."""
    schema = POSTGRESQL_SCHEMA if connection.dialect.name == "postgresql" else None
    names = set(sa.inspect(connection).get_table_names(schema=schema))
    if not names:
        return None
    where = shown(connection.engine.url)
    rows: dict[str, Any] = {}
    if "meta" in names:
        with contextlib.suppress(sa.exc.DBAPIError):
            rows = {row.key: row.value for row in connection.execute(sa.select(meta.c.key, meta.c.value))}
    if rows.get("format") != FORMAT:
        raise JournalError(
            f"the journal must be a database that strumclock made, but {where} is something else; choose another file"
        )
    if not re.fullmatch("[0-9]{1,9}", str(rows.get("version", ""))):
        raise DamagedError(f"its version, which reads {rows.get('version')!r}")
    version = int(rows["version"])
    if version > SCHEMA_VERSION:
        raise JournalError(
            f"this strumclock reads journals up to version {SCHEMA_VERSION}, but {where} is of version {version}; "
            "update strumclock (nothing was changed)"
        )
    missing = {table.name for table in metadata.tables.values()} - names if version == SCHEMA_VERSION else set()
    if missing:
        raise DamagedError(f"its tables, of which {', '.join(sorted(missing))} is missing")
    return version
