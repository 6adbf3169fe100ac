"""Sentences on the tempo: whether the take holds it, which comes next, and one thing to try."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.places import place_in_words
from strumclock.report.timed import added_strums, pace_word, timing_of
from strumclock.timing import settable_bpm

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.timing import Held

CAUTION = "Stop at any pain or tension."
_OMITTED_SHARE = 0.1  # of the slots; above it the hand stops rather than slips


def at_tempo(measurement: Measurement, bpm: float | None) -> str:
    """A tempo with the chord changes a minute that it means in this exercise."""
    exercise = measurement.exercise
    if bpm is None or exercise.bpm is None or exercise.changes_per_minute is None:
        return f"{words.bpm(bpm)} bpm" if bpm is not None else "this tempo"
    rate = exercise.changes_per_minute * bpm / exercise.bpm
    return f"{words.bpm(bpm)} bpm ({words.bpm(rate)} chord changes a minute)"


def tempo(measurement: Measurement) -> str:
    """Whether the take holds its tempo, by the standard."""
    held, bpm = measurement.held, measurement.exercise.bpm
    if held is None or (timing_of(measurement).n == 0 and not measurement.left_click):
        return ""
    at = at_tempo(measurement, bpm)
    if held.held:
        return f"You held {at} by the standard “{held.standard.name}”."
    why = "; ".join(reason.rstrip(".") for reason in held.failed)
    said = (
        "is not judged from this take"
        if held.held is None
        else f"is not held yet by the standard “{held.standard.name}”"
    )
    return words.sentence(f"{at} {said}" + (f": {why}" if why else ""))


def following(measurement: Measurement) -> str:
    """The next tempo with its caution, and one thing to try."""
    held, bpm, said = measurement.held, measurement.exercise.bpm, []
    if timing_of(measurement).n == 0 and not measurement.left_click:
        return ""
    advised = held.next_bpm if held is not None else None
    if advised is not None:
        at = at_tempo(measurement, advised)
        if bpm is None:
            said.append(f"A tempo to start from: {at}.")
        elif advised == settable_bpm(bpm):
            about = "" if words.bpm(bpm) == words.bpm(advised) else "about this tempo: "
            said.append(f"Stay at {about}{words.bpm(advised)} bpm.")
        else:
            said.append(f"Next tempo: {at}." if advised > bpm else f"Take it down to {at}.")
        if held is not None and held.subdivide:
            said.append("Let the click sound between the beats too.")
    said.append(to_try(measurement))
    if advised is not None:
        said.append(CAUTION)
    return " ".join(part for part in said if part)


def to_try(measurement: Measurement) -> str:
    """One thing to try next: the first that the take gives reason for."""
    m, timing = measurement, timing_of(measurement)
    slots = timing.n + len(m.omitted)
    if m.left_click:
        place = words.clock(m.left_click[0].start_s)
        return f"Listen once to the recording around {place}, where you and the click part, then play just that place."
    if timing.n == 0:
        return ""
    if m.omitted and len(m.omitted) > _OMITTED_SHARE * slots:
        return "Keep the strumming hand moving through every stroke, even where the chord is not ready."
    late = m.changes.lateness_ms if m.changes is not None else None
    if late is not None and late.low > 0 and late.value > timing.audible_ms:
        pair = m.changes.costliest if m.changes is not None else None
        which = f"the change from {pair.from_chord} to {pair.to_chord}" if pair is not None else "the chord changes"
        return f"Try {which} alone and slowly, the strumming hand never waiting."
    if any(finding.kind == "changes" for finding in timing.named):
        return "Try the chord changes alone and slowly, the strumming hand never waiting."
    if pace_word(m):
        return "Let your foot go with the click, and the hand with the foot."
    places = [finding for finding in timing.named if finding.kind in ("beat", "part")]
    if places:
        return f"Count aloud and listen only to the strum {place_in_words(places[0], m)}."
    if m.held is not None and m.held.held is False:
        return _to_hold(m, m.held, slots)
    if m.held is not None and m.held.held:
        bpm = m.exercise.bpm
        same = "The same" if bpm is None else f"{words.bpm(bpm)} bpm"
        return f"{same} once more on another day shows whether it stays."
    if m.held is not None and timing.n < m.held.standard.min_slots:
        standard = m.held.standard
        return (
            f"A longer take tells more: {standard.min_slots} strums and {standard.min_duration_s:g} seconds at least."
        )
    return ""


def _to_hold(m: Measurement, held: Held, slots: int) -> str:
    """One thing to try where a take does not hold its tempo and nothing else stands out, by what is missing."""
    if held.even_share is not None and held.even_share < held.standard.even_share:
        return (
            "Mute the strings and strum the pattern with the click until the hand swings evenly, then add the chords."
        )
    if added_strums(m) > held.standard.added_share * slots:
        return "Were the added strums meant? Then tell the pattern with them; else let the hand pass above the strings."
    mean = timing_of(m).mean_offset_ms
    if mean is not None and abs(mean.value) > 1e3 * held.tolerance_s:
        return "If on the click is where you want to be, play muted strums until click and strum are one sound."
    return ""
