"""A simulated class over weeks, whose truth is known: strums with errors as stated here, timed and judged for real."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from report_takes import take

from strumclock import report
from strumclock.errors import Notice
from strumclock.grid import Exercise
from strumclock.journal import Journal, TakeEntry
from strumclock.journal.writing import write_take

MONDAY = date(2026, 9, 7)
BARS, TAKES_A_WEEK = 16, 2
EVEN_MS, UNEVEN_MS, LATE_MS, EARLY_MS_PER_MIN, BEHIND_MS = 9.0, 48.0, 110.0, -220.0, 85.0


@dataclass(frozen=True, kw_only=True)
class Learner:
    """One invented student: what each take has, by week; None for a week without takes."""

    name: str
    errors: Callable[[int], dict[str, Any] | None]
    bpm: Callable[[int], float] = field(default=lambda week: 90.0)  # noqa: ARG005


def shrinking(first: float, last: float, weeks: int = 10) -> Callable[[int], float]:
    """A size that goes from one value to another in a straight line."""
    return lambda week: first + (last - first) * min(week, weeks - 1) / (weeks - 1)


LATE_LESS = shrinking(130.0, 30.0)
UNEVEN_LESS = shrinking(60.0, 14.0)
CLASS = (
    Learner(name="Anneke", errors=lambda _: {"sd_ms": EVEN_MS}, bpm=lambda week: 70.0 + 2 * week),
    Learner(name="Bram", errors=lambda _: {"sd_ms": EVEN_MS, "change_ms": LATE_MS}),
    Learner(name="Chiara", errors=lambda week: {"sd_ms": EVEN_MS, "change_ms": LATE_LESS(week)}),
    Learner(name="Dario", errors=lambda _: {"sd_ms": EVEN_MS, "drift_ms_per_min": EARLY_MS_PER_MIN}),
    Learner(name="Elin", errors=lambda _: {"sd_ms": UNEVEN_MS}),
    Learner(name="Femke", errors=lambda week: {"sd_ms": UNEVEN_LESS(week)}),
    Learner(name="Gerrit", errors=lambda _: {"sd_ms": EVEN_MS, "omit": tuple(range(3, 90, 6))}),
    Learner(name="Hanna", errors=lambda _: {"sd_ms": EVEN_MS, "mean_ms": BEHIND_MS}),
    Learner(name="Ivo", errors=lambda week: {"sd_ms": EVEN_MS} if week < 3 else None),
    Learner(name="Jelle", errors=lambda _: None),
    Learner(name="Kaat", errors=lambda _: {"sd_ms": EVEN_MS, "anchor": "fitted"}),
    Learner(
        name="Lotte",
        errors=lambda _: {"sd_ms": UNEVEN_MS, "warnings": (Notice(code="clipped", message="too loud"),)},
    ),
)
LEARNERS = {learner.name: learner for learner in CLASS}


def exercise(bpm: float) -> Exercise:
    """What all of them play."""
    return Exercise(
        name="Two chords", bpm=bpm, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1, chords=("A", "D")
    )


def play_week(journal: Journal, week: int, learners: tuple[Learner, ...] = CLASS) -> None:
    """Everybody's takes of one week into the journal."""
    entries = []
    for number, learner in enumerate(learners):
        for k in range(TAKES_A_WEEK):
            errors = learner.errors(week)
            if errors is None:
                continue
            bpm, seed = learner.bpm(week), 1000 * number + 10 * week + k
            measured = report.to_dict(take(bars=BARS, seed=seed, exercise=exercise(bpm), **errors))
            entries.append(
                TakeEntry(
                    identity=f"sha256:{seed:064x}",
                    student=learner.name,
                    played_on=MONDAY + timedelta(weeks=week, days=k),
                    date_source="name",
                    path=f"{learner.name}/{week}-{k}.m4a",
                    measurement=measured,
                    exercise={"name": "Two chords", "chords": "A D", "meter": "4/4", "per_beat": 2},
                )
            )
    with journal.writing() as connection:
        for entry in entries:
            write_take(connection, entry)


def evening(week: int) -> date:
    """The day on which the week's answers are written."""
    return MONDAY + timedelta(weeks=week, days=4)
