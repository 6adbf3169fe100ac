"""The sheet of an exercise to send: what to play, the click to play it to, how to record it. One page, one file."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from strumclock.report import html
from strumclock.report.language import ENGLISH, Language

if TYPE_CHECKING:
    from strumclock.grid import Exercise

BAR_WIDTH, BAR_HEIGHT, SIDE = 320.0, 96.0, 12.0
STROKE_Y, COUNT_Y, CHORD_Y = 52.0, 88.0, 16.0
MOST_BARS = 4
"""Bars drawn: until pattern and chords repeat, and no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a sheet says.

    Attributes
    ----------
    exercise : Exercise
        With name and tempo, where one is set.
    student : str or None
        To whom; None for everybody.
    due : date or None
    bars : int or None
        To play, after those that are counted in.
    track_name : str or None
        The click track's file that is sent along.
    track_m4a : bytes or None
        The same, to be heard in the page.
    """

    exercise: Exercise
    student: str | None = None
    due: date | None = None
    bars: int | None = None
    track_name: str | None = None
    track_m4a: bytes | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One place of a bar as it is drawn: where, what is played, how it is counted."""

    x: float
    kind: str
    count: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnBar:
    """One bar as it is drawn: its strokes, and chords with their places."""

    strokes: tuple[Stroke, ...]
    chords: tuple[tuple[float, str], ...]
    said: str


def sheet(of: Sheet, *, language: Language = ENGLISH) -> str:
    """The sheet as HTML text: nothing in it is fetched from elsewhere; it prints on one page.

    Parameters
    ----------
    of : Sheet
    language : Language
        Of all that is said; names stay as they are.
    """
    say, exercise = language.say, of.exercise
    name = exercise.name or say("The exercise")
    facts = []
    if exercise.bpm is not None:
        facts.append((say("Tempo"), say("{bpm} beats a minute", bpm=language.tempo(exercise.bpm))))
    if of.bars is not None:
        count_in = exercise.count_in or 0
        length = language.count("{n} bar", "{n} bars", of.bars)
        if count_in:
            counted = language.count("{n} bar is counted in first", "{n} bars are counted in first", count_in)
            length = say("{bars}; {counted}", bars=length, counted=counted)
        facts.append((say("Length"), length))
    if exercise.chords:
        facts.append((say("Chords"), "  ".join(exercise.chords)))
    if of.due is not None:
        facts.append((say("Send it by"), language.day(of.due)))
    sound = of.track_m4a
    return html.render(
        "sheet.html.j2",
        style=html.template("take.css") + html.template("weeks.css") + html.template("sheet.css"),
        language=language.code,
        name=name[:1].upper() + name[1:],
        whom=say("For {name}", name=of.student) if of.student else "",
        facts=facts,
        play=say("What to play"),
        bars=_bars(exercise, language),
        width=BAR_WIDTH + 2 * SIDE,
        height=BAR_HEIGHT,
        side=SIDE,
        stroke_y=STROKE_Y,
        key=_key(exercise, language),
        hear=say("The click to play to") if sound else "",
        track=say("The same as a file: {name}", name=of.track_name) if of.track_name else "",
        sound="" if sound is None else f"data:audio/mp4;base64,{base64.b64encode(sound).decode('ascii')}",
        how=say("How to record it"),
        steps=_steps(language, has_track=sound is not None),
        care=say("Take care"),
        cautions=(
            say("Stop if anything hurts, tingles or gets tense, and rest."),
            say("Keep the click no louder than you need."),
        ),
    )


def _steps(language: Language, *, has_track: bool) -> list[str]:
    say = language.say
    first = (
        say("Let a second device play the click, so that it can be heard in the recording; no headphones.")
        if has_track
        else say("Let a second device play a click, so that it can be heard in the recording; no headphones.")
    )
    return [
        first,
        say("Put the phone an arm's length away, the click about as far from it as the guitar."),
        say("Use a plain recorder, not a call: calls filter the click out."),
        say("Start recording, then the click; play until it ends. One take of half a minute or more is enough."),
    ]


def _key(exercise: Exercise, language: Language) -> list[tuple[str, str]]:
    """The signs that the bars use, in words."""
    say = language.say
    words = {"D": say("down"), "U": say("up"), "x": say("muted"), ".": say("nothing is struck")}
    used = exercise.pattern or "D"
    return [(kind, word) for kind, word in words.items() if kind in used]


def _bars(exercise: Exercise, language: Language) -> list[DrawnBar]:
    """The bars until pattern and chords repeat, at most `MOST_BARS`."""
    beats = exercise.beats_per_bar or 4
    pattern = exercise.pattern or "D"
    per_beat = exercise.per_beat or (1 if len(pattern) <= beats else 2)
    in_bar = beats * per_beat
    strokes = [pattern[i % len(pattern)] for i in range(MOST_BARS * in_bar)]
    every = exercise.change_every_beats or beats
    chords = exercise.chords or ()
    needed = max(_until_same(len(pattern), in_bar), _until_same(every * per_beat * len(chords), in_bar))
    step = BAR_WIDTH / in_bar
    found = []
    for bar in range(min(max(needed, 1), MOST_BARS)):
        first = bar * in_bar
        found.append(
            DrawnBar(
                strokes=tuple(
                    Stroke(x=SIDE + (i + 0.5) * step, kind=strokes[first + i], count=_count(i, per_beat))
                    for i in range(in_bar)
                ),
                chords=tuple(
                    (SIDE + (i + 0.5) * step, chords[(first + i) // (every * per_beat) % len(chords)])
                    for i in range(in_bar)
                    if chords and (first + i) % (every * per_beat) == 0
                ),
                said=language.say(
                    "Bar {number}: {strokes}", number=str(bar + 1), strokes=" ".join(strokes[first : first + in_bar])
                ),
            )
        )
    return found


def _until_same(length: int, in_bar: int) -> int:
    """Bars until something of so many places begins with a bar again."""
    return next(
        (n for n in range(1, MOST_BARS + 1) if length and n * in_bar % length == 0), 1 if not length else MOST_BARS
    )


def _count(place: int, per_beat: int) -> str:
    """How a place of the bar is counted: 1, &, 2, &."""
    beat, part = divmod(place, per_beat)
    names = {1: ("",), 2: ("", "&"), 3: ("", "·", "·"), 4: ("", "e", "&", "a")}[per_beat]
    return str(beat + 1) if part == 0 else names[part]
