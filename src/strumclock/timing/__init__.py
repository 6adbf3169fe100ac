"""How a take was timed: mean offset, jitter and drift, each with its uncertainty, and whether it holds its tempo."""

from strumclock.timing.aligned import aligned_strums, anchoring_of, errors_of, strums_of
from strumclock.timing.estimate import Estimate
from strumclock.timing.figures import measure_timing
from strumclock.timing.placed import ANCHORS, Anchoring, PlacedStrums, StrumErrors
from strumclock.timing.regression import Line, fit_line, lag1
from strumclock.timing.sound_path import SoundPath, sound_path
from strumclock.timing.values import Finding, Group, PartGroup, Step, Timing, WithinTolerance, audible_s

__all__ = [
    "ANCHORS",
    "Anchoring",
    "Estimate",
    "Finding",
    "Group",
    "Line",
    "PartGroup",
    "PlacedStrums",
    "SoundPath",
    "Step",
    "StrumErrors",
    "Timing",
    "WithinTolerance",
    "aligned_strums",
    "anchoring_of",
    "audible_s",
    "errors_of",
    "fit_line",
    "lag1",
    "measure_timing",
    "sound_path",
    "strums_of",
]
