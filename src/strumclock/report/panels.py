"""Further panels of the picture: chord changes, pitch, the stroke, how errors are corrected. Each only where measured."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from strumclock.measure import Measurement

Draw = Callable[["Axes"], None]


def panels(measurement: Measurement) -> list[Draw]:
    """What to draw below the main picture, one function for each axes."""
    del measurement
    return []
