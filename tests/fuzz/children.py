"""Every input in a process of its own, with limits of time and memory, for a few milliseconds each.

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
import traceback
from pathlib import Path
from types import TracebackType

ROOT = Path(__file__).resolve().parents[2]
TIME_S = 20.0  # of processor and by the clock: a hundred times what an input of these sizes needs
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
        self._process.wait(timeout=10)
        self._process.stdout.close()


def serve() -> None:
    """Answer requests until the input ends."""
    from tests.fuzz.targets import TARGETS, preload

    preload()
    answers = os.fdopen(os.dup(1), "w")
    for line in sys.stdin:
        target, argument = json.loads(line)
        answers.write(json.dumps(_in_child(TARGETS[target], argument)) + "\n")
        answers.flush()


def _in_child(target, argument) -> Outcome:  # type: ignore[no-untyped-def]
    """Fork, run, wait, and say what came of it."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read_end)
        _child(target, argument, write_end)
    os.close(write_end)
    said = b""
    while select.select([read_end], [], [], TIME_S)[0] and (piece := os.read(read_end, 65536)):
        said += piece
    os.close(read_end)
    done, status = os.waitpid(pid, os.WNOHANG)
    if not done and not said:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        return "hang", f"no answer within {TIME_S:g} s"
    if not done:
        _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status):
        number = os.WTERMSIG(status)
        return ("hang" if number == signal.SIGXCPU else "crash"), signal.Signals(number).name
    if not said:
        return "crash", f"exit status {os.WEXITSTATUS(status)} without an answer"
    kind, text = json.loads(said)
    return kind, text


def _child(target, argument, write_end: int) -> None:  # type: ignore[no-untyped-def]
    """Run a target under limits, tell the outcome through the pipe, and end without any clean-up."""
    outcome: Outcome
    try:
        _limit()
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
        outcome = ("memory", "more memory than an input of this size may need")
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
