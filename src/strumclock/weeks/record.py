"""From the journal to progress: one student's exercises, or a class in order of need."""

from __future__ import annotations

import os
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from strumclock.journal import History, Journal, PastTake, plain
from strumclock.showing import Shown
from strumclock.weeks.assigned import Standing, standings
from strumclock.weeks.causes import sizes_of
from strumclock.weeks.exercise import ExerciseProgress, exercise_progress
from strumclock.weeks.keeping import conclusions
from strumclock.weeks.need import by_need, need_of
from strumclock.weeks.week import TAKES_TO_HOLD, Point

if TYPE_CHECKING:
    import pandas as pd

UNSURE_TAKES = 8  # the takes that are looked at: about a month's
DOUBTS = frozenset({"clipped", "truncated", "gaps", "poor-fit", "few-strums", "click-fades", "tempo-differs"})
"""Warnings that say the measurement is less sure; the others say what was inferred or what the player did."""
MOST_STANDINGS = 4
"""Assignments that a class's list keeps of each student, the last ones."""
AWAITED = ("waiting", "missing")
JITTER_TO_EVENNESS = 1.6449
"""Nine tenths of normal errors lie within so many standard deviations."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Progress(Shown):
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
    standings : tuple of Standing
        What was set, and what came of it; the last one given first.
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
    standings: tuple[Standing, ...] = ()

    @property
    def silent_days(self) -> int | None:
        """Days since the last take."""
        return (self.today - self.last_played).days if self.last_played else None

    @property
    def need(self) -> str:
        """What the teacher should look at first: one of `strumclock.weeks.need.NEEDS`."""
        return need_of(self)

    def to_frame(self) -> pd.DataFrame:
        """One row a week and exercise: what was held and tried, the tempo in reach, jitter and mean offset."""
        import pandas as pd

        names = ("held_bpm", "once_held_bpm", "failed_bpm", "tried_bpm", "reached_bpm", "changes_per_minute")
        rows = []
        for exercise in self.exercises:
            for week in exercise.weeks:
                row: dict[str, Any] = {"student": self.student, "exercise": exercise.label, "week": week.name}
                row |= {"monday": week.monday, "n_takes": week.n_takes, "n_paper": week.n_paper}
                row |= {name: getattr(week, name) for name in names}
                reach = dict(exercise.reach.weeks).get(week.monday) if exercise.reach else None
                for part, key in (("", "value"), ("_low", "low"), ("_high", "high")):
                    row["in_reach_bpm" + part] = getattr(reach, key) if reach else None
                for name in ("jitter_ms", "offset_ms"):
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

    Returns
    -------
    Progress

    Raises
    ------
    UsageError
        If there is no such student or exercise.

    Examples
    --------
    >>> import tempfile
    >>> from strumclock.examples import LAST_DAY, example_journal
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     weeks = progress(example_journal(folder), "Ines", today=LAST_DAY)
    >>> weeks.n_takes, weeks.exercises[0].highest_held_bpm
    (20, 80.0)
    """
    return _progress(journal.history(student, exercise), today or date.today(), takes_to_hold)


def class_list(
    journal: Journal,
    *,
    today: date | None = None,
    takes_to_hold: int | None = None,
    below: str | os.PathLike[str] | None = None,
    exercise: str | None = None,
    since: date | None = None,
    missing: bool = False,
    students: Collection[str] | None = None,
) -> tuple[Progress, ...]:
    """Every student of a journal, those first who need the teacher most: see `strumclock.weeks.need`.

    Each has the exercise played last only, without its single takes. What was concluded before from the same takes is
    read from the journal: see `strumclock.weeks.keeping`.

    Parameters
    ----------
    journal : Journal
    today : date, optional
        The day that silence is counted to; today.
    takes_to_hold : int, optional
        Takes of a week that must hold a tempo.
    below : path, optional
        Only students whose takes lie in this folder or below: one teacher's, in a school's journal.
    exercise : str, optional
        Only those who practise it now, by its name or a part of it.
    since : date, optional
        Only those who have played on this day or later.
    missing : bool
        Only those from whom an exercise is missing or still awaited.
    students : collection of str, optional
        Only these, in any spelling of their names.

    Returns
    -------
    tuple of Progress

    Examples
    --------
    >>> import tempfile
    >>> from strumclock.examples import LAST_DAY, example_journal
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [(one.student, one.need) for one in class_list(example_journal(folder), today=LAST_DAY)]
    [('Joris', 'stuck'), ('Ines', 'fine')]
    """
    day = today or date.today()

    def conclude(past: History) -> Progress:
        whole = _progress(past, date.min, takes_to_hold, only_now=True)
        now = tuple(replace(one, points=()) for one in whole.exercises)
        return replace(whole, exercises=now, standings=whole.standings[:MOST_STANDINGS])

    names = students
    if below is not None:
        named = None if students is None else {plain(name) for name in students}
        names = [one for one in journal.students_below(below) if named is None or plain(one) in named]
    found = conclusions(journal, conclude, Progress, options=f"takes_to_hold={takes_to_hold}", names=names)
    chosen = [replace(one, today=day) for one in found]
    if exercise is not None:
        wanted = plain(exercise)
        chosen = [one for one in chosen if any(wanted in plain(e.label) for e in one.exercises)]
    if since is not None:
        chosen = [one for one in chosen if one.last_played is not None and one.last_played >= since]
    if missing:
        chosen = [one for one in chosen if any(s.state(day) in AWAITED for s in one.standings[:1])]
    return by_need(chosen)


