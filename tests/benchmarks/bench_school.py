"""A school of 40 teachers: ``python tests/benchmarks/bench_school.py FOLDER [--takes 500000] [--url postgresql://…]``.

Fills a journal in FOLDER (kept, and used again by the next run) with invented takes of 600 students over five years,
15 students a teacher, each take with its file and a weekly assignment, and times one teacher's batch of 60 new takes
there: what passes beside the measuring, which is only pretended. Then two teachers' batches at once. Prints seconds;
asserts nothing.
"""

from __future__ import annotations

import argparse
import cProfile
import os
import pstats
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import sqlalchemy as sa
from bench_journal import START, fill
from practice import pretend_to_measure, recording

from strumclock.batch import measure_folder
from strumclock.journal import Journal
from strumclock.journal.places import FILE_NAME
from strumclock.journal.schema import assignments, files, students, takes
from strumclock.journal.writing import now

STUDENTS, TEACHERS, WEEKS = 600, 40, 260
NEW = 60


def teacher_of(student: int) -> str:
    """Folder of the teacher of a student, by the student's number from 1."""
    return f"teacher {(student - 1) % TEACHERS}"


def fill_school(journal: Journal, n: int) -> None:
    """Takes, then whose folder each lies in, its file, and what was set each week."""
    fill(journal, n, a_student=n // STUDENTS)
    with journal.writing() as connection:
        folder = "'teacher ' || ((student_id - 1) % :teachers) || '/S' || (student_id - 1) || '/' || id || '.m4a'"
        connection.execute(sa.text(f"UPDATE takes SET path = {folder}"), {"teachers": TEACHERS})
        noted = sa.select(
            takes.c.path, sa.func.substr(takes.c.identity, 8), sa.literal(1), sa.literal("1"), sa.literal(1.0)
        )
        names = ["path", "sha256", "size", "stamp", "hashed_at"]
        connection.execute(files.insert().from_select(names, noted))
        for owner in connection.execute(sa.select(students.c.id)).scalars().all():
            rows = [
                {"student_id": owner, "exercise_id": w % 2 + 1, "bpm": 60.0 + w // 8, "made_at": now()}
                | {"given_on": START + timedelta(weeks=w), "due_on": START + timedelta(weeks=w, days=6)}
                for w in range(WEEKS)
            ]
            connection.execute(assignments.insert(), rows)


def new_takes(folder: Path, teacher: int) -> Path:
    """A teacher's folder with 60 new takes in the students' own folders, and what was set."""
    place = folder / f"teacher {teacher}"
    run = time.strftime("%H%M%S")
    mine = [s for s in range(STUDENTS) if s % TEACHERS == teacher]
    for n in range(NEW):
        name = f"{date.today()} exercise 0 @80 {run} {n}.wav"
        recording(place / f"S{mine[n % len(mine)]}", name, seed=hash((run, teacher, n)) % 10**9)
    given = f'[[assignments]]\nexercise = "exercise 0"\nbpm = 80\ngiven = {date.today()}\n'
    settings = '[exercises."exercise 0"]\nchords = "A D"\nbeats_per_change = 4\n'
    (place / "practice.toml").write_text(f"root = true\n{settings}{given}")
    return place


def run_batch(place: str, where: str) -> None:
    """One batch, in this process, with the measuring pretended."""
    report = measure_folder(place, journal=where, workers=1, measure=pretend_to_measure)
    print(str(report).splitlines()[0])


def main() -> None:
    """Fill if need be, then time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--takes", type=int, default=500_000)
    parser.add_argument("--url")
    parser.add_argument("--profile", action="store_true")
    asked = parser.parse_args()
    where = asked.url or str(asked.folder / FILE_NAME)
    journal = Journal(where, create=True)
    with journal.reading() as connection:
        there = connection.execute(sa.select(sa.func.count()).select_from(takes)).scalar() or 0
    if there < asked.takes:
        began = time.perf_counter()
        fill_school(journal, asked.takes)
        print(f"filled with {asked.takes} takes in {time.perf_counter() - began:.0f} s", flush=True)
    place = new_takes(asked.folder, 1)
    if asked.profile:
        profile = cProfile.Profile()
        profile.runcall(run_batch, str(place), where)
        pstats.Stats(profile).sort_stats("cumulative").print_stats(35)
        return
    began = time.process_time()
    run_batch(str(place), where)
    print(f"batch of {NEW} new takes, measuring pretended: {time.process_time() - began:.2f} s of processor time here")
    places = [new_takes(asked.folder, 1), new_takes(asked.folder, 2)]
    code = "import sys; sys.path.insert(0, sys.argv[1]); from bench_school import run_batch; run_batch(*sys.argv[2:])"
    here = os.path.dirname(os.path.abspath(__file__))
    began = time.perf_counter()
    both = [subprocess.Popen([sys.executable, "-c", code, here, str(one), where]) for one in places]
    codes = [one.wait() for one in both]
    print(f"two teachers at once: {time.perf_counter() - began:.1f} s, exit {codes}")


if __name__ == "__main__":
    main()
