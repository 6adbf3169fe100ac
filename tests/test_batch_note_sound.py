"""A correction by hand of takes that sound: followed at once, and refused where the click contradicts it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from strumclock.batch import measure_folder, note_take
from strumclock.errors import UsageError
from strumclock.journal import Journal

REFERENCE = Path(__file__).parents[1] / "reference_audio"


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Ilse's steady take, whose truth is 84 bpm, as a batch has measured it, and one more file."""
    place = tmp_path_factory.mktemp("ilse")
    (place / "practice.toml").write_text('student = "Ilse"\n[exercises.steady]\nmeter = "4/4"\n[exercises.song]\n')
    shutil.copy(REFERENCE / "steady.flac", place / "2026-03-14 steady.flac")
    shutil.copy(REFERENCE / "headphones.flac", place / "2026-03-15 song.flac")
    assert measure_folder(place, workers=1).ok
    return place


def test_a_correction_is_followed_at_once(folder):
    """Another pattern: the take is measured again with it, and a batch afterwards finds nothing to do; and back."""
    take = "2026-03-14 steady.flac"
    assert "Measured again" in str(note_take(Journal(folder), take, "pattern", "D.D."))
    assert Journal(folder).measurement(take)["exercise"]["pattern"] == "D.D."
    assert measure_folder(folder, workers=1).measured == 0
    assert note_take(Journal(folder), take, "pattern", None).measured
    assert Journal(folder).edits() == {}
    assert measure_folder(folder, workers=1).measured == 0


def test_a_tempo_that_the_click_contradicts_is_refused_with_what_was_heard(folder):
    """The click is at 84 (the take's truth): 90 is a slip; nothing is changed."""
    journal = Journal(folder)
    before = journal.measurement("2026-03-14 steady.flac"), journal.edits()
    with pytest.raises(UsageError, match=r"beat 84\.0 a minute and 90 came; tell 84"):
        note_take(journal, "2026-03-14 steady.flac", "bpm", "90")
    assert (journal.measurement("2026-03-14 steady.flac"), journal.edits()) == before


def test_a_tempo_that_no_click_contradicts_is_taken(folder):
    """A take with headphones has no click to contradict it: Wren's 104."""
    assert "104 bpm" in str(note_take(Journal(folder), "2026-03-15 song.flac", "bpm", "104"))


def test_other_files_stay_known(folder):
    """One take measured again is no list of all files: the next batch measures none of the others."""
    note_take(Journal(folder), "2026-03-14 steady.flac", "count_in", "1")
    assert measure_folder(folder, workers=1).measured == 0
