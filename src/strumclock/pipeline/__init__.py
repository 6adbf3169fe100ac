"""One take through every stage, and two takes held against each other.

The names below are loaded when they are first used: who only asks which options there are needs no stage.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.pipeline.comparison import Comparison, Difference, compare
    from strumclock.pipeline.measurement import GridInfo, LeftClick, Measurement, Omitted, Step, Strum, TakeInfo
    from strumclock.pipeline.measuring import measure, measure_parts
    from strumclock.pipeline.options import MeasureOptions
    from strumclock.pipeline.own_times import measure_strums

_HOME = {
    "comparison": ("Comparison", "Difference", "compare"),
    "measurement": ("GridInfo", "LeftClick", "Measurement", "Omitted", "Step", "Strum", "TakeInfo"),
    "measuring": ("measure", "measure_parts"),
    "options": ("MeasureOptions",),
    "own_times": ("measure_strums",),
}

__all__ = [
    "Comparison",
    "Difference",
    "GridInfo",
    "LeftClick",
    "MeasureOptions",
    "Measurement",
    "Omitted",
    "Step",
    "Strum",
    "TakeInfo",
    "compare",
    "measure",
    "measure_parts",
    "measure_strums",
]


def __getattr__(name: str) -> Any:
    """Import a name from its module when it is first asked for (PEP 562)."""
    for module, names in _HOME.items():
        if name in names:
            return getattr(importlib.import_module(f"strumclock.pipeline.{module}"), name)
    raise AttributeError(f"module 'strumclock.pipeline' has no attribute {name!r}")
