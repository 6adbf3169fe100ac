"""Are the weeks of practice working?  Tempo held by week, trend, plateau, time to the goal, next tempo; a class."""

from strumclock.progress.exercise import ExerciseProgress, Trend, exercise_progress
from strumclock.progress.goal import Outlook
from strumclock.progress.record import Progress, class_list, progress
from strumclock.progress.weeks import Mean, Point, Week

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
