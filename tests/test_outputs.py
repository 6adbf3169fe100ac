"""No output destroys anything: what is read, journals, settings, recordings, devices, other outputs stay as they were.

The truth of every test is the folder's bytes before and after.
"""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from practice import take_json
from support import REFERENCE_AUDIO

from strumclock import report, saving
from strumclock.cli import main
from strumclock.errors import OutputError, printable
from strumclock.grid import Exercise
from strumclock.journal import Journal, TakeEntry

OUTPUTS = ("--json", "--page", "--plot", "--sound")


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """A recording of one's own."""
    path = tmp_path / "take.wav"
    shutil.copy(REFERENCE_AUDIO / "steady.flac", path)
    return path


@pytest.fixture
def nothing_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """Measuring fails the test: the refusal comes before."""
    import strumclock.pipeline

    def measured(*_: object, **__: object) -> None:
        raise AssertionError("measured before the outputs were checked")

    monkeypatch.setattr(strumclock.pipeline, "measure", measured)


def _refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The one line with which a command is refused."""
    status = main(list(words))
    out, err = capsys.readouterr()
    assert status in (1, 2), err
    assert out == ""
    assert err.count("\n") == 1
    assert "Traceback" not in err
    return err


def _spellings(path: Path) -> Iterator[str]:
    """Other names of one file: by way of the folder above, a link, a hard link."""
    yield str(path)
    yield f"{path.parent}/../{path.parent.name}/./{path.name}"
    link = path.parent / f"link{path.suffix}"
    link.symlink_to(path)
    yield str(link)
    hard = path.parent / f"hard{path.suffix}"
    os.link(path, hard)
    yield str(hard)


@pytest.mark.usefixtures("nothing_measured")
@pytest.mark.parametrize("option", OUTPUTS)
def test_no_output_overwrites_the_take_that_is_measured(capsys, take: Path, option: str) -> None:
    """However the name is spelled, with --force too; a picture's and a page's ending make no difference."""
    before = take.read_bytes()
    for ending in {"--plot": (".png", ".svg")}.get(option, (".wav",)):
        named = Path(shutil.copy(take, take.with_suffix(ending))) if ending != take.suffix else take
        for spelling in _spellings(named):
            said = _refused(capsys, "measure", str(named), option, spelling, "--force")
            assert "write over" in said
        assert named.read_bytes() == before
        for other in named.parent.iterdir():
            if other not in (named, take):
                other.unlink()


@pytest.mark.usefixtures("nothing_measured")
@pytest.mark.parametrize("option", ["--click", "--midi"])
def test_no_output_overwrites_what_else_is_read(capsys, take: Path, option: str) -> None:
    """The click in its own file and the MIDI file are inputs too."""
    other = take.with_name("click.txt")
    other.write_bytes(b"whatever")
    assert "read by this command" in _refused(capsys, "measure", str(take), option, str(other), "--json", str(other))
    assert other.read_bytes() == b"whatever"


@pytest.mark.usefixtures("nothing_measured")
@pytest.mark.parametrize("option", OUTPUTS)
def test_no_output_overwrites_another_recording(capsys, take: Path, option: str) -> None:
    """An existing recording is only replaced by --sound, and only with --force; known by its bytes or its ending."""
    named = {"--plot": "other.png"}.get(option, "other.wav")
    other = take.with_name(named)
    shutil.copy(take, other)
    before = other.read_bytes()
    _refused(capsys, "measure", str(take), option, str(other))
    if option != "--sound":
        _refused(capsys, "measure", str(take), option, str(other), "--force")
    assert other.read_bytes() == before


def test_a_sound_replaces_a_sound_only_when_forced(capsys, take: Path) -> None:
    """With --force and no other role; and what it wrote is again protected."""
    other = take.with_name("marked.wav")
    shutil.copy(take, other)
    assert main(["measure", str(take), "--bpm", "90", "--sound", str(other), "--force"]) == 0
    assert other.read_bytes() != take.read_bytes()
    capsys.readouterr()
    assert "--force" in _refused(capsys, "measure", str(take), "--sound", str(other))


def test_a_click_track_replaces_a_file_only_when_forced(capsys, tmp_path: Path) -> None:
    """WAV and MIDI alike."""
    for name in ("out.wav", "out.mid"):
        path = tmp_path / name
        assert main(["click", str(path), "--bpm", "80", "--bars", "1"]) == 0
        before = path.read_bytes()
        capsys.readouterr()
        assert "--force" in _refused(capsys, "click", str(path), "--bpm", "90", "--bars", "1")
        assert path.read_bytes() == before
        assert main(["click", str(path), "--bpm", "90", "--bars", "1", "--force"]) == 0
        assert path.read_bytes() != before
        capsys.readouterr()


@pytest.mark.usefixtures("nothing_measured")
def test_two_outputs_are_never_one_file(capsys, take: Path) -> None:
    """Also where there is none yet, and where one name is a link to the other."""
    to = take.with_name("x.html")
    assert "--json" in _refused(capsys, "measure", str(take), "--json", str(to), "--page", str(to))
    dotted = f"{take.parent}/../{take.parent.name}/x.html"
    _refused(capsys, "measure", str(take), "--json", str(to), "--page", dotted)
    to.symlink_to("y.html")
    _refused(capsys, "measure", str(take), "--json", str(to), "--page", str(to.with_name("y.html")))
    assert sorted(p.name for p in take.parent.iterdir()) == ["take.wav", "x.html"]


@pytest.mark.usefixtures("nothing_measured")
@pytest.mark.parametrize("name", ["practice.toml", "takes.csv", "TAKES.CSV", "strumclock-journal.csv"])
def test_settings_and_tables_are_never_outputs(capsys, take: Path, name: str) -> None:
    """By their names, there or not."""
    path = take.with_name(name)
    _refused(capsys, "measure", str(take), "--json", str(path))
    assert not path.exists()
    path.write_text("mine")
    _refused(capsys, "measure", str(take), "--page", str(path))
    assert path.read_text() == "mine"


@pytest.mark.parametrize("name", ["strumclock-journal.sqlite", "weeks.sqlite"])
def test_no_output_overwrites_a_journal(capsys, tmp_path: Path, name: str) -> None:
    """By its name and by its first bytes (SQLite's file format, section 1.3), whatever it is called."""
    book = Journal(tmp_path / name)
    book.record(TakeEntry(identity="sha256:aa", student="Ines", measurement=take_json()))
    before = (tmp_path / name).read_bytes()
    for words in (
        ("progress", str(tmp_path), "--journal", str(tmp_path / name), "--csv", str(tmp_path / name)),
        ("measure", str(REFERENCE_AUDIO / "steady.flac"), "--json", str(tmp_path / name)),
        ("compare", *[str(REFERENCE_AUDIO / "steady.flac")] * 2, "--json", str(tmp_path / name)),
    ):
        assert "write over" in _refused(capsys, *words)
    link = tmp_path / "picture.png"
    link.symlink_to(tmp_path / name)
    _refused(capsys, "class", str(tmp_path), "--journal", str(tmp_path / name), "--plot", str(link))
    assert (tmp_path / name).read_bytes() == before


def test_the_library_guards_too(tmp_path: Path, take: Path) -> None:
    """The functions of `report` refuse what the command line refuses."""
    from report_takes import take as measured

    m = measured(path=str(take))
    before = take.read_bytes()
    for write in (report.write_page, report.write_sound):
        with pytest.raises(OutputError, match="write over"):
            write(m, take)
    (tmp_path / "old.png").write_bytes(before)
    with pytest.raises(OutputError, match="a recording"):
        report.write_plot(m, tmp_path / "old.png")
    assert take.read_bytes() == before


def test_a_device_stays_a_device_and_a_link_a_link(tmp_path: Path) -> None:
    """POSIX: /dev/null is a character device, 1:3 on Linux; a node made for the test where that is allowed."""
    saving.write_text("/dev/null", "gone")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    node = tmp_path / "null"
    try:
        os.mknod(node, stat.S_IFCHR | 0o666, os.makedev(1, 3))
    except PermissionError:
        node.symlink_to("/dev/null")
    report.check_outputs({"--json": node, "--page": node})  # two outputs may both go nowhere
    saving.write_text(node, "gone")
    assert stat.S_ISCHR(os.stat(node).st_mode)
    link, real = tmp_path / "link.json", tmp_path / "real.json"
    real.write_text("before")
    link.symlink_to(real)
    saving.write_text(link, "after")
    assert link.is_symlink()
    assert real.read_text() == "after"
    (tmp_path / "dangling").symlink_to("made.json")
    saving.write_text(tmp_path / "dangling", "new")
    assert (tmp_path / "made.json").read_text() == "new"


def test_a_pipe_is_written_into(tmp_path: Path) -> None:
    """What was written is what the reader at the other end gets."""
    pipe = tmp_path / "pipe.json"
    os.mkfifo(pipe)
    got: list[str] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_text()))
    reader.start()
    saving.write_text(pipe, "through the pipe")
    reader.join(timeout=10)
    assert got == ["through the pipe"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_standard_output_by_its_name_is_not_replaced(tmp_path: Path) -> None:
    """/dev/stdout behind a redirection is the file that is open: what was printed before stays, both are in it."""
    to = tmp_path / "all.txt"
    code = "from strumclock import saving; saving.write_text('/dev/stdout', 'second\\n')"
    with to.open("w") as file:
        subprocess.run(
            [sys.executable, "-c", f"print('first', flush=True); {code}"], stdout=file, check=True, timeout=60
        )
    assert to.read_text() == "first\nsecond\n"


def test_a_replaced_file_keeps_its_rights_and_a_protected_one_stays(tmp_path: Path) -> None:
    """POSIX modes; a file that its owner may not write is not replaced behind his back (root may write everything)."""
    path = tmp_path / "x.json"
    path.write_text("before")
    path.chmod(0o640)
    saving.write_text(path, "after")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    path.chmod(0o444)
    if os.geteuid() != 0:
        with pytest.raises(OutputError, match="protected"):
            saving.write_text(path, "no")
        assert path.read_text() == "after"


@pytest.mark.usefixtures("nothing_measured")
@pytest.mark.parametrize("name", ["x" * 300 + ".json", "nul\0.json", "", ".", "missing/x.json", "\ud800.json"])
def test_impossible_names_are_told_before_anything_is_measured(capsys, take: Path, name: str) -> None:
    """Too long (NAME_MAX is 255), a NUL, empty, a folder, no such folder, no character."""
    _refused(capsys, "measure", str(take), "--json", str(take.parent / name) if name != "" else "")
    assert [p.name for p in take.parent.iterdir()] == ["take.wav"]


@pytest.mark.usefixtures("nothing_measured")
def test_endings_are_told_before_anything_is_measured(capsys, take: Path) -> None:
    """A picture that is none of png, svg, pdf; a sound that is no WAV; a dash where a file is needed."""
    for option, name in (("--plot", "x.gif"), ("--sound", "x.mp3"), ("--page", "-")):
        _refused(capsys, "measure", str(take), option, name)


@pytest.mark.parametrize(
    ("words", "redirection"),
    [
        (("measure", str(REFERENCE_AUDIO / "steady.flac"), "--json", "-"), ">/dev/full"),
        (("measure", str(REFERENCE_AUDIO / "steady.flac")), ">/dev/full"),
        (("--help",), ">/dev/full"),
        (("measure", str(REFERENCE_AUDIO / "steady.flac")), ">&-"),
        (("measure", "nothing.wav"), "2>&-"),
        (("measure", "nothing.wav"), "2>/dev/full"),
    ],
)
def test_an_output_that_takes_nothing_is_one_line(words: tuple[str, ...], redirection: str) -> None:
    """/dev/full answers every write with ENOSPC; a closed stream has none: status 1 and one line, where one can be."""
    command = f'exec "$@" {redirection}'
    run = [sys.executable, "-c", "import sys; from strumclock.cli import main; sys.exit(main())"]
    done = subprocess.run(["sh", "-c", command, "sh", *run, *words], capture_output=True, text=True, timeout=120)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") == (0 if redirection.startswith("2") else 1), done.stderr


def test_names_cannot_steer_the_terminal(capsys, tmp_path: Path) -> None:
    """ECMA-48 control sequences in --name, a file's name and an error stand as text; é and 練習 stay what they are."""
    odd = tmp_path / "t\x1b[31mred\x9b2J\nline.flac"
    shutil.copy(REFERENCE_AUDIO / "steady.flac", odd)
    assert main(["measure", str(odd), "--bpm", "90", "--name", "\x1b]0;é 練習\x07\u202e\nNext: none"]) == 0
    assert main(["measure", str(odd), "--bpm", "90"]) == 0
    assert main(["measure", str(odd), "--bpm", "90", "--json", "-"]) == 0
    assert main(["measure", str(odd) + "x"]) == 1
    assert main(["click", str(tmp_path / "\x1b[2J.wav"), "--bpm", "80", "--bars", "1"]) == 0
    out, err = capsys.readouterr()
    assert "é 練習" in out
    for character in out + err:
        assert character == "\n" or character.isprintable(), repr(character)
    assert "\nNext: none" not in out


def test_printable_keeps_languages_and_escapes_the_rest() -> None:
    """Unicode's categories: Cc, Cs, bidirectional controls and line separators are escaped; letters stay."""
    for text in ("Ñandú", "練習 – زِنا می\u200cخواهم", "👩\u200d🎤", "a\u00a0b"):
        assert printable(text) == text
    assert printable("\x1b[0m\u2028\ud800\u202e\x00") == r"\x1b[0m\u2028\ud800\u202e\x00"


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
@pytest.mark.parametrize("name", ["$A$ $\\frac{", "練習 😀", "\x1b[31m\x00\ud800 --> ]]>"])
def test_pictures_draw_any_name_and_are_valid_files(tmp_path: Path, ending: str, name: str) -> None:
    """No formula, no missing glyph's warning (warnings are errors here); the SVG is well-formed XML (W3C XML 1.0)."""
    import xml.etree.ElementTree as ET

    from report_takes import take as measured

    told = Exercise(
        name=name, bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1, chords=(name.split()[0], "D")
    )
    m = measured(exercise=told)
    path = report.write_plot(m, tmp_path / f"x.{ending}")
    assert path.stat().st_size > 1000
    if ending == "svg":
        ET.parse(path)
    page = report.page(m)
    assert not any(ord(c) < 32 and c != "\n" for c in page)
