"""Kill a program at every step it takes, and fill the disk under it: a driver for the tests of what is then left.

``python tests/kill_points.py kill WHAT FOLDER [STRIDE]`` forks for each step, lets the child do WHAT in a copy of a
prepared folder and sends it SIGKILL at that step (a file opened, renamed or removed, a statement or a commit given to
SQLite), then does the same again undisturbed. ``full WHAT FOLDER`` does WHAT on a disk without room, and with little.
Both print one line of JSON: what was tried, and what was wrong with what was left. Forking needs a process without
threads, hence a program of its own.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, Future
from datetime import date
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from practice import pretend_to_measure, take_json

from strumclock import saving
from strumclock.batch import measure_folder
from strumclock.errors import StrumclockError
from strumclock.journal import Journal, TakeEntry
from strumclock.journal.copying import CSV_NAME, is_current
from strumclock.journal.places import FILE_NAME

SPARE_KB = (0, 4, 12, 20, 28, 36, 48, 64, 96, 144)
EVENTS = {"open", "os.rename", "os.remove", "os.link", "os.chmod", "os.rmdir", "sqlite3.connect"}


class Here(Executor):
    """Measures in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it now."""
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


def batch(folder: Path) -> None:
    """Two new takes."""
    measure_folder(folder, executor=Here(), measure=pretend_to_measure)


def note(folder: Path) -> None:
    """One take excluded, as the command line does it."""
    from strumclock.cli import main

    assert main(["note", str(folder), "the click was off", "--take", "old.wav", "--exclude"]) == 0


def forget(folder: Path) -> None:
    """One of two students; done already is done."""
    journal = Journal(folder)
    if "Ottilie" in journal.students():
        journal.forget("Ottilie", files=(folder / "ottilie").is_dir())
    journal.mend_copy()


def page(folder: Path) -> None:
    """A page kept on paper."""
    journal = Journal(folder)
    journal.import_csv(folder / "page.txt", student="Ines")
    journal.mend_copy()


def output(folder: Path) -> None:
    """An output that replaces an older one."""
    saving.write_text(folder / "out.json", "after" * 1000)


WORK: Mapping[str, Callable[[Path], None]] = {
    "first": batch, "batch": batch, "note": note, "forget": forget, "import": page, "output": output
}  # fmt: skip


def prepare(folder: Path, what: str) -> None:
    """Two students with a take each (for "first" no journal yet), a current copy, and what is to be done."""
    folder.mkdir()
    (folder / "practice.toml").write_text('root = true\nstudent = "Ines"\n')
    journal = Journal(folder)
    for student, seed in (("Ines", 1), ("Ottilie", 2)) if what != "first" else ():
        journal.record(
            TakeEntry(
                identity=f"sha256:{seed:02x}",
                student=student,
                path="old.wav" if student == "Ines" else "ottilie/1.wav",
                played_on=date(2026, 3, 3),
                measurement=take_json(seed=seed),
            )
        )
    journal.mend_copy()
    (folder / "ottilie").mkdir()
    (folder / "ottilie" / "practice.toml").write_text('student = "Ottilie"\n')
    (folder / "out.json").write_text("before")
    (folder / "page.txt").write_text("date,exercise,bpm,held\n2026-03-04,scales,80,yes\n2026-03-05,scales,82,no\n")
    if what in ("first", "batch"):
        for n in (1, 2):
            (folder / f"2026-03-0{n} two chords @8{n}.wav").write_text(json.dumps({"salt": n}))


def state(folder: Path) -> list[Any]:
    """What the folder holds, numbers and times of writing aside."""
    journal = Journal(folder)
    table = journal.takes().sort_values("sha256").drop(columns=["take"])
    files = sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file() and not p.name.startswith("."))
    return [table.to_csv(index=False), files, (folder / "out.json").read_text(), journal.students()]


def wrong(folder: Path, before: list[Any], after: list[Any], *, again: bool) -> str | None:
    """What is wrong with what a kill left, and with what the next run made of it; None if nothing."""
    found = state(folder)
    with Journal(folder).reading() as connection:
        if connection.exec_driver_sql("PRAGMA integrity_check").scalar() != "ok":
            return "integrity"
        current = is_current(connection, folder / CSV_NAME)
    if current:
        listed = (folder / CSV_NAME).read_text(encoding="utf-8-sig").count("\n") - 1
        if listed != len(Journal(folder).takes()):
            return "the copy is called current, and is not"
    if found[2] not in (before[2], after[2]):
        return "half an output"
    if again and found != after:
        return f"the next run did not finish it: {found} is not {after}"
    if again and not current:
        return "the copy is not current after the next run"
    return "a rollback journal is left" if again and (folder / f"{FILE_NAME}-journal").exists() else None


def killed_at(step: int, work: Callable[[Path], None], folder: Path) -> bool:
    """Do the work in a child that is killed at a step. Returns whether it got that far."""
    child = os.fork()
    if child == 0:
        count = 0

        def hook(event: str, _: object) -> None:
            nonlocal count
            if event in EVENTS or event == "sqlite3.statement":
                count += 1
                if count == step:
                    os.kill(os.getpid(), signal.SIGKILL)

        trace_statements(lambda: hook("sqlite3.statement", None))
        sys.addaudithook(hook)
        with open(os.devnull, "w") as quiet, contextlib.redirect_stdout(quiet):
            work(folder)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, "the work failed before it was killed"
    return os.WIFSIGNALED(status)


def trace_statements(tell: Callable[[], None]) -> None:
    """Tell of each statement that SQLite runs, COMMIT among them."""
    connect = sqlite3.dbapi2.connect

    def traced(*args: Any, **kwargs: Any) -> sqlite3.Connection:
        connection = connect(*args, **kwargs)
        connection.set_trace_callback(lambda _: tell())
        return connection

    sqlite3.dbapi2.connect = sqlite3.connect = traced  # type: ignore[assignment]


def main(what: str, where: Path, stride: int = 1) -> None:
    """Kill at every step, or at each of a stride."""
    work = WORK[what]
    prepare(where / "model", what)
    shutil.copytree(where / "model", where / "done")
    before = state(where / "model")
    work(where / "done")
    after = state(where / "done")
    step, tried, faults = 1 - stride, 0, []
    while True:
        step += stride
        tried += 1
        folder = where / f"step{step}"
        shutil.copytree(where / "model", folder)
        if not killed_at(step, work, folder):
            break
        fault = wrong(folder, before, after, again=False)
        if fault is None:
            with open(os.devnull, "w") as quiet, contextlib.redirect_stdout(quiet):
                work(folder)
            fault = wrong(folder, before, after, again=True)
        if fault:
            faults.append(f"step {step}: {fault}")
        shutil.rmtree(folder)
    print(json.dumps({"what": what, "steps": tried - 1, "faults": faults}))


def fill_disk(what: str, where: Path) -> None:
    """The same on a disk with no room, and with little: ``where`` lies on it."""
    work = WORK[what]
    faults, said = [], set()
    for spare_kb in SPARE_KB:
        folder = where / "x"
        prepare(folder, what)
        before = state(folder)
        leave_room(where / "ballast", spare_kb)
        try:
            with open(os.devnull, "w") as quiet, contextlib.redirect_stdout(quiet):
                work(folder)
        except (StrumclockError, AssertionError) as error:
            said.add(str(error) or "told by the command line")
        full = state(folder)
        copy = folder / CSV_NAME
        (where / "ballast").unlink()
        if "Ottilie" not in full[3] and what == "forget" and copy.exists() and "Ottilie" in copy.read_text():
            faults.append(f"{spare_kb} kB: forgotten, and still in the copy")
        with open(os.devnull, "w") as quiet, contextlib.redirect_stdout(quiet):
            work(folder)
        after = state(folder)
        if full not in (before, after) and not (what in ("batch", "first") and len(full[0]) <= len(after[0])):
            faults.append(f"{spare_kb} kB: neither done nor undone")
        fault = wrong(folder, before, after, again=True)
        faults += [f"{spare_kb} kB: {fault}"] if fault else []
        shutil.rmtree(folder)
    print(json.dumps({"what": what, "rooms": len(SPARE_KB), "said": sorted(said), "faults": faults}))


def leave_room(ballast: Path, spare_kb: int) -> None:
    """Fill the disk but for some room."""
    with contextlib.suppress(OSError), open(ballast, "wb", buffering=0) as file:
        while file.write(bytes(4096)):
            pass
    os.truncate(ballast, max(0, ballast.stat().st_size - 1024 * spare_kb))


if __name__ == "__main__":
    if sys.argv[1] == "kill":
        main(sys.argv[2], Path(sys.argv[3]), *map(int, sys.argv[4:]))
    else:
        fill_disk(sys.argv[2], Path(sys.argv[3]))
