"""Whose recordings lie in a folder: a class's folder has one for each student, named after them.

``class/Ines/take.m4a`` is Ines's, without any file that says so. What says otherwise wins: a correction, a row of
takes.csv, ``student`` in a practice.toml. The class's folder is the nearest one above that has a practice.toml, else
the one that the batch was given. A folder of a date, of a week or of what recorders call things is nobody.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator

from strumclock.batch.files import is_remote
from strumclock.batch.names import read_name
from strumclock.batch.table import FILE_NAME as TABLE_NAME
from strumclock.errors import printable
from strumclock.journal.places import SETTINGS_NAME
from strumclock.report.writing import SOUND_ENDINGS

_NOBODY = re.compile(
    r"strumclock-assigned|(week|woche|semaine|semana|lesson|month|term|year|day)s?[\W_]*\d*|takes|recordings|archive|old|pages|students|sent|"
    r"\d+",
    re.IGNORECASE,
)


def name_of_folder(folder: str) -> str | None:
    """The student whom a folder's name names; None for a date, a week or a recorder's word.

    Examples
    --------
    >>> name_of_folder("class/Ines"), name_of_folder("class/2026-03-14"), name_of_folder("class/week 3")
    ('Ines', None, None)
    """
    name = " ".join(printable(folder.replace("\\", "/").rstrip("/").rpartition("/")[2]).split())
    if not name or name.startswith(".") or _NOBODY.fullmatch(name) or read_name(name).words is None:
        return None
    return name


def student_of(folder: str, root: str, has_settings: Callable[[str], bool]) -> str | None:
    """The student whose folder a recording lies in; None where it lies in the class's folder itself.

    Parameters
    ----------
    folder : str
        Of the recording, below `root` or `root` itself.
    root : str
        Of the batch.
    has_settings : callable
        Whether a folder has a practice.toml of its own.
    """
    below: list[str] = []
    place = folder.rstrip("/")
    while place not in (root.rstrip("/"), ""):
        below.append(place)
        place = place.rpartition("/")[0]
        if has_settings(place):
            break
    return next((name for one in reversed(below) if (name := name_of_folder(one)) is not None), None)


def silent_folders(root: str) -> Iterator[str]:
    """Folders of a class in which no recording lies yet: students who have sent nothing.

    Only directly below a folder that has a practice.toml, and only where nothing else lies in them.
    """
    if is_remote(root):
        return
    for place, folders, names in os.walk(root):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if SETTINGS_NAME not in names:
            continue
        for name in folders:
            if name_of_folder(name) is not None and _is_empty(os.path.join(place, name)):
                yield os.path.join(place, name)


def _is_empty(folder: str) -> bool:
    for _, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        visible = [name for name in names if not name.startswith(".") and name not in (SETTINGS_NAME, TABLE_NAME)]
        if visible or any(os.path.splitext(name)[1].lower() in SOUND_ENDINGS for name in names):
            return False
    return True
