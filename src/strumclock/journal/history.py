"""What the weeks of practice are judged from: the past takes of a student, with their exercises and goals.

The takes come oldest first. `History` is plain data: whoever draws conclusions from it needs no database.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, NamedTuple

import sqlalchemy as sa

from strumclock.journal import assigned
from strumclock.journal.assigned import Assignment
from strumclock.journal.edits import known_exercise, known_student
from strumclock.journal.same import Same, used_by
from strumclock.journal.schema import CHUNK, assignments, figures, goals, students, takes
from strumclock.journal.tables import why_not_counted

_PLACES = ("timing.jitter_ms", "timing.jitter_within_ms", "timing.mean_offset_ms", "timing.drift_ms_per_min")
_FINDINGS = "timing.findings."
_COLUMNS = (
    *(
        "id",
        "exercise_id",
        "source",
        "status",
        "error",
        "excluded",
        "superseded_by",
        "same_sound_as",
        "played_on",
        "date_source",
    ),
    *(
        "bpm",
        "beats_per_change",
        "beat_ms",
        "anchor",
        "duration_s",
        "slots",
        "played",
        "tolerance_ms",
        "held",
        "margin",
        "even_share",
        "warnings",
    ),
)


class Figure(NamedTuple):
    """One figure of a take with its 95 % interval, in the unit of its name."""

    value: float
    low: float
    high: float


class PastTake(NamedTuple):
    """One take of the journal.

    Attributes
    ----------
    id : int
        Its number in the journal.
    exercise_id : int or None
        Key into `History.exercises`.
    source : str
        ``"recording"`` or ``"paper"``.
    failed : bool
        It could not be measured.
    excluded : bool
        By hand.
    replaced : bool
        Its file holds a newer version.
    not_counted : str or None
        Why it does not count; None if it does.
    played_on : date or None
    bpm, beats_per_change, beat_ms : float or None
    anchor : str or None
    duration_s : float or None
    slots, played : int or None
        Places of the grid, and how many of them have a strum.
    tolerance_ms : float or None
    held : bool or None
    margin : float or None
        The largest of found over asked for by the standard, placement left out (a slower tempo mends no lean; takes of
        older versions count it); None where it was not judged, or by a version older still.
    even_share : float or None
        Share of strums within the tolerance.
    warnings : tuple of str
        Codes.
    jitter_ms, jitter_within_ms, mean_offset_ms, drift_ms_per_min : Figure or None
    findings : mapping of str to Figure
        What the take was asked about, shown or not: ``"changes"``, ``"pair.A>D"``, ``"part.2"``, ``"drift"`` …
    """

    id: int
    exercise_id: int | None
    source: str
    failed: bool
    excluded: bool
    replaced: bool
    not_counted: str | None
    played_on: date | None
    bpm: float | None
    beats_per_change: float | None
    beat_ms: float | None
    anchor: str | None
    duration_s: float | None
    slots: int | None
    played: int | None
    tolerance_ms: float | None
    held: bool | None
    margin: float | None
    even_share: float | None
    warnings: tuple[str, ...]
    jitter_ms: Figure | None
    jitter_within_ms: Figure | None
    mean_offset_ms: Figure | None
    drift_ms_per_min: Figure | None
    findings: Mapping[str, Figure]


@dataclass(frozen=True, slots=True, kw_only=True)
class Practised:
    """An exercise of a student, and the goal that was set last."""

    label: str
    beats_per_change: float | None
    name: str | None = None
    goal_bpm: float | None = None
    goal_by: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Everything about one student that the weeks are judged from.

    Attributes
    ----------
    student : str
    takes_to_hold : int or None
        Takes of a week that must hold a tempo, where practice.toml told it.
    takes : tuple of PastTake
        Oldest first; those that do not count say why.
    exercises : mapping of int to Practised
        Those that the takes and the assignments name.
    assignments : tuple of Assignment
        What was set to them, oldest first.
    """

    student: str
    takes_to_hold: int | None
    takes: tuple[PastTake, ...]
    exercises: Mapping[int, Practised]
    assignments: tuple[Assignment, ...] = ()


def history(
    connection: sa.Connection, student: str | None, exercise: str | None, *, last: int | None = None
) -> History:
    """The past of one student (the only one, where none is named), of one exercise or of all; perhaps only the last."""
    owner, name = known_student(connection, student)
    only = known_exercise(connection, exercise, owner) if exercise is not None else None
    told = connection.execute(sa.select(students.c.takes_to_hold).where(students.c.id == owner)).scalar()
    return _history(connection, owner, name, told, only, last)


