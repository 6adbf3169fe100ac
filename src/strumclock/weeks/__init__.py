"""Are the weeks of practice working?  Tempo held by week, trend, plateau, time to the goal, next tempo; a class."""

from strumclock.weeks.exercise import ExerciseProgress, Trend, exercise_progress
from strumclock.weeks.goal import Outlook
from strumclock.weeks.record import Progress, class_list, progress
from strumclock.weeks.week import Mean, Point, Week

__all__ = [
    "ExerciseProgress",
    "Mean",
    "Outlook",
    "Point",
    "Progress",
    "Trend",
    "Week",
    "class_list",
    "exercise_progress",
    "progress",
]
