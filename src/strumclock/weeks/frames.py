"""A class as a table of numbers, for notebooks and spreadsheets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from strumclock.weeks.need import obstacle_of, unheld_weeks

if TYPE_CHECKING:
    import pandas as pd

    from strumclock.weeks.record import Progress


def class_frame(students: Sequence[Progress]) -> pd.DataFrame:
    """One row a student, in the order given.

    Parameters
    ----------
    students : sequence of Progress
        Of `strumclock.class_list`.

    Returns
    -------
    pandas.DataFrame
        With the columns of `COLUMNS`: tempi in bpm, the tempo in reach with its 95 % interval, obstacles in the unit
        beside them; what is not known is missing.

    Examples
    --------
    >>> class_frame([]).columns[:3].tolist()
    ['student', 'need', 'exercise']
    """
    import pandas as pd

    return pd.DataFrame([_row(one) for one in students], columns=list(COLUMNS))


COLUMNS = (
    *("student", "need", "exercise", "held_bpm", "in_reach_bpm", "in_reach_bpm_low", "in_reach_bpm_high", "state"),
    *("bpm_per_week", "unheld_weeks", "obstacle", "obstacle_where", "obstacle_unit", "obstacle_first", "obstacle_now"),
    *("obstacle_state", "set", "set_bpm", "given_on", "due_on", "standing", "last_played", "silent_days", "n_takes"),
    "next_bpm",
)


def _row(progress: Progress) -> dict[str, Any]:
    row: dict[str, Any] = {
        "student": progress.student,
        "need": progress.need,
        "last_played": progress.last_played,
        "silent_days": progress.silent_days,
        "n_takes": progress.n_takes,
    }
    if progress.standings:
        standing = progress.standings[0]
        given = standing.assignment
        row |= {"set": given.label, "set_bpm": given.bpm, "given_on": given.given_on, "due_on": given.due_on}
        row["standing"] = standing.state(progress.today)
    if not progress.exercises:
        return row
    now = progress.exercises[0]
    held = [week.held_bpm for week in now.weeks if week.held_bpm is not None]
    row |= {"exercise": now.label, "held_bpm": held[-1] if held else None, "state": now.state}
    row |= {"unheld_weeks": unheld_weeks(now), "next_bpm": now.next_bpm}
    if now.reach is not None:
        row["bpm_per_week"] = now.reach.per_week_bpm.value
        if now.beyond_bpm is None:
            reach = now.reach.now
            row |= {"in_reach_bpm": reach.value, "in_reach_bpm_low": reach.low, "in_reach_bpm_high": reach.high}
    cause = obstacle_of(now)
    if cause is not None:
        row |= {"obstacle": cause.kind, "obstacle_where": cause.where, "obstacle_unit": cause.unit}
        row |= {"obstacle_first": cause.first.value, "obstacle_now": cause.now.value, "obstacle_state": cause.state}
    return row
