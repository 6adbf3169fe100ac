"""Exercises are the same if their names agree, or chords, beats per change, pattern and meter do."""

from __future__ import annotations

import itertools
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, strategies as st
from practice import recording, take_json
from test_batch_folder import batch

from strumclock.cli import main
from strumclock.errors import UsageError
from strumclock.journal import Assignment, Journal, TakeEntry
from strumclock.journal.same import DETAILS, same_exercises
from strumclock.weeks import progress

AD = {"name": "two chords", "chords": ["A", "D"], "beats_per_change": 4}
DAY = date(2026, 3, 2)


def row(number: int, name: str | None, chords: str | None = None, beats: float | None = None, **more: Any) -> Any:
    empty = dict.fromkeys(("meter", "per_beat", "pattern"))
    return {"id": number, "name": name, "chords": chords, "beats_per_change": beats, **empty, **more}


def ids(*rows: Any) -> list[tuple[int, ...]]:
    return [one.ids for one in same_exercises(rows)]


def take(journal: Journal, number: int, exercise: dict[str, Any], day: int = 2) -> None:
    """A take of Ines's."""
    measured = take_json(seed=number, exercise={**exercise, "bpm": 60.0 + number})
    on = date(2026, 3, day)
    told = {**exercise, "bpm": 60.0 + number}
    entry = {"identity": f"sha256:{number:02d}", "student": "Ines", "exercise": told, "measurement": measured}
    journal.record(TakeEntry(**entry, played_on=on, date_source="told", path=f"{number}.wav"))


@pytest.mark.parametrize(
    ("rows", "same"),
    [
        ([row(1, "two chords", "A D", 4.0), row(2, " Two Chords")], [(1, 2)]),
        ([row(1, "two chords", "A D", 4.0), row(2, "first piece", "A D", 4.0)], [(1, 2)]),
        ([row(1, "two chords", "A D", 4.0), row(2, "two chords", "A D", 2.0)], [(1,), (2,)]),
        ([row(1, "two chords", "A D", 4.0), row(2, "two chords", "A E", 4.0)], [(1,), (2,)]),
        ([row(1, "a", meter="4/4"), row(2, "b", meter="4/4")], [(1,), (2,)]),
        ([row(1, "x", "A D", 4.0), row(2, "x", "A D", 2.0), row(3, "x")], [(1,), (2,), (3,)]),
        ([row(1, None, "A D", 4.0), row(2, "x", "A D", 4.0), row(3, "x")], [(1, 2, 3)]),
        ([row(1, "x", "A D", 4.0, per_beat=1), row(2, "y", "A D", 4.0, per_beat=2)], [(1,), (2,)]),
    ],
    ids=["name", "details", "other beats per change", "other chords", "only a meter", "fits two", "chain", "parts"],
)
def test_two_rows_are_one_exercise_by_name_or_by_details_unless_they_differ(rows, same):
    """By the issue's rule, and DESIGN's: a change every bar and one every other bar are two exercises."""
    assert ids(*rows) == same


VALUES = st.tuples(
    st.sampled_from([None, "x", "y"]), st.sampled_from([None, "A", "G"]), st.sampled_from([None, 2.0, 4.0])
)


@given(st.lists(VALUES, max_size=7))
def test_no_exercise_tells_two_things_and_no_row_is_lost(told):
    """Property: a partition of the rows, in which nothing that is told differs."""
    rows = [row(number, *values) for number, values in enumerate(told)]
    found = same_exercises(rows)
    assert sorted(i for one in found for i in one.ids) == list(range(len(rows)))
    for one in found:
        for a, b in itertools.combinations(one.rows, 2):
            assert not any(a[f] is not None and b[f] is not None and a[f] != b[f] for f in DETAILS)


def test_a_page_kept_on_paper_joins_the_takes_of_its_name(tmp_path):
    """Issue: paper rows join; the weeks are of one exercise, and it can be called by its name alone."""
    journal = Journal(tmp_path)
    take(journal, 20, AD, day=9)
    (tmp_path / "page.csv").write_text("student,date,exercise,tempo,held\nInes,2026-03-02,Two Chords,70,yes\n")
    journal.import_csv(tmp_path / "page.csv")
    (weeks,) = progress(journal, "Ines", "two chords", today=date(2026, 3, 12)).exercises
    assert [point.paper for point in weeks.points] == [True, False]
    assert "A D, every 4 beats" in weeks.label
    assert len(journal.takes("Ines", "two chords")) == 2
    assert len(journal.exercises("Ines")) == 1


