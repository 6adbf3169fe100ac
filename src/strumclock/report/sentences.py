"""What a take came to, sentence by sentence, in the words of a patient teacher.

Each function answers one question and returns a sentence that is true of the figures it rests on, also at their
edges; what cannot be known is said with its reason. Nothing scolds: late and early can be meant. Here they are put
together; each subject has its module: `timed`, `makeup`, `advice`, `unknown`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.report import advice, makeup, timed, unknown, words
from strumclock.report.places import place_in_words

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement


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
    """Everything that the summary says about a take, in the order in which a student reads it."""
    m = measurement
    if m.timing is None:
        rows = [
            ("Strums", found(m)),
            ("Left aside", timed.left_aside(m)),
            ("Chord changes", makeup.changes(m)),
            ("Stroke", makeup.stroke(m)),
            ("Pitch", makeup.tuning(m)),
        ]
    else:
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
            ("Tempo", advice.tempo(m)),
            ("Next", advice.following(m)),
        ]
    rows += [("Found out", unknown.inferred(m))]
    rows += [("Not known", text) for text in unknown.not_known(m)]
    rows += [("Note", words.sentence(notice.message)) for notice in m.warnings]
    return tuple(Line(topic=topic, text=text) for topic, text in rows if text)


def title(measurement: Measurement) -> str:
    """Which take this is: exercise or file, tempo, how much was played."""
    m, exercise = measurement, measurement.exercise
    name = printable(exercise.name or (PurePath(m.take.path).stem if m.take.path else "One take"))
    details = []
    if m.timing is not None:
        details = [advice.at_tempo(m, exercise.bpm)] if exercise.bpm else []
        details += [text for text in (exercise.meter, exercise.pattern) if text]
    details.append(f"{words.count(len(m.strums), 'strum')} in {words.clock(m.take.duration_s)}")
    return f"{name}: {', '.join(details)}"


def headline(measurement: Measurement) -> str:
    """The take in one short line, for the head of a picture: place, evenness, pace."""
    timing = measurement.timing
    if timing is None:
        return f"{words.count(len(measurement.strums), 'strum')} found"
    if timing.n == 0 and measurement.left_click and not timed.added_strums(measurement):
        return f"A tempo of your own, about {measurement.left_click[0].played_bpm:.0f} bpm"
    if timing.n == 0:
        return "No strum on a place of the pattern"
    if timing.mean_offset_ms is None and timing.jitter_ms is None and timing.drift_ms_per_min is None:
        return f"{words.count(timing.n, 'strum')}: too few for figures"
    mean = timing.mean_offset_ms
    if mean is None:
        parts = ["early or late not known"]
    elif mean.excludes(0):
        parts = [f"{words.side(mean.value)} on average"]
    else:
        parts = [
            "on the click as far as ears can tell"
            if timed.reach(mean) <= timing.audible_ms
            else "no clear lean early or late"
        ]
    if timing.jitter_ms is not None:
        parts.append(f"scatter {words.amount(timing.jitter_ms.value)}")
    placed = [finding for finding in timing.named if finding.kind in ("changes", "beat", "part")]
    for finding in placed[:1]:
        parts.append(f"{'later' if finding.size.value > 0 else 'earlier'} {place_in_words(finding, measurement)}")
    pace_word = timed.pace_word(measurement)
    text = ", ".join([*parts, pace_word] if pace_word else parts)
    return text[:1].upper() + text[1:]


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
