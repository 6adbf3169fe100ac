"""At which tempo an exercise is set to whom: one for all, or for each their own, from the tempo in their reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from strumclock.errors import UsageError
from strumclock.journal import Journal, plain
from strumclock.weeks import progress


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One student and the tempo to set.

    Attributes
    ----------
    student : str or None
        None: everybody of the folder.
    bpm : float or None
        None: whatever they choose.
    why : str
        ``"told"``, ``"next"`` (from their own takes of this exercise) or ``"none"``: they have none yet.
    """

    student: str | None
    bpm: float | None
    why: str = "told"


def propose(
    journal: Journal, exercise: str, students: Sequence[str], *, otherwise_bpm: float | None = None
) -> tuple[Proposal, ...]:
    """Each student's own next tempo for an exercise.

    Parameters
    ----------
    journal : Journal
    exercise : str
        Its name.
    students : sequence of str
    otherwise_bpm : float, optional
        For whoever has no take of it yet.

    Raises
    ------
    UsageError
        If somebody has no take of it and no tempo is told for that.
    """
    found = []
    known = {plain(name): name for name in journal.students()}
    for name in students:
        weeks = progress(journal, known[plain(name)]).exercises if plain(name) in known else ()
        named = [one for one in weeks if plain(one.label.partition(" (")[0]) == plain(exercise)]
        following = named[0].next_bpm if named else None
        if following is None and otherwise_bpm is None:
            raise UsageError(
                f"a next tempo needs takes of {exercise!r}, but of {name} there is none; tell --bpm for those who begin"
            )
        found.append(
            Proposal(student=name, bpm=following or otherwise_bpm, why="next" if following is not None else "none")
        )
    return tuple(found)
