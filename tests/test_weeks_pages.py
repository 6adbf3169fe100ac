"""The pages of a class and its students: what is on them, what may not be, what is never written over."""

from __future__ import annotations

import re
import shutil
from datetime import date, timedelta
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from practice import take_json

from strumclock.batch.pages import write_class_pages
from strumclock.errors import OutputError
from strumclock.journal import Journal, TakeEntry
from strumclock.report.page_student import student_page
from strumclock.report.page_weeks import BOTTOM, LOW, TALL, TOP, cause_chart, scatter_chart, tempo_chart
from strumclock.weeks import class_list, exercise_progress, progress
from strumclock.weeks.causes import Cause
from strumclock.weeks.week import Point, Span

START = date(2026, 9, 21)
TODAY = date(2026, 11, 28)
NAMES = ("Ines", "Joris <b>x</b>", "Wren & Co")
REFERENCE = Path(__file__).parents[1] / "reference_audio" / "steady.flac"


@pytest.fixture(scope="module")
def school(tmp_path_factory) -> Journal:
    """Three students over six weeks; one recording of Ines is there."""
    folder = tmp_path_factory.mktemp("class")
    journal = Journal(folder)
    shutil.copy(REFERENCE, folder / "last.flac")
    for k, name in enumerate(NAMES):
        for week in range(6):
            last = name == "Ines" and week == 5
            journal.record(
                TakeEntry(
                    identity="sha256:" + f"{k}{week}".ljust(64, "0"),
                    student=name,
                    played_on=START + timedelta(weeks=week),
                    path="last.flac" if last else f"{k}-{week}.wav",
                    measurement=take_json(bpm=70 + 2 * week, seed=10 * k + week, margin=0.9),
                    exercise={"name": "<i>Two</i> chords", "chords": "A D"},
                )
            )
    return journal


class Links(HTMLParser):
    """Every link and every element of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.hrefs: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.hrefs += [value or "" for name, value in attrs if name in ("href", "src")]


def test_the_pages_of_a_class_lead_to_each_other_and_to_the_takes(school, tmp_path):
    """Every link is a file beside; the take whose recording is there has its page, the others none."""
    made = write_class_pages(school, tmp_path / "pages", class_list(school, today=TODAY), title="Evening")
    assert (made.students, made.takes, made.left_out) == (3, 1, ())
    index = Links(made.index.read_text())
    assert len(index.hrefs) == 3
    of_takes = []
    for href in index.hrefs:
        page = made.index.parent / href
        of_takes += [page.parent / link for link in Links(page.read_text()).hrefs]
    assert len(of_takes) == 1
    assert of_takes[0].resolve().is_file()


def test_a_second_run_makes_only_what_is_new(school, tmp_path):
    """The take's page stays, byte for byte, and is linked again."""
    students = class_list(school, today=TODAY)
    write_class_pages(school, tmp_path, students)
    (page,) = (tmp_path / "takes").iterdir()
    before = page.read_bytes()
    assert write_class_pages(school, tmp_path, students).takes == 0
    assert page.read_bytes() == before
    assert f"../takes/{page.name}" in (tmp_path / "students" / "ines.html").read_text()


def test_a_students_page_names_nobody_else_and_runs_nothing(school):
    """No other name, no script, no element from a name, and a policy that allows the page's own style alone."""
    for name in NAMES:
        text = student_page(progress(school, name, today=TODAY))
        for other in set(NAMES) - {name}:
            assert other.split()[0] not in text
        assert Links(text).tags.isdisjoint({"script", "b", "i", "img", "iframe", "object"})
        policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
        assert policy is not None
        assert policy.group(1).replace("&#39;", "'").startswith("default-src 'none'; style-src 'sha256-")
        assert "script-src" not in policy.group(1)


def test_a_file_of_another_kind_is_not_written_over(school, tmp_path):
    """Somebody's own index.html stays as it was, and nothing else is written."""
    (tmp_path / "index.html").write_text("<p>my school</p>")
    with pytest.raises(OutputError, match="another file stands there"):
        write_class_pages(school, tmp_path, class_list(school, today=TODAY))
    assert (tmp_path / "index.html").read_text() == "<p>my school</p>"
    assert list((tmp_path / "students").iterdir()) == []


def test_an_empty_class_has_a_page_that_says_so(tmp_path):
    """No row, a sentence."""
    made = write_class_pages(Journal(tmp_path), tmp_path / "pages", ())
    assert "Nobody is in the practice record yet." in made.index.read_text()


def points(tempi: list[float], held: list[bool]) -> list[Point]:
    return [
        Point(take=2 * w + k, played_on=START + timedelta(weeks=w), bpm=bpm, held=ok, margin=0.95 if ok else 1.3)
        for w, (bpm, ok) in enumerate(zip(tempi, held, strict=True))
        for k in range(2)
    ]


def test_a_faster_tempo_stands_higher_and_a_later_week_further_right():
    """Arithmetic of the drawing: equal steps of tempo and time are equal steps in it, inside the frame."""
    chart = tempo_chart(exercise_progress("x", points([70, 72, 74, 76], [True] * 4), goal_bpm=90))
    assert chart is not None
    held = [mark for mark in chart.marks if mark.kind == "held"]
    across = [b.x - a.x for a, b in pairwise(held)]
    up = [a.y - b.y for a, b in pairwise(held)]
    assert across == pytest.approx([across[0]] * 3)
    assert up == pytest.approx([up[0]] * 3)
    assert across[0] > 0
    assert up[0] > 0
    assert chart.level is not None
    assert TOP <= chart.level < min(mark.y for mark in held)
    assert all(TOP <= mark.y <= TALL - BOTTOM for mark in chart.marks)
    assert "from 70 bpm in 2026-W39 to 76 bpm in 2026-W42" in chart.said


def test_held_and_not_held_weeks_have_marks_of_their_own():
    """Two weeks held, one not: by construction."""
    chart = tempo_chart(exercise_progress("x", points([70, 72, 80], [True, True, False])))
    assert chart is not None
    assert [mark.kind for mark in chart.marks] == ["held", "held", "not-held"]


def test_a_cause_is_drawn_on_its_own_side_of_the_click():
    """Early is below the line of zero, and shares are told in per cent."""
    weeks = tuple((START + timedelta(weeks=w), -50.0 - 10 * w) for w in range(4))
    ahead = Cause(
        kind="drift", where="", unit="ms/min", weeks=weeks, state="larger", stands=True,
        first=Span(value=-50, low=-60, high=-40), now=Span(value=-80, low=-90, high=-70),
    )  # fmt: skip
    chart = cause_chart(ahead)
    assert chart.level is not None
    assert all(mark.y > chart.level for mark in chart.marks)
    assert all(TOP - 1 <= mark.y <= LOW - BOTTOM + 1 for mark in chart.marks)
    assert chart.said.startswith("pulling ahead: ")


def test_scatter_of_one_week_is_no_picture():
    """A single value shows no course."""
    found = exercise_progress("x", [Point(take=1, played_on=START, bpm=70, held=True, jitter_ms=12.0)])
    assert scatter_chart(found) is None
