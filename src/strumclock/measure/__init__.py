"""One take through every stage, and two takes held against each other."""

from strumclock.measure.measurement import GridInfo, LeftClick, Measurement, Omitted, Strum, TakeInfo
from strumclock.measure.pipeline import measure

__all__ = ["GridInfo", "LeftClick", "Measurement", "Omitted", "Strum", "TakeInfo", "measure"]
