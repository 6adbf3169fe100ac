"""What a terminal shows: widths, no colours, one rewritten line, completion; the record command's own wiring."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import types
from pathlib import Path

import numpy as np
import pytest
from sound_card import SimulatedCard
from support import REFERENCE_AUDIO

from strumclock.cli import _COMMANDS, main
from strumclock.errors import RecordingError
from strumclock.recording import portaudio
from strumclock.synthesis import Scene, synthesise

STEADY = str(REFERENCE_AUDIO / "steady.flac")
ESCAPE = "\x1b"


def on_a_terminal(words: list[str], columns: int, term: str = "xterm", **environment: str) -> tuple[int, str]:
    """What a command shows on a pseudo-terminal of so many columns, and its status."""
    pty = pytest.importorskip("pty")
    import fcntl
    import struct
    import termios

    code = "import sys; from strumclock.cli import main; sys.exit(main(sys.argv[1:]))"
    ours, its = pty.openpty()
    fcntl.ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    kept = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES", "NO_COLOR")}
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words], stdin=its, stdout=its, stderr=its,
        env={**kept, "TERM": term, "PYTHONIOENCODING": "utf-8", **environment},
    )  # fmt: skip
    os.close(its)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 65_536)
        except OSError:  # Linux: the other side is closed
            break
        if not piece:
            break
        shown += piece
    os.close(ours)
    return process.wait(), shown.decode()


@pytest.mark.parametrize("columns", [60, 80, 140, 200])
def test_the_summary_fits_the_terminal(columns: int) -> None:
    """No line is longer than the terminal (or than 140, which nobody reads with ease); a wide one is used."""
    status, shown = on_a_terminal(["measure", STEADY, "--bpm", "84"], columns)
    assert status == 0, shown
    lines = shown.replace("\r", "").splitlines()
    assert max(len(line) for line in lines) <= min(columns, 140)
    assert ESCAPE not in shown
    if columns >= 140:
        assert max(len(line) for line in lines) > 80


@pytest.mark.parametrize("command", sorted(_COMMANDS))
def test_every_help_fits_sixty_columns(command: str, capsys: pytest.CaptureFixture[str], monkeypatch) -> None:
    """The help's sentences are wrapped to the terminal; only an example, to be copied whole, may be longer."""
    monkeypatch.setenv("COLUMNS", "60")
    assert main([command, "--help"]) == 0
    text = capsys.readouterr().out.partition("Example:")[0]
    assert max(len(line) for line in text.splitlines()) <= 60


@pytest.mark.parametrize(("term", "environment"), [("xterm", {}), ("xterm", {"NO_COLOR": "1"}), ("dumb", {})])
def test_a_batch_shows_words_and_no_colours(tmp_path: Path, term: str, environment: dict[str, str]) -> None:
    """No escape sequence at all; a terminal that cannot go back to the line's start gets no line that is rewritten."""
    folder = tmp_path / "Ines"
    folder.mkdir()
    (folder / "2026-03-03 quarters @84.flac").write_bytes(Path(STEADY).read_bytes())
    status, shown = on_a_terminal(["batch", str(folder), "--workers", "1"], 80, term, **environment)
    assert status == 0, shown
    assert ESCAPE not in shown
    assert ("measuring: " in shown) == (term != "dumb")


def test_the_live_line_is_cut_at_the_terminals_edge_and_leaves_nothing(monkeypatch, capsys) -> None:
    """By hand, for 20 columns: 19 characters are written, a shorter text covers the longer one, and at last blanks."""
    from strumclock.cli.live import Line

    monkeypatch.setenv("COLUMNS", "20")
    line = Line()
    line.show("x" * 50)
    line.show("ab\x1b[31m")
    line.clear()
    shown = capsys.readouterr().err.split("\r")
    assert shown == ["", "x" * 19, "ab\\x1b[31m".ljust(19), " " * 10, ""]


@pytest.mark.parametrize(
    ("words", "at", "expected"),
    [
        ("strumclock re", 1, "plain,record"),
        ("strumclock record --head", 2, "plain,--headphones"),
        ("strumclock measure ta", 2, "file,ta"),
        ("strumclock batch ev", 2, "dir,ev"),
        ("strumclock measure x --click cl", 4, "file,cl"),
    ],
)
def test_the_shell_completes_commands_options_and_files(words: str, at: int, expected: str) -> None:
    """What click's own script for bash asks and gets (click's documentation, "Shell Completion")."""
    code = "import sys; from strumclock.cli import main; sys.exit(main([]))"
    asked = {"_STRUMCLOCK_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": str(at)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, env={**os.environ, **asked}
    )
    assert expected in done.stdout.splitlines(), done.stdout + done.stderr


