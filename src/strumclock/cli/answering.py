"""The command that writes to the students: answer."""

from __future__ import annotations

import os
from datetime import date

import click

from strumclock.cli.journals import JOURNAL, day as day_of, open_journal
from strumclock.cli.options import FILE, FOLDER
from strumclock.cli.saying import say
from strumclock.errors import UsageError, printable


@click.command("answer", short_help="Write to each student: what got better, the one thing, what to do next.")
@click.argument("folder", default=".", type=FOLDER)
@JOURNAL
@click.option("--students", metavar="NAMES", help="Only these, with commas between. [everybody with a take in FOLDER]")
@click.option("--language", metavar="CODE|F.mo", help="en, de, or a catalogue of your own. [practice.toml's, else en]")
@click.option("--to", metavar="F", type=FILE, help="The text file to edit and send. [answers-DATE.txt in FOLDER]")
@click.option(
    "--sent", metavar="F", type=FILE, help="Write down that the answers of this file were sent, as they stand there."
)
@click.option("--on", metavar="YYYY-MM-DD", help="The day of writing or sending. [today]")
def answer_command(
    folder: str,
    journal: str | None,
    students: str | None,
    language: str | None,
    to: str | None,
    sent: str | None,
    on: str | None,
) -> None:
    """Write at most three sentences to each student of FOLDER, into a text file and the practice record."""
    from strumclock import report
    from strumclock.batch.settings import SettingsFiles

    if sent is not None and (to is not None or students is not None):
        raise UsageError("--sent names the file that was sent and needs no --to or --students; leave them out")
    day = day_of(on) or date.today()
    with open_journal(journal or folder, writes=True) as book:
        if sent is not None:
            say(str(report.mark_sent(book, sent, on=day)))
            return
        names = book.students_below(folder) if students is None else [name.strip() for name in students.split(",")]
        if not names:
            raise UsageError(
                "a folder must have recordings below it of somebody in the practice record, but "
                f"{printable(folder)} has none; measure it with batch, or name --students"
            )
        told = language or SettingsFiles().of(os.path.abspath(folder)).language
        path = to or os.path.join(folder, f"answers-{day.isoformat()}.txt")
        said, standing = report.answer_students(book, path, names, language=told, today=day)
    say(report.as_blocks(said, standing))
    say(f"\nwritten to {printable(path)}: edit it, send it, then: strumclock answer {printable(folder)} --sent …")
