"""Sentences on what cannot be known from a take, with the reason, and on what was found out instead of told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.schema import absences

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

_UNMISSED = ("stroke", "correction", "timing.body_offset_ms")
_NOT_ASKED = "not asked for"
_TOLD = {
    "bpm": "tempo",
    "meter": "meter",
    "per_beat": "parts of the beat",
    "pattern": "pattern",
    "swing": "swing",
    "count_in": "count-in",
    "chords": "chords",
    "beats_per_change": "beats on each chord",
}
_NEXT_TIME = {
    "no-click": "next time let the click sound in the room, or record it on its own channel",
    "no-tempo": "next time let the click be heard, or tell the tempo that it has",
}
_FIGURES = {
    "timing.mean_offset_ms": "early or late",
    "timing.median_offset_ms": "early or late",
    "timing.body_offset_ms": "the offset of the strum's middle",
    "timing.jitter_ms": "evenness",
    "timing.drift_ms_per_min": "falling behind or pulling ahead",
    "timing.within_tolerance": "how many lie within the tolerance",
    "timing.within_tolerance.share": "how many lie within the tolerance",
    "changes": "chord changes",
    "tuning": "pitch",
    "stroke": "the stroke",
    "correction": "how errors are corrected",
    "held": "whether the tempo is held",
}


def not_known(measurement: Measurement, *, all_of_it: bool = False) -> list[str]:
    """What cannot be known from this take and why, one sentence for each reason; what was not asked for is left out.

    Parameters
    ----------
    measurement : Measurement
    all_of_it : bool
        Also what a student will not miss.
    """
    by_reason: dict[str, list[str]] = {}
    timing = measurement.timing
    codes = {path: why.code for path, why in timing.absent.items()} if timing is not None else {}
    for path, reason in absences(measurement).items():
        name = _FIGURES.get(path)
        if name is None or reason.startswith(_NOT_ASKED) or (path in _UNMISSED and not all_of_it):
            continue
        advice = _NEXT_TIME.get(codes.get(path, ""))
        reason = f"{reason}; {advice}" if advice else reason
        if name not in by_reason.setdefault(reason, []):
            by_reason[reason].append(name)
    return [
        words.sentence(f"{words.listed(names)}: {'this' + reason[2:] if reason.startswith('it ') else reason}")
        for reason, names in by_reason.items()
        if names
    ]


def inferred(measurement: Measurement) -> str:
    """What was found out from the recording: not told, or told otherwise; nothing that was only assumed."""
    m = measurement
    unsaid = {"bars"}  # every take has an end
    if any(notice.code == "meter-assumed" for notice in m.warnings):
        unsaid.add("meter")
    if m.exercise.pattern is None:
        unsaid.add("pattern")
    names = [_TOLD.get(name, name) for name in m.inferred if name not in unsaid]
    return words.sentence(f"{words.listed(names)}: found from the recording") if names else ""
