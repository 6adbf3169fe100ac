"""A school's journal: ``python -m tests.benchmarks.bench_journal [takes] [--postgresql]``.

Fills a journal with invented takes (by default 500 000 of 600 students over five years, twenty students a teacher) and
times what a teacher does with it, each command in a process of its own. Prints seconds of processor time, of commands
the time that passes too; asserts nothing.
"""

from __future__ import annotations

import argparse
import contextlib
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1]))

import sqlalchemy as sa
from postgresql_server import server
from practice import recording, take_json

from strumclock.journal import Assignment, Journal, TakeEntry
from strumclock.journal.entry import figure_rows, result_row, strum_row, take_columns
from strumclock.journal.schema import answers, exercises, figures, results, strums, students, takes
from strumclock.journal.writing import now
from strumclock.weeks import class_list, progress

STUDENTS, OF_A_TEACHER, WEEKS = 600, 20, 260
CHUNK = 1000
LAST = date.today()
START = LAST - timedelta(weeks=WEEKS)
EXERCISES = 5
"""One a year."""


def fill(journal: Journal, n: int, lessons: Path) -> None:
    """Write n takes quickly: rows like those that single takes get, many in a statement."""
    forms = []
    for seed in range(20):
        told = {"chords": ["A", "D"], "beats_per_change": 4}
        margin = 0.7 + seed / 40
        measured = take_json(seed=seed, n=128, exercise=told, jitter_ms=15 + seed / 3, held=margin <= 1, margin=margin)
        measured["timing"] |= {"findings": [_finding(*place, 20.0 + seed) for place in PLACES]}
        forms.append((take_columns(measured), figure_rows(measured), strum_row(measured), result_row(measured)))
    names = [f"S{s}" for s in range(STUDENTS)]
    with journal.writing() as connection:
        people = [{"id": s + 1, "key": name.lower(), "name": name} for s, name in enumerate(names)]
        _insert(connection, students, people)
        played = [{"id": e + 1, "key": f"e{e}", "name": f"exercise {e}"} for e in range(EXERCISES)]
        _insert(connection, exercises, [{**row, "beats_per_change": 4.0} for row in played])
        folders = [journal.name_of(lessons / f"teacher{s // OF_A_TEACHER}" / name) for s, name in enumerate(names)]
        for start in range(0, n, CHUNK):
            chunk = range(start, min(start + CHUNK, n))
            _insert(connection, takes, [_take(i, n, folders, forms) for i in chunk])
            many = [{"take_id": i + 1, **row} for i in chunk for row in forms[i % 20][1]]
            _insert(connection, figures, many)
            _insert(connection, strums, [{"take_id": i + 1, **forms[i % 20][2]} for i in chunk])
            _insert(connection, results, [{"take_id": i + 1, **forms[i % 20][3]} for i in chunk])
        for owner in range(1, STUDENTS + 1):
            _insert(connection, answers, [_answer(owner, week) for week in range(WEEKS)])
        if connection.dialect.name == "postgresql":  # whose numbers go on from where they were told to
            for name in ("students", "exercises", "takes"):
                connection.exec_driver_sql(
                    f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), (SELECT max(id) FROM {name}))"
                )
    told, days = {"name": "exercise 4"}, [LAST - timedelta(weeks=week) for week in range(1, 9)]
    journal.assign(Assignment(student=s, exercise=told, bpm=80.0, given_on=day) for s in names for day in days)


