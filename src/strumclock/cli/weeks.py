"""The commands that show weeks: progress, class."""

from __future__ import annotations

import sys

import click

from strumclock.cli.journals import JOURNAL, day, only_exercise, only_student, open_journal
from strumclock.cli.options import FILE, FOLDER
from strumclock.cli.saying import columns, say
from strumclock.errors import UsageError


@click.command("progress", short_help="The weeks of one student: tempo held, trend, what next.")
@click.argument("folder", default=".", type=FOLDER)
@JOURNAL
@click.option("--student", help="Whose weeks; may be left out where FOLDER is one student's.")
@click.option("--exercise", help="Only this one.")
@click.option("--goal", "goal_bpm", type=float, help="Set the tempo to reach in --exercise.")
@click.option("--by", metavar="YYYY-MM-DD", help="The day to reach it by.")
@click.option("--takes-to-hold", type=click.IntRange(1), help="Takes of a week that must hold a tempo. [2]")
@click.option("--plot", "plot_to", metavar="F", type=FILE, help="Write the picture (png, svg, pdf).")
@click.option("--page", "page_to", metavar="F", type=FILE, help="Write one self-contained web page.")
@click.option("--csv", "csv_to", metavar="F", type=FILE, help="Write the weeks as a table.")
def progress_command(
    folder: str,
    journal: str | None,
    student: str | None,
    exercise: str | None,
    goal_bpm: float | None,
    by: str | None,
    takes_to_hold: int | None,
    plot_to: str | None,
    page_to: str | None,
    csv_to: str | None,
) -> None:
    """What the weeks of one student show: tempo held, trend, plateau, time to the goal, what to try next."""
    from strumclock import report
    from strumclock.weeks import progress

    if by is not None and goal_bpm is None:
        raise UsageError("--by is the day to reach a goal by and needs --goal, the tempo; got a day alone; add it")
    outputs = report.Outputs(reads=(journal,), plot=plot_to, page=page_to, csv=csv_to)
    with open_journal(journal or folder, writes=goal_bpm is not None) as book:
        if book.students():
            student = only_student(book, student, folder if journal is None or folder != "." else None)
        if goal_bpm is not None and student is not None:
            book.set_goal(student, only_exercise(book, student, exercise), goal_bpm, by=day(by))
        found = progress(book, student, exercise, takes_to_hold=takes_to_hold)
        told = [answer.text for answer in book.answers(found.student, last=1)] or None
    if plot_to is not None:
        report.write_progress_plot(found, plot_to)
    if page_to is not None:
        report.write_student_page(found, page_to, told=told)
    if csv_to is not None:
        outputs.write_table(found.to_frame())
    say(report.progress_summary(found))


@click.command("class", short_help="Every student in order of need: tempo, what was set, what stands in the way.")
@click.argument("folder", default=".", type=FOLDER)
@JOURNAL
@click.option("--exercise", help="Only who practises this one now.")
@click.option("--since", metavar="YYYY-MM-DD", help="Only who has played on that day or later.")
@click.option("--missing", is_flag=True, help="Only from whom an exercise is missing or still awaited.")
@click.option("--takes-to-hold", type=click.IntRange(1), help="Takes of a week that must hold a tempo. [2]")
@click.option("--plot", "plot_to", metavar="F", type=FILE, help="Write the sheet of all students (png, svg, pdf).")
@click.option(
    "--page", "pages_to", metavar="DIR", type=FOLDER, help="Write web pages: the class, each student, their last takes."
)
@click.option("--takes", type=click.IntRange(0), default=1, show_default=True, help="Last takes with a page of theirs.")
@click.option("--csv", "csv_to", metavar="F", type=FILE, help="Write the class as a table of numbers.")
def class_command(
    folder: str,
    journal: str | None,
    exercise: str | None,
    since: str | None,
    missing: bool,
    takes_to_hold: int | None,
    plot_to: str | None,
    pages_to: str | None,
    takes: int,
    csv_to: str | None,
) -> None:
    """The students of FOLDER in order of need: stuck, falling, silent, hard to measure, held up by the same thing."""
    from strumclock import report
    from strumclock.weeks import class_frame, class_list

    outputs = report.Outputs(reads=(journal,), plot=plot_to, csv=csv_to)  # refuses before anything is read
    with open_journal(journal or folder) as book:
        students = class_list(
            book, takes_to_hold=takes_to_hold, below=folder, exercise=exercise, since=day(since), missing=missing
        )
        answers, everybody = book.last_answers(), book.students()
        if pages_to is not None:
            from strumclock.batch.pages import write_class_pages

            say(str(write_class_pages(book, pages_to, students, takes=takes)))
    if plot_to is not None:
        report.write_class_plot(students, plot_to)
    if csv_to is not None:
        outputs.write_table(class_frame(students))
    if not students and everybody:
        say("Nobody fits what was asked for.")
    else:
        say(report.class_table(students, answers=answers, width=columns(), plain=not _has_blocks()))


def _has_blocks() -> bool:
    """Whether what reads standard output can show more than ASCII."""
    try:
        "▁·×…→".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
