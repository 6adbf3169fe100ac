"""The command line: what it prints, writes and returns. The README's commands are tested as they stand there."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from support import REFERENCE_AUDIO, ROOT

from strumclock.cli import main
from strumclock.clicktrack import TIMBRES

STEADY = str(REFERENCE_AUDIO / "steady.flac")


def _run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(list(words))
    out, err = capsys.readouterr()
    return status, out, err


def test_measure_prints_a_summary_in_plain_words(capsys: pytest.CaptureFixture[str]) -> None:
    """The summary of the steady take says how early, how even and whether the tempo was held."""
    status, out, err = _run(capsys, "measure", STEADY, "--bpm", "84", "--count-in", "1")
    assert status == 0
    assert err == ""
    assert "84 bpm" in out
    assert "Held: 84 bpm by the standard “steady”" in out


def test_json_on_standard_output_is_all_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    """With --json - standard output is one JSON document that the shipped schema accepts, and nothing else."""
    import jsonschema

    from strumclock.report import load_schema

    status, out, err = _run(capsys, "measure", STEADY, "--bpm", "84", "--json", "-")
    assert status == 0
    assert err == ""
    jsonschema.validate(json.loads(out), load_schema())


def test_every_output_is_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """JSON, picture, page and sound come out of one run."""
    files = {kind: tmp_path / f"take.{end}" for kind, end in
             (("json", "json"), ("plot", "png"), ("page", "html"), ("sound", "wav"))}  # fmt: skip
    words = [word for kind, path in files.items() for word in (f"--{kind}", str(path))]
    status, _, err = _run(capsys, "measure", STEADY, "--bpm", "84", *words)
    assert status == 0, err
    assert files["plot"].read_bytes().startswith(b"\x89PNG")
    assert "<html" in files["page"].read_text()
    assert soundfile.info(files["sound"]).channels == 2
    assert json.loads(files["json"].read_text())["schema"] == "strumclock.take/2"


def _bad_files(folder: Path) -> dict[str, Path]:
    rate, rng = 22050, np.random.default_rng(1)
    paths = {name: folder / f"{name}.wav" for name in ("empty", "text", "silent", "short", "noise", "truncated")}
    paths["empty"].touch()
    paths["text"].write_text("this is a shopping list, not a recording\n" * 20)
    soundfile.write(paths["silent"], np.zeros(rate * 5), rate)
    soundfile.write(paths["short"], rng.normal(0, 0.1, rate // 10), rate)
    soundfile.write(paths["noise"], rng.normal(0, 0.01, rate * 8), rate)
    paths["truncated"].write_bytes(Path(STEADY).read_bytes()[:60])
    paths["missing"] = folder / "missing.wav"
    return paths


@pytest.mark.parametrize("kind", ["empty", "text", "silent", "short", "noise", "truncated", "missing"])
def test_bad_recordings_end_in_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path, kind: str) -> None:
    """A recording that cannot be measured: exit 1, one line on standard error, nothing else, no file left."""
    path = _bad_files(tmp_path)[kind]
    target = tmp_path / "out.json"
    status, out, err = _run(capsys, "measure", str(path), "--json", str(target))
    assert status == 1
    assert out == ""
    assert err.startswith("strumclock: ")
    assert err.count("\n") == 1
    assert not target.exists()


@pytest.mark.parametrize(
    "words",
    [
        ("--bpm", "9000"),
        ("--bpm", "nan"),
        ("--bpm", "fast"),
        ("--pattern", "DXQ"),
        ("--meter", "four"),
        ("--per-beat", "9"),
        ("--swing", "0.2"),
        ("--start", "10", "--end", "5"),
        ("--standard", "impossible"),
        ("--latency-ms", "12"),
        ("--no-such-option",),
        ("--click", "left"),
    ],
)
def test_wrong_usage_ends_in_one_line_with_status_2(capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    """Nonsense in the options: exit 2, one line that says what was required."""
    status, out, err = _run(capsys, "measure", STEADY, *words)
    assert status == 2, err
    assert out == ""
    assert err.startswith("strumclock: ")
    assert err.count("\n") == 1


def test_no_command_says_what_to_do_first_with_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    """A short text, for whoever has just installed it; a diagnostic, since a script that forgot its words must notice.

    Every command in it is one, and every option is one of that command's.
    """
    status, out, err = _run(capsys)
    assert (status, out) == (2, "")
    shown = re.findall(r"^  strumclock (\w+)((?: \S+)*?)  ", err, re.MULTILINE)
    assert len(shown) >= 4
    assert len(err.splitlines()) < 15
    for command, rest in shown:
        help_ = _run(capsys, command, "--help")[1]
        assert all(option in help_ for option in re.findall(r"--[a-z-]+", rest))


def test_every_command_shows_an_example_whose_options_are_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    """The last lines of each --help; checked against the help itself."""
    from strumclock.cli import _COMMANDS

    for command in _COMMANDS:
        help_, _, example = _run(capsys, command, "--help")[1].partition("Example:")
        assert example.split()[:2] == ["strumclock", command]
        assert all(f"{option} " in help_ for option in re.findall(r"--[a-z-]+", example)), example


def test_a_folder_is_sent_to_batch(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`measure FOLDER`: one line that holds the right command."""
    status, out, err = _run(capsys, "measure", str(tmp_path))
    assert (status, out) == (2, "")
    assert f"strumclock batch {tmp_path}" in err
    assert err.count("\n") == 1


