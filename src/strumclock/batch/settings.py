"""``practice.toml``: who plays in a folder, which exercises, what holds for every take.

::

    student = "Ines"
    equipment = "dreadnought; phone on the music stand"
    language = "de"                    # of what students are sent: a code, or a compiled catalogue (.mo)
    standard = "steady"                # first-weeks, steady, tight, or a table with a standard's numbers

    [defaults]                         # what holds for every take unless told otherwise
    count_in = 1
    click = "auto"

    [exercises."two chords"]
    chords = "A D"
    beats_per_change = 4
    pattern = "D.DU"
    per_beat = 2
    aliases = ["AD", "first exercise"]
    goal_bpm = 90
    goal_by = 2026-06-01

    [[assignments]]                    # see `strumclock.batch.assigned`
    exercise = "two chords"
    bpm = 72
    given = 2026-05-04
    due = 2026-05-11

A file in a folder adds to those of the folders above it, and wins over them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import PurePath
from typing import Any

from strumclock.batch.assigned import ToldAssignment, read_assignments
from strumclock.batch.files import parents, read_text_file
from strumclock.errors import UsageError, printable
from strumclock.fields import fields_of, number_between
from strumclock.grid import BPM_RANGE, Exercise
from strumclock.journal import plain
from strumclock.journal.places import SETTINGS_NAME
from strumclock.pipeline.options import MeasureOptions

EXERCISE_FIELDS = {name: field for name, field in fields_of(Exercise).items() if field.in_files}
OPTION_FIELDS = {name: field for name, field in fields_of(MeasureOptions).items() if field.in_files}
_TOP = ("root", "student", "equipment", "language", "standard", "takes_to_hold", "defaults", "exercises", "assignments")
MOST_TO_HOLD = 100  # by hand: more is a slip of the keyboard
LARGEST_WHOLE = 2**63 - 1  # what TOML 1.0 asks a reader to hold


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownExercise:
    """An exercise that a practice.toml defines."""

    name: str
    told: Mapping[str, Any] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    aliases: tuple[str, ...] = ()
    goal_bpm: float | None = None
    goal_by: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the practice.toml files of a folder and those above say together.

    Attributes
    ----------
    student, equipment : str or None
    language : str or None
        Of what students are sent: a code, or the path of a compiled catalogue.
    standard : str, mapping or None
    takes_to_hold : int or None
    told, options : mapping
        Defaults for the exercise, and for the measuring.
    exercises : mapping
        By their plain name.
    assignments : tuple of ToldAssignment
        What was set, of all the files.
    """

    student: str | None = None
    equipment: str | None = None
    language: str | None = None
    standard: str | Mapping[str, Any] | None = None
    takes_to_hold: int | None = None
    told: Mapping[str, Any] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    exercises: Mapping[str, KnownExercise] = field(default_factory=dict)
    assignments: tuple[ToldAssignment, ...] = ()

    def exercise(self, name: str | None) -> KnownExercise | None:
        """The exercise of a name or other name."""
        wanted = plain(name)
        if wanted in self.exercises:
            return self.exercises[wanted]
        fits = [e for e in self.exercises.values() if wanted in {plain(alias) for alias in e.aliases}]
        return fits[0] if len(fits) == 1 else None


class SettingsFiles:
    """The settings of folders, each file read once.

    Raises
    ------
    UsageError
        If a practice.toml cannot be read, or says something unknown or impossible.
    """

    def __init__(self) -> None:
        self._known: dict[str, Settings] = {}
        self._own: set[str] = set()

    def has_file(self, folder: str) -> bool:
        """Whether a folder has a practice.toml of its own."""
        self.of(folder)
        return folder in self._own

    def of(self, folder: str) -> Settings:
        """What holds in a folder."""
        if folder not in self._known:
            merged = Settings()
            chain = parents(folder)
            if len(chain) > 1:
                merged = self.of(chain[1]) if chain[1] != folder else merged
            found = read_text_file(folder, SETTINGS_NAME)
            if found:
                self._own.add(folder)
            self._known[folder] = add_settings(merged, found[1], found[0]) if found else merged
        return self._known[folder]


