"""The command that sets an exercise: assign."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from strumclock.cli.journals import JOURNAL, day
from strumclock.cli.options import FOLDER, options_of, take_out
from strumclock.cli.saying import say
from strumclock.errors import UsageError
from strumclock.grid import Exercise


@click.command("assign", short_help="Set an exercise: into the settings, with a click track and a sheet to send.")
@click.argument("exercise")
@click.option(
    "--to", "folder", required=True, metavar="FOLDER", type=FOLDER, help="The class's folder, or one student's."
)
@click.option("--students", metavar="NAMES", help='Only to these: "Ines, Tom". [everybody of the folder]')
@click.option("--due", metavar="YYYY-MM-DD", help="The day by which it shall come.")
@click.option("--given", metavar="YYYY-MM-DD", help="The day from which it counts. [today]")
@click.option("--next", "following", is_flag=True, help="Each student's own next tempo; --bpm for those who begin.")
@click.option("--track", default="m4a", show_default=True, help="The click track's kind: m4a, mp3 or wav.")
@click.option("--language", help="Of the sheet: en, de, or a compiled catalogue.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@JOURNAL
@options_of(Exercise)
def assign_command(
    exercise: str,
    folder: str,
    students: str | None,
    due: str | None,
    given: str | None,
    following: bool,
    track: str,
    language: str | None,
    yes: bool,
    journal: str | None,
    **told: Any,
) -> None:
    """Set EXERCISE to the students of a folder: its options are told once, then its name is enough."""
    from strumclock.assignments import Proposal, assign
    from strumclock.assignments.making import told as proposal_words
    from strumclock.report.language import ENGLISH, language_of

    set_exercise = replace(take_out(Exercise, told), name=exercise)
    names = [" ".join(name.split()) for name in students.split(",") if name.strip()] if students is not None else None
    if names == []:
        raise UsageError('--students needs names, such as "Ines, Tom", but none came; name them or leave it out')
    bpm = set_exercise.bpm
    if following:
        proposals = _own_tempi(journal or folder, folder, exercise, names, bpm)
        for one in proposals:
            say(proposal_words(one))
        if not yes:
            click.confirm("Set it so?", abort=True, err=True)
    else:
        proposals = (
            tuple(Proposal(student=name, bpm=bpm) for name in names) if names else (Proposal(student=None, bpm=bpm),)
        )
    spoken = ENGLISH if language is None else language_of(language)
    made = assign(folder, set_exercise, proposals, given=day(given), due=day(due), track=track, language=spoken)
    say(str(made))


def _own_tempi(where: str, folder: str, exercise: str, names: list[str] | None, bpm: float | None) -> Any:
    """Each student's own next tempo."""
    from strumclock.assignments import propose
    from strumclock.assignments.settings import students_of
    from strumclock.journal import Journal

    if not Path(folder).is_dir():
        raise UsageError(f"--to must be a class's folder, but {folder} is none; make it first")
    book = Journal(where)
    everybody = names if names is not None else students_of(Path(folder), book.students_below(folder))
    if not everybody:
        raise UsageError(f"--next needs students, but {folder} has none yet; make a folder for each, or leave it out")
    return propose(book, exercise, everybody, otherwise_bpm=bpm)
