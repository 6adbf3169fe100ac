"""One recording and the files around it.  Truth: what the files say, and what a batch makes of the same folder."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from strumclock.batch import measure_folder, told_around
from strumclock.cli import main
from strumclock.errors import UsageError
from strumclock.journal import Journal

REFERENCE = Path(__file__).resolve().parents[1] / "reference_audio"
SETTINGS = """root = true
student = "Ilse"
[defaults]
count_in = 1
[exercises."slow quarters"]
bpm = 84
meter = "4/4"
per_beat = 1
pattern = "D"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_text(SETTINGS, encoding="utf-8")
    shutil.copy(REFERENCE / "steady.flac", tmp_path / "2026-03-14 slow quarters.flac")
    return tmp_path


def test_a_practice_toml_above_a_file_tells_its_exercise(folder: Path) -> None:
    """The settings' fields come with the file that told them; a tempo in the name with the name."""
    around = told_around(folder / "2026-03-14 slow quarters.flac")
    assert around.told == {
        "name": "slow quarters", "bpm": 84.0, "meter": "4/4", "per_beat": 1, "pattern": "D", "count_in": 1,
    }  # fmt: skip
    assert set(around.sources) == set(around.told)
    assert set(around.sources.values()) == {str(folder / "practice.toml")}
    assert told_around(folder / "slow quarters @90.flac").sources["bpm"] == "the file's name"


def test_without_a_practice_toml_a_name_alone_tells_nothing(tmp_path: Path) -> None:
    """A file called after a tempo is measured by its click."""
    assert told_around(tmp_path / "slow quarters @90.flac").told == {}


def test_settings_that_cannot_be_read_stop_the_command(folder: Path) -> None:
    """As they stop a batch."""
    (folder / "practice.toml").write_text("count_in = ", encoding="utf-8")
    with pytest.raises(UsageError, match="must be TOML"):
        told_around(folder / "2026-03-14 slow quarters.flac")


def _agree(one: Any, other: Any) -> None:
    """The same values; numbers to a unit of the last place that is written."""
    if isinstance(one, float) and isinstance(other, float):
        assert one == pytest.approx(other, abs=1.01e-3)
    elif isinstance(one, dict) and isinstance(other, dict):
        assert one.keys() == other.keys()
        for name in one:
            _agree(one[name], other[name])
    elif isinstance(one, list) and isinstance(other, list):
        for a, b in zip(one, other, strict=True):
            _agree(a, b)
    else:
        assert one == other


def test_measure_and_batch_come_to_the_same_result(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One file, one verdict; the JSON says what came from where, and options win. A batch's processes compute with one
    thread each, so that a figure may be rounded to its other neighbour."""
    take = str(folder / "2026-03-14 slow quarters.flac")
    assert main(["measure", take, "--json", "-", "--pattern", "D.D."]) == 0
    other = json.loads(capsys.readouterr().out)
    assert other["exercise"]["pattern"] == "D.D."
    assert "pattern" not in other["exercise"]["from"]
    assert main(["measure", take, "--json", "-"]) == 0
    mine = json.loads(capsys.readouterr().out)
    assert mine["exercise"]["from"]["pattern"] == str(folder / "practice.toml")
    assert measure_folder(folder).measured == 1
    kept = Journal(folder).measurement("2026-03-14 slow quarters.flac")
    for part in ("grid", "timing", "verdict", "parts"):
        _agree(kept[part], mine[part])
    assert mine["exercise"]["inferred"] == ["bars"]