def strumming_card(monkeypatch: pytest.MonkeyPatch, **told) -> SimulatedCard:
    """A simulated card in the place of this computer's, with a player who strums along."""
    from strumclock.grid import Exercise
    from strumclock.recording import taking

    card = SimulatedCard(**told)
    sound = synthesise(Exercise(bpm=120, meter="4/4", per_beat=1, bars=12, count_in=1), seed=2,
                       scene=Scene(click_db=None, lead_s=0.5)).samples  # fmt: skip
    monkeypatch.setattr(portaudio, "find_card", lambda *_: card)
    loop = taking._loop

    def then_strum(*words):
        found = loop(*words)
        card.strum_along(sound)
        card.gain = 0.0
        return found

    monkeypatch.setattr(taking, "_loop", then_strum)
    return card


RECORD = ("--bpm", "120", "--bars", "12", "--per-beat", "1", "--headphones")


def test_record_writes_the_take_and_says_the_verdict(monkeypatch, capsys, tmp_path) -> None:
    """From the command to the verdict; measuring the file again, with nothing told, says the very same."""
    strumming_card(monkeypatch)
    out = tmp_path / "take.wav"
    assert main(["record", str(out), *RECORD]) == 0
    said = capsys.readouterr()
    assert "Held: 120 bpm" in said.out
    assert "harms hearing" in said.err
    assert "43.20 ms" in said.err  # the simulation's delay
    assert main(["measure", str(out)]) == 0
    again = capsys.readouterr().out
    assert again.strip() in said.out
    assert main(["record", str(out), *RECORD]) == 1  # there already
    assert "--force" in capsys.readouterr().err


