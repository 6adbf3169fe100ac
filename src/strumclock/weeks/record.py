"""From the journal to progress: one student's exercises, or a class in order of need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from strumclock.journal import Journal, exercise_label
from strumclock.journal.edits import known_exercise, known_student
from strumclock.journal.schema import exercises, figures, goals, students, takes
from strumclock.journal.tables import why_not_counted
from strumclock.weeks.exercise import ExerciseProgress, exercise_progress
from strumclock.weeks.week import TAKES_TO_HOLD, Point

if TYPE_CHECKING:
    import pandas as pd

SILENT_DAYS = 14  # two weekly lessons without a recording
UNSURE_TAKES = 8  # the takes that are looked at: about a month's
UNSURE_SHARE = 0.5
DOUBTS = frozenset({"clipped", "truncated", "gaps", "poor-fit", "few-strums", "click-fades", "tempo-differs"})
"""Warnings that say the measurement is less sure; the others say what was inferred or what the player did."""
NEEDS = ("stuck", "falling", "silent", "unsure", "fine")
CHUNK = 500
_JITTER, _OFFSET, _DRIFT = "timing.jitter_ms", "timing.mean_offset_ms", "timing.drift_ms_per_min"
HEARD_MS, HEARD_SHARE = 6.0, 0.025
"""What can be heard of one displaced tone: 6 ms, or 2.5 % of intervals above 240 ms (Friberg & Sundberg 1995)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """One student over weeks.

    Attributes
    ----------
    student : str
    today : date
        The day that silence is counted to.
    exercises : tuple of ExerciseProgress
        The one played last comes first.
    last_played : date or None
    n_takes, n_not_counted : int
        Takes in the journal, and those of them that do not count (excluded, not measurable, no date, doubled).
    doubtful : int
        How many of the last `n_recent` recordings could not be measured or only with reserve.
    n_recent : int
    doubts : tuple of str
        Why, most frequent first: warning codes and errors.
    """

    student: str
    today: date
    exercises: tuple[ExerciseProgress, ...]
    last_played: date | None
    n_takes: int
    n_not_counted: int
    doubtful: int
    n_recent: int
    doubts: tuple[str, ...]

    @property
    def silent_days(self) -> int | None:
        """Days since the last take."""
        return (self.today - self.last_played).days if self.last_played else None

    @property
    def need(self) -> str:
        """What the teacher should look at first: stuck, falling, silent, unsure or fine."""
        states = {e.state for e in self.exercises[:1]}  # what is practised now
        if states & {"stuck", "level"}:
            return "stuck"
        if "falling" in states:
            return "falling"
        if self.silent_days is None or self.silent_days > SILENT_DAYS:
            return "silent"
        if self.n_recent and self.doubtful >= UNSURE_SHARE * self.n_recent:
            return "unsure"
        return "fine"

    def table(self) -> pd.DataFrame:
        """One row a week and exercise."""
        import pandas as pd

        names = ("held_bpm", "once_held_bpm", "failed_bpm", "tried_bpm", "reached_bpm", "changes_per_minute")
        rows = []
        for exercise in self.exercises:
            for week in exercise.weeks:
                row: dict[str, Any] = {"student": self.student, "exercise": exercise.label, "week": week.name}
                row |= {"monday": week.monday, "n_takes": week.n_takes, "n_paper": week.n_paper}
                row |= {name: getattr(week, name) for name in names}
                for name in ("jitter_share", "offset_share"):
                    mean = getattr(week, name)
                    for part, key in (("", "value"), ("_low", "low"), ("_high", "high")):
                        row[name + part] = getattr(mean, key) if mean else None
                rows.append(row)
        return pd.DataFrame(rows)


def progress(
    journal: Journal,
    student: str | None = None,
    exercise: str | None = None,
    *,
    today: date | None = None,
    takes_to_hold: int | None = None,
) -> Progress:
    """What the weeks of one student show.

    Parameters
    ----------
    journal : Journal
    student : str, optional
        May be left out where the journal has one only.
    exercise : str, optional
        Only this one, by its label, name, or a part that only one has.
    today : date, optional
        The day that silence is counted to; today.
    takes_to_hold : int, optional
        Takes of a week that must hold a tempo; by default what practice.toml told the batch, else two.

    Raises
    ------
    UsageError
        If there is no such student or exercise.
    """
    with journal.reading() as connection:
        owner, name = known_student(connection, student)
        only = known_exercise(connection, exercise, owner) if exercise is not None else None
        return _progress(connection, owner, name, only, today or date.today(), takes_to_hold)


def class_list(
    journal: Journal, *, today: date | None = None, takes_to_hold: int | None = None
) -> tuple[Progress, ...]:
    """Every student of a journal, those first who need the teacher most: stuck, falling, silent, measurement unsure."""
    with journal.reading() as connection:
        rows = connection.execute(sa.select(students).order_by(students.c.key)).all()
        found = [_progress(connection, r.id, r.name, None, today or date.today(), takes_to_hold) for r in rows]
    return tuple(sorted(found, key=lambda p: NEEDS.index(p.need)))


