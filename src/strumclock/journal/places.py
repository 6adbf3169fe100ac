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


def _homes() -> frozenset[Path]:
    return _all_homes() | {Path.home().resolve()}


@cache
def _all_homes() -> frozenset[Path]:
    """Of the people who may log in: a batch may run as another user than the one whose lessons these are."""
    with contextlib.suppress(ImportError):  # Windows has no such list
        import pwd

        return frozenset(Path(user.pw_dir) for user in pwd.getpwall() if user.pw_uid >= PEOPLE_FROM)
    return frozenset()
