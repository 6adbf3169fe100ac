"""What a student is sent about one take: what went well, the one thing, what to do.

Words that a twelve-year-old reads, at most two numbers, at most 240 characters, in the student's language.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report.language import Language, language_of
from strumclock.report.student_words import not_yet_ways, obstacle_ways
from strumclock.report.task_words import task_ways
from strumclock.verdict import WELL_EVEN

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.verdict import Held, Verdict

LONGEST = 240  # letters (DESIGN)


def message(measurement: Measurement, *, name: str | None = None, language: str | Language | None = None) -> str:
    """The message for the student.

    Parameters
    ----------
    measurement : Measurement
    name : str, optional
        The student's.
    language : str or Language, optional
        See `strumclock.report.language`; English if left out.

    Returns
    -------
    str
        At most 240 characters.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.message(example_take())[:62])
    You kept the speed of the click. When you change chords, the n
    """
    held, verdict = measurement.held, measurement.verdict
    if held is None or verdict is None:
        return ""
    tongue = language_of(language)
    caution = tongue.say("Stop if anything hurts.") if held.next_bpm is not None else ""
    parts = [_well(measurement, held, verdict, tongue), _one_thing(measurement, verdict, tongue)]
    parts += [task_ways(verdict.task.code, verdict.task.where, tongue)[0]]
    parts += [_next(measurement, held, verdict, tongue), caution]
    hello = [tongue.say("Hi {name}!", name=name)] if name else []
    text = ""
    for leave_out in ((), (0,), (0, 4), (0, 3), (0, 1, 4)):  # what a long name or sentence leaves no room for
        text = " ".join([*hello, *(part for i, part in enumerate(parts) if part and i not in leave_out)])
        if len(text) <= LONGEST:
            return text
    return text[: LONGEST - 1].rsplit(" ", 1)[0] + "…"


def _well(m: Measurement, held: Held, verdict: Verdict, language: Language) -> str:
    """Something that went well and is true of this take; nothing where nothing is."""
    say = language.say
    if verdict.state == "cannot-tell":
        return ""
    kinds = {obstacle.kind for obstacle in verdict.obstacles}
    if verdict.state == "held":
        if m.exercise.bpm is None:
            return say("You held the tempo: well played.")
        return say("You held {bpm}: well played.", bpm=language.tempo(m.exercise.bpm))
    if kinds & {"stopped", "own-tempo"}:
        return ""
    if held.even_share is not None and held.even_share >= WELL_EVEN and "scatter" not in kinds:
        return say("Your strums are nicely even.")
    if not m.omitted and "pattern" not in m.inferred and "added" not in kinds:
        return say("You played every strum of the pattern.")
    fitted = m.grid is not None and m.grid.anchor == "fitted"
    if not kinds & {"drift", "step"} and not fitted:
        return say("You kept the speed of the click.")
    return ""


def _one_thing(m: Measurement, verdict: Verdict, language: Language) -> str:
    """The one thing that stands in the way; of a take that did not hold, that no one thing does."""
    if not verdict.obstacles:
        return not_yet_ways(language)[0] if verdict.state == "not-yet" else ""
    first, per_beat = verdict.obstacles[0], m.exercise.per_beat or 1
    late = first.size.value > 0
    kind = "never-with-click" if verdict.task.code == "find-click" else first.kind
    return obstacle_ways(kind, late=late, where=first.where, per_beat=per_beat, language=language)[0]


def _next(m: Measurement, held: Held, verdict: Verdict, language: Language) -> str:
    """The next tempo; nothing where the take is to be recorded again."""
    if held.next_bpm is None or verdict.task.code in ("longer-take", "record-again", "check-exercise"):
        return ""
    bpm, following = m.exercise.bpm, language.tempo(held.next_bpm)
    if bpm is not None and abs(held.next_bpm - bpm) <= 0.5:
        return language.say("Next time keep the click at {bpm}.", bpm=following)
    return language.say("Next time set the click to {bpm}.", bpm=following)
