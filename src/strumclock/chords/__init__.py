"""Chord changes: where the harmony changes, and what changing costs."""

from strumclock.chords.changes import LEAST_CHANGES, Change, Changes, CostliestPair, measure_changes
from strumclock.chords.hearing import PITCH_CLASSES, Harmony, hear_chords

__all__ = [
    "LEAST_CHANGES",
    "PITCH_CLASSES",
    "Change",
    "Changes",
    "CostliestPair",
    "Harmony",
    "hear_chords",
    "measure_changes",
]
