"""Exercises that practice.toml calls otherwise than the files that were recorded before.

A file is called after its exercise when it is recorded. When practice.toml gives the exercise another name later, the
old files still have the old one; the journal knows what that name meant.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from strumclock.batch.settings import KnownExercise, Settings
from strumclock.errors import UsageError
from strumclock.grid import Exercise
from strumclock.journal import plain
from strumclock.journal.entry import exercise_row

Former = Mapping[str, Collection[tuple[object, ...]]]
"""Names that the journal's exercises have or had, with the details told with each."""


def former_names(settings: Settings, exercise: KnownExercise, former: Former) -> tuple[str, ...]:
    """Names under which the journal has an exercise of practice.toml: the same details, and no other's name now.

    Parameters
    ----------
    settings : Settings
        All the exercises of the folder.
    exercise : KnownExercise
        One of them.
    former : mapping
    """
    if not former:
        return ()
    mine = _details(settings, exercise)
    if mine is None or any(
        one is not exercise and _details(settings, one) == mine for one in settings.exercises.values()
    ):
        return ()
    return tuple(name for name, told in former.items() if mine in told and settings.exercise(name) is None)


def named_so(known: Mapping[str, Iterable[str]], wanted: str) -> str | None:
    """The exercise that has a name among its other names; None where none or several have."""
    fits = [name for name, others in known.items() if plain(wanted) in {plain(other) for other in others}]
    return fits[0] if len(fits) == 1 else None


def _details(settings: Settings, exercise: KnownExercise) -> tuple[object, ...] | None:
    """An exercise's details as the journal has them; None where too little is told to know it by."""
    from strumclock.journal.same import TELLING, details  # the database's package, which one take can spare

    told = {**settings.told, **exercise.told}
    try:
        whole = Exercise(**told)
    except UsageError:
        return None
    row = exercise_row({name: getattr(whole, name) for name in told})
    return details(row) if any(row[field] is not None for field in TELLING) else None
