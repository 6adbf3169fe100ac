"""What a teacher concludes from one take: held or not, what stands in the way, what to do next."""

from strumclock.verdict.concluding import STATES, TASKS, WELL_EVEN, Conclusion, Task, Verdict, conclude
from strumclock.verdict.holding import Criterion, Held, judge_take
from strumclock.verdict.obstacles import Obstacle, Where
from strumclock.verdict.played import Played, Stretch
from strumclock.verdict.standard import STANDARDS, Standard, the_standard

__all__ = [
    "STANDARDS",
    "STATES",
    "TASKS",
    "WELL_EVEN",
    "Conclusion",
    "Criterion",
    "Held",
    "Obstacle",
    "Played",
    "Standard",
    "Stretch",
    "Task",
    "Verdict",
    "Where",
    "conclude",
    "judge_take",
    "the_standard",
]
