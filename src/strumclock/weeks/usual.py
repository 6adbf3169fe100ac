"""How far the takes of one player usually lie apart, from the practice record: what two takes are held against."""

from __future__ import annotations

from strumclock.journal.history import History
from strumclock.pipeline.comparison import TakeToTake, take_to_take

FIGURES = ("jitter_ms", "mean_offset_ms", "drift_ms_per_min")
"""Figures of a take that the record keeps and two takes are compared by."""

SAME_EXERCISE_TEMPO = 0.1
"""Takes count whose tempo is within this share of the compared ones': further away scatter is another."""


def usual_differences(past: History, bpm: float | None) -> dict[str, TakeToTake]:
    """How far takes at about a tempo lie apart in each figure, by its name; those of too few takes are left out.

    Parameters
    ----------
    past : History
        One student's takes, oldest first.
    bpm : float or None
        Tempo of the takes that are compared; None: all takes count.
    """
    takes = [take for take in past.takes if take.not_counted is None and not take.failed]
    if bpm is not None:
        takes = [take for take in takes if take.bpm is not None and abs(take.bpm / bpm - 1) <= SAME_EXERCISE_TEMPO]
    found = {}
    for name in FIGURES:
        values = [figure.value for take in takes if (figure := getattr(take, name)) is not None]
        usual = take_to_take(values)
        if usual is not None:
            found[name] = usual
    return found
