"""Small invented takes and practice records, for examples and for trying things out: made when asked for, and kept.

Nobody plays in them. The take is synthesised, so its truth is known: nine bars of "down, down-up" at 96 bpm by a player
who is with the click but comes 90 ms late into every new chord.
"""

from __future__ import annotations

import csv
import os
import tempfile
from datetime import date, timedelta
from functools import cache
from pathlib import Path

from strumclock.audio import Recording, from_array
from strumclock.grid import Exercise
from strumclock.journal import Journal
from strumclock.pipeline import Measurement, measure
from strumclock.synthesis import Player, Scene, synthesise
from strumclock.weeks import Progress, progress

EXERCISE = Exercise(
    name="down, down-up", bpm=96, meter="4/4", per_beat=2, pattern="D.DU.UDU", chords=("Em", "C"), count_in=1, bars=9
)
LATE_MS = 90.0  # of the first strum of a new chord
FIRST_DAY, WEEKS = date(2026, 9, 9), 10
LAST_DAY = FIRST_DAY + timedelta(weeks=WEEKS)


@cache
def example_recording() -> Recording:
    """The take's sound.

    Examples
    --------
    >>> example_recording().sample_rate_hz
    44100
    """
    take = synthesise(EXERCISE, Player(timekeeper_ms=7.0, change_late_ms=LATE_MS), Scene(), seed=11)
    return from_array(take.samples, take.sample_rate_hz)


@cache
def example_take() -> Measurement:
    """The take, measured.

    Examples
    --------
    >>> [obstacle.kind for obstacle in example_take().verdict.obstacles]
    ['changes']
    """
    return measure(example_recording(), EXERCISE, changes=True)


def example_journal(folder: str | os.PathLike[str]) -> Journal:
    """A practice record of ten weeks in a folder, from pages kept by hand: Ines climbs, Joris stays.

    Parameters
    ----------
    folder : path
        There already; without a journal.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     example_journal(folder).students()
    ('Ines', 'Joris')
    """
    journal = Journal(folder)
    with tempfile.TemporaryDirectory() as spare:
        page = Path(spare) / "page.csv"
        with page.open("w", encoding="utf-8", newline="") as file:
            write = csv.writer(file).writerow
            write(("student", "date", "exercise", "tempo", "held"))
            for week in range(WEEKS):
                day = FIRST_DAY + timedelta(weeks=week)
                for _ in range(2):
                    write(("Ines", day, "two chords", 62 + 2 * week, "yes"))
                    write(("Joris", day, "two chords", 76, "no"))
        journal.import_csv(page)
    return journal


@cache
def example_students() -> tuple[Progress, ...]:
    """The students of `example_journal`, by name.

    Examples
    --------
    >>> [student.student for student in example_students()]
    ['Ines', 'Joris']
    """
    with tempfile.TemporaryDirectory() as folder:
        journal = example_journal(folder)
        return tuple(progress(journal, name, today=LAST_DAY) for name in journal.students())
