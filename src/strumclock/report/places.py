"""How musicians name the places of the bar."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.timing import Finding

_PARTS = {1: ("",), 2: ("", "&"), 3: ("", "&", "a"), 4: ("", "e", "&", "a")}  # how musicians count the parts of a beat


def count_name(beat: int, part: int, per_beat: int) -> str:
    """How a musician counts a place in the bar: ``"3"``, ``"3 &"``.

    Examples
    --------
    >>> count_name(3, 1, 2), count_name(3, 2, 2), count_name(1, 2, 4)
    ('3', '3 &', '1 e')
    """
    parts = _PARTS.get(per_beat, ())
    name = parts[part - 1] if 0 < part <= len(parts) else f"part {part}"
    return f"{beat} {name}".strip()


def place_name(part: int, per_beat: int) -> str:
    """How a part of the beat is called: ``"beat"`` for the first, else ``"&"``, ``"e"``, ``"a"``.

    Examples
    --------
    >>> place_name(1, 2), place_name(2, 2)
    ('beat', '&')
    """
    return count_name(0, part, per_beat).removeprefix("0").strip() or "beat"


def part_in_words(part: int, per_beat: int) -> str:
    """Where in the beat: ``"on the beats themselves"``, ``"on the “&” of the beats"``.

    Examples
    --------
    >>> part_in_words(1, 2), part_in_words(2, 2)
    ('on the beats themselves', 'on the “&” of the beats')
    """
    name = place_name(part, per_beat)
    return "on the beats themselves" if name == "beat" else f"on the “{name}” of the beats"


def place_in_words(finding: Finding, measurement: Measurement) -> str:
    """Where a finding was made: ``"on beat 3"``, ``"on the “&” of the beats"``, ``"at the chord changes"``."""
    if finding.kind == "changes":
        return "at the chord changes"
    if finding.kind == "pair" and isinstance(finding.where, tuple):
        before, to = finding.where
        return f"at the changes from {before} to {to}" if before else f"at the changes into {to}"
    if finding.kind == "beat":
        return f"on beat {finding.where}"
    return part_in_words(finding.where if isinstance(finding.where, int) else 1, measurement.exercise.per_beat or 1)


def beats_per_bar(measurement: Measurement) -> int:
    """Beats in the longest bar seen, so that a tempo map with changing meters stays in order."""
    m = measurement
    seen = [s.beat for s in m.strums if s.beat is not None] + [o.beat for o in m.omitted]
    return max([m.exercise.beats_per_bar or 1, *seen])
