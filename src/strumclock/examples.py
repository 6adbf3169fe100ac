"""Small invented takes and practice records, for examples and for trying things out: made when asked for, and kept.

Nobody plays in them. The take is synthesised, so its truth is known: nine bars of "down, down-up" at 96 bpm by a player
who is with the click but comes 90 ms late into every new chord.
"""

from __future__ import annotations

import csv
import os
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

from strumclock.arrays import Samples
from strumclock.audio import Recording, from_array
from strumclock.grid import Exercise
from strumclock.journal import Journal
from strumclock.pipeline import Measurement, measure
from strumclock.synthesis import Player, Scene, Take, synthesise
from strumclock.synthesis.sessions import in_a_row, leaving, stepping
from strumclock.synthesis.strings import RATE_HZ
from strumclock.weeks import Progress, progress

EXERCISE = Exercise(
    name="down, down-up", bpm=96, meter="4/4", per_beat=2, pattern="D.DU.UDU", chords=("Em", "C"), count_in=1, bars=9
)
EIGHTHS = Exercise(bpm=96, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1)
"""What the recordings that are no plain take are played to."""
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


def example_session(kind: str) -> tuple[Recording, Exercise]:
    """A recording that is no plain take, and what was set.

    Parameters
    ----------
    kind : str
        ``"left the click"`` (six bars at 84 bpm against 96), ``"never with the click"``, ``"stepped tempo"`` (88, 96
        and 104 bpm), ``"two takes"`` or ``"one strum"``.

    Examples
    --------
    >>> recording, exercise = example_session("two takes")
    >>> [part.kind for part in measure(recording, exercise).parts]
    ['other-take', 'played']
    """
    even = Player(timekeeper_ms=7.0, motor_ms=3.0)

    def take(bars: int, seed: int) -> Take:
        return synthesise(replace(EIGHTHS, bars=bars), even, Scene(), seed=seed)

    sounds: dict[str, Callable[[], Samples]] = {
        "left the click": lambda: leaving(EIGHTHS, own_bpm=84, bars=(4, 6, 4), player=even, seed=5),
        "never with the click": lambda: leaving(EIGHTHS, own_bpm=87, bars=(0, 12, 0), player=even, seed=5),
        "stepped tempo": lambda: stepping(EIGHTHS, bpms=(88, 96, 104), bars=4, player=even, seed=6).samples,
        "two takes": lambda: in_a_row(take(4, 7), take(8, 8), gap_s=4.0),
        "one strum": lambda: synthesise(replace(EIGHTHS, pattern="D.......", bars=1), even, Scene(), seed=9).samples,
    }
    told = replace(EIGHTHS, bpm=None) if kind == "stepped tempo" else EIGHTHS
    return from_array(sounds[kind](), RATE_HZ), told


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
