"""Files: whole or not there; one clear line where they cannot be."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from report_takes import take

from strumclock import report, saving
from strumclock.errors import OutputError, StrumclockError, UsageError
from strumclock.report import drawing


def _write_half(path: Path, error: BaseException) -> None:
    """Fail in the middle of writing."""
    with saving.replacing(path) as temporary:
        temporary.write_text("half", encoding="utf-8")
        raise error


def test_a_failure_leaves_what_stood_there_before_and_nothing_else(tmp_path: Path) -> None:
    """Truth: the folder before and after."""
    target = tmp_path / "take.json"
    target.write_text("before", encoding="utf-8")
    with pytest.raises(OutputError, match="No space left on device") as caught:
        _write_half(target, OSError(28, "No space left on device"))
    assert "\n" not in str(caught.value)
    assert target.read_text(encoding="utf-8") == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["take.json"]


def test_an_error_of_another_kind_leaves_nothing_either(tmp_path: Path) -> None:
    """Truth: the folder is empty afterwards."""
    with pytest.raises(KeyboardInterrupt):
        _write_half(tmp_path / "take.json", KeyboardInterrupt())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("where", ["missing/take.json", ".", "file/take.json"])
def test_a_place_that_cannot_be_written_is_told_in_one_line(where: str, tmp_path: Path) -> None:
    """Truth: no such folder; a folder; a file in place of a folder."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot write") as caught:
        saving.write_text(tmp_path / where, "x")
    assert isinstance(caught.value, StrumclockError)
    assert "\n" not in str(caught.value)


def test_a_new_file_may_be_read_by_others_as_usual(tmp_path: Path) -> None:
    """Truth: a file made by open() has 0o666 less the umask."""
    usual = tmp_path / "usual"
    usual.open("w").close()
    written = saving.write_text(tmp_path / "written", "x")
    assert stat.S_IMODE(written.stat().st_mode) == stat.S_IMODE(usual.stat().st_mode)


def test_all_outputs_are_written_as_asked(tmp_path: Path) -> None:
    """Truth: the folder."""
    m = take()
    report.write_outputs(
        m, json=str(tmp_path / "t.json"), plot=str(tmp_path / "t.png"), page=str(tmp_path / "t.html"), sound=None
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["t.html", "t.json", "t.png"]
    assert json.loads((tmp_path / "t.json").read_text(encoding="utf-8")) == report.to_dict(m)


def test_a_dash_is_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    """Truth: what was printed is the JSON and nothing else."""
    m = take()
    report.write_outputs(m, json="-")
    assert json.loads(capsys.readouterr().out) == report.to_dict(m)


def test_nothing_asked_for_writes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """Truth: no output."""
    report.write_outputs(take())
    assert capsys.readouterr().out == ""


def test_a_sound_needs_a_file_that_ends_in_wav(tmp_path: Path) -> None:
    """Truth: the documented ending."""
    with pytest.raises(UsageError, match=r"\.wav"):
        report.write_sound(take(), tmp_path / "take.mp3")


def test_a_picture_of_another_kind_is_refused_before_anything_is_drawn(tmp_path: Path) -> None:
    """Truth: nothing is drawn or written."""

    def draw() -> Figure:
        raise AssertionError("drawn")

    with pytest.raises(OutputError, match=r"must end in \.png, \.svg, \.pdf; got .*weeks\.gif"):
        drawing.write_picture(draw, tmp_path / "weeks.gif")
    assert list(tmp_path.iterdir()) == []
