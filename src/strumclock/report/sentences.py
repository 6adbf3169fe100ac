"""What a take came to, sentence by sentence, in the words of a patient teacher.

Each function answers one question and returns a sentence that is true of the figures it rests on, also at their
edges; what cannot be known is said with its reason. Nothing scolds: late and early can be meant. Here they are put
together; each subject has its module: `conclusion`, `timed`, `makeup`, `unknown`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.report import conclusion, makeup, timed, unknown, words
from strumclock.report.obstacle_words import short_name

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement


ABOUT_THE_EXERCISE = frozenset({"meter-assumed", "pattern-inferred", "pattern-unknown"})
"""Notices of what was found out or assumed of the exercise: "Not told" says it shortly, the details in full."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of the summary.

    Attributes
    ----------
    topic : str
        A word or two, such as ``"Evenness"``.
    text : str
        One or two sentences.
    """

    topic: str
    text: str


def lines(measurement: Measurement) -> tuple[Line, ...]:
    """What is concluded from a take, in four or five lines: verdict, what stands in the way, what to do, what next."""
    m, verdict = measurement, measurement.verdict
    if m.timing is None or verdict is None:
        return (*_free(m), *_notes(m))
    in_the_way = "In the way" if verdict.state == "not-yet" else "To work on"
    rows = [
        ("Verdict", conclusion.state(m)),
        ("Steps", conclusion.step_by_step(m)),
        *((in_the_way, text) for text in conclusion.in_the_way(m)),
        ("Do", conclusion.to_do(m)),
        ("Next", conclusion.next_take(m)),
        *(("Not known", text) for text in unknown.not_known(m, only_what_matters=True)),
        ("Not told", unknown.inferred(m)),
    ]
    return (*_rows(rows), *_notes(m, but=ABOUT_THE_EXERCISE))


def details(measurement: Measurement) -> tuple[Line, ...]:
    """What else a take says, subject by subject, for whoever asks for every figure."""
    m = measurement
    if m.timing is None:
        return ()
    rows = [
        ("On the click", timed.offset(m)),
        ("Evenness", timed.evenness(m)),
        ("Pace", timed.pace(m)),
        ("Where", timed.where(m)),
        ("Swing", timed.swing(m)),
        ("Played", timed.played(m)),
        ("Left the click", timed.left_click(m)),
        ("Chord changes", makeup.changes(m)),
        ("Stroke", makeup.stroke(m)),
        ("Correcting", makeup.correction(m)),
        ("Pitch", makeup.tuning(m)),
        *(("Not known", text) for text in unknown.not_known(m)),
    ]
    return (*_rows(rows), *_notes(m))


def _free(m: Measurement) -> tuple[Line, ...]:
    """The lines of a take of which only the strums were asked for."""
    rows = [
        ("Strums", found(m)),
        ("Left aside", timed.left_aside(m)),
        ("Chord changes", makeup.changes(m)),
        ("Stroke", makeup.stroke(m)),
        ("Pitch", makeup.tuning(m)),
        ("Not told", unknown.inferred(m)),
        *(("Not known", text) for text in unknown.not_known(m)),
    ]
    return _rows(rows)


def _notes(m: Measurement, *, but: frozenset[str] = frozenset()) -> tuple[Line, ...]:
    """What to know about the take, but for what has these codes."""
    return _rows([("Note", words.sentence(notice.message)) for notice in m.warnings if notice.code not in but])


def _rows(rows: list[tuple[str, str]]) -> tuple[Line, ...]:
    return tuple(Line(topic=topic, text=text) for topic, text in rows if text)


def title(measurement: Measurement) -> str:
    """Which take this is: exercise or file, tempo, how much was played."""
    m, exercise = measurement, measurement.exercise
    name = printable(exercise.name or (PurePath(m.take.path).stem if m.take.path else "One take"))
    details = []
    if m.timing is not None:
        stepped = [conclusion.tempo_played(m)] if len(m.steps) > 1 else []
        details = stepped or ([conclusion.at_tempo(exercise, exercise.bpm)] if exercise.bpm else [])
        details += [text for text in (exercise.meter, exercise.pattern) if text]
    details.append(f"{words.count(len(m.strums), 'strum')} in {words.clock(m.take.duration_s)}")
    return f"{name}: {', '.join(details)}"


def headline(measurement: Measurement) -> str:
    """The take in one short line, for the head of a picture: held or not, and the one thing in the way."""
    verdict = measurement.verdict
    if measurement.timing is None or verdict is None:
        return f"{words.count(len(measurement.strums), 'strum')} found"
    tempo = conclusion.tempo_played(measurement)
    at = f" at {tempo}" if tempo else ""
    said = {"held": f"Held{at}", "not-yet": f"Not yet{at}", "cannot-tell": f"Cannot tell{at}"}[verdict.state]
    if not verdict.obstacles:
        return said
    return f"{said}: {short_name(verdict.obstacles[0], measurement.exercise.per_beat or 1)}"


def found(measurement: Measurement) -> str:
    """Without a grid: how many strums, where, how well timed."""
    strums = measurement.strums
    if not strums:
        return "No strums were found."
    middle = words.number(sorted(strum.u_ms for strum in strums)[len(strums) // 2])
    if len(strums) == 1:
        return f"1 strum, at {strums[0].time_s:.2f} s, known to ± {middle} ms (standard uncertainty)."
    return (
        f"{len(strums)} strums, the first at {strums[0].time_s:.2f} s, the last at {strums[-1].time_s:.2f} s; "
        f"half of their times are known to ± {middle} ms or better (standard uncertainty)."
    )
