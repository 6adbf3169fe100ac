"""What stands in a student's way and what to do about it, in words that a twelve-year-old reads.

Each is said in several ways, of which the first is the plainest: whoever was told one last week is told another this
week. Late and early can be meant: nothing scolds.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from strumclock.report.places import place_name

if TYPE_CHECKING:
    from strumclock.report.language import Language
    from strumclock.verdict import Where

Ways = tuple[str, ...]


def obstacle_ways(kind: str, *, late: bool, where: Where, per_beat: int, language: Language) -> Ways:
    """An obstacle to a student.

    Parameters
    ----------
    kind : str
        Of `strumclock.verdict.Obstacle`.
    late : bool
        Its strums come late, fall behind (else early, ahead).
    where : Where
        Chord pair, beat, part of the beat, first bar, as far as known.
    per_beat : int
        Parts of a beat.
    language : Language

    Returns
    -------
    tuple of str
        The same in different words.

    Examples
    --------
    >>> from strumclock.report.language import ENGLISH
    >>> from strumclock.verdict import Where
    >>> pair = Where(from_chord="A", to_chord="D")
    >>> obstacle_ways("changes", late=True, where=pair, per_beat=1, language=ENGLISH)[0]
    'When you change from A to D, the new chord comes late.'
    """
    return _OBSTACLES[kind](language, late, where, per_beat)


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


def _changes(language: Language, late: bool, where: Where, _: int) -> Ways:
    say = language.say
    if where.to_chord and where.from_chord:
        pair = {"before": where.from_chord, "after": where.to_chord}
        if late:
            return (
                say("When you change from {before} to {after}, the new chord comes late.", **pair),
                say("From {before} to {after} you still come in late.", **pair),
            )
        return (
            say("When you change from {before} to {after}, the new chord comes early.", **pair),
            say("From {before} to {after} you come in early.", **pair),
        )
    if where.to_chord:
        into = {"after": where.to_chord}
        if late:
            return (
                say("When you change into {after}, the new chord comes late.", **into),
                say("Your changes into {after} still come late.", **into),
            )
        return (
            say("When you change into {after}, the new chord comes early.", **into),
            say("Your changes into {after} come early.", **into),
        )
    if late:
        return (
            say("When you change chords, the new chord comes late."),
            say("At the chord changes you still come in late."),
        )
    return say("When you change chords, the new chord comes early."), say("At the chord changes you come in early.")


def _place(language: Language, late: bool, where: Where, per_beat: int) -> Ways:
    say = language.say
    if where.beat is not None:
        beat = str(where.beat)
        if late:
            return (
                say("Your strum on beat {beat} comes later than the others.", beat=beat),
                say("On beat {beat} you come in later than on the other beats.", beat=beat),
            )
        return (
            say("Your strum on beat {beat} comes earlier than the others.", beat=beat),
            say("On beat {beat} you come in earlier than on the other beats.", beat=beat),
        )
    name = place_name(where.part or 1, per_beat)
    if name == "beat":
        if late:
            return (
                say("Your strums on the beat come later than the others."),
                say("On the beat you come in later than between the beats."),
            )
        return (
            say("Your strums on the beat come earlier than the others."),
            say("On the beat you come in earlier than between the beats."),
        )
    spoken = _spoken(name, language)
    if late:
        return (
            say("Your strums on the “{place}” come later than the others.", place=spoken),
            say("On the “{place}” you come in later than on the other strums.", place=spoken),
        )
    return (
        say("Your strums on the “{place}” come earlier than the others.", place=spoken),
        say("On the “{place}” you come in earlier than on the other strums.", place=spoken),
    )


def _spoken(name: str, language: Language) -> str:
    """How a part of the beat is counted aloud."""
    say = language.say
    counted = {"&": say("&"), "e": say("e"), "a": say("a")}
    return counted.get(name) or say("part {number}", number=name.removeprefix("part "))


def _drift(language: Language, late: bool, *_: object) -> Ways:
    say = language.say
    if late:
        return say("Bit by bit you get slower than the click."), say("Little by little you fall behind the click.")
    return say("Bit by bit you run ahead of the click."), say("Little by little you get faster than the click.")


def _step(language: Language, late: bool, where: Where, _: int) -> Ways:
    say = language.say
    if not where.bars:
        if late:
            return (say("From one place on you come in later than before."),)
        return (say("From one place on you come in earlier than before."),)
    bar = str(where.bars[0])
    if late:
        return (
            say("From bar {bar} on you come in later than before.", bar=bar),
            say("At bar {bar} the time shifts: from there on you come in later.", bar=bar),
        )
    return (
        say("From bar {bar} on you come in earlier than before.", bar=bar),
        say("At bar {bar} the time shifts: from there on you come in earlier.", bar=bar),
    )


def _placement(language: Language, late: bool, *_: object) -> Ways:
    say = language.say
    if late:
        return (
            say("Your strums come after the click; if you meant that, fine!"),
            say("You play behind the click, which is fine if you mean it."),
        )
    return (
        say("Your strums come before the click; if you meant that, fine!"),
        say("You play ahead of the click, which is fine if you mean it."),
    )


def _scatter(language: Language, *_: object) -> Ways:
    return (
        language.say("Your strums are not even yet: some come early, some late."),
        language.say("Some strums come early and some late, so they are not even yet."),
    )


def _omitted(language: Language, *_: object) -> Ways:
    return (
        language.say("Some strums of the pattern are missing."),
        language.say("You leave out some strums of the pattern."),
    )


def _added(language: Language, *_: object) -> Ways:
    return (
        language.say("You play more strums than the pattern has."),
        language.say("Here and there you add a strum to the pattern."),
    )


def _stopped(language: Language, *_: object) -> Ways:
    return language.say("You stopped in the middle."), language.say("There was a stop in the middle.")


def _own_tempo(language: Language, *_: object) -> Ways:
    return (
        language.say("For a while you kept a speed of your own, not the click's."),
        language.say("For a while you and the click went different ways."),
    )


_OBSTACLES: dict[str, Callable[[Language, bool, Where, int], Ways]] = {
    "changes": _changes,
    "place": _place,
    "drift": _drift,
    "step": _step,
    "placement": _placement,
    "scatter": _scatter,
    "omitted": _omitted,
    "added": _added,
    "stopped": _stopped,
    "own-tempo": _own_tempo,
}


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
    )


def _foot_with_click(language: Language, _: Where) -> Ways:
    return (
        language.say("Tap your foot with the click and let your hand follow your foot."),
        language.say("First tap just your foot to the click, then let your hand join in."),
    )


def _hear_step(language: Language, where: Where) -> Ways:
    if not where.bars:
        return (language.say("Listen to that place and play across it with the click."),)
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


def _go_on(language: Language, _: Where) -> Ways:
    return (
        language.say("Go on like this."),
        language.say("Keep playing it like this."),
        language.say("Play it like this again."),
    )


_TASKS: dict[str, Callable[[Language, Where], Ways]] = {
    "play-through": _play_through,
    "hear-where-parted": _hear_where_parted,
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
    "go-on": _go_on,
}
