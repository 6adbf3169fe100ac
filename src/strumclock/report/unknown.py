"""Sentences on what cannot be known from a take, with the reason, and on what was found out instead of told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.pipeline.figures import FIGURES, PARTS_IN_WORDS
from strumclock.report import words

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

_UNMISSED = ("stroke", "correction", "timing.body_offset_ms")
_NOT_ASKED = "not-asked"
_FIGURES = {figure.path: figure.word for figure in FIGURES if figure.word} | PARTS_IN_WORDS
_NEXT_TIME = {
    "no-click": "next time let the click sound in the room, or record it on its own channel",
    "no-tempo": "next time let the click be heard, or tell the tempo that it has",
}
_FIGURES["timing.within_tolerance"] = _FIGURES["timing.within_tolerance.share"]


_MATTERS = {"early or late", "evenness", "falling behind or pulling ahead"}


def not_known(measurement: Measurement, *, all_of_it: bool = False, only_what_matters: bool = False) -> list[str]:
    """What cannot be known from this take and why, one sentence for each reason; what was not asked for is left out.

    Parameters
    ----------
    measurement : Measurement
    all_of_it : bool
        Also what a student will not miss.
    only_what_matters : bool
        Only what the verdict would have asked for: early or late, evenness, falling behind or pulling ahead.
    """
    by_reason: dict[str, list[str]] = {}
    for path, why in measurement.absent.items():
        name = _FIGURES.get(path)
        if name is None or why.code == _NOT_ASKED or (path in _UNMISSED and not all_of_it):
            continue
        if only_what_matters and name not in _MATTERS:
            continue
        reason = "; ".join([why.reason, *_NEXT_TIME.get(why.code, "").splitlines()])
        if name not in by_reason.setdefault(reason, []):
            by_reason[reason].append(name)
    return [words.sentence(f"{words.listed(names)}: {reason}") for reason, names in by_reason.items() if names]


def inferred(measurement: Measurement) -> str:
    """What was found out from the recording: not told, or told otherwise; nothing that was only assumed."""
    m = measurement
    unsaid = {"bars"}  # every take has an end
    if any(notice.code == "meter-assumed" for notice in m.warnings):
        unsaid.add("meter")
    if m.exercise.pattern is None:
        unsaid.add("pattern")
    told = fields_of(Exercise)
    names = [told[name].word for name in m.inferred if name not in unsaid]
    return words.sentence(f"{words.listed(names)}: as heard in the recording") if names else ""