def since_set(connection: sa.Connection, student: str) -> History:
    """What was set to a student last, and the takes since then, without their figures; no takes where nothing was."""
    owner, name = known_student(connection, student)
    day = connection.execute(
        sa.select(sa.func.max(assignments.c.given_on)).where(assignments.c.student_id == owner)
    ).scalar()
    if day is None:
        return History(student=name, takes_to_hold=None, takes=(), exercises={})
    return _history(connection, owner, name, None, None, None, since=day)


def _history(
    connection: sa.Connection,
    owner: int,
    name: str,
    told: int | None,
    only: Same | None,
    last: int | None,
    *,
    since: date | None = None,
) -> History:
    query = sa.select(*(takes.c[column] for column in _COLUMNS)).where(takes.c.student_id == owner)
    if only is not None:
        query = query.where(takes.c.exercise_id.in_(only.ids))
    if since is not None:
        query = query.where(takes.c.played_on >= since)
    when = (takes.c.played_on, takes.c.played_at, takes.c.id)
    if last is None:
        rows = connection.execute(query.order_by(*when)).all()
    else:
        latest_first = [column.desc().nulls_last() for column in when]
        rows = connection.execute(query.order_by(*latest_first).limit(last)).all()[::-1]
    figure = _figures(connection, [row.id for row in rows] if since is None else [])
    same = (only,) if only is not None else used_by(connection, owner)
    number = {row: one.id for one in same for row in one.ids}
    past = tuple(_past_take(row, number.get(row.exercise_id), figure.get(row.id, {})) for row in rows)
    given = _given(assigned.read(connection, name, since=since), number)
    used = {take.exercise_id for take in past} | {one.exercise_id for one in given}
    return History(
        student=name,
        takes_to_hold=told,
        takes=past,
        exercises=_practised(connection, owner, [one for one in same if one.id in used]),
        assignments=given,
    )


def _given(every: Sequence[Assignment], number: Mapping[int, int]) -> tuple[Assignment, ...]:
    """What was set, by the exercises' numbers; one that was told anew under another name is one."""
    found: dict[tuple[int, date], Assignment] = {}
    for one in every:
        its = number.get(one.exercise_id) if one.exercise_id is not None else None
        if its is not None:
            found[its, one.given_on] = replace(one, exercise_id=its)
    return tuple(found.values())


def _practised(connection: sa.Connection, owner: int, same: Sequence[Same]) -> dict[int, Practised]:
    query = sa.select(goals).where(goals.c.student_id == owner).order_by(goals.c.id)
    latest = {row.exercise_id: row for row in connection.execute(query)}
    found = {}
    for one in same:
        goal = max((latest[row] for row in one.ids if row in latest), key=lambda row: row.id, default=None)
        told = one.told()
        found[one.id] = Practised(
            label=one.label,
            beats_per_change=told["beats_per_change"],
            name=told["name"],
            goal_bpm=goal.bpm if goal is not None else None,
            goal_by=goal.by_date if goal is not None else None,
        )
    return found


def _figures(connection: sa.Connection, ids: Sequence[int]) -> dict[int, dict[str, Figure]]:
    """What the weeks look at, by take and by place."""
    found: dict[int, dict[str, Figure]] = {}
    for start in range(0, len(ids), CHUNK):
        query = sa.select(figures).where(
            figures.c.take_id.in_(ids[start : start + CHUNK]),
            sa.or_(figures.c.place.in_(_PLACES), figures.c.place.startswith(_FINDINGS)),
            figures.c.value.is_not(None),
        )
        for row in connection.execute(query):
            found.setdefault(row.take_id, {})[row.place] = Figure(row.value, row.low, row.high)
    return found


def _past_take(row: Any, exercise: int | None, figure: Mapping[str, Figure]) -> PastTake:
    return PastTake(
        id=row.id,
        exercise_id=exercise,
        source=row.source,
        failed=row.status == "failed",
        excluded=row.excluded is not None,
        replaced=row.superseded_by is not None,
        not_counted=why_not_counted(row),
        played_on=row.played_on,
        bpm=row.bpm,
        beats_per_change=row.beats_per_change,
        beat_ms=row.beat_ms,
        anchor=row.anchor,
        duration_s=row.duration_s,
        slots=row.slots,
        played=row.played,
        tolerance_ms=row.tolerance_ms,
        held=row.held,
        margin=row.margin,
        even_share=row.even_share,
        warnings=tuple((row.warnings or "").split()),
        jitter_ms=figure.get("timing.jitter_ms"),
        jitter_within_ms=figure.get("timing.jitter_within_ms"),
        mean_offset_ms=figure.get("timing.mean_offset_ms"),
        drift_ms_per_min=figure.get("timing.drift_ms_per_min"),
        findings={
            place.removeprefix(_FINDINGS).removesuffix(".size"): found
            for place, found in figure.items()
            if place.startswith(_FINDINGS)
        },
    )
