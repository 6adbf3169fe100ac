"""Who sent what, against what was set, and who is missing; students who were renamed, or of whom nothing came yet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from strumclock.batch.report import Gathered
from strumclock.batch.students import name_of_folder, silent_folders
from strumclock.journal import Journal, plain
from strumclock.journal.renaming import merge_renamed
from strumclock.weeks.assigned import standings

if TYPE_CHECKING:
    from strumclock.batch.cache import KnownTakes
    from strumclock.batch.planning import Planner

SPOKEN_OF = 300
"""Students with something set of whom a batch speaks one by one."""


def gather(
    journal: Journal, planner: Planner, root: str, folders: Mapping[str, str], takes: KnownTakes, new: Mapping[str, int]
) -> tuple[Gathered, ...]:
    """Write down what was set to whom, and see what came of it.

    Parameters
    ----------
    journal : Journal
    planner : Planner
        With the settings of every folder.
    root : str
        Of the batch.
    folders : mapping of str to str
        By each student's name a folder of their recordings.
    takes : KnownTakes
    new : mapping of str to int
        Takes measured now, by the student's name.
    """
    everybody = {name: folder for name, folder in folders.items() if name}
    silent = {}
    for folder in silent_folders(root):
        settings = planner.settings.of(folder)
        name = settings.student or name_of_folder(folder)
        if name is not None and plain(name) not in {plain(one) for one in everybody}:
            silent[name] = folder
    for name, folder in named_in_settings(planner, root).items():
        if plain(name) not in {plain(one) for one in (*everybody, *silent)}:
            silent[name] = folder
    known = {plain(name) for name in journal.students()}
    if fresh := [name for name in silent if plain(name) not in known]:
        journal.add_students(fresh)
    takes.set_assignments(planner.settings, {**everybody, **silent})
    merge_renamed(journal, takes.moves, {plain(name) for name in (*everybody, *silent)})
    listed = set(journal.students())
    today = date.today()
    found: list[Gathered] = []
    for name in sorted({**everybody, **silent, **dict.fromkeys(new, "")}, key=str.casefold):
        past = journal.since_set(name) if name in listed and len(found) < SPOKEN_OF else None
        if past is not None and past.assignments:
            last = standings(past.assignments, past.takes, past.exercises)[0]
            at = "" if last.assignment.bpm is None else f" at {last.assignment.bpm:.4g}"
            label = f"{last.assignment.exercise.get('name') or last.assignment.label}{at}"
            state, due = last.state(today), last.assignment.due_on
            found.append(Gathered(student=name, new=new.get(name, 0), exercise=label, state=state, due_on=due))
        elif new.get(name):
            found.append(Gathered(student=name, new=new[name]))
    return tuple(found)


def named_in_settings(planner: Planner, root: str) -> dict[str, str]:
    """Students whom an assignment of the batch's folder names, and who need not have a folder yet."""
    told = planner.settings.of(root.rstrip("/"))
    return {student: root.rstrip("/") for one in told.assignments for student in one.students or ()}
