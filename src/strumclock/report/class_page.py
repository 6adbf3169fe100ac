"""A class as one page: everybody in order of need, with a small line of the weeks and a link to their own page."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from strumclock.report import html
from strumclock.report.page_student import GENERATOR, style
from strumclock.report.page_weeks import SPARK_HEIGHT, SPARK_WIDTH, spark
from strumclock.report.words import count

if TYPE_CHECKING:
    from strumclock.report.class_text import Row
    from strumclock.weeks import Progress


def class_page(students: Sequence[Progress], told: Sequence[Row], links: Sequence[str], *, title: str) -> str:
    """The page as HTML text: nothing in it is fetched from elsewhere, the students' pages lie beside it.

    Parameters
    ----------
    students : sequence of Progress
        In order of need.
    told : sequence of Row
        What is said of each: as in the table that the command prints.
    links : sequence of str
        Where each student's page lies, relative to this one.
    title : str
    """
    from strumclock.report.schema import version

    rows: list[dict[str, Any]] = []
    for progress, said, link in zip(students, told, links, strict=True):
        line, held = spark(progress.exercises[0]) if progress.exercises else ("", ())
        cells = (("why here", said.need), *said.cells())
        rows.append({"name": said.name, "link": link, "cells": cells, "spark": line, "held": held})
    today = f" on {students[0].today}" if students else ""
    return html.render(
        "class.html.j2",
        style=style(),
        title=title,
        about=f"{count(len(students), 'student')}, those first who need the teacher most",
        generator=GENERATOR,
        heads=[head for head, _ in rows[0]["cells"]] if rows else [],
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
