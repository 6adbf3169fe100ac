"""A class as a folder of pages: an index, a page for each student, a page to see and hear for their last takes.

Works from a folder without a server. What was written before is brought up to date; a file that is not one of these
pages is never written over.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from strumclock.batch.single import told_around
from strumclock.errors import OutputError, StrumclockError
from strumclock.grid import Exercise
from strumclock.journal import Journal
from strumclock.pipeline import measure
from strumclock.report import write_page
from strumclock.report.class_page import class_page, file_names
from strumclock.report.class_text import rows_of
from strumclock.report.page_student import GENERATOR, student_page
from strumclock.saving import write_text
from strumclock.weeks import Progress, progress

STUDENTS, TAKES, INDEX = "students", "takes", "index.html"
_MARK = f'<meta name="generator" content="{GENERATOR}">'
_HEAD_BYTES = 2000  # the mark stands in the page's first lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """What was written.

    Attributes
    ----------
    index : Path
    students, takes : int
        How many pages of each; takes that had theirs already are not counted.
    left_out : tuple of str
        Takes whose page could not be made, and why.
    """

    index: Path
    students: int
    takes: int
    left_out: tuple[str, ...] = ()

    def __str__(self) -> str:
        said = f"{self.index}: {self.students} students, {self.takes} new pages of takes"
        return "\n".join([said, *(f"no page of {one}" for one in self.left_out)])


def write_class_pages(
    journal: Journal,
    folder: str | os.PathLike[str],
    students: Sequence[Progress],
    *,
    title: str = "Class",
    takes: int = 1,
) -> Pages:
    """Write the pages of a class.

    Parameters
    ----------
    journal : Journal
    folder : path
        Where they shall lie; made if it is not there.
    students : sequence of Progress
        In the order in which they shall stand.
    title : str
        Over the class's page.
    takes : int
        How many last takes of each student get a page to see and hear, where their recordings are still there.

    Raises
    ------
    OutputError
        If the folder cannot be made, or a file of another kind stands where a page shall be.
    """
    to = _made(Path(folder))
    names = file_names([one.student for one in students])
    links = [f"{STUDENTS}/{name}" for name in names]
    for page in (to / INDEX, *(to / link for link in links)):
        _check(page)
    made, left_out, answers = 0, [], journal.last_answers()
    for one, link in zip(students, links, strict=True):
        whole = progress(journal, one.student, today=one.today) if one.n_takes else one
        pages, new, problems = _take_pages(journal, whole, to, takes)
        made += new
        left_out += problems
        told = [answers[one.student].text] if one.student in answers else None
        links_of_takes = {take: f"../{page}" for take, page in pages.items()}
        write_text(to / link, student_page(whole, told=told, links=links_of_takes))
    write_text(to / INDEX, class_page(students, rows_of(students, answers=answers), links, title=title))
    return Pages(index=to / INDEX, students=len(students), takes=made, left_out=tuple(left_out))


def _made(folder: Path) -> Path:
    try:
        for place in (folder, folder / STUDENTS, folder / TAKES):
            place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"a folder for the pages must be made at {folder}, but the system said: {error.strerror}"
        ) from None
    return folder


def _check(page: Path) -> None:
    """Refuse to write over a file that is no page of ours."""
    try:
        with open(page, "rb") as file:
            ours = _MARK.encode() in file.read(_HEAD_BYTES)
    except FileNotFoundError:
        return
    except OSError as error:
        raise OutputError(f"{page} must be writable, but the system said: {error.strerror}") from None
    if not ours:
        raise OutputError(
            f"{page} must be a page that strumclock made, but another file stands there; choose another folder"
        )


def _take_pages(journal: Journal, student: Progress, to: Path, most: int) -> tuple[dict[int, str], int, list[str]]:
    """Pages of takes by their numbers, relative to the folder; those that are there stay, the last ones are made."""
    rows = journal.takes(student.student)
    rows = rows[rows["sha256"].notna() & rows["file"].notna() & rows["counts"]]
    pages: dict[int, str] = {}
    made, problems = 0, []
    found = [(int(take), str(sha), str(file)) for take, sha, file in rows[["take", "sha256", "file"]].to_numpy()]
    for place, (take, sha256, file) in enumerate(reversed(found)):
        page = f"{TAKES}/{sha256[:24]}{sha256[64:].replace('#', '-')}.html"
        if (to / page).exists():
            pages[take] = page
            continue
        path = Path(journal.root or ".") / file
        if place >= most or not path.is_file():
            continue
        try:
            around = told_around(path)
            write_page(measure(path, Exercise(**around.told), **around.options), to / page)
        except StrumclockError as error:
            problems.append(f"{file}: {error}")
            continue
        pages[take] = page
        made += 1
    return pages, made, problems
