"""What was set to students and what they were answered, in the journal."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import date
from pathlib import Path

import pytest

from strumclock.errors import UsageError
from strumclock.journal import Answer, Assignment, Journal, places
from strumclock.weeks.assigned import standings

TWO_CHORDS = {"name": "Two chords", "chords": "A D", "beats_per_change": 4.0}
MONDAY, SUNDAY = date(2026, 11, 23), date(2026, 11, 29)


def assignment(student: str = "Ines", **changed: object) -> Assignment:
    told = {"student": student, "exercise": TWO_CHORDS, "bpm": 72.0, "given_on": MONDAY, "due_on": SUNDAY, **changed}
    return Assignment(**told)  # type: ignore[arg-type]


def answer(text: str = "Well played.", **changed: object) -> Answer:
    return Answer(**{"student": "Ines", "text": text, "said": ("held",), "written_on": SUNDAY, **changed})  # type: ignore[arg-type]


def test_an_assignment_is_read_as_it_was_written_and_twice_is_once(tmp_path):
    """Against what was written; a student who has sent nothing appears with it."""
    journal = Journal(tmp_path)
    for _ in range(2):
        journal.assign([assignment(), assignment("Tom", bpm=None, due_on=None)])
    found = journal.assignments()
    assert [(a.student, a.bpm, a.given_on, a.due_on, dict(a.exercise)) for a in found] == [
        ("Ines", 72.0, MONDAY, SUNDAY, TWO_CHORDS),
        ("Tom", None, MONDAY, None, TWO_CHORDS),
    ]
    assert journal.students() == ("Ines", "Tom")
    assert [a.student for a in journal.assignments("tom")] == ["Tom"]


def test_an_assignment_of_the_same_day_is_brought_to_the_new_tempo(tmp_path):
    """One row for a student, an exercise and a day."""
    journal = Journal(tmp_path)
    journal.assign([assignment()])
    journal.assign([assignment(bpm=66.0)])
    assert [a.bpm for a in journal.assignments()] == [66.0]


def test_replacing_deletes_only_what_the_same_students_had(tmp_path):
    """Tom's stays: nothing was told of him."""
    journal = Journal(tmp_path)
    journal.assign([assignment(), assignment("Tom")])
    journal.assign([assignment(given_on=SUNDAY, due_on=None)], replace=True)
    assert [(a.student, a.given_on) for a in journal.assignments()] == [("Tom", MONDAY), ("Ines", SUNDAY)]


@pytest.mark.parametrize("changed", [{"due_on": date(2026, 11, 22)}, {"bpm": 4000.0}])
def test_an_impossible_assignment_is_refused(changed):
    """Due before it is given; no tempo that anybody plays."""
    with pytest.raises(UsageError):
        assignment(**changed)


def test_an_answer_that_was_not_sent_gives_way_to_one_of_the_same_day_and_one_that_was_sent_stays(tmp_path):
    """Two drafts leave one; after sending the next is another."""
    journal = Journal(tmp_path)
    journal.keep_answer(answer("First."))
    number = journal.keep_answer(answer("Second."))
    journal.mark_sent(number, text="By hand.", on=SUNDAY)
    journal.keep_answer(answer("Third.", said=("late", "next")))
    found = journal.answers("Ines")
    assert [(a.text, a.said, a.sent_on) for a in found] == [
        ("By hand.", ("held",), SUNDAY),
        ("Third.", ("late", "next"), None),
    ]
    with pytest.raises(UsageError, match="number 999"):
        journal.mark_sent(999)


def test_forgetting_a_student_takes_assignments_and_answers_along(tmp_path):
    """Nothing of the name is left in the file (SQLite's secure delete)."""
    journal = Journal(tmp_path)
    journal.assign([assignment(), assignment("Tom")])
    journal.keep_answer(answer())
    journal.forget("Ines")
    assert [a.student for a in journal.assignments()] == ["Tom"]
    assert journal.answers() == ()
    assert b"Ines" not in (tmp_path / places.FILE_NAME).read_bytes()


def test_a_journal_of_version_3_is_migrated_and_loses_nothing(tmp_path):
    """`data/journal_version_3.sqlite` was written by the last version without assignments (517bda4)."""
    shutil.copy(Path(__file__).parent / "data" / "journal_version_3.sqlite", tmp_path / places.FILE_NAME)
    journal = Journal(tmp_path)
    past = journal.history("Ines")
    assert [(take.bpm, take.played_on.isoformat()) for take in past.takes if take.played_on] == [
        (80, "2026-01-05"),
        (82, "2026-01-12"),
        (85, "2026-01-19"),
    ]
    assert [practised.goal_bpm for practised in past.exercises.values()] == [100]
    assert journal.notes("Ines").text.tolist() == ["brought the other guitar"]
    assert len(journal.strums(1)) > 0
    journal.assign([assignment(exercise={"name": "Two chords", "chords": "A D"})])
    assert journal.assignments()[0].exercise_id in past.exercises
    with sqlite3.connect(tmp_path / places.FILE_NAME) as raw:
        assert raw.execute("SELECT value FROM meta WHERE key = 'version'").fetchone() == ("4",)
    raw.close()


def test_what_was_set_last_comes_with_the_takes_since_and_stands_as_in_the_whole_history(tmp_path):
    """Against the plain way: the last standing from the whole history is the one from what a batch reads."""
    journal = Journal(tmp_path)
    rows = ["student,date,exercise,tempo,held"]
    rows += [f"Ines,2026-03-{day:02d},two chords,{60 + day},{'yes' if day % 2 else 'no'}" for day in range(1, 21)]
    (tmp_path / "page.csv").write_text("\n".join(rows))
    journal.import_csv(tmp_path / "page.csv")
    assert journal.since_set("Ines").assignments == ()
    told = {"name": "two chords"}
    journal.assign([assignment(exercise=told, bpm=70, given_on=date(2026, 3, day), due_on=None) for day in (2, 9, 16)])
    whole, part = journal.history("Ines"), journal.since_set("Ines")
    assert len(part.takes) == 5
    expected = standings(whole.assignments, whole.takes, whole.exercises)[0]
    assert standings(part.assignments, part.takes, part.exercises)[0] == expected
    assert expected.met_on == date(2026, 3, 17)
