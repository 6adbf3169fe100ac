"""What a student can do about what stands in the way, in words that a twelve-year-old reads, each in several ways."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from strumclock.report.student_words import Ways

if TYPE_CHECKING:
    from strumclock.report.language import Language
    from strumclock.verdict import Where


def task_ways(code: str, where: Where, language: Language) -> Ways:
    """What to do about it, for a `strumclock.verdict.Task`'s code.

    Examples
    --------
    >>> from strumclock.report.language import ENGLISH
    >>> from strumclock.verdict import Where
    >>> task_ways("go-on", Where(), ENGLISH)
    ('Go on like this.', 'Keep playing it like this.', 'Play it like this again.')
    """
    return _TASKS[code](language, where)


def _play_through(language: Language, _: Where) -> Ways:
    return (
        language.say("Play on to the end, even when a chord goes wrong."),
        language.say("Keep going to the last bar, even if a chord goes wrong."),
    )


def _hear_where_parted(language: Language, _: Where) -> Ways:
    return (
        language.say("Listen to your recording, find where you and the click part, and play just that place."),
        language.say("In your recording find the place where the click and you part, and play just that."),
    )


def _find_click(language: Language, _: Where) -> Ways:
    return (
        language.say("Listen to the click for two bars, then strum once on each click, with a hand on the strings."),
        language.say("Lay a hand on the strings, listen to the click for two bars, then strum on every click."),
    )


def _keep_hand_moving(language: Language, _: Where) -> Ways:
    return (
        language.say("Keep your strumming hand moving all the time, even when the chord is not ready."),
        language.say("Let your strumming hand swing on and on, even if a chord is not ready yet."),
    )


def _pattern_as_written(language: Language, _: Where) -> Ways:
    return (
        language.say("Let your hand pass above the strings where the pattern has no strum."),
        language.say("Say the pattern aloud, and swing past the strings where it has no strum."),
    )


def _change_alone(language: Language, _: Where) -> Ways:
    return (
        language.say("Play only the change, slowly, and never stop your strumming hand."),
        language.say("Go back and forth at the change, slowly, and let your strumming hand keep moving."),
        language.say("Strum the change over and over, as slowly as you need, with no gap between the chords."),
    )


def _foot_with_click(language: Language, _: Where) -> Ways:
    return (
        language.say("Tap your foot with the click and let your hand follow your foot."),
        language.say("First tap just your foot to the click, then let your hand join in."),
        language.say("Play softly, so that you hear the click all the time."),
    )


def _hear_step(language: Language, where: Where) -> Ways:
    if not where.bars:
        return (
            language.say("Listen for that place and play across it with the click."),
            language.say("Find that place in your recording and play across it with the click."),
        )
    bar = str(where.bars[0])
    return (
        language.say("Listen to bar {bar} and play across it with the click.", bar=bar),
        language.say("Start a little before bar {bar} and play across it with the click.", bar=bar),
    )


def _muted_onto_click(language: Language, _: Where) -> Ways:
    return (
        language.say("Mute the strings and strum until you and the click are one sound."),
        language.say("Lay a hand on the strings and strum until you and the click sound as one."),
    )


def _count_place(language: Language, _: Where) -> Ways:
    return (
        language.say("Count aloud, slowly, and listen to that strum."),
        language.say("Play it slowly, count aloud, and hear where that strum falls."),
    )


def _muted_with_click(language: Language, _: Where) -> Ways:
    return (
        language.say("Mute the strings and strum with the click until your hand swings evenly."),
        language.say("Lay a hand on the strings and strum with the click until it feels even."),
        language.say("Play one chord only, and strum with the click until your hand swings evenly."),
    )


def _longer_take(language: Language, _: Where) -> Ways:
    return (
        language.say("This recording is too short to tell: please play for a minute."),
        language.say("Please play for a whole minute: this recording is too short to tell."),
    )


def _check_exercise(language: Language, _: Where) -> Ways:
    return (
        language.say("This recording does not fit the exercise: please check what to play and record it again."),
        language.say("What you played does not fit the exercise: please look at it and record it again."),
    )


def _record_again(language: Language, _: Where) -> Ways:
    return (
        language.say("The recording is hard to hear: please put the phone close, the click out loud, and play again."),
        language.say("Please record it again with the phone close to you and the click out loud: it is hard to hear."),
    )


def _once_more(language: Language, _: Where) -> Ways:
    return (
        language.say("Play it a few times more and listen to the click all the way."),
        language.say("Give it another go, calmly, and keep an ear on the click."),
    )


def _go_on(language: Language, _: Where) -> Ways:
    return (
        language.say("Go on like this."),
        language.say("Keep playing it like this."),
        language.say("Play it like this again."),
    )


_TASKS: dict[str, Callable[[Language, Where], Ways]] = {
    "play-through": _play_through,
    "hear-where-parted": _hear_where_parted,
    "find-click": _find_click,
    "keep-hand-moving": _keep_hand_moving,
    "pattern-as-written": _pattern_as_written,
    "change-alone": _change_alone,
    "foot-with-click": _foot_with_click,
    "hear-step": _hear_step,
    "muted-onto-click": _muted_onto_click,
    "count-place": _count_place,
    "muted-with-click": _muted_with_click,
    "longer-take": _longer_take,
    "check-exercise": _check_exercise,
    "record-again": _record_again,
    "once-more": _once_more,
    "go-on": _go_on,
}
