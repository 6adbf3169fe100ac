"""Which folders belong together: how far above a folder of recordings its journal and its settings are looked for.

The folder itself and those above it, up to and with the first that is a home folder or whose ``practice.toml`` says
``root = true``; never into a folder that everybody may write to (such as ``/tmp``), nor across the border of a file
system: what lies there belongs to somebody else.
"""

from __future__ import annotations

import contextlib
import os
import stat
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from strumclock.errors import JournalError, printable

SETTINGS_NAME = "practice.toml"
FILE_NAME = "strumclock-journal.sqlite"
SQLITE_START = b"SQLite format 3\0"
"""The first bytes of every SQLite database (SQLite's file format, section 1.3). An empty file is none."""
PEOPLE_FROM = 1000  # below are the numbers of a system's own users, whose homes may be / or /var/…


def places_above(folder: Path) -> Iterator[Path]:
    """A folder and those above it that belong with it, nearest first."""
    homes = _homes()
    device = None
    for place in (folder, *folder.parents):
        try:
            state = place.stat()
        except (OSError, ValueError):
            return
        device = state.st_dev if device is None else device
        foreign = state.st_dev != device or bool(state.st_mode & stat.S_IWOTH)
        if place != folder and foreign:
            return
        yield place
        if place in homes or is_marked_root(place):
            return


def is_marked_root(folder: Path) -> bool:
    """Whether the folder's settings say that nothing above belongs to it."""
    path = folder / SETTINGS_NAME
    try:
        if not path.is_file():  # a pipe would be waited for
            return False
        with open(path, "rb") as file:
            return tomllib.load(file).get("root") is True
    except (OSError, ValueError, RecursionError):  # what is wrong with it is said where the settings are read
        return False


def is_journal(path: Path) -> bool:
    """Whether a file can be a journal: there, and begun like a database."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return False
        with open(path, "rb") as file:
            return file.read(len(SQLITE_START)) == SQLITE_START
    except (OSError, ValueError):
        return False


def find_journal(folder: str | os.PathLike[str]) -> Path:
    """The journal that a folder belongs to: in it, or in the nearest folder above that has one; else to be made in it.

    Parameters
    ----------
    folder : path
        Where recordings lie.

    Returns
    -------
    Path
        Of the SQLite file, existing or not. How far is looked: see this module.
    """
    start = Path(folder).resolve()
    for place in places_above(start):
        if is_journal(place / FILE_NAME):
            return place / FILE_NAME
    return start / FILE_NAME


def journal_file(where: str | os.PathLike[str], *, create: bool) -> Path:
    """The file that a journal lies in, or shall be made in: by its path, or by the folder that it belongs to.

    Raises
    ------
    JournalError
        If it can be none, or is not there and shall not be made.
    """
    try:
        path = Path(where)
        path = find_journal(path) if path.is_dir() else path.absolute()
        path = path.parent.resolve() / path.name
        there = path.stat() if path.exists() else None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it is no name that a file can have"
        raise JournalError(f"a journal must lie in a file, but {os.fspath(where)} is none: {reason}") from None
    if not path.parent.is_dir():
        raise JournalError(f"a journal must lie in a folder that exists, but {path.parent} does not; make it")
    if there is not None and not stat.S_ISREG(there.st_mode):
        raise JournalError(f"a journal must be a file, but {path} is a folder, a pipe or a device; name another")
    if not create and (there is None or there.st_size == 0):
        found = "there is none" if there is None else "the file there is empty"
        raise JournalError(f"a journal must be at {path}, but {found}; run a batch there first")
    return path


def name_in(root: Path | None, path: str | os.PathLike[str]) -> str:
    """How a journal below `root` names a file: relative where it lies below, so that the folder can move."""
    if "://" in os.fspath(path):
        scheme, _, rest = str(path).partition("://")
        host, slash, inside = rest.partition("/")
        return f"{scheme}://{host.rpartition('@')[2]}{slash}{inside}"  # a name and password are nobody's business
    absolute = Path(os.path.realpath(os.path.dirname(os.path.abspath(path))), os.path.basename(os.path.abspath(path)))
    if root is not None and absolute.is_relative_to(root):
        return printable(absolute.relative_to(root).as_posix())
    return printable(absolute.as_posix())


def _homes() -> frozenset[Path]:
    return _all_homes() | {Path.home().resolve()}


@cache
def _all_homes() -> frozenset[Path]:
    """Of the people who may log in: a batch may run as another user than the one whose lessons these are."""
    with contextlib.suppress(ImportError):  # Windows has no such list
        import pwd

        return frozenset(Path(user.pw_dir) for user in pwd.getpwall() if user.pw_uid >= PEOPLE_FROM)
    return frozenset()