def test_wrong_usage_says_where_the_help_is(capsys: pytest.CaptureFixture[str]) -> None:
    """The command's own help, or that of all where there is no such command."""
    assert _run(capsys, "measure")[2].endswith("see strumclock measure --help\n")
    assert _run(capsys, "measur", "x")[2].endswith("see strumclock --help\n")


def test_a_promised_click_that_is_not_there_is_an_error(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A click promised in a file that holds silence: exit 1, one line."""
    silent = tmp_path / "click.wav"
    rng = np.random.default_rng(2)
    soundfile.write(silent, rng.normal(0, 0.001, 44100 * 20), 44100)
    status, _, err = _run(capsys, "measure", STEADY, "--bpm", "84", "--click", str(silent))
    assert status == 1
    assert "click" in err
    assert err.count("\n") == 1


def test_click_tracks_are_written_as_sound_and_as_midi(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`click` writes a WAV and a MIDI file, by the ending."""
    for name in ("out.wav", "out.mid"):
        status, out, err = _run(capsys, "click", str(tmp_path / name), "--bpm", "80", "--bars", "4", "--meter", "3/4")
        assert status == 0, err
        assert name in out
        assert (tmp_path / name).stat().st_size > 100


def test_stepped_tempo_has_its_length(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Two bars of 4/4 at 120 and two at 60 last 4 s and 8 s (arithmetic)."""
    path = tmp_path / "steps.wav"
    status, _, err = _run(capsys, "click", str(path), "--steps", "2x120 2x60", "--count-in", "0", "--meter", "4/4")
    assert status == 0, err
    assert soundfile.info(path).duration == pytest.approx(12.0, abs=1.5)


def test_compare_says_what_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """A take against itself shows no difference."""
    status, out, err = _run(capsys, "compare", STEADY, STEADY, "--bpm", "84")
    assert status == 0, err
    assert out.strip()


def test_help_cuts_no_sentence_off_and_promises_no_click_to_a_click_track(capsys: pytest.CaptureFixture[str]) -> None:
    """By reading: no "..." at a command's end; a track's tempo is taken from no click; its sounds are named."""
    assert "..." not in _run(capsys, "--help")[1].partition("Commands:")[2]
    track = " ".join(_run(capsys, "click", "--help")[1].split())
    assert "taken from the click" not in track
    assert all(timbre in track for timbre in TIMBRES)
    assert "taken from the click" in " ".join(_run(capsys, "measure", "--help")[1].split())


def test_a_day_without_a_goal_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """It was ignored; one line says what was required, what came, what to do."""
    status, _, err = _run(capsys, "progress", str(tmp_path), "--by", "2026-12-01")
    assert status == 2
    assert "--goal" in err


def test_help_lists_every_command_of_the_design(capsys: pytest.CaptureFixture[str]) -> None:
    """`--help` names each command."""
    status, out, _ = _run(capsys, "--help")
    assert status == 0
    for command in (
        "measure",
        "record",
        "click",
        "tuning",
        "compare",
        "batch",
        "progress",
        "class",
        "note",
        "forget",
        "demo",
    ):
        assert re.search(rf"^\s+{command}\s", out, re.MULTILINE)


def test_readme_commands_are_real(capsys: pytest.CaptureFixture[str]) -> None:
    """Every option that the README shows exists in that command's --help."""
    readme = (ROOT / "README.md").read_text()
    for command, rest in re.findall(r"^strumclock (\w+)((?:[^\n\\]|\\\n)*)", readme, re.MULTILINE):
        status, out, _ = _run(capsys, command, "--help")
        assert status == 0, command
        for option in re.findall(r"--[a-z0-9-]+", rest):
            assert option in out, f"{command} {option}"


def test_the_installed_command_reports_its_version() -> None:
    """`strumclock --version` prints the package's version (importlib.metadata)."""
    from importlib.metadata import version

    done = subprocess.run(
        [sys.executable, "-c", "import sys; from strumclock.cli import main; sys.exit(main(['--version']))"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert version("strumclock") in done.stdout


def test_all_parts_of_a_recording_are_measured_in_turn(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The steady take twice in one file, 3.3 s apart: two parts, each with the figures of the take alone."""
    samples, rate_hz = soundfile.read(STEADY, dtype="float32")
    pause = np.zeros(round(3.3 * rate_hz), np.float32)
    path = tmp_path / "twice.wav"
    soundfile.write(path, np.concatenate([samples, pause, samples]), rate_hz)
    told = ("--bpm", "84", "--meter", "4/4", "--count-in", "1", "--per-beat", "1")
    alone = json.loads(_run(capsys, "measure", STEADY, *told, "--json", "-")[1])
    both = json.loads(_run(capsys, "measure", str(path), *told, "--part", "all", "--json", "-")[1])["parts"]
    assert [[part["measured"] for part in take["parts"]] for take in both] == [[True, False], [False, True]]
    for take in both:
        mean_ms, alone_ms = (t["timing"]["mean_offset_ms"]["value"] for t in (take, alone))
        assert abs(mean_ms - alone_ms) < 0.5
        assert take["timing"]["n"] == alone["timing"]["n"]
        assert len(take["strums"]) == 2 * len(alone["strums"])
        assert sum(strum["measured"] for strum in take["strums"]) == len(alone["strums"])
    second = json.loads(_run(capsys, "measure", str(path), *told, "--part", "2", "--json", "-")[1])
    assert second["timing"] == both[1]["timing"]
    status, _, err = _run(capsys, "measure", str(path), *told, "--part", "3")
    assert status == 2
    assert "has 2 parts" in err
    status, _, err = _run(capsys, "measure", str(path), *told, "--part", "all", "--plot", "x.png")
    assert status == 2
    assert "--plot needs one part" in err


@pytest.mark.parametrize("words", [["class", ".", "--page", "a\0b"], ["demo", "a\0b"], ["measure", "a\0b.wav"]])
def test_a_null_byte_is_one_clear_line(
    words: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As no file's name can hold one; the first was found by 20,000 hostile inputs (`tests/fuzz`)."""
    monkeypatch.chdir(tmp_path)
    status, out, err = _run(capsys, *words)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert "null byte" in err
    assert not list(tmp_path.iterdir())
