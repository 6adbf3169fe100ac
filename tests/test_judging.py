"""From the alignment to what is judged: which stops and stretches at a tempo of one's own count against the take."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from strumclock.alignment import Part
from strumclock.pipeline.judging import _stretches
from strumclock.verdict import Stretch


def recording(*parts: tuple[str, bool]) -> Any:
    """Parts of ten seconds each, by their kind and whether they are measured."""
    return SimpleNamespace(
        parts=tuple(
            Part(start_s=10.0 * i, end_s=10.0 * i + 9, kind=kind, bpm=80.0 + i, n=8, slots=12, measured=measured)
            for i, (kind, measured) in enumerate(parts)
        )
    )


def test_a_stop_beside_the_part_that_is_measured_counts_and_one_further_off_does_not() -> None:
    """Truth: the design: the take did not hold through a stop; a stop between two other takes is none of its own."""
    parts = recording(("played", False), ("stopped", False), ("played", False), ("stopped", False), ("played", True))
    assert _stretches(parts, "stopped") == (Stretch(start_s=30.0, end_s=39.0, slots=12, bpm=None),)
    assert _stretches(parts, "own-tempo") == ()


def test_a_tempo_of_ones_own_between_two_measured_stretches_is_told_with_it() -> None:
    """Truth: the part's own numbers."""
    parts = recording(("played", True), ("own-tempo", False), ("played", True), ("other-take", False))
    assert _stretches(parts, "own-tempo") == (Stretch(start_s=10.0, end_s=19.0, slots=12, bpm=81.0),)
    assert _stretches(parts, "stopped") == ()
