"""A correction by hand is followed at once, and refused where the sound contradicts it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from strumclock.batch import measure_folder
from strumclock.batch.again import correct
from strumclock.cli import main
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
    """Another pattern: the take is measured again with it, and a batch afterwards finds nothing to do."""
    said = correct(Journal(folder), "2026-03-14 steady.flac", "pattern", "D.D.")
    assert "pattern is D.D." in said
    assert "measured again" in said
    assert Journal(folder).measurement("2026-03-14 steady.flac")["exercise"]["pattern"] == "D.D."
    assert measure_folder(folder, workers=1).measured == 0
    assert correct(Journal(folder), "2026-03-14 steady.flac", "pattern", None).count("measured again") == 1


def test_a_tempo_that_the_click_contradicts_is_refused_with_what_was_heard(folder):
    """The click is at 84 (the take's truth): 90 is a slip; nothing is changed."""
    journal = Journal(folder)
    before = journal.measurement("2026-03-14 steady.flac"), journal.edits()
    with pytest.raises(UsageError, match=r"90 came and the click of .* is heard at 84\.0 bpm"):
        correct(journal, "2026-03-14 steady.flac", "bpm", "90")
    assert (journal.measurement("2026-03-14 steady.flac"), journal.edits()) == before


def test_a_tempo_that_no_click_contradicts_is_taken(folder):
    """A take with headphones has no click to contradict it: Wren's 104."""
    assert "104 bpm" in correct(Journal(folder), "2026-03-15 song.flac", "bpm", "104")


def test_other_files_stay_known(folder):
    """One take measured again is no list of all files: the next batch measures none of the others."""
    correct(Journal(folder), "2026-03-14 steady.flac", "count_in", "1")
    assert measure_folder(folder, workers=1).measured == 0


def test_the_command_says_what_changed(folder, capsys):
    """Not that something was written."""
    words = ["note", str(folder), "--take", "2026-03-14 steady.flac"]
    for told, said in (
        (["2026-03-13", "--correct", "date"], "date is 2026-03-13"),
        (["the phone fell", "--exclude"], "is left out of all progress: the phone fell"),
        (["x", "--include"], "counts again"),
        (["a new string"], "a remark is written about 2026-03-14 steady.flac"),
    ):
        assert main([*words, *told]) == 0
        assert said in capsys.readouterr().out


def test_a_recording_that_is_gone_waits_for_the_next_batch(tmp_path):
    """The correction is kept; it is said what happens."""
    shutil.copy(REFERENCE / "steady.flac", tmp_path / "2026-03-14 steady.flac")
    (tmp_path / "practice.toml").write_text('student = "Ilse"\n')
    measure_folder(tmp_path, workers=1)
    (tmp_path / "2026-03-14 steady.flac").unlink()
    said = correct(Journal(tmp_path), "2026-03-14 steady.flac", "count_in", "1")
    assert "the next batch that finds the recording" in said
