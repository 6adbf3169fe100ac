"""Every input in a process of its own, with limits of time and memory, for some milliseconds each.

A server imports what the targets need once and forks a child for each input. What the child does, a crash included, is
told back as a line of JSON: the outcome's kind (``"ok"``: a result or an error of ours; else what went wrong) and text.

Run as ``python -m tests.fuzz.children``: a line ``[target, argument]`` in, a line ``[kind, text]`` out.
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import select
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
TIME_S = 20.0  # of processor time, and half as much again by the clock: a hundred times what such inputs need
MEMORY_BYTES = 1 << 30  # beyond what the server has already: a take of a second needs 30 MB
TEXT_BYTES = 2000  # of an outcome that are kept

Outcome = tuple[str, str]


class Server:
    """A server's process; `run` may be called from one thread at a time."""

    def __init__(self) -> None:
        path = os.pathsep.join([str(ROOT / "src"), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.fuzz.children"],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, target: str, argument: object) -> Outcome:
        """What a target makes of an argument (anything that JSON can say)."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps([target, argument]) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError("the server of children has ended")
        kind, text = json.loads(line)
        return kind, text

    def __enter__(self) -> Server:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(timeout=60)
        self._process.stdout.close()


def serve() -> None:
    """Answer requests until the input ends."""
    from tests.fuzz.targets import TARGETS, preload

    preload()
    warnings.simplefilter("error")  # a warning is noise on somebody's terminal
    with os.fdopen(os.dup(1), "w") as answers:
        for line in sys.stdin:
            target, argument = json.loads(line)
            answers.write(json.dumps(in_child(TARGETS[target], argument)) + "\n")
            answers.flush()


def in_child(target: Callable[[Any], Outcome], argument: object) -> Outcome:
    """Fork, run, wait, and say what came of it."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read_end)
        _child(target, argument, write_end)
    os.close(write_end)
    said, until = b"", time.monotonic() + 1.5 * TIME_S
    while (left := until - time.monotonic()) > 0 and select.select([read_end], [], [], left)[0]:
        piece = os.read(read_end, 1 << 16)
        if not piece:
            break
        said += piece
    else:
        os.kill(pid, signal.SIGKILL)
    os.close(read_end)
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status):
        name = signal.Signals(os.WTERMSIG(status)).name
        return ("hang", f"ended by {name}") if name in ("SIGXCPU", "SIGKILL") else ("crash", name)
    if not said:
        return "crash", f"exit status {os.WEXITSTATUS(status)} without an answer"
    kind, text = json.loads(said)
    return kind, text


def _child(target: Callable[[Any], Outcome], argument: object, write_end: int) -> None:
    """Run a target under limits, tell the outcome through the pipe, and end without any clean-up."""
    outcome: Outcome
    try:
        os.setpgid(0, 0)
        _limit()
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        with tempfile.TemporaryFile() as notes:  # what C libraries write past Python
            os.dup2(notes.fileno(), 1)
            os.dup2(notes.fileno(), 2)
            outcome = target(argument)
            for stream in (sys.stdout, sys.stderr):
                with contextlib.suppress(ValueError):
                    stream.flush()
            notes.seek(0)
            noise = notes.read().decode(errors="replace").strip()
            if outcome[0] == "ok" and noise:
                outcome = ("noise", noise)
    except MemoryError:
        outcome = ("memory", "more memory than an input of this size may need: " + traceback.format_exc()[-500:])
    except BaseException as error:
        outcome = (type(error).__name__, "".join(traceback.format_exception(error)[-4:]))
    with contextlib.suppress(BaseException):
        os.write(write_end, json.dumps([outcome[0], outcome[1][-TEXT_BYTES:]]).encode())
    os._exit(0)


def _limit() -> None:
    """Processor time, and memory beyond what is mapped already."""
    mapped = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (mapped + MEMORY_BYTES, resource.RLIM_INFINITY))
    resource.setrlimit(resource.RLIMIT_CPU, (int(TIME_S), int(TIME_S) + 1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    serve()
