"""What an input is given to, and what may come of it: a result, or one line that says what is wrong."""

from __future__ import annotations

import contextlib
import importlib
import io
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

Outcome = tuple[str, str]
OK = "ok"

_NEEDED = (
    "numpy", "soundfile", "av", "mido", "scipy.fft", "scipy.signal", "scipy.stats", "scipy.optimize", "sqlalchemy",
    "sqlalchemy.dialects.sqlite", "pandas", "rich.progress", "rich.table", "strumclock.audio.soundfiles",
    "strumclock.audio.containers", "strumclock.midi", "strumclock.cli.take", "strumclock.cli.record",
    "strumclock.pipeline", "strumclock.report", "strumclock.journal", "strumclock.weeks", "strumclock.batch",
)  # fmt: skip


def preload() -> None:
    """Import what the children need, so that each begins at once."""
    for name in _NEEDED:
        importlib.import_module(name)
    warnings.simplefilter("error")  # a warning is noise on somebody's terminal


def read_audio(path: str) -> Outcome:
    """A recording, or an error of ours in one line."""
    from strumclock.audio import load
    from strumclock.errors import StrumclockError

    try:
        recording = load(path)
        recording.mono()
    except StrumclockError as error:
        return _one_line(str(error))
    return OK, f"{recording.duration_s:.2f} s"


def read_midi(path: str) -> Outcome:
    """A grid, or an error of ours in one line."""
    from strumclock.errors import StrumclockError
    from strumclock.grid import Exercise
    from strumclock.midi import grid_from_midi

    try:
        grid = grid_from_midi(path, Exercise(per_beat=2, count_in=1))
    except StrumclockError as error:
        return _one_line(str(error))
    return OK, f"{len(grid)} slots"


def run_command(words: list[str]) -> Outcome:
    """The command line as its user meets it: exit status 0, 1 or 2, and nothing but text that is meant."""
    from strumclock.cli import main

    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8"), io.TextIOWrapper(io.BytesIO(), "utf-8")
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(words)
        out.flush()
        err.flush()
    said = err.buffer.getvalue().decode()  # type: ignore[attr-defined]
    if status not in (0, 1, 2):
        return "status", f"exit status {status}: {said}"
    if "Traceback" in said:
        return "traceback", said
    if status and not said and not out.buffer.getvalue():  # type: ignore[attr-defined]
        return "silent", f"exit status {status} and not a word"
    return OK, f"{status} {said}"


def _one_line(message: str) -> Outcome:
    return (OK, message) if message.isprintable() else ("not one printable line", message)


TARGETS: dict[str, Callable[[Any], Outcome]] = {"audio": read_audio, "midi": read_midi, "command": run_command}
__all__ = ["TARGETS", "Path", "preload"]