def _progress(
    connection: sa.Connection, owner: int, name: str, only: int | None, today: date, takes_to_hold: int | None
) -> Progress:
    told = sa.select(students.c.takes_to_hold).where(students.c.id == owner)
    needed = takes_to_hold or connection.execute(told).scalar() or TAKES_TO_HOLD
    names = (
        "id exercise_id status error excluded superseded_by same_sound_as played_on bpm beats_per_change beat_ms anchor"
    )
    columns = [takes.c[column] for column in (*names.split(), "duration_s", "held", "even_share", "warnings", "source")]
    query = sa.select(*columns).where(takes.c.student_id == owner)
    if only is not None:
        query = query.where(takes.c.exercise_id == only)
    rows = connection.execute(query.order_by(takes.c.played_on, takes.c.played_at, takes.c.id)).all()
    figure = _figures(connection, [row.id for row in rows])
    counted = [row for row in rows if why_not_counted(row) is None]
    by_exercise: dict[int, list[Point]] = {}
    for row in counted:
        by_exercise.setdefault(row.exercise_id, []).append(_point(row, figure))
    wanted = {row.exercise_id: row for row in connection.execute(_latest_goals(owner))}
    labels = {row.id: row for row in connection.execute(sa.select(exercises).where(exercises.c.id.in_(by_exercise)))}
    found = [
        exercise_progress(
            exercise_label(dict(labels[key]._mapping)),
            points,
            beats_per_change=labels[key].beats_per_change,
            goal_bpm=wanted[key].bpm if key in wanted else None,
            goal_by=wanted[key].by_date if key in wanted else None,
            takes_to_hold=needed,
        )
        for key, points in by_exercise.items()
    ]
    found.sort(key=lambda e: (e.points[-1].played_on, len(e.points)), reverse=True)
    doubtful, recent, doubts = _doubts(rows)
    return Progress(
        student=name,
        today=today,
        exercises=tuple(found),
        last_played=max((row.played_on for row in counted), default=None),
        n_takes=len(rows),
        n_not_counted=len(rows) - len(counted),
        doubtful=doubtful,
        n_recent=recent,
        doubts=doubts,
    )


def _latest_goals(owner: int) -> Any:
    latest = sa.select(sa.func.max(goals.c.id)).where(goals.c.student_id == owner).group_by(goals.c.exercise_id)
    return sa.select(goals).where(goals.c.id.in_(latest))


def _figures(connection: sa.Connection, ids: Sequence[int]) -> dict[tuple[int, str], Any]:
    found: dict[tuple[int, str], Any] = {}
    for start in range(0, len(ids), CHUNK):
        query = sa.select(figures).where(
            figures.c.take_id.in_(ids[start : start + CHUNK]),
            figures.c.place.in_([_JITTER, _OFFSET, _DRIFT]),
            figures.c.value.is_not(None),
        )
        found |= {(row.take_id, row.place): row for row in connection.execute(query)}
    return found


def _point(row: Any, figure: dict[tuple[int, str], Any]) -> Point:
    jitter, offset, drift = (figure.get((row.id, place)) for place in (_JITTER, _OFFSET, _DRIFT))
    return Point(
        take=row.id,
        played_on=row.played_on,
        bpm=row.bpm,
        held=row.held,
        beats_per_change=row.beats_per_change,
        jitter_share=jitter.value / row.beat_ms if jitter is not None and row.beat_ms else None,
        offset_share=offset.value / row.beat_ms if offset is not None and row.beat_ms else None,
        even_share=row.even_share,
        drift_ms_per_min=drift.value if drift is not None else None,
        drift_heard=drift is not None and _heard(drift, row),
        paper=row.source == "paper",
        doubtful=bool(_doubts_of(row)),
    )


def _heard(drift: Any, row: Any) -> bool:
    """Whether a take's drift is sure, and more than can be heard."""
    if drift.low <= 0 <= drift.high or not row.duration_s or not row.beat_ms:
        return False
    return abs(float(drift.value)) * float(row.duration_s) / 60 > max(HEARD_MS, HEARD_SHARE * float(row.beat_ms))


def _doubts_of(row: Any) -> list[str]:
    """Why a recording's measurement is not sure: codes."""
    if row.source != "recording" or row.excluded is not None or row.superseded_by is not None:
        return []
    if row.status == "failed":
        return ["could not be measured"]
    codes = [code for code in (row.warnings or "").split() if code in DOUBTS]
    if row.anchor == "fitted":
        codes.append("no click heard")
    if row.held is None:
        codes.append("too little to judge")
    return codes


def _doubts(rows: Sequence[Any]) -> tuple[int, int, tuple[str, ...]]:
    recent = [row for row in rows if row.source == "recording" and row.excluded is None][-UNSURE_TAKES:]
    lists = [_doubts_of(row) for row in recent]
    counts: dict[str, int] = {}
    for codes in lists:
        for code in codes:
            counts[code] = counts.get(code, 0) + 1
    ordered = tuple(sorted(counts, key=lambda code: (-counts[code], code)))
    return sum(bool(codes) for codes in lists), len(recent), ordered
