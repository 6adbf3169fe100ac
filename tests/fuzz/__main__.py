"""Hostile inputs, each in a process of its own: ``python -m tests.fuzz 20000 [--seed 1] [--keep FOLDER] [--only K]``.

Prints for each kind how many inputs were tried and how many failed, and of each failure what went wrong; exits 1 if any
did.  A failure is a crash, a hang, a foreign exception, a warning or anything else written where only results and one
line about an error are meant.  With ``--keep`` the inputs that failed are left in a folder.
"""

from __future__ import annotations

import argparse
import queue
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

from tests.fuzz.children import Server
from tests.fuzz.inputs import SHARES, Input, inputs

SHOWN = 5  # failures of each sort that are shown


def main() -> int:
    """Run, print, and say by the exit status whether anything failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--servers", type=int, default=2, help="processes that fork children, one a core")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--only", choices=SHARES)
    given = parser.parse_args()
    begin = time.monotonic()
    waiting: queue.Queue[tuple[int, Input] | None] = queue.Queue(maxsize=64)
    tried: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    sorts: Counter[tuple[str, str]] = Counter()
    lock = threading.Lock()

    def work() -> None:
        with Server() as server, tempfile.TemporaryDirectory() as folder:
            while (item := waiting.get()) is not None:
                number, one = item
                place = Path(folder) / str(number)
                kind, text = _run(server, one, place)
                with lock:
                    tried[one.kind] += 1
                    if kind == "ok":
                        continue
                    failed[one.kind] += 1
                    sorts[one.kind, kind] += 1
                    if sorts[one.kind, kind] <= SHOWN:
                        words = " ".join(f"{word!r:.60}" for word in one.words)
                        print(f"{one.kind} {number}: {kind}: {words} {text}", flush=True)
                    if given.keep is not None:
                        _write(one, given.keep / f"{one.kind}-{number}-{kind}".replace(" ", "-"))

    threads = [threading.Thread(target=work) for _ in range(given.servers)]
    for thread in threads:
        thread.start()
    for item in enumerate(inputs(given.count, given.seed)):
        if given.only in (None, item[1].kind):
            waiting.put(item)
    for _ in threads:
        waiting.put(None)
    for thread in threads:
        thread.join()
    for kind in SHARES:
        print(f"{kind:14s} {tried[kind]:6d} tried {failed[kind]:6d} failed")
    seconds = time.monotonic() - begin
    print(f"{'all':14s} {sum(tried.values()):6d} tried {sum(failed.values()):6d} failed  in {seconds:.0f} s")
    return 1 if failed else 0


def _run(server: Server, one: Input, place: Path) -> tuple[str, str]:
    """Lay the input's files in a folder of its own, and let the server try it."""
    import shutil

    _write(one, place)
    try:
        if one.target == "command":
            return server.run("command", [str(place), one.words])
        return server.run(one.target, str(place / one.words[0]) if one.words else str(place))
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _write(one: Input, place: Path) -> None:
    place.mkdir(parents=True)
    for name, data in one.files.items():
        (place / name).write_bytes(data)


if __name__ == "__main__":
    sys.exit(main())
