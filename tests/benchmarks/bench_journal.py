"""A school's journal: ``python tests/benchmarks/bench_journal.py [takes] [--url postgresql://…]``.

Fills a journal with invented takes (100 000 of 500 students by default: two a week over two years) and times what a
teacher does with it. Prints seconds of processor time, of commands the time that passes too; asserts nothing.
"""

from __future__ import annotations

import argparse
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
from practice import recording, take_json

from strumclock.journal import Journal, TakeEntry
from strumclock.journal.entry import figure_rows, result_row, strum_row, take_columns
from strumclock.journal.schema import answers, exercises, figures, results, strums, students, takes
from strumclock.journal.writing import now
from strumclock.report import answers as written
from strumclock.weeks import class_list, progress

TAKES_A_STUDENT = 200
CLASS = [f"S{n}" for n in range(30)]  # one teacher's
CHUNK = 1000
START = date(2024, 1, 1)


def fill(journal: Journal, n: int, a_student: int = TAKES_A_STUDENT) -> None:
    """Write n takes quickly: rows like those that single takes get, many in a statement."""
    forms = []
    for seed in range(20):
        told = {"name": f"exercise {seed % 2}", "chords": ["A", "D"], "beats_per_change": 4}
        measured = take_json(seed=seed, n=128, exercise=told, jitter_ms=15 + seed / 3)
        forms.append((take_columns(measured), figure_rows(measured), strum_row(measured), result_row(measured)))
    count = max(n // a_student, 1)
    with journal.writing() as connection:
        connection.execute(students.insert(), [{"id": s + 1, "key": f"s{s}", "name": f"S{s}"} for s in range(count)])
        rows = [{"id": e + 1, "key": f"e{e}", "name": f"exercise {e}", "beats_per_change": 4.0} for e in range(2)]
        connection.execute(exercises.insert(), rows)
        for start in range(0, n, CHUNK):
            chunk = range(start, min(start + CHUNK, n))
            connection.execute(takes.insert(), [_take(i, count, forms) for i in chunk])
            many = [{"take_id": i + 1, **row} for i in chunk for row in forms[i % 20][1]]
            connection.execute(figures.insert(), many)
            connection.execute(strums.insert(), [{"take_id": i + 1, **forms[i % 20][2]} for i in chunk])
            connection.execute(results.insert(), [{"take_id": i + 1, **forms[i % 20][3]} for i in chunk])
        weeks = a_student // 2
        for owner in range(1, count + 1):
            connection.execute(answers.insert(), [_answer(owner, week) for week in range(weeks)])


def _take(i: int, count: int, forms: list) -> dict:
    number = i // count
    week = number // 2
    return {
        "id": i + 1,
        "student_id": i % count + 1,
        "exercise_id": number % 2 + 1,
        "identity": f"sha256:{i:064x}",
        "source": "recording",
        "status": "measured",
        "retry": False,
        "path": f"s{i % count}/{i}.m4a",
        "played_on": START + timedelta(weeks=week, days=number % 2),
        "date_source": "name",
        "settings": "s",
        "version": "0",
        "measured_at": now(),
        **forms[i % 20][0],
        "bpm": 60.0 + week // 4,
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


def commands(folder: Path) -> None:
    """What a teacher types, each in a process of its own, so that the start is counted too."""
    lessons = folder / "lessons"
    for n in range(4):
        recording(lessons, f"2026-03-0{n + 1} two chords @80.wav", seed=n)
    (lessons / "practice.toml").write_text('student = "S7"\n')
    batch = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parents[1])!r})\n"
        "from practice import pretend_to_measure\nfrom strumclock.batch import measure_folder\n"
        f"print(measure_folder({str(lessons)!r}, workers=2, measure=pretend_to_measure))"
    )
    command = "import sys; from strumclock.cli import main; sys.exit(main(sys.argv[1:]))"
    for name, words in {
        "batch of four new takes": (batch,),
        "strumclock class": (command, "class", str(folder)),
        "strumclock class --plot": (command, "class", str(folder), "--plot", str(folder / "class.png")),
        "strumclock progress": (command, "progress", str(folder), "--student", "S7"),
    }.items():
        run = [sys.executable, "-c", *words]
        began = _processor_s()
        seconds = once(lambda run=run: subprocess.run(run, check=True, stdout=subprocess.DEVNULL))
        print(f"{name}: {seconds:.2f} s, of which {_processor_s() - began:.2f} s of processor time")


def main() -> None:
    """Fill, then time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("takes", nargs="?", type=int, default=100_000)
    parser.add_argument("--a-student", type=int, default=TAKES_A_STUDENT, help="Takes of each: 833 are five years.")
    parser.add_argument("--url")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(asked.url or folder)
        began = time.perf_counter()
        fill(journal, asked.takes, asked.a_student)
        print(f"filled with {asked.takes} takes in {time.perf_counter() - began:.1f} s")
        with journal.reading() as connection:
            rows = connection.execute(sa.select(sa.func.count()).select_from(figures)).scalar()
        print(f"figures: {rows} rows")
        if asked.url is None:
            print(f"file: {sum(p.stat().st_size for p in Path(folder).iterdir()) / 1e6:.0f} MB")
        today = START + timedelta(weeks=asked.a_student // 2)
        print(f"progress of one student: {timed(lambda: progress(journal, 'S7', today=today)):.3f} s")
        entry = TakeEntry(identity="sha256:new", student="S7", played_on=today, measurement=take_json(n=128, seed=99))
        print(f"one take written: {timed(lambda: journal.record(entry)):.3f} s")
        print(f"table of one student: {timed(lambda: journal.takes('S7')):.3f} s")
        first = once(lambda: written(journal, CLASS, today=today), time.process_time)
        print(f"answers to a class of 30, nothing concluded before: {first:.2f} s")
        print(f"answers to a class of 30 again: {timed(lambda: written(journal, CLASS, today=today)):.2f} s")
        first = once(lambda: class_list(journal, today=today), time.process_time)
        print(f"class, nothing concluded before: {first:.2f} s")
        print(f"class again: {timed(lambda: class_list(journal, today=today)):.2f} s")
        if asked.url is None:
            commands(Path(folder))
            before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            seconds = once(journal.write_csv, time.process_time)
            grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
            print(f"CSV copy, asked for: {seconds:.1f} s, memory grew by {grown / 1024:.0f} MB")
        print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
