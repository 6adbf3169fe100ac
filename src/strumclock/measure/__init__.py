"""One take through every stage, and two takes held against each other."""

from strumclock.measure.comparison import Comparison, Difference, compare
from strumclock.measure.measurement import GridInfo, LeftClick, Measurement, Omitted, Strum, TakeInfo
from strumclock.measure.pipeline import measure

__all__ = [
    "Comparison",
    "Difference",
    "GridInfo",
    "LeftClick",
    "Measurement",
    "Omitted",
    "Strum",
    "TakeInfo",
    "compare",
    "measure",
]
