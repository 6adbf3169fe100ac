"""What a batch asks the journal, and tells it besides takes: which file holds which sound, what is measured already."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from strumclock.journal.edits import set_goal
from strumclock.journal.entry import sha256_of
from strumclock.journal.same import details
from strumclock.journal.schema import CHUNK, exercises, files, students, takes
from strumclock.journal.writing import exercise_id, upsert

if TYPE_CHECKING:
    from strumclock.journal.store import Journal

ABOUT = ("path", "played_on", "played_at", "date_source", "equipment", "remark", "excluded")
"""What is known of a take beside its sound: it may change without measuring it again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownTake:
    """A take that the journal has.

    Attributes
    ----------
    id : int
    exercise_key : str or None
        See `strumclock.journal.entry.exercise_row`.
    settings, version : str
        Fingerprint of what it was measured with.
    error : str or None
        Why it could not be measured.
    stale : bool
        It must be measured again whatever it was measured with: the error may pass, or another sound took its place.
    about : mapping
        The fields of `ABOUT`.
    """

    id: int
    exercise_key: str | None
    settings: str
    version: str
    error: str | None
    stale: bool
    about: Mapping[str, str | date | datetime | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """A tempo wanted, as practice.toml tells it."""

    student: str
    exercise: Mapping[str, Any]
    bpm: float
    by: date | None


def known_files(journal: Journal, below: str) -> dict[str, dict[str, Any]]:
    """What was noted of the files whose names begin so, by name."""
    query = sa.select(files).where(files.c.path.startswith(below, autoescape=True))
    with journal.reading() as connection:
        return {row.path: dict(row._mapping) for row in connection.execute(query)}


def note_files(journal: Journal, rows: Iterable[Mapping[str, Any]], gone: Iterable[str]) -> None:
    """Note files that were read, and forget those that are gone."""
    with journal.writing() as connection:
        for row in rows:
            upsert(connection, files, row, on=("path",))
        for name in gone:
            connection.execute(files.delete().where(files.c.path == name))


def known_takes(journal: Journal, identities: Collection[str]) -> dict[tuple[str, str], KnownTake]:
    """The takes of some sounds, by the sound and the student's key."""
    names = ("id", "identity", "settings", "version", "error", "retry", "superseded_by", *ABOUT)
    query = sa.select(*(takes.c[name] for name in names), students.c.key, exercises.c.key.label("exercise"))
    query = query.join(students, takes.c.student_id == students.c.id)
    query = query.outerjoin(exercises, takes.c.exercise_id == exercises.c.id)
    query = query.where(takes.c.identity.in_(identities))
    with journal.reading() as connection:
        return {
            (row.identity, row.key): KnownTake(
                id=row.id,
                exercise_key=row.exercise,
                settings=row.settings,
                version=row.version,
                error=row.error,
                stale=bool(row.retry or row.superseded_by),
                about={name: getattr(row, name) for name in ABOUT},
            )
            for row in connection.execute(query)
        }


def tell_about(journal: Journal, told: Sequence[tuple[int, Mapping[str, Any], Mapping[str, Any]]]) -> None:
    """Bring takes up to date but for their sound: number, the fields of `ABOUT`, the exercise as told."""
    with journal.writing() as connection:
        for take, about, exercise in told:
            values = {**about, "exercise_id": exercise_id(connection, exercise)}
            connection.execute(takes.update().where(takes.c.id == take).values(**values))


def retire(journal: Journal, wanted: Collection[str]) -> bool:
    """Of recordings that are now measured in parts the whole no longer counts, and the other way round.

    Parameters
    ----------
    journal : Journal
    wanted : collection of str
        Identities that count: of each sound all that do.

    Returns
    -------
    bool
        Whether there were any.
    """
    first = {sha256_of(identity): identity for identity in wanted}
    stale: list[tuple[int, str]] = []
    with journal.reading() as connection:
        for sha256, identity in first.items():
            span = sa.and_(takes.c.identity >= f"sha256:{sha256}", takes.c.identity < f"sha256:{sha256}~")
            query = sa.select(takes.c.id, takes.c.identity).where(span, takes.c.superseded_by.is_(None))
            stale += [(row.id, identity) for row in connection.execute(query) if row.identity not in wanted]
    if stale:
        with journal.writing() as connection:
            for take, identity in stale:
                connection.execute(takes.update().where(takes.c.id == take).values(superseded_by=identity))
    return bool(stale)


def exercise_names(journal: Journal) -> dict[str, set[tuple[object, ...]]]:
    """Every name that an exercise has or had, with the details (`strumclock.journal.same.details`) told with it."""
    found: dict[str, set[tuple[object, ...]]] = {}
    with journal.reading() as connection:
        for row in connection.execute(sa.select(exercises).where(exercises.c.name.is_not(None))):
            found.setdefault(row.name, set()).add(details(dict(row._mapping)))
    return found


def set_takes_to_hold(journal: Journal, asked: Mapping[str, int | None]) -> None:
    """How many takes must hold a tempo, by the student's key."""
    with journal.reading() as connection:
        rows = {row.key: row.takes_to_hold for row in connection.execute(sa.select(students))}
    changed = {key: value for key, value in asked.items() if key in rows and rows[key] != value}
    if changed:
        with journal.writing() as connection:
            for key, value in changed.items():
                connection.execute(students.update().where(students.c.key == key).values(takes_to_hold=value))


def set_goals(journal: Journal, wanted: Collection[Goal]) -> None:
    """The tempi wanted; those that are set already change nothing."""
    if wanted:
        with journal.writing() as connection:
            for goal in wanted:
                set_goal(connection, goal.student, dict(goal.exercise), goal.bpm, goal.by)


def same_sound(journal: Journal, identities: Collection[str]) -> tuple[tuple[str, str], ...]:
    """Files that hold a performance that another file holds too: (the file, the earlier one)."""
    other = takes.alias()
    query = sa.select(takes.c.path, other.c.path.label("first")).join(
        other, sa.and_(takes.c.same_sound_as == other.c.identity, takes.c.student_id == other.c.student_id)
    )
    found: set[tuple[str, str]] = set()
    with journal.reading() as connection:
        for part in _parts(identities):
            rows = connection.execute(query.where(takes.c.identity.in_(part)))
            found |= {(row.path, row.first) for row in rows}
    return tuple(sorted(found))


def without_tempo(journal: Journal, identities: Collection[str]) -> set[str]:
    """Those of measured takes whose tempo neither was told nor heard."""
    query = sa.select(takes.c.identity).where(takes.c.bpm.is_(None), takes.c.status == "measured")
    found: set[str] = set()
    with journal.reading() as connection:
        for part in _parts(identities):
            found |= set(connection.execute(query.where(takes.c.identity.in_(part))).scalars())
    return found


def _parts(identities: Collection[str]) -> Iterable[list[str]]:
    every = sorted(identities)
    return (every[start : start + CHUNK] for start in range(0, len(every), CHUNK))
