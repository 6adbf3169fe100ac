"""Are the weeks of practice working?  Tempo held and in reach, trend, causes, time to the goal, next tempo; a class."""

from strumclock.weeks.assigned import Standing
from strumclock.weeks.causes import Cause
from strumclock.weeks.exercise import ExerciseProgress, exercise_progress
from strumclock.weeks.frames import class_frame
from strumclock.weeks.goal import Outlook
from strumclock.weeks.placement import Moved
from strumclock.weeks.record import Progress, class_list, progress
from strumclock.weeks.tendency import Leap, Reach
from strumclock.weeks.week import Mean, Point, Span, Week

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