def test_an_exercise_under_a_new_name_keeps_its_takes_goal_and_assignment(tmp_path):
    """Issue: a rename keeps the history; it is called as it was called last, and both names find it."""
    journal = Journal(tmp_path)
    take(journal, 1, AD)
    journal.set_goal("Ines", "two chords", 90)
    journal.assign([Assignment(student="Ines", exercise=AD, bpm=70, given_on=DAY)])
    take(journal, 2, {**AD, "name": "A and D"}, day=16)
    journal.assign([Assignment(student="Ines", exercise={**AD, "name": "A and D"}, bpm=72, given_on=DAY)])
    past = journal.history("Ines", "two chords")
    (practised,) = past.exercises.values()
    assert (practised.name, practised.goal_bpm, len(past.takes)) == ("A and D", 90, 2)
    assert [(one.bpm, one.given_on) for one in past.assignments] == [(72, DAY)]
    assert journal.history("Ines", "a and d") == past


def test_the_latest_goal_counts_under_whichever_name_it_was_set(tmp_path):
    """And the same goal again, told under the other name, changes nothing."""
    journal = Journal(tmp_path)
    take(journal, 1, AD)
    take(journal, 2, {**AD, "name": "A and D"}, day=16)
    journal.set_goal("Ines", AD, 90)
    journal.set_goal("Ines", "two chords", 96)
    journal.set_goal("Ines", {**AD, "name": "A and D"}, 96)
    (practised,) = journal.history("Ines").exercises.values()
    assert practised.goal_bpm == 96


def test_a_name_that_two_different_exercises_have_is_asked_back(tmp_path):
    """Every four beats and every two are two exercises."""
    journal = Journal(tmp_path)
    take(journal, 1, AD)
    take(journal, 2, {**AD, "beats_per_change": 2})
    with pytest.raises(UsageError, match=r"fits several .*every 2 beats.*every 4 beats.* name one of them in full"):
        journal.set_goal("Ines", "two chords", 90)
    assert len(progress(journal, "Ines").exercises) == 2


def test_a_goal_goes_to_the_only_exercise_or_asks_for_which(tmp_path, capsys):
    """Issue: the goal goes to the one meant or asks."""
    journal = Journal(tmp_path)
    take(journal, 1, AD)
    assert main(["progress", str(tmp_path), "--goal", "90"]) == 0
    assert [one.goal_bpm for one in journal.history("Ines").exercises.values()] == [90]
    take(journal, 2, {"name": "waltz", "meter": "3/4"})
    capsys.readouterr()
    assert main(["progress", str(tmp_path), "--goal", "95"]) == 2
    error = capsys.readouterr().err
    assert "Ines has 2: two chords (A D, every 4 beats); waltz; name one" in error


def test_a_file_keeps_its_exercise_when_practice_toml_calls_it_otherwise(tmp_path):
    """The files are still called after the old name; what it meant stands in the journal."""
    settings = 'student = "Ines"\n[exercises."NAME"]\nchords = "A D"\nbeats_per_change = 4\n[exercises.waltz]\n'
    (tmp_path / "practice.toml").write_text(settings.replace("NAME", "two chords"))
    for day in (3, 10):
        recording(tmp_path, f"2026-03-{day:02d} two chords @{60 + day}.wav")
    batch(tmp_path)
    (tmp_path / "practice.toml").write_text(settings.replace("NAME", "A and D"))
    report = batch(tmp_path)
    assert report.measured == 0
    assert not report.needs
    assert Journal(tmp_path).takes()["exercise"].tolist() == ["A and D", "A and D"]
    (weeks,) = progress(Journal(tmp_path), "Ines").exercises
    assert len(weeks.points) == 2


def test_an_old_name_that_could_be_two_exercises_now_is_asked_back(tmp_path):
    """Two exercises of the same details in practice.toml: nothing is guessed."""
    one = '[exercises."NAME"]\nchords = "A D"\nbeats_per_change = 4\n'
    file: Path = tmp_path / "practice.toml"
    file.write_text('student = "Ines"\n' + one.replace("NAME", "two chords"))
    recording(tmp_path, "2026-03-03 two chords @70.wav")
    batch(tmp_path)
    file.write_text('student = "Ines"\n' + one.replace("NAME", "verse") + one.replace("NAME", "chorus"))
    assert any(need.startswith("the exercise") for need in batch(tmp_path).needs)
