"""Are the weeks of practice working?  Tempo held and in reach, trend, causes, time to the goal, next tempo; a class."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.weeks.assigned import Standing as Standing
    from strumclock.weeks.causes import Cause as Cause
    from strumclock.weeks.exercise import ExerciseProgress as ExerciseProgress, exercise_progress as exercise_progress
    from strumclock.weeks.frames import class_frame as class_frame
    from strumclock.weeks.goal import Outlook as Outlook
    from strumclock.weeks.placement import Moved as Moved
    from strumclock.weeks.record import Progress as Progress, class_list as class_list, progress as progress
    from strumclock.weeks.tendency import Leap as Leap, Reach as Reach
    from strumclock.weeks.week import Mean as Mean, Point as Point, Span as Span, Week as Week

_HOME = {
    "assigned": ("Standing",),
    "causes": ("Cause",),
    "exercise": (
        "ExerciseProgress",
        "exercise_progress",
    ),
    "frames": ("class_frame",),
    "goal": ("Outlook",),
    "placement": ("Moved",),
    "record": (
        "Progress",
        "class_list",
        "progress",
    ),
    "tendency": (
        "Leap",
        "Reach",
    ),
    "week": (
        "Mean",
        "Point",
        "Span",
        "Week",
    ),
}
"""Where each name lives: imported when it is first asked for, since not everything needs the database."""

__all__ = [
    "Cause",
    "ExerciseProgress",
    "Leap",
    "Mean",
    "Moved",
    "Outlook",
    "Point",
    "Progress",
    "Reach",
    "Span",
    "Standing",
    "Week",
    "class_frame",
    "class_list",
    "exercise_progress",
    "progress",
]


def __getattr__(name: str) -> Any:
    """Import a name from its module when it is first asked for (PEP 562)."""
    for module, names in _HOME.items():
        if name in names:
            return getattr(importlib.import_module(f"strumclock.weeks.{module}"), name)
    raise AttributeError(f"module 'strumclock.weeks' has no attribute {name!r}")
