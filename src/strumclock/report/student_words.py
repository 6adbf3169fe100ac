"""What stands in a student's way, in words that a twelve-year-old reads.

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
        Of `strumclock.verdict.Obstacle`; ``"never-with-click"`` for an own tempo from first to last.
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


def not_yet_ways(language: Language) -> Ways:
    """Of takes that did not hold, where nothing is shown that stands in the way.

    Examples
    --------
    >>> from strumclock.report.language import ENGLISH
    >>> not_yet_ways(ENGLISH)[0]
    'It does not sit yet, but no one thing stands out.'
    """
    return (
        language.say("It does not sit yet, but no one thing stands out."),
        language.say("No one thing stands in the way: it needs a few more rounds."),
    )


def _changes(language: Language, late: bool, where: Where, _: int) -> Ways:
    say = language.say
    if where.to_chord and where.from_chord:
        pair = {"before": where.from_chord, "after": where.to_chord}
        if late:
            return (
                say("When you change from {before} to {after}, the new chord comes late.", **pair),
                say("From {before} to {after} you still come in late.", **pair),
                say("From {before} to {after} the new chord still needs more time than it has.", **pair),
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
            say("The new chord still needs more time than the click gives it."),
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
        return (
            say("Bit by bit you get slower than the click."),
            say("Little by little you fall behind the click."),
            say("From the first bar to the last the click gets away from you."),
        )
    return (
        say("Bit by bit you run ahead of the click."),
        say("Little by little you get faster than the click."),
        say("From the first bar to the last you get away from the click."),
    )


def _step(language: Language, late: bool, where: Where, _: int) -> Ways:
    say = language.say
    if not where.bars:
        if late:
            return (
                say("From one place on you come in later than before."),
                say("Somewhere on the way you get later and stay there."),
            )
        return (
            say("From one place on you come in earlier than before."),
            say("Somewhere on the way you get earlier and stay there."),
        )
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
        language.say("From strum to strum your hand is now early, now late."),
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


def _never_with_click(language: Language, *_: object) -> Ways:
    return (
        language.say("You played at a speed of your own, not the click's."),
        language.say("You and the click each had your own speed."),
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
    "never-with-click": _never_with_click,
}
