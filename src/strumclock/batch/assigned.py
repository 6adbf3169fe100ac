"""What a practice.toml says was set: an exercise, to whom, at which tempo, from when, until when.

::

    [[assignments]]
    exercise = "two chords"        # one of [exercises."…"], here or above
    bpm = 72                       # may be left out
    given = 2026-11-28
    due = 2026-12-05               # may be left out
    students = ["Ines", "Tom"]     # may be left out: everybody in this folder and below
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from strumclock.errors import UsageError, printable
from strumclock.fields import number_between
from strumclock.grid import BPM_RANGE
from strumclock.journal import plain
from strumclock.journal.entry import KEY_FIELDS

if TYPE_CHECKING:
    from strumclock.journal import Assignment

_FIELDS = ("exercise", "bpm", "given", "due", "students")


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldAssignment:
    """One ``[[assignments]]`` of a practice.toml.

    Attributes
    ----------
    exercise : str
    bpm : float or None
    given : date
    due : date or None
    students : tuple of str or None
        None: everybody for whom the file holds.
    """

    exercise: str
    bpm: float | None
    given: date
    due: date | None
    students: tuple[str, ...] | None

    def is_for(self, student: str) -> bool:
        """Whether it was set to a student."""
        return self.students is None or plain(student) in {plain(one) for one in self.students}


def read_assignments(said: Any, path: str, known: Mapping[str, Any]) -> tuple[ToldAssignment, ...]:
    """The assignments of one file, checked.

    Parameters
    ----------
    said : list of mapping
        As TOML reads it.
    path : str
        Of the file.
    known : mapping
        The exercises that it may name, by their plain names.

    Raises
    ------
    UsageError
        If one of them says something unknown or impossible, or the same was set to somebody twice on one day.
    """
    if not isinstance(said, list) or not all(isinstance(one, dict) for one in said):
        raise UsageError(f"assignments in {path} must be tables [[assignments]], but {said!r:.80} came; correct it")
    found = tuple(_read(one, f"[[assignments]] number {n} in {path}", known) for n, one in enumerate(said, 1))
    seen: dict[tuple[str, date, str], int] = {}
    for n, one in enumerate(found, 1):
        for student in one.students if one.students is not None else ("",):
            key = plain(one.exercise), one.given, plain(student)
            if key in seen:
                raise UsageError(
                    f"an exercise can be set once a day, but in {path} [[assignments]] {seen[key]} and {n} both set "
                    f"{one.exercise!r} on {one.given}; keep one"
                )
            seen[key] = n
    return found


def _read(said: Mapping[str, Any], where: str, known: Mapping[str, Any]) -> ToldAssignment:
    unknown = [name for name in said if name not in _FIELDS]
    if unknown:
        raise UsageError(f"{where} may say {', '.join(_FIELDS)}, but {unknown[0]!r} came; check the spelling")
    exercise, bpm = said.get("exercise"), said.get("bpm")
    if not isinstance(exercise, str) or plain(exercise) not in known:
        names = ", ".join(one.name for one in known.values()) or "none is there yet"
        raise UsageError(f"exercise of {where} must be one of [exercises] ({names}), but {exercise!r} came; correct it")
    given, due = (_day(said, name, where) for name in ("given", "due"))
    if given is None:
        raise UsageError(f"{where} must say given, the day it was set, such as 2026-11-28; add it")
    if due is not None and due < given:
        raise UsageError(f"due of {where} must be {given} or later, but {due} came; correct it")
    return ToldAssignment(
        exercise=known[plain(exercise)].name,
        bpm=None if bpm is None else number_between("bpm", bpm, *BPM_RANGE, f"a tempo, of {where}"),
        given=given,
        due=due,
        students=_students(said.get("students"), where),
    )


def _day(said: Mapping[str, Any], name: str, where: str) -> date | None:
    value = said.get(name)
    if value is not None and type(value) is not date:
        raise UsageError(f"{name} of {where} must be a date such as 2026-11-28, but {value!r} came; write it so")
    return value


def _students(said: Any, where: str) -> tuple[str, ...] | None:
    if said is None:
        return None
    if not isinstance(said, list) or not all(isinstance(one, str) and one.strip() for one in said):
        raise UsageError(f"students of {where} must be a list of names, but {said!r:.80} came; correct it")
    return tuple(" ".join(printable(one).split()) for one in said)


def for_student(told: Sequence[ToldAssignment], student: str, exercises: Mapping[str, Any]) -> Iterable[Assignment]:
    """What was set to one student, as the journal keeps it."""
    from strumclock.journal import Assignment  # the database's package, which measuring one take can spare

    for one in told:
        if one.is_for(student):
            fields = {"name": one.exercise, **exercises[plain(one.exercise)].told}
            exercise = {name: fields[name] for name in KEY_FIELDS if fields.get(name) is not None}
            yield Assignment(student=student, exercise=exercise, bpm=one.bpm, given_on=one.given, due_on=one.due)


def set_then(told: Sequence[ToldAssignment], student: str, day: date | None) -> ToldAssignment | None:
    """What a student was practising on a day: the one thing that was set last before it; None where it was two."""
    if day is None:
        return None
    before = [one for one in told if one.is_for(student) and one.given <= day]
    last = max((one.given for one in before), default=None)
    found = [one for one in before if one.given == last]
    return found[0] if len(found) == 1 else None