def _insert(connection: sa.Connection, table: sa.Table, rows: list[dict]) -> None:
    """Many rows; on PostgreSQL by COPY, in a tenth of the time."""
    if connection.dialect.name != "postgresql":
        connection.execute(table.insert(), rows)
        return
    names = list(rows[0])
    with connection.connection.cursor().copy(f"COPY {table.name} ({', '.join(names)}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row([row[name] for name in names])


PLACES = (("changes", None), ("pair", ["A", "D"]), ("pair", ["D", "A"]), ("drift", None), ("beat", 2), ("beat", 4))


def _finding(kind: str, where: object, size_ms: float) -> dict:
    return {"kind": kind, "where": where, "size": {"value": size_ms, "low": size_ms - 8, "high": size_ms + 8, "u": 1.0}}


def _take(i: int, n: int, folders: list[str], forms: list) -> dict:
    who, number = i % STUDENTS, i // STUDENTS
    days = number * STUDENTS * WEEKS * 7 // n
    return {
        "id": i + 1,
        "student_id": who + 1,
        "exercise_id": days * EXERCISES // (WEEKS * 7) + 1,
        "identity": f"sha256:{i:064x}",
        "source": "recording",
        "status": "measured",
        "retry": False,
        "path": f"{folders[who]}/{i}.m4a",
        "played_on": START + timedelta(days=days),
        "date_source": "name",
        "settings": "s",
        "version": "0",
        "measured_at": now(),
        **forms[(who + 7 * number) % 20][0],
        "bpm": 60.0 + days % 365 // 28,
    }


def _answer(owner: int, week: int) -> dict:
    day = START + timedelta(weeks=week)
    said = f"thanks/{week % 3} obstacle-changes-late/{week % 3} task-change-alone/{week % 3} heard.{week}"
    text = "Thank you for your 2 recordings. At the chord changes you still come in late. " * 2
    row = {"student_id": owner, "exercise_id": 1, "written_on": day, "language": "en", "text": text, "said": said}
    return {**row, "sent_on": day, "made_at": now()}


def timed(work: Callable[[], object], runs: int = 5) -> float:
    """Median seconds of processor time after one warm-up: others may be using the machine."""
    work()
    seconds = []
    for _ in range(runs):
        began = time.process_time()
        work()
        seconds.append(time.process_time() - began)
    return median(seconds)


def once(work: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    """Seconds of a single run."""
    began = clock()
    work()
    return clock() - began


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


STRUMCLOCK = (sys.executable, "-c", "import sys; from strumclock.cli import main; sys.exit(main(sys.argv[1:]))")


def commands(lessons: Path, journal: tuple[str, ...]) -> None:
    """What a teacher types, each in a process of its own, so that the start is counted too."""
    mine = lessons / "teacher3" / "S67"
    for n in range(4):
        recording(mine, f"{LAST - timedelta(days=n)} exercise 4 @80.wav", seed=n)
    batch = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parents[1])!r})\n"
        "from practice import pretend_to_measure\nfrom strumclock.batch import measure_folder\n"
        f"journal = {journal[1] if journal else None!r}\n"
        f"print(measure_folder({str(mine.parent)!r}, journal=journal, workers=2, measure=pretend_to_measure))"
    )

    def run(name: str, *lines: tuple[str, ...]) -> None:
        """Commands at the same time."""
        used, began = _processor_s(), time.perf_counter()
        running = [subprocess.Popen(line, stdout=subprocess.DEVNULL) for line in lines]
        failed = [process.args for process in running if process.wait()]
        if failed:
            raise SystemExit(f"{name}: failed: {failed}")
        passed, used = time.perf_counter() - began, _processor_s() - used
        print(f"{name}: {used:.2f} s of processor time, {passed:.2f} s passed", flush=True)

    def of(teacher: int, *more: str) -> tuple[str, ...]:
        return (*STRUMCLOCK, "class", str(lessons / f"teacher{teacher}"), *journal, *more)

    run("strumclock --version", (*STRUMCLOCK, "--version"))
    run("class of a teacher, nothing concluded before", of(3))
    run("class of a teacher", of(3))
    run("class of a teacher, --missing", of(3, "--missing"))
    run("batch of four new takes of one student", (sys.executable, "-c", batch))
    run("class of a teacher, one student has new takes", of(3))
    run("class of two teachers at once, nothing concluded before", of(5), of(6))
    run("class of two teachers at once", of(5), of(6))
    run("class of a teacher beside a batch of another", of(5), (sys.executable, "-c", batch))
    answer = (*STRUMCLOCK, "answer", str(lessons / "teacher3"), *journal)
    run("answer of a teacher", answer)
    run("progress of one student", (*STRUMCLOCK, "progress", str(lessons), *journal, "--student", "S67"))
    run("class of the school, most not concluded before", (*STRUMCLOCK, "class", str(lessons), *journal))
    run("class of the school", (*STRUMCLOCK, "class", str(lessons), *journal))


def main() -> None:
    """Fill, then time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("takes", nargs="?", type=int, default=500_000)
    parser.add_argument("--postgresql", action="store_true", help="on a server of its own, instead of SQLite")
    asked = parser.parse_args()
    with contextlib.ExitStack() as opened:
        folder = opened.enter_context(tempfile.TemporaryDirectory())
        lessons = Path(folder, "lessons")
        for s in range(STUDENTS):
            Path(lessons, f"teacher{s // OF_A_TEACHER}", f"S{s}").mkdir(parents=True)
        url = opened.enter_context(server()) if asked.postgresql else None
        journal = Journal(url or lessons)
        began = time.perf_counter()
        fill(journal, asked.takes, lessons)
        print(f"filled with {asked.takes} takes in {time.perf_counter() - began:.0f} s", flush=True)
        with journal.reading() as connection:
            rows = connection.execute(sa.select(sa.func.count()).select_from(figures)).scalar()
        size = sum(p.stat().st_size for p in lessons.iterdir() if p.is_file()) / 1e6
        print(f"figures: {rows} rows" + ("" if url else f"; file: {size:.0f} MB"))
        commands(lessons, ("--journal", url) if url else ())
        mine = lessons / "teacher3"
        print(f"class_list of a teacher: {timed(lambda: class_list(journal, below=mine)):.3f} s")
        print(f"class_list of the school: {timed(lambda: class_list(journal), 3):.2f} s")
        print(f"progress of one student: {timed(lambda: progress(journal, 'S67'), 3):.2f} s")
        entry = TakeEntry(identity="sha256:new", student="S67", played_on=LAST, measurement=take_json(n=128, seed=99))
        print(f"one take written: {timed(lambda: journal.record(entry)):.3f} s")
        if url is None:
            before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            seconds = once(journal.write_csv, time.process_time)
            grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
            print(f"CSV copy, asked for: {seconds:.0f} s, memory grew by {grown / 1024:.0f} MB")
        print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
