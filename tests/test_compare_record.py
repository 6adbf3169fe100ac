"""Two takes held against a player's own record: which of its takes count, and what the command says then."""

from __future__ import annotations

import json
import math
from datetime import date, timedelta
from pathlib import Path

import pytest
import soundfile
from practice import take_json

from strumclock.cli import main
from strumclock.grid import Exercise
from strumclock.journal import Journal, TakeEntry
from strumclock.synthesis import Player, Scene, synthesise
from strumclock.weeks.usual import usual_differences


def _record(folder: Path, offsets_ms: list[float], *, bpm: float = 96, student: str = "Ida", name: str = "a") -> None:
    """Takes a week apart with such mean offsets; jitter 18 ms in all."""
    journal = Journal(folder)
    for week, offset_ms in enumerate(offsets_ms):
        seed = int.from_bytes(f"{name}{bpm}{week}".encode())
        journal.record(
            TakeEntry(
                identity=f"sha256:{seed:x}",
                student=student,
                played_on=date(2026, 1, 5) + timedelta(weeks=week),
                date_source="name",
                path=f"{name}-{week}.wav",
                measurement=take_json(bpm=bpm, offset_ms=offset_ms, seed=seed),
            )
        )


def test_the_record_tells_how_far_a_players_takes_lie_apart(tmp_path: Path) -> None:
    """Arithmetic: 10, 14, 10, 14, 10, 14 ms differ by 4 each time: √(4² / 2) ms (von Neumann 1941)."""
    _record(tmp_path, [10, 14, 10, 14, 10, 14])
    found = usual_differences(Journal(tmp_path).history("Ida"), 96)
    assert found["mean_offset_ms"].sd == pytest.approx(4 / math.sqrt(2), rel=1e-9)
    assert found["mean_offset_ms"].n == 6
    assert found["jitter_ms"].sd == 0


def test_takes_at_other_tempi_and_too_few_takes_tell_nothing(tmp_path: Path) -> None:
    """The rule: within a tenth of the tempo; where the tempo is not known, all."""
    _record(tmp_path, [10, 14, 10, 14, 10])
    _record(tmp_path, [90, -90, 90, -90, 90], bpm=60, name="slow")
    past = Journal(tmp_path).history("Ida")
    assert usual_differences(past, 96 * 1.05)["mean_offset_ms"].n == 5
    assert usual_differences(past, 60)["mean_offset_ms"].sd == pytest.approx(180 / math.sqrt(2), rel=1e-9)
    assert usual_differences(past, None)["mean_offset_ms"].n == 10
    assert usual_differences(past, 78) == {}


@pytest.mark.parametrize(("swings_ms", "beyond"), [(1.0, True), (60.0, False)])
def test_compare_says_whether_two_takes_differ_more_than_this_players_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], swings_ms: float, beyond: bool
) -> None:
    """40 ms apart, by the player who was synthesised: more than takes 1 ms apart, no more than takes 60 ms apart."""
    for name, offset_ms, seed in (("a.wav", 15, 12), ("b.wav", -25, 13)):
        exercise = Exercise(bpm=96, meter="4/4", per_beat=1, bars=12, count_in=1)
        take = synthesise(exercise, Player(offset_ms=offset_ms), Scene(), seed=seed)
        soundfile.write(tmp_path / name, take.samples, int(take.sample_rate_hz), subtype="PCM_16")
    book = tmp_path / "book"
    book.mkdir()
    _record(book, [0, swings_ms] * 4)
    found = tmp_path / "found.json"
    words = ["compare", str(tmp_path / "a.wav"), str(tmp_path / "b.wav"), "--bpm", "96", "--count-in", "1"]
    assert main([*words, "--journal", str(book), "--student", "Ida", "--json", str(found)]) == 0
    said = capsys.readouterr().out
    rows = {row["figure"]: row for row in json.loads(found.read_text())["differences"]}
    assert rows["mean_offset_ms"]["beyond_usual"] is beyond
    assert ("no more than usual" in said, "more than usual" in said.replace("no more than", "")) == (not beyond, beyond)
