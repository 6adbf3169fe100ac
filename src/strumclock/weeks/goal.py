"""When will a tempo be in reach?  A range of weeks, or that it may not be reached, or why it cannot be told.

People learn along different curves, and the weeks so far seldom tell which: straight, slowing as a power of time,
slowing towards a ceiling, or stopped already. Each is weighed (`strumclock.weeks.curves`), and the range holds the week
in 88 % of what all of them together foretell, but is never told narrower than a quarter of a year. Where more than a
tenth of that takes longer than a year, no end is told; and whether a climb goes on, the weeks so far never show.
``python -m tests.benchmarks.time_to_goal`` prints how often the ranges hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from strumclock.arrays import Floats
from strumclock.weeks.curves import Curve, weigh

FIT_WEEKS = 26
"""Weeks that the curves are laid through: half a year. What was before is history."""
MIN_WEEKS = 6
"""Weeks with takes before a range is told: a curve has a level, a slope and a bend, and luck must show too."""
HORIZON_WEEKS = 52
"""Nothing is foretold beyond a year."""
EARLY, LATE = 0.02, 0.9
"""The range begins and ends with these probabilities of being there already."""
NARROWEST_WEEKS = 13
"""From the first week of a range to the last, at least. Calibrated on simulated climbs (``tests/benchmarks/
time_to_goal.py``): luck that lasts for weeks passes for a level near the goal, and ranges of a week or two that rest on
it held the week of three in four players who get there; with a quarter of a year of nine in ten."""
GAIN_A_WEEK = 0.025
"""Standard deviation of what a week brings on average, share of the tempo: as `following.SLOPES_A_WEEK`."""
POWERS, RATES, STOPS = (0.2, 0.4, 0.6, 0.8), (0.02, 0.04, 0.08, 0.15, 0.3), (0.25, 0.4, 0.55, 0.7, 0.85)
"""Exponents of time; approach to the ceiling, a week; where in the weeks seen a climb may have stopped."""
LIKELY = {"straight": 0.25, "power": 0.2, "saturating": 0.3, "stopped": 0.15}
"""Before anything is seen; the rest is flat. One person learns towards a ceiling, averages of many by a power of time
(Heathcote, Brown & Mewhort 2000)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """A goal, and how far it is.

    Attributes
    ----------
    bpm : float
        The tempo wanted.
    by : date or None
        Wanted by when.
    reached_in : date or None
        Monday of the first week that held it.
    in_reach : bool
        Not held yet, but three takes of four would hold it.
    earliest, latest : date or None
        Mondays between which it comes into reach. `latest` is None where it may not be reached.
    reason : str
        Why nothing is told; empty where something is.
    """

    bpm: float
    by: date | None
    reached_in: date | None = None
    in_reach: bool = False
    earliest: date | None = None
    latest: date | None = None
    reason: str = ""


def outlook(
    bpm: float,
    *,
    by: date | None,
    held: Sequence[tuple[date, float]],
    shown: Sequence[tuple[date, float, int]],
    in_reach: bool,
    take_sd: float,
    since_leap: bool = False,
) -> Outlook:
    """How far a goal is.

    Parameters
    ----------
    held : sequence of (Monday, bpm)
        Weeks that held a tempo, in order.
    shown : sequence of (Monday, bpm, takes)
        The tempo in reach as each week's takes alone show it, since it last changed at once.
    in_reach : bool
        Whether the goal is in reach now.
    take_sd : float
        Luck of one take, share of the tempo.
    since_leap : bool
        Whether it did change at once: the weeks before that tell nothing of what comes.
    """
    for monday, tempo in held:
        if tempo >= bpm:
            return Outlook(bpm=bpm, by=by, reached_in=monday)
    if in_reach:
        return Outlook(bpm=bpm, by=by, in_reach=True)
    seen = list(shown)[-FIT_WEEKS:]
    if len(seen) < MIN_WEEKS:
        after = " after such a change" if since_leap else ""
        takes = f"too early to tell: it takes {MIN_WEEKS} weeks of measured takes{after}"
        return Outlook(bpm=bpm, by=by, reason=takes)
    last = seen[-1][0]
    week = [(monday - seen[0][0]).days / 7 for monday, _, _ in seen]
    there = chances(week, [tempo for _, tempo, _ in seen], [n for *_, n in seen], bpm, take_sd=take_sd)
    told = told_weeks(there)
    if told is None:
        return Outlook(bpm=bpm, by=by, reason="at the present rate it is not reached within a year")
    first, end = told
    return Outlook(
        bpm=bpm,
        by=by,
        earliest=last + timedelta(weeks=first),
        latest=last + timedelta(weeks=end) if end is not None else None,
    )


def told_weeks(there: Floats) -> tuple[int, int | None] | None:
    """First and last week of the range that is told, None for a last one that is not; None where neither is.

    Parameters
    ----------
    there : Floats [weeks ahead]
        Probability of being there in 1, 2 … weeks, rising.

    Examples
    --------
    >>> told_weeks(np.linspace(0, 1, 21)), told_weeks(np.full(30, 0.95)), told_weeks(np.linspace(0, 0.5, 40))
    ((2, 19), (1, 14), (3, None))
    >>> told_weeks(np.zeros(52)) is None
    True
    """
    if there[-1] < EARLY:
        return None
    first = int(np.argmax(there >= EARLY)) + 1
    end = max(int(np.argmax(there >= LATE)) + 1, first + NARROWEST_WEEKS)
    return first, end if there[-1] >= LATE and end <= there.size else None


def chances(
    week: Sequence[float], bpm: Sequence[float], n: Sequence[int], goal_bpm: float, *, take_sd: float
) -> Floats:
    """Probability of being there 1, 2 … `HORIZON_WEEKS` weeks after the last week seen.

    Parameters
    ----------
    week : sequence of float
        Weeks since the first.
    bpm, n : sequence
        The tempo in reach as each week's takes show it, and their number.
    take_sd : float
        Luck of one take, share of the tempo.
    """
    from scipy.special import ndtr

    x = np.asarray(week, dtype=float)
    level = float(np.median(bpm))
    curves = _curves(x, GAIN_A_WEEK * level * float(x[-1]))
    weighed = weigh(x, bpm, curves, n=n, take_sd=take_sd * level)
    later = [curve.later for curve in curves if curve.later is not None]
    there = np.zeros(HORIZON_WEEKS)
    for k in range(HORIZON_WEEKS):
        p, mean, sd = weighed.at(np.array([0.0, *(values[k] for values in later)]))
        there[k] = p @ ndtr((mean - goal_bpm) / sd)
    best: Floats = np.maximum.accumulate(there)
    return best


def _curves(x: Floats, sd: float) -> list[Curve]:
    """Every shape, scaled to rise by 1 over the weeks seen."""
    span = float(x[-1])
    time = np.concatenate((x, span + np.arange(1, HORIZON_WEEKS + 1)))
    shapes = [("straight", time)]
    shapes += [("power", (1 + time) ** c - 1) for c in POWERS]
    shapes += [("saturating", 1 - np.exp(-rate * time)) for rate in RATES]
    shapes += [("stopped", np.minimum(time, at * span)) for at in STOPS]
    names = [name for name, _ in shapes]
    return [
        Curve(
            name=name,
            seen=shape[: x.size] / shape[x.size - 1],
            later=shape[x.size :] / shape[x.size - 1],
            prior=LIKELY[name] / names.count(name),
            sd=sd,
        )
        for name, shape in shapes
    ]
