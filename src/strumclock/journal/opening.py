"""Opening a journal's database: which file or server, safely in a synchronised folder, one line for what goes wrong.

SQLite is used with a rollback journal that is deleted after each transaction (never WAL, whose second and third file a
synchronising service tears apart), full synchronisation, and one connection a transaction, so that between two
takes the file lies closed and whole. Writers take their lock at the start and wait for each other.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

from strumclock.errors import JournalError
from strumclock.journal.schema import FORMAT, MIGRATIONS, SCHEMA_VERSION, meta, metadata

BUSY_TIMEOUT_S = 30.0  # a take's transaction lasts some 20 ms: whoever waits longer waits for another program
FILE_NAME = "strumclock-journal.sqlite"
POSTGRESQL_SCHEMA = "strumclock"  # own namespace: a school's database may have a table of students already
OPENING_LOCK = 0x5374726D  # the key of the advisory lock under which one PostgreSQL writer at a time makes the tables


def find_journal(folder: str | os.PathLike[str]) -> Path:
    """The journal that a folder belongs to: in it, or in the nearest folder above that has one; else to be made in it.

    Parameters
    ----------
    folder : path
        Where recordings lie.

    Returns
    -------
    Path
        Of the SQLite file, existing or not. The search stops at the home folder and at the top of the file system.
    """
    start = Path(folder).resolve()
    home = Path.home().resolve()
    for place in (start, *start.parents):
        if (place / FILE_NAME).is_file():
            return place / FILE_NAME
        if place == home:
            break
    return start / FILE_NAME


def is_url(where: str | os.PathLike[str]) -> bool:
    """Whether `where` names a database server rather than a file."""
    return isinstance(where, str) and "://" in where


def make_engine(where: str | os.PathLike[str]) -> sa.Engine:
    """An engine for a file path, a ``sqlite:///`` or a ``postgresql://`` URL."""
    if is_url(where):
        try:
            url = sa.make_url(str(where))
        except sa.exc.ArgumentError:
            raise JournalError(
                "the journal's URL must be like postgresql://user@host/database, but it cannot be read; write it so"
            ) from None
    else:
        url = sa.URL.create("sqlite", database=os.fspath(where))
    backend = url.get_backend_name()
    if backend == "sqlite":
        return _sqlite(url)
    if backend == "postgresql":
        return _postgresql(url)
    raise JournalError(
        f"the journal must be an SQLite file or a postgresql:// URL, but {backend!r} came; use one of them"
    )


def _sqlite(url: sa.URL) -> sa.Engine:
    engine = sa.create_engine(url, poolclass=NullPool, connect_args={"timeout": BUSY_TIMEOUT_S})

    @sa.event.listens_for(engine, "connect")
    def _(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves: Python's own would begin too late for a safe read
        for pragma in ("foreign_keys=ON", "synchronous=FULL", "secure_delete=ON"):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _postgresql(url: sa.URL) -> sa.Engine:
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise JournalError(
            "a journal on PostgreSQL needs the package psycopg, which is not installed; "
            "pip install 'strumclock[postgresql]'"
        ) from None
    if url.get_driver_name() != "psycopg":
        url = url.set(drivername="postgresql+psycopg")
    return sa.create_engine(
        url,
        poolclass=NullPool,
        connect_args={"options": f"-c search_path={POSTGRESQL_SCHEMA}", "connect_timeout": int(BUSY_TIMEOUT_S)},
    )


@contextmanager
def transaction(engine: sa.Engine, *, writes: bool) -> Iterator[sa.Connection]:
    """One transaction; what goes wrong in the database comes out as a `JournalError` of one line."""
    try:
        with engine.connect() as connection:
            connection = connection.execution_options(writes=writes)
            with connection.begin():
                yield connection
    except sa.exc.DBAPIError as error:
        raise JournalError(explain(error, engine)) from error


def explain(error: sa.exc.DBAPIError, engine: sa.Engine) -> str:
    """What a database's own error means, in one line: what was required, what came, what to do."""
    said = " ".join(str(error.orig).split())
    where = engine.url.render_as_string(hide_password=True) if engine.url.host else engine.url.database
    low = said.lower()
    if "locked" in low or "busy" in low:
        return f"the journal {where} must be free for writing, but another program holds it; close that or try again"
    if "disk is full" in low or "no space" in low or "could not extend" in low:
        return (
            f"the journal {where} needs room on its disk, but the disk is full; free some, run again (nothing is lost)"
        )
    if "not a database" in low or "malformed" in low:
        return f"the journal {where} must be an SQLite database, but it is damaged or no such file; restore it"
    if "readonly" in low or "read-only" in low or "permission denied" in low:
        return f"the journal {where} must be writable, but it is not; change its permissions or choose another place"
    if "unable to open" in low:
        return f"the journal {where} must lie in a folder that exists and can be written, but it cannot be opened there"
    if engine.url.host or "connect" in low:
        return f"the journal's server must answer, but it said: {said}; check the URL and the server"
    return f"the journal {where} must take what is written, but it said: {said}"


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
            rows = [("format", FORMAT), ("version", str(SCHEMA_VERSION))]
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
    where = connection.engine.url.database
    if not names:
        return None
    rows: dict[str, Any] = {}
    if "meta" in names:
        try:
            rows = {row.key: row.value for row in connection.execute(sa.select(meta.c.key, meta.c.value))}
        except sa.exc.DBAPIError:
            rows = {}
    if rows.get("format") != FORMAT or not str(rows.get("version", "")).isdigit():
        raise JournalError(
            f"the journal must be a database that strumclock made, but {where} is something else; choose another file"
        )
    version = int(rows["version"])
    if version > SCHEMA_VERSION:
        raise JournalError(
            f"this strumclock reads journals up to version {SCHEMA_VERSION}, but {where} is of version {version}; "
            "update strumclock (nothing was changed)"
        )
    return version