def test_record_keeps_the_take_at_ctrl_c_and_measures_nothing_if_told_so(monkeypatch, capsys, tmp_path) -> None:
    """Ctrl-C after some bars: the file is there, whole and alone; --no-measure says no verdict."""
    strumming_card(monkeypatch, ctrl_c_at=16 * 44_100)
    out = tmp_path / "take.wav"
    assert main(["record", str(out), *RECORD, "--no-measure"]) == 0
    said = capsys.readouterr()
    assert "Verdict" not in said.out
    assert "ended before its last bar; what was played is kept" in said.err
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("take.wav",), 2, "--bpm"),
        (("--bpm", "80"), 2, ".wav"),
        (("take.mp3", "--bpm", "80"), 2, ".wav"),
        (("nowhere/take.wav", "--bpm", "80"), 1, "does not exist"),
    ],
)
def test_record_refuses_before_anything_is_played(monkeypatch, capsys, tmp_path, words, status, said) -> None:
    """One line; the card is never opened."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(portaudio, "find_card", lambda *_: pytest.fail("the card was opened"))
    assert main(["record", *words]) == status
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


class Status(types.SimpleNamespace):
    def __init__(self, **told: bool) -> None:
        names = ("input_overflow", "input_underflow", "output_overflow", "output_underflow", "priming_output")
        super().__init__(**{**dict.fromkeys(names, False), **told})


def fake_library(devices: list[tuple[str, int, int]]) -> types.ModuleType:
    """A module with the few names of sounddevice that are used; its stream is driven by hand."""
    library = types.ModuleType("sounddevice")

    class Stream:
        opened: list[Stream] = []  # noqa: RUF012

        def __init__(self, **told) -> None:
            self.told, self.closed = told, False
            Stream.opened.append(self)

        def start(self) -> None:
            if self.told["samplerate"] == 1:
                raise library.PortAudioError("Invalid sample rate")

        def close(self, ignore_errors: bool) -> None:
            self.closed = ignore_errors

    library.PortAudioError = type("PortAudioError", (Exception,), {})
    library.Stream = Stream
    library.default = types.SimpleNamespace(device=(0 if devices else -1, 0 if devices else -1))
    library.query_devices = lambda: [
        {"name": n, "max_input_channels": i, "max_output_channels": o, "default_samplerate": 48_000.0}
        for n, i, o in devices
    ]
    library.check_input_settings = library.check_output_settings = lambda **_: None
    return library


def test_the_real_card_passes_blocks_on_and_says_what_was_lost(monkeypatch) -> None:
    """Against a stand-in for the library: both output channels get the click; each of four flags is a loss; priming
    is none."""
    library = fake_library([("Two in two", 2, 2)])
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    card = portaudio.find_card()
    assert (card.sample_rate_hz, card.outputs, card.same_clock, card.name) == (48_000, 2, True, "Two in two")
    got = []

    def exchange(recorded, to_play, lost) -> None:
        got.append((recorded.copy(), lost))
        to_play[:] = 0.25

    with card.opened(exchange):
        (stream,) = library.Stream.opened
        assert stream.told["device"] == (0, 0)
        played = np.zeros((4, 2), np.float32)
        flags = ("input_overflow", "input_underflow", "output_overflow", "output_underflow", "priming_output")
        for told in ({}, *({flag: True} for flag in flags)):
            stream.told["callback"](np.full((4, 1), 0.5, np.float32), played, 4, None, Status(**told))
    assert [lost for _, lost in got] == [False, True, True, True, True, False]
    assert (played == 0.25).all()
    assert (got[0][0] == 0.5).all()
    assert stream.closed


def test_devices_are_chosen_by_number_or_name(monkeypatch) -> None:
    """Two devices are two clocks, and so may be one that stands for whatever the system chooses."""
    devices = [("pulse", 8, 8), ("USB microphone", 1, 0), ("Built-in output", 0, 2)]
    monkeypatch.setitem(sys.modules, "sounddevice", fake_library(devices))
    assert not portaudio.find_card().same_clock
    card = portaudio.find_card("usb", "2")
    assert (card.input, card.output, card.same_clock) == (1, 2, False)
    assert card.name == "USB microphone (microphone) and Built-in output (click)"
    for told in (("2", None), ("nothing", None), (None, "usb")):
        with pytest.raises(ValueError, match="must name one device"):
            portaudio.find_card(*told)
    assert portaudio.list_devices()[1] == "  1  USB microphone: microphone"


def test_without_device_package_or_library_there_is_one_line(monkeypatch, capsys, tmp_path) -> None:
    """No device; no package (Python's own way to forbid an import: None in sys.modules)."""
    out = str(tmp_path / "take.wav")
    for library, expected in ((fake_library([]), "sound card is needed"), (None, "pip install 'strumclock[record]'")):
        monkeypatch.setitem(sys.modules, "sounddevice", library)
        for words in (["--devices"], [out, "--bpm", "80"]):
            assert main(["record", *words]) == 1
            err = capsys.readouterr().err
            assert expected in err
            assert err.count("\n") == 1
    monkeypatch.setitem(sys.modules, "sounddevice", fake_library([("Speaker", 0, 2)]))
    with pytest.raises(RecordingError, match="no microphone"):
        portaudio.find_card()
    assert not re.findall("take", " ".join(os.listdir(tmp_path)))


LOUDNESS = {"level good": 0.5, "too soft, come nearer": 0.004, "TOO LOUD, turn it down": 3.0, "nearly too loud": 1.3}
"""What is said of a player whose strongest strums reach so much of full scale (PEAK, 0.7, times these)."""


@pytest.mark.parametrize("columns", [60, 80, 140, 200])
@pytest.mark.parametrize("said", LOUDNESS)
def test_the_level_is_said_in_words_at_every_width(monkeypatch, capsys, columns: int, said: str) -> None:
    """By the loudest strum of the last two seconds, not by the silence between strums; nothing wider than the line."""
    from strumclock.cli.live import Level, Line
    from strumclock.recording import Moment

    monkeypatch.setenv("COLUMNS", str(columns))
    level, line = Level(), Line()
    for i in range(80):
        strum = min(0.7 * LOUDNESS[said], 1.0) if i % 12 == 0 else 0.001  # one in 0.6 s, and a quiet room between
        line.show(level.text(Moment(stage="take", bar=3, beat=1 + i // 12 % 4, bars=16, peak=strum)))
    shown = capsys.readouterr().err.split("\r")[1:]
    assert max(len(text) for text in shown) <= columns - 1
    assert {text.rstrip(" .#[]").partition(": ")[2].strip() for text in shown[45:]} == {said}
    assert all(re.search(r"\[#*\.*\]", text) for text in shown)
    line.show(level.text(Moment(stage="take", bar=128, beat=4, bars=128, peak=0.1, lost=True)))
    assert "SAMPLES LOST" in capsys.readouterr().err


def test_the_level_follows_a_recording_on_the_card(monkeypatch) -> None:
    """On the simulated card: test sounds, the count-in beat by beat, all twelve bars in order; the player's level is
    good, since the loudest strum is at 0.7 of full scale."""
    from strumclock.cli.live import Level
    from strumclock.grid import Exercise
    from strumclock.recording import record_take

    level, texts = Level(), []
    record_take(
        strumming_card(monkeypatch), Exercise(bpm=120, bars=12, count_in=1, per_beat=1), headphones=True,
        watch=lambda moment: texts.append(level.text(moment)), between=lambda _: None,
    )  # fmt: skip
    where = list(dict.fromkeys(text.partition(":")[0] for text in texts))
    assert where[0] == "test sounds"
    assert [w for w in where if w.startswith("counting")] == [f"counting in, {beat}" for beat in (1, 2, 3, 4)]
    beats = [f"bar {bar} of 12, beat {beat}" for bar in range(1, 13) for beat in range(1, 5)]
    assert [w for w in where if w.startswith("bar")] == beats
    played = [text for text in texts if re.match("bar ([2-9]|10) of", text)]
    assert all("level good" in text for text in played)


def test_what_the_systems_libraries_write_while_a_card_opens_is_kept_from_the_player(monkeypatch, capfd) -> None:
    """A stand-in that writes to descriptor 2 as ALSA's library does; what is written before and after comes through."""
    library = fake_library([("Two in two", 2, 2)])
    start = library.Stream.start

    def noisy(self) -> None:
        os.write(2, b"ALSA lib pcm.c:2664:(snd_pcm_open_noupdate) Unknown PCM cards.pcm.rear\n")
        start(self)

    library.Stream.start = noisy
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    os.write(2, b"before\n")
    with portaudio.find_card().opened(lambda *_: None):
        os.write(2, b"after\n")
    assert capfd.readouterr().err == "before\nafter\n"
