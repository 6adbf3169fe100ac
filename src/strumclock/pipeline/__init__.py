"""One take through every stage, and two takes held against each other."""

from strumclock.pipeline.comparison import Comparison, Difference, compare
from strumclock.pipeline.measurement import GridInfo, LeftClick, Measurement, Omitted, Strum, TakeInfo
from strumclock.pipeline.measuring import measure

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
