"""The commands that keep the practice record: batch, note, forget; and demo, which makes one to look around in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from strumclock.cli.journals import JOURNAL, day, only_student, open_journal
from strumclock.cli.live import progress_line
from strumclock.cli.options import FILE, FOLDER
from strumclock.cli.saying import say
from strumclock.errors import UsageError, printable


@click.command("batch", short_help="Measure what is new in a folder, into the practice record.")
@click.argument("folder", type=FOLDER)
@JOURNAL
@click.option("--workers", type=click.IntRange(1), help="Takes at a time. [all cores]")
@click.option("--standard", help="What counts as held: first-weeks, steady or tight.")
@click.option("--changes/--no-changes", default=None, help="Find chord changes too.")
@click.option("--tuning/--no-tuning", default=None, help="Tell the pitch too.")
@click.option("--scheduler", metavar="tcp://…", help="Hand the takes to a Dask cluster (extra strumclock[cluster]).")
@click.option(
    "--import",
    "pages",
    multiple=True,
    metavar="CSV",
    type=FILE,
    help="Add a page kept on paper: date, exercise, tempo.",
)
@click.option("--student", help="Whose page it is, for --import.")
@click.option("--copy", is_flag=True, help="Write the record as a table too where it has more than 5,000 takes.")
def batch_command(
    folder: str, scheduler: str | None, journal: str | None, pages: tuple[str, ...], student: str | None, **told: Any
) -> int:
    """Measure what is new in FOLDER and below, and write it into the practice record."""
    from strumclock.batch import measure_folder

    with _executor(scheduler) as (executor, at_a_time), progress_line() as bar:
        told["workers"] = told["workers"] or at_a_time
        done = measure_folder(folder, journal=journal, executor=executor, progress=bar, **told)
    say(str(done))
    for page in pages:
        with open_journal(journal or folder, writes=True, create=True) as book:
            say(str(book.import_csv(page, student=student)))
    return 0 if done.ok else 1


@click.command("note", short_help="Add a remark; correct or exclude a take by hand.")
@click.argument("folder", type=FOLDER)
@click.argument("text")
@JOURNAL
@click.option("--student", help="Whose; may be left out where the record has one student.")
@click.option("--exercise", help="Which exercise the remark is about.")
@click.option("--take", help="The take that the remark is about (its file name).")
@click.option("--exclude", is_flag=True, help="Leave the take out of all progress; TEXT is the reason.")
@click.option("--include", is_flag=True, help="Count the take again.")
@click.option(
    "--correct", metavar="FIELD", help="Correct a field of the take (bpm, date, exercise, …); TEXT is its value."
)
@click.option("--on", metavar="YYYY-MM-DD", help="The day of the remark. [today]")
def note_command(
    folder: str,
    text: str,
    journal: str | None,
    student: str | None,
    exercise: str | None,
    take: str | None,
    exclude: bool,
    include: bool,
    correct: str | None,
    on: str | None,
) -> None:
    """Add a remark TEXT to the practice record of FOLDER, or correct or exclude a take by hand."""
    from strumclock.batch import note_take

    if take is None and (exclude or include or correct):
        raise UsageError("--exclude, --include and --correct need --take, the file name of the take; add it")
    if sum((exclude, include, correct is not None)) > 1:
        raise UsageError("--exclude, --include and --correct are one thing each, but more than one came; tell one")
    with open_journal(journal or folder, writes=True) as book:
        if take is None:
            owner = only_student(book, student)
            book.note(owner, text, exercise=exercise, on=day(on))
            say(f"Remark about {printable(owner)} written.")
            return
        if exclude or include:
            field, value = "excluded", None if include else text
        else:
            field, value = correct or "remark", text
        say(str(note_take(book, take, field, value, folder=folder)))


@click.command("forget", short_help="Delete what the practice record holds of a student.")
@click.argument("folder", type=FOLDER)
@click.argument("student")
@JOURNAL
@click.option("--files", is_flag=True, help="Delete the student's own folders too, recordings and all.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def forget_command(folder: str, student: str, journal: str | None, files: bool, yes: bool) -> None:
    """Delete all that the practice record of FOLDER holds of STUDENT. The recordings stay, unless --files is told."""
    with open_journal(journal or folder, writes=True) as book:
        if not yes:
            click.confirm(
                f"Delete every take, note and goal of {printable(student)} from {book}?", abort=True, err=True
            )
            found = book.traces(student) if files else None
            for own in found.folders if found else ():
                question = f"Delete the folder {printable(str(own))} with all that is in it?"
                click.confirm(question, abort=True, err=True)
        say(str(book.forget(student, files=files)))


@click.command("demo", short_help="Build an invented class in a folder and run all of it.")
@click.argument("folder", default="strumclock-demo", type=FOLDER)
@click.option("--workers", type=click.IntRange(1), help="Takes at a time. [all cores]")
def demo_command(folder: str, workers: int | None) -> None:
    """Build an invented evening class of four over ten weeks in FOLDER, and run the whole of it."""
    from strumclock.demo import build_demo

    with progress_line() as bar:
        say(str(build_demo(Path(folder), workers=workers, progress=bar)))


@contextmanager
def _executor(scheduler: str | None) -> Iterator[tuple[Any, int | None]]:
    """A Dask cluster's executor and how many takes it measures at a time; None of either without a cluster."""
    if scheduler is None:
        yield None, None
        return
    from strumclock.batch import cluster_executor

    with cluster_executor(scheduler) as found:
        yield found
