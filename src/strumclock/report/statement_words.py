"""The words for what a student is told about a week: every statement of `strumclock.weeks.answering`, in several ways.

Words that a twelve-year-old reads, no statistics, nothing that scolds, and nothing that the takes do not show.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.report.student_words import Ways, not_yet_ways, obstacle_ways
from strumclock.report.task_words import task_ways

if TYPE_CHECKING:
    from strumclock.report.language import Language
    from strumclock.weeks.statements import Statement

FULL_STOPS = ".。"
LATE = "-late"


def ways_of(statement: Statement, language: Language) -> Ways:
    """All ways to say something.

    Examples
    --------
    >>> from strumclock.report.language import ENGLISH
    >>> from strumclock.weeks.statements import Statement
    >>> ways_of(Statement(code="held", bpm=72, n=2), ENGLISH)[0]
    'You held 72 in 2 of your recordings: well played.'
    """
    code = statement.code
    if code.startswith("obstacle-"):
        kind = code.removeprefix("obstacle-").removesuffix(LATE).removesuffix("-early")
        where, late = statement.where, code.endswith(LATE)
        return obstacle_ways(kind, late=late, where=where, per_beat=statement.per_beat, language=language)
    if code.startswith("task-"):
        return _with_tempo(statement, language)
    return _WAYS[code](statement, language)


def _with_tempo(step: Statement, language: Language) -> Ways:
    """A task, and the tempo at which to record it."""
    tasks = task_ways(step.code.removeprefix("task-"), step.where, language)
    if step.bpm is None:
        return tasks
    say, values = language.say, {"bpm": language.tempo(step.bpm)}
    ways = []
    for number, sentence in enumerate(tasks):
        task = {"task": sentence.rstrip(FULL_STOPS), **values}
        if step.subdivide:
            text = say("{task}; then record it at {bpm}, with a click between the beats too.", **task)
        elif step.rises:
            text = (
                say("{task}; then record it with the click at {bpm}, and stop if anything hurts.", **task)
                if number % 2
                else say("{task}; then try {bpm} on the click, and stop if anything hurts.", **task)
            )
        else:
            text = (
                say("{task}; then record it at {bpm}.", **task)
                if number % 2
                else say("{task}; then record it with the click at {bpm}.", **task)
            )
        ways.append(text)
    return tuple(ways)


def _better_tempo(statement: Statement, language: Language) -> Ways:
    bpm = language.tempo(statement.bpm or 0.0)
    return (
        language.say("You held {bpm}: your fastest so far in this exercise.", bpm=bpm),
        language.say("So far {bpm} is the fastest that you have held in this exercise.", bpm=bpm),
    )


def _better_rising(_: Statement, language: Language) -> Ways:
    return (
        language.say("This is going better than a few weeks ago."),
        language.say("Week by week you play this more surely."),
    )


def _better_changes(statement: Statement, language: Language) -> Ways:
    say, where = language.say, statement.where
    if where.from_chord and where.to_chord:
        pair = {"before": where.from_chord, "after": where.to_chord}
        return (
            say("Your change from {before} to {after} sits better than some weeks ago.", **pair),
            say("From {before} to {after} you come in closer to the beat than some weeks ago.", **pair),
        )
    if where.to_chord:
        return (
            say("Your changes into {after} sit better than some weeks ago.", after=where.to_chord),
            say("Into {after} you come in closer to the beat than some weeks ago.", after=where.to_chord),
        )
    return (
        say("Your chord changes sit better than some weeks ago."),
        say("When you change chords you come in closer to the beat than some weeks ago."),
    )


def _better_beat(statement: Statement, language: Language) -> Ways:
    beat = str(statement.where.beat)
    return (
        language.say("Your strum on beat {beat} fits in better than some weeks ago.", beat=beat),
        language.say("Beat {beat} lies closer to the other beats than some weeks ago.", beat=beat),
    )


def _better_part(_: Statement, language: Language) -> Ways:
    return (
        language.say("The strums of each beat fit together better than some weeks ago."),
        language.say("Within the beat your strums lie better than some weeks ago."),
    )


def _better_drift(_: Statement, language: Language) -> Ways:
    return (
        language.say("You keep to the speed of the click better than some weeks ago."),
        language.say("You and the click stay together better than some weeks ago."),
    )


def _better_scatter(_: Statement, language: Language) -> Ways:
    return (
        language.say("Your strums are more even than some weeks ago."),
        language.say("Your strumming has become more even."),
    )


def _better_omitted(_: Statement, language: Language) -> Ways:
    return (
        language.say("You leave out fewer strums than some weeks ago."),
        language.say("More strums of the pattern are there than some weeks ago."),
    )


def _held(statement: Statement, language: Language) -> Ways:
    bpm, n = language.tempo(statement.bpm or 0.0), statement.n
    return (
        language.count(
            "You held {bpm} in one of your recordings: well played.",
            "You held {bpm} in {n} of your recordings: well played.",
            n,
            bpm=bpm,
        ),
        language.count(
            "You stayed with the click at {bpm} in one of your recordings.",
            "You stayed with the click at {bpm} in {n} of your recordings.",
            n,
            bpm=bpm,
        ),
        language.say("You kept up with the click at {bpm}.", bpm=bpm),
    )


def _even(_: Statement, language: Language) -> Ways:
    return (
        language.say("Your strums are nicely even."),
        language.say("Your hand swings evenly."),
        language.say("Strum after strum you play evenly."),
    )


def _every_strum(_: Statement, language: Language) -> Ways:
    return (
        language.say("You played every strum of the pattern."),
        language.say("No strum of the pattern was missing."),
        language.say("All strums of the pattern were there."),
    )


def _thanks(statement: Statement, language: Language) -> Ways:
    return (
        language.count("Thank you for your recording.", "Thank you for your {n} recordings.", statement.n),
        language.count("Good to hear from you.", "Good to have {n} recordings from you.", statement.n),
        language.count("Your recording is here.", "Your {n} recordings are here.", statement.n),
    )


def _held_noted(statement: Statement, language: Language) -> Ways:
    bpm = language.tempo(statement.bpm or 0.0)
    return (
        language.say("You held {bpm}: well played.", bpm=bpm),
        language.say("You stayed with the click at {bpm}: well done.", bpm=bpm),
    )


def _thanks_noted(_: Statement, language: Language) -> Ways:
    return (
        language.say("Thank you for noting down what you played."),
        language.say("Good that you note down what you play."),
    )


def _silent(_: Statement, language: Language) -> Ways:
    return (
        language.say("I am looking forward to hearing you play."),
        language.say("I would love to hear how it is going."),
        language.say("Whenever you pick up the guitar, I am happy to listen."),
    )


def _first(_: Statement, language: Language) -> Ways:
    return (
        language.say("I am looking forward to your first recording."),
        language.say("I would love to hear you play."),
        language.say("Your first recording can be a short one."),
    )


def _short_take(statement: Statement, language: Language) -> Ways:
    say = language.say
    if statement.bpm is None:
        return (
            say("Half a minute with the click is enough."),
            say("Play for half a minute with the click, just as it comes."),
        )
    bpm = language.tempo(statement.bpm)
    return (
        say("Half a minute with the click at {bpm} is enough.", bpm=bpm),
        say("Set the click to {bpm} and play for half a minute, just as it comes.", bpm=bpm),
    )


def _short_take_of(statement: Statement, language: Language) -> Ways:
    say, name = language.say, printable(statement.exercise)
    if statement.bpm is None:
        return (
            say("Half a minute of “{exercise}” with the click is enough.", exercise=name),
            say("Play “{exercise}” for half a minute with the click, just as it comes.", exercise=name),
        )
    values = {"exercise": name, "bpm": language.tempo(statement.bpm)}
    return (
        say("Half a minute of “{exercise}” with the click at {bpm} is enough.", **values),
        say("Set the click to {bpm} and play “{exercise}” for half a minute, just as it comes.", **values),
    )


def _time_left(statement: Statement, language: Language) -> Ways:
    day = language.day(statement.day or date.min)
    return (
        language.say("There is time until {day}.", day=day),
        language.say("You have until {day}.", day=day),
    )


def _record_no_click(_: Statement, language: Language) -> Ways:
    return (
        language.say("The click cannot be heard: please let it play out loud beside the phone and record again."),
        language.say("Please record it again with the click out loud next to you: it was not to be heard."),
    )


def _record_unreadable(_: Statement, language: Language) -> Ways:
    return (
        language.say("The recording did not come through: please listen to it before you send it again."),
        language.say("Please record it once more and listen to it first: this one did not come through."),
    )


def _record_clipped(_: Statement, language: Language) -> Ways:
    return (
        language.say("It was too loud for the phone: please put it a step further away and record again."),
        language.say("Please put the phone a step further away and record again: it was too loud."),
    )


def _record_broken(_: Statement, language: Language) -> Ways:
    return (
        language.say("A piece of the recording is missing: please record it once more."),
        language.say("Please record it once more: a piece of it got lost on the way."),
    )


def _record_fading(_: Statement, language: Language) -> Ways:
    return (
        language.say("The click gets lost in the recording: please put it closer to the phone and record again."),
        language.say("Please put the click closer to the phone and record again: it gets lost."),
    )


def _record_tempo(_: Statement, language: Language) -> Ways:
    return (
        language.say("The click ran at another speed than planned: please check it and record again."),
        language.say("Please check the speed of the click and record again: it was not the one we planned."),
    )


def _as_task(code: str) -> Callable[[Statement, Language], Ways]:
    return lambda statement, language: task_ways(code, statement.where, language)


_WAYS: dict[str, Callable[[Statement, Language], Ways]] = {
    "not-yet": lambda _, language: not_yet_ways(language),
    "better-tempo": _better_tempo,
    "better-rising": _better_rising,
    "better-changes": _better_changes,
    "better-beat": _better_beat,
    "better-part": _better_part,
    "better-drift": _better_drift,
    "better-scatter": _better_scatter,
    "better-omitted": _better_omitted,
    "held": _held,
    "even": _even,
    "every-strum": _every_strum,
    "held-noted": _held_noted,
    "thanks": _thanks,
    "thanks-noted": _thanks_noted,
    "silent": _silent,
    "first": _first,
    "short-take": _short_take,
    "short-take-of": _short_take_of,
    "time-left": _time_left,
    "record-no-click-heard": _record_no_click,
    "record-too-little-to-judge": _as_task("longer-take"),
    "record-could-not-be-measured": _record_unreadable,
    "record-clipped": _record_clipped,
    "record-truncated": _record_broken,
    "record-gaps": _record_broken,
    "record-poor-fit": _as_task("check-exercise"),
    "record-few-strums": _as_task("longer-take"),
    "record-click-fades": _record_fading,
    "record-tempo-differs": _record_tempo,
}
