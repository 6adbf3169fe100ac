"""A correction by hand: applied at once, said, and refused where the click says otherwise."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from practice import pretend_to_measure, recording
from test_batch_folder import batch

from strumclock.batch import note_take
from strumclock.batch.noted import Noted
from strumclock.cli import main
from strumclock.errors import RecordingError, UsageError
from strumclock.journal import Journal

TOML = """
student = "Ines"
[exercises."two chords"]
chords = "A D"
beats_per_change = 4
[exercises.waltz]
chords = "G C"
meter = "3/4"
"""
NAME = "2026-03-03 two chords @70.wav"


@pytest.fixture
def lessons(tmp_path: Path) -> Path:
    """Ines's folder: one take, measured."""
    (tmp_path / "practice.toml").write_text(TOML)
    recording(tmp_path, NAME, held=False)
    batch(tmp_path)
    return tmp_path


def note(folder: Path, field: str, value: str | None, take: str = NAME, **told: Any) -> Noted:
    journal = Journal(folder, create=False)
    return note_take(journal, take, field, value, **{"folder": folder, "measure": pretend_to_measure, **told})


def row(folder: Path, name: str = NAME) -> Any:
    """A take's row."""
    takes = Journal(folder, create=False).takes()
    return takes[takes["file"] == name].iloc[0]


def test_a_corrected_tempo_is_measured_at_once_and_the_next_batch_finds_nothing_to_do(lessons):
    """Issue: applies at once, measured again where needed."""
    said = str(note(lessons, "bpm", "72"))
    assert row(lessons)["bpm"] == 72
    assert said.splitlines()[:2] == [f"{NAME}: tempo 70 bpm → 72 bpm", "Measured again: not held, as before."]
    assert batch(lessons).measured == 0
    assert row(lessons)["bpm"] == 72


def test_a_corrected_exercise_is_measured_with_what_practice_toml_says_of_it(lessons):
    """The waltz has three beats: its meter and chords are the take's from now on."""
    said = note(lessons, "exercise", "waltz")
    assert Journal(lessons).measurement(NAME)["exercise"]["meter"] == "3/4"
    assert (row(lessons)["exercise"], row(lessons)["chords"]) == ("waltz", "G C")
    assert said.measured
    assert batch(lessons).measured == 0


def test_an_exercise_that_practice_toml_does_not_know_is_refused_and_nothing_is_written(lessons):
    """One line that names those that there are."""
    with pytest.raises(UsageError, match=r"must be one of practice.toml \(two chords, waltz\), but 'tango' came"):
        note(lessons, "exercise", "tango")
    assert Journal(lessons).edits() == {}


@pytest.mark.parametrize(("field", "value"), [("student", "Tom"), ("date", "2026-03-05"), ("exercise", "waltz")])
def test_what_was_corrected_can_be_taken_back(lessons, field, value):
    """The take is what the folder says, as before anybody corrected it."""
    before = row(lessons)
    note(lessons, field, value)
    note(lessons, field, None)
    assert row(lessons).drop("take").equals(before.drop("take"))
    assert batch(lessons).measured == 0


def test_a_date_that_was_only_the_files_time_counts_once_it_is_told(lessons):
    """Nothing is measured for a date; the take counts at once and the weeks have it."""
    recording(lessons, "two chords @76.wav")
    batch(lessons)
    said = note(lessons, "date", "2026-03-10", "two chords @76.wav")
    assert row(lessons, "two chords @76.wav")["counts"]
    assert not said.measured
    assert "(only the file's time) → 2026-03-10" in str(said)
    assert "It counts now." in str(said)
    assert "next tempo" in str(said)


def test_a_day_that_is_still_to_come_is_no_date_of_a_take(lessons):
    """Nobody has played tomorrow."""
    with pytest.raises(UsageError, match="today or earlier"):
        note(lessons, "date", (date.today() + timedelta(days=1)).isoformat())


def test_excluding_says_the_reason_and_what_it_does_to_the_weeks(lessons):
    """And including takes it back."""
    assert str(note(lessons, "excluded", "the cat")).splitlines()[0] == f"{NAME} does not count any more: the cat"
    assert not row(lessons)["counts"]
    assert str(note(lessons, "excluded", None)).splitlines()[0] == f"{NAME} counts again"
    assert row(lessons)["counts"]


def test_a_corrected_student_moves_the_take_and_names_both(lessons):
    """From Ines to Tom, who was not in the record before."""
    assert f"{NAME}: student Ines → Tom" in str(note(lessons, "student", "Tom"))
    assert Journal(lessons).takes("Tom")["file"].tolist() == [NAME]
    assert batch(lessons).measured == 0


def test_a_tempo_cannot_be_corrected_without_the_recording(lessons):
    """Required, came, what to do; the record stays as it was."""
    (lessons / NAME).rename(lessons / "away.bin")
    with pytest.raises(UsageError, match="must be measured again, but its recording"):
        note(lessons, "bpm", "72")
    assert (row(lessons)["bpm"], Journal(lessons).edits()) == (70, {})
    note(lessons, "date", "2026-03-04")
    assert row(lessons)["date"] == date(2026, 3, 4)


def test_what_cannot_be_measured_with_the_correction_is_refused(lessons):
    """The measuring's own reason is passed on."""

    def fail(*_: Any) -> Any:
        raise RecordingError("no strum was found in 500 bars")

    with pytest.raises(RecordingError, match="measured again with bars 500, but: no strum was found"):
        note(lessons, "bars", "500", measure=fail)
    assert Journal(lessons).edits() == {}


def test_a_teachers_word_makes_a_take_that_did_not_fit_one_of_the_exercise(tmp_path):
    """The sound did not fit what was set, and was measured without it; told by hand, it is measured as that."""
    (tmp_path / "practice.toml").write_text('student = "Tom"\n[exercises."two chords"]\nchords = "A D"\n')
    name = "PTT-20260305-WA0003.wav"
    recording(tmp_path, name, warnings=["poor-fit"])
    batch(tmp_path)
    assert row(tmp_path, name)["exercise"] is None
    assert note(tmp_path, "exercise", "two chords", name).measured
    assert Journal(tmp_path).measurement(name)["exercise"]["chords"] == ["A", "D"]
    assert batch(tmp_path).measured == 0


def test_the_command_says_what_changed(lessons, capsys):
    """Wiring: each of the command's ways leads to the record and to its own sentence."""
    ways = {
        ("the cat", "--take", NAME, "--exclude"): "does not count any more: the cat",
        ("back", "--take", NAME, "--include"): "counts again",
        ("good tone", "--take", NAME): f"Remark about {NAME}: good tone",
        ("2026-03-04", "--take", NAME, "--correct", "date"): "date 2026-03-03 → 2026-03-04",
        ("ill this week",): "Remark about Ines written.",
    }
    for words, answer in ways.items():
        assert main(["note", str(lessons), *words]) == 0
        assert answer in capsys.readouterr().out
    assert main(["note", str(lessons), "x", "--take", NAME, "--exclude", "--include"]) == 2
