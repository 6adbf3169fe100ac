"""One student's weeks as a page: what was last said, tempo and causes by week, takes; nobody else's name."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from strumclock.report import html
from strumclock.report.cause_words import cause_name, day
from strumclock.report.page_take import CAUTIONS
from strumclock.report.page_weeks import LEFT, RIGHT, SHOWN_WEEKS, WIDTH, cause_chart, scatter_chart, tempo_chart
from strumclock.report.progress_text import facts, in_short
from strumclock.report.words import count, number
from strumclock.report.writing import check_outputs
from strumclock.saving import write_text

if TYPE_CHECKING:
    from strumclock.report.page_weeks import WeeksChart
    from strumclock.weeks import ExerciseProgress, Point, Progress

GENERATOR = "strumclock"
MOST_TAKES = 200
"""Takes listed, the last ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeRow:
    """One take in the page's list.

    Attributes
    ----------
    day, exercise, bpm, held, scatter : str
    link : str
        To the take's own page; empty where there is none.
    """

    day: str
    exercise: str
    bpm: str
    held: str
    scatter: str
    link: str = ""


def student_page(progress: Progress, *, told: Sequence[str] | None = None, links: dict[int, str] | None = None) -> str:
    """The page as HTML text: nothing in it is fetched from elsewhere.

    Parameters
    ----------
    progress : Progress
        With its single takes: of `strumclock.weeks.progress`, not of a class's list.
    told : sequence of str, optional
        What the student was told last; by default what the weeks say.
    links : dict, optional
        Where the page of a take lies, by the take's number in the journal.
    """
    from strumclock.report.schema import version

    takes = _takes(progress, links or {})
    left_out = f", {progress.n_not_counted} of them not counted" if progress.n_not_counted else ""
    more = f"; the last {MOST_TAKES} are listed" if len(takes) > MOST_TAKES else ""
    last = f"; the last of {day(progress.last_played)}" if progress.last_played else ""
    return html.render(
        "student.html.j2",
        style=style(),
        name=progress.student or "Practice",
        about=f"{count(progress.n_takes, 'take')}{left_out}{last}{more}",
        generator=GENERATOR,
        told=list(told if told is not None else in_short(progress)),
        exercises=[_exercise(exercise, progress.today) for exercise in progress.exercises],
        takes=takes[:MOST_TAKES],
        width=WIDTH,
        left=LEFT,
        right=RIGHT,
        cautions=CAUTIONS,
        footer=f"Made by strumclock {version()} on {progress.today}",
    )


def write_student_page(progress: Progress, path: str | os.PathLike[str], *, told: Sequence[str] | None = None) -> Path:
    """Write the page to a file, whole or not at all."""
    check_outputs({"the page": path})
    return write_text(path, student_page(progress, told=told))


def style() -> str:
    """The one stylesheet of all pages, with what weeks need besides."""
    return html.template("take.css") + html.template("weeks.css")


def _exercise(exercise: ExerciseProgress, today: date) -> dict[str, object]:
    sizes: list[tuple[str, WeeksChart]] = [
        (f"{cause_name(cause)}, {'%' if cause.unit == 'share' else cause.unit.replace('/min', ' a minute')}", drawn)
        for cause in exercise.causes
        if cause.kind != "scatter" and (drawn := cause_chart(cause)).marks
    ]
    scatter = scatter_chart(exercise)
    if scatter is not None:
        sizes.append(("scatter of the strums, ms", scatter))
    shown = f" (the last {SHOWN_WEEKS} weeks with takes)" if len(exercise.weeks) > SHOWN_WEEKS else ""
    return {
        "label": f"{exercise.label[:1].upper()}{exercise.label[1:]}{shown}",
        "tempo": tempo_chart(exercise),
        "sizes": [(title[:1].upper() + title[1:], chart) for title, chart in sizes],
        "facts": facts(exercise, today=today),
    }


def _takes(progress: Progress, links: dict[int, str]) -> list[TakeRow]:
    """The takes that count, the last one first."""
    rows = [(point, exercise.label) for exercise in progress.exercises for point in exercise.points]
    rows.sort(key=lambda row: (row[0].played_on, row[0].take), reverse=True)
    return [
        TakeRow(
            day=day(point.played_on),
            exercise=label.partition(" (")[0],
            bpm="" if point.bpm is None else f"{point.bpm:.4g}",
            held=_held(point),
            scatter="" if point.jitter_ms is None else f"{number(point.jitter_ms)} ms",
            link=links.get(point.take, ""),
        )
        for point, label in rows
    ]


def _held(point: Point) -> str:
    said = {True: "held", False: "not yet", None: "cannot tell"}[point.held]
    return f"{said}, from paper" if point.paper else said