def _progress(past: History, today: date, takes_to_hold: int | None, *, only_now: bool = False) -> Progress:
    """One student's weeks: of every exercise, or of the one played last."""
    counted = [take for take in past.takes if take.not_counted is None]
    by_exercise: dict[int, list[Point]] = {}
    for take in counted:
        if take.exercise_id is not None:
            by_exercise.setdefault(take.exercise_id, []).append(_point(take))
    in_order = sorted(by_exercise, key=lambda key: _last_played(by_exercise[key]), reverse=True)
    found = [
        exercise_progress(
            past.exercises[key].label,
            by_exercise[key],
            beats_per_change=past.exercises[key].beats_per_change,
            goal_bpm=past.exercises[key].goal_bpm,
            goal_by=past.exercises[key].goal_by,
            takes_to_hold=takes_to_hold or past.takes_to_hold or TAKES_TO_HOLD,
        )
        for key in (in_order[:1] if only_now else in_order)
    ]
    given = standings(past.assignments, past.takes, past.exercises)
    doubtful, recent, doubts = _doubts(past.takes)
    return Progress(
        student=past.student,
        today=today,
        exercises=tuple(found),
        last_played=max((take.played_on for take in counted if take.played_on), default=None),
        n_takes=len(past.takes),
        n_not_counted=len(past.takes) - len(counted),
        doubtful=doubtful,
        n_recent=recent,
        doubts=doubts,
        standings=given,
    )


def _last_played(points: Sequence[Point]) -> tuple[date, int]:
    """What the exercises are put in order by: which was played last; of one day's the one with more takes."""
    return max(point.played_on for point in points), len(points)


def _point(take: PastTake) -> Point:
    assert take.played_on is not None, "a take without a date does not count"
    jitter, offset = take.jitter_ms, take.mean_offset_ms
    within = take.jitter_within_ms or jitter
    return Point(
        take=take.id,
        played_on=take.played_on,
        bpm=take.bpm,
        held=take.held,
        beats_per_change=take.beats_per_change,
        jitter_ms=jitter.value if jitter is not None else None,
        offset_ms=offset.value if offset is not None else None,
        margin=take.margin if take.margin is not None else _margin_by_evenness(take),
        sizes=sizes_of(
            within.value if within is not None else None,
            {name: figure.value for name, figure in take.findings.items()},
            take.slots,
            take.played,
        ),
        paper=take.source == "paper",
        doubtful=bool(doubts_of(take)),
    )


def _margin_by_evenness(take: PastTake) -> float | None:
    """The margin of a take that was written down before margins were: by its jitter, on the side that it was judged."""
    if take.held is None or take.jitter_ms is None or not take.tolerance_ms:
        return None
    margin = JITTER_TO_EVENNESS * take.jitter_ms.value / take.tolerance_ms
    return min(margin, 1.0) if take.held else max(margin, 1.0)


def doubts_of(take: PastTake) -> list[str]:
    """Why a recording's measurement is not sure: codes."""
    if take.source != "recording" or take.excluded or take.replaced:
        return []
    if take.failed:
        return ["could not be measured"]
    codes = [code for code in take.warnings if code in DOUBTS]
    if take.anchor == "fitted":
        codes.append("no click heard")
    if take.held is None:
        codes.append("too little to judge")
    return codes


def _doubts(takes: Sequence[PastTake]) -> tuple[int, int, tuple[str, ...]]:
    recent = [take for take in takes if take.source == "recording" and not take.excluded][-UNSURE_TAKES:]
    lists = [doubts_of(take) for take in recent]
    counts: dict[str, int] = {}
    for codes in lists:
        for code in codes:
            counts[code] = counts.get(code, 0) + 1
    ordered = tuple(sorted(counts, key=lambda code: (-counts[code], code)))
    return sum(bool(codes) for codes in lists), len(recent), ordered
