"""What a student is sent about one take: what went well, the one thing, what to do.

Words that a twelve-year-old reads, at most two numbers, at most 240 characters.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.obstacle_words import bars_in_words, change_in_words
from strumclock.report.places import place_name

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.verdict import Held, Obstacle, Verdict

LONGEST = 240
CAUTION = "Stop if anything hurts."
WELL_EVEN = 0.9  # share of the strums within the tolerance from which "even" is true


def message(measurement: Measurement, *, name: str | None = None) -> str:
    """The message for the student.

    Parameters
    ----------
    measurement : Measurement
    name : str, optional
        The student's.

    Returns
    -------
    str
        At most 240 characters.
    """
    held, verdict = measurement.held, measurement.verdict
    if held is None or verdict is None:
        return ""
    parts = [_well(measurement, held, verdict), _one_thing(measurement, verdict), _to_do(verdict)]
    parts += [_next(measurement, held, verdict), CAUTION if held.next_bpm is not None else ""]
    hello = f"{name}, " if name else ""
    for leave_out in ((), (0,), (0, 4)):  # what a long name or chord pair leaves no room for
        said = [part for i, part in enumerate(parts) if part and i not in leave_out]
        text = " ".join(said)
        text = f"{hello}{text[:1].lower()}{text[1:]}" if hello and not text.startswith("I ") else text
        if len(text) <= LONGEST:
            return text
    return text[: LONGEST - 1].rsplit(" ", 1)[0] + "…"


def _well(m: Measurement, held: Held, verdict: Verdict) -> str:
    """Something that went well and is true of this take; nothing where nothing is."""
    if verdict.state == "cannot-tell":
        return ""
    kinds = {obstacle.kind for obstacle in verdict.obstacles}
    if verdict.state == "held":
        tempo = f" {words.bpm(m.exercise.bpm)}" if m.exercise.bpm is not None else " the tempo"
        return f"You held{tempo}: well played."
    if kinds & {"stopped", "own-tempo"}:
        return ""
    if held.even_share is not None and held.even_share >= WELL_EVEN and "scatter" not in kinds:
        return "Your strums are nicely even."
    if not m.omitted and "pattern" not in m.inferred and "added" not in kinds:
        return "You played every strum of the pattern."
    fitted = m.grid is not None and m.grid.anchor == "fitted"
    if not kinds & {"drift", "step"} and not fitted:
        return "You kept the speed of the click."
    return ""


def _one_thing(m: Measurement, verdict: Verdict) -> str:
    """The one thing that stands in the way."""
    if not verdict.obstacles:
        return ""
    first = verdict.obstacles[0]
    return _THINGS[first.kind](first, m.exercise.per_beat or 1)


def _changes(first: Obstacle, _: int) -> str:
    pair = first.where
    late = "late" if first.size.value > 0 else "early"
    if pair.to_chord:
        return f"When you change {change_in_words(pair)}, the new chord comes {late}."
    return f"When you change chords, the new chord comes {late}."


def _place(first: Obstacle, per_beat: int) -> str:
    late = "later" if first.size.value > 0 else "earlier"
    if first.where.beat is not None:
        return f"Your strum on beat {first.where.beat} comes {late} than the others."
    name = place_name(first.where.part or 1, per_beat)
    which = "strums on the beat" if name == "beat" else f"strums on the “{name}”"
    return f"Your {which} come {late} than the others."


def _drift(first: Obstacle, _: int) -> str:
    way = "get slower than" if first.size.value > 0 else "run ahead of"
    return f"Bit by bit you {way} the click."


def _step(first: Obstacle, _: int) -> str:
    late = "later" if first.size.value > 0 else "earlier"
    return f"From bar {first.where.bars[0]} on you come in {late} than before."


def _placement(first: Obstacle, _: int) -> str:
    late = "after" if first.size.value > 0 else "before"
    return f"Your strums come {late} the click. If you meant that, fine!"


_THINGS = {
    "changes": _changes,
    "place": _place,
    "drift": _drift,
    "step": _step,
    "placement": _placement,
    "scatter": lambda *_: "Your strums are not even yet: some come early, some late.",
    "omitted": lambda *_: "Some strums of the pattern are missing.",
    "added": lambda *_: "You play more strums than the pattern has.",
    "stopped": lambda *_: "You stopped in the middle.",
    "own-tempo": lambda *_: "For a while you kept a speed of your own, not the click's.",
}


def _to_do(verdict: Verdict) -> str:
    """The task, in the student's words."""
    where = verdict.task.where
    bars = bars_in_words(where.bars[:1]) if where.bars else "that place"
    return {
        "play-through": "Play on to the end, even when a chord goes wrong.",
        "hear-where-parted": "Listen to your recording, find where you and the click part, and play just that place.",
        "keep-hand-moving": "Keep your strumming hand moving all the time, even when the chord is not ready.",
        "pattern-as-written": "Let your hand pass above the strings where the pattern has no strum.",
        "change-alone": "Play only the change, slowly, and never stop your strumming hand.",
        "foot-with-click": "Tap your foot with the click and let your hand follow your foot.",
        "hear-step": f"Listen to {bars} and play across it with the click.",
        "muted-onto-click": "Mute the strings and strum until you and the click are one sound.",
        "count-place": "Count aloud, slowly, and listen to that strum.",
        "muted-with-click": "Mute the strings and strum with the click until your hand swings evenly.",
        "longer-take": "This recording is too short to tell. Please play for a minute.",
        "check-exercise": "This recording does not fit the exercise. Please check what to play, and record it again.",
        "record-again": "The recording is hard to hear. Please record again: phone close to you, click out loud.",
        "go-on": "Go on like this.",
    }[verdict.task.code]


def _next(m: Measurement, held: Held, verdict: Verdict) -> str:
    """The next tempo; nothing where the take is to be recorded again."""
    if held.next_bpm is None or verdict.task.code in ("longer-take", "record-again", "check-exercise"):
        return ""
    bpm = m.exercise.bpm
    if bpm is not None and abs(held.next_bpm - bpm) <= 0.5:
        return f"Next time keep the click at {words.bpm(held.next_bpm)}."
    return f"Next time set the click to {words.bpm(held.next_bpm)}."