def add_settings(above: Settings, text: str, path: str) -> Settings:
    """Settings with those of one more file, which win."""
    try:
        said = tomllib.loads(text)
        _check_whole(said)
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits, tables in tables in tables
        why = "it is nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise UsageError(f"{path} must be TOML, but: {why}; correct it") from None
    _refuse_unknown(said, _TOP, path)
    told, options = split_fields(_table(said, "defaults", path), f"[defaults] in {path}")
    exercises = dict(above.exercises)
    for name, given in _table(said, "exercises", path).items():
        if not isinstance(given, dict):
            raise UsageError(
                f'{path} must have a table [exercises."{name}"], but it has a single value there; make it a table'
            )
        known = exercises.get(plain(name), KnownExercise(name=name))
        exercises[plain(name)] = _add_exercise(known, given, f'[exercises."{name}"] in {path}')
    standard = said.get("standard", above.standard)
    if standard is not None and not isinstance(standard, (str, dict)):
        raise UsageError(f"standard in {path} must be a name or a table, but {standard!r} came; correct it")
    takes_to_hold = said.get("takes_to_hold", above.takes_to_hold)
    if takes_to_hold is not None and not (type(takes_to_hold) is int and 1 <= takes_to_hold <= MOST_TO_HOLD):
        raise UsageError(
            f"takes_to_hold in {path} must be from 1 to {MOST_TO_HOLD}, but {takes_to_hold!r} came; correct it"
        )
    if type(said.get("root", False)) is not bool:
        raise UsageError(f"root in {path} must be true or false, but {said['root']!r} came; correct it")
    return replace(
        above,
        student=_text(said, "student", path) or above.student,
        equipment=_text(said, "equipment", path) or above.equipment,
        language=_language(said, path) or above.language,
        standard=standard,
        takes_to_hold=takes_to_hold,
        told={**above.told, **told},
        options={**above.options, **options},
        exercises=exercises,
        assignments=(*above.assignments, *read_assignments(said.get("assignments", []), path, exercises)),
    )


def _add_exercise(known: KnownExercise, given: Mapping[str, Any], where: str) -> KnownExercise:
    rest = dict(given)
    aliases = rest.pop("aliases", list(known.aliases))
    if not isinstance(aliases, list) or not all(isinstance(alias, str) for alias in aliases):
        raise UsageError(f"aliases of {where} must be a list of names, but {aliases!r} came; correct it")
    goal = rest.pop("goal_bpm", known.goal_bpm)
    if goal is not None:
        goal = number_between("goal_bpm", goal, *BPM_RANGE, f"a tempo, of {where}")
    by = rest.pop("goal_by", known.goal_by)
    if by is not None and type(by) is not date:
        raise UsageError(f"goal_by of {where} must be a date such as 2026-06-01, but {by!r} came; write it so")
    told, options = split_fields(rest, where)
    return replace(
        known,
        told={**known.told, **told},
        options={**known.options, **options},
        aliases=tuple(aliases),
        goal_bpm=goal,
        goal_by=by,
    )


def split_fields(given: Mapping[str, Any], where: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """What is about the exercise, and what about the measuring; each of the right type.

    Raises
    ------
    UsageError
        If a field is unknown, or no such value.
    """
    _refuse_unknown(given, (*EXERCISE_FIELDS, *OPTION_FIELDS), where)
    told = {name: value_of(name, value, where) for name, value in given.items() if name in EXERCISE_FIELDS}
    options = {name: value_of(name, value, where) for name, value in given.items() if name in OPTION_FIELDS}
    return told, options


def value_of(name: str, value: Any, where: str) -> Any:
    """A field's value in its type, from TOML or from a cell's text."""
    return (EXERCISE_FIELDS.get(name) or OPTION_FIELDS[name]).read(name, value, where)


def _check_whole(said: Any) -> None:
    """Refuse whole numbers that no reader need hold, and that Python would not even print."""
    if isinstance(said, int) and abs(said) > LARGEST_WHOLE:
        raise ValueError("a whole number in it has more than 64 bits")
    for inner in said.values() if isinstance(said, dict) else said if isinstance(said, list) else ():
        _check_whole(inner)


def _table(said: Mapping[str, Any], name: str, path: str) -> Mapping[str, Any]:
    table = said.get(name, {})
    if not isinstance(table, dict):
        raise UsageError(f"{name} in {path} must be a table [{name}], but {table!r} came; correct it")
    return table


def _text(said: Mapping[str, Any], name: str, path: str) -> str | None:
    text = said.get(name)
    if text is not None and not isinstance(text, str):
        raise UsageError(f"{name} in {path} must be a text in quotes, but {text!r} came; correct it")
    return printable(text) if text is not None else None


def _language(said: Mapping[str, Any], path: str) -> str | None:
    """A language's code; the path of a catalogue is told from where the file lies."""
    told = _text(said, "language", path)
    return str(PurePath(path).parent / told) if told is not None and told.casefold().endswith(".mo") else told


def _refuse_unknown(given: Mapping[str, Any], known: tuple[str, ...], where: str) -> None:
    unknown = [name for name in given if name not in known]
    if unknown:
        raise UsageError(f"{where} may say {', '.join(known)}, but {unknown[0]!r} came; check the spelling")
