"""An assignment in practice.toml: after what stands there, which stays as it is, and never over somebody's edit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strumclock.assignments.proposing import Proposal
from strumclock.batch.settings import Settings, SettingsFiles, add_settings
from strumclock.errors import OutputError, UsageError
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.journal import plain
from strumclock.journal.places import SETTINGS_NAME
from strumclock.saving import write_text

if TYPE_CHECKING:
    from tomlkit.items import Table

NEW = "# What was set to whom. Every folder below is a student.\nroot = true\n"
"""A practice.toml that is not there yet."""


def told_exercise(folder: Path, name: str, told: Mapping[str, Any]) -> tuple[str, dict[str, Any], bool]:
    """An exercise as the settings have it, with what is told now.

    Parameters
    ----------
    folder : Path
    name : str
    told : mapping
        Fields of the exercise, but for its name and tempo.

    Returns
    -------
    tuple
        Its name as the settings spell it, its fields, and whether it is new.

    Raises
    ------
    UsageError
        If the settings say something else of it.
    """
    known = SettingsFiles().of(str(folder)).exercise(name)
    if known is None:
        return name, dict(told), True
    said = {key: getattr(Exercise(**known.told), key) for key in known.told}
    other = [key for key in told if key in said and said[key] != told[key]]
    missing = [key for key in told if key not in said]
    if other or missing:
        key = (other or missing)[0]
        stands = repr(said[key]) if key in said else "nothing"
        raise UsageError(
            f"{known.name!r} is there already, and practice.toml says {stands} of {key}, but {told[key]!r} came; "
            "change it there, or give the exercise another name"
        )
    return known.name, said, False


def read(folder: Path) -> str | None:
    """The text of a folder's practice.toml; None where there is none."""
    try:
        return (folder / SETTINGS_NAME).read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{folder / SETTINGS_NAME} must be readable UTF-8 text, but: {error}") from None


def with_assignments(
    text: str | None,
    exercise: str,
    fields: Mapping[str, Any] | None,
    proposals: Sequence[Proposal],
    *,
    given: date,
    due: date | None,
) -> str:
    """A practice.toml with one more exercise, if it is new, and its assignments at the end.

    Parameters
    ----------
    text : str or None
        What stands there.
    exercise : str
    fields : mapping or None
        Of a new exercise; None where it is known.
    proposals : sequence of Proposal
        Those with one tempo share one table.
    given, due : date, date or None
    """
    import tomlkit

    before = text if text is not None else NEW
    added = tomlkit.document()
    if fields is not None:
        exercises = tomlkit.table(is_super_table=True)
        exercises[exercise] = _exercise_table(fields)
        added["exercises"] = exercises
    tables = tomlkit.aot()
    for bpm, students in _by_tempo(proposals).items():
        table = tomlkit.table()
        table["exercise"] = exercise
        if bpm is not None:
            table["bpm"] = int(bpm) if bpm == int(bpm) else bpm
        table["given"] = given
        if due is not None:
            table["due"] = due
        if students:
            table["students"] = students
        table.add(tomlkit.nl())
        tables.append(table)
    added["assignments"] = tables
    new = tomlkit.dumps(added).strip()
    return f"{before.rstrip()}\n\n{new}\n" if before.strip() else f"{new}\n"


def _by_tempo(proposals: Sequence[Proposal]) -> dict[float | None, list[str]]:
    """Who is set which tempo; nobody named means everybody."""
    found: dict[float | None, list[str]] = {}
    for one in proposals:
        names = found.setdefault(one.bpm, [])
        names += [one.student] if one.student is not None else []
    return found


def _exercise_table(fields: Mapping[str, Any]) -> Table:
    import tomlkit

    table, about = tomlkit.table(), fields_of(Exercise)
    for key, value in fields.items():
        if about[key].in_files and value is not None:
            table[key] = " ".join(value) if isinstance(value, tuple) else value
    table.add(tomlkit.nl())
    return table


def check(folder: Path, after: str) -> None:
    """Refuse settings that could not be read as they would stand.

    Raises
    ------
    UsageError
        If they say something impossible: the same set twice on one day, for example.
    """
    above = SettingsFiles().of(str(folder.parent)).exercises
    add_settings(Settings(exercises=above), after, str(folder / SETTINGS_NAME))


def write(folder: Path, before: str | None, after: str) -> None:
    """Write the settings, if nobody has changed them meanwhile.

    Raises
    ------
    OutputError
        If the file is another than the one that was read.
    """
    path = folder / SETTINGS_NAME
    if read(folder) != before:
        raise OutputError(f"{path} was changed meanwhile, by hand or a program; nothing was written; run it again")
    write_text(path, after)


def students_of(folder: Path, journal_students: Sequence[str]) -> list[str]:
    """Who is in a class: those of the journal whose takes lie below, and folders of students."""
    from strumclock.batch.students import name_of_folder

    names = {plain(name): name for name in journal_students if name}
    for inner in sorted(folder.iterdir()):
        name = name_of_folder(str(inner)) if inner.is_dir() else None
        if name is not None:
            told = SettingsFiles().of(str(inner)).student
            names.setdefault(plain(told or name), told or name)
    return sorted(names.values(), key=str.casefold)
