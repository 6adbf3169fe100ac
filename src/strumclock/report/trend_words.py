"""The trend of the tempo in reach in words, for the teacher: rising, falling, the same, or why it is not sure yet."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from strumclock.report.cause_words import day
from strumclock.weeks.tendency import TREND_WEEKS

if TYPE_CHECKING:
    from strumclock.weeks import ExerciseProgress, Reach

MINUS = "\N{MINUS SIGN}"


def trend_lines(exercise: ExerciseProgress, reach: Reach, today: date | None) -> list[str]:
    """Whether the tempo in reach rises, falls or stays, since when, and whether it changed at once."""
    rate, since = reach.per_week_bpm, day(reach.since, today=today)
    started = "" if reach.since == reach.weeks[0][0] else f" since about the week of {since}"
    between = f"(between {signed(rate.low)} and {signed(rate.high)})"
    if exercise.state in ("rising", "falling"):
        by = f"about {rate_in_words(abs(rate.value))} bpm a week"
        surely = "is" if rate.low > 0 or rate.high < 0 else "seems to be"
        lines = [f"The tempo in reach {surely} {exercise.state}{started}: {by} {between}."]
    elif exercise.state == "plateau" and reach.rose_by_bpm is not None:
        before = f"before, it rose by about {rate_in_words(reach.rose_by_bpm)} bpm a week"
        lines = [f"The tempo in reach has stayed about the same since about the week of {since}; {before}."]
    elif exercise.state == "level":
        if reach.leap is not None and abs((reach.since - reach.leap.in_week).days) <= 7:
            return [f"{_leap(reach, today, what='the tempo in reach')}; since then it has stayed about the same."]
        lines = [f"The tempo in reach has stayed about the same{started or ' since the first week'}."]
    elif len(reach.weeks) < TREND_WEEKS:
        lines = [f"Too early for a trend: {counted(len(reach.weeks), 'week')} with takes, {TREND_WEEKS} are needed."]
    elif (climb := _easily_held(exercise)) is not None:
        lines = [f"The tempo held went from {climb[0]:.4g} to {climb[1]:.4g} bpm, with room to spare: try faster."]
    else:
        fits = f"anything from {signed(rate.low)} to {signed(rate.high)} bpm a week would fit"
        lines = [f"Whether the tempo in reach rises or falls is not sure yet: {fits}."]
    return [*lines, f"{_leap(reach, today)}."] if reach.leap is not None else lines


def _leap(reach: Reach, today: date | None, *, what: str = "it") -> str:
    """That it changed within a week or so; nothing where it did not. Not "at once": a cause that grows is counted from
    the week on in which it is beyond chance."""
    if reach.leap is None:
        return ""
    way, share = "higher" if reach.leap.ratio > 1 else "lower", abs(reach.leap.ratio - 1)
    when = day(reach.leap.in_week, today=today)
    return f"About the week of {when} {what} became about {100 * share:.0f} % {way}"


def _easily_held(exercise: ExerciseProgress) -> tuple[float, float] | None:
    """The tempi held in the first and the last week, where they rose and all that was tried lately is within reach."""
    held = [week.held_bpm for week in exercise.weeks if week.held_bpm is not None]
    if len(held) < 2 or held[-1] <= held[0] or beyond_tried(exercise) is None:
        return None
    return held[0], held[-1]


def beyond_tried(exercise: ExerciseProgress) -> str | None:
    """What is said instead of a tempo in reach far beyond every tempo tried lately; None where it is not."""
    tried = exercise.beyond_bpm
    return None if tried is None else f"more than the {tried:.0f} bpm that was tried"


def rate_in_words(per_week: float) -> str:
    """Bpm a week in words of one digit or two.

    Examples
    --------
    >>> rate_in_words(0.27), rate_in_words(1.24), rate_in_words(12.2)
    ('0.3', '1.2', '12')
    """
    return f"{per_week:.1f}" if per_week < 10 else f"{per_week:.0f}"


def counted(n: int, what: str) -> str:
    """A number of things, with its plural.

    Examples
    --------
    >>> counted(1, "week"), counted(3, "week")
    ('1 week', '3 weeks')
    """
    return f"{n} {what}{'' if n == 1 else 's'}"


def signed(value: float) -> str:
    """A number with its sign, as typeset.

    Examples
    --------
    >>> signed(1.25), signed(-0.4), signed(0)
    ('+1.2', '−0.4', '0')
    """
    text = f"{abs(value):.2g}"
    if float(text) == 0:
        return "0"
    return f"{MINUS if value < 0 else '+'}{text}"
