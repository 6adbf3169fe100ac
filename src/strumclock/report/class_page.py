"""A class as one page: everybody in order of need, with a small line of the weeks and a link to their own page."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING

from strumclock.report import html
from strumclock.report.cause_words import cause_trend, day
from strumclock.report.page_weeks import SPARK_HEIGHT, SPARK_WIDTH, spark
from strumclock.report.progress_text import NEED_WORDS
from strumclock.report.student_page import GENERATOR, style
from strumclock.report.words import count

if TYPE_CHECKING:
    from strumclock.weeks import Progress

Cells = Sequence[tuple[str, str]]
"""Headings and texts of one student's row, the same headings for all."""


def class_page(students: Sequence[Progress], cells: Sequence[Cells], links: Sequence[str], *, title: str) -> str:
    """The page as HTML text: nothing in it is fetched from elsewhere, the students' pages lie beside it.

    Parameters
    ----------
    students : sequence of Progress
        In order of need.
    cells : sequence of Cells
        What is said of each: as in the table that the command prints.
    links : sequence of str
        Where each student's page lies, relative to this one.
    title : str
    """
    from strumclock.report.schema import version

    rows = []
    for progress, said, link in zip(students, cells, links, strict=True):
        line, held = spark(progress.exercises[0]) if progress.exercises else ("", ())
        name = progress.student or "(no name)"
        rows.append({"name": name, "link": link, "cells": list(said), "spark": line, "held": held})
    today = f" on {students[0].today}" if students else ""
    return html.render(
        "class.html.j2",
        style=style(),
        title=title,
        about=f"{count(len(students), 'student')}, those first who need the teacher most",
        generator=GENERATOR,
        heads=[head for head, _ in cells[0]] if cells else [],
        rows=rows,
        spark_width=SPARK_WIDTH,
        spark_height=SPARK_HEIGHT,
        footer=f"Made by strumclock {version()}{today}",
    )


def file_names(names: Sequence[str]) -> list[str]:
    """A file's name for each student: plain letters, no two the same, and the same again next week.

    Examples
    --------
    >>> file_names(["Inés Müller", "ines muller", "", "李"])
    ['ines-muller.html', 'ines-muller-2.html', 'student.html', 'student-2.html']
    """
    taken: dict[str, int] = {}
    found = []
    for name in names:
        plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().casefold()
        stem = re.sub("[^a-z0-9]+", "-", plain).strip("-")[:40] or "student"
        taken[stem] = taken.get(stem, 0) + 1
        found.append(f"{stem}-{taken[stem]}.html" if taken[stem] > 1 else f"{stem}.html")
    return found


def cells_of(progress: Progress) -> Cells:
    """What the table says of a student: why they come here, tempo, what stands in the way and its trend, last take."""
    if not progress.exercises:
        return (("stands", NEED_WORDS[progress.need]), ("tempo", ""), ("in the way", ""), ("last take", "none"))
    now = progress.exercises[0]
    held = f"{now.highest_held_bpm:.4g} held" if now.highest_held_bpm is not None else "none held"
    reach = ""
    if now.beyond_bpm is not None:
        reach = ", more in reach"
    elif now.reach is not None:
        reach = f", {now.reach.now.value:.0f} in reach"
    cause = next((c for c in now.causes if c.stands or c.state == "smaller"), None)
    return (
        ("stands", NEED_WORDS[progress.need]),
        ("tempo", f"{held}{reach}"),
        ("in the way", "" if cause is None else cause_trend(cause)),
        ("last take", day(progress.last_played, today=progress.today) if progress.last_played else "none"),
    )
