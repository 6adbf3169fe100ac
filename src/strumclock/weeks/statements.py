"""What can be said to a student about a week, without its words: statements, and the reply that they make together."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from strumclock.verdict import Where


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """One thing that is said, without its words.

    Attributes
    ----------
    code : str
        What: ``"better-tempo"``, ``"obstacle-changes-late"``, ``"task-change-alone"`` …
    where : Where
        Chord pair, beat, part of the beat, bar.
    bpm : float or None
        A tempo that was held, or the one to play next.
    rises : bool
        Whether that next tempo is faster than the last one.
    subdivide : bool
        Whether to let the click sound between the beats too.
    n : int
        How many takes it is about.
    day : date or None
        By when.
    exercise : str
        The exercise's name, where it is told.
    per_beat : int
        Parts of a beat, to name a place.
    """

    code: str
    where: Where = field(default_factory=Where)
    bpm: float | None = None
    rises: bool = False
    subdivide: bool = False
    n: int = 0
    day: date | None = None
    exercise: str = ""
    per_beat: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What one student is told.

    Attributes
    ----------
    student : str
    statements : tuple of Statement
        At most three; none where the last answer still stands: nothing came since.
    exercise_id : int or None
        The exercise that it is about.
    heard : int
        Number of the newest take that it was written from; 0 for none.
    answered_on : date or None
        When the student was last told something.
    """

    student: str
    statements: tuple[Statement, ...]
    exercise_id: int | None = None
    heard: int = 0
    answered_on: date | None = None
