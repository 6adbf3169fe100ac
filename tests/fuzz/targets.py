"""What an input is given to, and what may come of it: a result, or one line that says what is wrong."""

from __future__ import annotations

import contextlib
import importlib
import io
import os
from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any

Outcome = tuple[str, str]
OK = "ok"

_NEEDED = (
    "numpy", "soundfile", "av", "mido", "scipy.fft", "scipy.signal", "scipy.stats", "scipy.optimize", "sqlalchemy",
    "sqlalchemy.dialects.sqlite", "pandas", "rich.progress", "rich.table", "matplotlib.figure", "strumclock.audio",
    "strumclock.audio.soundfiles", "strumclock.audio.containers", "strumclock.midi", "strumclock.clicktrack",
    "strumclock.cli.take", "strumclock.cli.keeping", "strumclock.pipeline", "strumclock.report", "strumclock.journal",
    "strumclock.weeks", "strumclock.batch", "strumclock.tuning", "strumclock.chords", "strumclock.stroke",
)  # fmt: skip


def preload() -> None:
    """Import what the children need, so that each begins at once."""
    for name in _NEEDED:
        importlib.import_module(name)


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


def read_folder(folder: str) -> Outcome:
    """A folder measured into its journal, in this process: an error of a file is a row, one of the folder a line."""
    from strumclock.batch import measure_folder
    from strumclock.errors import StrumclockError

    try:
        done = measure_folder(folder, executor=_Here())
    except StrumclockError as error:
        return _one_line(str(error))
    return OK, str(done)


def import_page(folder: str) -> Outcome:
    """A page kept on paper, into a fresh journal."""
    from strumclock.errors import StrumclockError
    from strumclock.journal import Journal

    try:
        return OK, str(Journal(os.path.join(folder, "book.sqlite")).import_csv(os.path.join(folder, "page.csv")))
    except StrumclockError as error:
        return _one_line(str(error))


def run_command(argument: tuple[str, list[str]]) -> Outcome:
    """The command line as its user meets it, in a folder: exit status 0, 1 or 2, and nothing but text that is meant."""
    from strumclock.cli import main

    folder, words = argument
    os.chdir(folder)
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(words)
        out.flush()
        err.flush()
        told, said = (stream.buffer.getvalue().decode() for stream in (out, err))  # type: ignore[attr-defined]
    if status not in (0, 1, 2):
        return "status", f"exit status {status}: {said}"
    if "Traceback" in said or "please report" in said + told:
        return "traceback", said + told
    if status and not said + told:
        return "silent", f"exit status {status} and not a word"
    if "\x1b" in said + told:
        return "escape", said + told
    return OK, f"{status} {said}"


class _Here(Executor):
    """Runs what is handed in at once, in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Run it; what it raises is in the future."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def _one_line(message: str) -> Outcome:
    return (OK, message) if message.isprintable() else ("not one printable line", repr(message))


TARGETS: dict[str, Callable[[Any], Outcome]] = {
    "audio": read_audio,
    "midi": read_midi,
    "folder": read_folder,
    "page": import_page,
    "command": run_command,
}
