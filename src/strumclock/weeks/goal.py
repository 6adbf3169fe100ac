"""When will the goal be reached?  A range of weeks, or the reason why that cannot be told yet.

The range is wider than the slope's interval alone: a climb slows as it goes on, and the week that first holds a tempo
comes later, by luck, than the week in which the player could. Among simulated players who practise like people (in
steps of five or by the standard, catching up first, slowing or not) more than nine in ten of the ranges that are told
hold the week that came: see ``tests/test_progress_plateau.py``. Often none can be told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

from strumclock.weeks.trend import Slope

TREND_WEEKS = 12
"""Weeks that a trend looks at: about a school term. What was before is history."""
LONGEST_OUTLOOK_WEEKS = 52.0
OUTLOOK_PER_WEEK_SEEN = 4.0
"""No range ends later than this many times the weeks seen: a line is not trusted further."""
SLOWING = 2.0
"""The range allows the rest to take twice as long as the lower end of the slope's interval says."""
LUCK_WEEKS = 3
HELD_SHARE = 0.5
"""Where fewer of the weeks hold a tempo, those that do are the lucky ones, and their line leads too high."""


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
    earliest, latest : date or None
        Mondays between which the present rate leads there; None where that cannot be told.
    reason : str
        Why not; empty where it can.
    """

    bpm: float
    by: date | None
    reached_in: date | None = None
    earliest: date | None = None
    latest: date | None = None
    reason: str = ""


def outlook(
    bpm: float,
    *,
    by: date | None,
    held: list[tuple[date, float]],
    played: int,
    slope: Slope | None,
    stuck: bool,
) -> Outlook:
    """How far a goal is.

    Parameters
    ----------
    held : list of (Monday, bpm)
        Weeks that held a tempo, in order.
    played : int
        Weeks played since the first that the slope looks at, whether they hold a tempo or not.
    slope : Slope or None
        Of the latest of `held`, in bpm a week since the first of the weeks in it; None where there are too few.
    stuck : bool
        Whether a plateau was found: then the rate before it says nothing.
    """
    for monday, tempo in held:
        if tempo >= bpm:
            return Outlook(bpm=bpm, by=by, reached_in=monday)
    if not held:
        return Outlook(bpm=bpm, by=by, reason="too early to tell: no week has held a tempo yet")
    if stuck:
        return Outlook(bpm=bpm, by=by, reason="cannot be told while the tempo does not rise")
    if slope is None or slope.low is None or slope.high is None:
        return Outlook(bpm=bpm, by=by, reason="too early to tell: it takes six weeks that hold a tempo")
    if slope.low <= 0:
        return Outlook(bpm=bpm, by=by, reason="too early to tell: the rate is not sure to be above zero")
    if len(held[-TREND_WEEKS:]) < HELD_SHARE * played:
        return Outlook(bpm=bpm, by=by, reason="too early to tell: fewer than half of the weeks hold a tempo")
    last, tempo = held[-1]
    seen = (last - held[0][0]).days / 7
    missing = bpm - tempo
    earliest, latest = missing / slope.high, SLOWING * missing / slope.low + LUCK_WEEKS
    if latest > min(LONGEST_OUTLOOK_WEEKS, OUTLOOK_PER_WEEK_SEEN * seen):
        return Outlook(bpm=bpm, by=by, reason="too early to tell: the goal is further away than the weeks seen can say")
    return Outlook(
        bpm=bpm,
        by=by,
        earliest=last + timedelta(weeks=max(1, math.floor(earliest))),
        latest=last + timedelta(weeks=max(1, math.ceil(latest))),
    )
