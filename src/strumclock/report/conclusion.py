"""The verdict of one take in a few lines, for the teacher: held or not, what stands in the way, what to do, next tempo.

Every sentence is true of the figures it rests on, also at their edges. Late and early can be meant: nothing scolds.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.obstacle_words import bars_in_words, change_in_words, obstacle_sentence
from strumclock.report.places import part_in_words

if TYPE_CHECKING:
    from strumclock.grid import Exercise
    from strumclock.pipeline import Measurement
    from strumclock.verdict import Criterion, Held

CAUTION = "Stop at any pain or tension."
MOST_OBSTACLES = 2  # a teacher reads three lines
MOST_REASONS = 2  # by hand: a teacher reads three lines


def at_tempo(exercise: Exercise, bpm: float | None) -> str:
    """A tempo with the chord changes a minute that it means in this exercise.

    Examples
    --------
    >>> from strumclock.grid import Exercise
    >>> at_tempo(Exercise(bpm=80, chords=("A", "D"), beats_per_change=4), 84)
    '84 bpm (21 chord changes a minute)'
    """
    if bpm is None:
        return "this tempo"
    if exercise.bpm is None or exercise.changes_per_minute is None:
        return f"{words.bpm(bpm)} bpm"
    rate = exercise.changes_per_minute * bpm / exercise.bpm
    return f"{words.bpm(bpm)} bpm ({words.bpm(rate)} chord changes a minute)"


def tempo_played(measurement: Measurement) -> str:
    """The tempo of a take: ``"80 bpm"``, of one whose click steps ``"70 to 90 bpm in 3 steps"``; empty if unknown."""
    steps, bpm = measurement.steps, measurement.exercise.bpm
    if len(steps) > 1:
        return f"{words.bpm(steps[0].bpm)} to {words.bpm(steps[-1].bpm)} bpm in {len(steps)} steps"
    return "" if bpm is None else f"{words.bpm(bpm)} bpm"


def step_by_step(measurement: Measurement) -> str:
    """Of a take whose click steps: whether each step held, and which broke; nothing for any other."""
    if len(measurement.steps) < 2:
        return ""
    each = [
        f"{words.percent(step.share.value)} at {words.bpm(step.bpm)} bpm"
        for step in measurement.steps
        if step.share is not None
    ]
    broke = next((step for step in measurement.steps if step.held is False), None)
    where = ""
    if broke is not None:
        bars = f" (from bar {broke.bars[0]} on)" if broke.bars is not None else ""
        where = f" It broke at {words.bpm(broke.bpm)} bpm{bars}."
    if not each:
        return where.strip()
    return f"Of the strums {words.listed(each)} lie within the tolerance of their step's average.{where}"


def state(measurement: Measurement) -> str:
    """Held, not yet, or cannot tell, and by which number."""
    m, held, verdict = measurement, measurement.held, measurement.verdict
    if held is None or verdict is None:
        return ""
    at = tempo_played(m) or "this tempo"
    name = held.standard.name
    said = {obstacle.kind for obstacle in verdict.obstacles[:MOST_OBSTACLES]}
    failed = [criterion for criterion in held.failed if criterion.code not in said]
    why = "; ".join(_criterion(criterion, held) for criterion in failed[:MOST_REASONS])
    if verdict.state == "held":
        return words.sentence(f"held: {at} by the standard “{name}”. {_by_how_much(held)}")
    if verdict.state == "not-yet":
        return words.sentence(f"not yet: {at} is not held by the standard “{name}”{': ' * bool(why)}{why}")
    return words.sentence(f"this take cannot tell whether {at} is held{': ' * bool(why)}{why}")


def in_the_way(measurement: Measurement) -> list[str]:
    """What stands in the way, largest first, at most two sentences; where a take holds, what there is to work on."""
    m, held, verdict = measurement, measurement.held, measurement.verdict
    if held is None or verdict is None:
        return []
    per_beat, name = m.exercise.per_beat or 1, held.standard.name
    said = []
    for obstacle in verdict.obstacles[:MOST_OBSTACLES]:
        text = obstacle_sentence(obstacle, per_beat=per_beat, standard_name=name)
        if verdict.state == "not-yet" and obstacle.held_without:
            text = f"{text} Without this the take would hold."
        said.append(text)
    return said


def to_do(measurement: Measurement) -> str:
    """The one thing to do next."""
    held, verdict = measurement.held, measurement.verdict
    if held is None or verdict is None:
        return ""
    where, alone = verdict.task.where, verdict.task.bpm
    slowly = f"at {words.bpm(alone)} bpm" if alone is not None else "slowly"
    which = change_in_words(where)
    pair = f"the change {which}" if which else "the chord changes"
    bars = bars_in_words(where.bars) if where.bars else "the place"
    time = words.clock(where.times_s[0]) if where.times_s else ""
    spot = f"on beat {where.beat}" if where.beat is not None else part_in_words(where.part or 1, _per_beat(measurement))
    return {
        "play-through": "Play it through without stopping, slower if need be; a wrong chord may stay wrong.",
        "hear-where-parted": f"Listen to the recording around {time}, where strums and click part, then play just that "
        "place with the click.",
        "find-click": "Listen to the click for two bars, then play one muted strum on each click and nothing else.",
        "keep-hand-moving": "Keep the strumming hand moving through every stroke, even where the chord is not ready.",
        "pattern-as-written": "Were the added strums meant? Then tell the pattern with them; else let the hand pass "
        "above the strings.",
        "change-alone": f"Play only {pair}, back and forth, {slowly}, the strumming hand never waiting for the other.",
        "foot-with-click": "Tap the foot with the click, and let the hand go with the foot.",
        "hear-step": f"Listen to {bars} and to what happened there, then play across that place with the click.",
        "muted-onto-click": "If on the click is where it should be: play muted strums until click and strum are one "
        "sound.",
        "count-place": f"Count aloud {slowly} and listen only to the strum {spot}{_of_changes(measurement)}.",
        "muted-with-click": "Mute the strings and strum the pattern with the click until the hand swings evenly, then "
        "add the chords.",
        "longer-take": f"Record a longer take: {held.standard.min_slots} strums and "
        f"{held.standard.min_duration_s:g} seconds at least.",
        "check-exercise": "See that tempo, pattern and first downbeat are those that were played.",
        "record-again": "Record it again with the phone nearer to the guitar, the click sounding in the room.",
        "once-more": "Record it once more: one take does not show whether this is a habit or chance.",
        "go-on": "Go on: this tempo sits." if len(measurement.steps) < 2 else "Go on like this.",
    }[verdict.task.code]


def next_take(measurement: Measurement) -> str:
    """The next tempo, with its caution."""
    m, held = measurement, measurement.held
    if len(m.steps) > 1:
        return ""  # which tempo is next depends on the step that breaks, and that stands in a line of its own
    if held is None or held.next_bpm is None:
        return ""
    at, bpm = at_tempo(m.exercise, held.next_bpm), m.exercise.bpm
    if bpm is None or held.next_bpm > bpm + 0.5:
        said = f"next tempo: {at}"
    elif held.next_bpm < bpm - 0.5:
        said = f"take it down to {at}"
    else:
        said = f"stay at {words.bpm(held.next_bpm)} bpm"
    between = " Let the click sound between the beats too." if held.subdivide else ""
    return f"{words.sentence(said)}{between} {CAUTION}"


def _of_changes(measurement: Measurement) -> str:
    """Where a beat lies apart and no chords were told, perhaps it is where they change."""
    where = measurement.verdict.task.where if measurement.verdict is not None else None
    if where is None or where.beat is None or measurement.exercise.chords is not None:
        return ""
    return "; if that is where the chords change, tell them (--chords)"


def _by_how_much(held: Held) -> str:
    """``"97 % of the strums lie within 50 ms of their average (90 % asked for)"``."""
    if held.even_share is None:
        return ""
    share = "All strums lie" if held.even_share == 1 else f"{words.percent(held.even_share)} of the strums lie"
    within = words.tolerance(1e3 * held.tolerance_s)
    return f"{share} within {within} of their average ({words.percent(held.standard.even_share)} asked for)"


def _criterion(criterion: Criterion, held: Held) -> str:
    """What was asked and not met, with both numbers."""
    return _CRITERIA[criterion.code](criterion, words.tolerance(1e3 * held.tolerance_s))


def _uneven(criterion: Criterion, tolerance: str) -> str:
    counted = f"{criterion.found:g} of {criterion.of} strums lie within {tolerance} of their average"
    return f"{counted} and {criterion.asked:g} are asked for"


def _drifted(criterion: Criterion, tolerance: str) -> str:
    side = words.side(criterion.found, late="behind", early="ahead")
    return f"in the end the strums are {side} and {tolerance} are let pass"


def _off_by(criterion: Criterion, which: str, tolerance: str) -> str:
    return f"strums {which} are at least {words.amount(criterion.found)} off and {tolerance} are let pass"


_CRITERIA: dict[str, Callable[[Criterion, str], str]] = {
    "slots": lambda c, _: f"it has {words.count(int(c.found), 'place')} to strum at and {c.asked:g} are asked for",
    "duration": lambda c, _: f"it lasts {words.floor_tenth(c.found)} s and {c.asked:g} s are asked for",
    "nowhere": lambda *_: "no strum fell on a place of the pattern",
    "unsure": lambda *_: "the strums' times are too badly known in this recording",
    "hardly-strums": lambda c, _: f"only {c.found:g} of the {c.of} sounds in it are surely strums of a guitar",
    "omitted": lambda c, _: f"{c.found:g} of {c.of} strums were played and {c.asked:g} are asked for",
    "added": lambda c, _: f"{words.count(int(c.found), 'strum')} too many and {c.asked:g} are let pass",
    "uneven": _uneven,
    "placement": lambda c, _: f"on average they lie {words.side(c.found)} and {c.asked:g} ms are let pass",
    "drift": _drifted,
    "place": lambda c, tolerance: _off_by(c, "at one place", tolerance),
    "changes": lambda c, tolerance: _off_by(c, "at chord changes", tolerance),
    "stopped": lambda *_: "the playing stops in between",
    "own-tempo": lambda *_: "for a stretch the strums keep a tempo of their own",
}


def _per_beat(measurement: Measurement) -> int:
    return measurement.exercise.per_beat or 1
